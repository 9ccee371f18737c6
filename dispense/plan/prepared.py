"""What a table may say in another way, put into the words of its columns before it is read.

Builds of a week become builds of its days; quantities in kg, g, containers or each become volumes; an
item number becomes the material and component that are bought under it; an order becomes a lot that
arrives. Cells keep their places, so that what is wrong is named where it stands.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from ..base.errors import NA, InputError, Problem, UnitError
from ..base.naming import field_name, fold, nearest
from ..base.units import from_si, read_header, read_quantity, unit_factor
from .records import Plan, RawTable
from .rows import Component, StockLot
from .tables import BUILDS, ORDERS, QUANTITY_UNITS, SHIFTS, STOCK, VALIDITY
from .weeks import is_like_week, last_monday, slots_of, split_whole, week_of

#: words for a container as a whole, as stock systems write them
EACH = frozenset({"each", "ea", "pc", "pcs", "piece", "pieces", "container", "containers"})
NEVER = datetime.date.max  # the last day of what keeps
VOLUME = "mL"
DAY_0 = 1900  # spreadsheets keep a time beyond 24:00 as a date of that year or of the one before


def prepared(raw: RawTable, plan: Plan, problems: list[Problem]) -> RawTable:
    """A raw table as `read_table` takes it; `plan` holds the tables before it."""
    if raw.name == BUILDS.name:
        return _weeks_as_days(raw, plan, problems)
    if raw.name == VALIDITY.name:
        typed = list(map(_typed, _cells(raw, "value")))
        return raw if _place(raw, "value") is None else _with_column(raw, "value", "Value", typed)
    if raw.name in (STOCK.name, ORDERS.name):
        return _in_volumes(_with_names(raw, plan, problems), plan, problems)
    return raw


def lots_on_order(plan: Plan) -> list[StockLot]:
    """Each open order as the lot that it will be; one of an unknown material is named where it stands."""
    known = {row.material for row in plan.materials}
    taken = {(row.material, row.component, row.lot) for row in plan.stock}
    found = []
    for row in plan.orders:
        if row.material not in known:
            continue
        part = plan.components_of(row.material).get(row.component)
        expiry = row.expiry
        if expiry is None:
            life = part.shelf_life if part is not None else None
            expiry = NEVER if life is None else row.arrival + datetime.timedelta(seconds=life)
        name = base = row.lot or f"order {row.order}"
        number = 1
        while (row.material, row.component, name) in taken:
            number += 1
            name = f"{base} ({number})"
        taken.add((row.material, row.component, name))
        found.append(
            StockLot(
                row.material,
                row.component,
                name,
                row.quantity,
                expiry,
                None,
                row.arrival,
                row.item_number,
                row.unit,
                row.at,
            )
        )
    return found


def _typed(cell: Any) -> Any:
    """A time of day that was typed into a cell of texts, as it was typed: 22:00, 30:00."""
    if isinstance(cell, datetime.time | datetime.timedelta) or (
        isinstance(cell, datetime.datetime) and cell.year <= DAY_0
    ):
        minutes = round(SHIFTS.column("start").read(cell) / 60.0)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    return cell


# ------------------------------------------------------------------------------------------ columns


def _place(raw: RawTable, name: str) -> int | None:
    """The column of a name, its unit left out."""
    for place, header in enumerate(raw.headers):
        if header is not None and field_name(read_header(str(header))[0]) == name:
            return place
    return None


def _cells(raw: RawTable, name: str) -> list[Any]:
    """The cells of a column; blanks where it is not there."""
    place = _place(raw, name)
    count = len(raw.columns[0]) if raw.columns else 0
    return [None] * count if place is None else raw.columns[place]


def _with_column(raw: RawTable, name: str, header: str, cells: list[Any]) -> RawTable:
    """The table with a column exchanged, or one more where it is not there."""
    place = _place(raw, name)
    headers, columns = list(raw.headers), list(raw.columns)
    if place is None:
        letters = [raw.letter(number) for number in range(len(headers))]
        return replace(
            raw,
            headers=[*headers, header],
            columns=[*columns, cells],
            letters=[*letters, letters[0] if letters else "A"],
        )
    headers[place], columns[place] = header, cells
    return replace(raw, headers=headers, columns=columns)


def _is_filled(value: Any) -> bool:
    return value is not None and str(value).strip() != ""


def _text(value: Any) -> str:
    return str(int(value) if isinstance(value, float) and value.is_integer() else value).strip()


# -------------------------------------------------------------------------------------------- weeks


def _weeks_as_days(raw: RawTable, plan: Plan, problems: list[Problem]) -> RawTable:
    """Builds of a week as builds of the days and shifts that are worked in it."""
    place = _place(raw, "date")
    if place is None and (week := _place(raw, "week")) is not None:
        raw = replace(raw, headers=["Date" if at == week else each for at, each in enumerate(raw.headers)])
        place = week
    if place is None:
        return raw
    mondays = [week_of(cell) if isinstance(cell, str) else None for cell in raw.columns[place]]
    if not any(isinstance(cell, str) and is_like_week(cell) for cell in raw.columns[place]):
        return raw
    if _place(raw, "shift") is None:
        raw = _with_column(raw, "shift", "Shift", [None] * len(mondays))
    shift_at, count_at = _place(raw, "shift"), _place(raw, "quantity")
    if shift_at is None or count_at is None:
        return raw  # the column that is missing is named by its reader
    known = {fold(row.shift): row.shift for row in plan.shifts}
    rows: list[list[Any]] = []
    numbers: list[int] = []
    for at, monday in enumerate(mondays):
        row = [column[at] for column in raw.columns]
        number = raw.numbers[at] if len(raw.numbers) else at + 2
        quantity, named = row[count_at], row[shift_at]
        shift = known.get(fold(_text(named))) if _is_filled(named) else ""
        is_no_week = monday is None and isinstance(row[place], str) and is_like_week(row[place])
        if is_no_week:
            problems.append(
                Problem(
                    raw.cell(at, place),
                    "date",
                    row[place],
                    f"a week that the year has, to W{last_monday(row[place]).isocalendar().week}",
                    "a year has 52 weeks or 53 (ISO 8601)",
                )
            )
            monday = last_monday(row[place])  # so that what else is wrong with the row is told too
        if is_no_week or monday is None or shift is None or not _is_whole(quantity):
            if isinstance(row[place], str) and is_like_week(row[place]):
                row = _of_week(
                    row, plan, {place: monday or row[place]}, None if _is_filled(named) else shift_at
                )
            rows.append(row)
            numbers.append(number)
            continue
        try:
            slots = slots_of(plan, monday, shift)
        except InputError as error:  # of the country, whose holidays are asked for
            problems += error.problems
            return replace(raw, columns=[[] for _ in raw.headers], numbers=[])
        if not slots:
            problems.append(
                Problem(
                    raw.cell(at, place),
                    message=f"week {row[place]} has no working day" + (f" of shift {shift}" if shift else ""),
                    fix="look at Days of the shift, table Holidays and Country in Settings",
                )
            )
        shares = split_whole(int(float(quantity)), [time for _, _, time in slots])
        for (day, name, _), share in zip(slots, shares, strict=True):
            if share:
                rows.append(_exchanged(row, {place: day, shift_at: name, count_at: share}))
                numbers.append(number)
    columns = [list(column) for column in zip(*rows, strict=True)] or [[] for _ in raw.headers]
    return replace(raw, columns=columns, numbers=numbers)


def _of_week(row: Sequence[Any], plan: Plan, new: dict[int, Any], blank_shift: int | None) -> list[Any]:
    """A row of a week that cannot be split for one cell: no other is wrong."""
    if blank_shift is not None and plan.shifts:
        new = {**new, blank_shift: plan.shifts[0].shift}
    return _exchanged(row, new)


def _exchanged(row: Sequence[Any], new: dict[int, Any]) -> list[Any]:
    return [new.get(place, cell) for place, cell in enumerate(row)]


def _is_whole(value: Any) -> bool:
    """Whether parts can be split: a whole number, also as a text; others are named by their reader."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        return False
    return number >= 0 and number.is_integer() and not isinstance(value, bool)


