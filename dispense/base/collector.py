"""The collector of cycles, put off while many records are made that have none."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def without_collector() -> Iterator[None]:
    """No search for cycles meanwhile: it would walk every record again and again, and find nothing.

    >>> with without_collector():
    ...     gc.isenabled()
    False
    """
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


__all__ = ["without_collector"]
