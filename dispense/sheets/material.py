"""Shift material sheet: what one station needs in one shift, when it purges and changes, lot by lot."""

from __future__ import annotations

import datetime
from typing import cast

from ..base.clock import next_minute
from ..base.fields import date, number, text, whole
from ..base.findings import STIR, STOP, WAIT, Finding, gravest_first
from ..base.measures import size_told, temperature_told
from ..base.units import HOUR, MINUTE, duration_text, from_si
from ..plan.materials import usable_volume
from ..plan.records import Plan
from ..reports.standing import standing_of, stir_times
from ..shift.results import CATEGORIES, LaterShot, ShiftResult
from ..shift.store import heel_volume
from ..shift.weighing import driver_text, weigh
from ..shift.windows import latest_times
from .layout import BY, DASHED, OTHER_DAY, TICK, Book, Calculated, Written
from .pictures import LEVELS, STRIP, container_levels, drawn, shift_strip
from .pieces import (
    ML,
    USE,
    amount_ml,
    at,
    findings_shown,
    found_at_start,
    from_on,
    handover_rows,
    instead_of_lots,
    letter_name,
    life_text,
    mass_drawn,
    mixed_drawn,
    mixed_mass,
    rule_text,
    shift_head,
    shift_headline,
    use_row,
    warning_rows,
)
from .sheet import Sheet
from .spec import HANDOVER, SHIFT_HEAD, WARNINGS, Content, Row, SheetSpec, moment

WARNING_WIDTH = 121  # characters of a line of warnings
BY_HAND = (
    "start",
    "container",
    "mixer",
    "purge",
    "off",
    "end",
    "short",
    "expired",
    "later shot",
    "stir",
)  # events that want a hand
#: of the times of later shots whose part was begun before the sheet was printed
RECKONED = (
    "Of a part begun before this sheet was printed the time is reckoned: go by the time written down when "
    "the shot before was poured, if that is later."
)
BEFORE_AT = Written("Shot before at", "before_at")
POURED_AT = Written("Poured at", "poured_at")


