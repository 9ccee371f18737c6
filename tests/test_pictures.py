"""What is drawn on the sheets, held against their own cells and against elementary geometry.

Cells are checked in `test_golden.py` against code that imports nothing of the planner; here the shapes of
the files are read with lxml and measured, and their places are compared with clock times in those cells.
"""

from __future__ import annotations

import datetime
import itertools
import math
import re
import zipfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import openpyxl
import pytest
from lxml import etree
from openpyxl.utils import range_boundaries
from pictures import ROOT, assert_rows_of_today, kept_of_pictures, pictured

from dispense.books.plan import new_plan
from dispense.jobs.fill import fill
from dispense.sheets.pictures import bead_outline, cavity_outline, section_cells, stitched

XDR = "{http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing}"
A = "{http://schemas.openxmlformats.org/drawingml/2006/main}"
EMU = 36000.0  # in a millimetre (ECMA-376 part 1, 20.1.10.16: 914,400 in an inch)
STATIONS = ["Hem robot", "Block potting", "Gasket robot"]


@pytest.fixture(scope="module")
def sheets(tmp_path_factory) -> Path:
    """The first day of the demo for three stations: two-part bead, pot, one-part bead."""
    folder = tmp_path_factory.mktemp("pictures")
    plan = new_plan(folder / "plan.xlsx", demo=True)
    fill(plan, folder / "out", date="2026-03-02", stations=STATIONS, stamp="2026-03-01 12:00")
    return folder / "out"


TABLED = [pytest.param(*item, id=item[0]) for item in pictured() if item[1].startswith(("plan", "sheets"))]
LARGEST = 150_000  # bytes of a picture


@pytest.mark.parametrize(("name", "book", "sheet", "rows"), TABLED)
def test_a_picture_of_the_docs_shows_what_its_page_shows_today(sheets, name, book, sheet, rows):
    """The day that `sh examples/pictures.sh` fills, with its stamp."""
    assert_rows_of_today(name, sheets.parent / book.replace("sheets/", "out/"), sheet, rows)


def test_a_changed_figure_is_seen(sheets, tmp_path):
    """The setup card with another figure in a cell that its picture shows is another picture."""
    name, place, sheet, rows = next(item for item in pictured() if item[0] == "plan_form")
    book = openpyxl.load_workbook(sheets.parent / place, data_only=True)
    cell = next(cell for row in book[sheet].iter_rows(max_row=rows) for cell in row if cell.value == 0.95)
    cell.value = 0.94
    book.save(tmp_path / "changed.xlsx")
    with pytest.raises(AssertionError, match="makes it anew"):
        assert_rows_of_today(name, tmp_path / "changed.xlsx", sheet, rows)


def test_pictures_are_small_known_and_shown():
    folder = ROOT / "docs" / "pictures"
    files = {path.stem: path for path in folder.glob("*.png")}
    of_pages = {name for name in files if not name.startswith("calc_")}  # those are of a program's windows
    assert of_pages == set(kept_of_pictures()) == {item[0] for item in pictured()}
    pages = "".join(
        page.read_text(encoding="utf-8") for page in [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]
    )
    for name, path in files.items():
        assert path.stat().st_size <= LARGEST, name
        assert f"pictures/{name}.png)" in pages, name


def groups(path: Path) -> dict[str, etree._Element]:
    """The pictures of a workbook by their name."""
    with zipfile.ZipFile(path) as file:
        roots = [
            etree.fromstring(file.read(name))
            for name in file.namelist()
            if name.startswith("xl/drawings/drawing")
        ]
    found = [group for root in roots for group in root.iter(f"{XDR}grpSp")]
    return {group.find(f"{XDR}nvGrpSpPr/{XDR}cNvPr").get("name"): group for group in found}


def outlines(group: etree._Element) -> list[tuple[str, np.ndarray]]:
    """Fill (or pattern, or "line") and points [mm] of each outline, in the picture's own place."""
    found = []
    for shape in group.iter(f"{XDR}sp"):
        path = shape.find(f"{XDR}spPr/{A}custGeom/{A}pathLst/{A}path")
        if path is None:
            continue
        off, ext = (shape.find(f"{XDR}spPr/{A}xfrm/{A}{name}") for name in ("off", "ext"))
        low = np.array([float(off.get("x")), float(off.get("y"))]) / EMU
        size = np.array([float(ext.get("cx")), float(ext.get("cy"))]) / EMU
        units = np.array([float(path.get("w")), float(path.get("h"))])
        look = shape.find(f"{XDR}spPr/{A}pattFill")
        fill_ = shape.find(f"{XDR}spPr/{A}solidFill/{A}srgbClr")
        name = look.get("prst") if look is not None else fill_.get("val") if fill_ is not None else "line"
        rows: list[list[list[float]]] = []
        for item in path:
            if item.tag == f"{A}moveTo":
                rows.append([])
            rows[-1] += [[float(at.get("x")), float(at.get("y"))] for at in item.iter(f"{A}pt")]
        found += [(name, low + np.array(row) / units * size) for row in rows]
    return found


