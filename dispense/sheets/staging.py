"""Staging sheet: every container and static mixer that must stand at the stations in one shift."""

from __future__ import annotations

from collections.abc import Sequence

from ..base.fields import date, number, text, whole
from ..base.findings import SHORTAGE
from ..base.language import translated
from ..base.measures import size_told
from ..base.printed import counted
from ..plan.cautions import CAUTION
from ..plan.records import Plan
from ..shift.results import ShiftResult
from ..shift.store import NANO
from .layout import BY, DASHED, DASHED_KILOGRAMS, TICK, Book
from .pieces import (
    ML,
    at,
    found_at_start,
    head,
    hours,
    instead_of_lots,
    letter_name,
    shop,
    station_warning_rows,
)
from .sheet import Sheet
from .spec import HEAD, Content, Row, SheetSpec, moment

OF_STOCK = {SHORTAGE, "expired lot", "expired container"}  # topics of a shift that a staging sheet shows


STAGING = SheetSpec(
    "staging",
    "staging.xlsx",
    "Staging sheet",
    "every container and static mixer that must stand at the stations in one shift",
    (
        *HEAD,
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
            text("container", "content of one, in the unit of its size"),
            number("volume", "mL", "in all"),
            number("mass", "kg", "in all"),
            moment("first", "first needed", labels=("Needed from",)),
            moment("last", "last change", labels=("Last change",)),
        ),
        "StagingMixers": (
            text("station", "station"),
            number("bore", "mm", "bore of the static mixer"),
            number("length", "mm", "length of its mixing elements"),
            whole("mixers", "mixers that the shift fills, the first among them; none to spare"),
        ),
        "StagingWarnings": (text("station", "station"), text("warning", "what to look at")),
    },
    ("day", "shift"),
    needed={
        "StagingContainers": ("station", "material", "component", "containers"),
        "StagingMixers": ("station", "mixers"),
        "StagingWarnings": ("warning",),
    },
    written={"StagingContainers": (TICK, BY)},
    bulk=("StagingContainers",),
)


def staging_content(plan: Plan, results: Sequence[ShiftResult], stamp: str) -> Content:
    """The staging sheet of a shift, all stations."""
    first = results[0]
    rows: list[Row] = []
    count = missing = 0
    for result in results:
        for letter, component in result.components.items():
            changes = [
                event.clock
                for event in result.events
                if event.kind == "container" and event.component == letter
            ]
            staged = result.staged(letter)
            lots = [use.lot for use in staged]
            missing += result.lacking(letter)
            volume = sum(use.volume for use in staged)
            containers = sum(use.containers for use in staged)
            count += containers
            rows.append(
                {
                    "station": result.station.station,
                    "material": result.material.material,
                    "component": letter_name(letter, result.letters),
                    "lots": ", ".join(lots) or instead_of_lots(result, [letter], "stands at the station"),
                    "containers": containers,
                    "container": size_told(component.container),
                    "volume": volume / ML,
                    "mass": volume / NANO * component.density,
                    "first": at(result.date, changes[0]) if changes else None,
                    "last": at(result.date, changes[-1]) if changes else None,
                }
            )
    found = [item for result in results for item in result.findings if item.topic in OF_STOCK]
    found += found_at_start(plan, results)

    return Content(
        STAGING,
        {
            **head(plan, stamp),
            "day": first.date,
            "shift": first.shift,
            "hours": hours(first),
            "headline": staging_headline(count, missing),
            "cautions": translated(CAUTION),
        },
        {
            "StagingContainers": rows,
            "StagingMixers": _mixer_rows(results),
            "StagingWarnings": station_warning_rows(found),
        },
    )


def _mixer_rows(results: Sequence[ShiftResult]) -> list[Row]:
    """The mixers that each station fills in the shift, as played; one taken over is not among them."""
    rows: list[Row] = [
        {
            "station": result.station.station,
            "bore": shop(result.station.mixer_bore, "mm"),
            "length": shop(result.station.mixer_length, "mm"),
            "mixers": result.mixers,
        }
        for result in results
        if result.mixers
    ]
    return rows or [{"station": "–"}]


def staging_headline(count: int, missing: int) -> str:
    """Containers to bring, and those that no store holds.

    >>> staging_headline(1, 0), staging_headline(3, 8), staging_headline(0, 8)
    ('1 container to bring', '3 containers to bring; 8 containers missing', '▲ 8 containers missing')
    """
    if not missing:
        return f"{counted(count, 'container')} to bring"
    short = f"{counted(missing, 'container')} missing"
    return f"{counted(count, 'container')} to bring; {short}" if count else f"▲ {short}"


def layout(book: Book) -> None:
    """Containers to bring, with boxes to tick, and what stock does not hold."""
    form = book.page(
        "Staging",
        [13.4, 14, 12.4, 10.5, 10.5, 12.5, 11.2, 16.8, 16.8, 6.4, 8, 12.2],
        landscape=True,
        standing=True,
    )
    form.head()
    form.cards(("day", 2), ("shift", 1), ("hours", 3), ("prepared_by", 3), ("stamp", 3))
    form.section("Containers to bring")
    form.table(
        "StagingContainers",
        [
            "station",
            "material",
            "component",
            "containers",
            "container",
            "volume",
            "mass",
            "first",
            "last",
            TICK,
            BY,
            "lots",
        ],
        forms={"volume": DASHED, "mass": DASHED_KILOGRAMS},
        repeat=True,
    )
    form.total("StagingContainers", ["containers", "mass"], {"mass": DASHED_KILOGRAMS})
    form.section("Mixers to bring", "as the shift uses them, none to spare")
    form.table("StagingMixers", ["station", "bore", "length", "mixers"])
    form.section("Warnings")
    form.warnings("StagingWarnings", ("station", "warning"))
    form.sign_off(("Picked by", "Checked by", "Received on the line"))
    form.cautions()


SHEET = Sheet(STAGING, layout, "staging sheets", "staging.xlsx", of_shift=staging_content)
