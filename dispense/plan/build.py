"""Records of a plan from raw tables: everything that is wrong is reported at once, with sheet and cell."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, TypeVar, cast

from ..base.errors import NA, NUM, InputError, Problem, UnitError, show
from ..base.fields import ERROR_TEXTS, Field, by_header
from ..base.naming import field_name, fold, nearest
from ..base.numbers import EQUAL
from ..base.printed import listed
from ..base.units import (
    SHOP_UNITS,
    comma_is_decimal,
    from_si,
    is_count,
    is_unit,
    read_header,
    to_si,
    unit_factor,
    with_point,
)
from .checks import NameBeside, check_links, check_records
from .prepared import lots_on_order, prepared
from .records import MISSING_VALUE, RECORDS, Plan, RawTable
from .rows import Insert, Pot, Row, Settings, Shot
from .tables import (
    BUILDS,
    LONGEST_TEXT,
    SETTINGS,
    TABLES,
    VALIDITY,
    YEARS,
    Table,
    believable,
    believable_text,
)
from .validity import dated_values, variant_problems, variants_built

_R = TypeVar("_R", bound=Row)


def build_plan(raws: Mapping[str, RawTable]) -> Plan:
    """Records from raw tables; raises InputError with every problem of the plan at once."""
    plan, problems = read_plan(raws)
    if problems:
        raise InputError(problems)
    return plan


def read_plan(
    raws: Mapping[str, RawTable], unread: Iterable[str] = (), may_be_empty: Iterable[str] = ()
) -> tuple[Plan, list[Problem]]:
    """A plan as far as it can be read, and every problem found.

    `unread` names tables that are there and could not be read, which their reader has reported;
    `may_be_empty` required tables that may hold headers only, as builds of a holiday do.
    Names that lead into a table with problems are not followed: one mistake gives one line.
    """
    problems: list[Problem] = []
    plan = Plan()
    plan.settings = _read_settings(raws.get("Settings"), problems, plan.warnings)
    broken = set(unread)
    beside: list[NameBeside] = []
    for table in TABLES:
        raw = raws.get(table.name)
        before = len(problems)
        if table.name in broken:
            continue
        if raw is None or not any(_filled(column) for column in raw.columns):
            if table.required and not (table.name in may_be_empty and raw is not None and any(raw.headers)):
                where = f"{(raw.sheet or raw.name) if raw else table.name}!A1"
                problems.append(
                    Problem(
                        where,
                        message=f"table {table.name} " + ("is missing" if raw is None else "has no rows"),
                        fix=f"it holds {table.help}",
                    )
                )
                broken.add(table.name)
            elif table.name in may_be_empty and raw is not None:
                _look_at_empty(table, raw, plan, problems)
            continue
        raw = prepared(raw, plan, problems)
        plan.sheets[table.name] = raw.sheet or raw.name
        letters = plan.letters.setdefault(table.name, {})
        records = read_table(table, raw, problems, letters, plan.warnings)
        setattr(plan, table.attribute, records)
        if table is VALIDITY and len(problems) == before and not broken:
            plan.dated, wrong = dated_values(plan)
            problems += wrong
        if len(problems) > before:
            beside += _names_beside(table, raw)
            broken.add(table.name)
    _spell_alike(plan)
    plan.stock += lots_on_order(plan)

    problems.extend(check_links(plan, broken, beside))
    if not broken and not problems:
        problems.extend(check_records(plan))
        for _, held in variants_built(plan):
            told = {str(problem) for problem in problems}
            found = variant_problems(plan, check_records(held), held)
            problems.extend(problem for problem in found if str(problem) not in told)
    once = {str(problem): problem for problem in problems}  # the days of a week are one row
    return plan, sorted(once.values(), key=_place)


def _look_at_empty(table: Table, raw: RawTable, plan: Plan, problems: list[Problem]) -> None:
    """A table from elsewhere without rows: that is noted, and wrong where no header is one of the table's."""
    known, where = by_header(table.columns), f"{raw.sheet or raw.name}"
    headers = [str(each) for each in raw.headers if each is not None]
    if not any(field_name(read_header(each)[0]) in (*known, "week") for each in headers):
        wanted = ", ".join(item.title for item in table.columns if item.is_required)
        problems.append(
            Problem(
                f"{where}!A1",
                message=f"holds no column of {table.name}: {listed(show(each) for each in headers)}",
                fix=f"columns such as {wanted}; where nothing is meant, these headers without rows",
            )
        )
    else:
        fix = f"it holds {table.help}; right where nothing is meant"
        plan.warnings.append(Problem(where, message=f"table {table.name} has no rows", fix=fix))


