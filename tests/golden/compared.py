"""What may be chosen, side by side: each set reckoned as a plan of its own; nothing of the planner.

A set is the plan with other cells, played by `expected.Reckoning`. Used is all that left the containers,
waste what of it is not on good parts; what it costs is at the price of a full container. A danger, and a stop
of the line other than of stock, rules a set out. Cure positions by Little's law (J. D. C. Little, Operations
Research 9 (1961) 383): the time to handling of a part dispensed at the coldest half hour of the shifts, over
the takt, rounded up.
"""

from __future__ import annotations

import datetime
import itertools
import math
from dataclasses import dataclass, field
from typing import Any

from . import amounts, heat, plans, weather
from . import handbook as hb
from .cells import Fact, Num, Says
from .expected import CAUTION, DANGER, HAZARDS, QUALITY, STOP, Found, Reckoning, gravest, shift_findings
from .player import USES
from .reading import clock

LOST_IN_CONTAINERS = ("heel", "rest", "expired")
HALF_HOUR = 1800.0


@dataclass
class Option:
    """A set: its names and cells as printed, and the tables of its plan."""

    names: tuple[str, ...]
    cells: tuple[str, ...]
    tables: dict[str, plans.Table]
    is_present: bool = False


@dataclass
class Reckoned:
    """The figures of a set at a station."""

    option: Option
    used: dict[str, float]
    left: float
    cost: float | None
    cost_on_parts: float | None
    pressure: float
    limit: float
    purges: int
    mixers: int
    containers: int
    positions: int
    hottest: float | None
    asked: int
    made: int
    found: list[Found] = field(default_factory=list)
    rank: int = 0

    @property
    def waste(self) -> float:
        """All that is used and is not on good parts."""
        return sum(self.used.values()) - self.used["parts"]

    @property
    def in_containers(self) -> float:
        """What of it is lost with containers."""
        return sum(self.used[use] for use in LOST_IN_CONTAINERS)

    @property
    def stops(self) -> int:
        """Times the nozzle stands for a purge, a mixer, a container."""
        return self.purges + self.mixers + self.containers

    @property
    def rules(self) -> list[Found]:
        """What rules it out, the gravest first."""
        return [item for item in self.found if rules_out(item)]

    @property
    def to_look_at(self) -> int:
        """Sorts of what else spoils parts or figures."""
        return len({item.topic for item in self.found if item.kind == QUALITY})


def rules_out(item: Found) -> bool:
    """A danger, or a stop of the line that no order of stock mends."""
    return item.kind == DANGER or (item.kind == STOP and item.topic != "shortage")


def sorts(found: list[Found]) -> list[Found]:
    """The first of each sort: the gravest, then the most frequent; each danger of a part by itself."""
    groups: dict[tuple[Any, ...], list[Found]] = {}
    for item in gravest(found):
        groups.setdefault((item.kind, item.topic, item.part if item.kind == DANGER else ""), []).append(item)
    return [group[0] for group in sorted(groups.values(), key=lambda group: (group[0].kind, -len(group)))]


def options(station: str) -> list[Option]:
    """The sets of the plan COMPARED at a station, the plan as it is first."""
    base = plans.COMPARED
    if station == "head pour":
        moss = plans.changed(base["Stations"], {"head pour": {"Material": "moss potting"}})
        # half as large, at the same price for the volume
        small = {"amber potting b": {"Container [mL]": 240, "Price": 18.9 * 240 / 480}}
        names = "material amber potting", "material moss potting"
        sizes = "amber potting B container 480 mL", "amber potting B container 240 mL"
        return [
            Option((names[0], sizes[0]), ("amber potting", "480 mL"), base, True),
            Option(
                (names[0], sizes[1]),
                ("amber potting", "240 mL"),
                {**base, "Components": plans.changed(base["Components"], small)},
            ),
            # no part of it comes from an amber container, whatever its size
            Option((names[1], sizes[0]), ("moss potting", "480 mL"), {**base, "Stations": moss}),
        ]
    found = [Option(("mixer bore 9.4 mm, mixer volume 23 mL",), ("9.4 mm, 23 mL",), base, True)]
    for name, bore, volume in (("narrow mixer", 5.3, 9), ("wide mixer", 11, 31)):
        cells = {"seam arm": {"Mixer bore [mm]": bore, "Mixer volume [mL]": volume}}
        tables = {**base, "Stations": plans.changed(base["Stations"], cells)}
        found.append(Option((name,), (name,), tables))
    return found


