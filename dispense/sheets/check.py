"""Shot-check sheet: check shots of a shift, target and limits in grams, room for what was weighed."""

from __future__ import annotations

from ..base.fields import number, text, whole
from ..base.printed import Printed, PrintedLimits
from ..base.units import from_si
from ..plan.records import Plan
from ..shift.results import ShiftResult
from .layout import BY, ONE_DIGIT, Axes, Book, Calculated, Drawn, Written
from .pieces import at, shift_head, shift_headline
from .sheet import Sheet
from .spec import SHIFT_HEAD, Content, Row, SheetSpec, moment

WEIGHED = Written("Weighed [g]", "weighed")
A_ALONE = Written("A alone [g]", "a_alone")
B_ALONE = Written("B alone [g]", "b_alone")
RATIO = ("CheckShots", "b_per_100_a")  # the column of what the two alone say

SHOT_CHECK = SheetSpec(
    "shot_check",
    "shot_check.xlsx",
    "Shot-check sheet",
    "check shots of a shift: when, target and limits in grams, room for what was weighed",
    (
        *SHIFT_HEAD,
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
        number("ratio_mass", "", "parts B per 100 A by mass", labels=("B per 100 A by mass, target",)),
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
            text("b_per_100_a", "from A and B weighed alone"),
        )
    },
    written={"CheckShots": (WEIGHED, A_ALONE, B_ALONE, BY)},
)


def shot_check_content(plan: Plan, result: ShiftResult, stamp: str) -> Content:
    """The shot-check sheet of a station."""
    shot = result.check
    limits = shot.limits
    masses = {
        letter: from_si(shot.volume * share * result.components[letter].density, "g")
        for letter, share in result.shares.items()
    }
    checks = [event.clock for event in result.events if event.kind == "check"]
    two_part = len(masses) > 1
    row: Row = {"target": limits.target, "low": limits.low, "high": limits.high}
    return Content(
        SHOT_CHECK,
        {
            **shift_head(plan, result, stamp),
            "headline": shift_headline(plan, [result], check_headline(shot.count, limits)),
            **row,
            "mass": shot.single.target,
            "shots_together": shot.count,
            "volume": from_si(shot.volume * shot.count, "mL"),
            "mass_a": shot.printed(masses["a"]) if two_part else None,
            "mass_b": shot.printed(masses["b"]) if two_part else None,
            "ratio_mass": 100.0 * masses["b"] / masses["a"] if two_part else None,
            "density": from_si(result.density, "g/mL"),
            "limits_from": shot.basis,
            "scale_step": Printed(10.0**-limits.target.digits, limits.target.digits),
        },
        {
            "CheckShots": [
                {"check": place, "time": at(result.date, clock), **row}
                for place, clock in enumerate(checks, 1)
            ]
        },
        left_out={} if two_part else {"CheckShots": (A_ALONE.name, B_ALONE.name, RATIO[1])},
    )


def check_headline(count: int, limits: PrintedLimits, unit: str = "g") -> str:
    """What to weigh and between which limits, in the unit of the sheet's columns."""
    words = f"{limits.target.text} {unit}"
    if count > 1:
        words = f"{count} shots together: {words}"
    return words + (f"  ({limits.text} {unit})" if limits.text else ", no limits")


def layout(book: Book) -> None:
    """Target and limits, the checks with boxes to write in, what they say together, a run chart."""
    form = book.page(
        "Checks", [7, 16.6, 9, 8.5, 11.9, 11.9, 8.6, 8, 9, 9, 8.9], landscape=False, standing=True
    )
    form.head()
    form.cards(("station", 3), ("material", 3), ("day", 2), ("shift", 1), ("hours", 2))
    form.cards(("shots_together", 2), ("target", 2), ("low", 2), ("high", 2), ("scale_step", 3))
    form.cards(
        ("mass", 2),
        ("volume", 2),
        ("mass_a", 1),
        ("mass_b", 1),
        ("ratio_mass", 3),
        ("density", 2),
        forms={"ratio_mass": ONE_DIGIT},
    )
    form.cards(("description", 3), ("limits_from", 4), ("prepared_by", 2), ("stamp", 2), small=True)
    form.section(
        "Check shots",
        "weigh the shots named above on one cup",
        more=(7, "A and B apart only where the ratio is checked"),
        of=("CheckShots", A_ALONE.name),
    )
    form.table(
        "CheckShots",
        [
            "check",
            "time",
            "target",
            "low",
            "high",
            WEIGHED,
            Calculated(
                "within_limits",
                '=IF(OR({weighed}="",{low}="",{high}=""),"",'
                'IF(AND({weighed}>={low},{weighed}<={high}),"yes","▲ no"))',
            ),
            BY,
            A_ALONE,
            B_ALONE,
            Calculated(
                "b_per_100_a", '=IF(OR({a_alone}="",{b_alone}=""),"",100*{b_alone}/{a_alone})', ONE_DIGIT
            ),
        ],
        repeat=True,
        rows_high=17,
        in_order="time",
    )
    weighed, within, ratio, low = (
        form.area("CheckShots", name) for name in ("weighed", "within_limits", "b_per_100_a", "low")
    )
    finer = f"({form.here('scale_step')}/10)"  # a mean has one digit more than what is weighed
    for label, formula, digits in (
        ("Weighed, number of shots", f"=COUNT({weighed})", "0"),
        ("Mean [g]", f'=IF(COUNT({weighed})=0,"",ROUND(AVERAGE({weighed})/{finer},0)*{finer})', "General"),
        (
            "Range, largest less smallest [g]",
            f'=IF(COUNT({weighed})=0,"",ROUND((MAX({weighed})-MIN({weighed}))/{finer},0)*{finer})',
            "General",
        ),
        (
            "All within limits",
            f'=IF(OR(COUNT({weighed})=0,COUNT({low})=0),"",'
            f'IF(COUNTIF({within},"yes")=COUNT({weighed}),"yes","▲ no"))',
            "General",
        ),
        ("Mean of B per 100 A by mass", f'=IF(COUNT({ratio})=0,"",AVERAGE({ratio}))', ONE_DIGIT),
    ):
        form.figure(label, formula, digits, 5, RATIO if ratio in formula else None)
        form.skip()
    form.section("Run chart")
    form.lines(
        "CheckShots",
        "time",
        (
            Drawn("weighed", "weighed", "marked"),
            Drawn("target", "target", "solid"),
            Drawn("low", "lower limit", "dash"),
            Drawn("high", "upper limit", "lgDash"),
        ),
        Axes("Clock time of the check shot", "Mass weighed [g]", "hh:mm", "[<10]0.00;0.0"),
        at=form.room(6),
        size=(19.4, 3.1),
    )
    form.section(
        "If a weight is outside its limits", "common practice, no source; the plant's own rule goes first"
    )
    form.put(1, "Stop. Set the last part aside, clear the nozzle, weigh a second time the same shots.")
    form.skip()
    form.put(1, "Outside again: hold all parts since the last check within limits, tell the shift lead.")
    form.skip()
    form.put(1, "Go on when the cause is found and a check is within; write both weights and the time.")
    form.skip()
    form.sign_off(("Weighed by", "Checked by", "Released"))
    form.cautions()


SHEET = Sheet(SHOT_CHECK, layout, "shot-check sheets", "shot_check.xlsx", of_station_shift=shot_check_content)
