"""Mixed material in mixer and nozzle: plug flow, and how old what leaves it is."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from ..handbook.life import LifeClock
from .visits import Piece

GELLED = 1.0  # share of the pot life at which the mixer is lost


class Mixer:
    """What stands in a mixer, the oldest first: volume [nL] and clock time [s] at which it went in.

    `life` is None where nothing ages; `quickest` is the share of pot life used in a second of the
    hottest hour, so that most visits need no exact reckoning.
    """

    __slots__ = ("content", "contents", "life", "quickest")

    def __init__(self, content: int, life: LifeClock | None, quickest: float = 0.0) -> None:
        self.content, self.life, self.quickest = content, life, quickest
        self.contents: deque[tuple[int, float]] = deque()

    def copy(self) -> Mixer:
        """Another one with the same in it, to try things on."""
        other = Mixer(self.content, self.life, self.quickest)
        other.contents = deque(self.contents)
        return other

    def fill(self, clock: float) -> None:
        """A new mixer, filled at once."""
        self.contents = deque([(self.content, clock)])

    def push(self, volume: int, start: float, end: float) -> None:
        """Material goes through: the oldest leaves, new goes in."""
        content = self.content
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
        return self.share_used(clock) >= GELLED

    def reaches(self, share: float) -> float:
        """When the oldest material has used a share of its pot life."""
        assert self.life is not None
        return self.life.when(self.contents[0][1], share)

    def keeps(self, share: float, pieces: Sequence[Piece], begin: float) -> bool:
        """Whether even the hottest hour keeps what stands in it below a share through a visit."""
        if self.life is None or not self.contents:
            return True
        end = begin + pieces[-1].end
        return (end - self.contents[0][1]) * self.quickest < share * (1.0 - 1e-6)

    def worst_share(self, pieces: Sequence[Piece], begin: float) -> float:
        """Largest share of pot life used by what leaves in a visit and stood in the mixer before it.

        What went in together leaves last to first: its last drop is the oldest at the nozzle.
        """
        if self.life is None:
            return 0.0
        worst = self.share_used(begin)
        leaving = iter(pieces)
        piece = next(leaving)
        gone, total = 0, piece.volume  # mixed volume out before and after a piece
        inside = 0
        for volume, entered in self.contents:
            inside += volume
            while total < inside:
                following = next(leaving, None)
                if following is None:  # the rest of it stays in
                    return max(worst, self.life.used(entered, begin + piece.end))
                piece = following
                gone, total = total, total + piece.volume
            part = (inside - gone) / piece.volume if piece.volume else 1.0
            leaves = begin + piece.start + part * (piece.end - piece.start)
            if (leaves - entered) * self.quickest > worst:
                worst = max(worst, self.life.used(entered, leaves))
        return worst


__all__ = ["GELLED", "Mixer"]
