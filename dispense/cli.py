"""The command line: parse, one library call, print.

Exit codes are those of `EXIT_CODES`. Results and findings go to standard output, problems, notes and
progress to standard error.
"""

from __future__ import annotations

import argparse
import datetime
import io
import os
import re
import signal
import sys
import time
import warnings
from collections.abc import Sequence
from typing import Any, NoReturn

from . import __version__
from .base.findings import BAD_INPUT, DONE, NOT_WRITTEN, USAGE, Finding, exit_code, tally
from .base.language import languages
from .base.paper import PAPERS

EXIT_CODES = (
    "Exit codes: 0 done; 1 the input has problems; 2 the command was not understood; 3 done, and the plan "
    "holds a danger or what stops the line; 4 done, and stock does not suffice; 5 some files were not "
    "written. Of 3, 4 and 5 the lowest that applies (check, fill, forecast, cure, compare)."
)
#: forms of `fit`, those of `reports.fit.CHOICES` (told here so that help loads no numbers)
FIT_FORMS = (
    "arrhenius",
    "n-th",
    "kamal",
    "kamal-ceiling",
    "n-th-factor",
    "kamal-factor",
    "n-th-resistance",
    "kamal-resistance",
)
INTERRUPTED, TERMINATED = 130, 143  # 128 and the number of the signal, as shells tell it (POSIX)
OLD_NAMES = {"respell": "convert"}  # commands as they were called: understood, no longer shown
PLAN_HELP = "the plan workbook; it is never changed"


#: an example of each command that has none of its own below its options
EXAMPLES = {
    "new": "dispense new plan.xlsx --demo",
    "check": "dispense check plan.xlsx",
    "fill": "dispense fill plan.xlsx --out sheets --date 2026-03-02",
    "forecast": "dispense forecast plan.xlsx --weeks 6 --out forecast.xlsx",
    "cure": 'dispense cure plan.xlsx --station "Hem robot" --out cure.xlsx',
    "compare": "dispense compare plan.xlsx --out compare.xlsx",
    "fit": "dispense fit tests.csv --form kamal --out fit.xlsx",
    "functions": "dispense functions BEAD_VOLUME",
    "call": "dispense call BEAD_AREA round 4",
    "addin": "dispense addin install --host calc",
    "convert": "dispense convert sheet.xlsx --host excel --out sheet_excel.xlsx",
}
_NO_CHOICE = re.compile(r"invalid choice: '([^']*)' \(choose from (.*)\)")


class _Parser(argparse.ArgumentParser):
    """A parser that says which of its words was meant."""

    def error(self, message: str) -> NoReturn:
        """End with what is wrong, and the word that resembles the one given."""
        found = _NO_CHOICE.search(message)
        if found:
            message += _meant(found[1], re.findall(r"[\w-]+", found[2]))
        super().error(message)

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """As argparse has it, but a command says itself which of its options it does not know."""
        options, rest = super().parse_known_args(args, namespace)
        if rest:
            known = [name for name in self._option_string_actions if name.startswith("--")]
            unknown = [word.partition("=")[0] for word in rest if word.startswith("--")]
            message = f"unrecognized arguments: {' '.join(rest)}"
            self.error(message + (_meant(unknown[0], known) if unknown else ""))
        return options, rest


def _meant(word: str, known: Sequence[str]) -> str:
    """The known word that one given resembles, as a question."""
    from .base.naming import nearest

    near = nearest(word, known)
    return f"; did you mean {near}?" if near else ""


def _complete(name: str, command: argparse.ArgumentParser, words: str) -> None:
    """The help of a command: a sentence before its options and an example below them."""
    command.description = command.description or f"{words[:1].upper()}{words[1:]}."
    if name in EXAMPLES:
        command.epilog = f"Example: {EXAMPLES[name]}. {command.epilog or ''}".strip()


