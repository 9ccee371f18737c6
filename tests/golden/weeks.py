"""Weeks of builds: what each day takes, lots through every shift, orders to place; own code.

The rules are those of `docs/planner.md`, for stations without a pot life, checks and tolerances, where a
shift takes so much for each part and no more. Volumes in mL as plain numbers: the planner counts whole
nanolitres, a millionth of a millilitre. Sources: safety stock and loss function, Silver, Pyke & Peterson;
order quantity, F. W. Harris (1913), both as in any text on stocks; negative binomial scrap by the count
of failures before so many successes.
"""

from __future__ import annotations

import copy
import datetime
import functools
import math
from collections import defaultdict
from dataclasses import dataclass, field
from statistics import NormalDist
from types import SimpleNamespace
from typing import Any

import numpy as np

from .plans import Table
from .reading import clock, records

CAUSES = ("parts", "scrap", "start", "end", "purge", "mixers", "checks", "rest", "hoses", "heel")
ONE = datetime.timedelta(days=1)
NEVER = datetime.date.max
TINY = 1e-7  # mL: a tenth of the nanolitre that is counted
GOING_ON = 14  # days whose use goes on after the last build
BEYOND = 180  # days after the builds that orders look at
PACE = 28  # days to come by which the size of an order goes
RUNS = 4000  # own simulation runs

Key = tuple[str, str]


@dataclass
class Lot:
    """A lot and what became of it [mL]; `left` is on the shelf, `standing` in containers at stations."""

    name: str
    left: float
    expiry: datetime.date
    opened: datetime.date | None = None
    arrival: datetime.date | None = None
    opening: float = 0.0
    received: float = 0.0
    used: float = 0.0
    expired: float = 0.0
    standing: float = 0.0
    expired_on: datetime.date | None = None
    was_old: bool = False

    def last(self, life: float | None) -> datetime.date:
        """The last day it may be used."""
        if self.opened is None or life is None:
            return self.expiry
        return min(self.expiry, self.opened + math.floor(life) * ONE)

    @property
    def here(self) -> bool:
        """Whether it has come."""
        return self.opening > 0 or self.received > 0


@dataclass
class Put:
    """A container at a station."""

    lot: Lot
    usable: float
    heel: float
    last: datetime.date


