"""Working days: on which orders are placed and arrive, those on which a shift is worked."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

import numpy as np

from .holidays import free_days
from .records import Plan
from .weeks import days_of

WEEK = (0, 1, 2, 3, 4)  # Monday to Friday
BEFORE, AFTER = 1, 2  # years around the builds of which holidays are looked up


def _calendar() -> np.busdaycalendar:
    return _calendar_of(WEEK, ())


def _calendar_of(week: Collection[int], holidays: Iterable[datetime.date]) -> np.busdaycalendar:
    mask = [day in week for day in range(7)]
    return np.busdaycalendar(weekmask=mask, holidays=sorted(set(holidays)))


@dataclass(frozen=True, slots=True)
class WorkDays:
    """The days of a week that are worked, Monday to Friday by default, without the holidays.

    >>> days = WorkDays.of([datetime.date(2026, 4, 6)])
    >>> str(days.before(datetime.date(2026, 4, 6))), str(days.after(datetime.date(2026, 4, 4)))
    ('2026-04-03', '2026-04-07')
    """

    calendar: np.busdaycalendar = field(default_factory=_calendar)

    @classmethod
    def of(cls, holidays: Iterable[datetime.date], week: Collection[int] = WEEK) -> WorkDays:
        """These days of a week, counted from Monday 0, without those dates.

        >>> str(WorkDays.of([], [0, 5]).after(datetime.date(2026, 4, 1)))  # from a Wednesday to Saturday
        '2026-04-04'
        """
        return cls(_calendar_of(week, holidays))

    def before(self, day: datetime.date) -> datetime.date:
        """The day itself, or the last working day before it."""
        return _date(np.busday_offset(day, 0, roll="backward", busdaycal=self.calendar))

    def after(self, day: datetime.date) -> datetime.date:
        """The day itself, or the next working day after it."""
        return _date(np.busday_offset(day, 0, roll="forward", busdaycal=self.calendar))


def work_days(plan: Plan) -> WorkDays:
    """The working days of a plan: those on which one of its shifts is worked, without its holidays.

    Holidays are those of its table and of its country. A plan whose shifts are worked on no day keeps
    Monday to Friday.
    """
    week = {day for row in plan.shifts for day in days_of(row)}
    years = [row.date.year for row in plan.builds] or [datetime.date.today().year]
    free = free_days(plan, range(min(years) - BEFORE, max(years) + AFTER + 1))
    return WorkDays.of(free, week or WEEK)


def _date(day: np.datetime64) -> datetime.date:
    found = day.item()
    assert isinstance(found, datetime.date)
    return found


__all__ = ["WorkDays", "work_days"]
