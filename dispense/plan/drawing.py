"""The curves of a drawing (DXF), with layer and colour of each, in metres.

Lines, arcs, circles, polylines with bulges, ellipses and splines of the model space are read, those in
blocks too. All else that is drawn is named with its layer and how often it is there.
"""

from __future__ import annotations

import itertools
import os
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np

from ..base.errors import NA, FileError, InputError, Problem
from ..base.naming import nearest
from ..base.numbers import Floats
from ..base.units import unit_factor
from ..handbook.beads import arc_length, path_length
from ..handbook.drawings import Piece, bulge_middle, curve_piece, ellipse, spline

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.entities.arc import Arc
    from ezdxf.entities.circle import Circle
    from ezdxf.entities.dxfgfx import DXFGraphic
    from ezdxf.entities.ellipse import Ellipse
    from ezdxf.entities.insert import Insert
    from ezdxf.entities.line import Line
    from ezdxf.entities.lwpolyline import LWPolyline
    from ezdxf.entities.polyline import Polyline
    from ezdxf.entities.spline import Spline

MOST_BYTES = 200_000_000
MOST_PIECES = 50_000
_MOST_ENTITIES = 500_000
_DEEPEST = 20  # blocks within blocks
#: $INSUNITS of the published DXF reference: the code, the unit
UNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 8: "microinch", 9: "mil", 10: "yd", 13: "µm", 14: "dm"}
_BY_LAYER, _BY_BLOCK = 256, 0  # colour numbers that stand for that of the layer or of the block


@dataclass(frozen=True, slots=True)
class Drawn:
    """A piece with the layer and the colour that it has on the drawing."""

    piece: Piece
    layer: str
    colour: str


@dataclass(slots=True)
class DrawingFile:
    """What a drawing holds: pieces, what could not be read with how often, layers that are not shown."""

    name: str
    unit: str
    drawn: list[Drawn]
    unread: Counter[tuple[str, str]]  # what it is, layer
    hidden: set[str]
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Around:
    """What an entity in a block takes from the place where the block stands."""

    layer: str = "0"
    colour: str = "7"
    depth: int = 0


class _Reader:
    """Reads the entities of a document."""

    def __init__(self, document: Document, factor: float):
        self.document, self.factor = document, factor
        self.drawn: list[Drawn] = []
        self.unread: Counter[tuple[str, str]] = Counter()
        self.entities = 0

    def read(self, entities: Iterable[DXFGraphic], around: _Around) -> None:
        """Read entities, those of blocks with what stands around them."""
        for entity in entities:
            self.entities += 1
            if self.entities > _MOST_ENTITIES or len(self.drawn) > MOST_PIECES:
                raise FileError(
                    Problem(
                        self.document.filename or "drawing",
                        message=f"holds more than {MOST_PIECES:,} curves",
                        fix="save the beads alone as a drawing",
                    )
                )
            layer = str(entity.dxf.get("layer", "0"))
            layer = around.layer if layer == "0" and around.depth else layer
            inner = _Around(layer, self._colour(entity, layer, around), around.depth + 1)
            if entity.dxf.get("invisible", 0):
                continue
            if entity.dxftype() == "INSERT":
                self._read_block(cast("Insert", entity), inner)
            else:
                self._read_curve(entity, inner)

    def _colour(self, entity: DXFGraphic, layer: str, around: _Around) -> str:
        """The colour as the drawing shows it: a number of the colour index, or #rrggbb."""
        if entity.dxf.hasattr("true_color"):
            return f"#{entity.dxf.true_color & 0xFFFFFF:06x}"
        number = int(entity.dxf.get("color", _BY_LAYER))
        if number == _BY_BLOCK:
            return around.colour
        if number != _BY_LAYER:
            return str(number)
        if layer not in self.document.layers:
            return "7"
        found = self.document.layers.get(layer)
        if found.dxf.hasattr("true_color"):
            return f"#{found.dxf.true_color & 0xFFFFFF:06x}"
        return str(abs(int(found.dxf.get("color", 7))))

    def _read_block(self, entity: Insert, inner: _Around) -> None:
        """The entities of a block where it is put, each of its rows and columns."""
        if inner.depth > _DEEPEST:
            self.unread["block within itself", inner.layer] += 1
            return

        def skipped(part: DXFGraphic, reason: str) -> None:
            self.unread[f"{part.dxftype()} in a block", inner.layer] += 1

        if entity.mcount > _MOST_ENTITIES:
            self.unread[f"block put {entity.mcount} times", inner.layer] += 1
            return
        for one in entity.multi_insert() if entity.mcount > 1 else [entity]:
            self.read(one.virtual_entities(skipped_entity_callback=skipped), inner)

    def _read_curve(self, entity: DXFGraphic, inner: _Around) -> None:
        kind = entity.dxftype()
        read = _READERS.get(kind)
        piece = None
        if read is not None:
            try:
                piece = read(entity, self.factor)
            except (ValueError, ArithmeticError, AttributeError, LookupError, TypeError):
                piece = None  # a damaged entity, whatever the library finds in it: it is named below
        if piece is None:
            self.unread[kind if read is None else f"{kind} without a length or a shape", inner.layer] += 1
        else:
            self.drawn.append(Drawn(piece, inner.layer, inner.colour))