def parser() -> argparse.ArgumentParser:
    """The commands and their options."""
    top = _Parser(
        prog="dispense",
        description="Plan adhesive, sealant, thermal paste and potting compound at a takt.",
        epilog="Start with: dispense new plan.xlsx --demo, then dispense fill plan.xlsx --out sheets. "
        + EXIT_CODES,
    )
    top.add_argument("--version", action="version", version=f"dispense {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)

    new = commands.add_parser("new", help="write a new plan workbook")
    new.add_argument("plan", help="file to write; an existing file is never overwritten")
    new.add_argument("--demo", action="store_true", help="filled with the invented demo plant")
    new.set_defaults(run=_new)

    check = commands.add_parser("check", help="say everything that is wrong with a plan", epilog=EXIT_CODES)
    _plan(check)
    check.add_argument(
        "--against", metavar="FILE", help="the last good version: what jumped, is gone or is another since"
    )
    _sources(check)
    _as_of(check)
    _json(check)
    check.set_defaults(run=_check)

    fill = commands.add_parser(
        "fill",
        help="compute a plan and fill its sheets",
        description="Compute a plan and fill its sheets. What was filled in by hand into a sheet of an "
        "earlier fill in the same folder is carried over where its row still says the same; where not, the "
        "old sheet is kept beside the new one.",
        epilog=EXIT_CODES,
    )
    _plan(fill)
    _sources(fill)
    _as_of(fill)
    fill.add_argument(
        "--out", metavar="DIR", help="folder for the sheets (default: a folder named after the plan)"
    )
    fill.add_argument("--date", metavar="YYYY-MM-DD", help="one day (default: all days)")
    fill.add_argument("--shift", metavar="NAME", help="one shift (default: all shifts)")
    fill.add_argument(
        "--station",
        metavar="NAME",
        action="append",
        help="one station; may be given again (default: all stations)",
    )
    fill.add_argument(
        "--now", metavar="HH:MM", help="the rest of a shift from now on (with --date and --shift)"
    )
    fill.add_argument(
        "--done",
        action="append",
        default=[],
        metavar="[STATION:][PART=]N",
        help="with --now: parts started and off the nozzle by then, of all parts or of each; one whose "
        "next shot is still to come counts",
    )
    fill.add_argument(
        "--mixer",
        action="append",
        default=[],
        metavar="[STATION[/NOZZLE]:]HH:MM",
        help='with --now: when the mixer in use was fitted, or its age ("25 min"), where it differs; '
        "given again for each nozzle in order",
    )
    fill.add_argument(
        "--left",
        action="append",
        default=[],
        metavar="[STATION:]A=mL",
        help="with --now: what the container of a component holds, its heel with it, where it differs",
    )
    fill.add_argument(
        "--connected",
        dest="mounted",
        action="append",
        default=[],
        metavar="[STATION:]A=LOT",
        help="with --now: the lot that is connected, where it differs",
    )
    fill.add_argument("--mounted", action="append", default=argparse.SUPPRESS, help=argparse.SUPPRESS)
    fill.add_argument(
        "--stop",
        action="append",
        default=[],
        metavar='"HH:MM 35 min"',
        help="a time in which the line stands",
    )
    fill.add_argument(
        "--stamp", metavar="TEXT", help="printed on each sheet (default: it follows from the inputs)"
    )
    fill.add_argument("--templates", metavar="DIR", help="folder with the plant's own templates")
    _paper(fill)
    _tables(fill)
    _unattended(fill)
    fill.add_argument(
        "--language",
        metavar="CODE",
        help=f"{', '.join(languages())}, or a word list fr.csv (default: that of the plan's Settings)",
    )
    _side_by_side(fill)
    fill.add_argument(
        "--open", action="store_true", help="write into the workbook open in the spreadsheet (Windows, macOS)"
    )
    _json(fill)
    fill.set_defaults(run=_fill)

    forecast = commands.add_parser(
        "forecast", help="consumption, stock and orders over weeks", epilog=EXIT_CODES
    )
    _plan(forecast)
    forecast.add_argument(
        "--weeks", type=int, default=4, metavar="N", help="calendar weeks from the first build (default: 4)"
    )
    forecast.add_argument("--out", metavar="FILE", help="workbook, .csv or .json to write")
    _sources(forecast)
    _as_of(forecast)
    forecast.add_argument(
        "--learned",
        action="append",
        default=[],
        metavar="NAME",
        help="count on a figure as dispense learn shows it, scrap:STATION, purges:STATION or "
        "demand-spread:all; or on all of these that differ by more than noise: all; may be given again",
    )
    forecast.add_argument(
        "--runs", dest="draws", type=int, default=500, metavar="N", help="simulation runs (default: 500)"
    )
    forecast.add_argument("--draws", type=int, default=argparse.SUPPRESS, help=argparse.SUPPRESS)  # before
    forecast.add_argument(
        "--seed", type=int, default=1, metavar="N", help="the same seed gives the same figures (default: 1)"
    )
    forecast.add_argument(
        "--upload", metavar="FILE", help="orders to place, in the shape that another system takes"
    )
    forecast.add_argument(
        "--columns",
        metavar="LIST",
        help='columns of that file, such as "Article=item, quantity, unit, due date" (default: of Settings)',
    )
    _paper(forecast)
    _tables(forecast)
    _unattended(forecast)
    _manifest(forecast)
    _side_by_side(forecast)
    _json(forecast)
    forecast.set_defaults(run=_forecast)

    _add_floor(commands)

    cure = commands.add_parser(
        "cure", help="pot life, cure and heat of a station's material", epilog=EXIT_CODES
    )
    _plan(cure)
    cure.add_argument(
        "--station", metavar="NAME", help="station whose material is looked at (default: all of them)"
    )
    cure.add_argument(
        "--date",
        metavar="YYYY-MM-DD",
        type=datetime.date.fromisoformat,
        help="one day (default: all that holds at the station while the plan is built, by table Validity)",
    )
    cure.add_argument(
        "--record", metavar="FILE", help="shop temperatures of the station from a CSV of times and °C"
    )
    cure.add_argument(
        "--log", metavar="FILE", help="a thermocouple's log through the oven, CSV of minutes and °C"
    )
    cure.add_argument(
        "--out", metavar="PATH", help="workbook to write; without --station a folder for one each"
    )
    cure.add_argument(
        "--write-shots",
        metavar="FILE",
        help="new plan workbook with the proposed shots of the station's pots; asks for --station",
    )
    _paper(cure)
    _json(cure)
    cure.set_defaults(run=_cure)

    compare = commands.add_parser(
        "compare",
        help="what may be chosen (table Choices), side by side",
        epilog=EXIT_CODES + " Of compare those of the plan as it is.",
    )
    _plan(compare)
    _sources(compare)
    _as_of(compare)
    compare.add_argument(
        "--station", metavar="NAME", help="station that is chosen for (default: all with rows in Choices)"
    )
    for option, words in (("from", "first"), ("to", "last")):
        compare.add_argument(
            f"--{option}",
            dest=words,
            metavar="YYYY-MM-DD",
            type=datetime.date.fromisoformat,
            help=f"{words} day of the builds that count (default: the plan's {words})",
        )
    compare.add_argument("--out", metavar="FILE", help="workbook to write")
    _side_by_side(compare)
    _paper(compare)
    _tables(compare)
    _unattended(compare)
    _manifest(compare)
    _json(compare)
    compare.set_defaults(run=_compare)

    fit = commands.add_parser("fit", help="activation energy or kinetics from a table of tests")
    fit.add_argument(
        "measurements",
        help="CSV: columns Temperature and Time, or Time, Temperature and Degree; a header may carry a unit",
    )
    fit.add_argument(
        "--form",
        choices=FIT_FORMS,
        default="arrhenius",
        help="what is fitted (default: arrhenius); a factor or a resistance stops the cure by diffusion",
    )
    fit.add_argument(
        "--glass",
        nargs=3,
        metavar=("TG0", "TG1", "LAMBDA"),
        help="glass transition in °C, uncured and cured, and DiBenedetto's ratio, for a resistance",
    )
    fit.add_argument(
        "--at",
        default=23.0,
        metavar="°C",
        help="temperature of the shop or of the pour, at which the rate and its interval are told "
        "(default: 23)",
    )
    fit.add_argument("--out", metavar="FILE", help="workbook with the residual plot to write")
    _paper(fit)
    _json(fit)
    fit.set_defaults(run=_fit)

    _add_path(commands)

    functions = commands.add_parser("functions", help="list the workbook functions")
    functions.add_argument("name", nargs="?", help="one function, in full")
    _json(functions)
    functions.set_defaults(run=_functions)

    call = commands.add_parser(
        "call",
        help="evaluate one workbook function",
        description="Evaluate one workbook function. Numbers are in the units of `dispense "
        'functions NAME`; a text may carry a unit ("3/16 in"); ranges are JSON lists; - leaves '
        "an argument blank.",
    )
    call.add_argument("name", help="the function, such as BEAD_VOLUME")
    call.add_argument(
        "arguments", nargs=argparse.REMAINDER, metavar="ARGUMENT", help="its arguments in their order"
    )
    _json(call)
    call.set_defaults(run=_call)

    addin = commands.add_parser("addin", help="build, install or inspect the spreadsheet add-in")
    addin.add_argument(
        "action",
        choices=("build", "install", "uninstall", "status", "selftest", "serve"),
        help="build: write the files; install: put them where the spreadsheet finds "
        "them; status: say what is missing; "
        "selftest: the checks of the first day in Excel that need no eyes, "
        "as a report (exit code 1 where one fails, 5 where one could not be run); "
        "serve: work for the spreadsheet's menu, which starts this itself",
    )
    addin.add_argument(
        "--host",
        choices=("excel", "calc", "names"),
        required=True,
        help="excel: Excel on Windows; calc: LibreOffice Calc; names: a workbook with "
        "the closed-form functions as names, without an add-in (build only)",
    )
    addin.add_argument(
        "--out", metavar="PATH", help="with build: the file or folder to write; with selftest: its report"
    )
    addin.add_argument(
        "--workbook", metavar="FILE", help="with build --host names: put the names in a copy of this workbook"
    )
    addin.add_argument(
        "--with-dependencies",
        action="store_true",
        help="with build --host calc: bring the packages it needs along",
    )
    _json(addin)
    addin.set_defaults(run=_addin)

    convert = commands.add_parser("convert", help="convert a workbook's formulas for another spreadsheet")
    convert.add_argument("workbook", help="workbook with functions in its cells; not changed")
    convert.add_argument(
        "--host", choices=("excel", "calc"), required=True, help="the spreadsheet that it shall open in"
    )
    convert.add_argument("--out", metavar="FILE", required=True, help="workbook to write")
    convert.set_defaults(run=_convert)
    sentences = {item.dest: item.help or "" for item in commands._get_subactions()}  # no public way to them
    for name, command in commands.choices.items():
        _complete(name, command, sentences[name])
    return top


def _add_floor(commands: Any) -> None:
    """The commands for what came back from the floor."""
    book = commands.add_parser(
        "book",
        help="book what came back from the floor: filled sheets, weights, counts",
        description="Reads filled sheets, weights of a balance (CSV with the columns Time, Weight [g] and "
        "Station) and tables of what happened (What, Date, Material, Lot, Containers, ...), says cell by "
        "cell what they mean, and books what is new into the journal beside the plan. Without a file: what "
        "was booked so far.",
        epilog="Examples: dispense book plan.xlsx sheets/2026-03-02_Early/*.xlsx --dry-run; dispense book "
        "plan.xlsx balance.csv; dispense book plan.xlsx --take-back 7 --reason 'wrong line'. Exit code 1 "
        "where a cell was not understood; the rest of a sheet is booked, a table with a wrong cell is not.",
    )
    _plan(book)
    book.add_argument("files", nargs="*", metavar="FILE", help="filled sheet, workbook or CSV")
    book.add_argument("--dry-run", action="store_true", help="say what would be booked, book nothing")
    book.add_argument("--take-back", type=int, metavar="N", help="booking N no longer counts")
    book.add_argument("--reason", default="", metavar="TEXT", help="why it is taken back")
    book.add_argument("--export", metavar="DIR", help="write all of the journal as CSV into a folder")
    book.add_argument(
        "--recover", action="store_true", help="a new journal of what is whole of a damaged one"
    )
    book.add_argument("--stamp", metavar="TEXT", help="time of booking (default: now)")
    _sources(book)
    _json(book)
    book.set_defaults(run=_book)

    weights = commands.add_parser(
        "weights",
        help="the booked shot weights against the plan, and what to do",
        description="Run chart, individuals and moving range, EWMA, CUSUM, capability and what the weights "
        "follow, from the journal beside the plan; one sentence says what to do: nothing, weigh five more, "
        "correct by so many per cent, or where to look.",
        epilog='Example: dispense weights plan.xlsx --station "Hem robot" --out weights.xlsx',
    )
    _plan(weights)
    weights.add_argument("--station", metavar="NAME", help="one station (default: all with weights)")
    weights.add_argument("--out", metavar="FILE", help="workbook with charts to write")
    _paper(weights)
    _json(weights)
    weights.set_defaults(run=_weights)

    learn = commands.add_parser(
        "learn",
        help="what the bookings say of the plan's figures, and take it over",
        description="Density, flow law, scrap, purges, cure times and demand as the journal has them, each "
        "with its 95 % interval beside what the plan says, and whether they differ by more than noise. With "
        "--take a figure is put into the plan itself and listed in its table Changes; the plan as it was is "
        "kept beside it.",
        epilog="Examples: dispense learn plan.xlsx; dispense learn plan.xlsx --take 'scrap:Hem robot' "
        "--reason 'new nozzle' --by KM",
    )
    learn.add_argument("plan", help="the plan workbook; only --take changes it")
    learn.add_argument(
        "--take",
        action="append",
        default=[],
        metavar="NAME",
        help="put this figure into the plan, such as density:hem epoxy/A; may be given again",
    )
    learn.add_argument("--reason", default="", metavar="TEXT", help="why, beside what was learned")
    learn.add_argument("--by", default="", metavar="TEXT", help="who decided it")
    learn.add_argument(
        "--date",
        metavar="YYYY-MM-DD",
        type=datetime.date.fromisoformat,
        help="day of the change (default: today)",
    )
    _sources(learn)
    _json(learn)
    learn.set_defaults(run=_learn)

    explain = commands.add_parser(
        "explain",
        help="planned and actual use week by week, and what explains the difference",
        description="By component and week, from the journal beside the plan: what was used (stock counted "
        "twice, or containers opened) against what was planned, and how much of the difference is builds, "
        "scrap, shot weight, purges, containers thrown away with a rest, and unexplained.",
        epilog="Example: dispense explain plan.xlsx --out explain.xlsx",
    )
    _plan(explain)
    for option, dest, words in (("from", "first", "begin on or after"), ("to", "last", "end on or before")):
        explain.add_argument(
            f"--{option}",
            dest=dest,
            metavar="YYYY-MM-DD",
            type=datetime.date.fromisoformat,
            help=f"periods that {words} this day (default: all)",
        )
    explain.add_argument("--out", metavar="FILE", help="workbook to write")
    _paper(explain)
    _tables(explain)
    _sources(explain)
    _json(explain)
    explain.set_defaults(run=_explain)

    release = commands.add_parser(
        "release",
        help="release a plan as its next revision, or say what differs from the last",
        description="With --by a copy of the plan is kept in plan_released beside it, with who released it "
        "and when; cards then print the revision and what changed since the one before, and sheets filled "
        "from another plan say that it is not released. Without --by nothing is written.",
        epilog="Examples: dispense release plan.xlsx; dispense release plan.xlsx --by KM --reason 'new "
        "nozzle'",
    )
    release.add_argument("plan", help="the plan workbook")
    release.add_argument("--by", metavar="TEXT", help="who releases it")
    release.add_argument("--revision", metavar="TEXT", help="its name (default: the next letter or number)")
    release.add_argument("--reason", default="", metavar="TEXT", help="why")
    _json(release)
    release.set_defaults(run=_release)

    trace = commands.add_parser(
        "trace",
        help="which parts hold a lot, and which lots are on a part",
        description="From the journal beside the plan, and from the played shift where nothing was booked; "
        "each is told apart.",
        epilog="Examples: dispense trace plan.xlsx --lot HA-0911; dispense trace plan.xlsx --part 'Drive "
        "lid' --day 2026-03-02",
    )
    _plan(trace)
    trace.add_argument("--lot", metavar="LOT", help="the lot: parts that may hold it, where it still stands")
    trace.add_argument(
        "--component", default="", metavar="A|B", help="with --lot: connected as this one only"
    )
    trace.add_argument("--part", metavar="NAME", help="the part: lots that may be on it")
    trace.add_argument(
        "--day", metavar="YYYY-MM-DD", type=datetime.date.fromisoformat, help="one day (default: all)"
    )
    trace.add_argument(
        "--as-of",
        metavar='"YYYY-MM-DD HH:MM"',
        help="with --lot: where it stands then (default: now within the plan, else the last booking)",
    )
    _json(trace)
    trace.set_defaults(run=_trace)


def _add_path(commands: Any) -> None:
    """The command for paths of drawings."""
    path = commands.add_parser(
        "path",
        help="a path for a bead from a drawing (DXF) or from points (CSV)",
        description="Reads lines, arcs, circles, polylines, ellipses and splines of a DXF drawing, joins "
        "them into beads, puts these in an order of short travel and gives rows for the table Paths; what "
        "could not be read is named. A CSV with the columns X [mm], Y [mm], and if wanted Z, Motion and "
        "Path, is taken in its own order.",
        epilog="Example: dispense path lid.dxf --layer HEM --out lid.xlsx --picture lid.svg",
    )
    path.add_argument("drawing", help="drawing (.dxf) or points (.csv); it is never changed")
    path.add_argument(
        "--layer",
        metavar="NAME",
        action="append",
        default=[],
        help="curves of this layer; may be given again (default: the one layer with curves)",
    )
    path.add_argument(
        "--colour",
        metavar="NUMBER",
        action="append",
        default=[],
        help="curves of this colour: number of the colour index, or #rrggbb; may be given again",
    )
    path.add_argument(
        "--units", metavar="UNIT", help="unit of the coordinates (default: that of the drawing or the header)"
    )
    path.add_argument(
        "--join", type=float, metavar="MM", help="ends within so many mm are joined (default: 0.05)"
    )
    path.add_argument(
        "--start", metavar="X,Y", default="0,0", help="the first bead is the one nearest to it, mm"
    )
    path.add_argument("--name", metavar="NAME", help="name of the path (default: that of the file)")
    path.add_argument("--each", action="store_true", help="a path for each bead, not one through all")
    path.add_argument("--out", metavar="FILE", help="workbook or .csv with the rows to write")
    path.add_argument("--picture", metavar="FILE", help=".svg to hold against the drawing")
    path.add_argument("--plan", metavar="PLAN", help="with --write-plan: the plan that gets the path")
    path.add_argument("--write-plan", metavar="FILE", help="new plan workbook, with the path in table Paths")
    _paper(path)
    _json(path)
    path.set_defaults(run=_path)


def _plan(command: argparse.ArgumentParser) -> None:
    """The plan that a command reads."""
    command.add_argument("plan", help=PLAN_HELP)
    command.add_argument(
        "--saved",
        action="store_true",
        help="go on where the plan is open in a spreadsheet: its file as it was saved is read",
    )
    command.add_argument(
        "--anew",
        action="store_true",
        help="work out pours, patterns and schedules anew, with nothing that earlier runs kept",
    )


def _side_by_side(command: argparse.ArgumentParser) -> None:
    """Who works: some processors, or other machines."""
    either = command.add_mutually_exclusive_group()
    either.add_argument("--processes", type=int, default=1, metavar="N", help="work on N processors")
    either.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="work on a cluster of Dask, its scheduler at tcp://HOST:PORT: the plan goes to its machines, "
        "so that it must be one you trust",
    )


