"""What each printed sheet says: named values and table rows, ready for a template.

A `SheetSpec` declares the defined names and the table columns that a template of its kind may have,
each once, with unit and help. `*_content` turns results into values and rows in shop units. Nothing
here knows how a workbook is written.
"""

from __future__ import annotations

import datetime
import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from ..base.clock import hhmm
from ..base.fields import Field, date, number, text, whole
from ..base.findings import (
    DANGER,
    MARKS,
    SHORTAGE,
    STOP,
    WAIT,
    Finding,
    gravest_first,
    grouped,
    marked,
    tally,
)
from ..base.printed import DOWN, Printed, PrintedLimits, digits_of
from ..base.units import LONGEST, celsius_text, duration_text, from_si, temperature_text, volume_text
from ..plan.amounts import Amount, Application, applications
from ..plan.cautions import CAUTION, cautions_text
from ..plan.materials import mixed_density
from ..reports.findings import plan_findings, station_findings
from ..shift.cure_times import LAST, cure_basis
from ..shift.results import CATEGORIES, Batch, Mating, ShiftResult, numbers_text
from ..shift.setup import SetupCard
from ..shift.store import NANO
from ..shift.weighing import driver_text
from ..shift.windows import latest_times

ML = NANO / 10**6  # nanolitres in a millilitre


@dataclass(frozen=True, slots=True)
class SheetSpec:
    """A kind of sheet: its template, the names and tables it may have, what it is for.

    A template must have the names in `required`, and in each table that it has the columns in
    `needed`: without them a row says nothing, or a wrong thing. All else may be deleted. `computed`
    are columns that the formulas of the template fill.
    """

    key: str
    file: str
    title: str
    help: str
    names: tuple[Field, ...]
    tables: dict[str, tuple[Field, ...]]
    required: tuple[str, ...] = ()
    needed: dict[str, tuple[str, ...]] = field(default_factory=dict)
    computed: dict[str, tuple[Field, ...]] = field(default_factory=dict)

    def demands(self, tables: Iterable[str]) -> list[str]:
        """Names, and columns as `Table[Heading]`, that a template with these tables must have."""
        there = {name.casefold() for name in tables}
        return [
            *self.required,
            *(
                f"{table}[{item.heading}]"
                for table, columns in self.needed.items()
                if table.casefold() in there
                for item in self.tables[table]
                if item.name in columns
            ),
        ]

    def computed_field(self, name: str) -> Field:
        """A column that the template computes."""
        return next(item for items in self.computed.values() for item in items if item.name == name)


@dataclass(slots=True)
class Content:
    """What goes into one sheet: values by name, rows by table, in shop units."""

    spec: SheetSpec
    values: dict[str, Any] = field(default_factory=dict)
    tables: dict[str, list[dict[str, Any]]] = field(default_factory=dict)


def moment(name: str, help: str) -> Field:
    """A date and time."""
    return Field(name, "moment", "", help)


_HEAD = (
    text("plant", "plant"),
    text("line", "line"),
    text("prepared_by", "who answers for the plan"),
    text("stamp", "when the sheet was made"),
    text("cautions", "cautions"),
)
_SHIFT_HEAD = (
    *_HEAD,
    date("day", "date of the shift"),
    text("shift", "shift"),
    text("hours", "start to end"),
    text("station", "station"),
    text("material", "material"),
    text("description", "what it is"),
)
_WARNINGS = (text("warning", "how grave it is, what to look at, what to do"),)

SHIFT_MATERIAL = SheetSpec(
    "shift_material",
    "shift_material.xlsx",
    "Shift material sheet",
    "what one station needs in one shift, when it purges and changes, lot by lot",
    (
        *_SHIFT_HEAD,
        text("headline", "containers to bring"),
        whole("parts_good", "good parts asked for"),
        whole("parts_started", "parts started"),
        number("takt", "s", "time between parts"),
        number("mixed_total", "mL", "mixed material drawn, without heels"),
        number("mixed_mass", "kg", "the same as mass"),
        number("on_parts", "mL", "mixed material on good parts"),
        number("on_parts_low", "mL", "low"),
        number("on_parts_high", "mL", "high"),
        text("matters_most", "input that matters most for that spread"),
        number("waste_share", "", "share of the drawn material that is not on good parts"),
        whole("purges", "purges"),
        whole("mixers", "mixers used"),
        whole("check_shots", "check shots"),
        text("shop_temperature", "shop temperature"),
        text("pot_life", "pot life at that temperature"),
        text("rule", "what is done at the limit of working life"),
        number("shot_first", "mL", "shot of the first part, for the what-if"),
    ),
    {
        "MaterialParts": (
            text("part", "part"),
            whole("good", "good parts"),
            whole("started", "parts started"),
            number("shot", "mL", "volume of one part"),
            number("low", "mL", "low"),
            number("high", "mL", "high"),
            number("shot_mass", "g", "mass of one part"),
            text("matters_most", "input that matters most"),
            number("total", "mL", "for all started parts"),
        ),
        "MaterialUse": (
            text("component", "component"),
            number("opening", "mL", "stands at the station"),
            whole("containers", "containers to bring"),
            number("mounted", "mL", "their content"),
            *(number(name, "mL", f"goes to {name}") for name in CATEGORIES),
            number("closing", "mL", "stands at the end, in containers and hoses"),
            number("drawn", "mL", "drawn, all together"),
            number("mass", "kg", "drawn, as mass"),
        ),
        "MaterialTimes": (
            moment("time", "clock time"),
            text("event", "what happens"),
            text("action", "what to do"),
            text("component", "component"),
            text("lot", "lot"),
            number("volume", "mL", "volume"),
        ),
        "MaterialMore": (
            text("component", "component"),
            number("share", "", "share of the mixed volume"),
            number("left", "mL", "usable in the open container at the end"),
            number("container", "mL", "usable content of a full container"),
        ),
        "MaterialLots": (
            text("component", "component"),
            text("lot", "lot"),
            date("last_day", "last day of use"),
            whole("containers", "containers"),
            number("volume", "mL", "volume"),
            moment("first", "first put on"),
        ),
        "MaterialWarnings": _WARNINGS,
    },
    ("day", "shift", "station"),
    needed={
        "MaterialParts": ("part", "shot"),
        "MaterialUse": ("component", "containers", "drawn"),
        "MaterialTimes": ("time", "action"),
        "MaterialMore": ("component", "share", "left", "container"),
        "MaterialLots": ("component", "containers", "lot"),
        "MaterialWarnings": ("warning",),
    },
    computed={
        "MaterialMore": (
            number("more", "mL", "for the parts more"),
            whole("more_containers", "containers for the parts more"),
        )
    },
)