# ----------------------------------------------------------------------------------------- entities


def _named(entity: DXFGraphic, piece: Piece) -> Piece | None:
    """The piece under the name of its entity; none where it has no length, no number or no such arc."""
    if not np.isfinite(piece.rows).all() or not piece.length > 0.0:
        return None
    along = float(path_length(piece.rows, labels=list(piece.motions)))
    if not np.isfinite(along):
        return None
    handle = entity.dxf.get("handle")
    name = f"{entity.dxftype()} {handle}" if handle else entity.dxftype()
    return Piece(piece.rows, piece.motions, piece.length, name)


def _line(entity: Line, factor: float) -> Piece | None:
    rows = factor * np.array([list(entity.dxf.start), list(entity.dxf.end)], dtype=float)
    return _named(entity, Piece(rows, ("line", "line"), float(np.linalg.norm(rows[1] - rows[0]))))


def _round(entity: Arc | Circle, factor: float) -> Piece | None:
    """An arc, counter-clockwise about its own normal, or a circle."""
    frame, radius = entity.ocs(), float(entity.dxf.radius)
    is_arc = entity.dxftype() == "ARC"
    start, end = (float(entity.dxf.start_angle), float(entity.dxf.end_angle)) if is_arc else (0.0, 360.0)
    sweep = (end - start) % 360.0 or 360.0
    vectors = [(radius, 0.0, 0.0), (0.0, radius, 0.0)]
    centre, along, across = (
        factor * np.array(list(frame.to_wcs(vector))) for vector in (entity.dxf.center, *vectors)
    )
    count = 1 if sweep <= 180.0 else 2
    angles = np.radians(start) + np.radians(sweep) * np.linspace(0.0, 1.0, 2 * count + 1)
    rows = ellipse(centre, along, across, 0.0, 1.0).place(angles)
    if sweep == 360.0:
        rows[-1] = rows[0]
    motions = ("line", *("arc", "line") * count)
    return _named(entity, Piece(rows, motions, float(factor * radius * np.radians(sweep))))


def _ellipse(entity: Ellipse, factor: float) -> Piece | None:
    major = np.array(list(entity.dxf.major_axis), dtype=float)
    minor = np.array(list(entity.minor_axis), dtype=float)
    start = float(entity.dxf.get("start_param", 0.0))
    sweep = (float(entity.dxf.get("end_param", 2.0 * np.pi)) - start) % (2.0 * np.pi)
    closed = sweep < 1e-9 or sweep > 2.0 * np.pi - 1e-7  # what is left of 2π with the digits of a file
    sweep = 2.0 * np.pi if closed else sweep
    centre = factor * np.array(list(entity.dxf.center), dtype=float)
    curve = ellipse(centre, factor * major, factor * minor, start, start + sweep)
    piece = curve_piece(curve)
    if closed:
        piece.rows[-1] = piece.rows[0]
    return _named(entity, piece)


