"""What several sheets say alike: heads, clock times, lives, amounts, findings in lines."""

from __future__ import annotations

import datetime
import re
import textwrap
from collections.abc import Callable, Iterable, Sequence

from ..base.clock import hhmm, last_second, next_minute
from ..base.fields import Field, number, text, whole
from ..base.findings import DANGER, MARKS, Finding, gravest_first
from ..base.language import translated
from ..base.measures import temperature_told
from ..base.numbers import EQUAL
from ..base.printed import lower_figure
from ..base.units import LONGEST, ONE_TEMPERATURE, duration_text, from_si, told_volume_text
from ..plan.amounts import Amount
from ..plan.cautions import cautions_text
from ..plan.materials import WorkingLife
from ..plan.records import Plan
from ..plan.tables import PURGE
from ..reports.findings import station_findings
from ..shift.results import CATEGORIES, UNMIXED, ShiftResult
from ..shift.setup import SetupCard
from ..shift.store import NANO
from .spec import Row, Value

ML = NANO / 10**6  # nanolitres in a millilitre
_SHORT = 10  # up to which a ratio of whole numbers is told as such (common practice, no source)
PAGE_WIDTH = 118  # characters of a line over the page

# ----------------------------------------------------------------------------------------- heads


def head(plan: Plan, stamp: str) -> Row:
    """What every sheet begins with."""
    settings = plan.settings
    return {
        "plant": settings["plant"],
        "line": settings["line"],
        "prepared_by": settings["prepared_by"],
        "revision": plan.revision.text if plan.revision else None,
        "stamp": stamp,
    }


def shift_head(plan: Plan, result: ShiftResult, stamp: str) -> Row:
    """What every sheet of one station and shift begins with."""
    return {
        **head(plan, stamp),
        "day": result.date,
        "shift": result.shift,
        "hours": hours(result),
        "station": result.station.station,
        "material": result.material.material,
        "description": result.material.description,
        "cautions": cautions(plan, result),
    }


def cautions(plan: Plan, work: ShiftResult | SetupCard) -> str:
    """The cautions of a station's material, those on cells where its pots hold some."""
    station = work.station.station
    has_cells = any(pot.station == station and pot.cells for pot in plan.pots)
    return cautions_text(work.material, cells=has_cells)


# ----------------------------------------------------------------------------------------- times


def at(day: datetime.date, clock: float | None) -> datetime.datetime | None:
    """Clock seconds of a day as date and time, to the second."""
    if clock is None or not abs(clock) < LONGEST:
        return None
    midnight = datetime.datetime.combine(day, datetime.time())
    return midnight + datetime.timedelta(seconds=last_second(clock))


def hours(result: ShiftResult) -> str:
    """Start to end of a shift; an end after midnight with its date."""
    calendar, day = result.calendar, result.date
    return f"{hhmm(calendar.start, day)}–{hhmm(calendar.end, day)}"


def from_on(day: datetime.date, clock: float | None) -> datetime.datetime | None:
    """From when on something may be done, as date and time: a whole minute, never too early."""
    return None if clock is None else at(day, next_minute(clock))


def life_text(life: WorkingLife | None, temperatures: Sequence[float], *more: str) -> str:
    """Pot life over a range of temperatures, with what it rests on and `more` words."""
    if life is None:
        return "no pot life: one-part"
    cold, hot = min(temperatures), max(temperatures)
    words = duration_text(life.at(hot))
    if hot - cold >= ONE_TEMPERATURE:
        words += f" at {temperature_told(hot)}, {duration_text(life.at(cold))} at {temperature_told(cold)}"
    else:
        words += f" at {temperature_told(hot)}"
    marks = [*life.marks(cold, hot, told=temperature_told), *more]
    return words + (f" ({'; '.join(marks)})" if marks else "")


def rule_text(work: ShiftResult | SetupCard) -> str:
    """What is done when the limit of pot life is reached."""
    station = work.station
    if work.life is None or station.mixer_volume <= 0.0:
        return "no limit in the mixer"
    at_share = f"at {lower_figure(100.0 * station.purge_share)}% of the pot life"
    if station.rule == PURGE:
        return f"purge {told_volume_text(station.purge_volume or station.mixer_volume)} {at_share}"
    return f"change the mixer {at_share}"


# --------------------------------------------------------------------------------------- amounts


