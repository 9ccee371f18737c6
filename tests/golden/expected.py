"""What every sheet of a golden plan must say, from the independent reckoning; nothing of the planner."""

from __future__ import annotations

import datetime
import fractions
import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from . import amounts, heat, line, weather, weighing
from . import handbook as hb
from .cells import Clock, Fact, Message, Num, Page, Says, When, in_litres
from .player import USES, Hours, Played, Stretch, Told, rest_of
from .reading import Plant

STAMP = "golden run"
DANGER, STOP, QUALITY, NOTE = range(4)  # gravest first
MARKS = ("DANGER", "STOP", "CHECK", "note")  # the word for each on a sheet

CAUTION = ("safety data sheet", "local codes", "licensed")
#: words over the columns of use that are not those of the use itself
USE_HEADS = {"start": "Start-up loss", "end": "Shut-down loss", "mixers": "Lost in mixers"}
HAZARDS = {  # words of the usual cautions; common practice, defer to the safety data sheet
    "two-part": ("warms itself", "thin layers", "gloves", "sensitize"),
    "oven": ("hot oven", "cool before"),
    "light": ("harms eyes", "shield"),
    "moisture": ("vapour", "ventilate"),
    "cells": ("charged", "insulated tools", "cell limit"),
}


# --------------------------------------------------------------------------------------- small pieces


def moment(day: datetime.date, clock: float, slack: float = 1.5) -> When:
    """A clock time as date and time."""
    start = datetime.datetime.combine(day, datetime.time())
    return When(start + datetime.timedelta(seconds=clock), slack)


def from_then_on(clock: float) -> float:
    """From when on something may be done: told by a whole minute, never by one that is too early."""
    return 60.0 * math.ceil(clock / 60.0 - 1e-6)


def duration(seconds: float) -> tuple[Fact, ...]:
    """The figures of a duration: 45 s, 34 min, 3 h 20 min, 4 d 2 h."""
    if seconds < 120:
        return (Fact(seconds, "s"),)
    minutes = seconds / 60
    if round(minutes) < 120:
        return (Fact(minutes, "min"),)
    hours, rest = divmod(round(minutes), 60)
    if hours < 48:
        return (Fact(hours, "h"), Fact(rest, "min")) if rest else (Fact(hours, "h"),)
    days, hours = divmod(hours, 24)
    return (Fact(days, "d"), Fact(hours, "h")) if hours else (Fact(days, "d"),)


def size(ml: float) -> Fact:
    """The size of a container: 310 mL, 4.8 L."""
    return Fact(ml / 1000, "L") if ml >= 1000 else Fact(ml, "mL")


def ratio_figures(parts_b: float) -> tuple[Fact, ...]:
    """The figures of 4 : 1 (100 : 25), as a data sheet has it too; 100 : 38 where no small ones tell it."""
    near = fractions.Fraction(100.0 / parts_b).limit_denominator(10)
    is_short = near.numerator <= 10 and abs(near * parts_b - 100.0) < 1e-6
    short = (Fact(near.numerator), Fact(near.denominator)) if is_short else ()
    return (*short, Fact(100), Fact(parts_b))


def letter_name(letter: str, parts: dict) -> str:
    """A, B, or what the only component of a one-part material is called."""
    return letter.upper() if len(parts) > 1 else "one-part"


def range_says(cold: float, hot: float) -> Says:
    """The temperature of the shop."""
    if hot - cold < 0.5:
        return Says(("°C",), figures=(Fact(cold, "°C"),))
    return Says(("to", "°C"), figures=(Fact(cold), Fact(hot, "°C")))


def stated(material) -> tuple[float, float]:
    """Temperatures that the data sheet states pot lives at."""
    both = [material.pot_life_temperature]
    if material.pot_life_2 and material.activation_energy is None:
        both.append(material.pot_life_temperature_2)
    return min(both), max(both)


def extrapolated(material, cold: float, hot: float) -> tuple[tuple[str, ...], tuple[Fact, ...]]:
    """Words and figures that say how far outside the stated temperatures a life is used."""
    low, high = stated(material)
    outside = [t for t in (cold, hot) if t < low - 0.5 or t > high + 0.5]
    if not outside:
        return (), ()
    far = max(outside, key=lambda t: max(low - t, t - high))
    figures = (
        (Fact(far, "°C"), Fact(low), Fact(high, "°C"))
        if high - low >= 0.5
        else (Fact(far, "°C"), Fact(low, "°C"))
    )
    words: tuple[str, ...] = ("extrapolated", "stated")
    if weather.energy_of(material) is None:
        words, figures = (*words, "rule of thumb"), (*figures, Fact(material.halving_step, "K"))
    return words, figures


def life_says(material, cold: float, hot: float) -> Says:
    """Pot life at the hottest and the coldest hour, and how far it is carried."""
    if material.pot_life is None:
        return Says(("no pot life",))

    def life(t: float) -> float:
        return weather.life_at(material.pot_life, material.pot_life_temperature, material, t)

    figures = (*duration(life(hot)), Fact(hot, "°C"))
    if hot - cold >= 0.5:
        figures += (*duration(life(cold)), Fact(cold, "°C"))
    words, more = extrapolated(material, cold, hot)
    return Says(("min", "°C", *words), figures=figures + more)


def rule_says(station, material) -> Says:
    """What is done at the limit of the pot life."""
    if material.pot_life is None or not station.mixer_volume:
        return Says(("no limit",))
    if station.rule == "purge":
        return Says(
            ("purge", "pot life"), figures=(Fact(station.purge_volume, "mL"), Fact(station.purge_share))
        )
    return Says(("change", "mixer", "pot life"), figures=(Fact(station.purge_share),))


def cautions(material, has_cells: bool) -> Says:
    """Those of the data sheet, of the kind of cure, of the cells, and none of the others."""
    kinds = {material.kind, material.cure, *(["cells"] if has_cells else [])}
    words = tuple(word for kind in HAZARDS if kind in kinds for word in HAZARDS[kind])
    never = tuple(HAZARDS[kind][0] for kind in HAZARDS if kind not in kinds)
    own = (material.cautions,) if material.cautions else ()
    return Says((*own, *words, *CAUTION), never=never)


def driver(name: str) -> str:
    """The input that matters most, as printed."""
    return name.replace("_", " ") if name else "no tolerance stated"


def basis_words(material) -> tuple[tuple[str, ...], tuple[Fact, ...]]:
    """What a life at another temperature rests on."""
    energy = weather.energy_of(material)
    if energy is None:
        return ("halving", "rule of thumb"), (Fact(material.halving_step, "K"),)
    if material.activation_energy is None:
        return ("arrhenius", "two data-sheet points"), ()
    return ("arrhenius", "activation energy"), (Fact(energy, "kJ/mol"),)


def printed(value: float, digits: int) -> Num:
    """A number that stands rounded in its cell, with all its decimals."""
    return Num(value, 0.0, digits)


def left_over(ml: float) -> Num:
    """What hundreds of draws leave in a container, each rounded to a nanolitre: to 0.0001 mL."""
    return Num(ml, max(2e-6, 1e-4 / ml if ml else 0.0))


def meter_says(station) -> Says:
    """Whose tolerance the limits are."""
    return Says(("meter", "±"), (), (Fact(station.meter_tolerance * 100, "%", 0.0),))


# ------------------------------------------------------------------------------------------- findings


@dataclass(frozen=True)
class Found:
    """One finding: how grave, what it says, of what sort, and where."""

    kind: int
    says: Says
    topic: str
    station: str
    part: str = ""
    day: datetime.date | None = None
    shift: str = ""
    component: str = ""

    @property
    def marked(self) -> Says:
        """With the word for its kind before it."""
        sign = "▲ " if self.kind != NOTE else ""
        return replace(self.says, words=(f"{sign}{MARKS[self.kind]}:", *self.says.words))

    @property
    def signed(self) -> Says:
        """With the sign of a warning before it."""
        if self.kind == NOTE:
            return replace(self.says, never=(*self.says.never, "▲"))
        return replace(self.says, words=("▲", *self.says.words))


def gravest(found: Iterable[Found]) -> list[Found]:
    """Each once, the gravest first, else as they came."""
    return sorted(dict.fromkeys(found), key=lambda item: item.kind)


def component_words(run: Played, letter: str) -> tuple[str, ...]:
    """How a component is named in a text."""
    name = run.material.material
    return (f"{name} {letter.upper()}",) if len(run.parts) > 1 else (name,)


def unmissed(missed: list[str]) -> tuple[str, ...]:
    """What an oven does give is not told."""
    return tuple(f"to {name}" for name in MILESTONES if name not in missed)


def paced(pace: line.Pace) -> tuple[tuple[str, ...], tuple[Fact, ...]]:
    """What sets the pace of a line; what could where the number asked for does."""
    words, figures = (f"{pace.what} sets the pace", "for each good part"), (Fact(pace.seconds, "s"),)
    if pace.able is None:
        return words, figures
    return (*words, f"{pace.able[0]} allows"), (*figures, Fact(pace.able[1], "s"))


def output_findings(run: Played, here: dict[str, Any]) -> list[Found]:
    """Parts that are not made, half done, or lost."""
    day, found = run.day, []
    for job in run.jobs:
        own = job.finished - job.taken_good
        if own < job.good + job.resumed:  # as in the table: what the shift began before now is its own
            figures = (Fact(own), Fact(job.good + job.resumed), Clock(day, run.hours.end))
            said: tuple[str, ...] = ("good parts", "finished", "longer hours")
            if run.pace:
                mend = "a shorter takt at" if run.pace.able else "quicken the line"
                said, more = (*said, mend), paced(run.pace)
                said, figures = (*said, *more[0]), (*figures, *more[1])
            says = Says(said, (job.part,), figures)
            found.append(Found(STOP, says, "output", part=job.part, **here))
        if job.carried:
            said = ("half done", "finish", "scrap") if run.last else ("half done", "takes them over")
            says = Says(said, (job.part,), (Fact(job.carried),))
            found.append(Found(STOP if run.last else QUALITY, says, "half done", part=job.part, **here))
    for part, origin in dict.fromkeys((row[0], row[2]) for row in run.thrown):
        rows = [row for row in run.thrown if (row[0], row[2]) == (part, origin)]
        figures = (Fact(rows[0][1]), Clock(day, rows[0][3]), Clock(day, from_then_on(rows[0][4])))
        names = (part, f"no. {Reckoning.numbers([row[1] for row in rows])} of {origin}")
        says = Says(("lost half done", "open time", "scrap"), names, figures)
        found.append(Found(STOP, says, "lost half done", part=part, **here))
    return found


def nozzle_findings(run: Played, here: dict[str, Any]) -> list[Found]:
    """Containers that run empty in a part, and a mixer that is too slow for its material."""
    day, found = run.day, []
    for letter in run.parts:
        emptied = [at for which, at in run.emptied if which == letter]
        if not emptied:
            continue
        figures: tuple[Any, ...] = (Fact(len(emptied)), Clock(day, emptied[0]))
        said: tuple[str, ...] = ("runs empty in the middle of a part", "larger or full", "mid-bead")
        kind, topic = QUALITY, "refill in mid-bead"
        if run.station.refill == "in mid-bead":  # the station is made for it: it is told all the same
            said, figures = said[::2], (*figures, Fact(run.station.container_time, "s"))
            kind, topic = NOTE, "stands in mid-bead"
        says = Says(said, component_words(run, letter), figures)
        found.append(Found(kind, says, topic, **here))
    if run.overlong:
        worst_share = max(share for _, share in run.overlong)
        figures = (Fact(len(run.overlong)), Clock(day, run.overlong[0][0]), Fact(worst_share))
        said = ("passes its limit", "smaller mixer")
        if worst_share >= 1:
            said = (*said, "pot life is over")
        else:
            figures += (Fact(run.station.purge_share),)
        found.append(Found(QUALITY, Says(said, (), figures), "limit in a part", **here))
    if run.aged:
        worst_share = max(share for _, share in run.aged)
        figures = (Fact(len(run.aged)), Clock(day, run.aged[0][0]), Fact(worst_share))
        what = "shot" if run.later_before else "part"
        said = (what, "since", "past its limit", "told age", "hold", "new mixer now")
        says = Says(said, (), (*figures, Fact(run.station.purge_share)))
        found.append(Found(QUALITY, says, "told mixer past its limit", **here))
    for part in run.later_before:
        said = ("begun before", "later shot", "reckoned and not told", "look at the parts")
        says = Says(said, (part,), (Clock(day, run.since),))
        found.append(Found(QUALITY, says, "reckoned half done", part=part, **here))
    if run.between > 2:  # a few are not worth a word
        material, share = run.material, run.station.purge_share
        hottest = run.weather.between(run.hours.start, run.hours.end)[1]  # of the shift, not of the day
        life = weather.life_at(material.pot_life, material.pot_life_temperature, material, hottest)
        figures = (Fact(run.between), Fact(run.takt, "s"), Fact(share * life / 60, "min"))
        said = ("between parts", "takt", "longer", "smaller mixer")
        nozzles = run.station.nozzles
        if run.fed:
            said, figures = ("between parts", "waiting for parts", *said[2:]), (figures[0], figures[2])
        elif nozzles > 1:  # each of them works on every second, third, ... part
            figures += (Fact(nozzles * run.takt, "s"), Fact(nozzles))
        if nozzles > 1 and run.busy <= 0.8 * (nozzles - 1) * run.hours.available:
            said = (*said, "one nozzle fewer")
        says = Says(said, (), figures)
        found.append(Found(QUALITY, says, "purges between parts", **here))
    return found


