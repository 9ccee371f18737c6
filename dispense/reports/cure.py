"""Pot life, cure and heat of a station's material, in one report.

`cure_report` gathers what applies to a station: pot life on the day, oven and room schedules,
exotherm of its pots, moisture and light cure, pressed joints, latest clock times. The report prints as
text, as JSON and as a workbook (`dispense.books.cure`).
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, overload

import numpy as np

from ..base.clock import hhmm
from ..base.errors import InputError, Problem, needed
from ..base.findings import DANGER, NOTE, STOP, Finding, WithFindings, gravest_first, tally
from ..base.progress import Progress
from ..base.terminal import findings_text, table
from ..base.units import DAY, celsius_text, duration_text, from_si, temperature_text
from ..handbook.cure import uv_time
from ..handbook.moisture import moisture_depth, moisture_factor
from ..handbook.pack import PackHeat
from ..plan.amounts import Amount, moisture_depths
from ..plan.cautions import cautions_text
from ..plan.csv import TemperatureRecord
from ..plan.records import Plan
from ..plan.rows import Material, Station, TemperaturePoint
from ..plan.weather import shop_record, shop_weather
from ..shift.cure_times import LAST, cure_basis, shop_cure
from ..shift.play import play_plan
from ..shift.windows import Window, latest_times
from . import day as life_day
from . import pour as pour_report
from . import runs as cure_runs
from .day import LifeDay, shift_hours
from .findings import station_findings
from .pour import PourReport
from .press import PASTE_RULE, JointReport, PressedBead, shortest_takt, station_beads, station_joints
from .runs import CureRun
from .shot_plan import ShotChoice, ShotMap
from .standing import standing_findings
from .thickening import ThickeningReport, life_findings, thickening_report

HOURS = (1, 2, 4, 8, 12, 24, 48, 72, 120, 168)  # of the moisture table
HUMIDITIES = (0.3, 0.5, 0.7)
IRRADIANCES = (500.0, 1000.0, 2000.0, 5000.0, 10000.0, 20000.0)  # W/m²: 50 to 2000 mW/cm²
WINDOWS = (0.05, 0.1, 0.2)  # m, lit lengths of a belt
CURE_STAGES = 4  # of a report, for its progress
MOST_WINDOWS = 40  # rows of latest times in the report
RULE = 80 * "="  # between two reports


# -------------------------------------------------------------------------------- moisture and light


@dataclass(frozen=True, slots=True)
class MoistureNeed:
    """What moisture must reach, from the start of the shift hours that takes longest; SI units.

    Times count from the start: until moisture has cured the depth, until the data-sheet time to full
    cure is over (None where none is stated), and until full cure, the later of both. inf: never.
    """

    name: str
    depth: float
    start: float  # clock time
    depth_time: float
    stated_time: float | None
    time: float


@dataclass(slots=True)
class MoistureReport:
    """Depth that moisture has cured against time and humidity, and what it needs; SI units.

    `depths` are at one temperature, the mean of the day's; `humidity` is the mean of the day's.
    """

    coefficient: float
    stated_temperature: float
    stated_humidity: float
    energy: float | None
    temperature: float
    humidity: float
    needed: list[MoistureNeed]
    hours: tuple[float, ...]
    humidities: tuple[float, ...]
    depths: np.ndarray  # hours × humidities


@dataclass(slots=True)
class LightReport:
    """Time and belt speed for a dose at several irradiances; SI units."""

    dose: float
    irradiances: tuple[float, ...]
    windows: tuple[float, ...]
    times: list[float]
    speeds: np.ndarray  # irradiances × windows
    takt: float | None


def moisture_needs(plan: Plan, station: Station, material: Material) -> list[MoistureNeed]:
    """What moisture must reach in each bead, pot and joint, from the slowest half hour of the shifts."""
    cure = shop_cure(plan, station, material)
    found = []
    for part, name, depth in moisture_depths(plan, station.station):
        starts = shift_hours(plan)
        full = [cure.times(start, depth).milestones[LAST] or start for start in starts]
        start, last = max(zip(starts, full, strict=True), key=lambda row: row[1] - row[0])
        reached, stated = cure.depth_at(depth, start), cure.stated_at(LAST, start)
        found.append(
            MoistureNeed(
                f"{part} / {name}",
                depth,
                start,
                math.inf if reached is None else reached - start,
                None if stated is None else stated - start,
                last - start,
            )
        )
    return found


def moisture_report(plan: Plan, station: Station, material: Material) -> MoistureReport | None:
    """Depth against time; None where the material does not cure with moisture or has no coefficient."""
    if material.cure != "moisture" or material.moisture_coefficient is None:
        return None
    weather = shop_weather(plan, station)
    temperature, humidity = weather.mean_temperature, weather.mean_humidity
    humidities = tuple(sorted({humidity, *HUMIDITIES}))
    factors = moisture_factor(
        temperature,
        np.array(humidities),
        material.cure_temperature,
        material.moisture_humidity,
        material.moisture_energy or 0.0,
    )
    depths = moisture_depth(np.array(HOURS)[:, None] * 3600.0, material.moisture_coefficient * factors)
    return MoistureReport(
        material.moisture_coefficient,
        material.cure_temperature,
        material.moisture_humidity,
        material.moisture_energy,
        temperature,
        humidity,
        moisture_needs(plan, station, material),
        tuple(map(float, HOURS)),
        humidities,
        np.asarray(depths),
    )


def moisture_words(need: MoistureNeed) -> str:
    """When a bead is cured, in words for a printed sheet."""
    depth = f"{from_si(need.depth, 'mm'):.1f} mm deep"
    if not math.isfinite(need.time):
        return f"{depth} never: the air holds no water"
    words = f"{depth} after {duration_text(need.depth_time)}"
    if need.time > need.depth_time:
        words += f", fully cured after {duration_text(need.time)} by the data sheet"
    return f"{words} when dispensed at {hhmm(need.start)}, the slowest of the shift hours"


def belt_speed(irradiance, length, dose):
    """Belt speed at which a part gets its dose under a lit length: v = E·L/H, SI units.

    >>> round(float(belt_speed(5000.0, 0.08, 1.2e4)) * 60.0, 9)  # m/min
    2.0
    """
    return irradiance * length / dose


def light_report(plan: Plan, station: Station, material: Material) -> LightReport | None:
    """Times and belt speeds; None where the material states no dose."""
    if material.dose is None:
        return None
    speeds = belt_speed(np.array(IRRADIANCES)[:, None], np.array(WINDOWS), material.dose)
    return LightReport(
        material.dose,
        IRRADIANCES,
        WINDOWS,
        [float(uv_time(material.dose, value)) for value in IRRADIANCES],
        speeds,
        shortest_takt(plan, station),
    )


# ------------------------------------------------------------------------------------------ report


@dataclass(slots=True)
class CureReport(WithFindings):
    """All that is known of one station's material after it leaves the nozzle."""

    plan: Plan
    station: Station
    material: Material
    record: str  # where the temperatures come from
    temperatures: list[float]
    day: LifeDay | None
    runs: list[CureRun]
    pours: list[PourReport]
    moisture: MoistureReport | None
    light: LightReport | None
    joints: list[JointReport]
    beads: list[PressedBead]
    windows: list[tuple[datetime.date, str, Window]]
    thickening: ThickeningReport | None
    cautions: str
    findings: list[Finding] = field(default_factory=list)
    out: Path | None = None
    since: datetime.date | None = None  # from when on it holds, where table Validity changes the station
    date: datetime.date | None = None  # the one day that was asked for
    later: list[CureReport] = field(default_factory=list)  # of what holds from later days on

    @property
    def all(self) -> list[CureReport]:
        """It, and those of what holds later."""
        return [self, *self.later]

    @property
    def material_words(self) -> str:
        """The material, and of which days, where not all are alike or one was asked for."""
        if self.date is not None:
            return f"{self.material.material} (on {self.date})"
        return self.material.material + ("" if self.since is None else f" (from {self.since})")

    def as_json(self) -> dict[str, Any]:
        """The report for a script: shop units, null where nothing is known."""
        return _clean(_json(self))

    def as_text(self) -> str:
        """The report for a terminal, then those of what holds later."""
        return f"\n\n{RULE}\n".join(map(_text, self.all))