def reckon(option: Option, name: str) -> Reckoned:
    """A set through all builds of the plan."""
    reckoning = Reckoning(option.tables)
    plant, station = reckoning.plant, reckoning.station(name)
    runs = [run for run in reckoning.runs if run.station.station == name]
    material, sky = plant.material(station.material), weather.Day.of(plant, station)
    shots = [
        shot for row in plant.parts for shot in amounts.shots_of(plant, row.part) if shot.station == name
    ]
    parts = plant.parts_of(material.material)
    prices = {letter: row.price and row.price / row.container for letter, row in parts.items()}
    drawn = {letter: sum(run.drawn(letter) for run in runs) for letter in parts}
    on = {letter: sum(run.used[letter]["parts"] for run in runs) for letter in parts}
    priced = all(prices.values())
    found = reckoning.station_findings(station)
    for run in runs:
        found = [*found, *shift_findings(run)]
    return Reckoned(
        option,
        {use: sum(run.used[letter][use] for run in runs for letter in parts) for use in USES},
        sum(runs[-1].closing.values()),
        sum(drawn[letter] * prices[letter] for letter in parts) if priced else None,
        sum(on[letter] * prices[letter] for letter in parts) if priced else None,
        max(
            sum(bar or 0.0 for bar in reckoning.pressures(shot, station, material, sky)[:2]) for shot in shots
        ),
        station.pressure_limit,
        sum(run.purges for run in runs),
        sum(run.mixers for run in runs),
        sum(sum(run.containers.values()) for run in runs),
        positions(reckoning, station, material, sky),
        hottest(reckoning, station, material, shots, sky),
        sum(job.good for run in runs for job in run.jobs),
        sum(job.finished for run in runs for job in run.jobs),
        gravest(found),
    )


def positions(reckoning: Reckoning, station: Any, material: Any, sky: weather.Day) -> int:
    """Places that parts in cure take up till they have handling strength."""
    shifts = reckoning.plant.shifts
    first, last = min(clock(row.start) for row in shifts), max(clock(row.end) for row in shifts)
    starts = [first + HALF_HOUR * step for step in range(math.ceil((last - first) / HALF_HOUR))]
    begin = min(starts, key=lambda at: sky.between(at, at + 1e-3)[0])
    at = material.cure_temperature, weather.energy_of(material), material.halving_step, 8
    moved = weather.room_ageing(sky, material.move_time, *at).when(begin) - begin
    return math.ceil(moved / station.takt - 1e-9)


def hottest(reckoning: Reckoning, station: Any, material: Any, shots: list[Any], sky: Any) -> float | None:
    """The highest temperature of its pours."""
    pots = [pot for pot in reckoning.plant.pots if pot.station == station.station]
    if not pots:
        return None
    (pot,) = pots
    levels = [0.0, *(shot.level for shot in shots)]
    rates = (
        material.rate_1,
        material.energy_1,
        material.rate_2,
        material.energy_2,
        material.order_m,
        material.order_n,
    )
    return heat.peak(
        tuple(high - low for low, high in itertools.pairwise(levels)),
        tuple(shot.wait for shot in shots),
        sky.hottest,
        pot.film,
        hb.density(material, reckoning.plant.parts_of(material.material)),
        material.heat,
        material.specific_heat,
        material.conductivity,
        rates,
    )


def ranked(station: str) -> list[Reckoned]:
    """The plan as it is, then the sets by rank: what nothing rules out first, then by cost or waste."""
    found = [reckon(option, station) for option in options(station)]
    order = sorted(
        found,
        key=lambda item: (
            bool(item.rules),
            (item.waste if item.cost is None else item.cost) / item.made,
            item.stops,
            item.pressure,
        ),
    )
    for place, item in enumerate(order, 1):
        item.rank = place
    now = next(item for item in found if item.option.is_present)
    return [now, *(item for item in order if item is not now)]


# ------------------------------------------------------------------------------------------ the workbook

Row = list[Any]
NOTES = (
    ("row marked now", "plan as it is"),
    ("Waste", "not on good parts", "scrap", "purges", "heels", "rests", "expired"),
    ("Stops", "purge, a mixer or a container", "price of a mixer is not", "coldest hour"),
    ("Not made by the end", "missing when the last", "later shift"),
    ("Ruled out", "hurt someone", "stops the line", "unmade", "cure", "stock that must be ordered"),
    ("shop temperature holds all day", "same price for its volume"),
)
AXES = {"head pour": ["Material", "Amber potting B container"], "seam arm": ["Mixer bore, mixer volume"]}
FIGURES = [
    "Waste [mL]",
    "Of it in containers [mL]",
    "Waste share",
    "Pressure [bar]",
    "Purges",
    "Mixers",
    "Stops",
    "Cure positions",
    "Hottest pour [°C]",
    "Not made by the end",
    "To look at",
    "Ruled out",
]


def answer(sets: list[Reckoned]) -> Says:
    """Which set ranks first, and by how much."""
    now, best = sets[0], min(sets, key=lambda item: item.rank)
    out = sum(bool(item.rules) for item in sets)
    assert not best.rules, "nothing rules the first out"
    if best is now:
        return Says(("plan as it is ranks first of",), (), (Fact(len(sets)),), never=("▲",))
    assert not now.rules
    assert now.cost is not None and best.cost is not None
    figures = (Fact(len(sets)), Fact(out), Fact(now.cost - best.cost, "crowns less"))
    return Says(("first of", "ruled out", "than the plan as it is"), best.option.names, figures, never=("▲",))