def _paper(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--paper", choices=tuple(PAPERS), default="A4", help="paper to print on (default: A4)"
    )


def _sources(command: argparse.ArgumentParser) -> None:
    """Where the tables that change daily come from, where it is not the plan."""
    for name, what in (
        ("builds", "builds"),
        ("stock", "stock"),
        ("orders", "open orders"),
        ("standing", "what stands at stations (table Standing)"),
    ):
        command.add_argument(
            f"--{name}",
            metavar="FILE",
            help=f"{what} from a .csv, .parquet, .sqlite or .xlsx file or a database address, in place of "
            "the plan's; ::TABLE, ::SHEET or ::'select …' behind it says which",
        )


def _as_of(command: argparse.ArgumentParser) -> None:
    """Today, and what stands there by then."""
    command.add_argument(
        "--as-of",
        metavar="DAY",
        help='today, 2026-03-02 or "2026-03-02 14:00": builds before it are history, and what stands at '
        "stations and lies in store by then is that of the table Standing and of the journal (default: the "
        "last time that the table tells, else the first build)",
    )


def _tables(command: argparse.ArgumentParser) -> None:
    """Every table as a file for other programs."""
    command.add_argument("--tables", metavar="DIR", help="folder for every table, for other programs")
    command.add_argument(
        "--table-form",
        choices=("csv", "parquet", "xlsx"),
        default="csv",
        help="kind of these files (default: csv); xlsx is one workbook of named tables",
    )


