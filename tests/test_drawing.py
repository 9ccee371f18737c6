"""Paths from drawings: lengths against closed forms, elliptic integrals and the library's own flattening."""

from __future__ import annotations

import csv
import itertools
import json
import math
import zipfile
from xml.etree import ElementTree

import ezdxf
import numpy as np
import openpyxl
import pytest
from plans import hand_rows
from scipy.integrate import quad
from scipy.special import ellipeinc

from dispense.base.errors import FileError, InputError
from dispense.books.plan import write_plan
from dispense.cli import main
from dispense.handbook.beads import path_length
from dispense.handbook.drawings import Piece, join
from dispense.jobs.drawing import path_file
from dispense.plan.csv import read_points
from dispense.plan.drawing import UNITS, chosen, read_drawing
from dispense.plan.read import load_plan

CLAMPED = [0, 0, 0, 0, 1, 2, 3, 3, 3, 3]
WAVE = [(0, 0), (10, 20), (25, 22), (40, 0), (55, 5), (60, 25)]


@pytest.fixture
def drawing(tmp_path):
    """A drawing that a test draws in, and its pieces read again."""

    def make(draw, units=4, name="part.dxf"):
        document = ezdxf.new()
        document.header["$INSUNITS"] = units
        draw(document, document.modelspace())
        path = tmp_path / name
        document.saveas(path)
        return path

    return make


def lengths(path, **asked) -> list[float]:
    """Lengths of all pieces [mm], and that their rows have them to 1e-6."""
    found = []
    for item in read_drawing(path, **asked).drawn:
        piece = item.piece
        rows = float(path_length(piece.rows, labels=list(piece.motions)))
        assert rows == pytest.approx(piece.length, rel=1e-6)
        found.append(1000.0 * piece.length)
    return found


def test_lines_arcs_and_bulges(drawing):
    """By elementary geometry: 3-4-5; r·θ; an arc of bulge b has the angle 4·atan b."""

    def draw(_, space):
        space.add_line((0, 0), (30, 40))
        space.add_arc((0, 0), 12.5, 300, 75)
        space.add_circle((0, 0), 8.2)
        corners = [(0, 0, 0), (40, 0, math.tan(math.pi / 8)), (50, 10, 0), (50, 30, -1), (30, 30, 0)]
        space.add_lwpolyline(corners, format="xyb", close=True)
        space.add_polyline2d([(0, 0, 0.5), (10, 0, 0)], format="xyb")
        space.add_polyline3d([(0, 0, 0), (2, 3, 6), (2, 3, 16)])

    quarter, half = 10 * math.pi / 2, 10 * math.pi
    wanted = [
        50.0,
        12.5 * math.radians(135),
        2 * math.pi * 8.2,
        40 + quarter + 20 + half + math.hypot(30, 30),
        6.25 * 4 * math.atan(0.5),  # radius of chord 10 and sagitta 2.5: (25 + 6.25)/5
        17.0,
    ]
    assert lengths(drawing(draw)) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize(
    ("a", "b", "start", "end"),
    [(20, 10, 0, 2 * math.pi), (20, 10, 0, math.pi / 2), (20, 10, 0.3, 2.9), (15, 3, 5.5, 7.5)],
)
def test_ellipses(drawing, a, b, start, end):
    """∫√(a²sin²u + b²cos²u)du = a·[E(u + π/2, m)] with m = 1 − b²/a², by scipy's elliptic integral."""
    path = drawing(lambda _, space: space.add_ellipse((3, 4), (a, 0), b / a, start, end))
    turn, squeeze = math.pi / 2, 1 - (b / a) ** 2
    wanted = a * (ellipeinc(end + turn, squeeze) - ellipeinc(start + turn, squeeze))
    (found,) = lengths(path)
    assert found == pytest.approx(wanted, rel=1e-8)


