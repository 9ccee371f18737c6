"""Cure board: when each batch of a shift must be mated, may be moved, joined and tested."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence

from ..base.clock import earliest_text, hhmm
from ..base.fields import text
from ..base.findings import NOTE, WAIT, Finding, gravest_first
from ..base.measures import temperature_told
from ..base.units import LONGEST, duration_text, from_si
from ..plan.lamp import LAMP
from ..plan.records import Plan
from ..plan.tables import NO_CURE
from ..reports.routes import short_waits
from ..shift.cure_times import LAST, cure_basis
from ..shift.findings import PAST_LIMIT, RECKONED
from ..shift.results import Batch, Mating, ShiftResult, numbers_text
from .layout import OTHER_DAY, Book, Calculated
from .pictures import BARS, cure_bars, drawn
from .pieces import at, findings_shown, from_on, handover_rows, shift_head, shift_headline, warning_rows
from .sheet import Sheet
from .spec import BATCH, HANDOVER, SHIFT_HEAD, WARNINGS, Content, Row, SheetSpec, moment

OF_CURE = {
    "open time",
    "surface window",
    "cure",
    "half done",
    "lost half done",
    PAST_LIMIT,
    RECKONED,
    WAIT,
}  # topics of a shift that a cure board shows
WARNING_WIDTH = 150  # characters of a line of warnings


CURE_BOARD = SheetSpec(
    "cure_board",
    "cure_board.xlsx",
    "Cure board",
    "when each batch must be mated, may be moved, joined and tested",
    (
        *SHIFT_HEAD,
        text("headline", "first batch that may be moved"),
        text("cure", "how it cures"),
        text("shop_temperature", "shop temperature"),
        text("basis", "what the times rest on"),
    ),
    {
        "CureBatches": (
            *BATCH,
            moment("mates", "its mating by plan", labels=("Planned mating",)),
            moment("move", "all may be moved"),
            moment("join", "all may be joined or loaded"),
            moment("test", "all may be tested"),
            text("note", "parts mated too late, what the cure rests on"),
        ),
        "CureHandover": tuple(item for item in HANDOVER if item.name != "volume"),
        "CureWarnings": WARNINGS,
    },
    ("day", "shift", "station"),
    needed={
        "CureBatches": ("batch", "part", "move", "join", "test"),
        "CureHandover": ("way", "what", "part_numbers"),
        "CureWarnings": ("warning",),
    },
    optional={"CureBatches": ("tightest_part", "mate_before")},
    computed={"CureBatches": (text("state", "what the batch is ready for at the time typed"),)},
)


def cure_board_content(plan: Plan, result: ShiftResult, stamp: str) -> Content | None:
    """The cure board of a station.

    None for a paste that does not cure and has no open time to keep, nor for what a lamp cures: that has
    a board of its own.
    """
    material, day = result.material, result.date
    if material.cure == LAMP:
        return None
    if material.cure == NO_CURE and material.open_time is None:
        return None
    rows: list[Row] = [
        {
            "batch": batch.number,
            "part": batch.part,
            "part_numbers": batch.numbers,
            "begun": at(day, batch.begun),
            "ended": at(day, batch.ended),
            "tightest_part": batch.tightest.serial if batch.tightest else None,
            "mate_before": at(day, batch.mate_before),
            "mates": at(day, batch.mates),
            **{name: from_on(day, batch.milestones.get(name)) for name in ("move", "join", "test")},
            "note": batch_words(batch, day),
        }
        for batch in result.batches
    ]
    record = result.shop_record
    return Content(
        CURE_BOARD,
        {
            **shift_head(plan, result, stamp),
            "headline": shift_headline(plan, [result], board_headline(result)),
            "cure": "does not cure" if material.cure == NO_CURE else f"{material.cure} cure",
            "shop_temperature": temperature_told(*record),
            "basis": cure_basis(material, record),
        },
        {
            "CureBatches": rows,
            "CureHandover": [
                {name: value for name, value in row.items() if name != "volume"}
                for row in handover_rows(result, parts_only=True)
            ],
            "CureWarnings": warning_rows(_findings(plan, result), WARNING_WIDTH),
        },
        drawn(cure_bars=cure_bars(result)),
    )


def _findings(plan: Plan, result: ShiftResult) -> list[Finding]:
    """What bears on mating and cure, in the shift and in the station's plan."""
    shown = findings_shown(
        plan,
        result,
        played=lambda item: item.topic in OF_CURE,
        planned=lambda item: item.topic in (WAIT, "cure"),
    )
    waits = [item for item in short_waits(plan) if item.station == result.station.station]
    return gravest_first([*shown, *waits, *board_before(result)])


def board_before(result: ShiftResult) -> list[Finding]:
    """The batches begun before now stand on the board that hung there, and not on this one."""
    last = result.batches_before
    if not last:
        return []
    batches = f"batches 1 to {last} stand" if last > 1 else "batch 1 stands"
    text = f"leave the board before this one in its place: {batches} on it"
    return [Finding(NOTE, text, topic="board before", station=result.station.station)]