SHIFT_MATERIAL = SheetSpec(
    "shift_material",
    "shift_material.xlsx",
    "Shift material sheet",
    "what one station needs in one shift, when it purges and changes, lot by lot",
    (
        *SHIFT_HEAD,
        text("headline", "containers to bring"),
        whole("parts_good", "good parts asked for", labels=("Parts asked",)),
        whole("parts_started", "parts started"),
        whole("parts_finished", "good parts finished, those taken over half done among them"),
        number("takt", "s", "time between parts"),
        number(
            "mixed_total",
            "mL",
            "material dispensed, mixed where it has two parts, without heels",
            labels=("Dispensed in all", "Mixed total"),
        ),
        number("mixed_mass", "kg", "the same as mass", labels=("As mass", "Mixed mass")),
        number("on_parts", "mL", "mixed material on good parts"),
        number("on_parts_low", "mL", "low"),
        number("on_parts_high", "mL", "high"),
        text("matters_most", "input that makes most of that spread", labels=("Main tolerance",)),
        number("waste_share", "", "share of the used material that is not on good parts"),
        whole("purges", "purges"),
        whole("mixers", "mixers used"),
        whole("check_shots", "check shots"),
        text("shop_temperature", "shop temperature"),
        text("pot_life", "pot life at that temperature"),
        text("rule", "what is done at the limit of pot life", labels=("At life limit",)),
        number("shot_first", "mL", "shot of the first part, for the what-if"),
    ),
    {
        "MaterialParts": (
            text("part", "part"),
            whole("good", "good parts asked for", labels=("Asked",)),
            whole("started", "parts started"),
            number("shot", "mL", "volume of one part"),
            number("low", "mL", "low"),
            number("high", "mL", "high"),
            number("shot_mass", "g", "mass of one part"),
            text("matters_most", "input that makes most of the spread", labels=("Main tolerance",)),
            number("total", "mL", "for all started parts"),
            whole("taken_over", "parts taken over half done"),
            whole("finished", "good parts finished"),
            whole("scrapped", "parts scrapped"),
            whole("lost", "parts lost that were taken over"),
            whole("handed_over", "parts handed over half done"),
        ),
        "MaterialUse": (*USE, number("mass", "kg", "used, as mass")),
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
            moment("first", "first needed", labels=("Needed from",)),
        ),
        "MaterialLater": (
            text("part", "part"),
            whole("serial", "number of the part", labels=("No.",)),
            text("begun", "shift that began the part, where that is another"),
            whole("shot", "shot"),
            whole("before", "shot that it waits for", labels=("After shot",)),
            number("wait", "min", "least wait after that shot", labels=("Wait at least",)),
            moment("earliest", "not before, if that shot goes as planned", labels=("Not before",)),
            number("mass", "g", "target mass of the shot"),
            number("mass_low", "g", "lower limit of its mass"),
            number("mass_high", "g", "upper limit of its mass"),
            number("volume", "mL", "its volume"),
        ),
        "MaterialHandover": HANDOVER,
        "MaterialWarnings": WARNINGS,
    },
    ("day", "shift", "station"),
    needed={
        "MaterialParts": ("part", "shot"),
        "MaterialUse": ("component", "containers", "drawn"),
        "MaterialTimes": ("time", "action"),
        "MaterialMore": ("component", "share", "left", "container"),
        "MaterialLots": ("component", "containers", "lot"),
        "MaterialLater": ("part", "serial", "shot", "wait"),
        "MaterialHandover": ("way", "what", "part_numbers", "count"),
        "MaterialWarnings": ("warning",),
    },
    computed={
        "MaterialMore": (
            number("more", "mL", "for the parts more"),
            whole("more_containers", "containers for the parts more"),
        )
    },
    written={
        "MaterialLots": (TICK, BY),
        "MaterialTimes": (TICK, BY),
        "MaterialLater": (BEFORE_AT, POURED_AT, BY),
        "MaterialHandover": (TICK, BY),
    },
    optional={
        "MaterialLater": ("begun", "mass_low", "mass_high"),
        "MaterialHandover": ("part", "part_numbers", "count", "next_step"),
    },
    on_own_page=("MaterialLater",),
    bulk=(
        *("mixed_total", "on_parts", "on_parts_low", "on_parts_high", "shot_first", "MaterialParts.total"),
        *("MaterialUse", "MaterialTimes", "MaterialMore", "MaterialLots", "MaterialHandover"),
    ),
)


def shift_material_content(plan: Plan, result: ShiftResult, stamp: str) -> Content:
    """The shift material sheet of a station."""
    density = result.density
    on_parts = result.parts_amount
    nominal, low, high = amount_ml(on_parts)
    record = result.shop_record
    taken = sum(result.drawn(letter) for letter in result.letters)
    parts: list[Row] = []
    for job in result.jobs:
        shot = job.shot
        volume, shot_low, shot_high = amount_ml(shot)
        parts.append(
            {
                "part": job.part,
                "good": job.asked,
                "started": job.begun,
                "taken_over": job.taken,
                "finished": job.finished,
                "scrapped": job.scrapped,
                "lost": job.lost,
                "handed_over": job.carried,
                "shot": volume,
                "low": shot_low,
                "high": shot_high,
                "shot_mass": from_si(shot.nominal * density, "g"),
                "matters_most": driver_text(shot.main_driver),
                "total": volume * job.begun,
            }
        )
    return Content(
        SHIFT_MATERIAL,
        {
            **shift_head(plan, result, stamp),
            "headline": shift_headline(plan, [result], containers_text(result)),
            "parts_good": sum(job.asked for job in result.jobs),
            "parts_started": sum(job.begun for job in result.jobs),
            "parts_finished": sum(job.finished for job in result.jobs),
            "takt": result.takt_stated,
            "mixed_total": mixed_drawn(result) / ML,
            "mixed_mass": mixed_mass(result),
            "on_parts": nominal,
            "on_parts_low": low,
            "on_parts_high": high,
            "matters_most": driver_text(on_parts.main_driver),
            "waste_share": 1.0 - result.dispensed("parts") / taken if taken else 0.0,
            "purges": result.purges,
            "mixers": result.mixers,
            "check_shots": result.check_shots,
            "shop_temperature": temperature_told(*record),
            "pot_life": life_text(result.life, record),
            "rule": rule_text(result),
            "shot_first": parts[0]["shot"] if parts else 0.0,
        },
        {
            "MaterialParts": parts,
            "MaterialUse": [
                {**use_row(result, letter), "mass": mass_drawn(result, letter)} for letter in result.letters
            ],
            "MaterialTimes": _times(plan, result),
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
            or [{"lot": instead_of_lots(result, result.letters, "none: enough stands at the station")}],
            "MaterialLater": _later_rows(result),
            "MaterialHandover": handover_rows(result),
            "MaterialWarnings": warning_rows(_findings(plan, result), WARNING_WIDTH),
        },
        drawn(shift_strip=shift_strip(plan, result), container_levels=container_levels(result)),
    )