def words(group: etree._Element) -> dict[str, float]:
    """Each text and the middle of its box [mm]."""
    found = {}
    for shape in group.iter(f"{XDR}sp"):
        text = "".join(item.text or "" for item in shape.iter(f"{A}t"))
        if text:
            off, ext = (shape.find(f"{XDR}spPr/{A}xfrm/{A}{name}") for name in ("off", "ext"))
            found.setdefault(text, (float(off.get("x")) + float(ext.get("cx")) / 2.0) / EMU)
    return found


def rows_of(path: Path, table: str) -> list[dict]:
    """The rows of a table, cells as they are stored."""
    book = openpyxl.load_workbook(path, data_only=True)
    for sheet in book:
        if table in sheet.tables:
            left, top, right, bottom = range_boundaries(sheet.tables[table].ref)
            heads = [sheet.cell(top, column).value for column in range(left, right + 1)]
            return [
                dict(
                    zip(
                        heads,
                        (sheet.cell(row, column).value for column in range(left, right + 1)),
                        strict=True,
                    )
                )
                for row in range(top + 1, bottom + 1)
            ]
    raise KeyError(table)


def hours(moment: datetime.datetime, day: datetime.date) -> float:
    """Hours since midnight of the sheet's day."""
    return (moment - datetime.datetime.combine(day, datetime.time())).total_seconds() / 3600.0


def by_labels(group: etree._Element):
    """Millimetres of an hour, by the labels of two full hours of the picture."""
    marks = sorted((x, int(text[:2])) for text, x in words(group).items() if re.fullmatch(r"\d\d:00", text))
    (a, first), (b, last) = marks[0], marks[1]
    return lambda hour: a + (hour - first) * (b - a) / ((last - first) % 24)


def test_every_picture_is_a_vector_with_words_for_who_cannot_see_it(sheets):
    names = set()
    for path in sorted(sheets.rglob("*.xlsx")):
        with zipfile.ZipFile(path) as file:
            assert not [name for name in file.namelist() if name.startswith("xl/media")]
        for name, group in groups(path).items():
            told = group.find(f"{XDR}nvGrpSpPr/{XDR}cNvPr").get("descr")
            assert len(told) > len(name)
            names.add(name)
    assert names == {"Shift strip", "Container levels", "Cure of the batches", "Sections"}


def test_marks_of_the_strip_stand_at_the_times_of_the_clock_list(sheets):
    path = sheets / "2026-03-02_Late" / "Block_potting_material.xlsx"
    strip = groups(path)["Shift strip"]
    place, day = by_labels(strip), datetime.date(2026, 3, 2)
    times = rows_of(path, "MaterialTimes")
    wedges = [points for fill_, points in outlines(strip) if fill_ == "FFFFFF" and len(points) == 3]
    purges = [place(hours(row["Time"], day)) for row in times if row["Event"] == "purge"]
    assert len(purges) >= 10
    assert [float(points[:, 0].mean()) for points in wedges] == pytest.approx(purges, abs=0.1)
    breaks = [points for fill_, points in outlines(strip) if fill_ == "wdUpDiag"]
    starts = [place(hours(row["Time"], day)) for row in times if row["Event"] == "break"]
    assert [float(points[:, 0].min()) for points in breaks] == pytest.approx(starts, abs=0.1)
    checks = rows_of(path.with_name("Block_potting_shot_check.xlsx"), "CheckShots")
    ticks = [
        line for fill_, line in outlines(strip) if fill_ == "line" and len(line) == 2 and line[0, 1] > 8.0
    ]
    ticks = [
        float(line[0, 0]) for line in ticks if line[1, 1] - line[0, 1] < 3.0 and line[0, 0] == line[1, 0]
    ]
    assert ticks == pytest.approx([place(hours(row["Time"], day)) for row in checks], abs=0.1)