def _place(problem: Problem) -> tuple[int, int, int, str]:
    sheet, _, cell = problem.where.partition("!")
    names = [table.name for table in TABLES]
    digits = "".join(filter(str.isdigit, cell)) or "0"
    letters = "".join(filter(str.isalpha, cell))
    return (names.index(sheet) if sheet in names else -1, int(digits), len(letters), letters)


def _filled(column: list[Any]) -> bool:
    return any(value is not None and value != "" for value in column)


def _read_settings(raw: RawTable | None, problems: list[Problem], notes: list[Problem]) -> Settings:
    """The settings by name; a label may carry another unit, as a header may."""
    found: dict[str, tuple[Any, str, str]] = {}
    known = by_header(SETTINGS)
    unknown: list[tuple[str, str]] = []
    for label, value, head, where in _labels(raw):
        text, unit = read_header(str(label))
        item = known.get(field_name(text))
        if item is None:
            unknown.append((str(label), head))
        elif item.name in found:
            problems.append(Problem(head, message=f'the setting "{label}" appears twice'))
        else:
            given = _unit_of(item, unit, head, problems)
            if given is not None:
                found[item.name] = (value, where, given)
    absent = [item for item in SETTINGS if item.name not in found]
    _name_unknown(unknown, absent, "setting", problems, notes)
    settings: dict[str, Any] = {}
    for item in SETTINGS:
        value, where, unit = found.get(item.name, (None, "", item.unit))
        try:
            cell = _with_points(item, [value])[0]
            settings[item.name] = _one(item, cell, where, unit)
        except InputError as error:
            problems.extend(replace(problem, argument=item.words) for problem in error.problems)
            settings[item.name] = item.default_si()
    return cast(Settings, settings)


def _name_unknown(
    unknown: Iterable[tuple[str, str]],
    absent: Iterable[Field],
    kind: str,
    problems: list[Problem],
    notes: list[Problem],
) -> set[str]:
    """Say which headers or labels are not understood; gives the fields that they resemble.

    One that resembles what is absent, or carries a unit, was meant for the plan: a problem. Others
    are a plant's own: one note names them all.
    """
    titles = {words: item for item in absent for words in item.headings}
    resembled: set[str] = set()
    own: list[tuple[str, str]] = []
    for text, cell in unknown:
        near = nearest(_without_unit(text), titles)
        message = f"{show(text)} is not a {kind}"
        if near:
            item = titles[near]
            titles = {words: other for words, other in titles.items() if other is not item}
            resembled.add(item.name)
            problems.append(Problem(cell, message=message, fix=f"did you mean {item.title}?", code=NA))
        elif _carries_unit(text):
            problems.append(
                Problem(
                    cell,
                    message=f"{message} and carries a unit",
                    code=NA,
                    fix=f"correct its name; a {kind.split()[0]} of your own carries no unit",
                )
            )
        else:
            own.append((show(text), cell))
    if own:
        names = ", ".join(text for text, _ in own)
        notes.append(Problem(own[0][1], message=f"not read, no {kind}: {names}"))
    return resembled


def _without_unit(text: str) -> str:
    name, unit = read_header(text)
    return name if unit is not None else text


_PLAIN_UNITS = (
    frozenset(SHOP_UNITS) - {"min", "deg"} - {name for name in SHOP_UNITS if name.isalpha() and len(name) < 2}
)


def _carries_unit(text: str) -> bool:
    """Whether a header holds a unit: in brackets, after a comma, or as its last word."""
    unit = read_header(text)[1]
    if unit is not None and (text.rstrip().endswith("]") or len(unit) > 1 or unit == "%"):
        return is_unit(unit) and not is_count(unit)
    return (text.split() or [""])[-1] in _PLAIN_UNITS


def _labels(raw: RawTable | None) -> Iterator[tuple[Any, Any, str, str]]:
    """Label and value of each setting, and the cells of both."""
    names = [field_name(str(header)) for header in raw.headers] if raw else []
    if raw is None or "setting" not in names or "value" not in names:
        return
    key, value = names.index("setting"), names.index("value")
    for row, label in enumerate(raw.columns[key]):
        if label is not None and str(label).strip():
            yield label, raw.columns[value][row], raw.cell(row, key), raw.cell(row, value)


