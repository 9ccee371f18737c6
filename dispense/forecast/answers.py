"""The answer of each table of a forecast, in one line made from its rows."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterator
from typing import Any

from ..base.printed import counted, listed

__all__ = ["answer"]

Row = dict[str, Any]


def answer(tables: dict[str, Any], name: str, currency: str = "") -> str:
    """What the table says, in a line; "" where it has no rows."""
    rows = list(_rows(tables[name]))
    return _ANSWERS[name](rows, tables, currency) if rows else ""


def _rows(table: Any) -> Iterator[Row]:
    """Rows as dictionaries by the names of the columns, units left away."""
    names = [name for name, _, _ in table.columns]
    for row in table.rows:
        yield dict(zip(names, row, strict=True))


def _day(date: datetime.date) -> str:
    return f"{date:%a %d %b %Y}"


def _volume(millilitres: float) -> str:
    """A volume to three figures or to the millilitre: 4.25 mL, 1,234 mL, 348 L.

    To the millilitre, so that a reader finds it in the table below; a sentence that stands by itself tells
    three figures (`base.units.rounded_volume_text`).
    """
    if abs(millilitres) >= 10_000:
        return f"{millilitres / 1000:,.0f} L"
    return f"{millilitres:,.0f} mL" if abs(millilitres) >= 100 else f"{millilitres:.3g} mL"


def _money(cost: float, currency: str) -> str:
    return f"{cost:,.0f} {currency}".strip()


def _percent(change: float) -> str:
    """A change with its sign: +20%, −5%."""
    return f"{change:+.0%}".replace("-", "−")


def _findings(rows: list[Row], tables: dict, currency: str) -> str:
    counts: dict[str, int] = {}
    for row in rows:
        counts[row["Kind"]] = counts.get(row["Kind"], 0) + 1
    return f"{counted(len(rows), 'finding')}: " + ", ".join(
        f"{count} {kind}" if count == 1 else f"{count} × {kind}" for kind, count in counts.items()
    )


def _decisions(rows: list[Row], tables: dict, currency: str) -> str:
    overdue = [row["What"] for row in rows if row["When"].startswith("overdue")]
    orders, deliveries = overdue.count("order"), overdue.count("delivery")
    words = f"{counted(orders, 'order')} overdue, " if orders else "No order is overdue, "
    if deliveries:
        words += "1 delivery late, " if deliveries == 1 else f"{deliveries} deliveries late, "
    others = sum(not row["When"].startswith("overdue") and row["What"] != "nothing" for row in rows)
    return words + f"{others or 'nothing'} to do in the next days"


def _grid(rows: list[Row], tables: dict, currency: str) -> str:
    weeks = [name for name in rows[0] if name not in ("Component", "What")]
    asked = [
        (week, row["Component"]) for week in weeks for row in rows if row["What"] == "to order" and row[week]
    ]
    if not asked:
        return "No week asks for an order"
    return f"{counted(len(asked), 'order')} in these weeks, the first in {asked[0][0]}: {asked[0][1]}"


def _fan(rows: list[Row], tables: dict, currency: str) -> str:
    low = min(rows, key=lambda row: (row["Low"], row["Day"]))
    return (
        f"Lowest on {_day(low['Day'])}: {_volume(low['Planned'])} as planned, "
        f"{_volume(low['Low'])} or less in one of ten simulation runs"
    )


def _lot_line(rows: list[Row], tables: dict, currency: str) -> str:
    return f"First to its last day: {rows[0]['Lot']}, {_day(rows[0]['Last day'])}"


def _components(rows: list[Row], tables: dict, currency: str) -> str:
    out = [row for row in rows if row["Runs out"] is not None]
    if out:
        row = min(out, key=lambda row: row["Runs out"])
        more = f", the first of {len(out)}" if len(out) > 1 else ""
        return f"{row['Component']} runs out on {_day(row['Runs out'])}{more}"
    after = [row for row in rows if row["After builds"] is not None]
    if not after:
        return "Nothing runs out"
    row = min(after, key=lambda row: row["After builds"])
    return f"Nothing runs out; {row['Component']} would be empty first, on {_day(row['After builds'])}"


def _orders(rows: list[Row], tables: dict, currency: str) -> str:
    cost = math.fsum(row["Cost"] or 0.0 for row in rows)
    late = sum(bool(row["Note"]) for row in rows)
    first = _day(min(row["Order by"] for row in rows))
    words = f"{counted(len(rows), 'order')} for {_money(cost, currency)}, the first by {first}"
    return words + (f"; {late} with a note" if late else "")


def _phase_out(rows: list[Row], tables: dict, currency: str) -> str:
    worth = math.fsum(row["Worth"] or 0.0 for row in rows)
    most = max(rows, key=lambda row: row["Left over"])
    return (
        f"{counted(len(rows), 'component')} used for the last time, {_money(worth, currency)} left over; "
        f"most is {_volume(most['Left over'])} of {most['Component']}"
    )


def _weeks(rows: list[Row], tables: dict, currency: str) -> str:
    row = max(rows, key=lambda row: row["P90 in containers"])
    return f"At most {row['P90 in containers']:.1f} containers in a week: {row['Component']}, {row['Week']}"


def _materials(rows: list[Row], tables: dict, currency: str) -> str:
    row = max(rows, key=lambda row: row["Planned"])
    return f"At most {_volume(row['Planned'])} in a week: {row['Material']}, {row['Week']}"


def _days(rows: list[Row], tables: dict, currency: str) -> str:
    mean = math.fsum(row["Cost"] for row in rows) / len(rows)
    row = max(rows, key=lambda row: row["Cost"])
    return (
        f"{_money(mean, currency)} on a day with builds, at most {_money(row['Cost'], currency)} on "
        f"{_day(row['Day'])}"
    )


def _stock(rows: list[Row], tables: dict, currency: str) -> str:
    for row in rows:
        empty = [name for name, volume in row.items() if name != "Day" and volume <= 0.0]
        if empty:
            return f"{empty[0]} is empty at the end of {_day(row['Day'])}"
    return "With the proposed orders nothing is empty at the end of a day"


def _cover(rows: list[Row], tables: dict, currency: str) -> str:
    found = [(cover, row["Day"], name) for row in rows for name, cover in row.items() if name != "Day"]
    if not found:
        return ""
    cover, day, name = min(found)
    return f"Without new orders {name} is down to {cover:.1f} days of use on {_day(day)}"


def _stations(rows: list[Row], tables: dict, currency: str) -> str:
    row = max(rows, key=lambda row: row["Waste"])
    return f"Most waste: {row['Waste']:.0%} of {row['Component']} at {row['Station']}"


def _station_weeks(rows: list[Row], tables: dict, currency: str) -> str:
    volume, station, component, week = max(
        (volume, row["Station"], row["Component"], name)
        for row in rows
        for name, volume in row.items()
        if name not in ("Station", "Component")
    )
    return f"At most {_volume(volume)} in a week: {component} at {station}, {week}"


def _lots(rows: list[Row], tables: dict, currency: str) -> str:
    missing = [row for row in rows if row["Lot"] == "missing"]
    if missing:
        row = missing[0]
        return f"{_volume(row['Used'])} of {row['Component']} are missing"
    lost = [row for row in rows if row["Expired"]]
    if not lost:
        return "No lot expires"
    row = max(lost, key=lambda row: row["Expired"])
    which = f"{_volume(row['Expired'])} of lot {row['Lot']}, {row['Component']}"
    return f"1 lot expires: {which}" if len(lost) == 1 else f"{len(lost)} lots expire, most of all {which}"


def _reorder(rows: list[Row], tables: dict, currency: str) -> str:
    held = {row["Component"]: row["In stock"] + row["Due in"] for row in _rows(tables["components"])}
    below = [row["Component"] for row in rows if held[row["Component"]] <= row["Reorder point"]]
    late = [
        row["Component"]
        for row in (_rows(tables["decisions"]) if "decisions" in tables else ())
        if row["When"].startswith("overdue") and row["What"] == "order" and row["Component"] not in below
    ]
    also = f"; overdue all the same by the use of the coming days: {listed(late)}" if late else ""
    if not below:
        return f"Stock and what is due in stand above every reorder point{also}"
    words = f"{len(below)} of {counted(len(rows), 'component')} at or under the reorder point: {below[0]}"
    return words + (" and more" if len(below) > 1 else "") + also


def _causes(rows: list[Row], tables: dict, currency: str) -> str:
    whole = math.fsum(row["All"] for row in rows)
    good = math.fsum(row["On good parts"] + row["Filling hoses"] for row in rows)
    if not whole:
        return ""
    return f"{_money(whole, currency)}, {1.0 - good / whole:.0%} of it waste"


def _drivers(rows: list[Row], tables: dict, currency: str) -> str:
    row = max(rows, key=lambda row: row["P90 above P50"])
    driver = max(("Demand", "Scrap", "Temperature", "Volume"), key=lambda name: row[name])
    return (
        f"Least certain: {row['Material']}, P90 {row['P90 above P50']:.0%} above P50, most of it by "
        f"{driver.lower()}"
    )


def _variants(row: Row) -> dict[str, float]:
    """The columns of single changes."""
    return {
        name: value
        for name, value in row.items()
        if name not in ("Component", "Cause", "Now", "All together")
    }


def _what_if(rows: list[Row], tables: dict, currency: str) -> str:
    found = [
        (abs(value / row["Now"] - 1.0), value / row["Now"] - 1.0, name, row["Component"])
        for row in rows
        if row["Now"]
        for name, value in _variants(row).items()
    ]
    if not found:
        return ""
    _, change, name, component = max(found)
    return f"Largest change: {name}, {_percent(change)} of {component}"


def _what_if_causes(rows: list[Row], tables: dict, currency: str) -> str:
    volume, name, cause = max(
        ((volume, name, row["Cause"]) for row in rows for name, volume in _variants(row).items()),
        key=lambda item: (abs(item[0]), item[1], item[2]),
    )
    words = "more" if volume >= 0.0 else "less"
    return f"Largest change: {name}, {_volume(abs(volume))} {words} ({cause})"


def _what_if_cost(rows: list[Row], tables: dict, currency: str) -> str:
    now = math.fsum(row["Now"] for row in rows)
    sums = {name: math.fsum(row[name] for row in rows) for name in _variants(rows[0])}
    if not sums:
        return ""
    name = max(sums, key=lambda name: abs(sums[name] - now))
    words = "more" if sums[name] >= now else "less"
    return (
        f"Largest change: {name}, {_money(abs(sums[name] - now), currency)} {words} than "
        f"{_money(now, currency)}"
    )


def _what_if_steps(rows: list[Row], tables: dict, currency: str) -> str:
    found = [(row["All together"] / row["Now"] - 1.0, row["Component"]) for row in rows if row["Now"]]
    if not found:
        return ""
    change, component = max(found, key=lambda item: (abs(item[0]), item[1]))
    return f"All together: {_percent(change)} of {component} at most"


_ANSWERS: dict[str, Callable[[list[Row], dict, str], str]] = {
    "findings": _findings,
    "decisions": _decisions,
    "grid": _grid,
    "fan_1": _fan,
    "fan_2": _fan,
    "fan_3": _fan,
    "lot_line": _lot_line,
    "components": _components,
    "orders": _orders,
    "phase_out": _phase_out,
    "weeks": _weeks,
    "materials": _materials,
    "days": _days,
    "stock": _stock,
    "cover": _cover,
    "stations": _stations,
    "station_weeks": _station_weeks,
    "lots": _lots,
    "reorder": _reorder,
    "causes": _causes,
    "drivers": _drivers,
    "what_if": _what_if,
    "what_if_causes": _what_if_causes,
    "what_if_cost": _what_if_cost,
    "what_if_steps": _what_if_steps,
}
