"""Every cell of a forecast workbook, against code that imports nothing of the planner.

The plan lies in `tests/golden/stores.py`, its reckoning in `weeks.py` there: lots, containers, open and
shelf life, two stations on one store, a kit in packs, lead times, holidays, a change-over, prices that
change. Here the planner forecasts it, and each sheet is read cell by cell.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
from golden import plans, stores
from golden.weeks import Lot, Put, Store, Weeks
from golden.weeks_book import Between, Forecasted, Near, Page, pages
from openpyxl import Workbook, load_workbook
from plans import make

from dispense.forecast.stock import ComponentWalk, LotLedger
from dispense.jobs.forecast import forecast_file
from dispense.plan.rows import Component
from dispense.shift.store import Mounted

RUNS = 500
ROOM, LEAST = 2e-6, 500.0  # of a figure, of so many mL at least: nanolitres are rounded shift by shift
#: sheets whose sentences name figures of the runs, which are compared in their own cells
NO_FIGURES = (
    "Findings",
    "Drivers",
    "Reorder",
    "Cover",
    "What if causes",
    "What if cost",
)  # in some third of their rows
_NUMBER = re.compile(r"\d[\d,]*\.?\d*")


@pytest.fixture(scope="module")
def book(path: Path) -> Workbook:
    """The workbook of the plan."""
    return load_workbook(path, data_only=True)


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its file."""
    folder = tmp_path_factory.mktemp("weeks")
    plan = plans.write(stores.STORE, folder / "plan.xlsx")
    out = folder / "forecast.xlsx"
    forecast_file(plan, weeks=stores.WEEKS, out=out, draws=RUNS, as_of=stores.AS_OF)
    return out


@pytest.fixture(scope="module")
def reckoned() -> Forecasted:
    """The reckoning."""
    return Forecasted(partial(Weeks, stores.STORE, stores.AS_OF, stores.WEEKS), RUNS)


@pytest.fixture(scope="module")
def expected(reckoned: Forecasted) -> dict[str, Page]:
    """The sheets as they should be."""
    return pages(reckoned)


def why_not(actual: Any, wanted: Any) -> str:
    """What is wrong with a cell; "" where nothing is."""
    if isinstance(actual, datetime.datetime):
        actual = actual.date()
    if isinstance(wanted, Between):
        if actual is None:
            return "" if wanted.may_be_blank else f"blank, not {wanted}"
        return "" if wanted.least <= actual <= wanted.most else f"{actual}, not {wanted}"
    if isinstance(wanted, Near):
        good = isinstance(actual, int | float) and abs(actual - wanted.value) <= wanted.room
        return "" if good else f"{actual}, not {wanted}"
    if isinstance(wanted, int | float):
        good = isinstance(actual, int | float) and abs(actual - wanted) <= ROOM * max(abs(wanted), LEAST)
        return "" if good else f"{actual}, not {wanted}"
    return "" if (actual or None) == (wanted or None) else f"{actual!r}, not {wanted!r}"


def table_of(book: Workbook, title: str, page: Page) -> tuple[list[str], list[list[Any]]]:
    """What stands above a sheet's table, and its rows from the header on."""
    rows = [list(row) for row in book[title].iter_rows(values_only=True)]
    start = next(place for place, row in enumerate(rows) if row[: len(page.headers)] == page.headers)
    above = [str(cell) for row in rows[:start] for cell in row if cell is not None]
    return above, rows[start:]


def test_every_cell_of_every_table_is_explained(book: Workbook, expected: dict[str, Page]) -> None:
    """Headers, rows and sums, none missing and none more."""
    faults = []
    for title, page in expected.items():
        _, rows = table_of(book, title, page)
        wanted = [page.headers, *page.rows, *([page.total] if page.total else [])]
        width = len(page.headers)
        for number, (row, want) in enumerate(zip(rows, wanted, strict=False)):
            cells = zip(row, [*want, *[None] * (len(row) - width)], strict=True)
            for place, (actual, one) in enumerate(cells):
                why = why_not(actual, one)
                if why:
                    faults.append(f"{title} row {number} {page.headers[min(place, width - 1)]}: {why}")
        rest = [cell for row in rows[len(wanted) :] for cell in row if cell is not None]
        if len(rows) < len(wanted) or rest:
            faults.append(f"{title}: {len(rows)} rows, not {len(wanted)}")
    assert not faults, "\n".join(faults)