STATION_SETUP = SheetSpec(
    "station_setup",
    "station_setup.xlsx",
    "Station setup card",
    "what to set the dispenser of one station to, and what a shot must weigh",
    (
        *_HEAD,
        text("station", "station"),
        text("material", "material"),
        text("description", "what it is"),
        text("headline", "shot mass to set"),
        text("meter", "meter"),
        text("ratio", "mixing ratio by volume and by mass"),
        number("density", "g/mL", "density of the mix"),
        text("shop_temperature", "shop temperature"),
        text("pot_life", "pot life at that temperature"),
        text("rule", "what is done at the limit of working life"),
        number("mixer_volume", "mL", "mixed material in mixer and nozzle"),
        number("purge_volume", "mL", "a purge"),
        number("start_volume", "mL", "thrown away at start"),
        number("nozzle_bore", "mm", "bore of the nozzle"),
        number("nozzle_length", "mm", "length of the nozzle"),
        number("pressure_limit", "bar", "highest pressure"),
        number("flow_limit", "mL/s", "highest flow"),
        text("surface_treatment", "surface treatment and how long it keeps"),
        text("open_time", "open time"),
        text("pot_life_source", "method and source of the pot life"),
    ),
    {
        "SetupShots": (
            text("part", "part"),
            text("application", "bead, pot or joint"),
            whole("shot", "shot"),
            text("detail", "size and length"),
            number("volume", "mL", "volume"),
            number("volume_low", "mL", "low"),
            number("volume_high", "mL", "high"),
            text("matters_most", "input that matters most"),
            number("mass", "g", "target mass of one shot"),
            whole("shots_together", "shots to weigh at once, so that the scale can tell the limits"),
            number("mass_of_n_shots", "g", "target mass of these shots together"),
            number("mass_low", "g", "lower limit of that mass"),
            number("mass_high", "g", "upper limit of that mass"),
            number("mass_a", "g", "mass of A in it"),
            number("mass_b", "g", "mass of B in it"),
            text("limits_from", "whose tolerance the limits are"),
        ),
        "SetupFlows": (
            text("part", "part"),
            text("application", "bead, pot or joint"),
            whole("shot", "shot"),
            number("speed", "mm/s", "speed"),
            number("flow", "mL/s", "flow of the mix"),
            number("flow_a", "mL/s", "flow of A"),
            number("flow_b", "mL/s", "flow of B"),
            number("time", "s", "time"),
            number("nozzle_pressure", "bar", "pressure drop of the nozzle"),
            number("mixer_pressure", "bar", "pressure drop of the mixer"),
            number("shear_rate", "1/s", "shear rate at the nozzle wall"),
            number("wait", "min", "to wait after the shot before"),
        ),
        "SetupNotes": (text("kind", "DANGER, STOP, CHECK or note"), text("text", "what to know, what to do")),
    },
    ("station",),
    needed={
        "SetupShots": (
            "part",
            "application",
            "shot",
            "shots_together",
            "mass_of_n_shots",
            "mass_low",
            "mass_high",
        ),
        "SetupFlows": ("part", "application", "shot"),
        "SetupNotes": ("text",),
    },
)

CURE_BOARD = SheetSpec(
    "cure_board",
    "cure_board.xlsx",
    "Cure board",
    "when each batch must be mated, may be moved, joined and tested",
    (
        *_SHIFT_HEAD,
        text("headline", "first batch that may be moved"),
        text("cure", "how it cures"),
        text("shop_temperature", "shop temperature"),
        text("basis", "what the times rest on"),
    ),
    {
        "CureBatches": (
            whole("batch", "batch"),
            text("part", "part"),
            text("part_numbers", "part numbers"),
            moment("begun", "first dispensed"),
            moment("ended", "last dispensed"),
            whole("tightest_part", "part of the batch with the least time left to mate it"),
            moment("mate_before", "latest mating of that part"),
            moment("mates", "its mating by plan"),
            moment("move", "all may be moved"),
            moment("join", "all may be joined or loaded"),
            moment("test", "all may be tested"),
            text("note", "parts mated too late, what the cure rests on"),
        ),
        "CureWarnings": _WARNINGS,
    },
    ("day", "shift", "station"),
    needed={"CureBatches": ("batch", "part", "move", "join", "test"), "CureWarnings": ("warning",)},
    computed={"CureBatches": (text("state", "what the batch is ready for at the time typed"),)},
)