def test_splines(drawing):
    """Against the library's flattening of the same entity, by quadrature where the polynomial is written
    out, and a circle of rational quadratic arcs against 2πr."""
    root = math.sqrt(0.5)
    square = [(14, 0), (14, 14), (0, 14), (-14, 14), (-14, 0), (-14, -14), (0, -14), (14, -14), (14, 0)]

    def draw(_, space):
        one = space.add_spline(degree=3)
        one.control_points, one.knots = WAVE, CLAMPED
        two = space.add_spline(degree=3)
        two.control_points, two.knots = [(0, 0), (0, 30), (40, 30), (40, 0)], [0, 0, 0, 0, 1, 1, 1, 1]
        ring = space.add_spline(degree=2)
        ring.control_points, ring.knots = square, [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]
        ring.weights = [1, root, 1, root, 1, root, 1, root, 1]
        space.add_spline(fit_points=[(0, 0), (10, 5), (20, -5), (33, 2)])

    path = drawing(draw)
    found = lengths(path)
    flat = []
    for entity in ezdxf.readfile(path).modelspace():
        points = np.array([tuple(point) for point in entity.flattening(1e-5)])
        flat.append(float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum()))
    assert found == pytest.approx(flat, rel=2e-6)

    def speed(t):  # Bézier (0,0), (0,30), (40,30), (40,0): x' = 240·t(1 − t), y' = 90·(1 − 2t)
        return math.hypot(240 * t * (1 - t), 90 * (1 - 2 * t))

    assert found[1] == pytest.approx(quad(speed, 0, 1, epsabs=1e-12)[0], rel=1e-8)
    assert found[2] == pytest.approx(2 * math.pi * 14, rel=1e-9)


def test_blocks_and_mirrored_entities(drawing):
    """Scaled 2.5 a circle is 2.5 times as long; squeezed it is an ellipse; extrusion (0, 0, −1) turns x."""

    def draw(document, space):
        block = document.blocks.new("RING")
        block.add_circle((1, 2), 8.2, dxfattribs={"color": 0})
        even = {"xscale": 2.5, "yscale": 2.5, "zscale": 2.5, "rotation": 30, "layer": "SEAL", "color": 3}
        space.add_blockref("RING", (3, 4), dxfattribs=even)
        space.add_blockref("RING", (3, 4), dxfattribs={"xscale": 2.5, "layer": "SEAL"})
        space.add_arc((0, 0), 12.5, 300, 75, dxfattribs={"extrusion": (0, 0, -1)})

    found = read_drawing(drawing(draw)).drawn
    squeezed = 4 * 2.5 * 8.2 * float(ellipeinc(math.pi / 2, 1 - 1 / 2.5**2))
    wanted = [2.5 * 2 * math.pi * 8.2, squeezed, 12.5 * math.radians(135)]
    assert [1000 * item.piece.length for item in found] == pytest.approx(wanted, rel=1e-8)
    # start at 300° mirrored: (−12.5·cos 60°, −12.5·sin 60°)
    assert 1000 * found[2].piece.rows[0] == pytest.approx([-6.25, -12.5 * math.sin(math.pi / 3), 0])
    assert (found[0].layer, found[0].colour) == ("SEAL", "3")


@pytest.mark.parametrize(
    ("code", "factor"),  # exact: an inch is 25.4 mm; codes of the published DXF reference
    [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0), (8, 25.4e-6), (9, 0.0254), (13, 0.001)],
)
def test_units_of_the_drawing(drawing, code, factor):
    path = drawing(lambda _, space: space.add_line((0, 0), (12.5, 0)), units=code)
    assert lengths(path) == pytest.approx([12.5 * factor], rel=1e-12)
    assert code in UNITS


def test_a_drawing_without_unit_asks_for_it(drawing):
    path = drawing(lambda _, space: space.add_line((0, 0), (2, 0)), units=0)
    with pytest.raises(InputError, match=r"tells no unit.*--units"):
        read_drawing(path)
    assert lengths(path, unit="in") == pytest.approx([50.8])


def outline(_, space):
    """A rectangle 100 × 60 with corners of radius 10, its pieces out of order and some of them turned."""
    hem = {"layer": "HEM"}
    space.add_line((100, 10), (100, 50), dxfattribs=hem)
    space.add_line((10, 0), (90, 0), dxfattribs=hem)
    space.add_line((10, 60), (90, 60), dxfattribs=hem)
    space.add_line((0, 50), (0, 10), dxfattribs=hem)
    for x, y, first in ((90, 10, 270), (90, 50, 0), (10, 50, 90), (10, 10, 180)):
        space.add_arc((x, y), 10, first, first + 90, dxfattribs=hem)
    space.add_line((0, 10), (0, 50), dxfattribs=hem)  # once more, the other way
    space.add_line((120, 0), (120, 30), dxfattribs=hem)
    space.add_line((120, 30.02), (150, 30.02), dxfattribs=hem)
    space.add_text("hem", dxfattribs=hem)
    space.add_circle((50, 30), 5, dxfattribs={"layer": "HOLES", "color": 1})


