"""What a plan says of itself before any shift is played, each finding computed once.

`plan_findings` asks every provider; a new one is a line in `OF_STATION` or `OF_PLAN`. What a played
shift finds stands in its `ShiftResult.findings`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import replace

from ..base.errors import DispenseError
from ..base.findings import NOTE, QUALITY, READING, Finding, gravest_first
from ..plan.holidays import built_on_holidays
from ..plan.lamp import lamp_findings
from ..plan.late import odd_orders, twice_ordered
from ..plan.records import Plan
from ..plan.rows import Station
from ..plan.slips import slips
from ..plan.validity import change_overs, validity_findings, variants_built
from ..shift.pace import OUTPUT
from ..shift.setup import setup_card, station_parts
from .pour import pour_findings
from .press import edge_findings, press_findings, pressed_findings
from .routes import START_UP, route_findings
from .runs import cure_findings
from .standing import standing_findings
from .thickening import thickening_findings


def _setup(plan: Plan, station: Station) -> list[Finding]:
    return setup_card(plan, station.station).findings


def _pours(plan: Plan, station: Station) -> list[Finding]:
    return pour_findings(plan, station.station)


def _read(plan: Plan) -> list[Finding]:
    """What was noted when the plan was read."""
    return [Finding(NOTE, str(problem), topic=READING, cell=problem.where) for problem in plan.warnings]


def _pressed(plan: Plan, station: Station) -> list[Finding]:
    found = [item for item in pressed_findings(plan, station.station) if item.is_warning]
    return [*found, *press_findings(plan, station.station), *edge_findings(plan, station.station)]


OF_STATION: tuple[Callable[[Plan, Station], list[Finding]], ...] = (
    _setup,
    _pressed,
    _pours,
    cure_findings,
    lamp_findings,
    standing_findings,
    thickening_findings,
)


def _dated(plan: Plan) -> list[Finding]:
    """What is told of figures that hold for a time."""
    return [*validity_findings(plan), *change_overs(plan)]


def _holidays(plan: Plan) -> list[Finding]:
    """What is told of builds on days that are not worked."""
    return list(built_on_holidays(plan))


def _ordered(plan: Plan) -> list[Finding]:
    """What is told of open orders."""
    return [*twice_ordered(plan), *odd_orders(plan)]


OF_PLAN: tuple[Callable[[Plan], list[Finding]], ...] = (
    _read,
    slips,
    route_findings,
    _dated,
    _holidays,
    _ordered,
)


def _of_plan(plan: Plan) -> list[Finding]:
    """What is found of the plan as a whole, worked out once."""
    known: dict[str, list[Finding]] = plan.kept("findings of the plan")
    if "" not in known:
        known[""] = [finding for provider in OF_PLAN for finding in provider(plan)]
    return known[""]


def station_findings(plan: Plan, station: str) -> list[Finding]:
    """What is found of a station as planned, the gravest first."""
    known: dict[str, list[Finding]] = plan.kept("findings")
    if station not in known:
        known[station] = gravest_first([*_of_station(plan, station), *_of_variants(plan, station)])
    return known[station]


def _of_variants(plan: Plan, station: str) -> list[Finding]:
    """What is found of a station only with the figures that hold for a time, from the first day on."""
    told = {str(finding) for finding in _of_station(plan, station)} if plan.dated else set()
    found: list[Finding] = []
    seen = [plan.station(station)]
    for date, held in variants_built(plan):
        row = held.station(station)
        if row in seen:
            continue
        seen.append(row)
        for item in _of_station(held, station):
            if str(item) not in told:
                told.add(str(item))
                found.append(replace(item, day=item.day or date))
    return found


def _of_station(plan: Plan, station: str) -> list[Finding]:
    """What every provider finds of a station, the figures of its row in place."""
    known: dict[str, list[Finding]] = plan.kept("findings of rows")
    if station not in known:
        row = plan.station(station)
        found: list[Finding] = []
        for provider in OF_STATION:
            try:
                found += provider(plan, row)
            except DispenseError as error:
                found += [
                    Finding(
                        QUALITY,
                        f"not checked: {problem}",
                        topic="not checked",
                        station=station,
                        material=row.material,
                    )
                    for problem in error.problems
                ]
        known[station] = found
    return known[station]


def without_findings(plan: Plan) -> Plan:
    """The same plan where nothing is found: for figures that must follow at once, findings come apart."""
    quiet = replace(plan)
    quiet.kept("findings").update({row.station: [] for row in plan.stations})
    return quiet


def plan_findings(plan: Plan, stations: Iterable[str] | None = None) -> list[Finding]:
    """What is found of a plan, or of some of its stations, the gravest first."""
    names = [row.station for row in plan.stations]
    chosen = names if stations is None else [name for name in names if name in set(stations)]
    found = [item for item in _of_plan(plan) if stations is None or concerns(plan, item, chosen)]
    return gravest_first([*found, *(item for name in chosen for item in station_findings(plan, name))])


def concerns(plan: Plan, finding: Finding, stations: Collection[str]) -> bool:
    """Whether a finding is of some stations, of a material or part there, or of the whole plan."""
    if finding.station:
        return finding.station in stations
    if finding.material:
        return any(finding.material in plan.materials_at(name) for name in stations)
    return not finding.part or any(finding.part in station_parts(plan, name) for name in stations)


def not_played(of_plan: Iterable[Finding], played: Iterable[Finding]) -> list[Finding]:
    """Findings of a plan without those of what a shift falls short by, where the shift as played tells it."""
    short = {(item.day, item.shift, item.part) for item in played if item.topic == OUTPUT}
    return [
        item for item in of_plan if item.topic != START_UP or (item.day, item.shift, item.part) not in short
    ]


__all__ = [
    "OF_PLAN",
    "OF_STATION",
    "concerns",
    "not_played",
    "plan_findings",
    "station_findings",
    "without_findings",
]