def _unit_of(item: Field, unit: str | None, head: str, problems: list[Problem]) -> str | None:
    """The unit of a column from its header, the field's own where it gives none; None where wrong."""
    if unit is None or unit == item.unit:
        return item.unit
    try:
        if item.kind not in {"number", "whole"}:
            raise UnitError(Problem("", "unit", unit, "left out"))
        unit_factor(unit, item.unit)
    except UnitError as error:
        problems.append(
            Problem(
                head, f"unit of {item.words}", unit, error.problems[0].allowed, f"the header is {item.title}"
            )
        )
        return None
    return unit


def read_table(
    table: Table, raw: RawTable, problems: list[Problem], letters: dict[str, str], notes: list[Problem]
) -> list[Row]:
    """The records of one raw table.

    What is wrong goes to `problems`, column letters to `letters`, what is not read to `notes`.
    """
    maker = RECORDS[table.name]
    rows = read_rows(table, raw, problems, letters, notes)
    records = [maker(*(*row.values, row.at)) for row in rows if not row.failed]
    _check_keys(table, records, problems)
    return records


def _names_beside(table: Table, raw: RawTable) -> Iterator[NameBeside]:
    """Names of other tables in rows of which another cell cannot be read."""
    naming = [item for item in table.columns if item.refers or (table is BUILDS and item.name == "part")]
    letters: dict[str, str] = {}
    rows = read_rows(table, raw, [], letters, [])
    places = {item.name: place for place, item in enumerate(table.columns)}
    for row in rows:
        for item in naming if row.failed and "" not in row.failed else ():
            name = row.values[places[item.name]]
            if name and item.name not in row.failed and item.name in letters:
                number = "".join(filter(str.isdigit, row.at.rpartition("!")[2]))
                yield NameBeside(f"{row.at.rpartition('!')[0]}!{letters[item.name]}{number}", item, str(name))


@dataclass(frozen=True, slots=True)
class ReadRow:
    """The values of a row in the order of the columns, its cell, and the columns that could not be read."""

    values: tuple[Any, ...]
    at: str
    failed: frozenset[str] = frozenset()


def read_rows(
    table: Table, raw: RawTable, problems: list[Problem], letters: dict[str, str], notes: list[Problem]
) -> list[ReadRow]:
    """All rows of a raw table, those with a wrong cell too; where a header is wrong all have failed.

    A wrong header hides no wrong cell: every column that is understood is read in any case.
    """
    start = len(problems)
    places, units = _match_headers(table, raw, problems, notes)
    is_whole = len(problems) == start
    letters.update((name, raw.letter(place)) for name, place in places.items())
    count = len(raw.columns[0]) if raw.columns else 0
    blank_rows = _blank_rows(raw, count)
    rows = [row for row in range(count) if row not in blank_rows] if blank_rows else range(count)
    values: list[list[Any]] = []
    failed: dict[int, set[str]] = defaultdict(set)
    for item in table.columns:
        place = places.get(item.name)
        unit = units.get(item.name)
        if place is None or unit is None:
            values.append([item.default_si()] * len(rows))
            continue
        cells = raw.columns[place]
        cells = [cells[row] for row in rows] if blank_rows else cells
        values.append(_read_column(item, cells, unit, raw, place, rows, problems, failed))
    broken: set[str] = set()
    if not is_whole:  # no row stands then: each lacks at least the column whose header is wrong
        meant = [item.name for item in table.columns if item.name in places or item.is_required]
        broken = {""} | {name for name in meant if name not in units}
    first = places[table.key[0]] if table.key and table.key[0] in places else 0
    return [
        ReadRow(row, raw.cell(number, first), frozenset(broken | failed.get(index, set())))
        for index, (number, row) in enumerate(zip(rows, zip(*values, strict=True), strict=True))
    ]


def _blank_rows(raw: RawTable, count: int) -> set[int]:
    blank = set(range(count))
    for column in raw.columns:
        if not blank:
            break
        blank -= {row for row in blank if column[row] is not None and column[row] != ""}
    return blank


