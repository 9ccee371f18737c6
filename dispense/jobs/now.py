"""What is told of a shift under way, as typed: the time, parts done, what stands at each station.

A value may name its station, `Hem robot:47`, and must where several are asked about; parts done may be told
of each part, `Drive lid=47`. Everything that is wrong or missing is reported at once.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import cast

from ..base.clock import hhmm
from ..base.errors import DispenseError, InputError, Problem
from ..base.fields import clock
from ..base.naming import nearest
from ..base.printed import counted, listed
from ..base.units import DAY, from_si, read_quantity, to_si, told_volume_text
from ..plan.amounts import applied_at
from ..plan.records import Plan
from ..plan.routes import lines
from ..shift.handover import IN_USE
from ..shift.results import ShiftResult
from ..shift.store import NANO, heel_volume, nanolitres
from ..shift.today import Stop, Today, Told

_CLOCK = clock("now", "a time of day")
NOZZLE_OF = re.compile(r"^(.+)/(\d+):(.+)$")  # Hem robot/2:09:50
NOZZLE_MIXER = re.compile(r"^(?:(\d+)=)?(.+)$")  # 2=09:50
SHOWN = 12  # names that a message offers to choose from


@dataclass(slots=True)
class _Station:
    """What is told of one station, while it is read."""

    done: int | None = None
    done_of: dict[str, int] = field(default_factory=dict)
    left: dict[str, float] = field(default_factory=dict)
    mounted: dict[str, str] = field(default_factory=dict)
    mixers: dict[int, float] = field(default_factory=dict)
    unnumbered: list[float] = field(default_factory=list)  # mixers told without a nozzle, in order

    def mixers_of(self, nozzles: int) -> dict[int, float]:
        """When the mixer of each nozzle was put on: one time holds for all, several for them in order."""
        free = [number for number in range(nozzles) if number not in self.mixers]
        times = self.unnumbered * len(free) if len(self.unnumbered) == 1 else self.unnumbered
        return self.mixers | dict(zip(free, times, strict=False))


class _Reader:
    """Reads what is told of the stations of one shift."""

    def __init__(
        self, plan: Plan, date: datetime.date, shift: str, chosen: Sequence[str] | None, now: float
    ) -> None:
        self.plan, self.date, self.shift, self.now = plan, date, shift, now
        self.begin, self.end = plan.hours_of(date, shift)
        self.chosen = list(chosen) if chosen else [row.station for row in plan.stations]
        joined = {other for name in self.chosen for other in (name, *lines(plan).get(name, ()))}
        builds = plan.builds_of(date, shift)
        self.parts = {
            row.station: [part for part, count in builds.items() if count and applied_at(plan, part, row)]
            for row in plan.stations
        }
        #: stations that work on something in the shift and are asked about: those chosen and their lines
        self.asked = [name for name, parts in self.parts.items() if name in joined and parts]
        self.stations: dict[str, _Station] = {}
        self.problems: list[Problem] = []

    def split(self, text: str, option: str, *, part: str = "") -> tuple[_Station | None, str, str]:
        """The station that a value is of, its name, and the value without it; None where it is not known."""
        name, value = "", text.strip()
        for row in sorted(self.plan.stations, key=lambda row: -len(row.station)):
            if value.casefold().startswith(f"{row.station.casefold()}:"):
                name, value = row.station, value[len(row.station) + 1 :].strip()
                break
        here = [one for one in self.asked if not part or part in self.parts[one]]
        if not name and len(self.chosen) == 1:
            name = self.chosen[0]
        elif not name and len(here) == 1:
            name = here[0]
        if name and name in {*self.asked, *self.chosen}:
            return self.stations.setdefault(name, _Station()), name, value
        stated, colon, _ = text.partition(":")
        known = ", ".join(self.asked[:SHOWN])
        if name or (colon and not stated.strip().isdigit() and "=" not in stated):
            alike = nearest(stated, self.asked)
            fix = f"did you mean {alike}?" if alike else ""
            self.problems.append(
                Problem("fill", option, text, f"a station at work in the shift: {known}", fix)
            )
        else:
            self.problems.append(
                Problem(
                    "fill",
                    option,
                    text,
                    message=f"of which station? At work are {known}",
                    fix=f'name it, "{self.asked[0] if self.asked else "station"}:{value}", or choose it with '
                    "--station",
                )
            )
        return None, "", value

    def read_done(self, text: str) -> None:
        """Parts started and done by now: 47, Drive lid=47, Hem robot:47."""
        part = self._part(text)
        station, name, value = self.split(text, "done", part=part)
        if station is None:
            return
        stated, sign, count = value.rpartition("=")
        if not count.strip().isdecimal():
            self.problems.append(
                Problem("fill", "done", value, "a whole number 0 or more, such as 47 or PART=47")
            )
        elif not sign:
            if station.done is not None or station.done_of:
                self.problems.append(
                    Problem("fill", "done", text, f"one number for {name}, or one for each part")
                )
            station.done = int(count)
        else:
            parts = self.parts[name]
            found = _alike(stated, parts)
            if found is None or station.done is not None or found in station.done_of:
                alike = nearest(stated, parts)
                fix = f"did you mean {alike}?" if alike and found is None else ""
                allowed = (
                    f"each part of {name} in the shift once: {', '.join(parts[:SHOWN]) or 'there is none'}"
                )
                self.problems.append(Problem("fill", "done", text, allowed, fix))
            else:
                station.done_of[found] = int(count)

    def _part(self, text: str) -> str:
        """The part that a number of parts is of, where it names one of the shift."""
        stated = text.rpartition("=")[0].rpartition(":")[2]
        return _alike(stated, [part for parts in self.parts.values() for part in parts]) or ""

    def read_mixer(self, text: str) -> None:
        """When the mixer in use was put on, or how long ago: 09:50, 25 min; of the second nozzle 2=09:50,
        or Hem robot/2:09:50. Told several times it is that of each nozzle in order."""
        station, name, value = self.split(self._by_nozzle(text), "mixer")
        if station is None:
            return
        match = NOZZLE_MIXER.match(value)
        number, when = match.groups() if match else (None, value)
        try:
            if re.fullmatch(r"\d{1,2}:\d{2}", when.strip()):
                at = self.in_shift(cast(float, _CLOCK.read(when.strip(), "mixer")))
            else:
                at = self.now - read_quantity(when, "min")
        except DispenseError:
            wanted = "a clock time such as 09:50, or an age such as 25 min"
            self.problems.append(Problem("fill", "mixer", text, wanted))
            return
        if number is None:
            station.unnumbered.append(at)
        elif int(number) - 1 in station.mixers:
            self.problems.append(Problem("fill", "mixer", text, f"one mixer for nozzle {number} of {name}"))
        else:
            station.mixers[int(number) - 1] = at
        count = len(station.mixers) + len(station.unnumbered)
        most = self.plan.station(name).nozzles
        if count > most:
            nozzles = counted(most, "nozzle")
            self.problems.append(
                Problem("fill", "mixer", text, f"at most one for each nozzle: {name} has {nozzles}")
            )

    def _by_nozzle(self, text: str) -> str:
        """Hem robot/2:09:50 as Hem robot:2=09:50."""
        match = NOZZLE_OF.match(text.strip())
        names = [row.station for row in self.plan.stations]
        if match is None or _alike(match[1], names) is None or _alike(f"{match[1]}/{match[2]}", names):
            return text
        return f"{match[1]}:{match[2]}={match[3]}"

    def in_shift(self, at: float) -> float:
        """A clock time after midnight is of a shift that goes on into the next day."""
        return at + DAY if at < self.begin and at + DAY <= self.end else at

    def missing(self) -> Iterator[Problem]:
        """Parts done must be told of every station that is asked about."""
        blank = _Station()
        lacking = []
        for name in self.asked:
            station = self.stations.get(name, blank)
            if station.done_of:
                untold = [part for part in self.parts[name] if part not in station.done_of]
                lacking += [f"{name}:{part}" for part in untold]
            elif station.done is None:
                lacking.append(name)
        if lacking:
            joined = [name for name in lacking if name not in self.chosen]
            why = "; stations that routes join go on together" if joined else ""
            yield Problem(
                "fill",
                "done",
                None,
                message=f"done is not stated for {listed(lacking)}",
                fix=f"parts are started and done by now; 0 where none is{why}",
            )

    def told(self) -> dict[str, Told]:
        """What is known of each station."""
        return {
            name: Told(
                item.done_of if item.done_of else item.done,
                item.left,
                item.mounted,
                item.mixers_of(self.plan.station(name).nozzles),
            )
            for name, item in self.stations.items()
        }


def read_today(
    plan: Plan,
    date: datetime.date | None,
    shift: str | None,
    stations: Sequence[str] | None,
    *,
    now: str | None = None,
    done: Iterable[str] = (),
    left: Mapping[str, float] | None = None,
    mounted: Mapping[str, str] | None = None,
    mixers: Iterable[str] = (),
    stops: Iterable[str] = (),
) -> Today | None:
    """What is known of a shift under way; None where nothing is told.

    `left` [mL] and `mounted` (lots) are by component, `A` or `Hem robot:A`.
    """
    done, mixers, stops = list(done), list(mixers), list(stops)
    left, mounted = left or {}, mounted or {}
    at_station = bool(done or left or mounted or mixers)
    if now is None and at_station:
        raise InputError(Problem("fill", "now", None, "a time of the shift such as 10:40, with done"))
    if now is None and not stops:
        return None
    problems: list[Problem] = []
    if date is None or shift is None:
        message, fix = "now and stop are of one shift", "choose it with --date and --shift"
        problems.append(Problem("fill", "now", now, message=message, fix=fix))
    at: float | None = None
    found: list[tuple[float, float]] = []
    try:
        at = None if now is None else cast(float, _CLOCK.read(now, "fill"))
        found = [_stop(text) for text in stops]
    except DispenseError as error:
        problems += error.problems
    if problems:
        raise InputError(problems)
    assert date is not None and shift is not None
    reader = _Reader(plan, date, shift, stations, 0.0 if at is None else at)
    stood = tuple(
        sorted(
            Stop(start, start + lasts) for start, lasts in ((reader.in_shift(a), lasts) for a, lasts in found)
        )
    )
    if at is None:
        return Today(date, shift, None, {}, stood)
    reader.now = reader.in_shift(at)
    for text in done:
        reader.read_done(text)
    factor, _ = to_si("mL")
    for key, volume in left.items():
        station, _, letter = reader.split(key, "left")
        if station is not None:
            station.left[letter.lower()] = volume * factor
    for key, lot in mounted.items():
        station, _, letter = reader.split(key, "connected")
        if station is not None:
            station.mounted[letter.lower()] = lot
    for text in mixers:
        reader.read_mixer(text)
    problems = reader.problems or list(reader.missing())
    if problems:
        raise InputError(problems)
    return Today(date, shift, reader.now, reader.told(), stood)


def reckoned_notes(results: Iterable[ShiftResult], today: Today | None) -> list[str]:
    """What of a station was not told, and is taken from the shift as it was played."""
    if today is None or today.now is None:
        return []
    notes: list[str] = []
    for result in results:
        if result.since is None:
            continue
        told = today.of(result.station.station)
        notes += _heel_notes(result, told)
        items, options = [], []
        if any(item.what == IN_USE[0] for item in result.taken_over):
            items, options = ["the mixer in use"], ["--mixer"]
        for letter in result.components:
            if letter not in told.left and result.mounted.get(letter) is not None:
                held = result.opening[letter] - result.mixers_before[letter] - result.hoses.get(letter, 0)
                items.append(f"{letter.upper()} {told_volume_text(held / NANO)} in the container")
        if len(items) > len(options):
            options += ["--left"] if told.mounted else ["--left", "--connected"]
        if items:
            notes.append(
                f"{result.station.station}: not told and taken from the shift as played till "
                f"{hhmm(today.now, today.date)}: {listed(items)} ({', '.join(options)})"
            )
    return notes


def _heel_notes(result: ShiftResult, told: Told) -> Iterator[str]:
    """What of a container that was read off is for use: its heel is in what was told."""
    for letter, volume in told.left.items():
        heel = heel_volume(result.components[letter])
        if heel:
            use = max(nanolitres(volume) - heel, 0)
            yield (
                f"{result.station.station}: {letter.upper()} {from_si(volume, 'mL'):g} mL told with its "
                f"heel of {heel / 1e6:g} mL; the sheets show the {use / 1e6:g} mL for use"
            )


def _stop(text: str) -> tuple[float, float]:
    """When the line stops and how long [s], from a text: 10:20 35 min."""
    start, _, length = text.strip().partition(" ")
    begin = cast(float, _CLOCK.read(start, "stop"))
    lasts = read_quantity(length or "0", "min")
    if not lasts > 0.0:
        raise InputError(
            Problem("fill", "stop", text, 'a clock time and how long it lasts, such as "10:20 35 min"')
        )
    return begin, lasts


def _alike(given: str, names: Sequence[str]) -> str | None:
    """The name as the plan has it; capitals and outer spaces do not count."""
    wanted = " ".join(given.split()).casefold()
    return next((name for name in names if " ".join(name.split()).casefold() == wanted), None)


__all__ = ["read_today", "reckoned_notes"]