def test_the_saw_tooth_is_as_high_as_the_clock_list_says(sheets):
    """A purge of the list names the share of pot life used then: the tooth below it is so high."""
    path = sheets / "2026-03-02_Late" / "Block_potting_material.xlsx"
    strip = groups(path)["Shift strip"]
    place, day = by_labels(strip), datetime.date(2026, 3, 2)
    lines = [line for fill_, line in outlines(strip) if fill_ == "line"]
    foot = max(line[:, 1].max() for line in lines)
    curves = [line for line in lines if len(line) > 2]
    limit = next(line for line in lines if len(line) == 2 and line[0, 1] == line[1, 1] < foot)
    seen = 0
    for row in rows_of(path, "MaterialTimes"):
        found = re.search(r"(\d+)% of pot life used, limit (\d+)%", str(row["Action"]))
        at_limit = re.search(r"reaches its limit at (\d\d:\d\d)", str(row["Action"]))
        if row["Event"] != "purge" or not (found or at_limit):
            continue
        if at_limit and at_limit[1] != f"{row['Time']:%H:%M}":
            continue  # made before the break in which the limit falls
        x = place(hours(row["Time"], day))
        line = next(line for line in curves if line[0, 0] - 0.2 <= x <= line[-1, 0] + 0.2)
        top = float(np.interp(x, line[:, 0], line[:, 1]))  # when the purge begins
        share = (foot - top) / (foot - limit[0, 1])
        if found:  # half a per cent of rounding in the list, a hundredth of a millimetre of one in the file
            used, allowed = float(found[1]), float(found[2])
            assert share * allowed == pytest.approx(used, abs=1.2)
        else:  # a minute of rounding in the list, of the quarter of an hour in which the limit is reached
            assert share == pytest.approx(1.0, abs=0.08)
        seen += 1
    assert seen >= 8


def test_cure_bars_end_at_the_times_of_the_board(sheets):
    path = sheets / "2026-03-02_Early" / "Hem_robot_cure_board.xlsx"
    bars = groups(path)["Cure of the batches"]
    place, day = by_labels(bars), datetime.date(2026, 3, 2)
    parts: dict[float, list[float]] = {}
    for fill_, points in outlines(bars):
        if len(points) == 4 and fill_ != "line" and points[:, 1].min() > 5.0:
            parts.setdefault(round(float(points[:, 1].min()), 1), []).extend(points[:, 0].tolist())
    board = rows_of(path, "CureBatches")
    assert len(parts) == len(board)
    for row, edges in zip(board, (parts[key] for key in sorted(parts)), strict=True):
        for name in ("First part", "Last part", "Move", "Join"):
            x = place(hours(row[name], day))
            # the board shows whole minutes, upward: a minute is 0.1 mm at most
            assert min(abs(x - edge) for edge in edges) < 0.15, (row["Batch"], name)


def test_levels_of_the_shots_stand_to_scale_in_the_pot(sheets):
    """By the bar of scale of the picture itself: the levels are those that the card states."""
    path = sheets / "setup" / "Block_potting_setup.xlsx"
    group = groups(path)["Sections"]
    lines = [line for fill_, line in outlines(group) if fill_ == "line"]
    said = {text: x for text, x in words(group).items()}
    length = next(float(found[1]) for text in said if (found := re.fullmatch(r"(\d+) mm", text)))
    bar = next(line for line in lines if len(line) == 4 and np.ptp(line[:, 1]) < 1.5)
    scale = np.ptp(bar[:, 0]) / length
    wall = max((line for line in lines if len(line) == 4), key=lambda line: np.ptp(line[:, 0]))
    floor = wall[:, 1].max()
    levels = sorted(floor - line[0, 1] for line in lines if len(line) == 2 and np.ptp(line[:, 0]) > 50.0)
    stated = [float(re.match(r"to ([\d.]+)\smm", row["Detail"])[1]) for row in rows_of(path, "SetupShots")]
    assert [level / scale for level in levels] == pytest.approx(stated, abs=0.3)
    assert any("wait at least" in text for text in said)  # as the headline of the card says


def area(points: list[tuple[float, float]]) -> float:
    """The area of a closed outline, by the shoelace formula."""
    x, y = np.array(points).T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2.0