def shift_findings(run: Played) -> list[Found]:
    """What is wrong with a played shift."""
    day, found = run.day, []
    here = {"station": run.station.station, "day": day, "shift": run.shift}
    lasting = {"station": run.station.station}
    found += output_findings(run, here)
    for letter, count in run.missing.items():
        volume = count * run.parts[letter].container
        first = min(e.at for e in run.events if e.kind == "short" and e.letter == letter)
        figures = (Fact(count), Fact(volume, "mL"), Clock(day, first))
        says = Says(("stock", "short", "container", "from"), component_words(run, letter), figures)
        found.append(Found(STOP, says, "shortage", component=letter, **here))
    for letter, volume in run.owed.items():
        figures = (Fact(volume, "mL"), Clock(day, run.hours.start))
        says = Says(("counted as standing here", "missing", "before"), component_words(run, letter), figures)
        found.append(Found(STOP, says, "shortage", component=letter, **here))
    for letter, lot, last in run.expired_lots:
        names = (*component_words(run, letter), lot.name)
        says = Says(("may not be used", "last day", "aside"), names, (last, Fact(lot.left, "mL")))
        found.append(Found(QUALITY, says, "expired lot", component=letter, **lasting))
    for event in run.events:
        if event.kind == "expired":
            names = (*component_words(run, event.letter), event.lot)
            figures = (event.facts["last_day"], Fact(event.volume, "mL"))
            says = Says(("open container", "may not be used", "last day", "throw it away"), names, figures)
            found.append(Found(QUALITY, says, "expired container", **here))
    past: dict[tuple[str, str], list[tuple]] = {}
    for row in run.past:
        past.setdefault(row[:2], []).append(row)
    for (letter, lot), rows in past.items():
        _, _, last, over, first, held, (part, serial) = rows[0]
        following = run.next_lots[letter, over]
        figures = (last, Clock(day, over), Fact(len({row[-1] for row in rows})), Fact(serial))
        figures += (Clock(day, first), Fact(held, "mL"))
        do = "connect a container of lot" if following else "no other usable lot"
        said = ("open container", "past its last day", "would get it", do, "thrown away")
        names = tuple(dict.fromkeys((*component_words(run, letter), lot, part, following or lot)))
        found.append(
            Found(QUALITY, Says(said, names, figures), "used past its last day", component=letter, **here)
        )
    surfaces = [row for row in run.surfaces if row[3] > row[2]]
    mates = [(*key[:2], *run.mates[key]) for key in run.mate_order if run.mates[key][1] > run.mates[key][0]]
    for words, rows, cure in (("surface window", surfaces, "treat"), ("open time", mates, "mate")):
        if not rows:
            continue
        part, serial, latest, planned = rows[0]
        figures = (Fact(len(rows)), Fact(serial), Clock(day, latest), Clock(day, planned))
        said: tuple[str, ...] = (words, "miss", "first", "latest", "planned", cure)
        worst = max(rows, key=lambda row: round(row[3] - row[2]))  # the first of equals
        late = Fact((worst[3] - worst[2]) / 60, "min", 0.02)
        may: tuple[Fact, ...] = ()
        if worst != rows[0]:
            said = (*said, "worst", "late")
            figures += (Fact(worst[1]), late)
        else:  # another that is as late may be called the worst
            may = (
                late,
                *(Fact(row[1]) for row in rows if round(row[3] - row[2]) == round(worst[3] - worst[2])),
            )
        names = tuple({part, worst[0]})
        found.append(Found(STOP, Says(said, names, figures, may), words, part=part, **here))
    found += nozzle_findings(run, here)
    for part, missed in run.unreached.items():
        oven = Says(
            ("oven profile", "does not reach", *missed, "hold longer"), (part,), never=unmissed(missed)
        )
        found.append(Found(QUALITY, oven, "cure", part=part, **lasting))
    if run.material.pot_life and run.station.mixer_volume:
        words, figures = extrapolated(run.material, run.weather.coldest, run.weather.hottest)
        if words:
            found.append(Found(NOTE, Says(("pot life", *words), (), figures), "pot life", **lasting))
    return gravest(found)


def messages(found: list[Found]) -> list[Message]:
    """A table of findings without further columns."""
    return [Message(item.kind, {}, item.marked) for item in found] or [
        Message(NOTE, {}, Says(("no warning",)))
    ]


MOST_LACKING = 5  # tables: a plan that has fewer of the optional ones is a small one, and not told so

#: tables that a plan need not have; the results name those that it has not
OPTIONAL_TABLES = (
    "Assemblies",
    "Beads",
    "Paths",
    "Pots",
    "Inserts",
    "Shots",
    "Joints",
    "Temperatures",
    "Profiles",
    "Ovens",
    "Breaks",
    "Stock",
)
OF_CURE = {"open time", "surface window", "cure", "wait", "half done", "lost half done"}
OF_CURE |= {"told mixer past its limit", "reckoned half done"}  # of what was made before now
MILESTONES = ("move", "join", "test")
OF_ENGINEER = {"pour model", "runaway", "runaway criterion"}  # how a figure came: not for the station
OF_STOCK = {"shortage", "expired lot", "expired container"}


# ---------------------------------------------------------------------------------------------- pages