def _findings(plan: Plan, result: ShiftResult) -> list[Finding]:
    """What a shift must know: its own warnings, of what stands there as playing begins, and what of the
    station's plan stops the line.
    """
    shown = findings_shown(
        plan,
        result,
        played=lambda item: item.is_warning,
        planned=lambda item: (
            item.kind == STOP or item.topic == WAIT or (item.topic == STIR and item.is_warning)
        ),
    )
    return gravest_first([*shown, *(item for item in found_at_start(plan, [result]) if item.station)])


def containers_text(result: ShiftResult) -> str:
    """The containers to bring, largest thing on the sheet: 2 × A (20 L), 1 × B (20 L)."""
    words, missing = [], []
    if not any(result.containers.values()) and not result.owed:
        return "Bring nothing: enough stands here"
    for letter, component in result.components.items():
        size_text = size_told(component.container)
        name = f"{letter.upper()} " if len(result.components) > 1 else ""
        count = sum(use.containers for use in result.staged(letter))
        if count:
            words.append(f"{count} × {name}{size_text}")
        if lacking := result.lacking(letter):
            missing.append(f"{lacking} × {name}{size_text}")
    short = " + ".join(missing) + " missing" if missing else ""
    if not words:
        return "▲ " + short
    return "Bring " + " + ".join(words) + (f"; {short}" if short else "")


def _more_row(result: ShiftResult, letter: str) -> Row:
    """What a component leaves for more parts."""
    component = result.components[letter]
    left = result.left_in_container(letter) - heel_volume(component)
    return {
        "component": letter_name(letter, result.letters),
        "share": result.shares[letter],
        "left": max(left, 0.0) / ML,
        "container": from_si(usable_volume(component), "mL"),
    }


def _later_rows(result: ShiftResult) -> list[Row]:
    """Each later shot of a part: from which whole minute on it may be poured, as played, and how much."""
    weighed = {
        (shot.part, shot.shot): weigh(result.station, shot.application.amount, result.density).single
        for shot in result.later_shots
    }
    return [
        {
            "part": shot.part,
            "serial": shot.serial,
            "begun": f"{shot.serial} of {shot.origin}" if shot.origin else "",
            "shot": shot.shot,
            "before": shot.before,
            "wait": shot.wait / MINUTE,
            "earliest": from_on(result.date, shot.earliest),
            "mass": weighed[shot.part, shot.shot].target,
            "mass_low": weighed[shot.part, shot.shot].low,
            "mass_high": weighed[shot.part, shot.shot].high,
            "volume": from_si(shot.application.amount.nominal, "mL"),
        }
        for shot in sorted(result.later_shots, key=lambda shot: shot.earliest)
    ]


