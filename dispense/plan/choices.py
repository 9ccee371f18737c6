"""What may be chosen in place of what a plan has, and the plans that come of it.

Rows of one option are chosen together; options that change the same figure exclude one another and make
an `Axis`, with what the plan has among them. Axes that touch the same stations make a `ChoiceField`: a set
takes one option of each of its axes, and the set that changes nothing is the plan as it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any, TypeVar

from ..base.errors import NA, InputError, Problem
from ..base.fields import Field as Column
from ..base.naming import LIKELY, fold, nearest
from ..base.numbers import EQUAL
from ..base.units import AS_GIVEN, from_si
from .materials import sized
from .records import Dated, Plan
from .rows import Choice, Component, Row, Station, TemperaturePoint, ValidValue
from .tables import CHOSEN_AT_STATION, CHOSEN_OF_COMPONENT, believable, believable_text

MOST_SETS = 500  # of one comparison; each is played

Value = float | int | str
_T = TypeVar("_T")
_Thing = TypeVar("_Thing")

_AT_STATION = {item.heading.lower(): item for item in CHOSEN_AT_STATION}
_OF_COMPONENT = {item.heading.lower(): item for item in CHOSEN_OF_COMPONENT}


@dataclass(frozen=True, slots=True)
class Target:
    """A figure of the plan that may be chosen: that of a station, or of a component of a material."""

    station: str
    material: str
    component: str
    column: str

    @property
    def field(self) -> Column:
        """Its column."""
        columns = CHOSEN_AT_STATION if self.station else CHOSEN_OF_COMPONENT
        return next(item for item in columns if item.name == self.column)

    @property
    def order(self) -> tuple[bool, str, str, str, int]:
        """Stations first, then as the columns stand."""
        columns = CHOSEN_AT_STATION if self.station else CHOSEN_OF_COMPONENT
        return not self.station, self.station, self.material, self.component, columns.index(self.field)

    @property
    def shared(self) -> Target:
        """What it excludes others of: a temperature and a record of temperatures are one."""
        return replace(self, column="record") if self.column == "shop_temperature" else self


@dataclass(slots=True)
class Option:
    """What is chosen together: a name, short for its column, and the value of each figure in SI units."""

    name: str
    short: str
    values: dict[Target, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Axis:
    """Options of which one holds, the first of them what the plan has."""

    options: tuple[Option, ...]
    targets: tuple[Target, ...]  # the figures that one of its options changes
    stations: frozenset[str]
    heading: str


@dataclass(frozen=True, slots=True)
class ChoiceField:
    """Stations that are chosen for together, and what may be chosen there."""

    stations: tuple[str, ...]
    axes: tuple[Axis, ...]

    @property
    def size(self) -> int:
        """How many sets there are, those that come to the same counted apart."""
        return math.prod(len(axis.options) for axis in self.axes)

    @property
    def product_text(self) -> str:
        """The counts: 3 × 4 = 12."""
        return " × ".join(str(len(axis.options)) for axis in self.axes) + f" = {self.size}"


@dataclass(frozen=True, slots=True)
class ChosenSet:
    """One option of each axis, and the plan that has them."""

    options: tuple[Option, ...]
    plan: Plan
    is_present: bool
    in_use: tuple[Option, ...]  # of these those that the stations use: not a container of another material


# ----------------------------------------------------------------------------------------- reading


def choice_problems(plan: Plan) -> list[Problem]:
    """What is wrong with the rows of Choices."""
    return _read(plan)[1]


def _read(plan: Plan) -> tuple[list[Option], list[Problem]]:
    """The options in the order of their first rows, and what cannot be read."""
    options: dict[tuple[str, ...], Option] = {}
    problems: list[Problem] = []
    for row in plan.choices:
        try:
            target = _target(plan, row)
            value = value_of(plan, row, target.field)
        except InputError as error:
            problems += error.problems
            continue
        name = row.option or _option_name(target, value, plan)
        short = row.option or _value_text(target.field, value)
        # a row by itself that says the same again, in another unit too, is the same option
        own = () if row.option else (target.component, target.column, _rounded(value))
        key = row.station, row.material, fold(row.option), *own
        option = options.setdefault(key, Option(name, short))
        if not _equal(option.values.setdefault(target, value), value):
            problems.append(
                Problem(
                    plan.cell(row, "what"),
                    message=f"{row.what} appears twice in option {row.option}",
                    fix="give each option its own name",
                )
            )
    return list(options.values()), problems


def _target(plan: Plan, row: Choice) -> Target:
    """The figure that a row of Choices is about."""
    if row.what in _AT_STATION:
        if not row.station or row.material or row.component:
            raise InputError(
                Problem(
                    plan.cell(row, "station"),
                    message=f"{row.what} is chosen at a station",
                    fix="name the station, and leave material and component blank",
                )
            )
        return Target(row.station, "", "", _AT_STATION[row.what].name)
    if row.station or not row.material:
        raise InputError(
            Problem(
                plan.cell(row, "material"),
                message=f"{row.what} is chosen of a material's component",
                fix="name the material and its component, and leave the station blank",
            )
        )
    letters = list(plan.components_of(row.material))
    letter = row.component or (letters[0] if len(letters) == 1 else "")
    if letter not in letters:
        allowed = " or ".join(item.upper() for item in letters)
        raise InputError(Problem(plan.cell(row, "component"), "component", row.component, allowed, code=NA))
    return Target("", row.material, letter, _OF_COMPONENT[row.what].name)


def value_of(plan: Plan, row: Choice | ValidValue, column: Column) -> Value:
    """The value of a row as the column that it names reads it."""
    where = plan.cell(row, "value")
    if not row.value:
        raise InputError(Problem(where, column.words, None, column.allowed()))
    if column.refers:
        known = _names(plan, column.refers)
        found = {fold(name): name for name in known}.get(fold(row.value))
        if found is None:
            near = nearest(row.value, known, LIKELY)
            allowed = f"a name in {column.refers}"
            fix = f"did you mean {near}?" if near else ""
            raise InputError(Problem(where, column.words, row.value, allowed, fix, NA))
        return found
    try:
        value: Value = column.read(row.value)
    except InputError as error:
        found_wrong = error.problems[0]
        raise InputError(replace(found_wrong, where=where, argument=column.words, value=row.value)) from None
    if column.kind == "whole":
        return int(value)
    if isinstance(value, float) and not believable(column, from_si(value, column.unit)):
        raise InputError(Problem(where, column.words, row.value, believable_text(column), "check it"))
    return value


def _names(plan: Plan, table: str) -> list[str]:
    """The names that a column may refer to."""
    if table == TemperaturePoint.TABLE:
        return list(dict.fromkeys(row.record for row in plan.temperatures))
    return [row.material for row in plan.materials]


# ------------------------------------------------------------------------------------------- names


def _target_name(target: Target, plan: Plan) -> str:
    """A figure in words: nozzle bore, Bond 60 A container."""
    words = target.field.words
    if not target.material:
        return words
    return f"{plan.component_words(target.material, target.component)} {words}"


def _option_name(target: Target, value: Value | None, plan: Plan) -> str:
    """A figure and its value as an option is called: nozzle bore 1.6 mm."""
    return f"{_target_name(target, plan)} {_value_text(target.field, value)}"


def _value_text(column: Column, value: Value | None) -> str:
    if value is None or value == "":
        return "none"
    if isinstance(value, str):
        return value
    unit = "" if column.unit == AS_GIVEN else column.unit
    return f"{from_si(value, unit):g} {unit}".rstrip() if unit else f"{value:g}"


def _present(plan: Plan, target: Target) -> Value | None:
    """What the plan has; of a shop temperature the record that is named."""
    row: Station | Component
    if target.station:
        row = plan.station(target.station)
        if target.column == "shop_temperature" and row.record:
            return f"as record {row.record}"
    else:
        row = plan.components_of(target.material)[target.component]
    value: Value | None = getattr(row, target.column)
    return value


def _rounded(value: Value) -> str:
    return value if isinstance(value, str) else f"{value:.9g}"


def _equal(present: Value | None, value: Value) -> bool:
    """Whether two values are one but for the rounding of a unit."""
    if isinstance(present, float) and isinstance(value, float):
        return math.isclose(present, value, rel_tol=EQUAL)
    return present == value


# -------------------------------------------------------------------------------------------- sets


def choice_fields(plan: Plan, station: str | None = None) -> list[ChoiceField]:
    """The stations that are chosen for together, in the order of the plan; one station's only if named.

    Raises InputError where nothing may be chosen, or so much that it makes more than `MOST_SETS` sets.
    """
    if station is not None:
        plan.station(station)
    options, problems = _read(plan)
    if problems:
        raise InputError(problems)
    axes = [
        _axis(plan, group, options)
        for group in _alike(options, lambda option: {item.shared for item in option.values})
    ]
    unused = [axis for axis in axes if not axis.stations]
    if unused:
        names = ", ".join(target.material for axis in unused for target in axis.targets)
        raise InputError(Problem("Choices!A1", message=f"no station uses {names}, or may by a choice"))
    order = {row.station: place for place, row in enumerate(plan.stations)}
    fields = []
    for group in _alike([axis for axis in axes if len(axis.options) > 1], lambda axis: set(axis.stations)):
        stations = sorted({name for axis in group for name in axis.stations}, key=order.__getitem__)
        fields.append(
            ChoiceField(tuple(stations), tuple(sorted(group, key=lambda axis: axis.targets[0].order)))
        )
    fields = [item for item in fields if station is None or station in item.stations]
    if not fields:
        at = f" at {station}" if station else ""
        raise InputError(
            Problem(
                "Choices!A1",
                message=f"nothing else may be chosen{at}",
                fix="a row for each bore, mixer, container or material that may be had instead",
            )
        )
    _check_size(fields)
    return sorted(fields, key=lambda item: order[item.stations[0]])


def _check_size(fields: Sequence[ChoiceField]) -> None:
    if sum(item.size for item in fields) > MOST_SETS:
        counts = "; ".join(f"{', '.join(item.stations)}: {item.product_text}" for item in fields)
        raise InputError(
            Problem(
                "Choices!A1",
                message=f"more than {MOST_SETS} sets to play ({counts})",
                fix="fewer rows, or --station for one station",
            )
        )


def _alike(items: Sequence[_T], touched: Callable[[_T], set[_Thing]]) -> list[list[_T]]:
    """Items gathered that touch the same thing, by way of others too."""
    groups: list[tuple[set[_Thing], list[_T]]] = []
    for item in items:
        things, members = touched(item), [item]
        apart = []
        for others, group in groups:
            if others & things:
                things, members = others | things, [*group, *members]
            else:
                apart.append((others, group))
        groups = [*apart, (things, members)]
    return [group for _, group in groups]


def _axis(plan: Plan, options: Sequence[Option], known: Sequence[Option]) -> Axis:
    """What the plan has, and each option that is something else."""
    targets = sorted(
        {target for option in options for target in option.values}, key=lambda target: target.order
    )
    now = {target: _present(plan, target) for target in targets}
    same = [
        item for item in options if all(_equal(now[target], value) for target, value in item.values.items())
    ]
    whole = [item for item in same if len(item.values) == len(targets)]
    name, short = (
        (whole[0].name, whole[0].short)
        if whole
        else (
            ", ".join(_option_name(item, now[item], plan) for item in targets),
            ", ".join(_value_text(item.field, now[item]) for item in targets),
        )
    )
    others = sorted((item for item in options if item not in same), key=_order)
    stations: set[str] = set()
    for target in targets:
        stations |= {target.station} if target.station else _users(plan, target.material, known)
    heading = ", ".join(_target_name(item, plan) for item in targets)
    return Axis((Option(name, short), *others), tuple(targets), frozenset(stations), heading)


def _order(option: Option) -> tuple[list[tuple[tuple[bool, str, str, str, int], bool, float, str]], str]:
    """Smaller figures first, whatever the order of the rows."""
    values = [
        (target.order, isinstance(value, str), 0.0 if isinstance(value, str) else float(value), str(value))
        for target, value in sorted(option.values.items(), key=lambda item: item[0].order)
    ]
    return values, option.name


def _users(plan: Plan, material: str, options: Iterable[Option]) -> set[str]:
    """Stations that use a material, or may by a choice."""
    now = {row.station for row in plan.stations if row.material == material}
    return now | {
        target.station
        for option in options
        for target, value in option.values.items()
        if target.column == "material" and value == material
    }


def chosen_sets(plan: Plan, choice_field: ChoiceField) -> Iterator[ChosenSet]:
    """Every set, the plan as it is first; of those that come to the same plan only the first."""
    seen: set[tuple[Row, ...]] = set()
    for options in product(*(axis.options for axis in choice_field.axes)):
        values = {target: value for option in options for target, value in option.values.items()}
        changed = with_values(plan, values)
        stations = [changed.station(name) for name in choice_field.stations]
        materials = dict.fromkeys(row.material for row in stations)
        parts = [row for name in materials for row in changed.components_of(name).values()]
        key = (*stations, *parts)
        if key not in seen:
            in_use = tuple(
                option
                for option, axis in zip(options, choice_field.axes, strict=True)
                if any(target.station or target.material in materials for target in axis.targets)
            )
            yield ChosenSet(options, changed, not seen, in_use)
            seen.add(key)


def with_values(plan: Plan, values: Mapping[Target, Value]) -> Plan:
    """The plan with other figures; a container keeps its price for the volume where none is chosen."""
    if not values:
        return plan
    at: dict[tuple[str, str, str], dict[str, Any]] = {}
    for target, value in values.items():
        at.setdefault((target.station, target.material, target.component), {})[target.column] = value
    return replace(
        plan,
        dated=[item for item in plan.dated if not _is_chosen(item, at)],
        stations=[_station(row, at.get((row.station, "", ""), {})) for row in plan.stations],
        components=[
            _component(row, at.get(("", row.material, row.component), {})) for row in plan.components
        ],
    )


def _is_chosen(item: Dated, at: Mapping[tuple[str, str, str], Mapping[str, Any]]) -> bool:
    """Whether a figure that holds for a time gives way to one that is chosen: that holds all along."""
    place = (*item.key, "", "") if item.table == Station.TABLE else ("", *item.key)
    return item.column in at.get((place[0], place[1], place[-1]), {})


def _station(row: Station, values: dict[str, Any]) -> Station:
    """A chosen shop temperature holds all day, in place of a record."""
    if "shop_temperature" in values:
        values = {"record": "", **values}
    return replace(row, **values) if values else row


def _component(row: Component, values: dict[str, Any]) -> Component:
    if "container" in values:
        row = sized(row, values["container"])
    return replace(row, **values) if values else row


__all__ = [
    "MOST_SETS",
    "Axis",
    "ChoiceField",
    "ChosenSet",
    "Option",
    "Target",
    "choice_fields",
    "choice_problems",
    "chosen_sets",
    "value_of",
    "with_values",
]