def board_headline(result: ShiftResult) -> str:
    """What matters first on the cure board: parts mated too late, else the first batch that is free."""
    late = [(batch, mating) for batch in result.batches for mating in batch.late]
    if late:
        batch, mating = late[0]
        many = f"{len(late)} parts are" if len(late) > 1 else "1 part is"
        return f"▲ {many} mated too late: batch {batch.number}, {batch.part} no. {mating.serial}" + (
            " first" if len(late) > 1 else ""
        )
    moves = [batch for batch in result.batches if batch.milestones.get("move") is not None]
    if not moves:
        return "No handling time is stated: see the data sheet"
    batch = min(moves, key=_first_move)
    first, clock = batch.first_done, batch.milestones["move"]
    if not _first_move(batch) < LONGEST or clock is None:
        return "▲ Not one batch may be moved: see its note"
    whole = earliest_text(clock, result.date)
    if batch.first_move is None or first is None:
        return f"Batch {batch.number} may be moved at {whole}"
    part = earliest_text(batch.first_move, result.date)
    return f"{batch.part} no. {first.serial} may be moved at {part}, all of batch {batch.number} at {whole}"


def _first_move(batch: Batch) -> float:
    """When something of a batch may be moved: on a line its first part [s]."""
    clocks = (batch.first_move, batch.milestones.get("move"))
    return next((clock for clock in clocks if clock is not None), math.inf)


def batch_words(batch: Batch, day: datetime.date) -> str:
    """The note of a batch: what calls for action first, then what its cure rests on."""
    cure, words = batch.cure, []
    if batch.origin:
        words.append(f"begun {batch.origin}")
    if batch.late:
        words.append(f"▲ mated too late: {_late_words(batch.late)}")
    if cure.profile and cure.out is not None:
        words.append(
            f"oven profile {cure.profile} from {hhmm(batch.ended, day)}, out at "
            f"{earliest_text(cure.out, day)}"
        )
        if cure.unreached:
            words.append(f"▲ not reached in the oven: {', '.join(cure.unreached)}")
    elif cure.unreached:
        words.append("▲ no oven is stated for this part")
    elif any(clock is not None and not clock < LONGEST for clock in cure.milestones.values()):
        words.append(
            "▲ never cured: the air holds no water" if cure.is_never else "▲ not cured within 100 years"
        )
    if batch.first_move is not None and batch.first_done is not None:
        part = earliest_text(batch.first_move, day)
        words.append(f"no. {batch.first_done.serial} may be moved from {part}")
    if cure.depth is not None and cure.depth_cured is not None:
        depth = f"{from_si(cure.depth, 'mm'):.2f} mm deep"
        if cure.depth_cured < min(cure.milestones[LAST] or LONGEST, LONGEST):  # the data sheet is later
            depth += f" by {earliest_text(cure.depth_cured, day)}"
        words.append(depth)
    return "; ".join(sorted(words, key=lambda part: not part.startswith("▲")))


def _late_words(late: Sequence[Mating]) -> str:
    """Which parts are mated too late, and by how much at most."""
    most = max(mating.late for mating in late)
    return f"no. {numbers_text(mating.serial for mating in late)}, by {duration_text(_whole_minutes(most))}"


def _whole_minutes(seconds: float) -> float:
    """Whole minutes, upward, so that a part that is late is never 0 min late."""
    return 60.0 * math.ceil(seconds / 60.0 - 1e-6)


def layout(book: Book) -> None:
    """Warnings, the batches and their bars; beside the page the state of each at a time that is typed."""
    widths = [8.2, 15, 10.6, 16.8, 16.8, 16.8, 17, 8, 18.2, 23]
    form = book.page("Board", widths, beside=[18.2, 18.2, 15], landscape=True, standing=True)
    form.put(11, "Type the day and time:")
    now = form.entry(13, None, OTHER_DAY)
    form.head()
    form.cards(("station", 2), ("material", 2), ("day", 1), ("shift", 1), ("hours", 1), ("cure", 3))
    form.cards(
        ("description", 2),
        ("basis", 3),
        ("shop_temperature", 1),
        ("prepared_by", 1),
        ("stamp", 3),
        small=True,
    )
    form.section("Warnings")
    form.warnings("CureWarnings")
    form.section(
        "Batches",
        "mate by: the first open time of the batch to end; each part has its own",
        of=("CureBatches", "mate_before"),
    )
    marks = (("test", "may be tested"), ("join", "may be joined"), ("move", "may be moved"))
    steps = ",".join(f'IF(AND({{{name}}}<>"",{now}>={{{name}}}),"{words}"' for name, words in marks)
    form.table(
        "CureBatches",
        [
            "batch",
            "part",
            "part_numbers",
            "ended",
            "move",
            "join",
            "test",
            "tightest_part",
            "mate_before",
            "note",
            "begun",
            "mates",
            Calculated("state", f'=IF({now}="","",{steps},"wait"))))'),
        ],
        repeat=True,
        big=True,
        rows_high=15.5,
        marks="note",
    )
    form.picture("cure_bars", BARS, "Cure of the batches")
    form.cautions()

    hand = book.page("Handover", [9, 30, 14, 17, 17, 18, 25], landscape=True, standing=True)
    hand.head(named=False)
    hand.repeat(("station", 1), ("material", 3), ("day", 5), ("shift", 6))
    hand.skip()
    hand.section("Hand-over", "parts in process: from the shift before, and to the next")
    hand.table(
        "CureHandover",
        ["count", "what", "way", "next_step", "latest", "part", "part_numbers"],
        forms={"next_step": OTHER_DAY, "latest": OTHER_DAY},
        repeat=True,
    )
    hand.sign_off(("Prepared", "Shift lead", "Handed over to next shift"))


SHEET = Sheet(CURE_BOARD, layout, "cure boards", "cure_board.xlsx", of_station_shift=cure_board_content)
