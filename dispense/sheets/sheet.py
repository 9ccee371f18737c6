"""A printed sheet as a whole: what it may say, its layout, and for what a file of it is filled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..plan.records import Plan
from ..shift.results import ShiftResult
from ..shift.setup import SetupCard
from .layout import Book
from .spec import Content, SheetSpec


@dataclass(frozen=True, slots=True)
class Sheet:
    """One kind of sheet. It has one of the four functions that say what a file of it holds.

    `of_plan` gives one file of the whole plan, `of_station` one a station, `of_shift` one a shift for all
    its stations (None where the shift has nothing for it), `of_station_shift` one a station and shift (None
    where it has nothing to say); the last argument of each is the stamp.
    """

    spec: SheetSpec
    layout: Callable[[Book], None]
    plural: str  # as a report counts its files
    file: str  # of a file that is filled: its name, after that of the station where it is one's
    of_plan: Callable[[Plan, Sequence[ShiftResult], str], Content] | None = None
    of_station: Callable[[Plan, SetupCard, str], Content] | None = None
    of_shift: Callable[[Plan, Sequence[ShiftResult], str], Content | None] | None = None
    of_station_shift: Callable[[Plan, ShiftResult, str], Content | None] | None = None
