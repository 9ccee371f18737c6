"""What a shift was planned to use: volumes by component and cause, and parts; kept with it once booked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

from ..plan.records import Plan
from ..shift.results import ShiftResult
from ..shift.store import NANO, nanolitres
from .history import WATCHED


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

    `purges` are purges and mixer changes, `purged` what they take together and `purge` what one takes by the
    figures of the station, all of the mix; so are `checks`.
    """

    material: str
    begins: float
    ends: float
    parts: tuple[PlannedPart, ...]
    checks: int
    purges: int
    purged: int
    purge: int
    components: Mapping[str, ComponentUse]


def planned_use(plan: Plan, result: ShiftResult) -> PlannedUse:
    """What a played shift uses."""
    begins, ends = plan.hours_of(result.date, result.shift)
    purges = [event.volume for event in result.events if event.kind in WATCHED]
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
        len(purges),
        sum(purges),
        nanolitres(station.purge_volume or station.mixer_volume),
        components,
    )


def as_kept(use: PlannedUse) -> dict[str, Any]:
    """What is written of it."""
    return asdict(use)


def from_kept(found: Mapping[str, Any]) -> PlannedUse:
    """From what was written."""
    parts: Sequence[Sequence[Any]] = found["parts"]
    components: Mapping[str, Sequence[Any]] = found["components"]
    return PlannedUse(
        found["material"],
        found["begins"],
        found["ends"],
        tuple(PlannedPart(*part) for part in parts),
        found["checks"],
        found["purges"],
        found["purged"],
        found["purge"],
        {letter: ComponentUse(*use) for letter, use in components.items()},
    )


__all__ = ["ComponentUse", "PlannedPart", "PlannedUse", "as_kept", "from_kept", "planned_use"]