def _duties(plan: Plan, result: ShiftResult) -> list[tuple[float, str, str, str]]:
    """Clock time, event, what to do and component of what the plan asks for besides the run itself:
    from when on later shots come, which have a page of their own, and containers to stir."""
    soonest: dict[tuple[str, int], LaterShot] = {}
    for shot in sorted(result.later_shots, key=lambda shot: shot.earliest):
        soonest.setdefault((shot.part, shot.shot), shot)
    found = [
        (
            next_minute(shot.earliest),
            "later shot",
            f"{shot.part}: from now on shot {shot.shot}, each at least {duration_text(shot.wait)} after shot "
            f"{shot.before}: page Later shots",
            "",
        )
        for shot in soonest.values()
    ]
    for standing in standing_of(plan, result.station):
        every = standing.stir_every
        if every is None or not result.jobs:
            continue
        name = letter_name(standing.component.component, result.letters)
        which = f" of {name}" if len(result.letters) > 1 else ""
        words = f"stir the container{which}, every {every / HOUR:g} h"
        found += [
            (clock, "stir", words, name) for clock in stir_times(result.calendar, every, result.run_end)
        ]
    return found


def _times(plan: Plan, result: ShiftResult) -> list[Row]:
    """What happens in a shift, what the plan asks for, latest clock times of surfaces and open parts."""
    rows: list[Row] = [
        {
            "time": at(result.date, event.clock),
            "event": event.kind,
            "action": event.text,
            "component": letter_name(event.component, result.letters) if event.component else "",
            "lot": event.lot,
            "volume": event.volume / ML if event.volume else None,
        }
        for event in result.events
        if event.kind != "check"  # they stand on the shot-check sheet, with boxes to write in
    ]
    rows += [
        {
            "time": at(result.date, window.act),
            "event": "window",
            "action": f"{'▲ ' if window.is_late else ''}{window.text}",
            "component": "",
            "lot": "",
            "volume": None,
        }
        for window in latest_times(result)
    ]
    rows += [
        {
            "time": at(result.date, clock),
            "event": kind,
            "action": action,
            "component": name,
            "lot": "",
            "volume": None,
        }
        for clock, kind, action, name in _duties(plan, result)
    ]
    return sorted((row for row in rows if row["time"]), key=lambda row: cast(datetime.datetime, row["time"]))