@dataclass
class Store:
    """One component: lots, and a container at each station that draws on it."""

    row: Any
    lots: list[Lot]
    put: dict[str, Put] = field(default_factory=dict)
    goes_without: bool = False
    missing: Lot | None = None
    out: datetime.date | None = None
    lacking: float = 0.0

    def morning(self, date: datetime.date) -> None:
        """What comes and what is too old."""
        for lot in self.lots:
            if lot.arrival == date and not lot.opening:
                lot.received = lot.left
            if lot.here and lot.left > TINY and lot.last(self.row.open_life) < date:
                lot.expired += lot.left
                lot.expired_on = lot.expired_on or date
                lot.left = 0.0

    def take(self, date: datetime.date, station: str, volume: float) -> None:
        """Draw on the container of a station, and on the next ones."""
        there = self.put.get(station)
        if there is not None and there.last < date:
            rest = there.usable + there.heel
            there.lot.expired += rest
            there.lot.standing -= rest
            there.lot.expired_on = there.lot.expired_on or date
            del self.put[station]
        elif there is not None and there.lot is self.missing and self._fit(date, over_heel=True):
            # what never came makes way for what has come: only what was drawn of it was lacking
            rest = there.usable + there.heel
            there.lot.received -= rest
            there.lot.standing -= rest
            del self.put[station]
        while volume > TINY:
            there = self.put.get(station)
            if there is None or there.usable <= TINY:
                if there is not None:
                    there.lot.used += there.heel
                    there.lot.standing -= there.heel + there.usable
                    there.lot.used += there.usable
                    del self.put[station]
                if not self._next(date, station):
                    self.lacking += volume
                    self.out = self.out or date
                    return
                continue
            part = min(volume, there.usable)
            there.usable -= part
            there.lot.used += part
            there.lot.standing -= part
            volume -= part

    def _fit(self, date: datetime.date, over_heel: bool = False) -> list[Lot]:
        """What may be taken from store; `over_heel` what gives something."""
        least = self.row.heel * self.row.container if over_heel else 0.0
        return [
            lot
            for lot in self.lots
            if lot.left > least + TINY
            and lot.last(self.row.open_life) >= date
            and (lot.arrival is None or lot.arrival <= date)
        ]

    def _next(self, date: datetime.date, station: str) -> bool:
        """First expired, first out; of lots of one last day an opened one first."""
        heel = self.row.heel * self.row.container
        fit = self._fit(date)
        if self.goes_without and not self._fit(date, over_heel=True):
            return False
        if not fit:
            self.out = self.out or date
            self.missing = self.missing or Lot("missing", 0.0, NEVER)
            self.missing.received += self.row.container
            self.missing.standing += self.row.container
            self.put[station] = Put(self.missing, self.row.container - heel, heel, NEVER)
            return True
        lot = min(fit, key=lambda lot: (lot.last(self.row.open_life), lot.opened is None, lot.name))
        content = min(lot.left, self.row.container)
        lot.left -= content
        if content <= heel + TINY:
            lot.used += content
            return True
        lot.standing += content
        life = self.row.open_life
        last = lot.expiry if life is None else min(lot.expiry, (lot.opened or date) + math.floor(life) * ONE)
        self.put[station] = Put(lot, content - heel, heel, last)
        return True

    def on_hand(self) -> float:
        """On the shelf and in containers."""
        return sum(lot.left + lot.standing for lot in self.lots if lot.here)

    def usable_after(self, date: datetime.date) -> float:
        """What may be used on the day after."""
        shelf = sum(lot.left for lot in self.lots if lot.here and lot.last(self.row.open_life) > date)
        return shelf + sum(
            each.usable for each in self.put.values() if each.last > date and each.lot is not self.missing
        )


@dataclass
class Order:
    """An order to place."""

    key: Key
    by: datetime.date
    arrival: datetime.date
    count: int
    volume: float
    expiry: datetime.date
    cost: float
    number: int
    late: int = 0
    why: str = ""