def _spline(entity: Spline, factor: float) -> Piece | None:
    """A spline by its control points, or through its fit points as drawing programs lay it."""
    if not entity.control_point_count():
        tool = entity.construction_tool()
        degree, knots, weights = tool.order - 1, list(tool.knots()), list(tool.weights())
        controls = np.array([list(point) for point in tool.control_points], dtype=float)
    else:
        degree, knots, weights = int(entity.dxf.degree), list(entity.knots), list(entity.weights)
        controls = np.array([list(point) for point in entity.control_points], dtype=float)
    sizes = (len(knots), len(weights) or len(controls))
    if degree < 1 or sizes != (len(controls) + degree + 1, len(controls)):
        return None
    if any(after < before for before, after in itertools.pairwise(knots)):
        return None
    if weights and not min(weights) > 0.0:
        return None
    return _named(entity, curve_piece(spline(degree, knots, factor * controls, weights or None)))


def _bulged(entity: LWPolyline | Polyline, corners: Floats, closed: bool, factor: float) -> Piece | None:
    """A flat polyline: corners with x, y, z and bulge in its own frame."""
    frame = entity.ocs()
    rows, motions, length = [corners[0, :3]], ["line"], 0.0
    following = np.roll(corners, -1, axis=0) if closed else corners[1:]
    for start, end in zip(corners, following, strict=False):
        chord = float(np.linalg.norm(end[:2] - start[:2]))
        if chord == 0.0:
            continue
        if start[3] != 0.0:
            rows.append(np.array([*bulge_middle(start[:2], end[:2], float(start[3])), start[2]]))
            motions.append("arc")
        rows.append(end[:3])
        motions.append("line")
        length += float(arc_length(chord, float(start[3])))
    places = np.array([list(frame.to_wcs(tuple(row))) for row in rows], dtype=float)
    return _named(entity, Piece(factor * places, tuple(motions), factor * length))


def _light_polyline(entity: LWPolyline, factor: float) -> Piece | None:
    height = float(entity.dxf.get("elevation", 0.0))
    corners = np.array([[x, y, height, bulge] for x, y, bulge in entity.get_points("xyb")], dtype=float)
    return _bulged(entity, corners, bool(entity.closed), factor) if len(corners) > 1 else None


def _polyline(entity: Polyline, factor: float) -> Piece | None:
    """A polyline with vertices of its own; meshes are none."""
    frame_point = 16  # flag of a vertex that only controls a curve
    vertices = [vertex for vertex in entity.vertices if not vertex.dxf.get("flags", 0) & frame_point]
    if len(vertices) < 2 or not (entity.is_2d_polyline or entity.is_3d_polyline):
        return None
    places = np.array([list(vertex.dxf.location) for vertex in vertices], dtype=float)
    if entity.is_2d_polyline:
        bulges = np.array([[float(vertex.dxf.get("bulge", 0.0))] for vertex in vertices])
        places[:, 2] = float(entity.dxf.elevation[2]) if entity.dxf.hasattr("elevation") else 0.0
        return _bulged(entity, np.hstack([places, bulges]), bool(entity.is_closed), factor)
    rows = factor * (np.vstack([places, places[:1]]) if entity.is_closed else places)
    length = float(np.linalg.norm(np.diff(rows, axis=0), axis=1).sum())
    return _named(entity, Piece(rows, ("line",) * len(rows), length))


_READERS: dict[str, Callable[..., Piece | None]] = {
    "LINE": _line,
    "ARC": _round,
    "CIRCLE": _round,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
    "LWPOLYLINE": _light_polyline,
    "POLYLINE": _polyline,
}


# --------------------------------------------------------------------------------------------- file


def _document(path: Path) -> tuple[Document, list[str]]:
    """The document of a DXF file; a damaged one is read as far as it goes, which is told."""
    from ezdxf import recover
    from ezdxf.filemanagement import readfile

    try:
        if not path.is_file():
            raise FileError(Problem(str(path), message="is no file", fix="is its name spelled so?"))
        if path.stat().st_size > MOST_BYTES:
            raise FileError(Problem(str(path), message=f"is larger than {MOST_BYTES // 1_000_000} MB"))
        head = path.read_bytes()[:6]
    except OSError as error:
        raise FileError(Problem(str(path), message=f"cannot be read: {error.strerror or error}")) from error
    if head.startswith(b"AC10"):
        raise FileError(
            Problem(str(path), message="is a DWG drawing", fix="save it as DXF in the drawing program")
        )
    try:
        return readfile(path), []
    except Exception:  # whatever it is, the second way may read it
        pass
    try:
        document, auditor = recover.readfile(path)
    except Exception as error:  # damaged files end in errors of every kind
        words = str(error) or type(error).__name__
        raise FileError(
            Problem(str(path), message=f"is no DXF drawing that can be read: {words[:200]}")
        ) from error
    count = len(auditor.errors) + len(auditor.fixes)
    return document, [f"the drawing is damaged; {count} faults were mended: look at the picture"]