def shop(value: float | None, unit: str) -> float | None:
    """An SI number in the unit of a sheet; nothing stays nothing."""
    return None if value is None else float(from_si(value, unit))


def amount_ml(amount: Amount) -> tuple[float, float, float]:
    """Nominal, low and high in mL."""
    return from_si(amount.nominal, "mL"), from_si(amount.low, "mL"), from_si(amount.high, "mL")


def ratio_text(parts_b: float) -> str:
    """A mixing ratio A : B from the parts of B to 100 of A, in small whole numbers too where it has such.

    >>> ratio_text(25.0), ratio_text(100 / 3), ratio_text(80.0), ratio_text(45.764)
    ('4 : 1 (100 : 25)', '3 : 1 (100 : 33.33)', '5 : 4 (100 : 80)', '100 : 45.76')
    """
    words = f"100 : {parts_b:.4g}"
    for b in range(1, _SHORT + 1):
        a = round(100.0 * b / parts_b)
        if 1 <= a <= _SHORT and abs(100.0 * b - a * parts_b) < EQUAL * 100.0 * b:
            return f"{a} : {b} ({words})"
    return words


def letter_name(letter: str, letters: Sequence[str]) -> str:
    """How a component is called: A or B; the only one of a one-part material is "one-part"."""
    return letter.upper() if len(letters) > 1 else "one-part"


def mass_drawn(result: ShiftResult, letter: str) -> float:
    """Mass used of a component [kg]."""
    return result.drawn(letter) / NANO * float(result.components[letter].density)


def mixed_drawn(result: ShiftResult) -> int:
    """Mixed material drawn: without heels, rests and what has expired [nL]."""
    return sum(result.dispensed(name) for name in CATEGORIES if name not in UNMIXED)


def mixed_mass(result: ShiftResult) -> float:
    """The same as mass [kg]."""
    return mixed_drawn(result) / NANO * result.density


_USE_LABELS = {"start": "Start-up loss", "end": "Shut-down loss", "mixers": "Lost in mixers"}

#: what a component is used for, from what stands there to what is left
USE: tuple[Field, ...] = (
    text("component", "component"),
    number("opening", "mL", "stands at the station"),
    whole("containers", "containers connected, those that are missing too"),
    number("mounted", "mL", "their content", labels=("Connected",)),
    *(
        number(name, "mL", f"goes to {name}", labels=(_USE_LABELS[name],) if name in _USE_LABELS else ())
        for name in CATEGORIES
    ),
    number(
        "closing",
        "mL",
        "stands at the end, in containers, hoses and mixers kept closed",
        labels=("Left at end",),
    ),
    number("drawn", "mL", "used, all together", labels=("Used",)),
)


def use_row(result: ShiftResult, letter: str) -> dict[str, Value]:
    """What a component of a shift was used for, from what stood there to what is left."""
    used = result.used[letter]
    return {
        "component": letter_name(letter, result.letters),
        "opening": result.opening[letter] / ML,
        "containers": result.containers[letter],
        "mounted": result.mounted[letter] / ML,
        **{name: used[name] / ML for name in CATEGORIES},
        "closing": result.closing[letter] / ML,
        "drawn": result.drawn(letter) / ML,
    }


def handover_rows(result: ShiftResult, *, parts_only: bool = False) -> list[Row]:
    """What a shift takes over and hands over."""
    rows: list[Row] = [
        {
            "way": way,
            "what": item.what,
            "part": item.part,
            "part_numbers": item.numbers,
            "count": item.count or None,
            "volume": item.volume / ML if item.volume else None,
            "next_step": (at if item.is_planned else from_on)(result.date, item.following),
            "latest": at(result.date, item.latest),
        }
        for way, items in (("taken over", result.taken_over), ("handed over", result.handed_over))
        for item in items
        if item.part or not parts_only
    ]
    return rows or [{"way": "–", "what": "no part in process" if parts_only else "nothing stands here"}]


# -------------------------------------------------------------------------------------- findings


NOTHING_USABLE = "nothing usable in store"
STILL_LACKING = "lacking since a shift before"


def instead_of_lots(result: ShiftResult, letters: Iterable[str], enough: str) -> str:
    """What stands where no lot is to be brought."""
    if any(result.missing.get(letter) for letter in letters):
        return NOTHING_USABLE
    return STILL_LACKING if any(result.owed.get(letter) for letter in letters) else enough