SHOT_CHECK = SheetSpec(
    "shot_check",
    "shot_check.xlsx",
    "Shot-check sheet",
    "check shots of a shift: when, target and limits in grams, room for what was weighed",
    (
        *_SHIFT_HEAD,
        text("headline", "target and limits"),
        number("mass", "g", "target mass of one shot"),
        whole("shots_together", "shots to weigh at once, so that the scale can tell the limits"),
        number("target", "g", "target mass of these shots together"),
        number("low", "g", "lower limit"),
        number("high", "g", "upper limit"),
        number("volume", "mL", "their volume"),
        number("scale_step", "g", "what the scale must read"),
        number("mass_a", "g", "mass of A in it"),
        number("mass_b", "g", "mass of B in it"),
        number("ratio_mass", "", "parts B per 100 A by mass"),
        number("density", "g/mL", "density of the mix"),
        text("limits_from", "whose tolerance the limits are"),
    ),
    {
        "CheckShots": (
            whole("check", "number"),
            moment("time", "due"),
            number("target", "g", "target"),
            number("low", "g", "lower limit"),
            number("high", "g", "upper limit"),
        )
    },
    ("day", "shift", "station", "shots_together"),
    needed={"CheckShots": ("time", "low", "high")},
    computed={
        "CheckShots": (
            text("within_limits", "whether the mass weighed lies between the limits"),
            text("B per 100 A", "from A and B weighed alone"),
        )
    },
)

STAGING = SheetSpec(
    "staging",
    "staging.xlsx",
    "Staging sheet",
    "every container that must stand at the stations in one shift",
    (
        *_HEAD,
        date("day", "date of the shift"),
        text("shift", "shift"),
        text("hours", "start to end"),
        text("headline", "containers in all"),
    ),
    {
        "StagingContainers": (
            text("station", "station"),
            text("material", "material"),
            text("component", "component"),
            text("lots", "lots, first-expired first"),
            whole("containers", "containers to bring"),
            number("container", "mL", "content of one"),
            number("volume", "mL", "in all"),
            number("mass", "kg", "in all"),
            moment("first", "first needed"),
            moment("last", "last change"),
        ),
        "StagingWarnings": (text("station", "station"), text("warning", "what to look at")),
    },
    ("day", "shift"),
    needed={
        "StagingContainers": ("station", "material", "component", "containers"),
        "StagingWarnings": ("warning",),
    },
)

RESULTS = SheetSpec(
    "results",
    "results.xlsx",
    "Results",
    "all figures of a plan: amounts, shifts, use by component, warnings",
    (
        *_HEAD,
        text("headline", "containers put on and mass drawn, all together"),
        text("period", "first and last day"),
        text(
            "passes_through_stations", "good parts finished of those asked for, each counted at every station"
        ),
        whole("station_shifts", "stations times shifts"),
        whole("warnings", "warnings, notes left out"),
        text("findings", "how many of each kind"),
        text("chosen", "material shown by day; choose another"),
    ),
    {
        "ResultGravest": (text("warning", "the gravest findings: where, what, what to do"),),
        "ResultDays": (date("day", "date"),),
        "ResultAmounts": (
            text("part", "part"),
            text("application", "bead, pot or joint"),
            whole("shot", "shot"),
            text("station", "station"),
            text("material", "material"),
            number("volume", "mL", "volume"),
            number("low", "mL", "low"),
            number("high", "mL", "high"),
            number("worst_low", "mL", "worst case low"),
            number("worst_high", "mL", "worst case high"),
            text("matters_most", "input that matters most"),
            number("mass", "g", "mass"),
            number("time", "s", "time"),
            text("detail", "size"),
        ),
        "ResultShifts": (
            date("day", "date"),
            text("shift", "shift"),
            text("station", "station"),
            text("material", "material"),
            whole("good", "good parts asked for"),
            whole("finished", "good parts finished"),
            whole("started", "parts started"),
            number("takt", "s", "takt"),
            number("busy", "", "share of the working time in use"),
            number("mixed", "mL", "mixed material drawn"),
            number("on_parts", "mL", "on good parts"),
            number("on_parts_low", "mL", "low"),
            number("on_parts_high", "mL", "high"),
            number("mass", "kg", "mixed material drawn, as mass"),
            whole("purges", "purges"),
            whole("mixers", "mixers"),
            whole("warnings", "warnings"),
        ),
        "ResultUse": (
            date("day", "date"),
            text("shift", "shift"),
            text("station", "station"),
            text("material", "material"),
            text("component", "component"),
            number("opening", "mL", "stands at the station"),
            whole("containers", "containers"),
            number("mounted", "mL", "their content"),
            *(number(name, "mL", f"goes to {name}") for name in CATEGORIES),
            number("closing", "mL", "stands at the end"),
            number("drawn", "mL", "drawn"),
            number("mass", "g", "drawn, as mass"),
        ),
        "ResultMaterials": (
            text("material", "material"),
            text("component", "component"),
            number("drawn", "mL", "drawn"),
            number("mass", "kg", "as mass"),
            whole("containers", "containers put on"),
            number("on_parts", "mL", "on good parts"),
            number("missing", "mL", "missing in store"),
        ),
        "ResultWarnings": (
            date("day", "date"),
            text("shift", "shift"),
            text("station", "station"),
            text("kind", "DANGER, STOP, CHECK or note"),
            text("warning", "what to look at"),
            text("what_to_do", "what mends it"),
        ),
    },
    needed={
        "ResultDays": ("day",),
        "ResultAmounts": ("part", "application", "shot", "volume"),
        "ResultShifts": ("day", "shift", "station"),
        "ResultUse": ("day", "shift", "station", "material", "component", "drawn"),
        "ResultMaterials": ("material", "component", "drawn"),
        "ResultWarnings": ("warning",),
    },
    computed={
        "ResultMaterials": (number("waste_share", "", "share that is not on good parts"),),
        "ResultDays": (
            number("A_or_one_part", "mL", "drawn of the chosen material"),
            number("B", "mL", "drawn of the chosen material"),
            number("all_materials", "kg", "drawn of all materials"),
            whole("all_purges", "purges"),
            whole("all_mixers", "mixers"),
        ),
    },
)

