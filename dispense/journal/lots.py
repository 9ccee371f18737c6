"""Lots that were connected or brought and are not what the plan means there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ..base.findings import QUALITY, Finding
from ..plan.records import Plan
from ..plan.rows import StockLot
from .entries import OPENED, RECEIVED, STAGED, Entry


def lots_of(entry: Entry) -> list[str]:
    """The lots of an entry, whose cell may hold several."""
    return [lot.strip() for lot in entry.lot.split(",") if lot.strip()]


def lot_findings(plan: Plan, entries: Sequence[Entry], known: Iterable[Entry] = ()) -> list[Finding]:
    """Lots connected or brought that are another component's, past their last day, or not known.

    A lot is known from the plan's Stock, or as received among `entries` or `known`.
    """
    stock: dict[str, list[StockLot]] = {}
    for row in plan.stock:
        stock.setdefault(row.lot, []).append(row)
    received: dict[str, set[tuple[str, str]]] = {}
    for entry in (*known, *entries):
        if entry.kind == RECEIVED:
            received.setdefault(entry.lot, set()).add((entry.material, entry.component))
    found = []
    for entry in entries:
        if entry.kind not in (OPENED, STAGED):
            continue
        here = entry.material or plan.on(entry.date).station(entry.station).material, entry.component
        for lot in lots_of(entry):
            meant = {(row.material, row.component) for row in stock.get(lot, [])} | received.get(lot, set())
            words = _wrong(entry, here, stock.get(lot, []), meant)
            if words:
                found.append(
                    Finding(
                        QUALITY,
                        f"lot {lot}, {entry.kind} at {entry.station} as {here[0]} {here[1].upper()}, {words}",
                        f"look at the label; dispense trace PLAN --lot {lot}{_option(here[1], meant)} "
                        "names the parts",
                        topic=f"lot {lot}",
                        station=entry.station,
                        material=here[0],
                        day=entry.date,
                        shift=entry.shift,
                    )
                )
    return found


def _option(letter: str, meant: Iterable[tuple[str, str]]) -> str:
    """What keeps a trace to the component that a lot was connected as, where it is known as another too."""
    return f" --component {letter.upper()}" if letter and {each for _, each in meant} - {letter} else ""


def _wrong(
    entry: Entry, here: tuple[str, str], stock: Sequence[StockLot], meant: set[tuple[str, str]]
) -> str:
    """What is wrong with a lot at its place, "" where nothing is."""
    if not meant:
        return "is neither in Stock nor was it received"
    if here not in meant:
        material, component = min(meant)
        return f"is {material} {component.upper()}"
    day = entry.moment.date() if entry.moment else entry.date  # after midnight it is the next, in a night too
    ends = [row.expiry for row in stock if (row.material, row.component) == here]
    if day is not None and ends and max(ends) < day:
        return f"was past its last day, {max(ends)}" + (f", on {day}" if day != entry.date else "")
    return ""


__all__ = ["lot_findings", "lots_of"]