class Weeks:
    """Everything that the workbook says, reckoned from the tables."""

    def __init__(
        self,
        tables: dict[str, Table],
        as_of: datetime.date,
        weeks: int,
        *,
        scrap: float = 0.0,
        larger: float = 1.0,
        more_b: float = 1.0,
    ) -> None:
        """`scrap` more of each station, containers so much `larger`, so much `more_b` for the same A."""
        read = {name: records(name, tables[name]) for name in tables if name not in ("Settings", "Validity")}
        self.settings = {row[0]: row[1] for row in tables["Settings"][1]}
        heads, rows = tables["Validity"]
        self.validity = [SimpleNamespace(**dict(zip(heads, row, strict=True))) for row in rows]
        for row, record in zip(rows, self.validity, strict=True):
            record.first, record.last = row[6] or datetime.date.min, row[7] or NEVER
        self.more_scrap, self.larger = scrap, larger
        self.materials = {row.material: row for row in read["Materials"]}
        self.stations = sorted(read["Stations"], key=lambda row: row.station)
        self.rows: dict[Key, Any] = {}
        for row in read["Components"]:
            for name in ("shelf_life", "open_life", "lead_time", "lead_time_spread"):
                setattr(row, name, getattr(row, name) / 86400.0)  # d
            row.kit = getattr(row, "kit", None)
            row.container *= larger
            self.rows[row.material, row.component] = row
        self.rows = dict(sorted(self.rows.items()))
        self.ratio_b = {row.material: (row.ratio_b or 0.0) * more_b for row in read["Materials"]}
        self.shots: dict[tuple[str, str], float] = {}  # by station and part [mL]
        for bead in read["Beads"]:
            self.shots[bead.station, bead.part] = bead.width * bead.height * bead.length / 1000.0
        order = {row.shift: clock(row.start) for row in read["Shifts"]}
        self.builds: dict[tuple[datetime.date, str], dict[str, int]] = defaultdict(dict)
        for row in sorted(read["Builds"], key=lambda row: (row.date, order[row.shift])):
            if row.date >= as_of:
                self.builds[row.date, row.shift][row.part] = row.quantity
        days = [date for date, _ in self.builds]
        self.as_of, self.first_build, self.last_build = as_of, days[0], days[-1]
        self.first = days[0] - days[0].weekday() * ONE
        self.days = min(7 * weeks, (days[-1] - self.first).days + 7 - days[-1].weekday())
        self.holidays = {row.date: row.name for row in read["Holidays"]}
        self.stock = [
            ((row.material, row.component), Lot(row.lot, row.quantity, row.expiry, row.opened, row.arrival))
            for row in read["Stock"]
        ]
        for row in read["Orders"]:
            key = (row.material, row.component)
            until = row.arrival + int(self.rows[key].shelf_life) * ONE
            self.stock.append((key, Lot(row.lot, row.quantity, until, None, row.arrival)))
        self._use()

    # ------------------------------------------------------------------------------------- figures

    def date(self, day: int) -> datetime.date:
        """The date of a day."""
        return self.first + day * ONE

    def day(self, date: datetime.date) -> int:
        """The number of a date."""
        return (date - self.first).days

    def name(self, key: Key) -> str:
        """As tables name a component."""
        return f"{key[0]} {key[1].upper()}" if (key[0], "b") in self.rows else key[0]

    def works(self, date: datetime.date) -> bool:
        """Whether one works on a day: all shifts are worked from Monday to Friday."""
        return date.weekday() < 5 and date not in self.holidays

    def before(self, date: datetime.date) -> datetime.date:
        """The working day on or before a day."""
        return date if self.works(date) else self.before(date - ONE)

    def after(self, date: datetime.date) -> datetime.date:
        """The working day on or after a day."""
        return date if self.works(date) else self.after(date + ONE)

    def held(self, what: str, date: datetime.date, **of: str) -> Any:
        """A value of Validity that holds on a day."""
        for row in self.validity:
            is_held = row.What == what and row.first <= date <= row.last
            if is_held and all(getattr(row, column) == name for column, name in of.items()):
                return row.Value
        return None

    def material_at(self, station: Any, date: datetime.date) -> str:
        """What a station runs on a day."""
        return self.held("material", date, Station=station.station) or station.material

    def scrap_at(self, station: Any, date: datetime.date) -> float:
        """Share lost."""
        dated = self.held("scrap", date, Station=station.station)
        stated = station.scrap if dated is None else float(dated.rstrip(" %")) / 100.0
        return min(max(stated + self.more_scrap, 0.0), 0.99)

    def container_price(self, key: Key, date: datetime.date) -> float:
        """Of a container on a day; a larger one costs as much for the volume."""
        dated = self.held("price", date, Material=key[0], Component=key[1])
        return (self.rows[key].price if dated is None else float(dated)) * self.larger

    def price(self, key: Key, date: datetime.date) -> float:
        """Of a millilitre on a day."""
        return self.container_price(key, date) / self.rows[key].container

    def share(self, key: Key) -> float:
        """Of the mixed volume; ratios count volumes."""
        a, b = self.materials[key[0]].ratio_a, self.ratio_b[key[0]]
        return (a if key[1] == "a" else b) / (a + b)

    def _keys(self, material: str) -> list[Key]:
        return [key for key in self.rows if key[0] == material]

    # ----------------------------------------------------------------------------------------- use

    def _use(self) -> None:
        """What each shift takes of each component, by cause, and what it draws from containers."""
        self.uses: list[tuple[datetime.date, str, Key, dict[str, float]]] = []
        self.lost: list[tuple[datetime.date, str, str, int, float]] = []  # for simulation runs
        filled: dict[str, str] = {}
        span = min(GOING_ON, 7 * math.ceil(((self.last_build - self.first_build).days + 1) / 7))
        coming = dict(self.builds)
        ahead = max(self.days, self.day(self.last_build) + 1) + BEYOND + 40
        turn = 1
        while self.day(self.first_build) + turn * span < ahead:
            for (date, shift), parts in self.builds.items():
                if (self.last_build - date).days < span:
                    coming[date + turn * span * ONE, shift] = parts
            turn += 1
        for (date, _), parts in sorted(coming.items(), key=lambda item: item[0][0]):
            for station in self.stations:
                here = {part: n for part, n in parts.items() if (station.station, part) in self.shots}
                if not here:
                    continue
                material, scrap = self.material_at(station, date), self.scrap_at(station, date)
                count = sum(here.values())
                good = math.fsum(n * self.shots[station.station, part] for part, n in here.items())
                fills = filled.get(station.station) != material
                filled[station.station] = material
                if date <= self.last_build:
                    self.lost.append((date, station.station, material, count, good / count))
                for key in self._keys(material):
                    row, share = self.rows[key], self.share(key)
                    used = dict.fromkeys(CAUSES, 0.0)
                    used["parts"] = good * share
                    used["scrap"] = good * share * scrap / (1 - scrap)
                    used["start"] = station.start_volume * share
                    used["end"] = station.end_volume * share
                    drawn = sum(used.values())
                    shots = [
                        round(self.shots[station.station, part] * share * 1e6)
                        for part, n in sorted(here.items())
                        for _ in range(math.ceil(n / (1 - scrap) - 1e-9))
                    ]
                    ends = [round(used[end] * 1e6) for end in ("start", "end")]
                    whole = round(row.container * (1 - row.heel) * 1e6)
                    used["rest"] = drawn * self._rests(whole, ends[0], tuple(shots), ends[1])
                    if fills:
                        used["hoses"] = station.hose_a if key[1] == "a" else station.hose_b
                    used["heel"] = sum(used.values()) * row.heel / (1 - row.heel)
                    self.uses.append((date, station.station, key, used))

    @staticmethod
    @functools.cache
    def _rests(whole: int, start: int, shots: tuple[int, ...], end: int) -> float:
        """What containers are left with before the shot that they cannot finish, over what is drawn.

        Such shifts follow one another, each with the container of the one before; long enough for the mean.
        """
        there, left, drawn, changed, begun = whole, 0, 0, 0, set()
        marks: dict[int, tuple[int, int]] = {}
        while changed < 500 and there not in begun:
            begun.add(there)
            marks[there] = left, drawn
            for shot, is_part in ((start, False), *((shot, True) for shot in shots), (end, False)):
                drawn += shot
                if is_part and there < shot:
                    left, there, changed = left + there, whole, changed + 1
                rest_of_it = shot
                while there < rest_of_it:
                    rest_of_it, there, changed = rest_of_it - there, whole, changed + 1
                there -= rest_of_it
        was = marks.get(there, (0, 0))
        return (left - was[0]) / (drawn - was[1])

    def within(self) -> list[tuple[datetime.date, str, Key, dict[str, float]]]:
        """The uses of the weeks that are looked at."""
        return [item for item in self.uses if item[0] <= self.last_build]

    def day_use(self, key: Key) -> list[float]:
        """Use of each day."""
        found = [0.0] * self.days
        for date, _, of, used in self.within():
            if of == key:
                found[self.day(date)] += sum(used.values())
        return found

    def by_cause(self, key: Key, station: str | None = None) -> dict[str, float]:
        """Use by cause."""
        found = dict.fromkeys(CAUSES, 0.0)
        for _, at, of, used in self.within():
            if of == key and station in (None, at):
                for cause, volume in used.items():
                    found[cause] += volume
        return found

    def cost(self, key: Key) -> dict[str, float]:
        """The same in money, at the price of each day."""
        found = dict.fromkeys(CAUSES, 0.0)
        for date, _, of, used in self.within():
            if of == key:
                for cause, volume in used.items():
                    found[cause] += volume * self.price(key, date)
        return found

    def draws(self, key: Key, days: int) -> list[list[tuple[str, float]]]:
        """What is drawn from containers day by day, in order."""
        found: list[list[tuple[str, float]]] = [[] for _ in range(days)]
        for date, station, of, used in self.uses:
            if of == key and self.day(date) < days:
                found[self.day(date)].append((station, sum(used.values()) - used["heel"]))
        return found

    # ---------------------------------------------------------------------------------------- walk

    def begin(self, key: Key) -> Store:
        """A component on the first morning."""
        lots = [copy.copy(lot) for of, lot in self.stock if of == key]
        for lot in lots:
            if lot.arrival is None or lot.arrival < self.first:
                lot.opening = lot.left
                # what was past its last day before today is no stock, and not lost in these weeks
                lot.was_old = lot.last(self.rows[key].open_life) < self.as_of
        return Store(self.rows[key], lots)

    def walked(self, key: Key, orders: list[Order], days: int | None = None) -> tuple[Store, list[float]]:
        """Lots through the days, and the stock of each evening."""
        store, levels = self.begin(key), []
        store.lots += [Lot(f"order {o.number}", o.volume, o.expiry, None, o.arrival) for o in orders]
        for day, draws in enumerate(self.draws(key, self.days if days is None else days)):
            store.morning(self.date(day))
            for station, volume in draws:
                store.take(self.date(day), station, volume)
            levels.append(store.on_hand())
        return store, levels

    # --------------------------------------------------------------------------------------- rules

    def loss_weight(self, key: Key) -> float:
        """What one lost millilitre of the mix takes of a component: its share, rest and heel."""
        causes = self.by_cause(key)
        mixed = sum(causes[cause] for cause in ("parts", "scrap", "start", "end"))
        return self.share(key) * (1 + causes["rest"] / mixed) / (1 - self.rows[key].heel)

    def spread(self, key: Key, upto: int | None = None) -> float:
        """Standard deviation of the use up to a day: parts lost before n good ones, n·s/(1 − s)²."""
        variance = 0.0
        for date, station, material, count, shot in self.lost:
            if material == key[0] and (upto is None or self.day(date) <= upto):
                row = next(row for row in self.stations if row.station == station)
                scrap = self.scrap_at(row, date)
                variance += count * scrap / (1 - scrap) ** 2 * shot**2
        return math.sqrt(variance) * self.loss_weight(key)

    def days_of_use(self, key: Key) -> int:
        """Days from the first use to the last, to the end of these weeks where it goes on after them."""
        use = self.day_use(key)
        used = [day for day, volume in enumerate(use) if volume]
        if any(of == key and self.day(date) >= self.days for date, _, of, _ in self.uses):
            return self.days - used[0]
        least = max(7, math.ceil(self.rows[key].lead_time))
        return min(max(used[-1] + 1 - used[0], least), self.days)

    @functools.cache  # noqa: B019
    def opened_loss(self, key: Key) -> float:
        """What could still be drawn from containers open too long, as a share of what is drawn."""
        row, end = self.rows[key], max(self.days, self.day(self.last_build) + 1)
        days = end + BEYOND + math.ceil(row.lead_time)
        usable, thrown, whole = row.container * (1 - row.heel), 0.0, 0.0
        there: dict[str, tuple[float, int]] = {}  # what is left at a station, and its last day
        for day, draws in enumerate(self.draws(key, days)):
            for station, volume in draws:
                left, last = there.get(station, (0.0, day))
                if last < day:
                    thrown, left = thrown + left, 0.0
                whole += volume
                while volume > left + TINY:
                    volume -= left
                    left, last = usable, day + math.floor(row.open_life)
                there[station] = (left - volume, last)
        return thrown / whole

    def daily(self, key: Key) -> float:
        """Mean use of a day of use, with what opened containers lose."""
        return (1 + self.opened_loss(key)) * sum(self.day_use(key)) / self.days_of_use(key)

    def rule(self, key: Key) -> dict[str, float]:
        """Safety stock, reorder point, order quantity."""
        row, days, more = self.rows[key], self.days_of_use(key), 1 + self.opened_loss(key)
        daily, deviation = self.daily(key), more * self.spread(key) / math.sqrt(days)
        z = NormalDist().inv_cdf(self.settings["Service level"])
        sigma = math.sqrt(row.lead_time * deviation**2 + daily**2 * row.lead_time_spread**2)
        safety = z * sigma
        loss = NormalDist().pdf(z) - z * (1 - NormalDist().cdf(z))
        kit = [of for of, one in self.rows.items() if of == key or (row.kit and one.kit == row.kit)]
        # Harris (1913) for packs that are ordered together: one order cost, the holding cost of all
        packs = {of: self.daily(of) / self.rows[of].container / self.rows[of].pack_multiple for of in kit}
        worth = sum(self.rows[of].price * self.rows[of].pack_multiple for of in kit)
        yearly, holding = 365 * max(packs.values()), self.settings["Holding rate"] * worth
        wanted = math.sqrt(2 * yearly * self.settings["Order cost"] / holding)
        keeps = min(each * self.rows[of].shelf_life for of, each in packs.items())
        asked = {}
        for of in kit:
            one = self.rows[of]
            count = max(min(round(wanted * one.pack_multiple), math.floor(keeps * one.pack_multiple)), 1)
            asked[of] = max(count, one.minimum_order)
        whole = max(math.ceil(count / self.rows[of].pack_multiple) for of, count in asked.items())
        return {
            "daily": daily,
            "sd": deviation,
            "safety": safety,
            "point": daily * row.lead_time + safety,
            "economic": wanted * row.pack_multiple * row.container,
            "order": whole * row.pack_multiple,
            "asked": asked[key],
            "shortage": sigma * loss,
        }

    # -------------------------------------------------------------------------------------- orders

    def orders(self) -> dict[Key, list[Order]]:
        """What is to be ordered: each as late and as small as it may be; a kit is one order of all."""
        groups: dict[Any, list[Key]] = defaultdict(list)
        for key, row in self.rows.items():
            groups[row.kit or key].append(key)
        found: dict[Key, list[Order]] = {key: [] for key in self.rows}
        for keys in groups.values():
            for order in _Buyer(self, keys).orders():
                found[order.key].append(order)
        return found

    # ---------------------------------------------------------------------------------- simulation

    def simulated(self) -> dict[Key, np.ndarray]:
        """Use of each component, run and day: own random numbers, another seed."""
        random = np.random.default_rng(20260504)
        mixed = {name: np.zeros((RUNS, self.days)) for name in self.materials}
        for date, station, material, count, shot in self.lost:
            row = next(row for row in self.stations if row.station == station)
            scrap = self.scrap_at(row, date)
            if scrap:
                lost = random.negative_binomial(count, 1 - scrap, RUNS)
                mixed[material][:, self.day(date)] += (lost - count * scrap / (1 - scrap)) * shot
        return {key: np.array(self.day_use(key)) + mixed[key[0]] * self.loss_weight(key) for key in self.rows}