SPECS = {spec.key: spec for spec in (SHIFT_MATERIAL, STATION_SETUP, CURE_BOARD, SHOT_CHECK, STAGING, RESULTS)}


# ------------------------------------------------------------------------------------------ pieces


def at(day: datetime.date, clock: float | None) -> datetime.datetime | None:
    """Clock seconds of a day as date and time, to the second."""
    if clock is None or not abs(clock) < LONGEST:
        return None
    return datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(seconds=round(clock))


def life_text(life, temperatures: Sequence[float]) -> str:
    """Pot life over a range of temperatures, with what it rests on."""
    if life is None:
        return "no pot life: one-part"
    cold, hot = min(temperatures), max(temperatures)
    words = duration_text(life.at(hot))
    if hot - cold >= 0.5:
        words += f" at {celsius_text(hot)}, {duration_text(life.at(cold))} at {celsius_text(cold)}"
    else:
        words += f" at {celsius_text(hot)}"
    marks = life.marks(cold, hot)
    return words + (f" ({'; '.join(marks)})" if marks else "")


def rule_text(station, life) -> str:
    """What is done when the limit of working life is reached."""
    if life is None or station.mixer_volume <= 0.0:
        return "no limit in the mixer"
    at_share = f"at {station.purge_share:.0%} of the pot life"
    if station.rule == "purge":
        return f"purge {from_si(station.purge_volume or station.mixer_volume, 'mL'):.0f} mL {at_share}"
    return f"change the mixer {at_share}"


def _head(plan, stamp: str) -> dict[str, Any]:
    settings = plan.settings
    return {
        "plant": settings["plant"],
        "line": settings["line"],
        "prepared_by": settings["prepared_by"],
        "stamp": stamp,
    }


def _has_cells(plan, station: str) -> bool:
    return any(pot.station == station and pot.cells for pot in plan.pots)


def _hours(result: ShiftResult) -> str:
    """Start to end of a shift; an end after midnight with its date."""
    calendar, day = result.calendar, result.date
    return f"{hhmm(calendar.start, day)}–{hhmm(calendar.end, day)}"


def _shift_head(plan, result: ShiftResult, stamp: str) -> dict[str, Any]:
    return {
        **_head(plan, stamp),
        "day": result.date,
        "shift": result.shift,
        "hours": _hours(result),
        "station": result.station.station,
        "material": result.material.material,
        "description": result.material.description,
        "cautions": cautions_text(result.material, cells=_has_cells(plan, result.station.station)),
    }


# what of a station's plan a sheet of one shift shows, beside the findings of the shift; dangers always
_SHOWN = {"shift_material": (STOP, {WAIT}), "cure_board": ("", {WAIT, "cure"})}
_OF_CURE = {"open time", "surface window", "cure", WAIT}  # topics of a shift that a cure board shows
_OF_STOCK = {SHORTAGE, "expired lot"}  # topics that a staging sheet shows


def shift_findings(plan, result: ShiftResult, sheet: str) -> list[Finding]:
    """What a sheet of one shift shows: findings of the shift and of the station's plan."""
    kind, topics = _SHOWN[sheet]
    of_cure = sheet == "cure_board"
    played = [
        item
        for item in result.findings
        if item.kind == DANGER or (item.topic in _OF_CURE if of_cure else item.is_warning)
    ]
    planned = [
        item
        for item in station_findings(plan, result.station.station)
        if item.kind in (DANGER, kind) or item.topic in topics
    ]
    return gravest_first([*played, *planned])


def _warning_rows(findings: Iterable[Finding], width: int) -> list[dict[str, Any]]:
    rows = [{"warning": line} for finding in findings for line in _folded(marked(finding), width)]
    return rows or [{"warning": "no warning"}]


def _folded(words: str, width: int = 118) -> list[str]:
    """A text in lines that fit on a page; what goes on begins with blanks."""
    return textwrap.wrap(words, width, subsequent_indent="   ", break_on_hyphens=False) or [""]


def amount_ml(amount: Amount) -> tuple[float, float, float]:
    """Nominal, low and high in mL."""
    return from_si(amount.nominal, "mL"), from_si(amount.low, "mL"), from_si(amount.high, "mL")


def letter_name(letter: str, letters: Sequence[str]) -> str:
    """How a component is called: A or B; the only one of a one-part material is "one-part"."""
    return letter.upper() if len(letters) > 1 else "one-part"


def containers_text(result: ShiftResult) -> str:
    """The containers to bring, largest thing on the sheet: 2 × A (20 L), 1 × B (20 L)."""
    words, missing = [], []
    if not any(result.containers.values()):
        return "Bring nothing: enough stands here"
    for letter, component in result.components.items():
        size_text = volume_text(component.container)
        name = f"{letter.upper()} " if len(result.components) > 1 else ""
        count = sum(use.containers for use in result.staged(letter))
        if count:
            words.append(f"{count} × {name}{size_text}")
        if result.containers[letter] > count:
            missing.append(f"{result.containers[letter] - count} × {name}{size_text}")
    short = " + ".join(missing) + " missing" if missing else ""
    if not words:
        return "▲ " + short
    return "Bring " + " + ".join(words) + (f"; {short}" if short else "")


def _use_row(result: ShiftResult, letter: str) -> dict[str, Any]:
    used = result.used[letter]
    drawn = result.drawn(letter)
    return {
        "component": letter_name(letter, result.letters),
        "opening": result.opening[letter] / ML,
        "containers": result.containers[letter],
        "mounted": result.mounted[letter] / ML,
        **{name: used[name] / ML for name in CATEGORIES},
        "closing": result.closing[letter] / ML,
        "drawn": drawn / ML,
    }