def test_no_sheet_is_left_out(book: Workbook, expected: dict[str, Page]) -> None:
    """The summary and the sheets that are reckoned, no other with figures."""
    assert sorted(book.sheetnames) == sorted(["Summary", "Tables", *expected])


def test_pandas_reads_every_table_by_the_list_of_tables(path: Path, expected: dict[str, Page]) -> None:
    """The sheet Tables says of each named table where its header stands, and the unit of each column."""
    listed = pd.read_excel(path, sheet_name="Tables").fillna("")
    assert set(listed["Sheet"]) == set(expected)
    file = load_workbook(path)
    assert file["Tables"].sheet_state == "hidden"  # for programs: nobody prints it
    for title, page in expected.items():
        mine = listed[listed["Sheet"] == title]
        head, count = int(mine["Header row"].iloc[0]), int(mine["Rows"].iloc[0])
        found = pd.read_excel(path, sheet_name=title, header=head - 1, nrows=count)
        assert list(found.columns)[: len(page.headers)] == page.headers == list(mine["Column"])
        assert [f"[{unit}]" if unit else "" for unit in mine["Unit"]] == [
            match[0] if (match := re.search(r"\[.+\]$", name)) else "" for name in page.headers
        ]
        named = file[title].tables[mine["Table"].iloc[0]]
        assert named.ref.startswith(f"A{head}:") and named.ref.endswith(str(head + count))
        for row, wanted in zip(found.itertuples(index=False), page.rows, strict=True):
            for actual, one in zip(row, wanted, strict=False):
                plain = actual.to_pydatetime() if isinstance(actual, pd.Timestamp) else actual
                assert not why_not(None if pd.isna(plain) else plain, one), (title, row)


def numbers_in(cell: Any) -> list[float]:
    """The figures of an expected or printed value."""
    if isinstance(cell, Near):
        return [cell.value]
    if isinstance(cell, datetime.date):
        return [cell.day, cell.month, cell.year]
    if isinstance(cell, int | float):
        return [float(cell), 100.0 * cell, cell / 1000.0]
    return [float(one.replace(",", "")) for one in _NUMBER.findall(str(cell or ""))]


def test_every_figure_of_the_answers_stands_in_the_table_below(
    book: Workbook, expected: dict[str, Page]
) -> None:
    """The sentence over each table: each figure in it is one of the table, as it is rounded there."""
    faults = []
    for title, page in expected.items():
        above, rows = table_of(book, title, page)
        known = [figure for row in rows for cell in row for figure in numbers_in(cell)]
        known += page.facts
        sums = [
            sum(c for c in column if isinstance(c, int | float)) for column in zip(*rows[1:], strict=True)
        ]
        whole = [*known, *sums]
        answer = above[1] if len(above) > 1 else ""
        if title in ("Days", "What if", "What if cost", "What if steps", "Week grid", "Decisions"):
            continue  # means and differences of figures that are compared one by one
        for text in _NUMBER.findall(answer):
            digits = len(text.partition(".")[2])
            value = float(text.replace(",", ""))
            if not any(abs(value - one) <= 0.5001 * 10.0**-digits for one in whole):
                faults.append(f"{title}: {text} in {answer!r}")
    assert not faults, "\n".join(faults)