def test_pieces_are_joined_in_order(drawing):
    """A ring of 2·80 + 2·40 + 2π·10 mm and an angle of 60 mm whose ends lie 0.02 mm apart."""
    path = drawing(outline)
    report = path_file(path, layers=["hem"])
    (found,) = report.paths
    ring, angle = found.beads
    assert ring.closed and not angle.closed
    assert 1000 * ring.length == pytest.approx(240 + 20 * math.pi, rel=1e-9)
    assert 1000 * angle.length == pytest.approx(60, rel=1e-9)
    assert 1000 * angle.gap == pytest.approx(0.02, abs=1e-9)
    assert len(report.twice) == 1
    assert [*report.unread] == [("TEXT", "HEM")]
    # the ring ends where it began; from (10, 0) or (0, 10) the nearer end of the angle is (120, 0)
    begin = 1000 * ring.rows[0, :2]
    assert 1000 * found.travel == pytest.approx(math.dist(begin, (120, 0)), rel=1e-9)
    assert math.hypot(*begin) == pytest.approx(10.0)
    whole = float(path_length(found.rows, labels=list(found.motions)))
    assert 1000 * whole == pytest.approx(300 + 20 * math.pi, abs=0.03)
    assert found.motions.count("travel") == 1
    apart = path_file(path, layers=["HEM"], join_within=0.01)
    assert len(apart.paths[0].beads) == 3


def test_layers_and_colours_are_chosen(drawing):
    path = drawing(outline)
    with pytest.raises(InputError, match=r"more than one layer: HEM \(11 curves.*HOLES \(1 curve, 31.4 mm\)"):
        path_file(path)
    with pytest.raises(InputError, match="it must be one with curves: HEM"):
        path_file(path, layers=["HEMM"])
    assert [item.layer for item in chosen(read_drawing(path), colours=["1"])] == ["HOLES"]


def test_more_than_two_ends_go_straight_on():
    """A T: the bar is one bead, the stem another, and the place is told."""

    def line(*points):
        rows = np.array([[x, y, 0.0] for x, y in points])
        return Piece(rows, ("line", "line"), math.dist(*points))

    joined = join([line((0, 0), (1, 0)), line((1, 0), (1, -1)), line((1, 0), (2, 0))], 1e-3)
    ends = sorted(sorted(map(tuple, bead.rows[[0, -1], :2].tolist())) for bead in joined.beads)
    assert ends == [[(0.0, 0.0), (2.0, 0.0)], [(1.0, -1.0), (1.0, 0.0)]]
    assert joined.meetings == ((1.0, 0.0, 0.0),)


def test_points_from_a_table(tmp_path):
    """A half circle through three points and a line: 5π + 10 mm; inches by their header or by the option."""
    path = tmp_path / "points.csv"
    path.write_text("X [in],Y [in],Motion\n0,0,line\n1,0,line\n3,0,travel\n3,1,line\n")
    (found,) = path_file(path).paths
    assert 1000 * found.length == pytest.approx(2 * 25.4)
    assert 1000 * found.travel == pytest.approx(2 * 25.4)
    path.write_text("X;Y;Motion\n0;0;line\n5;5;arc\n10;0;line\n10,0;10;line\n")
    with pytest.raises(InputError, match="tells no unit"):
        read_points(path)
    (found,) = path_file(path, unit="mm").paths
    assert 1000 * found.length == pytest.approx(5 * math.pi + 10)
    path.write_text("X [mm],Y [mm],Motion\n0,0,line\n5,5,arc\n")
    with pytest.raises(InputError, match="no length"):
        path_file(path)