def _unattended(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--log", dest="run_log", metavar="FILE", help="add a line of JSON on this run to a file"
    )


def _manifest(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--manifest", metavar="FILE", help="say in a JSON file what went in and came out, by fingerprints"
    )


def _read_from(options: argparse.Namespace) -> Any:
    from .plan.sources import Sources

    return Sources(options.builds, options.stock, options.orders, options.standing)


def _json(command: argparse.ArgumentParser) -> None:
    command.add_argument("--json", action="store_true", help="print the results as JSON")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit code."""
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    if not arguments:
        parser().print_help(sys.stderr)
        return USAGE
    arguments[0] = OLD_NAMES.get(arguments[0], arguments[0])
    options = parser().parse_args(_json_first(arguments))
    began, clock = datetime.datetime.now().astimezone(), time.perf_counter()
    code = DONE
    try:
        code = _guarded(options)
    finally:  # also where nobody reads the output
        if getattr(options, "run_log", None):
            code = _logged(options, began, time.perf_counter() - clock, code)
    return code


def _guarded(options: argparse.Namespace) -> int:
    """The exit code of a command, whatever it meets."""
    from .base.errors import DispenseError

    try:
        if not getattr(options, "saved", True):
            from .xlsx.opened import refuse_open

            refuse_open(options.plan)
        if getattr(options, "anew", True):
            code: int = options.run(options)
            return code
        from .base.kept import home_folder, keeping

        with keeping(home_folder()):
            return int(options.run(options))
    except DispenseError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        if getattr(options, "json", False):
            _print_json({"problems": [_problem(problem) for problem in error.problems]})
        return BAD_INPUT
    except KeyboardInterrupt as error:
        print(getattr(error, "words", "stopped: what was not written by now is not"), file=sys.stderr)
        return TERMINATED if isinstance(error.__context__ or error, _Terminated) else INTERRUPTED


def _logged(options: argparse.Namespace, began: datetime.datetime, seconds: float, code: int) -> int:
    """The exit code after a line on the run was added to its log."""
    from .base.errors import FileError
    from .jobs.unattended import log_run

    try:
        log_run(
            options.run_log, options.command, began, seconds, code, forbid=[options.plan], plan=options.plan
        )
    except FileError as error:
        print(error, file=sys.stderr)
        return code or NOT_WRITTEN
    return code


class _Terminated(KeyboardInterrupt):
    """The system asks the program to end."""


def _terminate(*_: object) -> None:
    raise _Terminated


def run() -> None:
    """Entry point of the console script."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # it was closed before the program began
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif isinstance(stream, io.TextIOWrapper):  # a terminal may lack a letter that a plan has
            stream.reconfigure(errors="replace")
    if not sys.warnoptions:  # a kernel that has no answer says NaN; numpy's remark is no news
        warnings.simplefilter("ignore", RuntimeWarning)
    signal.signal(signal.SIGTERM, _terminate)
    try:
        code = main()
        sys.stdout.flush()
    except BrokenPipeError:  # whoever reads has seen enough
        code = DONE
    except OSError as error:
        if error.filename is not None:
            raise
        code = BAD_INPUT
        print(f"standard output cannot be written: {error.strerror}", file=sys.stderr)
    else:
        sys.exit(code)
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nothing is flushed into it at the end
    sys.exit(code)


