"""Lamp board: the dose that cures, how the lamp is set, and the check strips of a shift."""

from __future__ import annotations

from ..base.fields import number, text, whole
from ..base.printed import UP, Printed, PrintedLimits, digits_of, printed_limits
from ..base.units import from_si
from ..plan.lamp import LAMP, Lamp, lamp_of
from ..plan.records import Plan
from ..shift.results import ShiftResult
from .board import OF_CURE, batch_words, board_before
from .layout import BY, Book, Calculated, Written
from .pieces import at, findings_shown, shift_head, shift_headline, shop, warning_rows
from .sheet import Sheet
from .spec import BATCH, SHIFT_HEAD, WARNINGS, Content, Row, SheetSpec, moment

READING = Written("Reading [J/cm²]", "reading")
FINEST = 0.01  # J/cm²: what a dosimeter reads; common practice, no source
FIGURES = 1000.0  # steps in a dose without a tolerance: three to four figures
WARNING_WIDTH = 112  # characters of a line of warnings
SPEED = "[<10]0.0;0"

LAMP_BOARD = SheetSpec(
    "lamp_board",
    "lamp_board.xlsx",
    "Lamp board",
    "what is cured by a lamp: the dose, time or belt speed, the check strips of the shift, its batches",
    (
        *SHIFT_HEAD,
        text("headline", "least dose and time under the lamp"),
        number("target", "J/cm²", "dose by plan, else the least that cures"),
        number("low", "J/cm²", "the least dose that cures"),
        number("high", "J/cm²", "the most that the material or its part bears"),
        number("irradiance", "mW/cm²", "light at the bond line by plan"),
        number("exposure_time", "s", "time under the lamp by plan"),
        number("least_time", "s", "time at which that light just gives the least dose"),
        number("belt_speed", "mm/s", "speed of the belt for the time by plan"),
        number("fastest_belt", "mm/s", "speed at which the lit length just gives the least dose"),
        text("basis", "what dose and time rest on"),
    ),
    {
        "LampChecks": (
            whole("check", "number"),
            text("due", "when in the shift"),
            moment("time", "due"),
            number("target", "J/cm²", "target"),
            number("low", "J/cm²", "least dose"),
            number("high", "J/cm²", "most dose"),
        ),
        "LampBatches": (*BATCH, text("note", "parts mated too late")),
        "LampWarnings": WARNINGS,
    },
    ("day", "shift", "station"),
    needed={"LampChecks": ("time", "low"), "LampBatches": ("batch", "part"), "LampWarnings": ("warning",)},
    computed={"LampChecks": (text("within_limits", "whether the dose read lies between the limits"),)},
    written={"LampChecks": (READING, BY)},
    optional={"LampBatches": ("tightest_part", "mate_before", "note")},
)


def dose_limits(lamp: Lamp) -> PrintedLimits | None:
    """Target, least and most dose [J/cm²] as printed; None where the material states no dose.

    The target is the dose by plan where that lies between the limits, else the least that cures.
    """
    if lamp.dose is None:
        return None
    low = float(from_si(lamp.dose, "J/cm²"))
    is_right = lamp.given is not None and not lamp.is_short and not lamp.is_over
    target = float(from_si(lamp.given, "J/cm²")) if is_right and lamp.given is not None else low
    if lamp.most is not None:
        return printed_limits(low, target, float(from_si(lamp.most, "J/cm²")), FINEST)
    digits = digits_of(max(low / FIGURES, FINEST))
    least = Printed(low, digits, UP)
    return PrintedLimits(Printed(max(target, least), digits), least, None)


