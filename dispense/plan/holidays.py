"""Days on which no shift is worked: those of the table Holidays, and the public holidays of a country.

One rule for all: orders are not placed on them and do not arrive, builds of a week are split over the other
days, and builds that are stated for one are played and named.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import lru_cache

from ..base.errors import InputError, Problem
from ..base.findings import QUALITY, SLIP, Finding
from ..base.printed import listed
from .records import Plan
from .rows import Build

UNNAMED = "a holiday"
NAMES = "en_US"  # the language of names, whatever that of the machine; a country without it has its own


def free_days(plan: Plan, years: Iterable[int]) -> dict[datetime.date, str]:
    """The days on which no shift is worked, and why: those of Holidays, and in some years of the country.

    Where both name a day, the table does.
    """
    public = public_holidays(plan.settings["country"], tuple(sorted(set(years))))
    return {**public, **{row.date: row.name or UNNAMED for row in plan.holidays}}


@lru_cache(maxsize=64)
def public_holidays(country: str, years: tuple[int, ...]) -> dict[datetime.date, str]:
    """The public holidays of a country or of one of its regions, DE or DE-BY, by name; none where blank."""
    if not country:
        return {}
    try:
        import holidays
    except ImportError:
        raise InputError(
            Problem(
                "Settings",
                "country",
                country,
                message="needs the package holidays, which is not installed",
                fix="pip install holidays, or list the days in a table Holidays and leave the country blank",
            )
        ) from None
    name, _, region = country.partition("-")
    try:
        days = holidays.country_holidays(
            name.strip(), region.strip() or None, years=list(years), language=NAMES
        )
    except NotImplementedError:
        raise InputError(
            Problem(
                "Settings",
                "country",
                country,
                "the code of a country (ISO 3166-1), such as DE, or with a region, such as DE-BY",
            )
        ) from None
    return {day: f"{title}, {country}" for day, title in days.items()}


def built_on_holidays(plan: Plan) -> Iterator[Finding]:
    """Builds of days on which no shift is worked, day by day with their parts; they are played as stated."""
    try:
        free = free_days(plan, {row.date.year for row in plan.builds})
    except InputError as error:
        yield from (
            Finding(QUALITY, str(problem), topic=f"{SLIP} {problem.where}") for problem in error.problems
        )
        return
    by_day: dict[datetime.date, list[Build]] = defaultdict(list)
    for row in plan.builds:
        if row.date in free and row.quantity:
            by_day[row.date].append(row)
    for day, rows in sorted(by_day.items()):
        parts: dict[str, int] = defaultdict(int)
        for row in rows:
            parts[row.part] += row.quantity
        built = listed(f"{count} {part}" for part, count in parts.items())
        yield Finding(
            QUALITY,
            f"{day:%a} {day} is no working day ({free[day]}), and {built} are built on it: they are played "
            "as stated",
            "move the builds if nobody works; if the day is worked, all is right",
            topic=f"{SLIP} {rows[0].at}",
            part=rows[0].part if len(parts) == 1 else "",
            day=day,
            cell=rows[0].at,
            numbers={"builds": float(len(rows)), "parts": float(sum(parts.values()))},
        )


__all__ = ["built_on_holidays", "free_days", "public_holidays"]