def layout(book: Book) -> None:
    """The page for the station; behind it where the material goes, the hand-over, and what more parts ask."""
    times = book.page(
        "Times", [16.8, 6.4, 66.2, 10.8, 7.5], beside=[18, 14, 14], landscape=False, standing=True
    )
    times.head()
    times.cards(("station", 2), ("material", 1), ("shift", 2))
    times.cards(("day", 2), ("hours", 1), ("takt", 2))
    times.section("Warnings")
    times.warnings("MaterialWarnings")
    times.section("The shift", "■ container   ◆ mixer   ▽ purge   ✕ mixer off")
    times.picture("shift_strip", STRIP)
    times.section("Clock list", "bold: by hand; check shots stand on the shot-check sheet")
    times.table(
        "MaterialTimes",
        ["time", TICK, "action", "lot", BY, "event", "component", "volume"],
        repeat=True,
        rows_high=13.6,
        stress={"event": BY_HAND},
        in_order="time",
    )
    times.cautions()

    widths = [15, 6, 16, 6, 9, 11, 17, 9, 9, 9, 9, 12, 12, 9]
    later = book.page("Later shots", widths, landscape=False, standing=True)
    later.head(named=False)
    later.repeat(("station", 1), ("material", 3), ("day", 7), ("shift", 11))
    later.skip()
    later.section("Pour no sooner than the wait after the shot before")
    later.table(
        "MaterialLater",
        [
            *("part", "serial", "begun", "shot", "before", "wait", "earliest"),
            *("mass", "mass_low", "mass_high", "volume", BEFORE_AT, POURED_AT, BY),
        ],
        repeat=True,
        rows_high=17,
    )
    later.put(1, "Was a wait shorter, or is it not known: stop and ask, do not pour.", bold=True)
    later.skip()
    later.put(1, RECKONED)
    later.skip()
    form = book.page(
        "Material", [11.5, 13.8, 9, 9, 9, 9, 10, 9.5, 8.8, 8, 8, 8.9, 8, 12.3, 8.5, 8.5, 9.4], landscape=True
    )
    form.head(named=False)
    form.repeat(("day", 1), ("shift", 2), ("station", 4), ("material", 8))
    form.skip()
    form.cards(
        ("parts_good", 2),
        ("parts_started", 2),
        ("parts_finished", 2),
        ("mixed_total", 2),
        ("mixed_mass", 2),
        ("on_parts", 2),
        ("on_parts_low", 2),
        ("on_parts_high", 3),
    )
    form.cards(
        ("purges", 2),
        ("mixers", 1),
        ("check_shots", 2),
        ("waste_share", 2),
        ("shop_temperature", 2),
        ("matters_most", 3),
        ("rule", 5),
    )
    form.cards(("description", 5), ("pot_life", 6), ("prepared_by", 3), ("stamp", 3), small=True)
    form.section("Lots to bring, first-expired first")
    form.table(
        "MaterialLots",
        ["component", "first", "containers", "volume", TICK, BY, "last_day", "lot"],
        across=True,
        forms={"last_day": "dd mmm yy"},
    )
    form.section("Use by component")
    uses = [*CATEGORIES, "drawn", "closing"]
    volumes = dict.fromkeys(("opening", "mounted", *uses), DASHED)
    form.table("MaterialUse", ["component", "containers", "opening", "mounted", *uses, "mass"], forms=volumes)
    form.total("MaterialUse", ["containers", "mass", *volumes], volumes)
    used = {name: form.area("MaterialUse", name) for name in ("opening", "mounted", "drawn", "closing")}
    open_ = f"({used['opening']}+{used['mounted']}-{used['drawn']}-{used['closing']})"
    # the absolute value without a function, which not every spreadsheet takes for each row of an array
    apart = f"ROUND(SUMPRODUCT({open_}*(1-2*({open_}<0))),6)"
    form.figure("Balance: opening + connected − used − left at end [mL]", f"={apart}", "0.000", 6)
    form.put(8, f'=IF({apart}=0,"holds","▲ does not hold")', bold=True)
    form.skip()
    form.section("Parts", "taken over + started = finished + scrapped + lost + handed over")
    counts = ["good", "taken_over", "started", "finished", "scrapped", "lost", "handed_over"]
    form.table(
        "MaterialParts", ["part", *counts, "shot", "low", "high", "shot_mass", "total", "matters_most"]
    )
    form.total("MaterialParts", [*counts, "total"])
    form.picture("container_levels", LEVELS, "Container levels")
    form.sign_off()
    hand = book.page("Handover", [12, 24, 13, 17.4, 7.6, 16, 16, 21, 6.4, 8], landscape=True, standing=True)
    hand.head(named=False)
    hand.repeat(("station", 1), ("material", 6), ("day", 8), ("shift", 9))
    hand.skip()
    hand.table(
        "MaterialHandover",
        ["way", "what", "part", "part_numbers", "count", "volume", "next_step", "latest", TICK, BY],
        forms={"next_step": OTHER_DAY, "latest": OTHER_DAY},
        repeat=True,
        rows_high=17,
    )
    hand.sign_off(("Handed over", "Taken over"))
    more = book.page("What if", [13, 10, 13, 13, 13, 13, 13, 13, 13], landscape=False)
    more.head(named=False)
    more.repeat(("station", 1), ("material", 3), ("day", 6), ("shift", 7))
    more.skip()
    more.put(1, "More parts to start:")
    count = more.entry(3, 10, "0")
    more.put(4, "  each with the shot of the first part [mL]:")
    shot = more.named("shot_first", 8)
    more.skip()
    more.table(
        "MaterialMore",
        [
            "component",
            "share",
            "left",
            "container",
            Calculated("more", f"={count}*{shot}*{{share}}"),
            Calculated(
                "more_containers", "=IF({container}>0,ROUNDUP(ROUND(MAX(0,{more}-{left})/{container},6),0),0)"
            ),
        ],
    )


SHEET = Sheet(
    SHIFT_MATERIAL, layout, "shift material sheets", "material.xlsx", of_station_shift=shift_material_content
)
