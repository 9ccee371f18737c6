"""Mixed material in mixer and nozzle: how old what leaves it is.

It moves as a plug whose length is the throughput that replaces it: the volume of the mixer, or where the
plan states a share that may be older, the throughput after which no more than that share is (residence
times of laminar flow follow the volume put through, whatever the pauses between).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from ..base.numbers import EQUAL
from ..handbook.fill import residence_age
from ..handbook.life import LifeClock
from ..plan.rows import Material, Station

if TYPE_CHECKING:
    from .visits import Piece

GELLED = 1.0  # share of the pot life at which the mixer is lost
_SURELY = 1e-6  # of a share, so that rounding decides nothing where the hottest hour is reckoned with


def oldest_factor(station: Station, material: Material) -> float:
    """Age of the oldest material that counts over the mean age; 1 where no share of it is stated.

    Laminar flow in a tube, whatever the elements stir across. It is as well the volume put through that
    renews all but that share, over the volume of the mixer.
    """
    share = station.oldest_share
    return 1.0 if share is None else float(residence_age(1.0 - share, material.index))


def purges_in_a_row(station: Station, material: Material) -> int:
    """Purges of the stated volume that renew a mixer, but for the share that may be older."""
    needed = oldest_factor(station, material) * station.mixer_volume
    volume = station.purge_volume or needed
    return max(1, math.ceil(needed / volume * (1.0 - EQUAL))) if volume > 0.0 else 1


class Mixer:
    """What stands in a mixer, the oldest first: volume [nL] and clock time [s] at which it went in.

    `content` is what is in it; `renewal` the throughput that replaces the material that counts.

    `life` is None where nothing ages; `quickest` is the share of pot life used in a second of the
    hottest hour, so that most visits need no exact reckoning.
    """

    __slots__ = ("content", "contents", "factor", "life", "quickest", "renewal")

    def __init__(
        self, content: int, life: LifeClock | None, quickest: float = 0.0, factor: float = 1.0
    ) -> None:
        self.content, self.life, self.quickest, self.factor = content, life, quickest, factor
        self.renewal = round(content * factor)
        self.contents: deque[tuple[int, float]] = deque()

    def copy(self) -> Mixer:
        """Another one with the same in it, to try things on."""
        other = Mixer(self.content, self.life, self.quickest, self.factor)
        other.contents = deque(self.contents)
        return other

    def fill(self, clock: float) -> None:
        """A new mixer, filled at once."""
        self.contents = deque([(self.renewal, clock)])

    def push(self, volume: int, start: float, end: float) -> None:
        """Material goes through: the oldest leaves, new goes in."""
        content = self.renewal
        if content <= 0 or volume <= 0:
            return
        if volume >= content:
            entered = end - (end - start) * content / volume
            self.contents = deque([(content, entered)])
            return
        contents, rest = self.contents, volume
        while rest > 0:
            oldest, entered = contents[0]
            if oldest <= rest:
                contents.popleft()
                rest -= oldest
            else:
                contents[0] = (oldest - rest, entered)
                rest = 0
        contents.append((volume, start))

    def share_used(self, clock: float) -> float:
        """Share of pot life that the oldest material has used."""
        if self.life is None or not self.contents:
            return 0.0
        return self.life.used(self.contents[0][1], clock)

    def is_lost_by(self, clock: float) -> bool:
        """Whether it is too late for a purge that ends then: the oldest has used its pot life."""
        if not self.contents or self._stays_below(GELLED, clock - self.contents[0][1]):
            return False
        return self.share_used(clock) >= GELLED

    def reaches(self, share: float) -> float:
        """When the oldest material has used a share of its pot life."""
        assert self.life is not None
        return self.life.when(self.contents[0][1], share)

    def keeps(self, share: float, pieces: Sequence[Piece], begin: float) -> bool:
        """Whether even the hottest hour keeps what stands in it below a share through a visit."""
        if self.life is None or not self.contents:
            return True
        return self._stays_below(share, begin + pieces[-1].end - self.contents[0][1])

    def _stays_below(self, share: float, age: float) -> bool:
        """Whether even the hottest hour keeps material of an age [s] below a share."""
        return age * self.quickest < share * (1.0 - _SURELY)

    def keeps_fresh(self, share: float, pieces: Sequence[Piece], begin: float) -> bool:
        """Whether a new one, filled at the begin of a visit, stays below a share through it."""
        if self.life is None or self._stays_below(share, pieces[-1].end):
            return True
        fresh = self.copy()
        fresh.fill(begin)
        return not fresh.passes(share, pieces, begin)

    def passes(self, share: float, pieces: Sequence[Piece], begin: float) -> bool:
        """Whether what stands in it reaches a share at the begin of a visit or in it: `worst_share`."""
        life = self.life
        if life is None or not self.contents:
            return False
        for entered, leaves in self._leaving(pieces, begin):  # the oldest leaves after the begin
            if not self._stays_below(share, leaves - entered) and life.used(entered, leaves) >= share:
                return True
        return False

    def worst_share(self, pieces: Sequence[Piece], begin: float) -> float:
        """Largest share of pot life used by what leaves in a visit and stood in the mixer before it."""
        life = self.life
        if life is None or not self.contents:
            return 0.0
        ages = self._leaving(pieces, begin)
        return max(self.share_used(begin), *(life.used(entered, leaves) for entered, leaves in ages))

    def _leaving(self, pieces: Sequence[Piece], begin: float) -> Iterator[tuple[float, float]]:
        """When what stands in it went in, and when the last of it leaves or the visit is over [s].

        What went in together leaves last to first: its last drop is the oldest at the nozzle.
        """
        leaving = iter(pieces)
        piece = next(leaving)
        gone, total = 0, piece.volume  # mixed volume out before and after a piece
        inside = 0
        for volume, entered in self.contents:
            inside += volume
            while total < inside:
                following = next(leaving, None)
                if following is None:  # the rest of it stays in
                    yield entered, begin + piece.end
                    return
                piece = following
                gone, total = total, total + piece.volume
            part = (inside - gone) / piece.volume if piece.volume else 1.0
            yield entered, begin + piece.start + part * (piece.end - piece.start)


__all__ = ["GELLED", "Mixer", "oldest_factor", "purges_in_a_row"]