def lamp_board_content(plan: Plan, result: ShiftResult, stamp: str) -> Content | None:
    """The lamp board of a station; none where no lamp cures."""
    material, day = result.material, result.date
    if material.cure != LAMP:
        return None
    lamp = lamp_of(material, result.station)
    limits = dose_limits(lamp)
    row: Row = {} if limits is None else {"target": limits.target, "low": limits.low, "high": limits.high}
    return Content(
        LAMP_BOARD,
        {
            **shift_head(plan, result, stamp),
            "headline": shift_headline(plan, [result], lamp_headline(lamp)),
            **row,
            "irradiance": shop(lamp.irradiance, "mW/cm²"),
            "exposure_time": lamp.exposure,
            "least_time": lamp.least_time,
            "belt_speed": shop(lamp.belt, "mm/s"),
            "fastest_belt": shop(lamp.fastest_belt, "mm/s"),
            "basis": lamp_basis(lamp),
        },
        {
            "LampChecks": [
                {
                    "check": place,
                    "due": "after a pause" if place > 1 else "start of work",
                    "time": at(day, begun),
                    **row,
                }
                for place, (begun, _) in enumerate(result.calendar.intervals, 1)
            ],
            "LampBatches": [
                {
                    "batch": batch.number,
                    "part": batch.part,
                    "part_numbers": batch.numbers,
                    "begun": at(day, batch.begun),
                    "ended": at(day, batch.ended),
                    "tightest_part": batch.tightest.serial if batch.tightest else None,
                    "mate_before": at(day, batch.mate_before),
                    "note": batch_words(batch, day),
                }
                for batch in result.batches
            ],
            "LampWarnings": warning_rows(
                [
                    *findings_shown(
                        plan,
                        result,
                        played=lambda item: item.topic in OF_CURE,
                        planned=lambda item: item.topic == LAMP,
                    ),
                    *board_before(result),
                ],
                WARNING_WIDTH,
            ),
        },
    )


def lamp_headline(lamp: Lamp) -> str:
    """What matters first: the dose to read on a check strip."""
    limits = dose_limits(lamp)
    if limits is None or limits.low is None:
        return "No light dose is stated: see the data sheet"
    if limits.high is None:
        return f"Check strip: at least {limits.low.text} J/cm²"
    return f"Check strip: {limits.low.text} to {limits.high.text} J/cm²"


def lamp_basis(lamp: Lamp) -> str:
    """What dose and time rest on, and what is to be measured."""
    if lamp.irradiance is None:
        return "no irradiance is stated: measure it at the part"
    if lamp.exposure is None:
        return "least time from dose and irradiance of the plan"
    return "irradiance and time of the plan"


def layout(book: Book) -> None:
    """Dose and lamp, the check strips with boxes to write in, the batches."""
    form = book.page("Lamp", [8.4, 16.4, 17.5, 13, 11, 11, 11.5, 10, 10], landscape=False, standing=True)
    form.head()
    form.cards(("station", 2), ("material", 2), ("day", 2), ("shift", 1), ("hours", 2))
    form.cards(
        ("low", 2),
        ("target", 1),
        ("high", 2),
        ("exposure_time", 2),
        ("least_time", 2),
        forms={name: SPEED for name in ("exposure_time", "least_time")},
    )
    form.cards(
        ("irradiance", 2),
        ("belt_speed", 4),
        ("fastest_belt", 3),
        forms={"irradiance": "0", "belt_speed": SPEED, "fastest_belt": SPEED},
    )
    form.cards(("description", 2), ("basis", 3), ("prepared_by", 2), ("stamp", 2), small=True)
    form.section("Warnings")
    form.warnings("LampWarnings")
    form.section(
        "Check strips",
        "a strip or dosimeter through the lamp as the parts go; ▲ no: stop, tell the shift lead",
    )
    form.table(
        "LampChecks",
        [
            "check",
            "due",
            "time",
            "target",
            "low",
            "high",
            READING,
            Calculated(
                "within_limits",
                '=IF(OR({reading}="",{low}=""),"",'
                'IF(AND({reading}>={low},OR({high}="",{reading}<={high})),"yes","▲ no"))',
            ),
            BY,
        ],
        repeat=True,
        big=True,
        rows_high=20,
    )
    form.section(
        "Batches",
        "mate by: the first open time of the batch to end, before the lamp",
        of=("LampBatches", "mate_before"),
    )
    form.table(
        "LampBatches",
        ["batch", "part", "part_numbers", "begun", "ended", "tightest_part", "mate_before", "note"],
        repeat=True,
        marks="note",
    )
    form.sign_off(("Read by", "Checked by", "Released"))
    form.cautions()


SHEET = Sheet(LAMP_BOARD, layout, "lamp boards", "lamp_board.xlsx", of_station_shift=lamp_board_content)