def _match_headers(
    table: Table, raw: RawTable, problems: list[Problem], notes: list[Problem]
) -> tuple[dict[str, int], dict[str, str]]:
    """Column of each field and the unit its header gives; a column whose unit is wrong has none."""
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    wanted = by_header(table.columns)
    unknown: list[tuple[str, str]] = []
    reread: list[tuple[str, str]] = []
    bare: list[tuple[str, str]] = []
    for place, header in enumerate(raw.headers):
        if header is None or not str(header).strip():
            continue
        name, unit = read_header(str(header))
        item = wanted.get(field_name(name))
        if item is None:
            unknown.append((str(header), raw.head(place)))
            continue
        if item.name in places:
            problems.append(Problem(raw.head(place), message=f'the header "{header}" appears twice'))
            continue
        places[item.name] = place
        meant = _unit_of(item, unit, raw.head(place), problems)
        if meant is not None:
            units[item.name] = meant
        if unit is not None and not str(header).rstrip().endswith("]"):
            reread.append((f"{show(header)} is read as {name} [{unit}]", raw.head(place)))
        elif unit is None and item.title.endswith("]"):
            bare.append((f"{show(header)} is read as {item.title}", raw.head(place)))
    if reread:
        notes.append(Problem(reread[0][1], message="; ".join(text for text, _ in reread)))
    if bare:
        read = "; ".join(text for text, _ in bare)
        notes.append(Problem(bare[0][1], message=f"no unit stands there: {read}"))
    absent = [item for item in table.columns if item.name not in places]
    resembled = _name_unknown(unknown, absent, f"column of {table.name}", problems, notes)
    for item in absent:
        if item.is_required and item.name not in resembled:
            problems.append(
                Problem(
                    f"{raw.sheet or raw.name}!A{raw.header_row}",
                    message=f'the column "{item.title}" is missing',
                    fix=item.help,
                )
            )
    return places, units


def _with_points(item: Field, cells: list[Any]) -> list[Any]:
    """Decimal commas as points, where the cells of the column leave no doubt that they are such."""
    marked = [cell for cell in cells if isinstance(cell, str) and "," in cell]
    if item.kind != "number" or not marked or not any(map(comma_is_decimal, marked)):
        return cells
    texts = [cell for cell in cells if isinstance(cell, str)]
    if any("." in text.split(" ")[0] for text in texts):  # the point may part thousands then
        return cells
    return [with_point(cell) if isinstance(cell, str) else cell for cell in cells]


def _read_column(
    item: Field,
    cells: list[Any],
    unit: str,
    raw: RawTable,
    place: int,
    rows: Sequence[int],
    problems: list[Problem],
    failed: dict[int, set[str]],
) -> list[Any]:
    """One column, quickly where all its cells are of the expected kind."""
    kinds = set(map(type, cells))
    if item.kind == "text" and kinds == {str}:
        stripped = [cell.strip() for cell in cells]
        if not any(not cell or cell in ERROR_TEXTS or len(cell) > LONGEST_TEXT for cell in stripped):
            return stripped
    elif item.kind == "date" and kinds == {datetime.datetime}:
        days = [cell.date() for cell in cells]
        if all(_is_believable(item, day) for day in days):
            return days
    elif (
        kinds <= {int, float}
        and item.kind in {"number", "whole"}
        and unit == item.unit
        and all(item.within(cell) and believable(item, cell) for cell in cells)
    ):
        if item.kind == "whole":
            return [int(cell) for cell in cells]
        factor, offset = to_si(item.unit)
        return [cell * factor + offset for cell in cells]
    values = []
    for index, cell in enumerate(_with_points(item, cells)):
        try:
            values.append(_one(item, cell, "", unit))
        except InputError as error:
            problem = error.problems[0]
            problems.append(
                Problem(
                    raw.cell(rows[index], place),
                    item.words,
                    problem.value,
                    problem.allowed,
                    problem.fix,
                    problem.code,
                    problem.message,
                )
            )
            failed[index].add(item.name)
            values.append(None)
    return values


def _one(item: Field, cell: Any, where: str, unit: str | None = None) -> Any:
    """One cell as the field reads it."""
    if cell is MISSING_VALUE:
        raise InputError(
            Problem(
                where,
                message=f"{item.words} is a formula whose value the file does not hold",
                fix="open and save it in a spreadsheet, or type the value",
            )
        )
    if isinstance(cell, str) and cell.strip() in ERROR_TEXTS:
        raise InputError(item.problem(where, cell.strip(), cell.strip(), "mend the cell"))
    if isinstance(cell, datetime.date | datetime.time) and item.kind not in {"date", "clock"}:
        fix = "the cell holds a date or time"
        if item.kind in {"number", "whole"}:
            fix += "; where a fraction became one, type it as 0 3/16"
        raise InputError(item.problem(where, cell, fix=fix))
    if item.kind == "text" and isinstance(cell, str) and len(cell) > LONGEST_TEXT:
        raise InputError(item.problem(where, cell, fix=f"at most {LONGEST_TEXT} characters"))
    value = item.read(cell, where, unit if item.kind in {"number", "whole"} else None)
    if not _is_believable(item, value):
        raise InputError(Problem(where, item.name, cell, believable_text(item), "check it", NUM))
    return int(value) if item.kind == "whole" and value is not None else value