class Reckoning:
    """Every page of a golden plan."""

    def __init__(self, tables: dict, stretches: dict[tuple[datetime.date, str], Stretch] | None = None):
        self.plant = Plant(tables)
        self.runs = line.play(self.plant, stretches)
        for run in self.runs:
            if run.material.cure == "oven":
                for part in dict.fromkeys(batch.part for batch in run.batches):
                    times, _ = self.cure(run, part, 0.0)
                    missed = [name for name, clock in zip(MILESTONES, times, strict=True) if clock is None]
                    run.unreached |= {part: missed} if missed else {}

    # ---------------------------------------------------------------------------------- shared

    def head(self) -> dict[str, Any]:
        """What stands on every sheet."""
        settings = self.plant.settings
        return {
            "plant": settings["Plant"],
            "revision": None,  # none of these plans was released
            "line": settings["Line"],
            "prepared_by": settings["Prepared by"],
            "stamp": STAMP,
        }

    def has_cells(self, station: str) -> bool:
        """Whether a station pours around cells."""
        return any(pot.station == station and pot.cells for pot in self.plant.pots)

    def shift_head(self, run: Played) -> dict[str, Any]:
        """Heading of a sheet of one station and shift."""
        return {
            **self.head(),
            "day": run.day,
            "shift": run.shift,
            "hours": self.hours(run),
            "station": run.station.station,
            "material": run.material.material,
            "description": run.material.description,
            "cautions": cautions(run.material, self.has_cells(run.station.station)),
        }

    @staticmethod
    def hours(run: Played) -> Says:
        """Start and end."""
        return Says(figures=(Clock(run.day, run.hours.start), Clock(run.day, run.hours.end)))

    @staticmethod
    def day_range(run: Played) -> tuple[float, float]:
        """Coldest and hottest hour of the shift."""
        return run.weather.between(run.hours.start, run.hours.end)

    # ---------------------------------------------------------------------------- material sheet

    def material_page(self, run: Played) -> Page:
        """The shift material sheet."""
        day, density, parts = run.day, run.density, run.parts
        mixed = sum(
            run.used[letter][use]
            for letter in parts
            for use in USES
            if use not in ("heel", "rest", "expired")
        )
        drawn = sum(run.drawn(letter) for letter in parts)
        on_parts = amounts.add([pair for job in run.jobs for pair in job.put_on])
        kinds = [(job, amounts.add([(shot, 1) for shot in job.shots])) for job in run.jobs]
        first = kinds[0][1].volume
        names = {
            **self.shift_head(run),
            "headline": self.bring(run),
            "parts_good": Num(sum(job.good + job.resumed for job in run.jobs)),
            "parts_finished": Num(sum(job.finished for job in run.jobs)),
            "parts_started": Num(sum(job.begun for job in run.jobs)),
            "takt": None if run.fed or run.takt == math.inf else Num(run.takt),
            "mixed_total": Num(mixed),
            "mixed_mass": Num(mixed * density / 1000),
            "on_parts": Num(on_parts.volume),
            "on_parts_low": Num(on_parts.low),
            "on_parts_high": Num(on_parts.high),
            "matters_most": driver(on_parts.main),
            "waste_share": Num(1 - sum(run.used[letter]["parts"] for letter in parts) / drawn),
            "purges": Num(run.purges),
            "mixers": Num(run.mixers),
            "check_shots": Num(run.checks),
            "shop_temperature": range_says(*self.day_range(run)),
            "pot_life": life_says(run.material, *self.day_range(run)),
            "rule": rule_says(run.station, run.material),
            "shot_first": Num(first),
        }
        names["headline"] = self.since(run, names["headline"])
        page = Page("shift_material", day, names)
        page.tables["MaterialParts"] = [
            {
                "Part": job.part,
                "Asked": Num(job.good + job.resumed),
                "Started": Num(job.begun),
                "Taken over": Num(job.taken),
                "Finished": Num(job.finished),
                "Scrapped": Num(job.lost),
                "Lost": Num(job.thrown),
                "Handed over": Num(job.carried),
                "Shot [mL]": Num(shot.volume),
                "Low [mL]": Num(shot.low),
                "High [mL]": Num(shot.high),
                "Shot mass [g]": Num(shot.volume * density),
                "Total [mL]": Num(shot.volume * job.begun),
                "Main tolerance": driver(shot.main),
            }
            for job, shot in kinds
        ]
        page.totals["MaterialParts"] = {
            **{
                head: Num(sum(row[head].value for row in page.tables["MaterialParts"]))
                for head in ("Asked", "Started", "Taken over", "Finished", "Scrapped", "Lost", "Handed over")
            },
            "Total [mL]": Num(sum(shot.volume * job.begun for job, shot in kinds)),
        }
        use = [self.use(run, letter) for letter in parts]
        page.tables["MaterialUse"] = use
        page.totals["MaterialUse"] = {
            head: Num(sum(row[head].value for row in use)) for head in use[0] if head != "Component"
        }
        page.totals["MaterialUse"]["Rest [mL]"] = left_over(sum(row["Rest [mL]"].value for row in use))
        page.beside["Balance: opening + connected − used − left at end [mL]"] = [Num(0.0), "holds"]
        page.tables["MaterialTimes"] = self.times(run)
        page.tables["MaterialLater"] = self.later_rows(run)
        page.tables["MaterialHandover"] = self.handover(run)
        page.beside["More parts to start:"] = [Num(10)]
        page.tables["MaterialMore"] = []
        for letter, share in run.shares.items():
            usable = parts[letter].container * (1 - parts[letter].heel)
            more = 10 * first * share
            page.tables["MaterialMore"].append(
                {
                    "Component": letter_name(letter, parts),
                    "Share": Num(share),
                    "Left [mL]": Num(run.left[letter]),
                    "Container [mL]": Num(usable),
                    "More [mL]": Num(more),
                    "More containers": Num(math.ceil(max(0.0, more - run.left[letter]) / usable - 1e-9)),
                }
            )
        page.tables["MaterialLots"] = [
            {
                "Component": letter_name(lot["letter"], parts),
                "Containers": Num(lot["containers"]),
                "Volume [mL]": Num(lot["volume"]),
                "Needed from": moment(day, lot["first"]),
                "Last day": lot["last_day"],
                "Lot": lot["lot"],
            }
            for letter in run.parts
            for lot in run.lots
            if lot["letter"] == letter and lot["lot"] != "no stock"
        ] or [
            {
                "Component": None,
                "Containers": None,
                "Volume [mL]": None,
                "Needed from": None,
                "Last day": None,
                "Lot": Says(
                    ("nothing usable",)
                    if run.missing
                    else ("lacking since",)
                    if run.owed
                    else ("none", "enough stands")
                ),
            }
        ]
        found = [item for item in shift_findings(run) if item.kind != NOTE]
        found += [
            item
            for item in self.station_findings(run.station)
            if item.kind in (DANGER, STOP) or item.topic == "wait"
        ]
        page.messages["MaterialWarnings"] = messages(gravest(found))
        return page

    @staticmethod
    def since(run: Played, headline: Says) -> Says:
        """What leads a sheet says before all else from when on it holds."""
        if run.since is None:
            return replace(headline, never=(*headline.never, "From "))
        figures = (Clock(run.day, run.since), *headline.figures)
        return replace(headline, words=("From ", *headline.words), figures=figures)

    @staticmethod
    def bring(run: Played) -> Says:
        """Containers of each component, and what the store does not have."""
        if not any(run.containers.values()) and not run.owed:
            return Says(("bring nothing",))
        figures: list[Fact] = []
        words: list[str] = []
        for letter, count in run.containers.items():
            missing = run.missing.get(letter, 0)
            for number in (count - missing, missing + (letter in run.owed)):
                if number:
                    figures += [Fact(number), size(run.parts[letter].container)]
                    words += [f"{number} × {letter.upper()}"] if len(run.parts) > 1 else []
        if any(count > run.missing.get(letter, 0) for letter, count in run.containers.items()):
            words.append("bring")
        is_short = bool(run.missing or run.owed)
        words += ["missing"] if is_short else []
        return Says(tuple(words), (), tuple(figures), never=() if is_short else ("missing",))

    @staticmethod
    def use(run: Played, letter: str) -> dict[str, Any]:
        """What became of one component."""
        used = run.used[letter]
        return {
            "Component": letter_name(letter, run.parts),
            "Containers": Num(run.containers[letter]),
            "Opening [mL]": Num(run.opening[letter]),
            "Connected [mL]": Num(run.mounted[letter]),
            **{f"{USE_HEADS.get(use, use.capitalize())} [mL]": Num(used[use]) for use in USES},
            "Rest [mL]": left_over(used["rest"]),
            "Used [mL]": Num(run.drawn(letter)),
            "Left at end [mL]": Num(run.closing[letter]),
            "Mass [kg]": Num(run.drawn(letter) * run.parts[letter].density / 1000),
        }

    # each kind of event in its turn, to be read beside a clock list
    def times(self, run: Played) -> list[dict[str, Any]]:  # noqa: C901
        """Events and latest times in order of the clock."""
        day, name = run.day, run.material.material
        rows: list[tuple[float, dict[str, Any]]] = []
        for event in run.events:
            if event.kind == "check":
                continue  # they stand on the shot-check sheet, with boxes to write in
            facts, figures = event.facts, []
            names: tuple[str, ...] = (name,)
            if event.kind == "container":
                words: tuple[str, ...] = ("connect",)
                names = (*component_words(run, event.letter), event.lot)
                names += (facts["before"],) if facts["before"] not in (None, event.lot) else ()
                words += ("after lot",) if facts["before"] else ()
                if facts["rest"] > 1e-6:
                    words, figures = (*words, "do not make the next part"), [Fact(facts["rest"], "mL")]
                meanwhile = {
                    "start": "at the start",
                    "mixers": "while the mixer fills",
                    "purge": "in the purge",
                    "checks": "in the check",
                    "end": "in the last purge",
                }
                if facts["empties"] and facts["empties"][0] in meanwhile:
                    use, held = facts["empties"]
                    words = (*words, "the old one", "left, runs empty", meanwhile[use])
                    figures = [Fact(held, "mL")]
                if facts["within"]:
                    part, serial = facts["within"]
                    words, names = (*words, "in the middle of", "stands"), (*names, f"{part} no. {serial}")
                    figures = [Fact(run.station.container_time, "s")]
            elif event.kind == "short":
                words, names = ("no usable", "missing"), component_words(run, event.letter)
                figures = [Fact(event.volume, "mL")]
            elif event.kind == "expired":
                words, names = ("throw away",), (*component_words(run, event.letter), event.lot)
                figures = [facts["last_day"]]
            elif event.kind == "hold" and "shot" in facts:
                words, names = ("begin none from", "would come after the plan's last shift"), (facts["part"],)
                figures = [Clock(day, facts["since"]), Fact(facts["shot"])]
            elif event.kind == "hold":
                words = ("begin none before", "open time would not outlast", facts["pause"])
                names, figures = (facts["part"],), [Clock(day, facts["until"])]
            elif event.kind in ("purge", "mixer", "off"):
                words, figures = self.mixer_says(run, event)
                names = ()
            else:
                first = facts.get("first", True)
                words = {
                    "start": ("start of shift",) if first else ("start", "the first part comes"),
                    "end": ("last part done",),
                    "break": ("break until",),
                    "stop": ("the line stands until",),
                }[event.kind]
                names = ()
                if "done" in facts:
                    words, figures = ("from now on", "started before"), [Fact(facts["done"])]
                elif event.kind == "start":
                    more, figures = self.start_says(run, facts)
                    words += more
                if event.kind in ("break", "stop"):
                    figures = [Clock(day, facts["until"])]
                if event.kind == "end":
                    if run.station.mixer_volume:
                        off = ("take the mixer off", "close the outlets", "throw the mixer away")
                        words += ("keep the mixer closed",) if facts["closed"] else off
                    figures = [Clock(day, facts["good"])] if facts.get("good") else []
                    if run.hours.worked(event.at) < run.hours.available:
                        words, figures = (*words, "free until"), [*figures, Clock(day, run.hours.end)]
                if event.volume and event.kind in ("start", "end"):  # no part gets it
                    words, figures = (*words, "throw away"), [*figures, Fact(event.volume, "mL")]
            never = ("after the",) if facts.get("after") == "" else ()
            if event.nozzle:
                words = (f"nozzle {event.nozzle}:", *words)
                figures = [Fact(event.nozzle), *figures]
            rows.append(
                (
                    event.at,
                    {
                        "Time": moment(day, event.at),
                        "Event": event.kind,
                        "Component": letter_name(event.letter, run.parts) if event.letter else None,
                        "Lot": event.lot or None,
                        "Volume [mL]": Num(event.volume) if event.volume else None,
                        "Action": Says(words, names, tuple(figures), never=never),
                    },
                )
            )
        hands = [(clock, "window", says) for clock, says in self.windows(run)]
        hands += [(clock, "later shot", says) for clock, says in self.later_told(run)]
        for clock, kind, says in hands:
            rows.append(
                (
                    clock,
                    {
                        "Time": moment(day, clock),
                        "Event": kind,
                        "Component": None,
                        "Lot": None,
                        "Volume [mL]": None,
                        "Action": says,
                    },
                )
            )
        return [row for _, row in sorted(rows, key=lambda item: round(item[0]))]

    @staticmethod
    def start_says(run: Played, facts: dict[str, Any]) -> tuple[tuple[str, ...], list[Any]]:
        """With which mixer a run begins, and what a new one takes to be full."""
        if not run.station.mixer_volume:
            return (), []
        if facts["kept"]:
            return ("go on with the mixer",), []
        full = Fact(run.station.mixer_volume, "mL")
        if facts["kept"] is None:
            return ("put on a new mixer", "fill it"), [full]
        words = ("kept closed", "was good until", "a new mixer", "fill it")
        return words, [Clock(run.day, facts["good"]), full]

    def handover(self, run: Played, parts_only: bool = False) -> list[dict[str, Any]]:
        """What stands at the station before and after the shift."""
        heads = ("Part", "Part numbers", "Count", "Volume [mL]", "Next step", "Latest")
        found = []
        for way, now, items in (
            ("taken over", run.hours.start, run.taken_over),
            ("handed over", run.hours.end, run.handed_over),
        ):
            for item in items:
                row: dict[str, Any] = {"Way": way, **dict.fromkeys(heads)}
                if "part" in item:
                    visit = f", visit {item['turn'] + 1} to come" if item["sort"] == "half done" else ""
                    visit = f", from {item['before']}" if "before" in item else visit
                    origin = f" of {item['origin']}" if item["origin"] else ""
                    row |= {"What": item["sort"] + visit, "Part": item["part"]}
                    row |= {"Part numbers": self.numbers(item["serials"]) + origin}
                    due = item["due"] if item["sort"] == "to be mated" else from_then_on(item["due"])
                    row |= {"Count": Num(len(item["serials"])), "Next step": moment(run.day, due)}
                elif parts_only:
                    continue
                else:
                    letter = f"{item['letter'].upper()} " if "letter" in item and len(run.parts) > 1 else ""
                    name = (
                        f"container {letter}lot {item['lot']}" if "lot" in item else f"mixer{item['state']}"
                    )
                    if "lot" in item and item["latest"] is not None and item["latest"] + 60.0 <= now:
                        name += ", too old: throw away"  # its last day ended with that minute
                    row |= {"What": name, "Volume [mL]": left_over(item["volume"])}
                if item["latest"] is not None:
                    row["Latest"] = moment(run.day, item["latest"])
                found.append(row)
        nothing = "no part in process" if parts_only else "nothing stands here"
        return found or [{"Way": "–", "What": nothing, **dict.fromkeys(heads)}]

    @staticmethod
    def mixer_says(run: Played, event) -> tuple[tuple[str, ...], list[Fact]]:
        """Purges, new mixers, and what is done with one that would stand too long."""
        facts, station = event.facts, run.station
        if "idle" in facts:
            idle = facts["idle"]
            count, limit = idle["count"], Clock(run.day, idle["limit"])
            figures, words = [Clock(run.day, idle["until"])], ("no part until",)
            if idle["changed"]:
                words = (
                    "take the mixer off",
                    "close the outlets",
                    *words,
                    "reaches its limit",
                    "gets a new one",
                )
                return words, [*figures, limit]
            if event.kind == "purge" and not idle["long"]:
                words, figures = ("purge", *words, "reaches its limit"), [*figures, limit]
                if facts["dear"]:
                    words += ("a new mixer takes", "purging")  # both ways, since the other is the cheaper
                    for volume, time in (idle["fitting"], idle["purging"]):
                        figures += [Fact(volume, "mL"), *duration(time)]
                return words, [Fact(event.volume, "mL"), *figures]
            words += ("a new mixer takes",)
            figures += [Fact(station.mixer_volume, "mL"), *duration(station.mixer_time)]
            if count:
                words += ("purging every",)
                figures += [*duration(idle["every"]), Fact(count), Fact(idle["volume"], "mL")]
                figures += duration(count * station.purge_time)
            else:
                words += ("purging cannot keep the limit",)
            if event.kind == "purge":
                return ("purge", *words), [Fact(event.volume, "mL"), *figures]
            words = ("take the mixer off", "close the outlets", *words, "reaches its limit")
            return words, [*figures, limit]
        after: tuple[str, ...] = (f"after the {facts['after']}",) if facts["after"] else ()
        if facts.get("new"):
            return ("put on a new mixer", *after, "fill it"), [Fact(station.mixer_volume, "mL")]
        words, figures = ("purge", *after), [Fact(event.volume, "mL")]
        if event.kind == "mixer":
            reason = "limit reached"
            if facts["share"] >= 1:
                reason = "pot life is over"
            elif facts["over"] and station.rule != "change mixer":  # it would gel while it is purged
                reason = "pot life would be over before a purge is through"
            words = ("change the mixer", *after, reason)
            figures = []
        limit = Fact(station.purge_share)
        if facts["share"] >= station.purge_share:
            return words, [*figures, Fact(facts["share"]), limit, Clock(run.day, facts["reached"])]
        return (*words, "the next part would end at"), [*figures, Fact(facts["by_end"]), limit]

    @staticmethod
    def later(run: Played) -> list[tuple[float, str, int, str, Any, Any]]:
        """From which whole minute on the next shot of a part may be poured, never sooner than its wait: with
        the part, its number, the shift that began it, the shot and the one before."""
        found = []
        for part, serial, turn, origin, earliest in run.later:
            shots = next(job.shots for job in run.jobs if job.part == part)
            starts = [place for place, shot in enumerate(shots) if shot.wait or not place]
            now, before = shots[starts[turn]], shots[starts[turn] - 1]
            found.append((earliest, part, serial, origin, now, before))
        return sorted(found, key=lambda item: item[0])

    def later_rows(self, run: Played) -> list[dict[str, Any]]:
        """The page of later shots; a blank row where there is none."""
        rows = [
            {
                **self.later_amount(run, now),
                "Part": part,
                "No.": Num(serial),
                "Begun": f"{serial} of {origin}" if origin else None,
                "Shot": Num(now.number),
                "After shot": Num(before.number),
                "Wait at least [min]": Num(now.wait / 60.0),
                "Not before": moment(run.day, from_then_on(earliest)),
            }
            for earliest, part, serial, origin, now, before in self.later(run)
        ]
        heads = ("Part", "No.", "Begun", "Shot", "After shot", "Wait at least [min]", "Not before")
        return rows or [dict.fromkeys((*heads, "Mass [g]", "Mass low [g]", "Mass high [g]", "Volume [mL]"))]

    @staticmethod
    def later_amount(run: Played, shot: amounts.Shot) -> dict[str, Any]:
        """What one shot must weigh, between the limits of its meter, and its volume."""
        grams, tolerance = shot.volume * run.density, run.station.meter_tolerance
        one = weighing.weigh(grams, tolerance)
        low, high = weighing.inward(grams * (1 - tolerance), grams * (1 + tolerance), one.single_digits)
        return {
            "Mass [g]": printed(one.single, one.single_digits),
            "Mass low [g]": printed(low, one.single_digits),
            "Mass high [g]": printed(high, one.single_digits),
            "Volume [mL]": Num(shot.volume),
        }

    def later_told(self, run: Played) -> list[tuple[float, Says]]:
        """From when on the first of each later shot comes."""
        found: dict[tuple[str, int], tuple[float, Says]] = {}
        for earliest, part, _, _, now, before in self.later(run):
            clock = from_then_on(earliest)
            figures = (Fact(now.number), Fact(before.number), *duration(now.wait))
            words = ("from now on shot", "each at least", "after shot", "page Later shots")
            found.setdefault((part, now.number), (clock, Says(words, (part,), figures)))
        return list(found.values())

    @staticmethod
    def windows(run: Played) -> list[tuple[float, Says]]:
        """Latest times: the first part of a kind, those that wait over a break, and those too late."""
        day, found = run.day, []
        window, lead = run.material.surface_window, run.station.treatment_lead
        late = {(part, serial) for part, serial, latest, begun in run.surfaces if begun > latest + 1e-6}
        for part in dict.fromkeys(row[0] for row in run.surfaces):
            rows = [(serial, latest, begun) for name, serial, latest, begun in run.surfaces if name == part]
            serial, latest, first = rows[0]
            if (part, serial) not in late:  # told when it is begun, not when it is too late
                why = duration(window)
                says = Says(
                    ("dispense by", "surface keeps"), (part,), (Fact(serial), Clock(day, latest), *why)
                )
                found.append((first, says))
            for start, end in run.hours.breaks:
                waits = []
                for serial, latest, begun in rows:
                    treated = latest - window
                    due = run.hours.at(run.hours.worked(treated) + lead)
                    if treated < end and due >= end - 1e-6 and (part, serial) not in late:
                        waits.append((serial, latest, begun))
                if waits:
                    numbers = (
                        Fact(waits[0][0]),
                        Clock(day, start),
                        Fact(waits[0][0]),
                        Clock(day, waits[0][1]),
                    )
                    numbers += (Fact(waits[-1][0]),) if len(waits) > 1 else ()
                    found.append(
                        (waits[0][2], Says(("treated over the break", "dispense"), (part,), numbers))
                    )
        misses = [
            ("surface window", [r for r in run.surfaces if (r[0], r[1]) in late], "treat"),
            (
                "open time",
                [
                    (*key[:2], *run.mates[key])
                    for key in run.mate_order
                    if run.mates[key][1] > run.mates[key][0] + 1e-6
                ],
                "mate",
            ),
        ]
        for words, rows, cure in misses:
            groups: list[list] = []
            for row in rows:
                if groups and groups[-1][-1][0] == row[0] and groups[-1][-1][1] + 1 == row[1]:
                    groups[-1].append(row)
                else:
                    groups.append([row])
            for group in groups:
                part, serial, latest, planned = group[0]
                figures = (Fact(serial), Clock(day, latest), Clock(day, planned))
                figures += (Fact(group[-1][1]),) if len(group) > 1 else ()
                # when someone is there before the surface is past it; from when on the part can be mated
                act = run.hours.fit_before(latest, 0.0) or run.hours.start
                if cure == "mate":
                    act = run.ends[part, serial, latest]
                found.append((act, Says(("▲", words, "planned", cure), (part,), figures)))
        return sorted(found, key=lambda item: item[0])

    # -------------------------------------------------------------------------------- setup card

    def worked_hours(self, station) -> list[Hours]:
        """The shifts that build a part which this station puts something on."""
        own = {
            row.part
            for row in self.plant.parts
            if any(shot.station == station.station for shot in amounts.shots_of(self.plant, row.part))
        }
        days = [key for key in self.plant.days() if any(self.plant.builds_of(*key).get(part) for part in own)]
        assert days, "every golden station works"
        return [Hours(self.plant, *key) for key in days]

    def worked_range(self, station, sky) -> tuple[float, float]:
        """Coldest and hottest hour of those shifts."""
        ends = [sky.between(hours.start, hours.end) for hours in self.worked_hours(station)]
        return min(low for low, _ in ends), max(high for _, high in ends)

    def open_says(self, station, material, sky) -> Says:
        """Open time, played from each half hour of those shifts and their ends: shortest and longest."""
        if not material.open_time:
            return Says(("none stated",))
        if material.cure == "moisture":
            ageing = weather.moisture_ageing(
                sky, material.cure_temperature, material.moisture_humidity, material.moisture_energy or 0.0
            )
            share = material.open_time
        else:
            ageing = weather.room_ageing(
                sky,
                material.open_time,
                material.pot_life_temperature,
                weather.energy_of(material),
                material.halving_step,
            )
            share = 1.0
        found = []
        for hours in self.worked_hours(station):
            steps = math.ceil((hours.end - hours.start) / 1800)
            for begin in [*(hours.start + 1800 * step for step in range(steps)), hours.end]:
                found.append((ageing.when(begin, share) - begin, begin))
        told = [min(found), max(found)]
        if told[0][0] > 0.98 * told[1][0]:
            told = told[:1]
        figures: tuple[Fact, ...] = ()
        for time, begin in told:
            figures += (*duration(time), Fact(float(sky.temperature(begin)), "°C"))
            if material.cure == "moisture":
                figures += (Fact(float(sky.humidity(begin))),)
        return Says(("at", "°C"), figures=figures)

    def setup_page(self, station) -> Page:
        """The setup card."""
        plant, material = self.plant, self.plant.material(station.material)
        parts = plant.parts_of(material.material)
        shares, density = hb.shares(material, parts), hb.density(material, parts)
        sky = weather.Day.of(plant, station)
        shots = [
            shot
            for row in plant.parts
            for shot in amounts.shots_of(plant, row.part)
            if shot.station == station.station
        ]
        cups = [weighing.weigh(shot.volume * density, station.meter_tolerance) for shot in shots]
        first = shots[0]
        ratio = Says(("one-part",))
        if len(parts) > 1:
            a, b = shares["a"], shares["b"]
            by_mass = 100 * b * parts["b"].density / (a * parts["a"].density)
            ratio = Says(
                ("by volume", "by mass"), figures=(*ratio_figures(100 * b / a), *ratio_figures(by_mass))
            )
        treatment: Any = Says((material.surface_treatment or "none stated",))
        if material.surface_window:
            treatment = Says((material.surface_treatment, "keeps"), figures=duration(material.surface_window))
        own = [
            place for place, shot in enumerate(shots) if (shot.part, shot.name) == (first.part, first.name)
        ]
        named = (first.part, first.name) if len(shots) > len(own) else ()
        headline = Says(("set",), named, (Fact(cups[0].single, "g", 0.0),))
        if len(own) > 1:  # every shot of the first pot is told: a later one may be another mass
            waits = [shots[place].wait for place in own[1:]]
            assert len(set(waits)) == 1, "the golden pots wait alike before each shot"
            masses: list[Fact] = [Fact(len(own))]
            for _, alike in itertools.groupby(own, key=lambda place: cups[place].single):
                places = list(alike)
                masses += [Fact(len(places))] if len(places) > 1 else []
                masses.append(Fact(cups[places[0]].single, "g", 0.0))
            words = ("shots", *(("wait at least",) if waits[0] else ()))
            headline = Says(words, named, (*masses, *(duration(waits[0]) if waits[0] else ())))
        names = {
            **self.head(),
            "station": station.station,
            "material": material.material,
            "description": material.description,
            "headline": headline,
            "meter": station.meter,
            "ratio": ratio,
            "density": Num(density),
            "shop_temperature": range_says(sky.coldest, sky.hottest),
            "pot_life": life_says(material, *self.worked_range(station, sky)),
            "rule": rule_says(station, material),
            "mixer_volume": self.optional(station.mixer_volume or None),
            "purge_volume": self.optional(station.purge_volume or None),
            "start_volume": Num(station.start_volume),
            "nozzle_bore": self.optional(station.nozzle_bore),
            "nozzle_length": self.optional(station.nozzle_length),
            "pressure_limit": self.optional(station.pressure_limit),
            "flow_limit": self.optional(station.flow_limit),
            "surface_treatment": treatment,
            "open_time": self.open_says(station, material, sky),
            "pot_life_source": self.source(material),
            **self.check_of_card(station, shots, density),
            "weighed_on": None,  # people write it
            "cautions": cautions(material, self.has_cells(station.station)),
        }
        page = Page("station_setup", None, names)
        page.tables["SetupShots"] = [
            self.shot_row(shot, shares, parts, cup, station) for shot, cup in zip(shots, cups, strict=True)
        ]
        page.tables["SetupFlows"] = [self.flow_row(shot, station, material, shares, sky) for shot in shots]
        found = self.station_findings(station)  # what only is to be known stands on a sheet of its own
        for name, is_note, nothing in (
            ("SetupNotes", False, "no warning"),
            ("SetupRemarks", True, "nothing to note"),
        ):
            page.messages[name] = [
                Message(item.kind, {"Kind": MARKS[item.kind]}, item.signed)
                for item in found
                if (item.kind == NOTE and item.topic != "wait") == is_note
                and not (is_note and item.topic in OF_ENGINEER)
            ] or [Message(NOTE, {"Kind": "note"}, Says((nothing,)))]
        return page

    @staticmethod
    def source(material) -> Any:
        """Where the pot life is from; a figure in it is its own."""
        return material.pot_life_source or None

    @staticmethod
    def optional(value: float | None) -> Num | None:
        """A number, or an empty cell."""
        return None if value is None else Num(value)

    def shot_row(self, shot: amounts.Shot, shares, parts, cup, station) -> dict[str, Any]:
        """What to weigh."""
        masses = {
            letter: printed(cup.grams(shot.volume * share * parts[letter].density), cup.digits)
            for letter, share in shares.items()
        }
        return {
            "Part": shot.part,
            "Application": shot.name,
            "Shot": Num(shot.number),
            "Mass [g]": printed(cup.single, cup.single_digits),
            "Shots together": Num(cup.count),
            "Mass of n shots [g]": printed(cup.target, cup.digits),
            "Mass low [g]": printed(cup.low, cup.digits),
            "Mass high [g]": printed(cup.high, cup.digits),
            "Mass A [g]": masses["a"],
            "Mass B [g]": masses.get("b"),
            "Volume [mL]": Num(shot.volume),
            "Volume low [mL]": Num(shot.low),
            "Volume high [mL]": Num(shot.high),
            "Detail": self.detail(shot, True),
            "Main tolerance": driver(shot.main),
            "Limits from": meter_says(station),
        }

    def detail(self, shot: amounts.Shot, on_card: bool = False) -> Says:
        """Sizes; on the setup card the wait before it too."""
        row = shot.row
        times = (Fact(row.count),) if row.count > 1 else ()
        if shot.kind == "pot":
            station = next(row for row in self.plant.stations if row.station == shot.station)
            shrinks = self.plant.material(station.material).shrinkage > 0.0
            words = ("to", *(("cured",) if shrinks else ()), *(("times",) if times else ()))
            if shot.wait and on_card:
                waits = duration(shot.wait)
                return Says(
                    (*words, "wait", "after the shot before"), (), (Fact(shot.level, "mm"), *times, *waits)
                )
            return Says(words, (), (Fact(shot.level, "mm"), *times), never=("wait",))
        if shot.kind == "joint":
            return Says(("bond line", "mm"), figures=(Fact(row.gap, "mm"), *times))
        figures = (Fact(row.width), *((Fact(row.height),) if row.height else ()), Fact(shot.length, "mm"))
        words: tuple[str, ...] = (row.section, "mm")
        if row.run:
            words, figures = (*words, "runs", "gaps"), (*figures, Fact(row.run, "mm"), Fact(row.gap, "mm"))
        return Says((*words, *(("times",) if times else ())), figures=(*figures, *times))

    def flow(self, shot: amounts.Shot, station) -> tuple[float | None, float | None]:
        """Speed, and flow: of a bead its section times the speed, where there is one."""
        if shot.kind == "bead" and station.speed:
            return station.speed, shot.area * station.speed / 1000
        return None, station.flow

    def pressures(self, shot, station, material, sky) -> tuple[float | None, float | None, float | None]:
        """Nozzle and mixer at the coldest hour, shear rate at the nozzle's wall."""
        return self.drops(self.flow(shot, station)[1], station, material, sky)

    def drops(self, flow, station, material, sky) -> tuple[float | None, float | None, float | None]:
        """The same for a flow."""
        thick = material.consistency
        if flow is None or thick is None:
            return None, None, None
        if material.viscosity_energy is not None:
            thick = hb.arrhenius(
                thick, material.viscosity_energy, sky.coldest, material.viscosity_temperature
            )
        nozzle = mixer = rate = None
        paste = (thick, material.index, material.yield_stress)
        if station.nozzle_bore:
            nozzle = hb.tube_pressure(flow, station.nozzle_bore, station.nozzle_length, *paste)
            rate = hb.shear_rate(flow, station.nozzle_bore, material.index)
        if station.mixer_bore:
            mixer = hb.MIXER * hb.tube_pressure(flow, station.mixer_bore, station.mixer_length, *paste)
        return nozzle, mixer, rate

    def flow_row(self, shot: amounts.Shot, station, material, shares, sky) -> dict[str, Any]:
        """What to set."""
        speed, flow = self.flow(shot, station)
        nozzle, mixer, rate = self.pressures(shot, station, material, sky)
        return {
            "Part": shot.part,
            "Application": shot.name,
            "Shot": Num(shot.number),
            "Speed [mm/s]": self.optional(speed),
            # a meter that is set by time delivers flow times time: that must be the volume of the shot
            "Dispense time [s]": self.optional(None if flow is None else shot.volume / flow),
            "At the station [s]": Num(shot.seconds),
            "Flow [mL/s]": self.optional(flow),
            "Flow A [mL/s]": None if flow is None else Num(flow * shares["a"]),
            "Flow B [mL/s]": None if flow is None or "b" not in shares else Num(flow * shares["b"]),
            "Nozzle pressure [bar]": self.optional(nozzle),
            "Mixer pressure [bar]": self.optional(mixer),
            "Shear rate [1/s]": self.optional(rate),
            "Wait [min]": self.optional(shot.wait / 60 or None),
        }

    def station_findings(self, station) -> list[Found]:
        """What the plan itself says of a station: limits, pressed joints, pours, what figures rest on."""
        name, material = station.station, self.plant.material(station.material)
        sky = weather.Day.of(self.plant, station)
        shots = [
            shot
            for row in self.plant.parts
            for shot in amounts.shots_of(self.plant, row.part)
            if shot.station == name
        ]
        found = []
        if material.consistency is not None and material.viscosity_energy is None:
            measured = material.viscosity_temperature
            if abs(sky.coldest - measured) > 2:
                figures: tuple[Fact, ...] = (Fact(measured, "°C"), Fact(sky.coldest, "°C"))
                says = Says(("viscosity", "activation energy", "coldest"), (), figures)
                found.append(Found(NOTE, says, "viscosity", name))
        if material.pot_life:
            words, figures = basis_words(material)
            found.append(Found(NOTE, Says(("pot life", *words), (), (), figures), "pot life", name))
            words, figures = extrapolated(material, sky.coldest, sky.hottest)
            if words:
                found.append(Found(NOTE, Says(("pot life", *words), (), figures), "pot life", name))
        for shot in shots:
            _, flow = self.flow(shot, station)
            names = (shot.part, shot.name)
            if flow and station.flow_limit and flow > station.flow_limit:
                figures = (Fact(flow, "mL/s"), Fact(station.flow_limit, "mL/s"))
                says = Says(("flow", "above", "limit", "slower"), names, figures)
                found.append(Found(STOP, says, "flow limit", name, shot.part))
            bars = sum(bar or 0.0 for bar in self.pressures(shot, station, material, sky)[:2])
            if station.pressure_limit and bars > station.pressure_limit:
                # rounded up, so that what is above a limit is never printed as the limit
                above = math.ceil(10 * bars - 1e-6) / 10
                figures = (Fact(above, "bar", 0.0), Fact(station.pressure_limit, "bar"))
                says = Says(("needed", "limit", "never run above"), names, figures)
                found.append(Found(DANGER, says, "pressure limit", name, shot.part))
        found += self.purge_findings(station, material, sky)
        found += self.pressed_findings(station, material, shots)
        for pot in self.plant.pots:
            if pot.station == name:
                found += self.pour_findings(pot, station, material, shots, sky)
        return gravest(found)

    def purge_findings(self, station, material, sky) -> list[Found]:
        """A purge is a flow under the same limit: its volume, or a mixer full, over its time."""
        limit, time = station.pressure_limit, station.purge_time
        if not (limit and time and station.mixer_volume and material.pot_life and station.rule == "purge"):
            return []
        volume = station.purge_volume or station.mixer_volume

        def bars(seconds: float) -> float:
            return sum(bar or 0.0 for bar in self.drops(volume / seconds, station, material, sky)[:2])

        if bars(time) <= limit:
            return []
        # without a yield stress p ∝ Qⁿ: the limit bears it in a time that is (p/limit)^(1/n) as long
        assert not material.yield_stress and bars(1000 * time) < limit
        least = math.ceil(time * (bars(time) / limit) ** (1 / material.index) - 1e-6)
        figures = (
            Fact(volume, "mL"),
            Fact(time, "s"),
            Fact(volume / time, "mL/s"),
            Fact(math.ceil(10 * bars(time) - 1e-6) / 10, "bar", 0.0),
            Fact(limit, "bar"),
            Fact(least, "s"),
        )
        says = Says(("purge", "fresh mix", "limit", "never run above"), figures=figures)
        return [Found(DANGER, says, "pressure of a purge", station.station)]

    def pour_findings(self, pot, station, material, shots, sky) -> list[Found]:
        """How hot a pot gets against the limit of its cells, and the wait on which that rests."""
        mine = [shot for shot in shots if (shot.part, shot.name) == (pot.part, pot.pot)]
        if material.heat is None:
            says = Says(("exotherm is not computed", "kinetics", "heat"), (pot.part, pot.pot))
            told = Found(NOTE, says, "exotherm not known", station.station, pot.part)
            return [told, *self.wait_findings(pot, station, mine, None)]
        rates = (
            material.rate_1,
            material.energy_1,
            material.rate_2,
            material.energy_2,
            material.order_m,
            material.order_n,
        )
        density = hb.density(material, self.plant.parts_of(material.material))
        film = pot.film or heat.STILL_AIR
        levels = [0.0, *(shot.level for shot in mine)]
        depths = tuple(high - low for low, high in itertools.pairwise(levels))
        hot = sky.hottest
        about = (hot, film, density, material.heat, material.specific_heat, material.conductivity, rates)
        peak = heat.peak(depths, tuple(shot.wait for shot in mine), *about)
        whole = heat.peak((pot.level,), (0.0,), *about)
        names, where, found = (pot.part, pot.pot), (station.station, pot.part), []
        several = (Fact(len(mine)),) if len(mine) > 1 else ()
        figures = (Fact(peak, "°C", 0.002), Fact(pot.limit, "°C"), *several)
        if peak > pot.limit:
            says = Says(("reaches", "limit", "runaway pour can burn", "trial"), names, figures)
            found.append(Found(DANGER, says, "pour limit", *where))
        elif peak > pot.limit - 5:
            says = Says(("comes to", "within", "kinetics", "trial"), names, (*figures, Fact(5, "K")))
            found.append(Found(QUALITY, says, "near the pour limit", *where))
        number = heat.runaway_number(pot.level, hot, density, material.heat, material.conductivity, rates)
        biot = film * pot.level * 1e-3 / material.conductivity
        critical = heat.critical_number(biot)
        if number > critical:
            # one danger with one fix: the peak is judged by the limit, the criterion stands beside it
            assert peak > pot.limit, "a golden pour that runs away is above its limit too"
            words = ("runaway criterion", "above", "peak counts")
            says = Says(words, names, (Fact(number), Fact(critical)), never=("shallower",))
            found.append(Found(NOTE, says, "runaway", *where))
        says = Says(("critical", "film", "biot"), names, (Fact(critical), Fact(biot), Fact(0.878)))
        found.append(Found(NOTE, says, "runaway criterion", *where))
        says = Says(("runaway criterion", "first reaction", "autocatalytic"), names, may=(Fact(1),))
        found.append(Found(NOTE, says, "runaway criterion", *where))
        says = Says(("hottest hour", "insulated", "free face"), names, (Fact(film, "W/(m²·K)"),))
        found.append(Found(NOTE, says, "pour model", *where))
        one = whole if whole > pot.limit >= peak else None
        return [*found, *self.wait_findings(pot, station, mine, one)]

    @staticmethod
    def wait_findings(pot, station, shots, one: float | None) -> list[Found]:
        """The least wait before each later shot; where cells have a limit also why, and what to do."""
        where, names, found = (station.station, pot.part), (pot.part, pot.pot), []
        later = [pair for pair in itertools.pairwise(shots) if pair[1].wait]
        is_even = len(later) > 1 and len({shot.wait for _, shot in later}) == 1
        for before, shot in later[:1] if is_even else later:
            words: tuple[str, ...] = ("wait at least",)
            figures = duration(shot.wait)
            if is_even:
                words += ("after each shot", "before the next")
            else:
                words += ("after shot", "before shot")
                figures += (Fact(before.number), Fact(shot.number))
            if pot.limit is not None:
                words += ("protects the cells", "stop and ask", "do not pour")
                figures += (Fact(pot.limit, "°C"),)
            if one is not None:
                words, figures = (*words, "in one shot"), (*figures, Fact(one, "°C", 0.002))
            found.append(Found(NOTE, Says(words, names, tuple(figures)), "wait", *where))
        return found

    def pressed_findings(self, station, material, shots) -> list[Found]:
        """Joints that need longer or conduct too little; beads wider than their flange."""
        found = []
        for shot in shots:
            row, names = shot.row, (shot.part, shot.name)
            if shot.kind == "joint":
                area, volume = row.length * row.width, shot.volume / row.count
                needs = hb.press_time(
                    volume, row.dots, area, row.force, material.consistency, row.start_gap, row.gap
                )
                assert needs < row.press_time, "the golden joint is pressed down in its time"
                # a volume too low under the widest gap covers in proportion less
                least = volume * 1000 * (1 - station.meter_tolerance) / (area * (row.gap + row.gap_tolerance))
                assert volume * 1000 / (area * row.gap) > row.coverage * (1 - 1e-9), "it covers as planned"
                if least < row.coverage * (1 - 1e-9):
                    figures = (Fact(row.gap + row.gap_tolerance, "mm"), Fact(least), Fact(row.coverage))
                    says = Says(("gap", "meter low", "coverage falls", "more paste"), names, figures)
                    found.append(Found(QUALITY, says, "coverage", station.station, shot.part))
                # R = (h/k + R_c)/A over the wetted area (Fourier); paste keeps its volume where it is thin

                def resistance(gap, meter, row=row, area=area, volume=volume):
                    wetted = min(area, volume * meter * 1000 / gap)
                    return (gap / material.conductivity * 1000 + row.contact_resistance) / wetted

                nominal, effects = hb.spread(
                    resistance,
                    {"gap": row.gap, "meter": 1.0},
                    {"gap": row.gap_tolerance, "meter": station.meter_tolerance},
                )
                high = hb.limits(nominal, effects.values())[1]
                if nominal <= row.resistance_limit < high:
                    figures = (Fact(high, "K/W"), Fact(row.resistance_limit, "K/W"))
                    says = Says(
                        ("thermal resistance", "may be", "limit", "thinner bond line"), names, figures
                    )
                    found.append(Found(QUALITY, says, "resistance", station.station, shot.part))
            elif shot.kind == "bead" and row.bond_line and row.flange_width:
                # pressed to the bond line with square edges; what is wider than the flange leaves it
                width = shot.area / row.bond_line
                high = width * shot.high / shot.volume
                if width <= row.flange_width < high:
                    lost = (
                        shot.area * shot.high / shot.volume - row.bond_line * row.flange_width
                    ) * shot.length
                    figures = (Fact(high, "mm"), Fact(row.flange_width, "mm"), Fact(lost / 1000, "mL"))
                    says = Says(("pressed", "may be", "flange", "leave", "smaller bead"), names, figures)
                    found.append(Found(QUALITY, says, "bead width", station.station, shot.part))
            if shot.kind == "bead" and row.bond_line and material.moisture_coefficient and not row.open_edges:
                assert row.height > row.bond_line, "the golden bead reaches the other face"
                depth = hb.cure_depth(row, shot.high * 1000, shot.volume * 1000 / shot.area)
                figures = (Fact(depth, "mm"), Fact(2 * depth, "mm"))  # time goes with the square: four times
                says = Says(
                    ("moist air", "both edges", "one edge", "four times", "Open edges"), names, figures
                )
                found.append(Found(NOTE, says, "open edges", station.station, shot.part))
        return found

    # -------------------------------------------------------------------------------- cure board

    def board_page(self, run: Played) -> Page:
        """The cure board."""
        material = run.material
        page = Page(
            "cure_board",
            run.day,
            {
                **self.shift_head(run),
                "cure": f"{material.cure} cure",
                "shop_temperature": range_says(*self.day_range(run)),
                "basis": self.basis(run),
            },
        )
        rows, moves, late = [], [], []
        for batch in run.batches:
            number, ended = batch.number, max(end for _, end in batch.tracks)
            row: dict[str, Any] = {
                "Batch": Num(number),
                "Part": batch.part,
                "Part numbers": self.numbers(batch.serials),
                "First part": moment(run.day, min(begin for begin, _ in batch.tracks)),
                "Last part": moment(run.day, ended),
                "Tightest part": None,
                "Mate by": None,
                "Planned mating": None,
            }
            mine = []
            if run.mates:
                # each part has its own open time: who mates the batch goes by the first of them to end
                left = {n: run.mates[batch.part, n, batch.origin] for n in batch.serials}
                tightest = min(left, key=lambda serial: round(left[serial][0]))
                row["Tightest part"] = Num(tightest)
                row["Mate by"], row["Planned mating"] = (moment(run.day, clock) for clock in left[tightest])
                mine = [
                    (serial, planned - latest)
                    for serial, (latest, planned) in left.items()
                    if planned > latest
                ]
                late += [(number, batch.part, serial) for serial, _ in mine]
            times, note = self.cure(run, batch.part, ended)
            for head, clock in zip(("Move", "Join", "Test"), times, strict=True):
                row[head] = None if clock is None else moment(run.day, from_then_on(clock), 0)
            row["Note"] = self.with_late(mine, note)
            first = self.first_goes_on(run, batch, times[0])
            if first is not None:  # a line takes each part on by itself
                serial, clock = first
                minute = Clock(run.day, from_then_on(clock))
                said = row["Note"] or Says()
                row["Note"] = replace(
                    said,
                    words=(*said.words, "may be moved from"),
                    figures=(*said.figures, Fact(serial), minute),
                )
            if batch.origin:
                said = row["Note"] or Says()
                row["Note"] = replace(said, words=("begun", *said.words), names=(*said.names, batch.origin))
            rows.append(row)
            if times[0] is not None:
                moves.append((first[1] if first else times[0], number, times[0], first, batch.part))
        page.tables["CureBatches"] = rows
        page.tables["CureHandover"] = [
            {head: value for head, value in row.items() if head != "Volume [mL]"}
            for row in self.handover(run, parts_only=True)
        ]
        if late:
            number, part, serial = late[0]
            figures: tuple = (Fact(len(late)), Fact(number), Fact(serial))
            headline = Says(("▲", "mated too late", "batch"), (part,), figures)
        elif moves:
            clock, number, whole, first, part = min(moves, key=lambda move: move[:2])
            figures = (Fact(number), Clock(run.day, from_then_on(whole)))
            headline = Says(("batch", "may be moved"), (), figures)
            if first is not None:
                figures += (Fact(first[0]), Clock(run.day, from_then_on(clock)))
                headline = Says(("may be moved at", "all of batch"), (part,), figures)
        else:
            headline = Says(("no handling time",))
        page.names["headline"] = self.since(run, headline)
        found = [item for item in shift_findings(run) if item.topic in OF_CURE]
        found += [
            item
            for item in self.station_findings(run.station)
            if item.kind == DANGER or item.topic in ("wait", "cure")
        ]
        for names in self.lines():
            if run.station.station in names:
                waits = [item for item in self.line_findings(names) if item.topic == "wait before handling"]
                found += [item for item in waits if item.station == run.station.station]
        if run.boards_before:
            count = run.boards_before
            said = ("leave the board before this one", f"batches 1 to {count}" if count > 1 else "batch 1")
            figures = (Fact(1), Fact(count)) if count > 1 else (Fact(1),)
            found.append(Found(NOTE, Says(said, (), figures), "board before", run.station.station))
        page.messages["CureWarnings"] = messages(gravest(found))
        page.beside["Type the day and time:"] = []
        return page

    def first_goes_on(self, run: Played, batch: Any, whole: float | None) -> tuple[int, float] | None:
        """On a line, not at its end: the part of a batch that is done first, and when it may be moved."""
        steps = [row.station for row in line.route(self.plant, batch.part)]
        if run.station.station not in steps[:-1] or whole is None:
            return None
        (_, ended), serial = min(zip(batch.tracks, batch.serials, strict=True), key=lambda item: item[0][1])
        moved = self.cure(run, batch.part, ended)[0][0]
        return (serial, moved) if moved is not None and moved < whole else None

    @staticmethod
    def with_late(late: list[tuple[int, float]], note: Says | None) -> Says | None:
        """The note of a batch, and before it the parts that are mated too late, by how much at most."""
        if not late:
            return note
        serials = [serial for serial, _ in late]
        runs = [serial for serial in serials if serial - 1 not in serials or serial + 1 not in serials]
        worst = max(seconds for _, seconds in late)
        figures = (*(Fact(serial) for serial in runs), *duration(60 * math.ceil(worst / 60 - 1e-6)))
        note = note or Says()
        return replace(note, words=("▲ mated too late", *note.words), figures=(*figures, *note.figures))

    @staticmethod
    def numbers(serials: list[int]) -> str:
        """Part numbers of a batch: 1–4, or 1–4, 6."""
        words = ""
        for serial in sorted(serials):
            starts, ends = serial - 1 not in serials, serial + 1 not in serials
            words += (", " if words and starts else "") + (
                str(serial) if starts else f"–{serial}" if ends else ""
            )
        return words

    def basis(self, run: Played) -> Says:
        """What the times rest on."""
        material = run.material
        if material.cure == "moisture":
            at = (Fact(material.cure_temperature, "°C"), Fact(material.moisture_humidity))
            if material.moisture_energy is None:
                return Says(("water in the air alone", "rule of thumb"), (), at)
            return Says(("water in the air",), (), (*at, Fact(material.moisture_energy, "kJ/mol")))
        if not any((material.move_time, material.join_time, material.test_time)):
            return Says(("no cure time stated",))
        words, figures = basis_words(material)
        if weather.energy_of(material) and not material.activation_energy:
            words = ("arrhenius", "two pot lives")  # the times themselves are stated once
        may: tuple = figures
        if material.cure == "room":
            cold, hot = self.day_range(run)
            at = material.cure_temperature
            outside = [t for t in (cold, hot) if abs(t - at) > 0.5]
            if outside:
                words = (*words, "extrapolated")
                may += (Fact(max(outside, key=lambda t: abs(t - at)), "°C"), Fact(at, "°C"))
        return Says(("data-sheet times", *words), (), (Fact(material.cure_temperature, "°C"),), may)

    def cure(self, run: Played, part: str, ended: float) -> tuple[list[float | None], Says | None]:
        """When the batch may be moved, joined and tested, and the note beside it."""
        material = run.material
        stated = [material.move_time, material.join_time, material.test_time]
        if material.cure == "oven":
            oven = next(
                row for row in self.plant.ovens if (row.part, row.station) == (part, run.station.station)
            )
            rows = [row for row in self.plant.profiles if row.profile == oven.profile]
            times, air = tuple(row.time for row in rows), tuple(row.temperature for row in rows)
            nodes, slow = weather.oven_temperature(times, air, oven.lag_slow, oven.start_temperature)
            out = ended + times[-1]
            found: list[float | None] = []
            for life in stated:
                # not before the part is out, and never where its slowest place has not had enough by then
                reached = life and weather.oven_milestone(nodes, slow, life, material) <= times[-1]
                found.append(out if reached else None)
            words: tuple[str, ...] = ("oven",)
            missed = [name for name, clock in zip(MILESTONES, found, strict=True) if clock is None]
            if missed:
                words = (*words, "▲ not reached", *missed)
            clocks = (Clock(run.day, ended), Clock(run.day, from_then_on(out)))
            return found, Says(words, (oven.profile,), clocks)
        if material.cure == "moisture":
            ageing = weather.moisture_ageing(
                run.weather,
                material.cure_temperature,
                material.moisture_humidity,
                material.moisture_energy or 0.0,
            )
            found = [ageing.when(ended, life) for life in stated]
            depth = max(
                hb.cure_depth(shot.row, shot.high * 1000, shot.volume * 1000 / shot.area)
                for shot in amounts.shots_of(self.plant, part)
                if shot.station == run.station.station
            )
            needed = (depth / material.moisture_coefficient) ** 2 * 3600  # s on the data sheet
            deep = ageing.when(ended, needed)
            clocks = (Clock(run.day, from_then_on(deep)),) if deep < max(found) else ()
            found[2] = max(*found, deep)
            return found, Says(("mm deep", *(("by",) if clocks else ())), (), (Fact(depth, "mm"), *clocks))
        found = []
        at = material.cure_temperature, weather.energy_of(material), material.halving_step, 8
        for life in stated:
            found.append(weather.room_ageing(run.weather, life, *at).when(ended) if life else None)
        return found, None

    # -------------------------------------------------------------------------------- lamp board

    def lamp_page(self, run: Played) -> Page:
        """The lamp board. Dose is irradiance times time, so 1 J/cm² is 1000 mW/cm² for a second."""
        material, station = run.material, run.station
        given = station.irradiance / 1000 * station.exposure_time
        assert material.dose < given < material.dose_limit  # else it must be warned of
        doses = {"target": given, "low": material.dose, "high": material.dose_limit}
        # the last digit is at most a tenth of half the room between the limits, which are rounded inward
        digits = max(0, min(2, math.ceil(-math.log10((material.dose_limit - material.dose) / 2 / 10))))
        shown = {
            "target": round(given, digits),
            "low": math.ceil(material.dose * 10**digits - 1e-9) / 10**digits,
            "high": math.floor(material.dose_limit * 10**digits + 1e-9) / 10**digits,
        }
        page = Page(
            "lamp_board",
            run.day,
            {
                **self.shift_head(run),
                **{name: printed(shown[name], digits) for name in doses},
                "headline": self.since(
                    run, Says(("strip", "to"), (), (Fact(shown["low"]), Fact(shown["high"], "J/cm²")))
                ),
                "irradiance": Num(station.irradiance),
                "exposure_time": Num(station.exposure_time),
                "least_time": Num(material.dose / (station.irradiance / 1000)),
                "belt_speed": Num(station.lit_length / station.exposure_time),
                "fastest_belt": Num(station.lit_length * station.irradiance / 1000 / material.dose),
                "basis": Says(("irradiance", "time")),
            },
        )
        begins = [run.hours.start, *(end for _, end in run.hours.breaks if end < run.hours.end)]
        row = {f"{name.capitalize()} [J/cm²]": printed(shown[name], digits) for name in doses}
        page.tables["LampChecks"] = [
            {
                "Check": Num(number),
                "Due": Says(("start",) if number == 1 else ("pause",)),
                "Time": moment(run.day, clock),
                **row,
            }
            for number, clock in enumerate(begins, 1)
        ]
        assert not run.mates  # this resin has no open time: no part is mated before the lamp
        page.tables["LampBatches"] = [
            {
                "Batch": Num(batch.number),
                "Part": batch.part,
                "Part numbers": self.numbers(batch.serials),
                "First part": moment(run.day, min(begin for begin, _ in batch.tracks)),
                "Last part": moment(run.day, max(end for _, end in batch.tracks)),
                "Tightest part": None,
                "Mate by": None,
                "Note": Says(("begun",), (batch.origin,)) if batch.origin else None,
            }
            for batch in run.batches
        ]
        found = [item for item in shift_findings(run) if item.topic in OF_CURE]
        found += [item for item in self.station_findings(station) if item.kind == DANGER]
        page.messages["LampWarnings"] = messages(gravest(found))
        return page

    # -------------------------------------------------------------------------------- shot check

    @staticmethod
    def check_of_card(station, shots: list[amounts.Shot], density: float) -> dict[str, Any]:
        """The check shot on a card: only where no shift may ask for another, by the parts it builds."""
        names = ("check_target", "check_low", "check_high")
        volume = station.check_volume
        if volume is None and len({shot.part for shot in shots}) == 1:
            volume = max(shot.volume for shot in shots)
        if not station.checks or volume is None:
            return dict.fromkeys(("check_together", *names))
        cup = weighing.weigh(volume * density, station.meter_tolerance)
        values = zip(names, (cup.target, cup.low, cup.high), strict=True)
        return {
            "check_together": Num(cup.count),
            **{name: printed(value, cup.digits) for name, value in values},
        }

    def check_page(self, run: Played) -> Page:
        """The shot-check sheet."""
        cup, volume = run.check, run.check_volume  # of all shots together
        single = volume / cup.count
        masses = {letter: single * share * run.parts[letter].density for letter, share in run.shares.items()}
        together = (Fact(cup.count),) if cup.count > 1 else ()
        figures = (*together, Fact(cup.target, "g", 0.0), Fact(cup.low, "", 0.0), Fact(cup.high, "g", 0.0))
        limits = {"target": cup.target, "low": cup.low, "high": cup.high}
        page = Page(
            "shot_check",
            run.day,
            {
                **self.shift_head(run),
                "headline": Says(("to", *(("together",) if together else ())), (), figures),
                "mass": printed(cup.single, cup.single_digits),
                "shots_together": Num(cup.count),
                **{name: printed(value, cup.digits) for name, value in limits.items()},
                "volume": Num(volume),
                "scale_step": printed(10.0**-cup.digits, cup.digits),
                "mass_a": printed(cup.grams(masses["a"]), cup.digits) if "b" in masses else None,
                "mass_b": printed(cup.grams(masses["b"]), cup.digits) if "b" in masses else None,
                "ratio_mass": Num(100 * masses["b"] / masses["a"]) if "b" in masses else None,
                "density": Num(run.density),
                "limits_from": meter_says(run.station),
            },
        )
        checks = [event for event in run.events if event.kind == "check"]
        row = {f"{name.capitalize()} [g]": printed(value, cup.digits) for name, value in limits.items()}
        page.tables["CheckShots"] = [
            {"Check": Num(number), "Time": moment(run.day, event.at), **row}
            for number, event in enumerate(checks, 1)
        ]
        page.beside |= {
            "Weighed, number of shots": [Num(0)],
            "Mean [g]": [""],
            "Range, largest less smallest [g]": [""],
            "All within limits": [""],
            "Mean of B per 100 A by mass": [""],
        }
        if "b" not in masses:
            page.left_out["CheckShots"] = {"A alone [g]", "B alone [g]", "B per 100 A"}
        return page

    # ----------------------------------------------------------------------------------- staging

    def staging_page(self, runs: list[Played]) -> Page:
        """Every container of a shift."""
        day = runs[0].day
        rows, count, mass = [], 0, 0.0
        found: list[Found] = []
        for run in runs:
            for letter, component in run.parts.items():
                changes = [e.at for e in run.events if e.kind == "container" and e.letter == letter]
                lots = [lot for lot in run.lots if lot["letter"] == letter and lot["lot"] != "no stock"]
                containers = sum(lot["containers"] for lot in lots)
                volume = sum(lot["volume"] for lot in lots)
                empty = "nothing usable in store" if run.missing.get(letter) else "stands at the station"
                if letter in run.owed and not run.missing.get(letter):
                    empty = "lacking since a shift before"
                count += containers
                mass += volume * component.density / 1000
                rows.append(
                    {
                        "Station": run.station.station,
                        "Material": run.material.material,
                        "Component": letter_name(letter, run.parts),
                        "Containers": Num(containers),
                        "Container": Says((), figures=(size(component.container),)),
                        "Volume [mL]": Num(volume),
                        "Mass [kg]": Num(volume * component.density / 1000),
                        "Needed from": moment(day, changes[0]) if changes else None,
                        "Last change": moment(day, changes[-1]) if changes else None,
                        "Lots": ", ".join(lot["lot"] for lot in lots) if lots else Says((empty,)),
                    }
                )
            found += [item for item in shift_findings(run) if item.topic in OF_STOCK]
        lacks = sum(sum(run.missing.values()) + len(run.owed) for run in runs)
        headline = Says(("to bring",), (), (Fact(count),), never=("missing",))
        if lacks:  # "0 to bring" over a missing stock would be read as: all stands here
            headline = Says(("missing",), (), (Fact(lacks),), never=("to bring",))
            if count:
                headline = Says(("to bring", "missing"), (), (Fact(count), Fact(lacks)))
        page = Page(
            "staging",
            day,
            {
                **self.head(),
                "day": day,
                "shift": runs[0].shift,
                "hours": self.hours(runs[0]),
                "headline": headline,
                "cautions": Says(CAUTION),
            },
        )
        page.tables["StagingContainers"] = rows
        page.tables["StagingMixers"] = [
            {
                "Station": run.station.station,
                "Bore [mm]": run.station.mixer_bore and Num(run.station.mixer_bore),
                "Length [mm]": run.station.mixer_length and Num(run.station.mixer_length),
                "Mixers": Num(run.mixers),
            }
            for run in runs
            if run.mixers
        ] or [{"Station": "–", "Bore [mm]": None, "Length [mm]": None, "Mixers": None}]
        page.totals["StagingContainers"] = {"Containers": Num(count), "Mass [kg]": Num(mass)}
        page.messages["StagingWarnings"] = [
            Message(item.kind, {"Station": item.station}, item.marked) for item in gravest(found)
        ] or [Message(NOTE, {"Station": None}, Says(("no warning",)))]
        return page

    # ---------------------------------------------------------------------------------- line sheet

    def line_findings(self, names: list[str]) -> list[Found]:
        """What a line cannot give: told before a shift is played."""
        plant, found = self.plant, []
        for part in line.routed(plant):
            for row in line.route(plant, part)[:-1]:
                material = plant.material(line.station_of(plant, row.station).material)
                if row.station in names and row.wait is None and material.move_time is None:
                    says = Says(("goes on from", "at once", "no handling time"), (part, material.material))
                    found.append(Found(NOTE, says, "wait of a route", row.station, part))
                after = line.route(plant, part)[line.route(plant, part).index(row) + 1].station
                pressed = [
                    joint.force
                    for joint in plant.joints
                    if (joint.part, joint.station) == (part, after) and joint.force
                ]
                if row.station in names and pressed and material.join_time is not None:
                    starts = {Hours(plant, *key).start for key in plant.days()}
                    waits = [row.wait or line.handled(plant, row, start) - start for start in starts]
                    loaded = max(
                        line.handled(plant, row, start, material.join_time) - start for start in starts
                    )
                    if max(waits) < loaded:
                        figures = (Fact(max(pressed), "N"), *duration(max(waits)), *duration(loaded))
                        says = Says(
                            ("is pressed at", "joined or loaded"), (part, row.station, after), figures
                        )
                        found.append(Found(QUALITY, says, "wait before handling", row.station, part))
                        continue
                if row.station in names and row.wait is not None and material.move_time is not None:
                    starts = {Hours(plant, *key).start for key in plant.days()}
                    slowest = max(line.handled(plant, row, start) - start for start in starts)
                    if slowest > row.wait:
                        figures = (*duration(row.wait), *duration(slowest))
                        says = Says(
                            ("as Routes states", "leave it blank", "that of the cure board"),
                            (part, row.station),
                            figures,
                        )
                        found.append(Found(QUALITY, says, "wait before handling", row.station, part))
        slow: list[tuple[float, Any, Any, Any]] = []
        for day, shift in plant.days():
            hours = Hours(plant, day, shift)
            pace = line.pace_of(plant, names, plant.builds_of(day, shift), hours)
            if pace and pace.good * pace.seconds > hours.available * (1 + 1e-6):
                slow.append((pace.good * pace.seconds / hours.available, (day, shift), pace, hours))
        if slow:
            _, (day, shift), pace, hours = max(slow, key=lambda item: item[0])
            figures = (Fact(pace.seconds, "s"), Fact(pace.good), day, *duration(pace.good * pace.seconds))
            figures += (*duration(hours.available), Fact(math.floor(hours.available / pace.seconds)))
            figures += (Fact(len(slow)),) if len(slow) > 1 else ()
            said = (f"{pace.what} sets the pace", "working time", "enough for", "or build less")
            says = Says(said, (*names, shift), figures)
            found.append(Found(STOP, says, "pace", pace.station, day=day, shift=shift))
            return found
        for part in line.routed(plant):
            days = [key for key in plant.days() if plant.builds_of(*key).get(part)]
            first = line.route(plant, part)[0].station
            if first not in names or not days or len(line.route(plant, part)) < 2:
                continue
            builds, hours = plant.builds_of(*days[0]), Hours(plant, *days[0])
            started = sum(
                line.started_at(plant, each, line.station_of(plant, first), count)
                for each, count in builds.items()
                if any(shot.station == first for shot in amounts.shots_of(plant, each))
            )
            done = line.through_by_the_end(plant, part, builds[part], started, hours)
            if done < builds[part]:
                way = line.way(plant, part, hours.start)
                figures = (Fact(done), Fact(builds[part]), Clock(days[0][0], hours.end), *duration(way))
                said = ("from an empty line", "through their route", "one part alone needs", "later shift")
                where = {"day": days[0][0], "shift": days[0][1]}
                found.append(
                    Found(STOP, Says(said, (part,), figures), "start-up of a route", first, part, **where)
                )
        return found

    def lines(self) -> list[list[str]]:
        """The stations of each line."""
        found = [line.line_of(self.plant, station.station) for station in self.plant.stations]
        return [list(names) for names in dict.fromkeys(tuple(names) for names in found if names)]

    def line_page(self, runs: list[Played]) -> Page:
        """How the stations of a line spend a shift, what became of the parts, what stood between."""
        plant, first = self.plant, runs[0]
        found = []
        for names in self.lines():
            for item in self.line_findings(names):
                if item.day in (None, first.day) and item.shift in ("", first.shift):
                    found.append(item)
        for run in runs:
            found += [item for item in self.station_findings(run.station) if item.kind in (DANGER, STOP)]
            shown = ("output", "half done", "lost half done")
            found += [
                item for item in shift_findings(run) if item.kind in (DANGER, STOP) or item.topic in shown
            ]
        paces = list(dict.fromkeys(run.pace for run in runs if run.pace))
        says = Says(("no part of a route is built",))
        if paces:
            told = [paced(pace) for pace in paces]
            words = tuple(word for words, _ in told for word in words)
            says = Says(words, (), tuple(figure for _, figures in told for figure in figures))
        names = {**self.head(), "day": first.day, "shift": first.shift, "hours": self.hours(first)}
        page = Page("line", first.day, {**names, "headline": says, "cautions": Says(CAUTION)})
        page.tables["LineStations"] = [
            {
                "Station": run.station.station,
                "Busy [min]": Num(run.busy / run.station.nozzles / 60),
                # cures end some milliseconds apart by the two methods, and who waits for them adds up
                "Starved [min]": Num(run.starved / 60, 1e-5),
                "Of it for cure [min]": Num(run.cures / 60, 1e-5),
                "Blocked [min]": Num(run.blocked / 60, 1e-5),
                "Other [min]": Num(
                    (run.hours.available - run.busy / run.station.nozzles - run.starved - run.blocked) / 60,
                    1e-5,
                ),
                "Available [min]": Num(run.hours.available / 60),
                "In use": Num(run.busy / run.station.nozzles / run.hours.available),
                "Pace": run.pace.what if run.pace and run.pace.station == run.station.station else None,
            }
            for run in runs
        ]
        rows = []
        for part in plant.parts:
            for place, row in enumerate(line.route(plant, part.part)):
                for run in runs:
                    for job in run.jobs:
                        if (run.station.station, job.part) == (row.station, part.part):
                            rows.append(
                                {
                                    "Part": part.part,
                                    "Station": row.station,
                                    "Step": Num(place + 1),
                                    "Scrap share": Num(run.station.scrap),
                                    "To start": Num(job.started),
                                    "To pass on": Num(job.good),
                                    "Started": Num(job.begun),
                                    "Scrapped": Num(job.lost),
                                    "Passed on": Num(job.finished),
                                    "Handed over": Num(job.carried),
                                }
                            )
        page.tables["LineParts"] = rows
        page.tables["LineBetween"] = [
            {
                "From station": link["before"],
                "To station": link["after"],
                "Room": None if link["room"] is None else Num(link["room"]),
                "Taken over": Num(link["taken"]),
                "Entered": Num(link["entered"]),
                "Begun": Num(link["begun"]),
                "Handed over": Num(link["handed"]),
                "Mean between": Num(link["between"][0], 1e-5),
                "Peak between": Num(link["between"][1]),
                "Mean cure": Num(link["cure"][0], 1e-5),
                "Peak cure": Num(link["cure"][1]),
                "Stay [min]": None if link["stay"] is None else Num(link["stay"] / 60, 1e-5),
            }
            for run in runs
            for link in run.passages
        ]
        page.messages["LineWarnings"] = [
            Message(item.kind, {"Station": item.station}, item.marked) for item in gravest(found)
        ] or [Message(NOTE, {"Station": None}, Says(("no warning",)))]
        return page

    # ----------------------------------------------------------------------------------- results

    def results_page(self) -> Page:
        """The results workbook."""
        runs, plant = self.runs, self.plant
        shifts, use, totals = [], [], {}
        everything: list[Found] = []
        for run in runs:
            key = {
                "Day": run.day,
                "Shift": run.shift,
                "Station": run.station.station,
                "Material": run.material.material,
            }
            mixed = sum(
                run.used[letter][kind]
                for letter in run.parts
                for kind in USES
                if kind not in ("heel", "rest", "expired")
            )
            on_parts = amounts.add([pair for job in run.jobs for pair in job.put_on])
            found = shift_findings(run)
            shifts.append(
                {
                    **key,
                    "Asked": Num(sum(job.good + job.resumed for job in run.jobs)),
                    "Finished": Num(sum(job.finished for job in run.jobs)),
                    "Started": Num(sum(job.begun for job in run.jobs)),
                    "Scrapped": Num(sum(job.lost for job in run.jobs)),
                    "Taken over": Num(sum(job.taken for job in run.jobs)),
                    "Lost": Num(sum(job.thrown for job in run.jobs)),
                    "Handed over": Num(sum(job.carried for job in run.jobs)),
                    "Takt [s]": None if run.fed or run.takt == math.inf else Num(run.takt),
                    "Busy": Num(run.busy / run.station.nozzles / run.hours.available),
                    "Mixed [mL]": Num(mixed),
                    "On parts [mL]": Num(on_parts.volume),
                    "On parts low [mL]": Num(on_parts.low),
                    "On parts high [mL]": Num(on_parts.high),
                    "Mass [kg]": Num(mixed * run.density / 1000),
                    "Purges": Num(run.purges),
                    "Mixers": Num(run.mixers),
                    "Warnings": Num(sum(item.kind != NOTE for item in found)),
                }
            )
            for letter, component in run.parts.items():
                row = self.use(run, letter)
                use.append({**key, **row})
                total = totals.setdefault((run.material.material, letter_name(letter, run.parts)), [0.0] * 5)
                for place, value in enumerate(
                    (
                        run.drawn(letter),
                        row["Mass [kg]"].value,
                        run.containers[letter],
                        run.used[letter]["parts"],
                        run.missing.get(letter, 0) * component.container,
                    )
                ):
                    total[place] += value
            everything += found
        for names in self.lines():
            everything += self.line_findings(names)
        for station in plant.stations:
            if any(run.station.station == station.station for run in runs):
                everything += self.station_findings(station)
        lacks = [name for name in OPTIONAL_TABLES if not getattr(plant, name.lower())]
        if len(lacks) <= MOST_LACKING:
            everything.append(Found(NOTE, Says(("has no table",), tuple(lacks)), "reading", ""))
        everything = gravest(everything)
        materials = [
            {
                "Material": name,
                "Component": letter,
                "Used [mL]": Num(drawn),
                "Mass [kg]": Num(kg),
                "Containers": Num(count),
                "On parts [mL]": Num(on),
                "Waste share": Num(1 - on / drawn),
                "Missing [mL]": Num(missing),
            }
            for (name, letter), (drawn, kg, count, on, missing) in totals.items()
        ]
        days = sorted({run.day for run in runs})
        kilos = sum(total[1] for total in totals.values())
        heaviest: dict[str, float] = {}
        for (name, _), total in totals.items():
            heaviest[name] = heaviest.get(name, 0.0) + total[1]
        chosen = max(heaviest, key=lambda name: heaviest[name])
        containers = sum(total[2] for total in totals.values())
        lacking = sum(sum(run.missing.values()) for run in self.runs)
        page = Page(
            "results",
            None,
            {
                **self.head(),
                "headline": Says(
                    ("containers", *(("missing",) if lacking else ()), "kg"),
                    (),
                    (Fact(containers), *((Fact(lacking),) if lacking else ()), Fact(kilos, "kg")),
                ),
                "period": Says(("to",), (), (days[0], days[-1])),
                "passes_through_stations": Says(
                    ("of",),
                    (),
                    (
                        Fact(sum(r["Finished"].value for r in shifts)),
                        Fact(sum(r["Asked"].value for r in shifts)),
                    ),
                ),
                "station_shifts": Num(len(runs)),
                "warnings": Num(sum(item.kind != NOTE for item in everything)),
                "findings": self.tally(everything),
                "cautions": Says(CAUTION),
                "chosen": chosen,
            },
        )
        page.tables |= {"ResultShifts": shifts, "ResultUse": use, "ResultMaterials": materials}
        page.totals["ResultShifts"] = {
            head: Num(sum(row[head].value for row in shifts))
            for head in (
                "Asked",
                "Finished",
                "Started",
                "Scrapped",
                "Lost",
                "Mass [kg]",
                "Purges",
                "Mixers",
                "Warnings",
            )
        }
        page.totals["ResultMaterials"] = {"Mass [kg]": Num(kilos), "Containers": Num(containers)}
        page.beside["Check: sum of sheet Use less this table [mL]"] = [Num(0.0)]
        by_day = []
        for day in days:
            mine = [row for row in use if row["Day"] == day and row["Material"] == chosen]
            both = [(run.purges, run.mixers) for run in runs if run.day == day]
            by_day.append(
                {
                    "Day": day,
                    "A or one part [mL]": Num(
                        sum(r["Used [mL]"].value for r in mine if r["Component"] != "B")
                    ),
                    "B [mL]": Num(sum(r["Used [mL]"].value for r in mine if r["Component"] == "B")),
                    "All materials [kg]": Num(sum(r["Mass [kg]"].value for r in use if r["Day"] == day)),
                    "All purges": Num(sum(pair[0] for pair in both)),
                    "All mixers": Num(sum(pair[1] for pair in both)),
                }
            )
        page.tables["ResultDays"] = by_day
        page.totals["ResultDays"] = {
            head: Num(sum(row[head].value for row in by_day)) for head in by_day[0] if head != "Day"
        }
        page.tables["ResultAmounts"] = [
            self.amount_row(shot) for row in plant.parts for shot in amounts.shots_of(plant, row.part)
        ]
        page.messages["ResultWarnings"] = [
            Message(
                item.kind,
                {
                    "Day": item.day,
                    "Shift": item.shift or None,
                    "Station": item.station or None,
                    "Kind": MARKS[item.kind],
                },
                item.signed,
            )
            for item in everything
        ]
        page.messages["ResultGravest"] = self.gravest_sorts(everything)
        page.most["ResultGravest"] = 9  # eight sorts, and how many more there are
        return page

    @staticmethod
    def tally(found: list[Found]) -> Says:
        """How many there are of each kind."""
        words = ("danger", "the line", "quality", "note")
        counts = [sum(item.kind == kind for item in found) for kind in range(4)]
        there = [(word, Fact(count)) for word, count in zip(words, counts, strict=True) if count]
        return Says(tuple(word for word, _ in there), (), tuple(fact for _, fact in there))

    @staticmethod
    def gravest_sorts(found: list[Found]) -> list[Message]:
        """Dangers and stops by sort: one topic and component at one station, each danger of a part apart."""
        sorts: dict[tuple, list[Found]] = {}
        for item in found:
            if item.kind in (DANGER, STOP):
                part = item.part if item.kind == DANGER else ""
                sorts.setdefault((item.kind, item.topic, item.component, item.station, part), []).append(item)
        ordered = sorted(sorts.values(), key=lambda group: (group[0].kind, -len(group)))
        rows = []
        for group in ordered:
            first = group[0]
            says = first.marked
            more = (first.day,) if first.day else ()
            more += (Fact(len(group)),) if len(group) > 1 else ()
            names = (*says.names, first.station, *((first.shift,) if first.shift else ()))
            rows.append(Message(first.kind, {}, replace(says, names=names, figures=(*says.figures, *more))))
        if len(rows) > 8:
            rows = [*rows[:8], Message(NOTE, {}, Says(("more sorts",), (), (Fact(len(rows) - 8),)))]
        return rows

    def amount_row(self, shot: amounts.Shot) -> dict[str, Any]:
        """What one shot of a part is."""
        station = next(row for row in self.plant.stations if row.station == shot.station)
        material = self.plant.material(station.material)
        grams = shot.volume * hb.density(material, self.plant.parts_of(material.material))
        low, high, worst_low, worst_high = shot.limits
        return {
            "Part": shot.part,
            "Application": shot.name,
            "Shot": Num(shot.number),
            "Station": shot.station,
            "Material": material.material,
            "Volume [mL]": Num(shot.volume),
            "Low [mL]": Num(low),
            "High [mL]": Num(high),
            "Worst low [mL]": Num(worst_low),
            "Worst high [mL]": Num(worst_high),
            "Main tolerance": driver(shot.main),
            "Mass [g]": Num(grams),
            "At the station [s]": Num(shot.seconds),
            "Detail": self.detail(shot),
        }

    # -------------------------------------------------------------------------- a shift under way

    def station(self, name: str) -> Any:
        """The station of a name."""
        return next(row for row in self.plant.stations if row.station == name)

    def from_now(self, name: str, told: Told) -> dict[str, Page]:
        """Material sheet and cure board of the rest of the plan's first shift."""
        return self.both(rest_of(self.plant, self.station(name), told))

    def first_shift(self, name: str) -> dict[str, Page]:
        """Material sheet and cure board of the plan's first shift."""
        return self.both(next(run for run in self.runs if run.station.station == name))

    def both(self, run: Played) -> dict[str, Page]:
        """Both by the ends of their names."""
        return {"material": self.material_page(run), "cure_board": self.board_page(run)}

    # --------------------------------------------------------------------------------- all pages

    def pages(self) -> dict[str, Page]:
        """Every page by its path below the folder of sheets."""
        found = {"results.xlsx": self.results_page()}
        served = {shot.station for row in self.plant.parts for shot in amounts.shots_of(self.plant, row.part)}
        for station in self.plant.stations:
            if station.station in served:
                found[f"setup/{station.station.replace(' ', '_')}_setup.xlsx"] = self.setup_page(station)
        for day, shift in self.plant.days():
            runs = [run for run in self.runs if (run.day, run.shift) == (day, shift)]
            folder = f"{day}_{shift.replace(' ', '_')}"
            found[f"{folder}/staging.xlsx"] = self.staging_page(runs)
            joined = [run for names in self.lines() for run in runs if run.station.station in names]
            if joined:
                found[f"{folder}/line.xlsx"] = self.line_page(joined)
            for run in runs:
                stem = f"{folder}/{run.station.station.replace(' ', '_')}"
                found[f"{stem}_material.xlsx"] = self.material_page(run)
                if run.material.cure == "light":
                    found[f"{stem}_lamp_board.xlsx"] = self.lamp_page(run)
                else:
                    found[f"{stem}_cure_board.xlsx"] = self.board_page(run)
                found[f"{stem}_shot_check.xlsx"] = self.check_page(run)
        return {path: in_litres(page) for path, page in found.items()}
