"""Units that a template states beside what is filled in, and whether all that reckons with it agrees.

A plant may change the unit in a table header (`Mass [g]` to `Mass [oz]`) or in the label of a named
cell; the figures follow. A formula or a chart that reads such figures does not know it: where it
mixes them with others in the old unit, or states the old unit itself, the template is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from lxml import etree

from ..base.errors import DispenseError, Problem
from ..base.naming import fold
from .formula_text import split_sheet, table_part, tokens
from .package import MAIN, Package, Sheet, Table, column_letters, iter_cells, split_range

__all__ = ["HEADER", "Box", "label_unit", "names_column", "stated_unit", "unit_problems"]

Factor = Callable[[str, str], float]  # (unit, shop unit) → factor; UnitError where it does not convert

HEADER = re.compile(r"(?P<base>(?:.*\S)?)\s*+\[(?P<unit>[^\[\]]*+)\]\s*+\Z", re.DOTALL)
_LABEL = re.compile(r"(?P<base>(?:.*\S)?)\s*+\[(?P<unit>[^\[\]]*+)\]\s*+:?\s*+\Z", re.DOTALL)
_CHART = "http://schemas.openxmlformats.org/drawingml/2006/chart"
_CELLS = re.compile(r"\$?[A-Za-z]{1,3}\$?[0-9]{1,7}(:\$?[A-Za-z]{1,3}\$?[0-9]{1,7})?\Z")
_FORMULA = f"{{{MAIN}}}f"


class Box(NamedTuple):
    """Cells of one sheet."""

    sheet: str  # lower case
    top: int
    left: int
    bottom: int
    right: int

    def meets(self, other: Box) -> bool:
        """Whether both have a cell in common."""
        return (
            self.sheet == other.sheet
            and self.top <= other.bottom
            and other.top <= self.bottom
            and self.left <= other.right
            and other.left <= self.right
        )


@dataclass(frozen=True, slots=True)
class _Stated:
    """Figures under a label that states their unit; `shop` is the unit they are given in, if given."""

    box: Box
    label: str
    where: str
    unit: str
    shop: str | None = None

    def __str__(self) -> str:
        return f"'{self.label}' ({self.where})"


def stated_unit(label: object) -> str | None:
    """The unit that a label ends with, in square brackets.

    >>> stated_unit("Density [g/mL]:"), stated_unit("Density")
    ('g/mL', None)
    """
    found = _LABEL.match(label) if isinstance(label, str) else None
    return found["unit"].strip() if found else None


def label_unit(package: Package, sheet: Sheet, row: int, column: int) -> tuple[str, str, str] | None:
    """Label, its cell and the unit it states for a cell: above it, else the next text to its left."""
    cells = package.remember(("cells", sheet.name), lambda: package.cell_values(sheet))
    left = next(
        (
            each
            for each in range(column - 1, 0, -1)
            if cells.get(f"{column_letters(each)}{row}") not in (None, "")
        ),
        0,
    )
    for place in ((row - 1, column), (row, left)):
        address = f"{column_letters(place[1])}{place[0]}" if min(place) > 0 else ""
        text = cells.get(address)
        unit = stated_unit(text)
        if unit is not None:
            return " ".join(str(text).split()), f"{sheet.name}!{address}", unit
    return None


def names_column(header: str, column: str) -> bool:
    """Whether a header names the column, with a unit or without."""
    split = HEADER.match(header)
    return fold(header) == fold(column) or (split is not None and fold(split["base"]) == fold(column))


class _Units:
    """What a template states, found once."""

    def __init__(
        self,
        package: Package,
        tables: Mapping[str, Mapping[str, str]],
        names: Mapping[str, str],
        factor: Factor,
    ):
        self.package, self.factor = package, factor
        self.problems: list[Problem] = []
        self.stated = [*self._headers(tables), *self._labels(names)]
        self.changed = [each for each in self.stated if self._is_changed(each)]

    def _headers(self, tables: Mapping[str, Mapping[str, str]]) -> Iterator[_Stated]:
        known = {
            fold(name): {fold(head): unit for head, unit in units.items()} for name, units in tables.items()
        }
        for table in self.package.tables:
            units = known.get(fold(table.name), {})
            for offset, header in enumerate(table.columns):
                split = HEADER.match(header)
                if split:
                    yield self._column(
                        table, offset, header, split["unit"].strip(), units.get(fold(split["base"]))
                    )

    @staticmethod
    def _column(table: Table, offset: int, header: str, unit: str, shop: str | None) -> _Stated:
        column = table.first_column + offset
        # the row below a table holds its sums
        box = Box(table.sheet.name.lower(), table.first_data_row, column, table.last_row + 1, column)
        where = f"{table.sheet.name}!{column_letters(column)}{table.first_row}"
        return _Stated(box, " ".join(header.split()), where, unit, shop)

    def _labels(self, names: Mapping[str, str]) -> Iterator[_Stated]:
        known = {fold(name): unit for name, unit in names.items()}
        for item in self.package.defined_names:
            shop = known.get(fold(item.name))
            for box in self._boxes(item.text, "") if shop is not None else ():
                sheet = self.package.sheet(box.sheet)
                found = sheet and label_unit(self.package, sheet, box.top, box.left)
                if found:
                    yield _Stated(box, *found, shop)

    def _is_changed(self, item: _Stated) -> bool:
        if item.shop is None or item.unit == item.shop:
            return False
        try:
            factor = self.factor(item.unit, item.shop)
        except DispenseError as error:
            self.problems += [
                Problem(f"{self.package.name}, {item.where}", "unit", item.label, each.allowed, each.fix)
                for each in error.problems
            ]
            return False
        return not math.isclose(factor, self.factor(item.shop, item.shop), rel_tol=1e-9)

    # what reads what

    def _boxes(self, formula: str, sheet: str) -> Iterator[Box]:
        """The cells that a formula on a sheet reads, those of tables and names too."""
        try:
            listed = [
                token.value
                for token in tokens(formula)
                if token.type == "OPERAND" and token.subtype == "RANGE"
            ]
        except DispenseError:
            return
        for text in listed:
            try:
                title, rest = split_sheet(text)
                yield from self._referred(text, (title or sheet).lower(), rest)
            except (DispenseError, ValueError):
                continue  # another workbook, or nothing that could be filled

    def _referred(self, text: str, sheet: str, rest: str) -> Iterator[Box]:
        if _CELLS.match(rest):
            yield Box(sheet, *split_range(rest.replace("$", "").upper()))
        elif "[" in text:
            yield from self._table_box(text)
        elif re.fullmatch(r"\$?[A-Za-z]{1,3}:\$?[A-Za-z]{1,3}", rest):
            first, last = (split_range(f"{part.strip('$').upper()}1")[1] for part in rest.split(":"))
            yield Box(sheet, 1, first, 1 << 20, last)
        else:
            for item in self.package.defined_names:
                if fold(item.name) == fold(rest) and fold(item.text) != fold(text):
                    yield from self._boxes(item.text, sheet)

    def _table_box(self, text: str) -> Iterator[Box]:
        name, _, inside = text.partition("[")
        part = table_part(name or None, inside.removesuffix("]"))
        table = self.package.table(name)
        if table is None:
            return
        folded = [fold(column) for column in table.columns]
        places = [
            table.first_column + folded.index(fold(column))
            for column in (part.first, part.last)
            if column and fold(column) in folded
        ]
        left, right = (min(places), max(places)) if places else (table.first_column, table.last_column)
        yield Box(table.sheet.name.lower(), table.first_data_row, left, table.last_data_row, right)

    def _formulas(self) -> Iterator[tuple[Sheet, int, int, str]]:
        for sheet in self.package.worksheets:
            for row, column, _, cell in iter_cells(self.package.tree(sheet.part)):
                text = cell.findtext(_FORMULA)
                if text:
                    yield sheet, row, column, text

    def check(self) -> list[Problem]:
        """Everything that reckons with a changed unit and does not follow it."""
        if not self.changed:
            return self.problems
        formulas = {
            Box(sheet.name.lower(), row, column, row, column): (sheet, row, column, text)
            for sheet, row, column, text in self._formulas()
        }
        reads = {box: list(self._boxes(text, sheet.name)) for box, (sheet, _, _, text) in formulas.items()}
        for box, (sheet, row, column, _) in formulas.items():
            own = [each for each in self.stated if each.box.meets(box)]
            if not own:
                found = label_unit(self.package, sheet, row, column)
                own = [_Stated(box, *found)] if found else []
            where = f"{sheet.name}!{column_letters(column)}{row}"
            self._agree(where, "the formula", own, self._touched(box, reads))
        for sheet in self.package.worksheets:
            for part in self.package.charts(sheet):
                self._chart(sheet, self.package.tree(part))
        return self.problems

    def _touched(self, box: Box, reads: Mapping[Box, list[Box]]) -> list[_Stated]:
        """The labelled figures that a formula reads, through formulas without a label too."""
        found: dict[_Stated, None] = {}
        waiting, seen = list(reads[box]), set()
        while waiting:
            area = waiting.pop()
            if area in seen:
                continue
            seen.add(area)
            labelled = [each for each in self.stated if each.box.meets(area)]
            found.update(dict.fromkeys(labelled))
            if not labelled:
                waiting += [each for cell, areas in reads.items() if cell.meets(area) for each in areas]
        return list(found)

    def _chart(self, sheet: Sheet, root: etree._Element) -> None:
        titles = [
            "".join(item.itertext()).strip()
            for axis in root.iter(f"{{{_CHART}}}valAx")
            for item in axis.iterchildren(f"{{{_CHART}}}title")
        ]
        formulas = [
            item.text or ""
            for values in root.iter(f"{{{_CHART}}}val")
            for item in values.iter(f"{{{_CHART}}}f")
        ]
        areas = [box for formula in formulas for box in self._boxes(formula, "")]
        touched = [each for each in self.stated if any(each.box.meets(area) for area in areas)]
        for title in titles:
            unit = stated_unit(title)
            own = [] if unit is None else [_Stated(Box("", 0, 0, 0, 0), title, "axis title", unit)]
            self._agree(f"a chart of {sheet.name}", "the chart", own, touched)

    def _agree(self, where: str, what: str, own: list[_Stated], touched: list[_Stated]) -> None:
        changed = [each for each in touched if each in self.changed]
        others = [
            other
            for other in dict.fromkeys((*touched, *own))
            if not all(self._same(each, other) for each in changed if each is not other)
        ]
        if not changed or not others:
            return
        odd = [other for other in others if other not in changed] or others
        self.problems.append(
            Problem(
                f"{self.package.name}, {where}",
                message=f"{what} reckons with {_listed(changed)} and with {_listed(odd)}",
                fix=f"write all with one unit, or put back [{changed[0].shop}] in {changed[0].where}",
            )
        )

    def _same(self, changed: _Stated, other: _Stated) -> bool:
        """Whether two figures of one formula may stay together; those of unlike kinds may."""
        assert changed.shop is not None
        try:
            scale = self.factor(other.unit, changed.shop)
        except DispenseError:
            return True
        mine = self.factor(changed.unit, changed.shop)
        if other.shop is not None:  # each against the unit that its figures come in
            scale /= self.factor(other.shop, changed.shop)
            mine /= self.factor(changed.shop, changed.shop)
        return math.isclose(scale, mine, rel_tol=1e-9)


def _listed(items: list[_Stated]) -> str:
    return ", ".join(map(str, items))


def unit_problems(
    package: Package, tables: Mapping[str, Mapping[str, str]], names: Mapping[str, str], factor: Factor
) -> list[Problem]:
    """What in a template does not follow the units that its headers and labels state.

    `tables` gives the unit of each column that is filled or computed, by table and heading, `names`
    that of each named figure; `factor(unit, shop)` takes a number in `unit` to SI, and raises where
    it is no unit of that kind.
    """
    return _Units(package, tables, names, factor).check()