@pytest.mark.parametrize(
    ("section", "width", "height", "wanted"),
    [  # closed forms of elementary geometry, mm
        ("round", 4.0, None, math.pi * 4.0),
        ("half-round", 4.0, None, math.pi * 2.0),
        ("ellipse", 6.0, 4.0, math.pi * 6.0),
        ("rectangle", 6.0, 4.0, 24.0),
        ("triangle", 6.0, 4.0, 12.0),
        ("mitre", 4.0, None, 8.0),
        ("fillet", 4.0, None, 16.0 * (1.0 - math.pi / 4.0)),
        ("stadium", 6.0, 2.0, 4.0 * 2.0 + math.pi),
        # a segment of a circle of radius 5 with the height 2: chord 8, R²·acos(3/5) − 3·4
        ("segment", 8.0, 2.0, 25.0 * math.acos(0.6) - 12.0),
        # more than half of it: the height 8 over the same chord
        ("segment", 8.0, 8.0, math.pi * 25.0 - (25.0 * math.acos(0.6) - 12.0)),
    ],
)
def test_a_bead_is_drawn_with_the_area_of_its_section(section, width, height, wanted):
    bead = SimpleNamespace(section=section, width=width, height=height, contact_angle=None)
    # 48 corners of a circle: its polygon is smaller by 2π²/(3·48²), 0.3 %
    assert area(bead_outline(bead)) == pytest.approx(wanted, rel=0.02)


def test_a_cavity_is_drawn_with_its_draft():
    pot = SimpleNamespace(shape="tray", length=0.1, draft=math.radians(45.0))
    assert cavity_outline(pot, 0.02) == [(0.0, 0.05), (0.02, pytest.approx(0.07))]
    lying = SimpleNamespace(shape="lying-cylinder", length=0.2, draft=0.0)
    assert cavity_outline(lying, 0.1)[-1] == (pytest.approx(0.1), pytest.approx(0.1))


def test_cells_stand_at_their_pitch():
    pot = SimpleNamespace(
        cells=30, cell="", cell_diameter=0.021, cell_height=0.07, cell_base=0.002, cells_along=6, pitch=0.022,
        length=0.14, width=0.11, shape="tray", draft=0.0, depth=0.08, at="",
    )  # fmt: skip
    cells = section_cells(pot)
    assert [left for left, *_ in cells] == pytest.approx([0.07 - 0.0655 + 0.022 * n for n in range(6)])
    assert cells[0][1:] == (0.002, 0.021, 0.07)


def test_stitches_add_up_round_a_corner():
    """Runs of 3 and gaps of 2 along 10 + 6: 3 + 3 + 3 + 1, the last run cut at the end."""
    runs = stitched([(0.0, 0.0), (10.0, 0.0), (10.0, 6.0)], 3.0, 2.0)
    lengths = [sum(math.dist(a, b) for a, b in itertools.pairwise(run)) for run in runs]
    assert lengths == pytest.approx([3.0, 3.0, 3.0, 1.0])
    assert runs[2] == [(10.0, 0.0), (10.0, 3.0)]


def test_a_station_without_parts_keeps_no_room(tmp_path):
    """A picture that there is not leaves hidden rows, no empty paper."""
    plan = new_plan(tmp_path / "plan.xlsx", demo=True)
    fill(plan, tmp_path / "out", date="2026-03-02", shift="Early", stations=["Plate paste"])
    book = openpyxl.load_workbook(tmp_path / "out" / "setup" / "Plate_paste_setup.xlsx")
    sheet, _, cells = book.defined_names["_picture.sections"].attr_text.rpartition("!")
    _, top, _, bottom = range_boundaries(cells.replace("$", ""))
    assert all(book[sheet.strip("'")].row_dimensions[row].hidden for row in range(top, bottom + 1))


def test_batches_of_which_no_time_is_known_have_no_bars_and_no_heading_of_them(tmp_path):
    """A paste of room cure without times, oven or mating: a bar would say nothing."""
    plan = new_plan(tmp_path / "plan.xlsx", demo=True)
    book = openpyxl.load_workbook(plan)
    rows = [row for row in book["Materials"].iter_rows() if row[0].value in ("Material", "thermal paste")]
    place = [cell.value for cell in rows[0]].index("Cure")
    rows[1][place].value = "room"
    book.save(plan)
    fill(plan, tmp_path / "out", date="2026-03-02", shift="Early", stations=["Plate paste", "Hem robot"])
    for station, is_hidden in (("Plate_paste", True), ("Hem_robot", False)):
        book = openpyxl.load_workbook(tmp_path / "out" / "2026-03-02_Early" / f"{station}_cure_board.xlsx")
        for name in ("_picture.cure_bars", "_headed.cure_bars"):
            sheet, _, cells = book.defined_names[name].attr_text.rpartition("!")
            _, top, _, bottom = range_boundaries(cells.replace("$", ""))
            rows = [book[sheet.strip("'")].row_dimensions[row].hidden for row in range(top, bottom + 1)]
            assert all(rows) if is_hidden else not rows[0], (station, name)
