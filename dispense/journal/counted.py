"""The stock of today: what the plan states, with what was counted and received since, from the journal."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from ..base.numbers import EQUAL
from ..base.printed import counted
from ..base.units import DAY, to_si
from ..plan.records import Plan
from ..plan.rows import Component, StockLot
from .dated import material_of_entry
from .entries import COUNTED, OPENED, RECEIVED, Entry
from .lots import lots_of

LotKey = tuple[str, str, str]  # material, component, lot
NO_END = datetime.date(
    2199, 12, 31
)  # of a lot whose last day nobody has stated: the last date a plan may hold


@dataclass(slots=True)
class CountedStock:
    """A plan whose stock follows the journal, and what was taken from it."""

    plan: Plan
    lots: int = 0  # that were counted
    receipts: int = 0
    last: datetime.date | None = None
    without_lot: list[Entry] = field(default_factory=list)  # counts that name no lot and are left out

    @property
    def words(self) -> str:
        """What the stock rests on, in a line; "" where the journal says nothing of it."""
        if not self.lots and not self.receipts:
            return ""
        count = f"{counted(self.lots, 'lot')} as counted, the last on {self.last}" if self.lots else ""
        came = f"{counted(self.receipts, 'receipt')} booked" if self.receipts else ""
        return "Stock by the journal: " + ", ".join(filter(None, (count, came))) + "."


def counted_stock(plan: Plan, entries: Iterable[Entry], as_of: datetime.date | None = None) -> CountedStock:
    """The stock on the morning of `as_of`, without it that of the last booking.

    The last day on which a lot was counted replaces its quantity; what was received later adds to it. A lot
    that was due and came is here, and an open order that a receipt names is owed no more of it. A container
    that was opened after its lot was counted is in store no more; of a lot that was never counted the plan's
    Stock says what is in store.
    """
    known = [
        entry
        for entry in entries
        if entry.kind in (COUNTED, RECEIVED, OPENED)
        and entry.date is not None
        and (as_of is None or entry.date < as_of or (entry.kind == COUNTED and entry.date == as_of))
    ]
    found = CountedStock(plan, without_lot=[each for each in known if not each.lot and each.kind != OPENED])
    by_lot: dict[LotKey, list[Entry]] = {}
    for entry in known:
        if entry.lot:
            name = material_of_entry(plan, entry)
            for lot in lots_of(entry):
                by_lot.setdefault((name, entry.component, lot), []).append(entry)
    rows = _less_received(plan, [entry for entry in known if entry.kind == RECEIVED and entry.lot])
    for key, items in sorted(by_lot.items()):
        component = plan.components_of(key[0]).get(key[1])
        if component is not None:
            row = _lot(found, component, key, rows.get(key), items)
            if row is not None:
                rows[key] = row
    found.plan = replace(plan, stock=list(rows.values()))
    return found


def _less_received(plan: Plan, receipts: Iterable[Entry]) -> dict[LotKey, StockLot]:
    """Lots of the plan, open orders less what was received by their number as the reference of a receipt.

    Of several rows of one number the first to come is received first; a receipt of the lot that an order
    names is that lot, as each lot that was due.
    """
    rows = {(row.material, row.component, row.lot): row for row in plan.stock}
    numbers = {row.at: row.order.strip() for row in plan.orders}
    due = sorted(
        (row for row in plan.stock if row.arrival and row.at in numbers),
        key=lambda row: (row.arrival or datetime.date.max, row.lot),
    )
    awaited = {(row.material, row.component, row.lot) for row in due}
    for entry in receipts:
        name, letter, number = material_of_entry(plan, entry), entry.component or "a", entry.text.strip()
        component = plan.components_of(name).get(letter)
        if component is None or not number or {(name, letter, lot) for lot in lots_of(entry)} & awaited:
            continue
        came = entry_volume(component, entry)
        for lot in due:
            key = lot.material, lot.component, lot.lot
            if key[:2] != (name, letter) or numbers[lot.at] != number or key not in rows:
                continue
            left = rows[key].quantity - came
            came = -min(left, 0.0)
            rows[key] = replace(rows[key], quantity=left)
            if left <= EQUAL * component.container:
                del rows[key]
    return rows


def _lot(
    found: CountedStock, component: Component, key: LotKey, row: StockLot | None, items: list[Entry]
) -> StockLot | None:
    """A lot as counted and received; None where it stays as the plan states it."""
    counts = [entry for entry in items if entry.kind == COUNTED]
    receipts = [entry for entry in items if entry.kind == RECEIVED]
    day = max((entry.day for entry in counts), default="")
    later = [entry for entry in receipts if entry.day > day]
    if not counts and not receipts:
        return None  # opened containers of a lot that nobody counted: the plan knows of them
    quantity = sum(entry_volume(component, entry) for entry in counts if entry.day == day)
    quantity += sum(entry_volume(component, entry) for entry in later)
    if counts:
        counted_at = day, max(entry.time for entry in counts if entry.day == day)
        opened = [entry for entry in items if entry.kind == OPENED and (entry.day, entry.time) > counted_at]
        quantity -= sum((entry.count or 1) * component.container for entry in opened)
        quantity = max(quantity, 0.0)
    if not counts and row is not None and row.arrival is None:
        return None  # it is here by the plan, which knew of the receipt
    if counts:
        found.lots += 1
        last = datetime.date.fromisoformat(day)
        found.last = last if found.last is None else max(found.last, last)
    found.receipts += len(later)
    if row is not None:
        return replace(row, quantity=quantity, arrival=None)
    expiry = NO_END
    if component.shelf_life is not None:  # it cannot keep longer than if it was made on its first day here
        first = datetime.date.fromisoformat(min(entry.day for entry in (*receipts, *counts)))
        expiry = first + datetime.timedelta(days=int(component.shelf_life // DAY))
    return StockLot(*key, quantity, expiry, None, None, "", "", at="")


def entry_volume(component: Component, entry: Entry) -> float:
    """The volume of an entry [m³]: as told, by mass and density, or in full containers."""
    if entry.value is None:
        return (entry.count or 0) * component.container
    if entry.unit == "kg":
        return entry.value / component.density
    factor, offset = to_si(entry.unit)
    return entry.value * factor + offset


__all__ = ["CountedStock", "counted_stock", "entry_volume"]