def _more_row(result: ShiftResult, letter: str) -> dict[str, Any]:
    """What a component leaves for more parts."""
    component = result.components[letter]
    heel = component.heel * component.container * NANO
    left = result.closing[letter] - result.hoses[letter] - heel
    return {
        "component": letter_name(letter, result.letters),
        "share": result.shares[letter],
        "left": max(left, 0.0) / ML,
        "container": from_si(component.container * (1.0 - component.heel), "mL"),
    }


def _mass(result: ShiftResult, letter: str) -> float:
    """Mass drawn of a component [kg]."""
    return result.drawn(letter) / NANO * result.components[letter].density


# ---------------------------------------------------------------------------------------- contents


def shift_material_content(plan, result: ShiftResult, stamp: str) -> Content:
    """The shift material sheet of a station."""
    density = result.density
    categories = [name for name in CATEGORIES if name not in ("heel", "expired")]
    mixed = sum(result.dispensed(name) for name in categories) / ML
    on_parts = result.parts_amount
    nominal, low, high = amount_ml(on_parts)
    record = result.temperatures[1]
    drawn = sum(result.drawn(letter) for letter in result.letters)
    parts = []
    for job in result.jobs:
        shot = job.shot
        volume, shot_low, shot_high = amount_ml(shot)
        parts.append(
            {
                "part": job.part,
                "good": job.quantity,
                "started": job.started,
                "shot": volume,
                "low": shot_low,
                "high": shot_high,
                "shot_mass": from_si(shot.nominal * density, "g"),
                "matters_most": driver_text(shot.main_driver),
                "total": volume * job.started,
            }
        )
    return Content(
        SHIFT_MATERIAL,
        {
            **_shift_head(plan, result, stamp),
            "headline": containers_text(result),
            "parts_good": sum(job.quantity for job in result.jobs),
            "parts_started": sum(job.started for job in result.jobs),
            "takt": result.takt,
            "mixed_total": mixed,
            "mixed_mass": mixed * 1e-6 * density,
            "on_parts": nominal,
            "on_parts_low": low,
            "on_parts_high": high,
            "matters_most": driver_text(on_parts.main_driver),
            "waste_share": 1.0 - result.dispensed("parts") / drawn if drawn else 0.0,
            "purges": result.purges,
            "mixers": result.mixers,
            "check_shots": result.check_shots,
            "shop_temperature": temperature_text(_day_part(result)),
            "pot_life": life_text(result.life, _day_part(result) or record),
            "rule": rule_text(result.station, result.life),
            "shot_first": parts[0]["shot"] if parts else 0.0,
        },
        {
            "MaterialParts": parts,
            "MaterialUse": [
                {**_use_row(result, letter), "mass": _mass(result, letter)} for letter in result.letters
            ],
            "MaterialTimes": _times(result),
            "MaterialMore": [_more_row(result, letter) for letter in result.letters],
            "MaterialLots": [
                {
                    "component": letter_name(use.component, result.letters),
                    "lot": use.lot,
                    "last_day": use.last_day,
                    "containers": use.containers,
                    "volume": use.volume / ML,
                    "first": at(result.date, use.first),
                }
                for letter in result.letters
                for use in result.staged(letter)
            ]
            or [{"lot": "none: enough stands at the station"}],
            "MaterialWarnings": _warning_rows(shift_findings(plan, result, "shift_material"), 140),
        },
    )


def _times(result: ShiftResult) -> list[dict[str, Any]]:
    """What happens in a shift, and the latest clock times of treated surfaces and open parts."""
    rows = [
        {
            "time": at(result.date, event.clock),
            "event": event.kind,
            "action": event.text,
            "component": letter_name(event.component, result.letters) if event.component else "",
            "lot": event.lot,
            "volume": event.volume / ML if event.volume else None,
        }
        for event in result.events
    ]
    rows += [
        {
            "time": at(result.date, window.clock),
            "event": "window",
            "action": f"{'▲ ' if window.is_late else ''}{window.text}",
            "component": "",
            "lot": "",
            "volume": None,
        }
        for window in latest_times(result)
    ]
    return sorted((row for row in rows if row["time"]), key=lambda row: row["time"])


def _day_part(result: ShiftResult) -> list[float]:
    """Temperatures from start to end of the shift, ends interpolated."""
    import numpy as np

    times, values = result.temperatures
    if len(times) == 1:
        return list(values)
    start, end = result.calendar.start, result.calendar.end
    inside = [value for time, value in zip(times, values, strict=True) if start < time < end]
    return [float(np.interp(start, times, values)), *inside, float(np.interp(end, times, values))]