def with_record(plan: Plan, station: Station, record: TemperatureRecord) -> Plan:
    """The plan with a measured shop-temperature record at a station; the given plan stays as it is."""
    problems = []
    if not record.is_clock:
        problems.append(
            Problem(
                record.name,
                message="the times are counted from a start; a shop record needs times of day such as 06:30",
                fix="a thermocouple log goes into `log`",
            )
        )
    if len(record.channels) > 1:
        problems.append(
            Problem(
                record.name,
                message="holds several temperature columns: " + ", ".join(record.channels),
                fix="keep the one of the shop",
            )
        )
    if record.times[-1] - record.times[0] > DAY:
        problems.append(Problem(record.name, message="spans more than a day", fix="keep one day"))
    if problems:
        raise InputError(problems)
    (temperatures,) = record.channels.values()
    first = DAY * (record.times[0] // DAY)
    name = f"file {record.name}"
    rows = [
        TemperaturePoint(
            record=name, time=time - first, temperature=temperature, humidity=None, at=record.name
        )
        for time, temperature in zip(record.times, temperatures, strict=True)
    ]
    stations = [
        replace(item, record=name) if item.station == station.station else item for item in plan.stations
    ]
    own = Station.TABLE, (station.station,), "record"
    dated = [item for item in plan.dated if (item.table, item.key, item.column) != own]
    return replace(plan, stations=stations, temperatures=[*plan.temperatures, *rows], dated=dated)


def cure_report(
    plan: Plan,
    station: str,
    *,
    record: TemperatureRecord | None = None,
    log: TemperatureRecord | None = None,
    progress: Progress | None = None,
    date: datetime.date | None = None,
) -> CureReport:
    """The report of a station, and with it those of what holds there from later days on by table Validity.

    `record` is a shop-temperature record in place of the plan's, `log` a thermocouple log of parts in
    the oven. A record whose times are counted from a start is taken as a log. `date` tells of that day alone.
    """
    row = plan.station(station)
    if record is not None and not record.is_clock and log is None:
        record, log = None, record
    if record is not None:
        plan = with_record(plan, row, record)
    first, *others = [(None, plan.on(date))] if date is not None else stretches(plan, station)
    report = _report_of(plan, station, *first, record, log, progress, date)
    report.later = [_report_of(plan, station, *other, record, log, None) for other in others]
    told = {str(finding) for finding in report.findings}
    news = [
        replace(finding, day=finding.day or other.since)
        for other in report.later
        for finding in other.findings
        if str(finding) not in told
    ]
    report.findings = gravest_first([*report.findings, *news])
    return report


def stretches(plan: Plan, station: str) -> list[tuple[datetime.date | None, Plan]]:
    """The plans by which a station is reported on, each with its first day built; the plan where it has one.

    Scrap and takt alone make no other: what cures does not know of them.
    """
    found: list[tuple[datetime.date | None, Plan]] = []
    seen: list[Station] = []
    for day in sorted({build.date for build in plan.builds}) if plan.dated else ():
        held = plan.on(day)
        row = _as_reported(held, station)
        if row not in seen:
            seen.append(row)
            found.append((day, held))
    return found if len(found) > 1 else [(None, found[0][1] if found else plan)]


def _as_reported(held: Plan, station: str) -> Station:
    return replace(held.station(station), scrap=0.0, takt=None)


def _report_of(
    plan: Plan,
    station: str,
    since: datetime.date | None,
    held: Plan,
    record: TemperatureRecord | None,
    log: TemperatureRecord | None,
    progress: Progress | None,
    date: datetime.date | None = None,
) -> CureReport:
    """The report of a station by a plan that holds from a day on, or on one, of which `plan` is the whole."""
    windows = _windows(plan, station, held if since is not None else None, date)
    plan = held
    row = plan.station(station)
    material = plan.material(row.material)
    day = life_day.life_day(plan, row, material)
    useful = (
        day.life is not None
        or day.open is not None
        or any(value is not None for value in day.rows[0].cured.values())
    )
    found: list[Finding] = []
    failed: list[str] = []
    tell = progress or (lambda done, total: None)
    tell(0, CURE_STAGES)
    runs = cure_runs.station_runs(plan, row, material, log, failed)
    tell(1, CURE_STAGES)
    pours = pour_report.station_pours(plan, station, found)
    tell(2, CURE_STAGES)
    joints = station_joints(plan, station)
    tell(3, CURE_STAGES)
    report = CureReport(
        plan,
        row,
        material,
        _source(row, record),
        shop_record(plan, row)[1],
        day if useful else None,
        runs,
        pours,
        moisture_report(plan, row, material),
        light_report(plan, row, material),
        joints,
        station_beads(plan, station),
        windows,
        thickening_report(plan, station),
        cautions_text(material, cells=any(pot.station == station and pot.cells for pot in plan.pots)),
        since=since,
        date=date,
    )
    found += cure_runs.not_computed(row, material, failed)
    _gather(report, found)
    return report


def _source(station: Station, record) -> str:
    if record is not None:
        return f"file {record.name}"
    return f"record {station.record} of the plan" if station.record else "one temperature of the plan"


def _windows(
    plan: Plan, station: str, held: Plan | None, date: datetime.date | None
) -> list[tuple[datetime.date, str, Window]]:
    """Latest times of the first day's shifts, then of other shifts those that are missed.

    With `held` of the days on which the station is as it is there, with `date` of that day.
    """
    found = []
    first = None
    row = None if held is None else _as_reported(held, station)
    for result in play_plan(plan, stations=[station]):
        if result.station.station != station:
            continue
        if row is not None and _as_reported(plan.on(result.date), station) != row:
            continue
        if date is not None and result.date != date:
            continue
        first = first or result.date
        found += [
            (result.date, result.shift, window)
            for window in latest_times(result)
            if result.date == first or window.is_late
        ]
    return found


def _gather(report: CureReport, found: list[Finding]) -> None:
    """The findings of all parts of the report, added to what was found, and the station's dangers."""
    day, material, station = report.day, report.material, report.station

    def find(kind: str, text: str, fix: str = "", *, topic: str, part: str = "") -> None:
        found.append(Finding(kind, text, fix, topic, station.station, material.material, part))

    # of two that say the same the first stays: that of a pour followed here knows which shots keep its limit
    found += [finding for pour in report.pours for finding in pour.findings]
    found += pour_report.pour_findings(report.plan, station.station)
    for run in report.runs:
        found += cure_runs.run_findings(station, material, run)
        found += cure_runs.early_test(station, material, run)
    found += life_findings(report.plan, station) if report.thickening is None else report.thickening.findings
    found += standing_findings(report.plan, station)
    joined: list[JointReport | PressedBead] = [*report.joints, *report.beads]
    found += [finding for item in joined for finding in item.findings]
    late = [window for *_, window in report.windows if window.is_late]
    if late:
        find(
            STOP,
            f"{len(late)} groups of parts miss a window; first {late[0].text}",
            topic=late[0].kind,
            part=late[0].part,
        )
    found += [item for item in station_findings(report.plan, station.station) if item.kind == DANGER]
    if day is not None and day.life is not None:
        find(NOTE, f"pot life: {day.life.basis}", topic="pot life")
        for mark in day.marks:
            if "rule of thumb" not in mark:
                find(NOTE, f"pot life {mark}", topic="pot life")
        if material.pot_life_mass:
            find(
                NOTE,
                f"pot life was measured on {from_si(material.pot_life_mass, 'g'):g} g; a larger mass "
                "warms itself, and its life is shorter",
                topic="pot life",
            )
    if material.cure == "oven" and not report.runs:
        find(NOTE, "no row in Ovens for this station: no schedule to judge", topic="cure")
    for words in _moisture_notes(report):
        find(NOTE, words, topic="moisture cure")
    if report.light is not None and report.station.irradiance is None:
        find(
            NOTE,
            "no irradiance stands in the plan: measure it at the part with a radiometer for the "
            "lamp's band, and read the table there",
            topic="light",
        )
    report.findings = gravest_first(found)


def _moisture_notes(report: CureReport) -> list[str]:
    material = report.material
    if material.cure == "moisture":
        words = [f"moisture cure: {cure_basis(material, report.temperatures)}"]
        if material.moisture_coefficient is None:
            words.append("no moisture coefficient is stated: the depth of the beads is not judged")
        return words
    if material.moisture_coefficient is not None:
        return [f"the moisture coefficient is not used: {material.material} is of {material.cure} cure"]
    return []


@dataclass(slots=True)
class CureSummary(WithFindings):
    """The reports of all stations of a plan that have something to say."""

    reports: list[CureReport]
    silent: list[str]  # stations whose material states nothing that a report could be made of
    findings: list[Finding] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """A list of the reports of the stations, and all findings."""
        return {
            "stations": [report.as_json() for report in self.reports],
            "silent": self.silent,
            "findings": [finding.as_json() for finding in self.findings],
        }

    def as_text(self) -> str:
        """A line for each station, then the report of each."""
        rows = [
            [one.station.station, one.material_words, tally(one.findings)]
            for report in self.reports
            for one in report.all
        ]
        blocks = [table(["station", "material", "findings"], rows)]
        if self.silent:
            blocks.append("nothing to compute at: " + ", ".join(self.silent))
        return "\n\n".join([*blocks, *(f"{RULE}\n{report.as_text()}" for report in self.reports)])


def cure_reports(plan: Plan, date: datetime.date | None = None) -> CureSummary:
    """The report of every station that has something to say; with `date` of that day alone."""
    reports = [cure_report(plan, row.station, date=date) for row in plan.stations]
    told = [report for report in reports if _has_content(report)]
    silent = [report.station.station for report in reports if not _has_content(report)]
    found = [finding for report in told for finding in report.findings]
    return CureSummary(told, silent, gravest_first(found))


def _has_content(report: CureReport) -> bool:
    return any(map(_has_content, report.later)) or bool(
        report.day
        or report.runs
        or report.pours
        or report.moisture
        or report.light
        or report.joints
        or report.beads
        or report.windows
        or report.thickening
        or report.warnings
    )


# -------------------------------------------------------------------------------------------- JSON


def _clean(value: Any) -> Any:
    """JSON has no NaN and no infinity: null stands for what is not known."""
    if isinstance(value, dict):
        return {key: _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if isinstance(value, np.ndarray):
        return _clean(value.tolist())
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


@overload
def shop(value: float, unit: str) -> float: ...


@overload
def shop(value: None, unit: str) -> None: ...


def shop(value: float | None, unit: str) -> float | None:
    """An SI value in a shop unit; None stays."""
    return None if value is None else float(from_si(value, unit))


def _amount(amount: Amount | None, unit: str) -> dict[str, Any] | None:
    if amount is None:
        return None
    return {
        "nominal": shop(amount.nominal, unit),
        "low": shop(amount.low, unit),
        "high": shop(amount.high, unit),
        "worst_low": shop(amount.worst_low, unit),
        "worst_high": shop(amount.worst_high, unit),
        "driver": amount.main_driver,
    }


def _json(report: CureReport) -> dict[str, Any]:
    station, material = report.station, report.material
    return {
        "station": station.station,
        "material": material.material,
        "date": None if report.date is None else str(report.date),
        "valid_from": None if report.since is None else str(report.since),
        "cure": material.cure,
        "temperature_record": report.record,
        "units": {
            "time": "min",
            "clock": "seconds after midnight",
            "temperature": "°C",
            "length": "mm",
            "volume": "mL",
            "resistance": "K/W",
            "speed": "m/min",
        },
        "working_life": None if report.day is None else _day_json(report.day),
        "schedules": [_run_json(run) for run in report.runs],
        "pours": [_pour_json(pour) for pour in report.pours],
        "moisture": None if report.moisture is None else _moisture_json(report.moisture),
        "light": None if report.light is None else _light_json(report.light),
        "joints": [_joint_json(joint) for joint in report.joints],
        "beads": [_bead_json(bead) for bead in report.beads],
        "thickening": None if report.thickening is None else _thickening_json(report.thickening),
        "latest_times": [
            {
                "date": str(date),
                "shift": shift,
                "clock": window.clock,
                "kind": window.kind,
                "part": window.part,
                "first": window.first,
                "last": window.last,
                "late": window.is_late,
                "text": window.text,
            }
            for date, shift, window in report.windows
        ],
        "warnings": report.warnings,
        "notes": report.notes,
        "findings": [finding.as_json() for finding in report.findings],
        "cautions": report.cautions,
        "file": None if report.out is None else str(report.out),
        "later": [_json(item) for item in report.later],
    }


def _thickening_json(found: ThickeningReport) -> dict[str, Any]:
    setting = found.setting
    return {
        "basis": found.basis,
        "setting": None if setting is None else f"{setting.application.part} / {setting.application.name}",
        "fresh_pressure": shop(found.fresh, "bar"),
        "pressure_limit": shop(found.limit, "bar"),
        "meter_tolerance": found.tolerance,
        "flow_loss": found.flow_loss,
        "cases": [
            {
                "temperature": shop(case.temperature, "°C"),
                "purge_age": shop(case.purge_age, "min"),
                "pressure_at_purge": shop(case.pressure, "bar"),
                "pressure_life": shop(case.pressure_life, "min"),
                "flow_life": shop(case.flow_life, "min"),
                "viscosity_doubled": shop(case.doubled, "min"),
                "drift_at_purge": case.drift,
                "drift_life": shop(case.drift_life, "min"),
            }
            for case in found.cases
        ],
        "masses": [
            {
                "mass": shop(item.mass, "g"),
                "life": shop(item.life, "min"),
                "temperature": shop(item.temperature, "°C"),
            }
            for item in found.masses
        ],
    }


def _thickening_text(found: ThickeningReport) -> str:
    rows = [
        [
            celsius_text(case.temperature),
            _known(case.purge_age, "min"),
            _known(case.doubled, "min"),
            _known(case.pressure, "bar"),
            _known(case.pressure_life, "min"),
            _known(case.flow_life, "min"),
            "" if math.isnan(case.drift) else f"{case.drift:.0%}",
            _known(case.drift_life, "min"),
        ]
        for case in found.cases
    ]
    headers = [
        "at",
        "purge after",
        "viscosity doubled",
        "pressure then",
        "limit reached",
        "flow loss reached",
        "shot drift",
        "tolerance kept",
    ]
    words = f"Thickening: {found.basis}\n" + table(headers, rows)
    if found.masses:
        rows = [
            [_known(item.mass, "g"), _known(item.life, "min"), _known(item.temperature, "°C")]
            for item in found.masses
        ]
        words += "\n" + table(["mass", "pot life", "at its end"], rows)
    return words


def _known(value: float, unit: str) -> str:
    """A figure with its unit, "" where it is not known."""
    return f"{from_si(value, unit):.1f} {unit}" if math.isfinite(value) else ""


def _day_json(day: LifeDay) -> dict[str, Any]:
    return {
        "basis": day.life.basis if day.life else None,
        "marks": day.marks,
        "ages": [age / 60.0 for age in day.ages],
        "rows": [
            {
                "clock": row.clock,
                "temperature": shop(row.temperature, "°C"),
                "life": shop(row.life, "min"),
                "ends": row.ends,
                "left": list(row.left),
                "purge_by": row.purge_at,
                "mate_before": row.mate_before,
                **row.cured,
            }
            for row in day.rows
        ],
        "comparisons": [
            {
                "name": item.name,
                "temperature": shop(item.temperature, "°C"),
                "life": shop(item.life, "min"),
                "limits": item.limits,
            }
            for item in day.comparisons
        ],
        "hot_afternoon": day.hot_afternoon,
        "curve": [
            {"temperature": shop(temperature, "°C"), "life": shop(time, "min"), "kind": kind}
            for temperature, time, kind in day.curve
        ],
        "stated": [
            {"temperature": shop(temperature, "°C"), "life": shop(time, "min")}
            for temperature, time in day.points
        ],
    }


def _run_json(run: CureRun) -> dict[str, Any]:
    need = run.requirement
    return {
        "name": run.name,
        "kind": run.kind,
        "part": run.part,
        "passes": run.passes,
        "required": {
            "degree": need.degree,
            "equivalent_time": shop(need.equivalent, "min"),
            "at": shop(need.reference, "°C"),
            "energy": shop(need.energy, "kJ/mol"),
            "basis": run.energy_basis,
            "service_temperature": shop(need.service, "°C"),
        },
        "places": cure_runs.run_rows(run),
        "dwell": shop(run.dwell, "min"),
        "hold": shop(run.hold, "min"),
        "shortest_hold": shop(run.hold_needed, "min"),
        "hold_words": run.hold_words,
        "takt_seconds": run.takt,
        "positions": run.positions,
        "oven_length_m": run.length,
        "notes": run.notes,
    }


def _pour_json(pour: PourReport) -> dict[str, Any]:
    return {
        "name": pour.name,
        "depth": shop(pour.depth, "mm"),
        "start": shop(pour.start, "°C"),
        "film": pour.film,
        "adiabatic": shop(pour.adiabatic, "°C"),
        "peak": shop(pour.peak, "°C"),
        "peak_time": shop(pour.peak_time, "min"),
        "peak_height": shop(pour.peak_height, "mm"),
        "limit": shop(pour.limit, "°C"),
        "safe_depth": shop(pour.safe_depth, "mm"),
        "safe_words": pour.safe_words,
        "shots": [
            {"shot": number, "depth": shop(depth, "mm"), "wait": shop(wait, "min")}
            for number, depth, wait in pour.shots
        ],
        "shots_peak": shop(pour.shots_peak, "°C"),
        "shots_time": shop(pour.shots_time, "min"),
        "cell_share": pour.cell_share,
        "cells_peak": shop(pour.cells_peak, "°C"),
        "pack": None if pour.pack is None else _pack_json(pour.pack),
        "shot_map": None if pour.shot_map is None else _shot_map_json(pour.shot_map),
        "runaway": None
        if pour.runaway is None
        else {
            "delta": pour.runaway.delta,
            "critical": pour.runaway.critical,
            "critical_depth": shop(pour.runaway.half_thickness, "mm"),
            "runs_away": bool(pour.runaway.runs_away),
        },
        "time_to_maximum_rate": shop(pour.maximum_rate, "min"),
        "warnings": pour.warnings,
        "notes": pour.notes,
    }


def _pack_json(pack: PackHeat) -> dict[str, Any]:
    figures = {
        name: {
            "temperature": shop(figure.value, "°C"),
            "plus_minus_K": figure.plus_minus,
            "time": shop(figure.peak.time, "min"),
            "height": shop(figure.peak.place[2], "mm") if math.isfinite(figure.peak.place[2]) else None,
            "cut": figure.cut,
        }
        for name, figure in (("compound", pack.compound), ("skin", pack.skin), ("mean", pack.mean))
    }
    return {**figures, "heat_balance": pack.residual, "is_past": pack.is_past}


def _shot_map_json(found: ShotMap) -> dict[str, Any]:
    def choice(one: ShotChoice) -> dict[str, Any]:
        return {
            "shots": one.shots,
            "depth": shop(one.depth, "mm"),
            "wait": shop(one.wait, "min"),
            "pour_temperature": shop(one.pour, "°C"),
            "shop_temperature": shop(one.shop, "°C"),
            "skin": shop(one.skin, "°C") if math.isfinite(one.skin) else None,
            "is_safe": one.skin <= found.limit,
        }

    return {
        "limit": shop(found.limit, "°C"),
        "map": [choice(one) for row in found.rows for one in row],
        "others": [choice(one) for one in found.others],
        "choice": None if found.choice is None else choice(found.choice),
        "confirmed": None if found.confirmed is None else _pack_json(found.confirmed),
        "words": found.words,
    }


def _moisture_json(moisture: MoistureReport) -> dict[str, Any]:
    return {
        "coefficient": shop(moisture.coefficient, "mm/√h"),
        "humidity": moisture.humidity,
        "temperature": shop(moisture.temperature, "°C"),
        "stated_humidity": moisture.stated_humidity,
        "stated_temperature": shop(moisture.stated_temperature, "°C"),
        "energy": shop(moisture.energy, "kJ/mol"),
        "needed": [
            {
                "name": need.name,
                "depth": shop(need.depth, "mm"),
                "start": need.start,
                "depth_hours": need.depth_time / 3600.0,
                "stated_hours": None if need.stated_time is None else need.stated_time / 3600.0,
                "hours": need.time / 3600.0,
            }
            for need in moisture.needed
        ],
        "hours": list(moisture.hours),
        "humidities": list(moisture.humidities),
        "depths": from_si(moisture.depths, "mm"),
    }


def _light_json(light: LightReport) -> dict[str, Any]:
    return {
        "dose": shop(light.dose, "J/cm²"),
        "takt_seconds": light.takt,
        "irradiances": [shop(value, "mW/cm²") for value in light.irradiances],
        "times_seconds": light.times,
        "lit_lengths": [shop(value, "mm") for value in light.windows],
        "belt_speeds": from_si(light.speeds, "m/min"),
    }


def _pattern_json(joint: JointReport) -> dict[str, Any] | None:
    film = joint.pattern
    if film is None:
        return None
    return {
        "touch_gap": shop(film.touch_gap, "mm") if math.isfinite(film.touch_gap) else None,
        "touch_seconds": joint.touch_time,
        "cover_gap": shop(joint.cover_gap, "mm"),
        "cover_seconds": joint.cover_time,
        "fills_last": [shop(value, "mm") for value in film.last] if film.is_covered() else None,
        "air_closed_in": shop(film.trapped, "mL"),
        "air_under_press": shop(joint.air, "mL"),
    }


def _pattern_words(joint: JointReport) -> str:
    """One line on the pattern of a joint."""
    film = joint.pattern
    if film is None:
        return ""
    words = []
    if math.isfinite(film.touch_gap):
        words.append(f"touches at {from_si(film.touch_gap, 'mm'):.2f} mm{_after(joint.touch_time)}")
    if joint.cover_gap is not None:
        words.append(
            f"covers {joint.joint.coverage:.0%} at {from_si(joint.cover_gap, 'mm'):.2f} mm"
            f"{_after(joint.cover_time)}"
        )
    else:
        words.append(f"never covers {joint.joint.coverage:.0%}")
    if joint.cover_gap is not None and film.is_covered():
        x, y = (from_si(value, "mm") for value in film.last)
        words.append(f"fills last at x {x:.0f} mm, y {y:.0f} mm")
    words.append(f"closes in {from_si(film.trapped, 'mL'):.2g} mL of air")
    return f"{joint.name}: the pattern " + ", ".join(words)


def _after(time: float | None) -> str:
    return "" if time is None else f" after {time:.1f} s"


def _joint_json(joint: JointReport) -> dict[str, Any]:
    row = joint.joint
    return {
        "name": joint.name,
        "passes": joint.passes,
        "model": joint.model,
        "volume": _amount(joint.volume, "mL"),
        "pressure_bar": shop(joint.pressure, "bar"),
        "bond_line": shop(row.gap, "mm"),
        "gap": shop(joint.gap, "mm"),
        "gap_low": shop(joint.gap_low, "mm"),
        "gap_high": shop(joint.gap_high, "mm"),
        "gap_limit": shop(joint.gap_limit, "mm"),
        "gap_in_press_time": shop(joint.gap_pressed, "mm"),
        "seconds_needed": joint.time_needed,
        "press_seconds": row.press_time,
        "coverage": joint.coverage,
        "coverage_low": joint.coverage_low,
        "squeeze_out": shop(joint.squeeze_out, "mL"),
        "squeeze_out_high": shop(joint.squeeze_out_high, "mL"),
        "resistance": _amount(joint.resistance, "K/W"),
        "resistance_limit": shop(row.resistance_limit, "K/W"),
        "paste_gap": shop(joint.paste_gap, "mm"),
        "paste_rule": PASTE_RULE,
        "pattern": _pattern_json(joint),
        "work_seconds": joint.work,
        "takt_seconds": joint.takt,
        "warnings": joint.warnings,
        "notes": joint.notes,
    }


def _bead_json(bead: PressedBead) -> dict[str, Any]:
    return {
        "name": bead.name,
        "passes": bead.passes,
        "model": bead.model,
        "area_mm2": shop(bead.area, "mm²"),
        "bond_line": shop(bead.bead.bond_line, "mm"),
        "flange_width": shop(bead.bead.flange_width, "mm"),
        "width": shop(bead.width, "mm"),
        "width_round_edges": shop(bead.width_round, "mm"),
        "width_low": shop(bead.width_low, "mm"),
        "width_high": shop(bead.width_high, "mm"),
        "squeeze_out": shop(bead.squeeze_out, "mL"),
        "squeeze_out_high": shop(bead.squeeze_out_high, "mL"),
        "gap_limit": shop(bead.gap_limit, "mm"),
        "seconds_needed": bead.time_needed,
        "warnings": bead.warnings,
        "notes": bead.notes,
    }


# -------------------------------------------------------------------------------------------- text


def number(value: float | None, digits: int = 1) -> str:
    """A figure as printed, "–" where nothing is known."""
    return "–" if value is None or not math.isfinite(value) else f"{value:.{digits}f}"


def _brief(seconds: float | None) -> str:
    return "under 0.1" if seconds is not None and seconds < 0.1 else number(seconds)


def _text(report: CureReport) -> str:
    material = report.material
    described = f" ({material.description})" if material.description else ""
    head = (
        f"{report.station.station}: {report.material_words}{described}"
        f"\n{report.record}, {temperature_text(report.temperatures)}"
    )
    head += "".join(f"\n{words}" for words in _answers(report))
    found = [findings_text(report.findings, where=False)] if report.findings else []
    blocks = [head, *found, *_life_text(report), *map(_run_text, report.runs), *map(_pour_text, report.pours)]
    if report.moisture is not None:
        blocks.append(_moisture_text(report.moisture))
    if report.light is not None:
        blocks.append(_light_text(report.light))
    if report.joints:
        blocks.append(_joints_text(report.joints))
    if report.beads:
        blocks.append(_beads_text(report.beads))
    if report.thickening is not None:
        blocks.append(_thickening_text(report.thickening))
    if report.windows:
        rows = [[str(date), shift, window.text] for date, shift, window in report.windows]
        more = f"\nand {len(rows) - MOST_WINDOWS} more" if len(rows) > MOST_WINDOWS else ""
        blocks.append("Latest clock times\n" + table(["date", "shift", "what"], rows[:MOST_WINDOWS]) + more)
    blocks.append("Cautions\n" + report.cautions)
    if report.out is not None:
        blocks.append(f"wrote {report.out}")
    return "\n\n".join(blocks)


def _answers(report: CureReport) -> Iterator[str]:
    """What is asked first: the shortest pot life of the day, and whether each oven run cures."""
    if report.day is not None and report.day.shortest_words:
        yield f"at the least {report.day.shortest_words}"
    for run in report.runs:
        words = "has" if run.passes else f"at {run.coldest.name} does NOT have"
        yield f"{run.name}: {words} the cure asked for"


def _life_text(report: CureReport) -> list[str]:
    if report.day is None:
        return ["Pot life\nthe data sheet states no pot life, open time or room cure"]
    headers, rows = life_day.day_table(report.day)
    words = "Pot life on the day\n" + table(headers, rows)
    if report.day.hot_afternoon:
        words += f"\n{report.day.hot_afternoon}"
    return [words]


def _run_text(run: CureRun) -> str:
    rows = [
        [
            row["place"],
            number(row["highest_temperature"]),
            number(row["time_at_cure"]),
            number(row["equivalent_time"]),
            number(row["degree"], 3),
            number(row["glass_point"]),
            number(row["gel"]),
            number(row["handling"]),
            number(row["full_cure"]),
            row["verdict"].replace("fail", "FAIL"),
        ]
        for row in cure_runs.run_rows(run)
    ]
    need = run.requirement
    wanted = []
    if need.equivalent is not None and need.reference is not None:
        wanted.append(f"{duration_text(need.equivalent)} at {celsius_text(need.reference)}")
    if need.degree is not None:
        wanted.append(f"degree {need.degree:.2f}")
    if need.service is not None:
        wanted.append(f"glass transition {celsius_text(need.service)}")
    lines = [
        f"Schedule: {run.name}",
        table(
            [
                "place",
                "highest [°C]",
                "at cure [min]",
                "equivalent [min]",
                "degree",
                "Tg [°C]",
                "gel [min]",
                "handling [min]",
                "full [min]",
                "",
            ],
            rows,
        ),
    ]
    lines.append(f"asked for: {' and '.join(wanted) or 'nothing stated'} ({run.energy_basis})")
    if run.hold_needed is not None and run.hold is not None:
        lines.append(
            f"hold {run.hold / 60:.1f} min; the shortest that passes is {run.hold_needed / 60:.1f} min"
        )
    elif run.hold_words:
        lines.append(f"shortest hold: {run.hold_words}")
    if run.positions is not None:
        words = f"{run.positions} positions at a takt of {run.takt:.0f} s"
        if run.kind == "room":
            words += " until the part may be moved"
        if run.length is not None:
            pitch = from_si(needed(run.pitch, run.name, "pitch"), "mm")
            words += f", oven length {run.length:.2f} m at a pitch of {pitch:.0f} mm"
        lines.append(words)
    return "\n".join([*lines, *run.notes])


def _pour_text(pour: PourReport) -> str:
    lines = [
        f"Exotherm: {pour.name}, {from_si(pour.depth, 'mm'):.1f} mm deep, poured at "
        f"{celsius_text(pour.start, 1)}",
        ("as a slab without cells, " if pour.pack is not None else "")
        + f"in one shot {celsius_text(pour.peak, 1)} after {pour.peak_time / 60:.0f} min, "
        f"{from_si(pour.peak_height, 'mm'):.1f} mm above the base; without loss of heat "
        f"{celsius_text(pour.adiabatic, 1)}",
    ]
    if pour.shots_peak is not None and pour.shots_time is not None:
        lines.append(
            f"in {len(pour.shots)} shots ({pour.shots_text}) {celsius_text(pour.shots_peak, 1)} after "
            f"{pour.shots_time / 60:.0f} min"
        )
    if pour.cells_peak is not None:
        lines.append(
            f"with its cells ({pour.cell_share:.0%} of the volume) as heat sinks "
            f"{celsius_text(pour.cells_peak, 1)}"
        )
    if pour.pack is not None:
        lines.append(f"between the cells, as planned: {pour.planned_words}")
    limit = "no limit stated" if pour.limit is None else f"limit {celsius_text(pour.limit, 1)}"
    lines.append(f"{limit}; {pour.safe_label}: {pour.safe_words}")
    if pour.runaway is not None:
        lines.append(
            f"runaway criterion δ = {pour.runaway.delta:.2f}, critical "
            f"{pour.runaway.critical:.2f} (at {from_si(pour.runaway.half_thickness, 'mm'):.1f} mm)"
            + (
                f"; adiabatic time to the maximum rate {shop(pour.maximum_rate, 'min'):.1f} min"
                if pour.maximum_rate is not None and math.isfinite(pour.maximum_rate)
                else ""
            )
        )
    return "\n".join([*lines, *pour.notes, pour_report.CAUTION])


def _moisture_text(moisture: MoistureReport) -> str:
    rows = [
        [f"{hour:g}", *(f"{value:.1f}" for value in from_si(depths, "mm"))]
        for hour, depths in zip(moisture.hours, moisture.depths, strict=True)
    ]
    lines = [
        "Moisture cure: depth [mm] against time and relative humidity at "
        f"{celsius_text(moisture.temperature, 1)}, the mean of the day",
        table(["hours", *(f"{humidity:.0%}" for humidity in moisture.humidities)], rows),
    ]
    lines += [f"{need.name}: {moisture_words(need)}" for need in moisture.needed]
    return "\n".join(lines)


def _light_text(light: LightReport) -> str:
    headers = [
        "irradiance [mW/cm²]",
        "time [s]",
        *(f"belt [m/min], {from_si(value, 'mm'):.0f} mm lit" for value in light.windows),
    ]
    rows = [
        [shop(value, "mW/cm²"), time, *(float(f"{speed:.3g}") for speed in from_si(speeds, "m/min"))]
        for value, time, speeds in zip(light.irradiances, light.times, light.speeds, strict=True)
    ]
    return f"Light cure: dose {from_si(light.dose, 'J/cm²'):g} J/cm²\n" + table(headers, rows)


def _joints_text(joints: list[JointReport]) -> str:
    rows = []
    for item in joints:
        found = item.resistance
        rows.append(
            [
                item.name,
                f"{from_si(item.gap, 'mm'):.2f} ({from_si(item.gap_low, 'mm'):.2f}–"
                f"{from_si(item.gap_high, 'mm'):.2f})",
                number(item.time_needed),
                number(item.joint.press_time),
                number(shop(item.gap_limit, "mm"), 2),
                f"{item.coverage:.0%}",
                number(shop(item.squeeze_out, "mL"), 2),
                "–" if found is None else f"{found.nominal:.4f} ({found.low:.4f}–{found.high:.4f})",
                number(shop(item.joint.resistance_limit, "K/W"), 4),
                "good" if item.passes else "look",
            ]
        )
    lines = [
        "Pressed joints",
        table(
            [
                "joint",
                "gap [mm]",
                "needs [s]",
                "press [s]",
                "paste stops [mm]",
                "coverage",
                "out [mL]",
                "resistance [K/W]",
                "limit",
                "",
            ],
            rows,
        ),
        *dict.fromkeys(item.model for item in joints),
    ]
    for item in joints:
        if item.pattern is not None:
            lines.append(_pattern_words(item))
        if item.paste_gap is not None:
            lines.append(
                f"{item.name}: a filled paste stays near {from_si(item.paste_gap, 'mm'):.3f} mm "
                f"at {from_si(needed(item.pressure, item.name, 'pressure'), 'bar'):.2f} bar ({PASTE_RULE})"
            )
        lines += item.notes
    return "\n".join(lines)


def _beads_text(beads: list[PressedBead]) -> str:
    rows = [
        [
            item.name,
            number(shop(item.bead.bond_line, "mm"), 2),
            f"{from_si(item.width, 'mm'):.1f} ({from_si(item.width_low, 'mm'):.1f}–"
            f"{from_si(item.width_high, 'mm'):.1f})",
            number(shop(item.bead.flange_width, "mm")),
            number(shop(item.squeeze_out, "mL"), 2),
            _brief(item.time_needed),
            "good" if item.passes else "look",
        ]
        for item in beads
    ]
    return "\n".join(
        [
            "Pressed beads",
            table(
                ["bead", "bond line [mm]", "width [mm]", "flange [mm]", "out [mL]", "closes in [s]", ""], rows
            ),
            beads[0].model,
        ]
    )


__all__ = [
    "CureReport",
    "CureSummary",
    "LightReport",
    "MoistureNeed",
    "MoistureReport",
    "belt_speed",
    "cure_report",
    "cure_reports",
    "light_report",
    "moisture_needs",
    "moisture_report",
    "moisture_words",
    "shop",
    "with_record",
]
