"""Line sheet: the stations that routes join in one shift, what sets their pace, what stands between them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..base.fields import date, number, text, whole
from ..base.findings import GRAVE, Finding
from ..base.language import translated
from ..base.units import from_si
from ..plan.cautions import CAUTION
from ..plan.records import Plan
from ..plan.routes import lines, place_in_route, route_of, stations_before
from ..reports.findings import not_played, plan_findings
from ..reports.routes import ASSUMED, OF_ROUTES, TOO_SOON
from ..shift.pace import OUTPUT
from ..shift.results import Job, Passage, ShiftResult
from .layout import ONE_DIGIT, PERCENT, Book
from .pieces import head, hours, shift_headline, shop, station_warning_rows
from .sheet import Sheet
from .spec import HEAD, Content, Row, SheetSpec

OF_SHIFT = (OUTPUT, "half done", "lost half done")  # topics of a shift that a line sheet shows
MINUTES = "[<100]0.0;#,##0"

LINE = SheetSpec(
    "line",
    "line.xlsx",
    "Line sheet",
    "the stations that parts pass by routes in one shift: pace, starved and blocked time, work in process",
    (
        *HEAD,
        date("day", "date of the shift"),
        text("shift", "shift"),
        text("hours", "start to end"),
        text("headline", "what sets the pace of each line"),
    ),
    {
        "LineStations": (
            text("station", "station"),
            number("busy", "min", "working time with a part under the nozzle"),
            number("starved", "min", "working time without a part from the station before"),
            number(
                "for_cure", "min", "of that, while the part to come was in cure", labels=("Of it for cure",)
            ),
            number("blocked", "min", "working time with a finished part for which there is no room"),
            number("other", "min", "waits for the takt, purges, changes, time free at the end"),
            number("available", "min", "working time of the shift"),
            number("in_use", "", "share of it in use"),
            text("pace", "what sets the pace of its line"),
        ),
        "LineParts": (
            text("part", "part"),
            whole("step", "place in the route"),
            text("station", "station"),
            number("scrap_share", "", "share that is lost here"),
            whole("to_start", "parts to start, so that the good ones come out"),
            whole("to_pass_on", "good parts to pass on"),
            whole("started", "parts started"),
            whole("scrapped", "parts scrapped"),
            whole("passed_on", "good parts passed on"),
            whole("handed_over", "parts handed over half done"),
        ),
        "LineBetween": (
            text("from_station", "station that the parts come from"),
            text("to_station", "station that they go to"),
            whole("room", "parts that have room between; blank: no limit"),
            whole("taken_over", "parts taken over from the shift before"),
            whole("entered", "parts that came in the shift"),
            whole("begun", "parts begun at the next station"),
            whole("handed_over", "parts handed over"),
            number("mean_between", "", "parts between, on the mean of the shift"),
            whole("peak_between", "parts between, at most"),
            number("mean_cure", "", "parts that may not go on yet, on the mean"),
            whole("peak_cure", "parts that may not go on yet, at most"),
            number("stay", "min", "mean time between, of those begun"),
        ),
        "LineWarnings": (text("station", "station"), text("warning", "what to look at")),
    },
    ("day", "shift"),
    needed={
        "LineStations": ("station", "starved", "blocked"),
        "LineParts": ("part", "station", "to_start", "to_pass_on"),
        "LineBetween": ("from_station", "to_station", "mean_between", "peak_between"),
        "LineWarnings": ("warning",),
    },
)


def line_content(plan: Plan, results: Sequence[ShiftResult], stamp: str) -> Content | None:
    """The line sheet of a shift; None where no part passes its stations by a route."""
    joined = [result for result in results if result.station.station in lines(plan)]
    if not joined:
        return None
    joined.sort(key=lambda result: len(stations_before(plan, result.station.station)))  # as parts go
    first = joined[0]
    return Content(
        LINE,
        {
            **head(plan, stamp),
            "day": first.date,
            "shift": first.shift,
            "hours": hours(first),
            "headline": _headline(plan, joined),
            "cautions": translated(CAUTION),
        },
        {
            "LineStations": [_station_row(result) for result in joined],
            "LineParts": list(_part_rows(plan, joined)),
            "LineBetween": [_between_row(link) for result in joined for link in result.passages]
            or [{"from_station": "–", "to_station": "–"}],
            "LineWarnings": station_warning_rows(_findings(plan, joined)),
        },
    )


def _findings(plan: Plan, results: Sequence[ShiftResult]) -> Iterator[Finding]:
    """Dangers and stops of the stations, what the shift does not finish, and what its routes stop at."""
    here = (results[0].date, results[0].shift)
    names = [result.station.station for result in results]
    played = [item for result in results for item in result.findings]
    for item in not_played(plan_findings(plan, lines(plan)), played):
        is_shown = item.topic in (*OF_ROUTES, ASSUMED, TOO_SOON) or (
            item.kind in GRAVE and item.station in names
        )
        if is_shown and (item.day is None or (item.day, item.shift) == here):
            yield item
    yield from (item for item in played if item.kind in GRAVE or item.topic in OF_SHIFT)


def _headline(plan: Plan, results: Sequence[ShiftResult]) -> str:
    """What sets the pace of each line."""
    paces = {lines(plan)[result.station.station]: result.pace for result in results}
    words = [pace.text for pace in paces.values() if pace is not None]
    headline = "; ".join(words) or "No part of a route is built in this shift"
    return shift_headline(plan, results, headline)


def _station_row(result: ShiftResult) -> Row:
    """How a station spends the shift, mean of its nozzles."""
    available = result.calendar.available
    busy = result.busy / result.station.nozzles
    pace = result.pace
    return {
        "station": result.station.station,
        "busy": from_si(busy, "min"),
        "starved": from_si(result.starved, "min"),
        "for_cure": from_si(result.for_cure, "min"),
        "blocked": from_si(result.blocked, "min"),
        "other": from_si(max(available - busy - result.starved - result.blocked, 0.0), "min"),
        "available": from_si(available, "min"),
        "in_use": busy / available,
        "pace": pace.binding.what if pace and pace.binding.station == result.station.station else "",
    }


def _part_rows(plan: Plan, results: Sequence[ShiftResult]) -> Iterator[Row]:
    """The steps of each part's route: what must be started for its scrap, and what became of it."""
    found: dict[tuple[str, int], Row] = {}
    for result in results:
        for job in result.jobs:
            place = place_in_route(plan, job.part, result.station.station)
            if place is not None:
                found[job.part, place] = _part_row(plan, result, job, place)
    order = [part.part for part in plan.parts]
    yield from (found[key] for key in sorted(found, key=lambda key: (order.index(key[0]), key[1])))


