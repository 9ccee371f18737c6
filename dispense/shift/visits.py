"""Visits of a part to a nozzle: shots between which nothing waits."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from ..plan.amounts import Application, in_one_go
from .store import nanolitres


class Piece(NamedTuple):
    """A mixed volume [nL] that leaves the nozzle from `start` to `end` [s after the visit began]."""

    volume: int
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Visit:
    """What is done to a part in one go: what leaves the nozzle and when, and what it takes."""

    wait: float  # least time after the visit before [s]
    pieces: tuple[Piece, ...]
    needs: dict[str, int]  # of each component [nL]
    duration: float  # with handling [s]

    @classmethod
    def of(
        cls,
        shots: Iterable[tuple[int, float]],
        split: Callable[[int], list[tuple[str, int]]],
        handling: float = 0.0,
        wait: float = 0.0,
    ) -> Visit:
        """A visit of shots, volume [nL] and time [s] each, one after the other."""
        pieces: list[Piece] = []
        needs: dict[str, int] = {}
        at = 0.0
        for volume, time in shots:
            pieces.append(Piece(volume, at, at + time))
            at += time
            for letter, part in split(volume):
                needs[letter] = needs.get(letter, 0) + part
        return cls(
            wait, tuple(pieces), needs, math.fsum(piece.end - piece.start for piece in pieces) + handling
        )


def visits_of(
    applications: Iterable[Application], split: Callable[[int], list[tuple[str, int]]], handling: float
) -> list[Visit]:
    """Applications of a part grouped into visits: a wait begins a new one."""
    return [
        Visit.of(
            ((nanolitres(item.amount.nominal), item.time) for item in group), split, handling, group[0].wait
        )
        for group in in_one_go(applications)
    ]


__all__ = ["Piece", "Visit", "visits_of"]
