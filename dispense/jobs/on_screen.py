"""What a spreadsheet's menu does with the plan that is open in it, from what is on the screen.

`COMMANDS` is the menu. Each command asks its host (see `document`), runs the job that the command line
runs, on a copy of the open tables, and tells in the pane what came of it. Nothing is written into the plan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

from ..base.errors import DispenseError, InputError, Problem
from ..base.file_names import safe_name
from ..base.findings import STOP, Finding
from ..base.language import said_problem, translated
from ..base.printed import counted, listed
from ..plan.records import Plan
from .desk import Answers, Desk, asked, findings_lines, marks_of, on_disk, spoken_in, tally_words
from .document import FILES, TEXT, Line, Pane, Question, going_on, problem_line, saved_place

__all__ = ["COMMANDS", "SOON", "Command", "run", "show_check"]

SOON = 0.15  # s after which the findings of some stations are shown, before all are worked out
ALL = "all"  # the choice that keeps to nothing


# ------------------------------------------------------------------------------------------ check


def check(desk: Desk, given: Answers) -> None:
    """Problems and findings, marked on their cells and listed."""
    desk.is_checking = True
    desk.look()
    begun = perf_counter()
    for _ in desk.seek():
        if desk.waiting and perf_counter() - begun > SOON:
            show_check(desk)
            begun = perf_counter()
    show_check(desk)


def show_check(desk: Desk) -> None:
    """Marks and pane as far as they are known: findings follow when they are worked out."""
    with spoken_in(desk):
        headline, lines = _checked(desk)
    desk.host.mark(marks_of(lines))
    desk.host.show(Pane(headline, lines))


def _checked(desk: Desk) -> tuple[str, list[Line]]:
    """What the pane says of a plan, in the language that is printed."""
    assert desk.plan is not None
    if desk.problems:
        count = counted(len(desk.problems), "problem")
        headline = translated(f"{count}: nothing can be reckoned before they are mended")
        return headline, [problem_line(problem) for problem in desk.problems]
    lines = findings_lines(desk.plan, desk.findings or ())
    size = counted(len(desk.plan.builds), "build")
    if desk.findings is None:
        words = translated("no problems; findings are being worked out")
    else:
        words = tally_words(desk.findings)
    if desk.waiting:
        words += f"; {translated(f'still being worked out: {listed(desk.waiting)}')}"
    stations = counted(len(desk.plan.stations), "station")
    return f"{translated(f'{size} at {stations}')}: {words}", lines


def _show(desk: Desk, headline: str, lines: Sequence[Line] = ()) -> None:
    """Into the pane, the headline in the language of the windows."""
    with spoken_in(desk):
        desk.host.show(Pane(translated(headline), lines))


def unmark(desk: Desk, given: Answers) -> None:
    """No marks any more, until the next check."""
    desk.is_checking = False
    desk.host.mark([])
    _show(desk, "marks are off")


# --------------------------------------------------------------------------------- the other jobs


def _days(plan: Plan) -> list[str]:
    return [str(day) for day in sorted({day for day, _ in plan.days()})]


def _stations(plan: Plan) -> list[str]:
    return [row.station for row in plan.stations]


def fill(desk: Desk, given: Answers) -> None:
    """The sheets of a day, shift and station, from what is on the screen; the first is opened."""
    from .fill import fill as fill_plan

    plan = desk.sound_plan()
    place = saved_place(desk.host)
    days = _days(plan)
    if not days:
        raise InputError(Problem("Fill", message="the plan has no builds, so there is no shift to fill"))
    shifts = [row.shift for row in plan.shifts]
    told = asked(
        desk,
        "Fill",
        [
            Question("day", "Day", [*days, ALL], days[0], words=(ALL,)),
            Question("shift", "Shift", [*shifts, ALL], ALL, words=(ALL,)),
            Question("station", "Station", [*_stations(plan), ALL], ALL, words=(ALL,)),
        ],
        given,
    )
    if told is None:
        return
    day, shift, station = (None if told[key] == ALL else told[key] for key in ("day", "shift", "station"))
    desk.host.release(place.with_name(f"{place.stem}_sheets"))
    with on_disk(desk.host, desk.grids) as path:
        report = fill_plan(
            path,
            date=day,
            shift=shift,
            stations=None if station is None else [station],
            progress=going_on(desk.host),
            saved_as=place,
        )
    with spoken_in(desk):
        lines = findings_lines(plan, (item for item in report.findings if item.is_warning))
        lines += [Line(f"{translated('note')}: {translated(words)}") for words in report.notes]
        lost = translated("not written")
        lines += [Line(f"{lost}: {said_problem(one)}", kind=STOP) for one in report.not_written]
    lines += [Line(str(file.relative_to(report.folder)), file=str(file)) for file in report.files]
    first = next((file for file in report.files if file.name.endswith("_material.xlsx")), None)
    opened = first or next(iter(report.files), None)
    _show(desk, f"{counted(len(report.files), 'file')} in {report.folder}", lines)
    if opened is not None:
        desk.host.open(opened)


def forecast(desk: Desk, given: Answers) -> None:
    """Weeks ahead: stock, orders, what runs out; the workbook is opened."""
    from .forecast import forecast_file

    plan = desk.sound_plan()
    place = saved_place(desk.host)
    told = asked(desk, "Forecast", [Question("weeks", "Weeks", default="4", kind=TEXT)], given)
    if told is None:
        return
    out = place.with_name(f"{place.stem}_forecast.xlsx")
    desk.host.release(out)
    with on_disk(desk.host, desk.grids) as path:
        found = forecast_file(
            path,
            weeks=_whole(told["weeks"], "Forecast", "weeks"),
            out=out,
            progress=going_on(desk.host),
            saved_as=place,
        )
    _tell(desk, plan, found.findings, out, found.headline())


def _whole(text: str, where: str, name: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise InputError(Problem(where, name, text, "a whole number 1 or more")) from None


def cure(desk: Desk, given: Answers) -> None:
    """The cure report of a station; its workbook is opened."""
    from .cure import cure_file

    plan = desk.sound_plan()
    place = saved_place(desk.host)
    stations = _stations(plan)
    told = asked(desk, "Cure", [Question("station", "Station", stations, stations[0])], given)
    if told is None:
        return
    out = place.with_name(f"{place.stem}_{safe_name(told['station'])}_cure.xlsx")
    desk.host.release(out)
    report = cure_file(plan, told["station"], out=out, progress=going_on(desk.host))
    _tell(desk, plan, report.findings, out)


def compare(desk: Desk, given: Answers) -> None:
    """Every set of the table Choices side by side; the workbook is opened."""
    from .compare import compare_file

    plan = desk.sound_plan()
    place = saved_place(desk.host)
    out = place.with_name(f"{place.stem}_compare.xlsx")
    desk.host.release(out)
    with on_disk(desk.host, desk.grids) as path:
        report = compare_file(path, out=out, progress=going_on(desk.host), saved_as=place)
    _tell(desk, plan, report.findings, out)


def book(desk: Desk, given: Answers) -> None:
    """Filled sheets, weights and counts that came back, into the journal beside the plan."""
    from .book import book_files

    place = saved_place(desk.host)
    told = asked(desk, "Book what came back", [Question("files", "Files that came back", kind=FILES)], given)
    if told is None or not told["files"].strip():
        return
    files = [line for line in told["files"].splitlines() if line.strip()]
    report = book_files(place, files)  # the journal names the saved plan that it was booked with
    with spoken_in(desk):
        lines = [Line(translated(text)) for text in report.as_text().splitlines()]
    booked = sum(item.booking is not None for item in report.files)
    headline = f"{booked} of {counted(len(files), 'file')} booked into {report.journal.name}"
    _show(desk, headline, lines)


def _tell(desk: Desk, plan: Plan, findings: Sequence[Finding], out: Path, answer: Sequence[str] = ()) -> None:
    """The answer and the findings of a report in the pane, and its workbook beside the plan."""
    warnings = [item for item in findings if item.is_warning]
    with spoken_in(desk):
        told = [Line(translated(text)) for text in answer]
        of_text = dict(zip(findings_lines(plan, warnings), warnings, strict=True))  # of many sets once
        lines = [Line(out.name, file=str(out)), *told, *of_text]
        desk.host.show(Pane(f"{out.name}: {tally_words(of_text.values())}", lines))
    desk.host.open(out)


# ------------------------------------------------------------------------------------- the menu


@dataclass(frozen=True, slots=True)
class Command:
    """An entry of the menu: its name, its words, what it does in one sentence, what runs."""

    name: str
    label: str
    help: str
    run: Callable[[Desk, Answers], None]


def _live(desk: Desk, given: Answers) -> None:
    from .live import open_station

    open_station(desk, given)


def _calculate(desk: Desk, given: Answers) -> None:
    from .calculation import open_calculation

    open_calculation(desk, given)


def _formulas(desk: Desk, given: Answers) -> None:
    from .formulas import look_at_formulas

    look_at_formulas(desk, given)


COMMANDS = {
    item.name: item
    for item in (
        Command("check", "Check", "Mark problems and findings on their cells and list them.", check),
        Command("unmark", "Marks off", "Take the marks away.", unmark),
        Command("fill", "Fill sheets…", "Fill the sheets of a day, shift and station and open them.", fill),
        Command(
            "station",
            "Try a station…",
            "Change takt, temperature, lot or width of a station on a sheet beside the plan, which stays.",
            _live,
        ),
        Command(
            "calculate",
            "Calculation sheets",
            "Sheets to reckon on: pick a bead, pot, station or material and type over what it has.",
            _calculate,
        ),
        Command("forecast", "Forecast…", "Stock, orders and what runs out over the weeks to come.", forecast),
        Command("cure", "Cure…", "The cure report of a station.", cure),
        Command("compare", "Compare", "Every set of the table Choices side by side.", compare),
        Command(
            "formulas",
            "Look at formulas…",
            "Cells whose functions give an error, with the reason, and formulas that read whole columns.",
            _formulas,
        ),
        Command("book", "Book what came back…", "Read filled sheets, weights and counts.", book),
    )
}


def run(desk: Desk, name: str, given: Answers | None = None) -> None:
    """Run a command; whatever is wrong stands in the pane, cells of the plan marked."""
    try:
        COMMANDS[name].run(desk, given or {})
    except DispenseError as error:
        with spoken_in(desk):
            lines = [problem_line(problem) for problem in error.problems]
            label = translated(COMMANDS[name].label.rstrip("…"))
            headline = f"{label}: {translated('not done')}"
        if desk.problems:
            desk.host.mark(marks_of(lines))
        desk.host.show(Pane(headline, lines))