def station_setup_content(plan, card: SetupCard, stamp: str) -> Content:
    """The setup card of a station."""
    station, material = card.station, card.material
    rows: list[dict[str, Any]] = []
    flows: list[dict[str, Any]] = []
    for item in card.settings:
        volume, low, high = amount_ml(item.application.amount)
        shot = item.weighing
        key = {
            "part": item.application.part,
            "application": item.application.name,
            "shot": item.application.shot,
        }
        flows.append(
            {
                **key,
                "speed": _shop(item.speed, "mm/s"),
                "flow": _shop(item.flow, "mL/s"),
                "flow_a": _shop(item.component_flows.get("a"), "mL/s"),
                "flow_b": _shop(item.component_flows.get("b"), "mL/s"),
                "time": item.application.time,
                "nozzle_pressure": _shop(item.nozzle_pressure, "bar"),
                "mixer_pressure": _shop(item.mixer_pressure, "bar"),
                "shear_rate": item.shear_rate,
                "wait": item.application.wait / 60.0 or None,
            }
        )
        rows.append(
            {
                **key,
                "detail": _detail(item.application),
                "volume": volume,
                "volume_low": low,
                "volume_high": high,
                "matters_most": driver_text(item.application.amount.main_driver),
                "mass": shot.single.target,
                "shots_together": shot.count,
                "mass_of_n_shots": shot.limits.target,
                "mass_low": shot.limits.low,
                "mass_high": shot.limits.high,
                "limits_from": shot.basis,
                **{
                    f"mass_{letter}": shot.printed(from_si(mass, "g"))
                    for letter, mass in item.component_masses.items()
                },
            }
        )
    if card.volume_ratio is None:
        ratio = "one-part"
    else:
        ratio = f"100 : {card.volume_ratio:.4g} by volume, 100 : {card.mass_ratio:.4g} by mass (A : B)"
    record = [card.coldest, card.hottest]
    treatment = material.surface_treatment
    if material.surface_window:
        treatment = f"{treatment or 'treated surface'}, keeps {duration_text(material.surface_window)}"
    notes = []
    for finding in gravest_first([*card.findings, *station_findings(plan, station.station)]):
        lines = _folded(f"▲ {finding}" if finding.is_warning else str(finding), 185)
        notes += [
            {
                "kind": "" if place else MARKS[finding.kind],
                "text": line if finding.is_warning else line.strip(),
            }
            for place, line in enumerate(lines)
        ]
    return Content(
        STATION_SETUP,
        {
            **_head(plan, stamp),
            "station": station.station,
            "material": material.material,
            "description": material.description,
            "headline": setup_headline(rows),
            "meter": station.meter,
            "ratio": ratio,
            "density": from_si(card.density, "g/mL"),
            "shop_temperature": temperature_text(record),
            "pot_life": life_text(card.life, record),
            "rule": rule_text(station, card.life),
            "mixer_volume": from_si(station.mixer_volume, "mL") or None,
            "purge_volume": from_si(station.purge_volume, "mL") or None,
            "start_volume": from_si(station.start_volume, "mL"),
            "nozzle_bore": _shop(station.nozzle_bore, "mm"),
            "nozzle_length": _shop(station.nozzle_length, "mm"),
            "pressure_limit": _upper_limit(station.pressure_limit, "bar"),
            "flow_limit": _upper_limit(station.flow_limit, "mL/s"),
            "surface_treatment": treatment or "none stated",
            "open_time": duration_text(material.open_time) if material.open_time else "none stated",
            "pot_life_source": material.pot_life_source,
            "cautions": cautions_text(material, cells=_has_cells(plan, station.station)),
        },
        {
            "SetupShots": rows,
            "SetupFlows": flows,
            "SetupNotes": notes or [{"kind": "note", "text": "nothing to note"}],
        },
    )


def _detail(item: Application) -> str:
    """Size of an application, and the wait before it where it has one."""
    return item.detail + (f", wait {duration_text(item.wait)} after the shot before" if item.wait else "")


def _shop(value: float | None, unit: str) -> float | None:
    return None if value is None else float(from_si(value, unit))


def setup_headline(rows: Sequence[dict[str, Any]], mass: Printed | None = None, unit: str = "g") -> str:
    """The mass of the first shot to set; `mass` is the same in the unit of the sheet's column."""
    if not rows:
        return "No part at this station"
    first = rows[0]
    words = f"Set {(mass or first['mass']).text} {unit}"
    return words + (f" ({first['part']} / {first['application']})" if len(rows) > 1 else "")


def _upper_limit(value: float | None, unit: str) -> Printed | None:
    """A highest value as printed, to three figures at least: never above what is allowed."""
    if value is None:
        return None
    shop = float(from_si(value, unit))
    return Printed(shop, digits_of(shop / 100.0), DOWN)


def figure(value: float) -> str:
    """A number as it is worth printing: three or four significant figures."""
    if value >= 1000.0:
        return f"{value:,.0f}"
    return f"{value:.2f}" if value < 10.0 else f"{value:.1f}"


def _next_minute(clock: float | None) -> float | None:
    """The whole minute at or after a clock time: cells and clocks drop the seconds."""
    if clock is None or not abs(clock) < LONGEST:
        return clock
    return 60.0 * math.ceil(clock / 60.0 - 1e-6)


def _late_words(late: Sequence[Mating]) -> str:
    """Which parts are mated too late, and by how much at most."""
    most = max(mating.late for mating in late)
    return f"no. {numbers_text(mating.serial for mating in late)}, by {duration_text(_whole_minutes(most))}"


def _whole_minutes(seconds: float) -> float:
    """Whole minutes, upward, so that a part that is late is never 0 min late."""
    return 60.0 * math.ceil(seconds / 60.0 - 1e-6)


def batch_words(batch: Batch, day: datetime.date) -> str:
    """The note of a batch: what calls for action first, then what its cure rests on."""
    cure, words = batch.cure, []
    if batch.late:
        words.append(f"▲ mated too late: {_late_words(batch.late)}")
    if cure.profile and cure.out is not None:
        words.append(
            f"oven profile {cure.profile} from {hhmm(batch.ended, day)}, out at "
            f"{hhmm(_next_minute(cure.out) or 0.0, day)}"
        )
        if cure.unreached:
            words.append(f"▲ not reached in the oven: {', '.join(cure.unreached)}")
    elif cure.unreached:
        words.append("▲ no oven is stated for this part")
    elif any(clock is not None and not clock < LONGEST for clock in cure.milestones.values()):
        words.append(
            "▲ never cured: the air holds no water" if cure.is_never else "▲ not cured within 100 years"
        )
    if cure.depth is not None and cure.depth_cured is not None:
        depth = f"{from_si(cure.depth, 'mm'):.1f} mm deep"
        if cure.depth_cured < min(cure.milestones[LAST] or LONGEST, LONGEST):  # the data sheet is later
            depth += f" by {hhmm(_next_minute(cure.depth_cured) or 0.0, day)}"
        words.append(depth)
    return "; ".join(sorted(words, key=lambda part: not part.startswith("▲")))


