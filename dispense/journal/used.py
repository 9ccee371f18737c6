"""Figures as the journal has them in place of the plan's, for a forecast that is told to count on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..base.errors import NA, InputError, Problem
from ..base.printed import listed
from ..plan.records import Plan
from .learned import DIFFERS, Learned
from .lessons import SCRAP, dated_scrap, scrap_subject
from .weighed import PERCENT

ALL = "all"
PURGES, DEMAND = "purges", "demand spread"
QUANTITIES = (SCRAP, PURGES, DEMAND)  # that change what is used


@dataclass(slots=True)
class WithLearned:
    """A plan that counts on learned figures, and those figures."""

    plan: Plan
    figures: list[Learned]

    @property
    def words(self) -> str:
        """Each figure with its interval and what the plan says, in a line."""
        if not self.figures:
            return ""
        return "With learned figures: " + "; ".join(map(_shown, self.figures)) + "."


def _shown(item: Learned) -> str:
    digits = item.digits
    value, low, high = (f"{each or 0.0:.{digits}f}" for each in (item.value, item.low, item.high))
    planned = "" if item.planned is None else f", plan {item.planned:.{digits}f}"
    unit = "% of plan" if item.quantity == PURGES else item.unit
    of = "" if item.quantity == DEMAND else f" of {item.subject}"
    return f"{item.quantity}{of} {value} {unit} (95 %: {low} to {high}{planned})"


def with_learned(plan: Plan, values: Sequence[Learned], names: Sequence[str]) -> WithLearned:
    """The plan with the figures of these names: `scrap:Hem robot`, or `all` that differ by more than noise.

    Only scrap, purges and the spread of demand change what is used. Raises InputError for any other name,
    and where too little is booked for a figure.
    """
    usable = [item for item in values if item.quantity in QUANTITIES and item.value is not None]
    by_name = {item.name: item for item in usable}
    chosen: dict[str, Learned] = {}
    problems = []
    for name in names:
        if name == ALL:
            chosen |= {item.name: item for item in usable if _differs(item)}
        elif name in by_name:
            chosen[name] = by_name[name]
        else:
            known = f"all, or one of {listed(by_name)}" if by_name else "a figure of which enough is booked"
            problems.append(Problem("forecast", "learned", name, known, "dispense learn PLAN shows them", NA))
    if problems:
        raise InputError(problems)
    figures = [item for item in usable if item.name in chosen]
    return WithLearned(_applied(plan, figures), figures)


def _differs(item: Learned) -> bool:
    return item.verdict == DIFFERS


def _applied(plan: Plan, figures: Sequence[Learned]) -> Plan:
    scrap = {item.subject: (item.value or 0.0) / PERCENT for item in figures if item.quantity == SCRAP}
    purges = {item.subject: (item.value or 0.0) / PERCENT for item in figures if item.quantity == PURGES}
    settings = plan.settings.copy()
    for item in figures:
        if item.quantity == DEMAND:
            settings["demand_spread"] = (item.value or 0.0) / PERCENT
    stations = [
        replace(row, scrap=scrap[row.station]) if row.station in scrap else row for row in plan.stations
    ]
    for_a_time = {
        id(item): scrap[name]
        for row in plan.stations
        for item in dated_scrap(plan, row.station)
        if (name := scrap_subject(row.station, item)) in scrap
    }
    dated = [replace(item, value=for_a_time.get(id(item), item.value)) for item in plan.dated]
    return replace(plan, stations=stations, settings=settings, purge_factors=purges, dated=dated)


__all__ = ["ALL", "WithLearned", "with_learned"]
