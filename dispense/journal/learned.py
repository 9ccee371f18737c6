"""A figure as learned from the journal beside what the plan says: do they differ by more than noise?

The false alarms are known: of 100 looks at a plan whose figures all hold, at most one says that one of
them differs. What cannot be told is said with its reason: too little was booked, or it has two causes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ..base.printed import digits_of
from .intervals import Estimate
from .statistics import FALSE_ALARMS
from .store import Booked
from .weighed import PERCENT

DIFFERS, NOISE, UNKNOWN = "differs", "noise", "unknown"
FINE = 20.0  # steps of the last digit in an interval, so that rounding loses nothing
FIGURES = 1000.0  # steps in a figure whose interval has no width


@dataclass(frozen=True, slots=True)
class Target:
    """The cell of a plan that a learned value belongs into: table, the row by its key, column."""

    table: str
    key: tuple[str, ...]
    column: str


@dataclass(frozen=True, slots=True)
class Learned:
    """One figure as learned from the journal, beside what the plan says; figures in `unit`.

    `low` to `high` holds the true value with 95 % confidence. `probability` is that of an estimate so far
    from the plan's by chance; NaN where nothing is judged. `verdict` is differs, noise or unknown. `target`
    is where it may be taken over to, None for what no single cell of a plan states. `caution` says what the
    figures leave open. `bookings` are the numbers of those it rests on.
    """

    quantity: str
    subject: str
    unit: str
    planned: float | None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    probability: float = float("nan")
    count: int = 0
    days: int = 0
    observed: str = ""
    bookings: tuple[int, ...] = ()
    verdict: str = UNKNOWN
    sentence: str = ""
    caution: str = ""
    target: Target | None = None

    @property
    def name(self) -> str:
        """What it is called where it is taken over: density:hem epoxy/A."""
        return f"{self.quantity.replace(' ', '-')}:{self.subject}"

    @property
    def digits(self) -> int:
        """Decimals that its uncertainty allows: the last digit is a twentieth of the interval or less."""
        if self.low is None or self.high is None or self.high <= self.low:
            return digits_of(abs(self.value or 1.0) / FIGURES)
        return digits_of((self.high - self.low) / FINE)

    @property
    def may_be_taken(self) -> bool:
        """Whether a command may put it into the plan."""
        return self.target is not None and self.verdict == DIFFERS


def estimated(
    base: Learned, estimate: Estimate, booked: Iterable[Booked], planned: float | None, target: Target | None
) -> Learned:
    """A figure with its estimate and what it rests on; the verdict is given when all are known."""
    rows = list(booked)
    return replace(
        base,
        planned=planned,
        value=estimate.value,
        low=estimate.low,
        high=estimate.high,
        probability=float("nan") if planned is None else estimate.probability_of(planned),
        days=len({item.entry.day for item in rows}),
        bookings=_numbers(rows),
        target=target,
    )


def _numbers(booked: Iterable[Booked]) -> tuple[int, ...]:
    return tuple(sorted({item.booking.number for item in booked}))


def too_few(base: Learned, booked: Sequence[Booked], words: str) -> Learned:
    return replace(
        base,
        days=len({item.entry.day for item in booked}),
        bookings=_numbers(booked),
        sentence=f"cannot be told: {words}",
    )


def judged(found: Sequence[Learned]) -> list[Learned]:
    """Each with its verdict; the false alarms are shared by all that are judged."""
    judged = [item for item in found if item.value is not None and item.probability == item.probability]
    alarm = FALSE_ALARMS / max(1, len(judged))
    return [_with_verdict(item, alarm) for item in found]


def _with_verdict(item: Learned, alarm: float) -> Learned:
    if item.value is None:
        return item
    if item.planned is None:
        words = "the plan states none"
        return replace(item, verdict=DIFFERS if item.target else UNKNOWN, sentence=words)
    if item.probability >= alarm:
        words = "no more than noise: the plan's figure stands"
        if item.low is not None and item.high is not None and not item.low <= item.planned <= item.high:
            sure = digits_of(PERCENT * alarm)
            words += (
                f" (outside the 95 % interval, within that of {PERCENT * (1.0 - alarm):.{sure}f} %, by which "
                "all these figures are judged together)"
            )
        return replace(item, verdict=NOISE, sentence=words)
    words = "differs by more than noise"
    if item.target is not None:
        words += f": dispense learn PLAN --take {_quoted(item.name)}"
    return replace(item, verdict=DIFFERS, sentence=words)


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name


__all__ = ["DIFFERS", "NOISE", "UNKNOWN", "Learned", "Target", "estimated", "judged", "too_few"]