def test_files_are_written_and_never_harmed(drawing, tmp_path, capsys):
    path = drawing(outline)
    rows, picture, book = (tmp_path / name for name in ("rows.csv", "check.svg", "rows.xlsx"))
    asked = ["path", str(path), "--layer", "HEM"]
    assert main([*asked, "--out", str(rows), "--picture", str(picture), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    with rows.open(encoding="utf-8-sig", newline="") as stream:
        header, *lines = csv.reader(stream)
    assert header == ["Path", "X [mm]", "Y [mm]", "Z [mm]", "Motion"]
    assert len(lines) == len(told["rows"])
    # the rows, reckoned anew here: chords, and r·π/2 for the arcs of the corners
    total, spots = 0.0, [(float(x), float(y), word) for _, x, y, _, word in lines]
    for before, here in itertools.pairwise(spots):
        if here[2] == "line" and before[2] != "arc":
            total += math.dist(before[:2], here[:2])
    assert total + 4 * 10 * math.pi / 2 == pytest.approx(300 + 20 * math.pi, abs=0.03)
    drawn = ElementTree.parse(picture).getroot()
    name = "{http://www.w3.org/2000/svg}"
    assert len(drawn.findall(f"{name}polyline")) == 3  # two beads, one travel
    assert drawn.find(f"{name}desc").text
    assert main([*asked, "--out", str(rows)]) == 1  # a file that is there stays
    assert main([*asked, "--out", str(book)]) == 0
    with zipfile.ZipFile(book) as archive:
        drawn = ElementTree.fromstring(archive.read("xl/charts/chart1.xml"))
        frame = ElementTree.fromstring(archive.read("xl/drawings/drawing1.xml"))
    # to one scale in the file itself: as many mm to an EMU of the plot across as up (ECMA-376, manualLayout)
    plot = {item.tag.rpartition("}")[2]: item.get("val") for item in drawn.find(".//{*}plotArea").iter()}
    ext = frame.find(".//{*}ext")
    spans = [
        float(axis.find("{*}scaling/{*}max").get("val")) - float(axis.find("{*}scaling/{*}min").get("val"))
        for axis in drawn.findall(".//{*}valAx")
    ]
    sides = int(ext.get("cx")) * float(plot["w"]), int(ext.get("cy")) * float(plot["h"])
    assert spans[0] / sides[0] == pytest.approx(spans[1] / sides[1], rel=1e-3)
    sheet = openpyxl.load_workbook(book)["Paths"]
    table = [[cell.value for cell in row] for row in sheet.iter_rows(max_col=5)]
    first = table.index(header) + 1
    assert [
        [row[0], *(f"{value:.6f}" for value in row[1:4]), row[4]] for row in table[first:] if row[0]
    ] == lines
    assert main([*asked, "--out", str(path)]) == 1
    assert main(["path", str(path), "--join", "0"]) == 1
    assert main(["path", str(tmp_path / "none.dxf")]) == 1


def test_a_path_goes_into_a_new_plan(drawing, tmp_path):
    plan, new = write_plan(hand_rows(), tmp_path / "plan.xlsx"), tmp_path / "new.xlsx"
    before = plan.read_bytes()
    path_file(drawing(outline), layers=["HEM"], name="Lid", plan=plan, write_plan=new)
    assert plan.read_bytes() == before
    old, found = load_plan(plan), load_plan(new)
    added = found.paths[len(old.paths) :]
    assert found.paths[: len(old.paths)] == old.paths and {row.path for row in added} == {"Lid"}
    length = path_length(np.array([[row.x, row.y] for row in added]), labels=[row.motion for row in added])
    assert 1000 * float(length) == pytest.approx(300 + 20 * math.pi, abs=0.03)
    with pytest.raises(InputError, match="has a path"):
        path_file(drawing(outline), layers=["HEM"], name="Lid", plan=new, write_plan=tmp_path / "third.xlsx")


@pytest.mark.parametrize("content", [b"", b"AC1032\0\0", b"0\nSECTION\n2\nENTITIES\n0\nLINE", b"\xff" * 400])
def test_what_is_no_drawing_is_named(tmp_path, content):
    path = tmp_path / "bad.dxf"
    path.write_bytes(content)
    with pytest.raises((FileError, InputError), match=r"bad\.dxf"):
        path_file(path)


def test_damaged_curves_are_named(drawing):
    def draw(_, space):
        space.add_line((0, 0), (10, 0))
        space.add_line((5, 5), (5, 5))
        space.add_line((0, 0), (math.nan, 0))
        wrong = space.add_spline(degree=3)
        wrong.control_points, wrong.knots = WAVE, CLAMPED[:-1]

    found = read_drawing(drawing(draw))
    assert len(found.drawn) == 1
    assert sum(found.unread.values()) == 3