def set_row(item: Reckoned) -> Row:
    """Its cells."""
    costs = [] if item.cost is None else [Num(item.cost), Num(item.cost - item.cost_on_parts)]
    return [
        Num(item.rank),
        "now" if item.option.is_present else None,
        *item.option.cells,
        *costs,
        Num(item.waste),
        Num(item.in_containers),
        Num(item.waste / sum(item.used.values())),
        Num(item.pressure),
        Num(item.purges),
        Num(item.mixers),
        Num(item.stops),
        Num(item.positions),
        None if item.hottest is None else Num(item.hottest, 0.002),
        Num(max(item.asked - item.made, 0)),
        Num(item.to_look_at),
        Says(("▲ yes",)) if item.rules else None,
    ]


def sheets() -> dict[str, list[Row]]:
    """For each sheet its rows that are not empty, each to its last cell that is not."""
    days = (datetime.date(2026, 5, 18), datetime.date(2026, 5, 19))
    settings = plans.COMPARED["Settings"][1]
    under = Says(("builds of", "to"), (settings[0][1], settings[1][1]), days)
    found: dict[str, list[Row]] = {}
    rules: list[Row] = []
    data: list[Row] = []
    for station in ("head pour", "seam arm"):
        sets = ranked(station)
        by_cost = sets[0].cost is not None
        words = ("nothing rules out", "cost of all" if by_cost else "not on good parts", "fewer stops")
        lacking = () if by_cost else ("No price is stated for olive seam bond A, olive seam bond B",)
        costs = ["Cost [crowns]", "Cost of waste [crowns]"] if by_cost else []
        names = dict.fromkeys(
            cell
            for item in sets
            for cell in item.option.cells
            if f"{cell}" in ("amber potting", "moss potting")
        )
        hazard = HAZARDS["two-part"]
        found[station] = [
            [f"Choices at {station}"],
            [under],
            [answer(sets)],
            [Says((*words, *lacking))],
            ["Rank", "Plan", *AXES[station], *costs, *FIGURES],
            *(set_row(item) for item in sets),
            ["How to read it"],
            *([Says(note)] for note in NOTES),
            ["Cautions"],
            *([Says(("▲", *hazard, *CAUTION), (name,))] for name in names or ("olive seam bond",)),
        ]
        for item in sets:
            for rule in sorts(item.rules):
                rules.append([station, Num(item.rank), ", ".join(item.option.names), rule.says])
        data.append([station, sets])
    found["Ruled out"] = [
        ["What rules sets out"],
        [under],
        ["Stations", "Rank", "Set", "Rule and figures", "What would mend it"],
        *rules,
    ]
    found["Chart data"] = chart_rows(*(sets for _, sets in data))
    return found


def chart_rows(pour: list[Reckoned], arm: list[Reckoned]) -> list[Row]:
    """What the two charts draw, side by side."""
    rows: list[Row] = [
        ["What the charts draw"],
        [Says(("Behind the charts",))],
        ["Cost of what is used: head pour", None, None, None, "Waste: seam arm"],
        ["Set", "On good parts", "Waste", None, "Set", "Waste"],
    ]
    for left, right in zip(pour, arm, strict=True):
        assert left.cost is not None
        costs = [Num(left.cost_on_parts), Num(left.cost - left.cost_on_parts)]
        rows.append([bar(left), *costs, None, bar(right), Num(right.waste)])
    return rows


def bar(item: Reckoned) -> str:
    """What a bar is called."""
    marks = [*(["now"] if item.option.is_present else []), *(["ruled out"] if item.rules else [])]
    told = f" ({', '.join(marks)})" if marks else ""
    return f"{item.rank}{told}: {', '.join(item.option.cells)}"


# ---------------------------------------------------------------------------------------------- JSON


def as_json(item: Reckoned) -> dict[str, Any]:
    """Its values by key, what rules it out apart."""
    return {
        "rank": item.rank,
        "present": item.option.is_present,
        "choices": list(item.option.names),
        "admissible": not item.rules,
        "cost": None if item.cost is None else Num(item.cost),
        "cost_of_waste": None if item.cost is None else Num(item.cost - item.cost_on_parts),
        "used": {use: Num(volume) for use, volume in item.used.items()},
        "waste": Num(item.waste),
        "lost_in_containers": Num(item.in_containers),
        "left_at_end": Num(item.left),
        "pressure": Num(item.pressure),
        "pressure_limit": Num(item.limit),
        "purges": Num(item.purges),
        "mixers": Num(item.mixers),
        "containers": Num(item.containers),
        "stops": Num(item.stops),
        "cure_positions": Num(item.positions),
        "hottest_pour": None if item.hottest is None else Num(item.hottest, 0.002),
        "parts_asked": Num(item.asked),
        "parts_made": Num(item.made),
        "parts_not_made": Num(max(item.asked - item.made, 0)),
        "to_look_at": Num(item.to_look_at),
    }
