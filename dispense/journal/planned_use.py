"""What a shift was planned to use: volumes by component and cause, and parts; kept with it once booked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

from ..plan.records import Plan
from ..plan.tables import CHANGE_MIXER
from ..shift.results import ShiftResult
from ..shift.store import NANO, nanolitres
from .entries import PURGED
from .history import MIXER, PURGE, WATCHED


class PlannedPart(NamedTuple):
    """Parts of one sort in a shift: good ones, scrap, and what one takes [nL mixed]."""

    part: str
    finished: int
    scrapped: int
    shot: float


class ComponentUse(NamedTuple):
    """A component in a shift [nL]: what stands in its container, what is used by cause, and what is drawn
    besides: it fills hoses, and mixers that are kept (below 0 where one of the shift before is used up).

    `share` is that of its volume in the mix.
    """

    share: float
    opening: int
    closing: int
    filled: int
    used: dict[str, int]

    @property
    def drawn(self) -> int:
        """What the shift takes from containers, thrown heels included."""
        return sum(self.used.values())


@dataclass(frozen=True, slots=True)
class PlannedUse:
    """What a station's shift uses by plan; begin and end as clock times of its day [s], volumes in nL.

    `purge` and `mixer` are what a purge and a mixer change of the station take, of the mix as `checks`, and
    `purges` and `mixers` how many there are; `changes_mixers`: what a limit asks for is a mixer change.
    """

    material: str
    begins: float
    ends: float
    parts: tuple[PlannedPart, ...]
    checks: int
    purges: int
    purge: int
    mixers: int
    mixer: int
    changes_mixers: bool
    components: Mapping[str, ComponentUse]

    def purged_more(self, booked: Mapping[str, int]) -> int:
        """What purges and mixer changes that were booked take more than planned [nL mixed].

        They are counted by kind, or together as "purged": then those more are what a limit asks for, and
        those fewer are first of that kind.
        """
        planned, each = {PURGE: self.purges, MIXER: self.mixers}, {PURGE: self.purge, MIXER: self.mixer}
        usual, other = (MIXER, PURGE) if self.changes_mixers else (PURGE, MIXER)
        if PURGED in booked:
            of_other = min(planned[other], booked[PURGED])
            booked = {other: of_other, usual: booked[PURGED] - of_other}
        return sum((booked.get(kind, 0) - planned[kind]) * each[kind] for kind in WATCHED)


def planned_use(plan: Plan, result: ShiftResult) -> PlannedUse:
    """What a played shift uses."""
    begins, ends = plan.hours_of(result.date, result.shift)
    kinds = [event.kind for event in result.events]
    shares, station = result.shares, result.station
    components = {}
    for letter in result.letters:
        filled = result.filled.get(letter, 0)
        mixers = result.mixers_before[letter]
        components[letter] = ComponentUse(
            shares[letter],
            result.opening[letter] - mixers - (result.hoses[letter] - filled),
            result.left_in_container(letter),
            filled + result.mixers_after[letter] - mixers,
            {cause: volume for cause, volume in result.used[letter].items() if volume},
        )
    return PlannedUse(
        result.material.material,
        begins,
        ends,
        tuple(
            PlannedPart(job.part, job.finished, job.scrapped, job.shot.nominal * NANO) for job in result.jobs
        ),
        result.dispensed("checks"),
        kinds.count(PURGE),
        nanolitres(station.purge_volume or station.mixer_volume),
        kinds.count(MIXER),
        nanolitres(station.mixer_volume),
        station.rule == CHANGE_MIXER,
        components,
    )


def as_kept(use: PlannedUse) -> dict[str, Any]:
    """What is written of it."""
    return asdict(use)


def from_kept(found: Mapping[str, Any]) -> PlannedUse:
    """From what was written; an earlier version told purges and mixer changes together, at their mean."""
    if "mixers" not in found:
        mean = found["purged"] // found["purges"] if found["purges"] else found["purge"]
        found = {**found, "purge": mean, "mixers": 0, "mixer": mean, "changes_mixers": False}
    parts: Sequence[Sequence[Any]] = found["parts"]
    components: Mapping[str, Sequence[Any]] = found["components"]
    return PlannedUse(
        found["material"],
        found["begins"],
        found["ends"],
        tuple(PlannedPart(*part) for part in parts),
        found["checks"],
        found["purges"],
        found["purge"],
        found["mixers"],
        found["mixer"],
        found["changes_mixers"],
        {letter: ComponentUse(*use) for letter, use in components.items()},
    )


__all__ = ["ComponentUse", "PlannedPart", "PlannedUse", "as_kept", "from_kept", "planned_use"]