def test_the_summary_says_what_the_sheets_say(
    book: Workbook, expected: dict[str, Page], reckoned: Forecasted
) -> None:
    """Its tables are rows of the sheets, its sentences name the first to run out and the next order."""
    rows = [
        [cell.date() if isinstance(cell, datetime.datetime) else cell for cell in row]
        for row in book["Summary"].iter_rows(values_only=True)
    ]
    flat = [row[0] for row in rows if isinstance(row[0], str)]
    out = min((day, reckoned.names[key]) for key in reckoned.keys if (day := reckoned.runs_out(key)))
    assert f"First to run out without new orders: {out[1]} on {out[0]:%a} {out[0]}" in flat[3]
    first = [order for orders in reckoned.orders.values() for order in orders]
    soonest = min(order.by for order in first)
    order = min(
        (order for order in first if order.by == soonest), key=lambda order: reckoned.runs_out(order.key)
    )
    container = f"{reckoned.weeks.rows[order.key].container:g} mL {reckoned.names[order.key]}"
    assert f"Next order: {order.count} × {container} by {order.by:%a} {order.by}" in flat[4]
    page = expected["Components"]
    heads = [
        "Component",
        "In stock",
        "Due in",
        "Use planned",
        "Use P90",
        "Runs out",
        "After builds",
        "Order by",
    ]
    start = next(place for place, row in enumerate(rows) if row[0] == "Component")
    places = [next(at for at, head in enumerate(page.headers) if head.startswith(name)) for name in heads]
    for row in rows[start + 1 : start + 1 + len(page.rows)]:
        wanted = next(one for one in page.rows if one[0] == row[0])
        for cell, place, head in zip(row, places, rows[start], strict=True):
            # where a volume of 10 L and more is among them all are told in litres: 1 L is 1000 mL
            figure = 1000.0 * cell if str(head).endswith("[L]") else cell
            assert not why_not(figure, wanted[place]), (row, page.headers[place])
    start = next(place for place, row in enumerate(rows) if row[0] == "Cause")
    sums = dict(
        zip(expected["Cost and waste"].headers[1:], expected["Cost and waste"].total[1:], strict=True)
    )
    for row in rows[start + 1 : start + 12]:
        assert not why_not(row[1], sums[f"{row[0].capitalize()} [crowns]"]), row
    assert not why_not(rows[start + 12][1], sums["All [crowns]"])


@pytest.mark.parametrize("seed", range(3))
def test_a_changed_cell_is_seen(book: Workbook, expected: dict[str, Page], seed: int) -> None:
    """The comparison can fail: one figure of each sheet is changed by a thousandth, or a date by a day."""
    for title, page in expected.items():
        seen = 0
        for row in page.rows[seed::3][:4]:
            for wanted in row:
                if isinstance(wanted, float) and abs(wanted) > 1.0:
                    seen += bool(why_not(wanted * 1.001, wanted)) and not why_not(wanted, wanted)
                elif isinstance(wanted, datetime.date):
                    seen += bool(why_not(wanted + datetime.timedelta(days=1), wanted))
        assert seen or len(page.rows) <= seed or title in NO_FIGURES, title


# ------------------------------------------------------------------------- walks worked by hand

DAY_0 = datetime.date(2026, 1, 1)


@dataclass(frozen=True)
class Case:
    """A walk worked by hand: a container opened on day d with open life L serves on days d to d + L − 1."""

    lots: dict[str, tuple[int, int]]  # mL and last day of each sealed container
    life: int  # L
    demands: dict[str, tuple[int, ...]]  # mL of each day, by station in their order
    opened: str  # day:container, in order
    scrapped: float
    short: float
    left_open: float
    first: int = 1
    standing: dict[str, tuple[str, int, int, int]] = field(default_factory=dict)  # no., mL, opened, last day


_ONE = (20, 15, 0, 25, 10, 30, 0, 20, 10, 15)
_TWO = (10, 10, 20, 0, 15, 10, 25, 0, 20, 10)
_FOUR = {"1": (100, 4), "2": (100, 9), "3": (100, 6), "4": (100, 20)}
CASES = {
    # both stations on one container: their draws follow one another
    "shared": Case(_FOUR, 3, {"s": _ONE, "t": _TWO}, "1:1 4:3 7:2 10:4", 60, 0, 75),
    "own": Case(_FOUR, 3, {"1": _ONE, "2": _TWO}, "1:1 1:3 4:2 5:4", 210, 75, 0),
    "from day 6 on": Case(
        {"5": (80, 12), "6": (80, 30), "7": (80, 8)},
        4,
        {"1": (15, 20, 20, 10, 25), "2": (10, 0, 15, 20, 5)},
        "8:7 8:5 9:6",
        62,
        0,
        85,
        first=6,
        standing={"1": ("3", 35, 5, 7), "2": ("4", 12, 4, 20)},
    ),
}