def board_headline(result: ShiftResult) -> str:
    """What matters first on the cure board: parts mated too late, else the first batch that is free."""
    late = [(batch, mating) for batch in result.batches for mating in batch.late]
    if late:
        batch, mating = late[0]
        many = f"{len(late)} parts are" if len(late) > 1 else "1 part is"
        return f"▲ {many} mated too late: batch {batch.number}, {batch.part} no. {mating.serial}" + (
            " first" if len(late) > 1 else ""
        )
    moves = [
        (clock, batch.number)
        for batch in result.batches
        if (clock := batch.milestones.get("move")) is not None
    ]
    if not moves:
        return "No handling time is stated: ask the data sheet"
    clock, number_ = min(moves)
    if not clock < LONGEST:
        return "▲ Not one batch may be moved: see its note"
    return f"Batch {number_} may be moved at {hhmm(_next_minute(clock) or clock, result.date)}"


def cure_board_content(plan, result: ShiftResult, stamp: str) -> Content:
    """The cure board of a station."""
    material, day = result.material, result.date
    rows = [
        {
            "batch": batch.number,
            "part": batch.part,
            "part_numbers": batch.numbers,
            "begun": at(day, batch.begun),
            "ended": at(day, batch.ended),
            "tightest_part": batch.tightest.serial if batch.tightest else None,
            "mate_before": at(day, batch.mate_before),
            "mates": at(day, batch.mates),
            **{name: at(day, _next_minute(batch.milestones.get(name))) for name in ("move", "join", "test")},
            "note": batch_words(batch, day),
        }
        for batch in result.batches
    ]
    record = _day_part(result)
    return Content(
        CURE_BOARD,
        {
            **_shift_head(plan, result, stamp),
            "headline": board_headline(result),
            "cure": f"{material.cure} cure",
            "shop_temperature": temperature_text(record),
            "basis": cure_basis(material, record),
        },
        {"CureBatches": rows, "CureWarnings": _warning_rows(shift_findings(plan, result, "cure_board"), 165)},
    )


def check_headline(count: int, limits: PrintedLimits, unit: str = "g") -> str:
    """What to weigh and between which limits, in the unit of the sheet's columns."""
    words = f"{limits.target.text} {unit}"
    if count > 1:
        words = f"{count} shots together: {words}"
    return words + (f"  ({limits.text} {unit})" if limits.text else ", no limits")


def shot_check_content(plan, result: ShiftResult, stamp: str) -> Content:
    """The shot-check sheet of a station."""
    shot = result.check
    limits = shot.limits
    masses = {
        letter: from_si(shot.volume * share * result.components[letter].density, "g")
        for letter, share in result.shares.items()
    }
    checks = [event.clock for event in result.events if event.kind == "check"]
    two_part = len(masses) > 1
    row = {"target": limits.target, "low": limits.low, "high": limits.high}
    return Content(
        SHOT_CHECK,
        {
            **_shift_head(plan, result, stamp),
            "headline": check_headline(shot.count, limits),
            **row,
            "mass": shot.single.target,
            "shots_together": shot.count,
            "volume": from_si(shot.volume * shot.count, "mL"),
            "mass_a": shot.printed(masses["a"]),
            "mass_b": shot.printed(masses["b"]) if two_part else None,
            "ratio_mass": 100.0 * masses["b"] / masses["a"] if two_part else None,
            "density": from_si(result.density, "g/mL"),
            "limits_from": shot.basis,
            "scale_step": Printed(10.0**-limits.target.digits, limits.target.digits),
        },
        {
            "CheckShots": [
                {"check": place, "time": at(result.date, clock), **row}
                for place, clock in enumerate(checks or [result.calendar.start], 1)
            ]
        },
    )


def staging_content(plan, results: Sequence[ShiftResult], stamp: str) -> Content:
    """The staging sheet of a shift, all stations."""
    first = results[0]
    rows: list[dict[str, Any]] = []
    warnings: list[dict[str, Any]] = []
    count = 0
    for result in results:
        for letter, component in result.components.items():
            changes = [
                event.clock
                for event in result.events
                if event.kind == "container" and event.component == letter
            ]
            staged = result.staged(letter)
            lots = [use.lot for use in staged]
            is_short = any(use.is_missing for use in result.lots if use.component == letter)
            volume = sum(use.volume for use in staged)
            containers = sum(use.containers for use in staged)
            count += containers
            rows.append(
                {
                    "station": result.station.station,
                    "material": result.material.material,
                    "component": letter_name(letter, result.letters),
                    "lots": ", ".join(lots)
                    or ("nothing usable in store" if is_short else "stands at the station"),
                    "containers": containers,
                    "container": from_si(component.container, "mL"),
                    "volume": volume / ML,
                    "mass": volume / NANO * component.density,
                    "first": at(result.date, changes[0]) if changes else None,
                    "last": at(result.date, changes[-1]) if changes else None,
                }
            )
    found = [item for result in results for item in result.findings if item.topic in _OF_STOCK]
    warnings += [
        {"station": "" if place else finding.station, "warning": line}
        for finding in gravest_first(found)
        for place, line in enumerate(_folded(marked(finding)))
    ]

    return Content(
        STAGING,
        {
            **_head(plan, stamp),
            "day": first.date,
            "shift": first.shift,
            "hours": _hours(first),
            "headline": f"{count} container{'s' if count != 1 else ''} to bring",
            "cautions": CAUTION,
        },
        {
            "StagingContainers": rows,
            "StagingWarnings": warnings or [{"station": "", "warning": "no warning"}],
        },
    )