def _json_first(arguments: list[str]) -> list[str]:
    """`call NAME … --json`: options are taken from among the arguments, which take the rest."""
    if arguments[:1] != ["call"]:
        return arguments
    options = [text for text in arguments if text in ("--json", "--help")]
    return ["call", *options, *(text for text in arguments[1:] if text not in options)]


def _print_json(value: Any) -> None:
    from .base.terminal import json_text

    print(json_text(value))


def _tell(report: Any, options) -> int:
    """Print a report as asked; its findings give the exit code."""
    if options.json:
        _print_json(report.as_json())
    else:
        from .base.measures import Measures, measured_in
        from .base.terminal import folded, printable

        with measured_in(getattr(getattr(report, "plan", report), "measures", Measures())) as units:
            print(folded(printable(units.told(report.as_text()))))
    return exit_code(getattr(report, "findings", ()), not_written=bool(getattr(report, "not_written", ())))


class _Bar:
    """Progress of work that says how much there is only when it begins."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.bar: Any = None

    def __call__(self, done: int, total: int) -> None:
        """So much is done."""
        if self.bar is None:
            from .base.terminal import Progress

            self.bar = Progress(total, self.what)
        self.bar.step(done - self.bar.done)

    def close(self) -> None:
        """End the line, if there is one."""
        if self.bar is not None:
            self.bar.close()


def _problem(problem) -> dict[str, Any]:
    from .base.errors import show

    plain = isinstance(problem.value, str | int | type(None))
    return {
        "where": problem.where,
        "argument": problem.argument,
        "given": problem.value if plain else show(problem.value),
        "allowed": problem.allowed,
        "fix": problem.fix,
        "code": problem.code,
        "text": str(problem),
    }


# --------------------------------------------------------------------------------------- commands


def _new(options) -> int:
    from .books.plan import new_plan

    new_plan(options.plan, demo=options.demo)
    print(f"wrote {options.plan}")
    return DONE


def _check(options) -> int:
    from .base.collector import without_collector

    with without_collector():  # modules and records stay until the end
        from .base.findings import gravest_first
        from .jobs.start import begun
        from .plan.sources import check_plan_from
        from .reports.findings import plan_findings

        sources = _read_from(options)
        plan, problems = check_plan_from(options.plan, sources)
        begin = None if problems else begun(plan, options.plan, sources, options.as_of)
        findings = [] if begin is None else [*plan_findings(begin.plan), *_compared(options, plan)]
        if begin is not None:
            plan, findings = begin.plan, gravest_first([*begin.findings, *findings])
        if options.json:
            _print_json(
                {
                    "problems": [_problem(problem) for problem in problems],
                    "findings": [finding.as_json() for finding in findings],
                }
            )
        elif problems:
            for problem in problems:
                print(problem)
            for warning in plan.warnings:
                print(f"note: {warning}", file=sys.stderr)
        else:
            _print_checked(options.plan, plan, findings, "" if begin is None else begin.words)
    return BAD_INPUT if problems else exit_code(findings)


def _compared(options: argparse.Namespace, plan: Any) -> list[Finding]:
    """Rows out of sight, and what jumped against the version before."""
    from .jobs.against import against, hidden_rows
    from .plan.read import load_plan

    found = hidden_rows(options.plan, plan)
    return [*found, *against(plan, load_plan(options.against))] if options.against else found


def _print_checked(name: str, plan: Any, findings: list[Finding], begins: str) -> None:
    from .base.measures import measured_in
    from .base.terminal import findings_text, folded, printable

    size = f"{len(plan.builds)} builds of {len(plan.parts)} parts at {len(plan.stations)} stations"
    warnings = [finding for finding in findings if finding.is_warning]
    if warnings:
        print(folded(f"{printable(name)}: {size}; every table can be read, look at {tally(warnings)}"))
    else:
        print(folded(f"{printable(name)}: no problems found in {size}"))
    if begins:
        print(folded(begins))
    if findings:
        with measured_in(plan.measures):
            print("\n" + folded(printable(findings_text(findings))))
    if plan.builds:
        print("\nClock times, containers and stock: fill and forecast play the shifts and tell.")


def _fill(options) -> int:
    from .base.cluster import cluster
    from .jobs.fill import fill

    bar = _Bar("filling")
    with cluster(options.cluster) as executor:
        report = fill(
            options.plan,
            options.out,
            sources=_read_from(options),
            as_of=options.as_of,
            date=options.date,
            shift=options.shift,
            stations=options.station,
            templates=options.templates,
            paper=options.paper,
            processes=options.processes,
            executor=executor,
            open_workbook=options.open,
            language=options.language,
            progress=bar,
            now=options.now,
            done=options.done,
            left={name: _number(text, "left") for name, text in _pairs(options.left, "left").items()},
            mounted=_pairs(options.mounted, "mounted"),
            mixers=options.mixer,
            stops=options.stop,
            stamp=options.stamp,
            tables=options.tables,
            table_form=options.table_form,
        )
    bar.close()
    return _tell(report, options)


def _pairs(texts: Sequence[str], option: str) -> dict[str, str]:
    """Options such as A=350 by their name."""
    from .base.errors import InputError, Problem

    found: dict[str, str] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise InputError(Problem("fill", option, text, "a component and its value, such as A=350"))
        found[name.strip()] = value.strip()
    return found


def _number(text: str, option: str) -> float:
    from .base.errors import InputError, Problem

    try:
        return float(text)
    except ValueError:
        raise InputError(Problem("fill", option, text, "a number of mL, such as A=350")) from None


def _forecast(options) -> int:
    from .base.cluster import cluster
    from .jobs.forecast import forecast_file

    with cluster(options.cluster) as executor:
        report = forecast_file(
            options.plan,
            weeks=options.weeks,
            out=options.out,
            builds=options.builds,
            stock=options.stock,
            orders=options.orders,
            standing=options.standing,
            draws=options.draws,
            seed=options.seed,
            processes=options.processes,
            executor=executor,
            paper=options.paper,
            as_of=options.as_of,
            tables=options.tables,
            table_form=options.table_form,
            upload=options.upload,
            columns=options.columns,
            manifest=options.manifest,
            learned=options.learned,
        )
    return _tell(report, options)


def _book(options) -> int:
    from .base.errors import InputError, Problem
    from .jobs import book

    ways = [bool(options.files), options.take_back is not None, bool(options.export), options.recover]
    if sum(ways) > 1:
        raise InputError(
            Problem("book", message="files, --take-back, --export and --recover are asked for one at a time")
        )
    if options.take_back is not None:
        report = book.take_booking_back(
            options.plan, options.take_back, reason=options.reason, stamp=options.stamp
        )
    elif options.export:
        report = book.export_journal(options.plan, options.export)
    elif options.recover:
        report = book.recover_journal(options.plan)
    elif options.files:
        report = book.book_files(
            options.plan,
            options.files,
            dry_run=options.dry_run,
            stamp=options.stamp,
            sources=_read_from(options),
        )
    else:
        report = book.list_bookings(options.plan)
    _tell(report, options)
    return DONE if report.is_clean else BAD_INPUT


def _weights(options) -> int:
    from .jobs.weights import weights_file

    report = weights_file(options.plan, station=options.station, out=options.out, paper=options.paper)
    return _tell(report, options)


def _learn(options) -> int:
    from .jobs.learn import learn_file

    asked = {"reason": options.reason, "by": options.by, "day": options.date}
    report = learn_file(options.plan, take=options.take, sources=_read_from(options), **asked)
    return _tell(report, options)


def _explain(options: argparse.Namespace) -> int:
    from .jobs.explain import explain_file

    report = explain_file(
        options.plan,
        first=options.first,
        last=options.last,
        out=options.out,
        paper=options.paper,
        tables=options.tables,
        table_form=options.table_form,
        sources=_read_from(options),
    )
    return _tell(report, options)


def _release(options) -> int:
    from .jobs.release import release

    asked = {"revision": options.revision, "reason": options.reason}
    return _tell(release(options.plan, options.by, **asked), options)


def _trace(options) -> int:
    from .jobs.trace import trace_file

    asked = {"lot": options.lot, "component": options.component, "part": options.part, "day": options.day}
    asked["as_of"] = options.as_of
    return _tell(trace_file(options.plan, **asked), options)


def _cure(options) -> int:
    from .jobs.cure import cure_file, cure_files

    if options.station is None:
        given = {"record": options.record, "log": options.log, "write_shots": options.write_shots}
        given["date"] = options.date
        return _tell(cure_files(options.plan, out=options.out, paper=options.paper, **given), options)
    report = cure_file(
        options.plan,
        options.station,
        record=options.record,
        log=options.log,
        out=options.out,
        paper=options.paper,
        write_shots=options.write_shots,
        date=options.date,
    )
    return _tell(report, options)


def _compare(options) -> int:
    from .base.cluster import cluster
    from .jobs.compare import compare_file

    bar = _Bar("playing")
    with cluster(options.cluster) as executor:
        report = compare_file(
            options.plan,
            station=options.station,
            sources=_read_from(options),
            as_of=options.as_of,
            first=options.first,
            last=options.last,
            out=options.out,
            paper=options.paper,
            processes=options.processes,
            executor=executor,
            tables=options.tables,
            table_form=options.table_form,
            progress=bar,
            manifest=options.manifest,
        )
    bar.close()
    return _tell(report, options)


def _fit(options) -> int:
    from .jobs.fit import fit_file

    report = fit_file(
        options.measurements,
        options.form,
        out=options.out,
        paper=options.paper,
        glass=options.glass,
        at=options.at,
    )
    return _tell(report, options)


def _path(options) -> int:
    from .jobs.drawing import path_file

    report = path_file(
        options.drawing,
        layers=options.layer,
        colours=options.colour,
        unit=options.units,
        join_within=options.join,
        start=options.start,
        name=options.name,
        each=options.each,
        out=options.out,
        picture=options.picture,
        plan=options.plan,
        write_plan=options.write_plan,
        paper=options.paper,
    )
    return _tell(report, options)


def _functions(options) -> int:
    from .handbook.words import describe, describe_all, function_text, functions_text

    if options.name:
        print_ = _print_json if options.json else print
        print_(describe(options.name) if options.json else function_text(options.name))
    elif options.json:
        _print_json(describe_all())
    else:
        print(functions_text())
    return DONE


def _call(options) -> int:
    from .handbook.catalogue import evaluate_noted, lookup
    from .handbook.words import read_argument, result_json, result_text

    entry = lookup(options.name)
    found, notes = evaluate_noted(entry, [read_argument(text) for text in options.arguments])
    if options.json:
        _print_json(result_json(found, notes))
    elif not found.problems:
        from .base.terminal import printable

        print(printable(result_text(found)))
        sys.stdout.flush()  # the answer first, what is to be known of it after
        for note in notes:
            print(f"note: {note}", file=sys.stderr)
    for problem in found.problems:
        print(problem, file=sys.stderr)
    return BAD_INPUT if found.problems else DONE


def _addin(options) -> int:
    if options.action == "serve":
        from .addin.served import serve
        from .base.kept import home_folder, keeping

        out, sys.stdout = sys.stdout, sys.stderr  # whatever is printed is no message
        with keeping(home_folder()):
            serve(sys.stdin, out)
        return DONE
    from .addin.commands import manage

    report = manage(
        options.action,
        options.host,
        options.out,
        workbook=options.workbook,
        with_dependencies=options.with_dependencies,
    )
    code = int(report.get("exit_code", DONE))
    if options.json:
        _print_json(report)
    else:
        from .base.terminal import in_words

        for key, value in report.items():
            print(f"{key.replace('_', ' ')}: {in_words(value)}")
    return code


def _convert(options) -> int:
    from .formulas.spell import respell_workbook
    from .handbook.in_formulas import OWN

    respell_workbook(options.workbook, options.host, options.out, OWN)
    print(f"wrote {options.out}")
    return DONE


if __name__ == "__main__":
    run()