def _is_believable(item: Field, value: Any) -> bool:
    """Whether a value that was read, in SI units, is of a size that a plan can mean."""
    if value is None or item.kind not in {"number", "whole", "date"}:
        return True
    if item.kind == "date":
        # many systems write "never" as the last day there is
        is_never = item.name == "expiry" and value.year == datetime.MAXYEAR
        return bool(is_never or YEARS[0] <= value.year <= YEARS[1])
    shop = from_si(value, item.unit)
    return any(believable(item, shop * near) for near in (1.0, 1.0 - EQUAL, 1.0 + EQUAL))  # rounding


def _check_keys(table: Table, records: Sequence[Row], problems: list[Problem]) -> None:
    if not table.key:
        return
    seen: dict[tuple[Any, ...], str] = {}
    for item in records:
        key = tuple(getattr(item, name) for name in table.key)
        folded = tuple(fold(part) if isinstance(part, str) else part for part in key)
        if folded in seen:
            names = " and ".join(table.key)
            words = " / ".join(show(part) if not isinstance(part, str) else part for part in key)
            problems.append(
                Problem(
                    item.at,
                    message=f"{names} {words} appears twice, first in {seen[folded]}",
                    fix="give each its own name",
                )
            )
        else:
            seen[folded] = item.at


def spell_as(rows: list[_R], column: str, known: Iterable[str]) -> list[_R]:
    """The rows, names in a column spelled as the known name that they fold to; others stay."""
    spelled = {name: name for name in known}
    folded: dict[str, set[str]] = defaultdict(set)
    for name in spelled:
        folded[fold(name)].add(name)
    for name in {getattr(row, column) for row in rows} - set(spelled):
        meant = folded.get(fold(name), set()) if name else set()
        spelled[name] = next(iter(meant)) if len(meant) == 1 else name
    changed = {name for name, new in spelled.items() if name != new}
    if not changed:
        return rows
    return [
        replace(row, **{column: spelled[name]}) if (name := getattr(row, column)) in changed else row
        for row in rows
    ]


def _first_spelling(names: Iterable[str]) -> list[str]:
    """Of names that fold alike the first."""
    found: dict[str, str] = {}
    for name in names:
        if name not in found:
            found.setdefault(fold(name), name)
    return list(found.values())


def _spell_alike(plan: Plan) -> None:
    """Each name spelled as where it is defined: case and kinds of blanks make no other name."""
    for name, column in (
        ("paths", "path"),
        ("temperatures", "record"),
        ("profiles", "profile"),
        ("assemblies", "assembly"),
    ):
        rows = getattr(plan, name)
        setattr(plan, name, spell_as(rows, column, _first_spelling(getattr(row, column) for row in rows)))
    defined = {
        table.name: {
            getattr(row, table.key[0] if table.key else "path") for row in getattr(plan, table.attribute)
        }
        for table in TABLES
        if table.key or table.name == "Paths"
    }
    for table in TABLES:
        for item in table.columns:
            if item.refers:
                rows = spell_as(getattr(plan, table.attribute), item.name, defined[item.refers])
                setattr(plan, table.attribute, rows)
    builders = defined["Parts"] | {row.assembly for row in plan.assemblies}
    plan.builds = spell_as(plan.builds, "part", builders)
    plan.assemblies = spell_as(plan.assemblies, "part", builders)
    pots = plan.group(Pot, "part")
    plan.forget()
    for name in ("inserts", "shots"):
        rows = []
        for part, group in _by_part(getattr(plan, name)):
            rows += spell_as(group, "pot", [pot.pot for pot in pots.get(part, ())])
        setattr(plan, name, rows)


def _by_part(rows: Iterable[Insert | Shot]) -> Iterator[tuple[str, list[Insert | Shot]]]:
    """Rows that follow one another and are of one part."""
    for part, group in groupby(rows, key=lambda row: row.part):
        yield part, list(group)


__all__ = ["build_plan", "read_plan", "read_rows", "read_table", "spell_as"]