def results_content(plan, results: Sequence[ShiftResult], stamp: str) -> Content:
    """The results workbook."""
    amounts: list[dict[str, Any]] = []
    shifts: list[dict[str, Any]] = []
    use: list[dict[str, Any]] = []
    for part in plan.parts:
        for item in applications(plan, part.part):
            material = plan.material(plan.station(item.station).material)
            density = mixed_density(material, plan.components_of(material.material))
            volume, low, high = amount_ml(item.amount)
            amounts.append(
                {
                    "part": item.part,
                    "application": item.name,
                    "shot": item.shot,
                    "station": item.station,
                    "material": material.material,
                    "volume": volume,
                    "low": low,
                    "high": high,
                    "worst_low": from_si(item.amount.worst_low, "mL"),
                    "worst_high": from_si(item.amount.worst_high, "mL"),
                    "matters_most": driver_text(item.amount.main_driver),
                    "mass": from_si(item.amount.nominal * density, "g"),
                    "time": item.time,
                    "detail": item.detail,
                }
            )
    totals: dict[tuple[str, str], dict[str, Any]] = {}
    for result in results:
        key = {
            "day": result.date,
            "shift": result.shift,
            "station": result.station.station,
            "material": result.material.material,
        }
        mixed = sum(result.dispensed(name) for name in CATEGORIES if name not in ("heel", "expired"))
        nominal, low, high = amount_ml(result.parts_amount)
        shifts.append(
            {
                **key,
                "good": sum(job.quantity for job in result.jobs),
                "finished": sum(job.finished for job in result.jobs),
                "started": sum(job.begun for job in result.jobs),
                "takt": result.takt,
                "busy": result.busy / result.calendar.available,
                "mixed": mixed / ML,
                "on_parts": nominal,
                "on_parts_low": low,
                "on_parts_high": high,
                "mass": mixed / NANO * result.density,
                "purges": result.purges,
                "mixers": result.mixers,
                "warnings": sum(item.is_warning for item in result.findings),
            }
        )
        for letter in result.letters:
            row = _use_row(result, letter)
            use.append({**key, **row, "mass": _mass(result, letter) * 1e3})
            total = totals.setdefault(
                (result.material.material, letter_name(letter, result.letters)),
                dict.fromkeys(("drawn", "mass", "containers", "on_parts", "missing"), 0),
            )
            total["drawn"] += row["drawn"]
            total["mass"] += _mass(result, letter)
            total["containers"] += row["containers"]
            total["on_parts"] += row["parts"]
            total["missing"] += result.missing.get(letter, 0) / ML
    findings = results_findings(plan, results)
    warnings = [
        {
            "day": item.day,
            "shift": item.shift,
            "station": item.station,
            "kind": MARKS[item.kind],
            "warning": f"{'▲ ' if item.is_warning else ''}{item.text}",
            "what_to_do": item.fix,
        }
        for item in findings
    ]
    days = sorted({result.date for result in results})
    headline, span, passes = "No builds", "–", "0"
    if days:
        good = sum(row["good"] for row in shifts)
        finished = sum(row["finished"] for row in shifts)
        span = f"{days[0]}" if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
        passes = f"{finished:,} of {good:,}"
        mass = sum(total["mass"] for total in totals.values())
        count = sum(total["containers"] for total in totals.values())
        headline = f"{count} container{'s' if count != 1 else ''}, {figure(mass)} kg drawn"
    return Content(
        RESULTS,
        {
            **_head(plan, stamp),
            "headline": headline,
            "period": span,
            "passes_through_stations": passes,
            "station_shifts": len(results),
            "warnings": sum(item.is_warning for item in findings),
            "findings": tally(findings),
            "cautions": CAUTION,
            "chosen": _heaviest(totals),
        },
        {
            "ResultDays": [{"day": day} for day in days] or [{"day": None}],
            "ResultAmounts": amounts,
            "ResultShifts": shifts,
            "ResultUse": use,
            "ResultMaterials": [
                {"material": material, "component": component, **total}
                for (material, component), total in totals.items()
            ],
            "ResultWarnings": warnings
            or [{"day": None, "shift": "", "station": "", "warning": "no warning"}],
            "ResultGravest": _gravest_rows(findings),
        },
    )


def results_findings(plan, results: Sequence[ShiftResult]) -> list[Finding]:
    """All findings of the stations that were played: of their plan, and of their shifts."""
    stations = {result.station.station for result in results}
    played = [finding for result in results for finding in result.findings]
    return gravest_first([*plan_findings(plan, stations), *played])


MOST_GRAVEST = 8  # sorts of findings on the summary


def _gravest_rows(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """The gravest sorts of findings in lines, dangers and stops; all stand on the sheet of warnings."""
    groups = [group for group in grouped(findings) if group.first.kind in (DANGER, STOP)]
    rows = []
    for group in groups[:MOST_GRAVEST]:
        first = group.first
        where = " ".join(str(item) for item in (first.station, first.day, first.shift) if item)
        times = f" ({group.count} of this sort)" if group.count > 1 else ""
        rows += [{"warning": line} for line in _folded(f"{marked(first)} · {where}{times}", 116)]
    if len(groups) > MOST_GRAVEST:
        rows.append({"warning": f"and {len(groups) - MOST_GRAVEST} more sorts on the sheet Warnings"})
    return rows or [{"warning": "nothing dangerous, nothing that stops the line"}]


def _heaviest(totals: dict[tuple[str, str], dict[str, Any]]) -> str:
    """The material of which most is drawn by mass."""
    masses: dict[str, float] = {}
    for (material, _), row in totals.items():
        masses[material] = masses.get(material, 0.0) + row["mass"]
    return max(masses, key=lambda name: masses[name], default="")