ALARM = "▲ DANGER, see the setup card. "


def alarmed(plan: Plan, stations: Iterable[str], headline: str) -> str:
    """A headline that says first that the plan of one of the stations is dangerous, where it is."""
    is_danger = any(item.kind == DANGER for name in stations for item in station_findings(plan, name))
    return ALARM + headline if is_danger else headline


def shift_headline(plan: Plan, results: Sequence[ShiftResult], headline: str) -> str:
    """The headline of a shift's sheet, of one or more stations: danger first, then from when on it holds."""
    first = results[0]
    if first.since is not None:
        headline = f"From {hhmm(first.since, first.date)}: {headline}"
    return alarmed(plan, [result.station.station for result in results], headline)


def findings_shown(
    plan: Plan, result: ShiftResult, played: Callable[[Finding], bool], planned: Callable[[Finding], bool]
) -> list[Finding]:
    """What a sheet of one shift shows: findings of the shift and of the station's plan; dangers always."""
    of_plan = station_findings(plan, result.station.station)
    return gravest_first(
        [
            *(item for item in result.findings if item.kind == DANGER or played(item)),
            *(item for item in of_plan if item.kind == DANGER or planned(item)),
        ]
    )


def found_at_start(plan: Plan, results: Sequence[ShiftResult]) -> list[Finding]:
    """What is to be looked at of what stands as playing begins.

    It is that of stations of which this is the first shift, and in the first shift of all what is of no
    station: the stock.
    """
    begin = [result for result in results if result.is_first]
    names = {result.station.station for result in begin}
    is_first_of_all = bool(begin) and (begin[0].date, begin[0].shift) == plan.days()[0]
    return [item for item in plan.at_start if (item.station in names if item.station else is_first_of_all)]


def warning_rows(findings: Iterable[Finding], width: int) -> list[Row]:
    """Findings as rows of a table of warnings, in lines of so many characters."""
    rows: list[Row] = [
        {"warning": line} for finding in findings for line in finding_lines(finding, marked(finding), width)
    ]
    return rows or [{"warning": translated("no warning")}]


def station_warning_rows(findings: Iterable[Finding]) -> list[Row]:
    """Findings of several stations as rows, the gravest first, each station named in its first line."""
    rows: list[Row] = [
        {"station": "" if place else finding.station, "warning": line}
        for finding in gravest_first(findings)
        for place, line in enumerate(finding_lines(finding, marked(finding)))
    ]
    return rows or [{"station": "", "warning": translated("no warning")}]


def said(finding: Finding) -> str:
    """What is the matter and what to do, in the language that is printed."""
    return (
        f"{translated(finding.text)}: {translated(finding.fix)}" if finding.fix else translated(finding.text)
    )


def marked(finding: Finding) -> str:
    """A finding as a sheet prints it: the word of its kind, what, what to do.

    >>> marked(Finding(DANGER, "529 bar, limit 90 bar", "wider nozzle"))
    '▲ DANGER: 529 bar, limit 90 bar: wider nozzle'
    """
    return f"{'▲ ' if finding.is_warning else ''}{translated(MARKS[finding.kind])}: {said(finding)}"


def finding_lines(finding: Finding, words: str, width: int = PAGE_WIDTH) -> list[str]:
    """The words of a finding in lines of so many characters.

    A line that goes on begins with blanks where the finding warns: the sheets tell it apart by colour
    with the line before. That of a note begins with two, which are not coloured.
    """
    first, *rest = folded(words, width)
    return [first, *(rest if finding.is_warning else (f"  {line.strip()}" for line in rest))]


_HARD = "\u00a0"  # a blank at which no line ends
_BEFORE_UNIT = re.compile(  # units have three letters at most
    r"(?<=\d) (?=°|%|[^\W\d_]{1,3}(?![^\W\d_]))|(?<=\d fl) (?=oz)"
)


def folded(words: str, width: int = PAGE_WIDTH) -> list[str]:
    """A text in lines that fit on a page; what goes on begins with blanks, and no unit leaves its number.

    >>> folded("cells bear 60 °C at most", 14)
    ['cells bear', '   60 °C at', '   most']
    """
    kept = _BEFORE_UNIT.sub(_HARD, words)
    lines = textwrap.wrap(kept, width, subsequent_indent="   ", break_on_hyphens=False) or [""]
    return [line.replace(_HARD, " ") for line in lines]