# --------------------------------------------------------------------------- quantities and item numbers


def _with_names(raw: RawTable, plan: Plan, problems: list[Problem]) -> RawTable:
    """Material and component of each row that gives an item number and no material."""
    items = _cells(raw, "item_number")
    if not any(map(_is_filled, items)):
        return raw
    known = {fold(row.item_number): row for row in plan.components if row.item_number}
    materials, letters = list(_cells(raw, "material")), list(_cells(raw, "component"))
    for at, item in enumerate(items):
        if not _is_filled(item) or _is_filled(materials[at]):
            continue
        part = known.get(fold(_text(item)))
        if part is None:
            near = nearest(_text(item), [row.item_number for row in known.values()])
            place = _place(raw, "item_number") or 0
            problems.append(
                Problem(
                    raw.cell(at, place),
                    "item number",
                    _text(item),
                    "an item number of Components",
                    f"did you mean {near}?" if near else "give material and component, or add it there",
                    NA,
                )
            )
            continue
        materials[at], letters[at] = part.material, part.component
    raw = _with_column(raw, "material", "Material", materials)
    return _with_column(raw, "component", "Component", letters)


def _in_volumes(raw: RawTable, plan: Plan, problems: list[Problem]) -> RawTable:
    """Quantities in mL where a row, the header or the cell itself counts in kg, g or containers."""
    place = _place(raw, "quantity")
    if place is None:
        return raw
    given = read_header(str(raw.headers[place]))[1] or VOLUME
    units = [_text(unit) if _is_filled(unit) else "" for unit in _cells(raw, "unit")]
    cells = raw.columns[place]
    if _is_volume(given) and not any(units) and not any(map(_own_unit, cells)):
        return raw
    components = {(fold(row.material), row.component): row for row in plan.components}
    materials, letters = _cells(raw, "material"), _cells(raw, "component")
    volumes: list[Any] = []
    for at, cell in enumerate(cells):
        unit = _own_unit(cell) or units[at] or given
        number = cell[: -len(unit)].strip() if _own_unit(cell) else cell
        letter = _text(letters[at]).lower() if _is_filled(letters[at]) else "a"
        part = components.get((fold(_text(materials[at] or "")), letter))
        try:
            volumes.append(_volume(number, unit, part))
        except UnitError:
            told = _place(raw, "unit") if units[at] and not _own_unit(cell) else None
            problems.append(
                Problem(raw.cell(at, place if told is None else told), "unit", unit, QUANTITY_UNITS)
            )
            volumes.append(1.0)  # told; its row is not told twice
    return _with_column(raw, "quantity", f"Quantity [{VOLUME}]", volumes)


