"""Station setup card: what to set the dispenser of one station to, and what a shot must weigh."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ..base.fields import number, text, whole
from ..base.findings import MARKS, NOTE, Finding, gravest_first
from ..base.language import translated
from ..base.naming import fold
from ..base.printed import DOWN, Printed, digits_of
from ..base.units import duration_text, from_si, temperature_text
from ..plan.amounts import Application
from ..plan.records import Plan
from ..reports.findings import station_findings
from ..shift.setup import SetupCard
from ..shift.weighing import driver_text
from .layout import Book, Written
from .pictures import SECTIONS, drawn, station_sections
from .pieces import alarmed, amount_ml, cautions, finding_lines, head, life_text, rule_text, said, shop
from .sheet import Sheet
from .spec import HEAD, Content, Row, SheetSpec, moment

NOTE_WIDTH = 100  # characters of a line of notes

WHEN = "yyyy-mm-dd hh:mm"
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
            number("time", "s", "time"),
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
                "time": item.application.time,
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
    if card.volume_ratio is None:
        ratio = "one-part"
    else:
        ratio = f"100 : {card.volume_ratio:.4g} by volume, 100 : {card.mass_ratio:.4g} by mass (A : B)"
    record = [card.coldest, card.hottest]
    treatment = material.surface_treatment
    if material.surface_window:
        treatment = f"{treatment or 'treated surface'}, keeps {duration_text(material.surface_window)}"
    found = gravest_first([*card.findings, *station_findings(plan, station.station)])
    return Content(
        STATION_SETUP,
        {
            **head(plan, stamp),
            "station": station.station,
            "material": material.material,
            "description": material.description,
            "headline": alarmed(plan, [station.station], setup_headline(rows)),
            "meter": station.meter,
            "ratio": ratio,
            "density": from_si(card.density, "g/mL"),
            "shop_temperature": temperature_text(record),
            "pot_life": life_text(card.life, record),
            "rule": rule_text(card),
            "mixer_volume": from_si(station.mixer_volume, "mL") or None,
            "purge_volume": from_si(station.purge_volume, "mL") or None,
            "start_volume": from_si(station.start_volume, "mL"),
            "nozzle_bore": shop(station.nozzle_bore, "mm"),
            "nozzle_length": shop(station.nozzle_length, "mm"),
            "pressure_limit": _upper_limit(station.pressure_limit, "bar"),
            "flow_limit": _upper_limit(station.flow_limit, "mL/s"),
            "surface_treatment": treatment or "none stated",
            "open_time": duration_text(material.open_time) if material.open_time else "none stated",
            "pot_life_source": material.pot_life_source,
            "weighed_on": None,
            "cautions": cautions(plan, card),
        },
        {
            "SetupShots": rows,
            "SetupFlows": flows,
            "SetupNotes": [
                *_changed(plan, card),
                *_finding_rows((item for item in found if item.is_warning), "no warning"),
            ],
            "SetupRemarks": _finding_rows((item for item in found if not item.is_warning), "nothing to note"),
        },
        drawn(sections=station_sections(plan, card)),
    )


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


def setup_headline(rows: Sequence[Row], mass: Printed | None = None, unit: str = "g") -> str:
    """The mass of the first shot to set; `mass` is the same in the unit of the sheet's column."""
    if not rows:
        return "No part at this station"
    first = rows[0]
    shown = first["mass"] if mass is None else mass
    assert isinstance(shown, Printed)
    words = f"Set {shown.text} {unit}"
    return words + (f" ({first['part']} / {first['application']})" if len(rows) > 1 else "")


def _detail(item: Application) -> str:
    """Size of an application, and the wait before it where it has one."""
    return item.detail + (f", wait {duration_text(item.wait)} after the shot before" if item.wait else "")


def _upper_limit(value: float | None, unit: str) -> Printed | None:
    """A highest value as printed, to three figures at least: never above what is allowed."""
    if value is None:
        return None
    shop = float(from_si(value, unit))
    return Printed(shop, digits_of(shop / 100.0), DOWN)


def layout(book: Book) -> None:
    """What is weighed, what is set, what to know; beside the page what only a desk asks for."""
    widths = [10, 11.2, 5.5, 8.8, 8.8, 7.5, 7.5, 7.5, 7.5, 7.5, 9.4, 13.5]
    form = book.page("Setup", widths, beside=[10, 10, 10, 48, 22], landscape=False, standing=True)
    form.head()
    form.cards(("station", 3), ("material", 3), ("meter", 3), ("shop_temperature", 3))
    form.cards(("ratio", 6), ("density", 3), ("open_time", 3))
    form.cards(("mixer_volume", 3), ("purge_volume", 3), ("start_volume", 3), ("flow_limit", 3))
    form.cards(("nozzle_bore", 3), ("nozzle_length", 3), ("pressure_limit", 3), ("pot_life_source", 3))
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
            "time",
            "flow",
            "nozzle_pressure",
            "mixer_pressure",
            "flow_a",
            "flow_b",
            SET,
            "wait",
            "shear_rate",
        ],
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
