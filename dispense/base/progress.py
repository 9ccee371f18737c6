"""How far a job is, told as it goes; whoever is told may raise to stop it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeAlias, TypeVar

__all__ = ["Progress", "stage", "told"]

#: takes what is done and of how much
Progress: TypeAlias = Callable[[int, int], None]
WHOLE = 100  # what a job in stages is told in

_T = TypeVar("_T")


def told(items: Iterable[_T], total: int, progress: Progress | None) -> Iterator[_T]:
    """The items, with word of each before it is handed on, so that the work on it can be stopped.

    >>> list(told("ab", 2, lambda done, total: print(done, "of", total)))
    0 of 2
    1 of 2
    ['a', 'b']
    """
    for done, item in enumerate(items):
        if progress is not None:
            progress(done, total)
        yield item


def stage(progress: Progress | None, begin: int, end: int) -> Progress | None:
    """Progress of a stage of a job, told as progress of the whole, in hundredths.

    >>> half = stage(lambda done, total: print(done, "of", total), 50, 100)
    >>> half(1, 5)
    60 of 100
    """
    if progress is None:
        return None
    tell = progress

    def within(done: int, total: int) -> None:
        tell(begin + round((end - begin) * done / max(total, 1)), WHOLE)

    return within