def _unit(document: Document, name: str, asked: str | None) -> tuple[str, list[str]]:
    """The drawing's unit, or the one that is asked for."""
    code = int(document.header.get("$INSUNITS", 0))
    own = UNITS.get(code)
    if asked is not None:
        told = own is not None and own != asked
        return asked, [f"the drawing says {own}, {asked} was asked for and taken"] if told else []
    if own is None:
        said = "tells no unit" if code == 0 else f"has unit code {code}, which is not used for parts"
        raise InputError(Problem(name, message=f"the drawing {said}", fix="give --units mm, or in"))
    return own, []


def read_drawing(path: str | os.PathLike[str], unit: str | None = None) -> DrawingFile:
    """All curves of a DXF drawing's model space in metres.

    `unit` replaces the unit that the drawing states. Raises FileError where the file is no drawing, and
    InputError where neither tells the unit.
    """
    path = Path(path)
    if unit is not None:
        unit_factor(unit, "mm")
    document, notes = _document(path)
    unit, more = _unit(document, path.name, unit)
    reader = _Reader(document, unit_factor(unit, "mm")[0])
    reader.read(document.modelspace(), _Around())
    hidden = {
        str(layer.dxf.name).casefold() for layer in document.layers if layer.is_off() or layer.is_frozen()
    }
    return DrawingFile(path.name, unit, reader.drawn, reader.unread, hidden, [*notes, *more])


def chosen(drawing: DrawingFile, layers: Sequence[str] = (), colours: Sequence[str] = ()) -> list[Drawn]:
    """The pieces of the layers and colours asked for; where none is asked for, of the one layer there is.

    Raises InputError with what there is where a layer or a colour is not on the drawing, or more than one
    layer holds curves and none is chosen.
    """
    problems = []
    for what, asked, there in (
        ("layer", layers, dict.fromkeys(item.layer for item in drawing.drawn)),
        ("colour", colours, dict.fromkeys(item.colour for item in drawing.drawn)),
    ):
        known = {name.casefold(): name for name in there}
        for name in asked:
            if name.casefold() not in known:
                near = nearest(name, list(there))
                problems.append(
                    Problem(
                        drawing.name,
                        what,
                        name,
                        "one with curves: " + _listed(drawing, what),
                        f"is it {near}?" if near else "",
                        NA,
                    )
                )
    if problems:
        raise InputError(problems)
    wanted, inks = {name.casefold() for name in layers}, {name.casefold() for name in colours}
    shown = [item for item in drawing.drawn if wanted or item.layer.casefold() not in drawing.hidden]
    found = [
        item
        for item in shown
        if (not wanted or item.layer.casefold() in wanted) and (not inks or item.colour.casefold() in inks)
    ]
    if not found:
        unread = ", ".join(sorted({kind for kind, _ in drawing.unread})) or "nothing"
        holds = f"curves are on {_listed(drawing, 'layer')}" if drawing.drawn else f"it holds {unread}"
        raise InputError(
            Problem(drawing.name, message=f"no line, arc or curve to be seen is chosen; {holds}")
        )
    if not wanted and not inks and len({item.layer for item in found}) > 1:
        raise InputError(
            Problem(
                drawing.name,
                message="curves are on more than one layer: " + _listed(drawing, "layer"),
                fix="choose with --layer NAME or --colour NUMBER",
            )
        )
    return found


def _listed(drawing: DrawingFile, what: str) -> str:
    """Layers or colours with how many curves are on each and their length."""
    counts: dict[str, list[float]] = {}
    for item in drawing.drawn:
        counts.setdefault(getattr(item, what), []).append(item.piece.length)
    return ", ".join(
        f"{name} ({len(lengths)} curve{'s' * (len(lengths) > 1)}, {1000.0 * sum(lengths):.1f} mm)"
        for name, lengths in counts.items()
    )


__all__ = ["MOST_PIECES", "UNITS", "DrawingFile", "Drawn", "chosen", "read_drawing"]
