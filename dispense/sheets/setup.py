"""Station setup card: what to set the dispenser of one station to, and what a shot must weigh."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

from ..base.fields import number, text, whole
from ..base.findings import MARKS, NOTE, OF_ENGINEER, WAIT, Finding, gravest_first
from ..base.language import translated
from ..base.measures import temperature_told
from ..base.naming import fold
from ..base.printed import Printed, Stated
from ..base.units import ONE_TEMPERATURE, duration_text, from_si
from ..plan.amounts import Application
from ..plan.records import Plan
from ..plan.validity import CHANGE_OVER
from ..reports.findings import station_findings
from ..shift.setup import SetupCard
from ..shift.weighing import check_shot, driver_text
from .layout import Book, Written
from .pictures import SECTIONS, drawn, station_sections
from .pieces import (
    alarmed,
    amount_ml,
    cautions,
    finding_lines,
    head,
    life_text,
    ratio_text,
    rule_text,
    said,
    shop,
)
from .sheet import Sheet
from .spec import HEAD, Content, Row, SheetSpec, Value, moment

NOTE_WIDTH = 100  # characters of a line of notes

WHEN = "yyyy-mm-dd hh:mm"
#: a time that is set: four figures, no finer than the millisecond of a timer (common practice, no source)
TO_SET = "[<10]0.000;[<100]0.00;#,##0.0"
WEIGHED = Written("Weighed [g]", "weighed")
SET = Written("Set", "set")

STATION_SETUP = SheetSpec(
    "station_setup",
    "station_setup.xlsx",
    "Station setup card",
    "what to set the dispenser of one station to, and what a shot must weigh",
    (
        *HEAD,
        text("station", "station"),
        text("material", "material"),
        text("description", "what it is"),
        text("headline", "shot mass to set"),
        text("meter", "meter"),
        text("ratio", "mixing ratio by volume and by mass"),
        number("density", "g/mL", "density of the mix"),
        text("shop_temperature", "shop temperature"),
        text("pot_life", "pot life at that temperature"),
        text("rule", "what is done at the limit of pot life", labels=("At life limit",)),
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
        whole("check_together", "check shot: so many to weigh on one cup"),
        number("check_target", "g", "what they must weigh"),
        number("check_low", "g", "lower limit of that"),
        number("check_high", "g", "upper limit of that"),
        moment("weighed_on", "date and time that is written here when the shots are weighed"),
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
            text("matters_most", "input that makes most of the spread", labels=("Main tolerance",)),
            number("mass", "g", "target mass of one shot"),
            whole("shots_together", "shots to weigh at once, so that the scale can tell the limits"),
            number(
                "mass_of_n_shots",
                "g",
                "target mass of these shots together",
                labels=("Mass of n shots", "Together"),
            ),
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
            number(
                "dispense_time",
                "s",
                "how long the meter delivers, all runs together: volume over flow",
                labels=("Dispense time", "Time"),
            ),
            number(
                "station_time",
                "s",
                "what it takes at the station, with starts and press time; nothing to set",
                labels=("At the station",),
            ),
            number("nozzle_pressure", "bar", "pressure drop of the nozzle"),
            number("mixer_pressure", "bar", "pressure drop of the mixer"),
            number("shear_rate", "1/s", "shear rate at the nozzle wall"),
            number("wait", "min", "to wait after the shot before"),
        ),
        "SetupNotes": (text("kind", "DANGER, STOP or CHECK"), text("text", "what to know, what to do")),
        "SetupRemarks": (text("kind", "note"), text("text", "what to know")),
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
        "SetupRemarks": ("text",),
    },
    written={"SetupShots": (WEIGHED,), "SetupFlows": (SET,)},
    optional={"SetupShots": ("mass_b",), "SetupFlows": ("flow_b",)},
)


def station_setup_content(plan: Plan, card: SetupCard, stamp: str) -> Content:
    """The setup card of a station."""
    station, material = card.station, card.material
    rows: list[Row] = []
    flows: list[Row] = []
    for item in card.settings:
        volume, low, high = amount_ml(item.application.amount)
        shot = item.weighing
        key: Row = {
            "part": item.application.part,
            "application": item.application.name,
            "shot": item.application.shot,
        }
        flows.append(
            {
                **key,
                "speed": shop(item.speed, "mm/s"),
                "flow": shop(item.flow, "mL/s"),
                "flow_a": shop(item.component_flows.get("a"), "mL/s"),
                "flow_b": shop(item.component_flows.get("b"), "mL/s"),
                "dispense_time": item.dispense_time,
                "station_time": item.application.time,
                "nozzle_pressure": shop(item.nozzle_pressure, "bar"),
                "mixer_pressure": shop(item.mixer_pressure, "bar"),
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
    if card.volume_ratio is None or card.mass_ratio is None:
        ratio = "one-part"
    else:
        ratio = f"{ratio_text(card.volume_ratio)} by volume, {ratio_text(card.mass_ratio)} by mass (A : B)"
    record = [card.coldest, card.hottest]
    treatment = material.surface_treatment
    if material.surface_window:
        treatment = f"{treatment or 'treated surface'}, keeps {duration_text(material.surface_window)}"
    told = gravest_first([*card.findings, *station_findings(plan, station.station)])
    found = [item for item in told if item.is_warning or item.topic not in OF_ENGINEER]
    first = [
        item for item in found if item.is_warning or item.topic in (WAIT, CHANGE_OVER)
    ]  # beside what is set
    remarks = [item for item in found if item not in first]
    return Content(
        STATION_SETUP,
        {
            **head(plan, stamp),
            "station": station.station,
            "material": material.material,
            "description": material.description,
            "headline": alarmed(plan, [station.station], setup_headline(rows, flows)),
            "meter": station.meter,
            "ratio": ratio,
            "density": from_si(card.density, "g/mL"),
            "shop_temperature": temperature_told(*record),
            "pot_life": life_text(card.life, card.worked, *whole_day(card)),
            "rule": rule_text(card),
            "mixer_volume": from_si(station.mixer_volume, "mL") or None,
            "purge_volume": from_si(station.purge_volume, "mL") or None,
            "start_volume": from_si(station.start_volume, "mL"),
            "nozzle_bore": shop(station.nozzle_bore, "mm"),
            "nozzle_length": shop(station.nozzle_length, "mm"),
            "pressure_limit": _stated(station.pressure_limit, "bar"),
            "flow_limit": _stated(station.flow_limit, "mL/s"),
            "surface_treatment": treatment or "none stated",
            "open_time": open_text(card),
            "pot_life_source": material.pot_life_source,
            **_check(card),
            "weighed_on": None,
            "cautions": cautions(plan, card),
        },
        {
            "SetupShots": rows,
            "SetupFlows": flows,
            "SetupNotes": [*_changed(plan, card), *_finding_rows(first, "no warning")],
            "SetupRemarks": _finding_rows(remarks, "nothing to note"),
        },
        drawn(sections=station_sections(plan, card)),
    )


def whole_day(card: SetupCard) -> tuple[str, ...]:
    """Words that say so where the hours are those of the whole day: no build says which are worked."""
    is_told = card.hours_known or max(card.worked) - min(card.worked) < ONE_TEMPERATURE
    return () if is_told else ("hottest and coolest hour of the day",)


def open_text(card: SetupCard) -> str:
    """Open time where it is shortest and longest of the hours worked."""
    if not card.open_times:
        return "none stated"
    told = [
        f"{duration_text(item.time)} at {temperature_told(item.temperature)}"
        + ("" if item.humidity is None else f", {item.humidity:.0%} humidity")
        for item in card.open_times
    ]
    if card.material.cure == "moisture":
        return "; ".join(told)
    return ", ".join(told) + "".join(f" ({mark})" for mark in whole_day(card))


def _check(card: SetupCard) -> Row:
    """What a check shot must weigh, where it is the same whatever the shift builds."""
    items = [item.application for item in card.settings]
    of_one_part = len({item.part for item in items}) == 1
    if not card.station.checks or not (items and (card.station.check_volume or of_one_part)):
        return {}
    found = check_shot(card.station, items, card.density)
    limits = found.limits
    return {
        "check_together": found.count,
        "check_target": limits.target,
        "check_low": limits.low,
        "check_high": limits.high,
    }


def _finding_rows(findings: Iterable[Finding], nothing: str) -> list[Row]:
    """Findings in lines with their kind; words for nothing where there are none."""
    rows: list[Row] = []
    for finding in findings:
        words = f"▲ {said(finding)}" if finding.is_warning else said(finding)
        rows += [
            {"kind": "" if place else MARKS[finding.kind], "text": line}
            for place, line in enumerate(finding_lines(finding, words, NOTE_WIDTH))
        ]
    return rows or [{"kind": MARKS[NOTE], "text": translated(nothing)}]


def _changed(plan: Plan, card: SetupCard) -> list[Row]:
    """What of this card is another than in the last released plan, or than in the one before."""
    if plan.revision is None:
        return []
    names = {item.application.part for item in card.settings} | {card.station.station, card.material.material}
    own = {fold(name) for name in names}
    lines = [item.text for item in plan.revision.differences if item.words & own]
    return [
        {"kind": "" if place else "changed", "text": translated(line, known=False)}
        for place, line in enumerate(lines)
    ]


def setup_headline(
    rows: Sequence[Row], flows: Sequence[Row], masses: Sequence[Value] | None = None, unit: str = "g"
) -> str:
    """The masses to set for the first application: each of its shots, and the wait between them.

    `rows` and `flows` are those of SetupShots and SetupFlows; `masses` are those of `rows` in the unit of
    the sheet's column.
    """
    if not rows:
        return "No part at this station"
    first = rows[0]
    name = f" ({first['part']} / {first['application']})"
    shots: list[tuple[str, float]] = []  # printed mass with its unit, wait before it [min]
    for row, flow, mass in zip(rows, flows, masses or [row["mass"] for row in rows], strict=True):
        if (row["part"], row["application"]) != (first["part"], first["application"]):
            break
        assert isinstance(mass, Printed)
        wait = flow["wait"] or 0.0
        assert isinstance(wait, float)
        shots.append((f"{mass.text} {unit}", wait))
    is_alone = len(shots) == len(rows)
    if len(shots) == 1:
        return f"Set {shots[0][0]}" + ("" if is_alone else name)
    return _shots_words(shots) + ("" if is_alone else name)


def _shots_words(shots: Sequence[tuple[str, float]]) -> str:
    """Masses of shots with the waits before them [min], alike ones together.

    >>> _shots_words([("348.1 g", 0.0), ("240.4 g", 60.0), ("240.4 g", 60.0)])
    '3 shots: 348.1 g, then 2 × 240.4 g, wait at least 60 min'
    >>> _shots_words([("348.1 g", 0.0), ("240.4 g", 60.0), ("240.4 g", 90.0)])
    '3 shots: 348.1 g, then 240.4 g after at least 60 min, then 240.4 g after at least 90 min'
    >>> _shots_words([("398.6 g", 0.0), ("398.6 g", 45.0)])
    '2 × 398.6 g, wait at least 45 min'
    """
    waits = {wait for _, wait in shots[1:]}
    is_even = len(waits) == 1  # one wait for all, told once
    groups = [
        (mass, wait, len(list(alike)))
        for (mass, wait), alike in itertools.groupby(
            (mass, 0.0 if is_even or not place else wait) for place, (mass, wait) in enumerate(shots)
        )
    ]
    words = f"{len(shots)} shots: " if len(groups) > 1 else ""
    words += ", then ".join(
        (f"{count} × {mass}" if count > 1 else mass)
        + (f" after at least {duration_text(wait * 60.0)}" if wait else "")
        for mass, wait, count in groups
    )
    if is_even and (wait := waits.pop()):
        words += f", wait at least {duration_text(wait * 60.0)}"
    return words


def _detail(item: Application) -> str:
    """Size of an application, and the wait before it where it has one."""
    return item.detail + (
        f", wait at least {duration_text(item.wait)} after the shot before" if item.wait else ""
    )


def _stated(value: float | None, unit: str) -> Stated | None:
    """A limit as the plan states it."""
    return None if value is None else Stated(from_si(value, unit))


def layout(book: Book) -> None:
    """What is weighed, what is set, what to know; beside the page what only a desk asks for."""
    widths = [10, 11.2, 6.2, 8.8, 9.3, 7.5, 8.2, 8.2, 8.2, 8.5, 9.4, 13.6]
    form = book.page("Setup", widths, beside=[10, 10, 10, 48, 22], landscape=False, standing=True)
    form.head()
    form.cards(("station", 3), ("material", 3), ("meter", 3), ("shop_temperature", 3))
    form.cards(("ratio", 6), ("density", 3), ("open_time", 3))
    form.cards(("mixer_volume", 3), ("purge_volume", 3), ("start_volume", 3), ("flow_limit", 3))
    form.cards(("nozzle_bore", 3), ("nozzle_length", 3), ("pressure_limit", 3), ("pot_life_source", 3))
    form.cards(("check_together", 3), ("check_target", 3), ("check_low", 3), ("check_high", 3))
    form.cards(("pot_life", 6), ("rule", 3), ("surface_treatment", 3), small=True)
    form.cards(("description", 6), ("prepared_by", 3), ("stamp", 3), small=True)
    form.section(
        "Shots: what to weigh",
        "weigh as many shots of a row on one cup as it says; low and high are those of all of them",
    )
    form.table(
        "SetupShots",
        [
            "part",
            "application",
            "shot",
            "mass",
            "shots_together",
            "mass_of_n_shots",
            "mass_low",
            "mass_high",
            "mass_a",
            "mass_b",
            WEIGHED,
            "limits_from",
            "volume",
            "volume_low",
            "volume_high",
            "detail",
            "matters_most",
        ],
    )
    form.put(1, "Weighed and set on, date and time")
    form.entry(6, None, WHEN, span=3, name="weighed_on")
    form.skip()
    form.section("Settings: what to set")
    form.table(
        "SetupFlows",
        [
            "part",
            "application",
            "shot",
            "speed",
            "dispense_time",
            "flow",
            "nozzle_pressure",
            "mixer_pressure",
            "flow_a",
            "flow_b",
            SET,
            "wait",
            "shear_rate",
            "station_time",
        ],
        forms={"dispense_time": TO_SET},
    )
    form.picture("sections", SECTIONS)
    form.section("Warnings", "notes stand on the second sheet")
    form.warnings("SetupNotes", ("kind", "text"))
    form.sign_off(("Set by", "Checked by", "Released"))
    form.cautions()

    notes = book.page("Notes", [12, 24, 24, 24, 24], landscape=False)
    notes.head(named=False)
    notes.repeat(("station", 1), ("material", 3))
    notes.skip()
    notes.warnings("SetupRemarks", ("kind", "text"))


SHEET = Sheet(STATION_SETUP, layout, "station setup cards", "setup.xlsx", of_station=station_setup_content)
