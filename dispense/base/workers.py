"""Processes that work for another one: they leave stopping to it, and end when it is gone."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from multiprocessing.connection import wait

__all__ = ["Stopped", "begin_worker"]


class Stopped(KeyboardInterrupt):
    """Work was stopped from outside; says what was done by then and what was not."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words


def begin_worker() -> None:
    """What a worker does first: Ctrl-C and a request to end go to the process that it works for.

    That one lets it finish the file at hand. Where it was killed and can no longer say anything, the worker
    ends by itself.
    """
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    master = multiprocessing.parent_process()
    if master is not None:
        threading.Thread(target=_end_with, args=(master.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)