class _Buyer:
    """Buys the components of one kit, or one by itself."""

    def __init__(self, weeks: Weeks, keys: list[Key]) -> None:
        self.weeks, self.keys = weeks, keys
        rows = [weeks.rows[key] for key in keys]
        self.lead = max(math.ceil(row.lead_time) for row in rows)
        self.least = max(math.ceil(row.minimum_order / row.pack_multiple) for row in rows)
        end = max(weeks.days, weeks.day(weeks.last_build) + 1)
        self.days = end + BEYOND + min(math.ceil(row.lead_time) for row in rows)
        self.draws = {key: weeks.draws(key, self.days) for key in keys}
        self.safety, self.sizes = {}, {}
        for key in keys:
            rule = weeks.rule(key)
            need = [0.0] * self.days
            for date, _, of, used in weeks.uses:
                if of == key and weeks.day(date) < self.days:
                    need[weeks.day(date)] += sum(used.values()) * (1 + weeks.opened_loss(key))
            span = 7 * math.ceil(max(self.lead, 1) / 7)
            drawn = [sum(volume for _, volume in day) for day in self.draws[key]]
            self.safety[key] = [
                min(rule["safety"] * self._ahead(need, day, span) / rule["daily"], sum(drawn[day + 1 :]))
                * (sum(drawn[: day + 1]) > 0)
                for day in range(self.days)
            ]
            self.sizes[key] = [
                rule["asked"] * math.sqrt(self._ahead(need, max(day - 1, 0), PACE) / rule["daily"])
                for day in range(self.days)
            ]
        self.number = 0

    def _ahead(self, need: list[float], day: int, span: int) -> float:
        """Mean use of the days that follow a day."""
        some = need[day + 1 : day + 1 + span] or need[-1:]
        return sum(some) / len(some)

    def _play(self, state: dict[Key, Store], day: int) -> bool:
        """A day; whether it is short or ends below the safety stock."""
        date, low = self.weeks.date(day), False
        for key in self.keys:
            store, lacking = state[key], state[key].lacking
            store.morning(date)
            for station, volume in self.draws[key][day]:
                store.take(date, station, volume)
            low |= store.lacking > lacking + TINY or store.usable_after(date) < self.safety[key][day] - 1e-6
        return low

    def _first_low(self, state: dict[Key, Store], day: int, start: int) -> tuple[int, dict[int, Any]]:
        """The first low day from `start` on, and the mornings up to it."""
        mornings = {}
        while day < self.days:
            mornings[day] = copy.deepcopy(state) if start < 10**6 else None
            if self._play(state, day) and day >= start:
                break
            day += 1
        return day, mornings

    def _lasts(self, morning: dict[Key, Store], day: int, packs: int) -> int:
        """The first low day with so many packs that come on a day."""
        state = self._with(morning, day, packs)
        while day < self.days and not self._play(state, day):
            day += 1
        return day

    def _with(self, morning: dict[Key, Store], day: int, packs: int) -> dict[Key, Store]:
        state = copy.deepcopy(morning)
        for key in self.keys:
            row, date = self.weeks.rows[key], self.weeks.date(day)
            volume = packs * row.pack_multiple * row.container
            name = f"order {self.number + 1}"
            lot = Lot(name, volume, date + int(row.shelf_life) * ONE, None, date)
            lot.opening = volume if day <= 0 else 0.0
            state[key].lots.append(lot)
        return state

    def orders(self) -> list[Order]:
        """All of them."""
        weeks, found = self.weeks, []
        today = weeks.after(weeks.as_of)
        soonest = max(weeks.day(weeks.after(today + self.lead * ONE)), 0)
        state = {key: weeks.begin(key) for key in self.keys}
        for store in state.values():
            store.goes_without = True
        early, _ = self._first_low(copy.deepcopy(state), 0, 0)
        assert early >= soonest, "a plan whose orders are late from the start is not reckoned here"
        day, low_from, mornings = 0, soonest, {}
        last = weeks.date(weeks.days - 1)
        while True:
            low, more = self._first_low(state, day, low_from)
            mornings |= more
            arrival = weeks.before(weeks.date(low))
            if low < self.days and self._is_short(mornings[low], low):  # not on the very morning of use
                early = weeks.before(weeks.date(low) - ONE)
                life = min(weeks.rows[key].shelf_life for key in self.keys)
                if weeks.day(early) >= soonest and low - weeks.day(early) <= life / 4:
                    arrival = early
            by = weeks.before(arrival - self.lead * ONE)
            if low >= self.days or by > last:
                return found
            day = max(weeks.day(arrival), 0)
            packs = self._packs(mornings[day], day)
            if self._lasts(mornings[day], day, packs) <= low:
                state, day, low_from = copy.deepcopy(mornings[low]), low, low + 1
                continue
            state = self._with(mornings[day], day, packs)
            self.number += 1
            for key in self.keys:
                row = weeks.rows[key]
                count = packs * row.pack_multiple
                found.append(
                    Order(
                        key,
                        by,
                        arrival,
                        count,
                        count * row.container,
                        arrival + int(row.shelf_life) * ONE,
                        count * weeks.container_price(key, by),
                        self.number,
                        why=self._why(mornings[day], day, packs, key),
                    )
                )
            low_from = low + 1

    def _is_short(self, morning: dict[Key, Store], day: int) -> bool:
        """Whether a station goes without on a day."""
        state = copy.deepcopy(morning)
        for store in state.values():
            store.lacking = 0.0
        self._play(state, day)
        return any(store.lacking > TINY for store in state.values())

    def _following(self, day: int) -> int:
        """The first day that the next order can serve, on the working day after it comes."""
        comes = self.weeks.after(self.weeks.date(day + 1))
        return self.weeks.day(self.weeks.after(comes + ONE))

    def _packs(self, morning: dict[Key, Store], day: int) -> int:
        """The fewest packs that last as long as the size that is meant, and until the next can come."""
        following = self._following(day)
        meant = max(
            math.ceil(self.sizes[key][day] / self.weeks.rows[key].pack_multiple - 1e-9) for key in self.keys
        )
        packs = max(meant, self.least, 1)
        lasts = self._lasts(morning, day, packs)
        while lasts < min(following, self.days):
            packs += 1
            lasts = self._lasts(morning, day, packs)
        low, high = max(self.least, 1), packs  # more packs never last less
        while low < high:
            middle = (low + high) // 2
            if self._lasts(morning, day, middle) >= lasts:
                high = middle
            else:
                low = middle + 1
        return high

    def _why(self, morning: dict[Key, Store], day: int, packs: int, key: Key) -> str:
        """Why it has another number of containers than the rule gives for the mean use."""
        row, usual = self.weeks.rows[key], self.weeks.rule(key)["order"]
        if packs * row.pack_multiple == usual:
            return ""
        wanted = {of: math.ceil(self.sizes[of][day] - 1e-9) for of in self.keys}
        whole = {of: math.ceil(wanted[of] / self.weeks.rows[of].pack_multiple) for of in self.keys}
        begin, why = max(whole.values()), []
        if whole[key] * row.pack_multiple != usual:
            packed = f" in packs of {row.pack_multiple}" if row.pack_multiple > 1 else ""
            asked = whole[key] * row.pack_multiple
            why.append(f"the use of the {PACE} days from its arrival on asks for {asked}{packed}")
        if begin < self.least:
            why.append(f"the minimum order is {self.least * row.pack_multiple}")
        elif whole[key] < begin:
            why.append(f"kit {row.kit} is ordered together")
        begin = max(begin, self.least, 1)
        if packs > begin:
            following = self.weeks.date(self._following(day))
            why.append(f"fewer do not last until the next can come, {following:%a} {following}")
        elif packs < begin:
            low = self._lasts(morning, day, begin)
            until = self.weeks.date(low)
            why.append(
                f"{begin * row.pack_multiple} would last no longer, until {until:%a} {until}"
                if low < self.days
                else "no more are needed, as far as the use is known"
            )
        return f"Reorder says {usual}: " + "; ".join(why)
