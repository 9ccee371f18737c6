"""The days that a forecast looks at, and the builds before them that are history.

- weeks are calendar weeks from Monday; the first is that of the first build;
- builds before `as_of`, and a few that lie long before all others, are history: named, never demand;
- builds are taken as given and not repeated: where they end early the forecast ends with them.
"""

from __future__ import annotations

import datetime
import itertools
from dataclasses import dataclass, replace

from ..base.findings import NOTE, QUALITY, Finding
from ..plan.records import Plan

HISTORY = "history"  # topic of what is said of builds that are left out
WEEKS = 4  # calendar weeks that are looked at where nobody says how many
LONG_GAP = 28  # days without builds that set what is before them apart
HALF_A_YEAR = 182
MANY = 5  # times as many builds after a long gap as before it make those before it history


@dataclass(frozen=True, slots=True)
class Horizon:
    """The days that are looked at: from the Monday before the first build to a Sunday."""

    first: datetime.date
    end: datetime.date  # the day after the last
    first_build: datetime.date
    last_build: datetime.date
    asked: int
    as_of: datetime.date  # today: orders can be placed from here on
    is_empty: bool = False  # nothing is built

    @property
    def days(self) -> int:
        """Number of days."""
        return (self.end - self.first).days

    @property
    def weeks(self) -> int:
        """Number of calendar weeks."""
        return self.days // 7

    def date(self, place: int) -> datetime.date:
        """The date of a day by number."""
        return self.first + datetime.timedelta(days=place)

    def place(self, date: datetime.date) -> int:
        """The number of a date."""
        return (date - self.first).days

    def week_name(self, week: int) -> str:
        """2026-W10: the ISO week."""
        year, number, _ = self.date(7 * week).isocalendar()
        return f"{year}-W{number:02d}"


def horizon_of(plan: Plan, weeks: int, as_of: datetime.date | None = None) -> Horizon:
    """The calendar weeks from the first build, ending with the builds where those end earlier.

    Without any build, the weeks from `as_of` on, today where that is not given.
    """
    days = [date for date, _ in plan.days()]
    first = days[0] if days else as_of or datetime.date.today()
    monday = first - datetime.timedelta(days=first.weekday())
    end = monday + datetime.timedelta(days=7 * weeks)
    if not days:
        return Horizon(monday, end, first, first, weeks, first, is_empty=True)
    last = max(date for date in days if date < end)
    sunday = last + datetime.timedelta(days=7 - last.weekday())
    return Horizon(monday, min(end, sunday), first, last, weeks, as_of or first)


def without_history(plan: Plan, weeks: int, as_of: datetime.date | None = None) -> tuple[Plan, list[Finding]]:
    """The plan with the builds that are to come, and what was left out as findings.

    With `as_of`, builds before it are history. Without it, builds are history where more than
    `LONG_GAP` days without any follow, and the asked weeks after those hold `MANY` times as many (or
    more, after half a year): most likely a date is mistyped.
    """
    days = sorted({row.date for row in plan.builds})
    begin = as_of
    if begin is None:
        begin = days[0] if days else datetime.date.min
        for before, after in itertools.pairwise(days):
            gap = (after - before).days
            if gap <= LONG_GAP:
                continue
            end = after + datetime.timedelta(days=7 * weeks)
            early = sum(row.date <= before for row in plan.builds)
            coming = sum(after <= row.date < end for row in plan.builds)
            if coming >= MANY * early or (gap > HALF_A_YEAR and coming > early):
                begin = after
    old = [row for row in plan.builds if row.date < begin]
    if not old:
        return plan, []
    plan = replace(plan, builds=[row for row in plan.builds if row.date >= begin])
    first, last = min(row.date for row in old), max(row.date for row in old)
    many = f"{len(old)} builds" if len(old) > 1 else "1 build"
    span = f"{first} to {last}" if first < last else f"{first}"
    numbers = {"builds": float(len(old))}
    if as_of is not None:
        return plan, [
            Finding(
                NOTE,
                f"{many} of {span} lie before {as_of} and count as history",
                topic=HISTORY,
                day=first,
                numbers=numbers,
            )
        ]
    words = f"{many} of {span} {'lie' if len(old) > 1 else 'lies'} {(begin - last).days} days before the "
    return plan, [
        Finding(
            QUALITY,
            words + "next and is left out" if len(old) == 1 else words + "next and are left out",
            "correct the date or delete the row; history is never demand",
            topic=HISTORY,
            part=old[0].part,
            day=first,
            cell=old[0].at,
            numbers=numbers,
        )
    ]