_PASTE: Component = make(
    {
        "Materials": [dict(material="m", kind="one-part", cure="none")],
        "Components": [dict(material="m", component="a", density=1.0, container=100)],
        "Parts": [dict(part="p")],
        "Beads": [dict(bead="b", part="p", station="s", section="rectangle", width=1, height=1, length=1)],
        "Stations": [dict(station="s", material="m", speed=1)],
        "Shifts": [dict(shift="e", start="06:00", end="14:00")],
        "Builds": [dict(date=DAY_0, shift="e", part="p", quantity=1)],
    }
).components[0]


def day_of(number: int) -> datetime.date:
    """Day 1 is the first."""
    return DAY_0 + datetime.timedelta(days=number - 1)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
@pytest.mark.parametrize("whose", ["planner", "reckoning"])
def test_containers_by_the_cases_worked_by_hand(case: Case, whose: str) -> None:
    """First expired first out, open life, two stations: openings, what is scrapped, short and left open.

    The cases were worked by hand rules; an open life of L days in them is one of L − 1 whole days here.
    """
    life = case.life - 1
    walk: Any
    if whose == "planner":
        walk = ComponentWalk(replace(_PASTE, open_life=life * 86400.0), goes_without=True)
        walk.lots = [LotLedger("m", "a", n, ml * 10**6, day_of(end)) for n, (ml, end) in case.lots.items()]
        unit = 10**6
    else:
        row = SimpleNamespace(container=100.0, heel=0.0, open_life=float(life))
        walk, unit = Store(row, [Lot(n, float(ml), day_of(end)) for n, (ml, end) in case.lots.items()]), 1
        walk.goes_without = True
    for lot in walk.lots:
        lot.opening = lot.left
    containers = walk.containers if whose == "planner" else walk.put
    there: dict[str, str] = {}
    for station, (number, left, since, end) in case.standing.items():
        last = min(day_of(end), day_of(since + life))
        if whose == "planner":
            lot = LotLedger("m", "a", number, 0, day_of(end), standing=left * unit, opening=left * unit)
            containers[station] = Mounted(lot, left * unit, 0, last, left * unit)
            name = lot.lot
        else:
            own = Lot(number, 0.0, day_of(end), standing=float(left), opening=float(left))
            containers[station] = Put(own, float(left), 0.0, last)
            name = own.name
        there[station] = name
    opened, scrapped = [], 0.0
    at = {"s": "both", "t": "both"}  # stations that share one
    days = len(next(iter(case.demands.values())))
    for number in range(case.first, case.first + days):
        (walk.open_day if whose == "planner" else walk.morning)(day_of(number))
        for station, demand in case.demands.items():
            place, asked = at.get(station, station), demand[number - case.first]
            before = len(opened)
            for _ in range(asked):  # mL by mL, so that two containers of a day are both seen
                (walk.draw if whose == "planner" else walk.take)(day_of(number), place, unit)
                here = containers.get(place)
                name = "" if here is None else getattr(here.lot, "lot" if whose == "planner" else "name")
                if name and name != there.get(place):
                    opened.append(f"{number}:{name}")
                there[place] = name or there.get(place, "")
            assert len(opened) - before <= 2
    end = day_of(case.first + days - 1)
    left_open = 0.0
    for container in containers.values():
        rest = (container.usable + container.heel) / unit
        last = container.last_day if whose == "planner" else container.last
        if last < end:
            scrapped += rest
        else:
            left_open += rest
    lots = {id(lot): lot for lot in (*walk.lots, *(each.lot for each in containers.values()))}
    if whose == "planner":
        scrapped += walk.expired / unit
    else:
        scrapped += sum(lot.expired for lot in lots.values())
    assert " ".join(opened) == case.opened
    assert walk.lacking / unit == pytest.approx(case.short, abs=1e-6)
    assert left_open == pytest.approx(case.left_open, abs=1e-6)
    if whose == "planner" or not case.standing:  # what stood at first is no lot of the list once it is empty
        assert scrapped == pytest.approx(case.scrapped, abs=1e-6)