def _part_row(plan: Plan, result: ShiftResult, job: Job, place: int) -> Row:
    return {
        "part": job.part,
        "step": route_of(plan, job.part)[place].step,
        "station": result.station.station,
        "scrap_share": result.station.scrap,
        "to_start": job.started,
        "to_pass_on": job.quantity,
        "started": job.begun,
        "scrapped": job.scrapped,
        "passed_on": job.finished,
        "handed_over": job.carried,
    }


def _between_row(link: Passage) -> Row:
    """What stood between two stations."""
    return {
        "from_station": link.before,
        "to_station": link.station,
        "room": link.room,
        "taken_over": link.taken,
        "entered": link.entered,
        "begun": link.passed,
        "handed_over": link.handed,
        "mean_between": link.between.mean,
        "peak_between": link.between.peak,
        "mean_cure": link.cure.mean,
        "peak_cure": link.cure.peak,
        "stay": shop(link.stay, "min"),
    }


def layout(book: Book) -> None:
    """How the stations spend the shift, what is started for the scrap to come, what stands between."""
    form = book.page("Line", [17, 17, 13, 10, 11, 11, 11, 13, 13, 11, 11, 11], landscape=True)
    form.head()
    form.cards(("day", 1), ("shift", 1), ("hours", 2), ("prepared_by", 4), ("stamp", 4))
    form.section("Warnings")
    form.warnings("LineWarnings", ("station", "warning"))
    form.section("Stations", "starved: no part from the station before; blocked: no room for a finished one")
    times = ["busy", "starved", "for_cure", "blocked", "other", "available"]
    minutes = dict.fromkeys(times, MINUTES)
    form.table(
        "LineStations",
        ["station", *times, "in_use", "pace"],
        across=True,
        forms={**minutes, "in_use": PERCENT},
    )
    form.section("Parts", "to start: what the scrap of this and all later stations asks for")
    form.table(
        "LineParts",
        [
            "part",
            "station",
            "step",
            "scrap_share",
            "to_start",
            "to_pass_on",
            "started",
            "scrapped",
            "passed_on",
            "handed_over",
        ],
    )
    form.section("Between the stations", "work in process; in cure: parts that may not go on yet")
    form.table(
        "LineBetween",
        [
            "from_station",
            "to_station",
            "room",
            "taken_over",
            "entered",
            "begun",
            "handed_over",
            "mean_between",
            "peak_between",
            "mean_cure",
            "peak_cure",
            "stay",
        ],
        forms={"mean_between": ONE_DIGIT, "mean_cure": ONE_DIGIT, "stay": MINUTES},
    )
    form.sign_off(("Prepared", "Shift lead", "Handed over to next shift"))
    form.cautions()


SHEET = Sheet(LINE, layout, "line sheets", "line.xlsx", of_shift=line_content)
