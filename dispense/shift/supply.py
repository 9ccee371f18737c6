"""The containers of a station: what is drawn from them, and when one is changed.

A container is changed between parts: one that cannot finish the next part makes way before it, and
what it still holds is booked as rest. Where the station may refill in mid-bead, or no container can
finish a part, it runs empty in the part: the nozzle stands for the change, and the part is told.
Volumes are whole nanolitres.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from ..base.errors import NUM, InputError, Problem
from ..base.units import DAY, told_volume_text
from ..plan.materials import mix_shares
from ..plan.records import Plan
from ..plan.tables import IN_MID_BEAD
from .findings import component_words
from .results import Event, LotUse, RanEmpty, ShiftResult
from .store import NANO, NO_STOCK, Lot, Mounted, Store, heel_volume, mount, nanolitres
from .today import PastDay
from .visits import Piece, Visit

#: what is under way while a container that is changed in the midst of it runs empty, by where the mix goes
RUNS_EMPTY = {
    "start": "at the start",
    "mixers": "while the mixer fills",
    "purge": "in the purge",
    "checks": "in the check",
    "end": "in the last purge",
}
LEAST_TOLD = nanolitres(0.05e-6)  # of what is left in a container [nL]: less is 0.0 mL
MOST_CONTAINERS = 20_000  # of one component in a shift


def makes_way(usable: int, need: int, full: int, may_empty: bool) -> bool:
    """Whether a container is changed before a part: it could have finished it full, and now cannot [nL].

    One that may run empty in the part, or never held the part's share, stays until it is empty.

    >>> makes_way(30, 40, 100, False), makes_way(30, 40, 100, True), makes_way(30, 140, 100, False)
    (True, False, False)
    """
    return usable < need and (usable == 0 or (need <= full and not may_empty))


class Change(NamedTuple):
    """Why a container is changed: what of it is lost before a part [nL], or what it runs empty on."""

    rest: int = 0
    on_part: str = ""
    runs_empty: str = ""


CHANGE = Change()


class Supply:
    """Draws from the containers of one station in one shift and books it in the result."""

    def __init__(self, plan: Plan, result: ShiftResult, store: Store) -> None:
        self.plan, self.result, self.store = plan, result, store
        self.station = result.station
        self._shares = list(mix_shares(result.material, result.components).items())
        self._splits: dict[int, list[tuple[str, int]]] = {}
        self.keys = {letter: (self.station.station, letter) for letter in result.components}
        self.full = {
            letter: nanolitres(row.container) - heel_volume(row) for letter, row in result.components.items()
        }

    def split(self, volume: int) -> list[tuple[str, int]]:
        """What each component makes of a mixed volume; the last takes what rounding leaves."""
        parts = self._splits.get(volume)
        if parts is None:
            parts, rest = [], volume
            for letter, share in self._shares[:-1]:
                parts.append((letter, round(volume * share)))
                rest -= parts[-1][1]
            parts = self._splits[volume] = [*parts, (self._shares[-1][0], rest)]
        return parts

    def words(self, letter: str) -> str:
        """A component as a text names it: Bond 60 A."""
        return component_words(self.result, letter)

    def container(self, letter: str) -> Mounted[Lot] | None:
        """What stands at the station."""
        return self.store.mounted.get(self.keys[letter])

    # ------------------------------------------------------------------------------- drawing

    def draw(
        self, volume: int, category: str, clock: float, duration: float = 0.0, on_part: str = ""
    ) -> float:
        """Take mixed material and book it; returns the time lost by containers that ran empty [s].

        `on_part` names the part that it goes on.
        """
        if volume <= 0:
            return 0.0
        parts = self._splits.get(volume) or self.split(volume)
        used, mounted, keys = self.result.used, self.store.mounted, self.keys
        suffices = True
        for letter, part in parts:
            used[letter][category] += part
            container = mounted.get(keys[letter])
            if container is None or container.usable < part:
                suffices = False
        if not suffices:
            meanwhile = RUNS_EMPTY.get(category, "")
            return self._draw_on(dict(parts), clock, duration, on_part, meanwhile)
        if on_part and clock + duration > DAY:
            for letter, _ in parts:
                self._note_past_day(letter, clock, clock + duration, on_part)
        for letter, part in parts:
            mounted[keys[letter]].usable -= part
        self._note_levels(clock)
        return 0.0

    def fill(self, letter: str, volume: int, clock: float) -> None:
        """Take one component into its hoses."""
        self._draw_on({letter: volume}, clock, 0.0)

    def _draw_on(
        self, parts: Mapping[str, int], clock: float, duration: float, on_part: str = "", meanwhile: str = ""
    ) -> float:
        """Draw where a container runs empty: the one that is empty first is changed first.

        `meanwhile` names what else than a part it is drawn for.
        """
        needs, pause = dict(parts), 0.0
        while True:
            lacking = [
                (self._share_drawn(parts[letter], need, container), letter)
                for letter, need in needs.items()
                if need > 0 and ((container := self.container(letter)) is None or container.usable < need)
            ]
            if not lacking:
                break
            share, letter = min(lacking)
            at = clock + duration * share + pause
            old, left = self.container(letter), 0
            if old is not None:
                if on_part and old.usable:
                    self._note_past_day(letter, clock, at, on_part)
                left = old.usable
                needs[letter] -= left
                old.usable = 0
                pause += self.station.container_time
                if on_part:
                    self.result.ran_empty.append(RanEmpty(letter, at))
                self.result.course.levels.setdefault(letter, []).append((at, 0))
            is_told = meanwhile and left >= LEAST_TOLD
            told = f"{told_volume_text(left / NANO, 1)} left, runs empty {meanwhile}" if is_told else ""
            self._change(letter, old, at, Change(on_part=on_part, runs_empty=told))
        for letter, need in needs.items():
            if need > 0:
                if on_part:
                    self._note_past_day(letter, clock, clock + duration + pause, on_part)
                self.store.mounted[self.keys[letter]].usable -= need
        self._note_levels(clock + duration + pause)
        return pause

    def _note_past_day(self, letter: str, clock: float, end: float, on_part: str) -> None:
        """Keep what goes on a part until `end` [s], where the last day of the container is over by then."""
        container = self.container(letter)
        if container is None or container.lot.lot == NO_STOCK:
            return
        over = container.over(self.result.date)
        if end > over:
            item = PastDay(
                letter, container.lot.lot, container.last_day, container.standing, max(clock, over), on_part
            )
            self.result.past_day.append(item)

    def _note_levels(self, clock: float) -> None:
        """Keep what the connected containers hold from a clock time on."""
        levels = self.result.course.levels
        for letter in self.result.components:
            container = self.container(letter)
            if container is not None:
                levels.setdefault(letter, []).append((clock, container.usable))

    @staticmethod
    def _share_drawn(part: int, need: int, container: Mounted[Lot] | None) -> float:
        """Share of a draw that is done when a container runs empty in it."""
        return (part - need + (container.usable if container else 0)) / part

    # ------------------------------------------------------------------------------ changing

    def suffices(self, needs: Mapping[str, int]) -> bool:
        """Whether what stands at the station is enough for a part."""
        mounted, keys = self.store.mounted, self.keys
        for letter, need in needs.items():
            container = mounted.get(keys[letter])
            if container is None or container.usable < need:
                return False
        return True

    def cannot_finish(self, needs: Mapping[str, int]) -> list[str]:
        """Components whose container makes way before a part: it could finish one, and now cannot.

        Where the station may refill in mid-bead, or the container never held a part's share, it stays.
        """
        mounted, keys = self.store.mounted, self.keys
        may_empty = self.station.refill == IN_MID_BEAD
        return [
            letter
            for letter, need in needs.items()
            if (container := mounted.get(keys[letter])) is not None
            and makes_way(container.usable, need, container.full, may_empty)
        ]

    def change_before(self, letters: Sequence[str], clock: float) -> float:
        """Change containers between parts, what they hold is lost as rest; when it is done [s]."""
        for letter in letters:
            old = self.container(letter)
            if old is not None:
                self.result.used[letter]["rest"] += old.usable
                self._change(letter, old, clock, Change(rest=old.usable))
                old.usable = 0
                clock += self.station.container_time
        return clock

    def _change(self, letter: str, old: Mounted[Lot] | None, clock: float, why: Change = CHANGE) -> None:
        """Put on the next container of a component; the heel of the old one is lost."""
        result, component = self.result, self.result.components[letter]
        if old is not None:
            result.used[letter]["heel"] += old.heel
        while True:
            self._check_count(letter)
            found, content = self.store.take(component, self._day_of(clock))
            lot = found or Lot.missing(component)
            if found is None:
                content = nanolitres(component.container)
                result.missing[letter] = result.missing.get(letter, 0) + content
                text = (
                    f"no usable {self.words(letter)} left in store: one container of "
                    f"{told_volume_text(component.container)} is missing"
                )
                result.events.append(Event(clock, "short", text, letter, NO_STOCK, content))
            result.mounted[letter] += content
            result.containers[letter] += 1
            self._note_lot(letter, lot, content, clock, found is None)
            new = mount(lot, content, component, result.date)
            if new is not None:
                break
            result.used[letter]["heel"] += content  # a rest smaller than the heel gives nothing
        self.store.mounted[self.keys[letter]] = new
        if found is not None:
            text = f"connect {self.words(letter)} lot {lot.lot}"
            if old is not None and old.lot.lot != NO_STOCK:
                text += f", after lot {old.lot.lot}"
            if why.rest > 0:
                left = told_volume_text(why.rest / NANO, 1)
                text += f"; {left} left in the old one do not make the next part"
            if why.runs_empty:
                text += f"; the old one, {why.runs_empty}"
            if old is not None and why.on_part:
                stands = f"{self.station.container_time:.0f} s"
                text += f"; in the middle of {why.on_part}, the nozzle stands {stands}"
            result.events.append(Event(clock, "container", text, letter, lot.lot, content))

    def _check_count(self, letter: str) -> None:
        """More containers than a shift can mean are a slip of the plan."""
        result = self.result
        if result.containers[letter] < MOST_CONTAINERS:
            return
        raise InputError(
            Problem(
                self.plan.cell(result.components[letter], "container"),
                message=f"shift {result.shift} of "
                f"{result.date} empties more than {MOST_CONTAINERS} containers of "
                f"{self.words(letter)} at station {self.station.station}",
                fix="check the container, its heel and the volumes of the station",
                code=NUM,
            )
        )

    def _day_of(self, clock: float) -> datetime.date:
        """The day of a clock time: a night shift goes on into the next."""
        return self.result.date + datetime.timedelta(days=int(max(clock, 0.0) // DAY))

    def _note_lot(self, letter: str, lot: Lot, content: int, clock: float, is_missing: bool) -> None:
        """Count a container to its lot."""
        for use in self.result.lots:
            if (use.component, use.lot, use.is_missing) == (letter, lot.lot, is_missing):
                use.containers += 1
                use.volume += content
                return
        last_day = lot.last_day(self.result.components[letter].open_life)
        day = None if last_day == datetime.date.max else last_day
        self.result.lots.append(LotUse(letter, lot.lot, day, 1, content, clock, is_missing))

    # --------------------------------------------------------------------------- looking ahead

    def pieces(self, visit: Visit) -> tuple[Piece, ...]:
        """What leaves the nozzle in a visit, cut where a container will run empty in it."""
        return visit.pieces if self.suffices(visit.needs) else self._cut(visit)

    def _cut(self, visit: Visit) -> tuple[Piece, ...]:
        """The pieces of a visit with the pauses of its container changes, full ones following."""
        cuts: list[tuple[int, float]] = []
        for letter in visit.needs:
            container = self.container(letter)
            left = self.full[letter] if container is None else container.usable
            for place, piece in enumerate(visit.pieces):
                part = need = dict(self.split(piece.volume))[letter]
                while need > left:
                    need -= left
                    left = max(self.full[letter], 1)
                    cuts.append((place, (part - need) / part))
                left -= need
        pieces: list[Piece] = []
        pause = 0.0
        for place, piece in enumerate(visit.pieces):
            done, duration = 0.0, piece.end - piece.start
            for share in [*sorted(share for where, share in cuts if where == place), 1.0]:
                start, end = piece.start + done * duration, piece.start + share * duration
                volume = round(piece.volume * share) - round(piece.volume * done)
                pieces.append(Piece(volume, start + pause, end + pause))
                done = share
                if share < 1.0:
                    pause += self.station.container_time
        return tuple(pieces)


__all__ = ["Supply", "makes_way"]