def _own_unit(cell: Any) -> str:
    """The unit of mass or count that a cell carries itself: "25 kg", "3 containers"."""
    if not isinstance(cell, str):
        return ""
    unit = cell.strip().lstrip("0123456789.,+- ")
    return unit if unit and len(unit) < len(cell.strip()) and (fold(unit) in EACH or _is_mass(unit)) else ""


def _converts(unit: str, target: str) -> bool:
    try:
        unit_factor(unit, target)
    except UnitError:
        return False
    return True


def _is_volume(unit: str) -> bool:
    return unit == VOLUME or _converts(unit, VOLUME)


def _is_mass(unit: str) -> bool:
    return _converts(unit, "g")


def _volume(number: Any, unit: str, part: Component | None) -> Any:
    """A quantity in mL: V = m/ρ of a mass, n·V_container of containers; a cell that is no number stays."""
    if not _is_filled(number):
        return None
    if _is_volume(unit):
        factor, offset = unit_factor(unit, VOLUME)
        return _number(number, lambda value: from_si(value * factor + offset, VOLUME))
    if fold(unit) in EACH:
        per_piece = part.container if part is not None else 1.0
        return _number(number, lambda value: from_si(value * per_piece, VOLUME))
    factor, _ = unit_factor(unit, "g")
    density = part.density if part is not None else 1.0
    return _number(number, lambda value: from_si(value * factor / density, VOLUME))


def _number(cell: Any, change: Callable[[float], float]) -> Any:
    """A number changed; what is none stays as it is, for its reader to name."""
    if isinstance(cell, str):
        try:
            cell = read_quantity(
                cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell, ""
            )
        except UnitError:
            return cell
    if isinstance(cell, bool) or not isinstance(cell, int | float):
        return cell
    return change(float(cell))


__all__ = ["lots_on_order", "prepared"]
