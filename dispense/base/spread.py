"""Work of many equal pieces on any `concurrent.futures.Executor`, with the results of one process.

What is worked out depends on the item alone, never on the piece it is in, on who works it out or on who is
first; results come back in the order of the items. A piece whose worker is lost is worked out here.
"""

from __future__ import annotations

import hashlib
import math
import pickle
import threading
import zlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, wait
from typing import Any, TypeVar

from .errors import InputError, Problem
from .program import whole_program

_Ready = TypeVar("_Ready")
_Item = TypeVar("_Item")
_Result = TypeVar("_Result")

PIECES = 64  # at most: enough that a slow worker does not keep the others waiting
_FEWEST = 8
_SENT = 64_000_000  # bytes that the state may take in all pieces together
_PATIENCE = 5.0  # s after which it is asked whether any worker is left
_FAST = 1  # of zlib: the plan is sent once for each piece

_one_at_a_time = threading.Lock()  # a worker of several threads has one language and one plan
_ready: dict[bytes, Any] = {}


def spread(
    executor: Executor,
    prepare: Callable[..., _Ready],
    state: tuple[Any, ...],
    work: Callable[[_Ready, _Item], _Result],
    items: Sequence[_Item],
) -> Iterator[_Result]:
    """`work(prepare(*state), item)` of each item, in order; a worker prepares once.

    `prepare` and `work` are functions of a module, `state` and `items` what can be pickled. What `work`
    raises is raised here. Raises InputError where a worker runs another program.
    """
    packed = zlib.compress(pickle.dumps(state, protocol=5), _FAST)
    token = hashlib.sha256(packed + f"{prepare.__module__}.{prepare.__qualname__}".encode()).digest()
    count = max(_FEWEST, min(PIECES, _SENT // len(packed)))
    size = max(1, math.ceil(len(items) / count))
    pieces = [items[begin : begin + size] for begin in range(0, len(items), size)]
    program = whole_program()
    futures = [_submitted(executor, token, packed, program, prepare, work, piece) for piece in pieces]
    try:
        for piece, future in zip(pieces, futures, strict=True):
            results = None if future is None else _result(executor, future)
            if results is None:  # nobody is left to do it
                ready = _prepared(token, packed, prepare)
                results = [work(ready, item) for item in piece]
            yield from results
    finally:
        for future in futures:
            if future is not None:
                future.cancel()
        _ready.pop(token, None)


def _submitted(executor: Executor, *given: Any) -> Future[Any] | None:
    """A piece that is waiting for a worker; None where no more can be given."""
    try:
        return executor.submit(_piece, *given)
    except Exception:  # a pool that broke, a connection that is lost: each library has its own
        return None


def _result(executor: Executor, future: Future[Any]) -> list[Any] | None:
    """The results of a piece; None where it was lost with its worker."""
    is_gone: Callable[[], bool] = getattr(executor, "is_gone", lambda: False)
    while not wait([future], _PATIENCE).done:
        if is_gone():
            return None
    try:
        word, found = future.result()
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException:  # of the executor, not of the work, which hands back what it raised
        return None
    if word == _OTHER:
        text = "a worker runs another version of this program, of Python, numpy or scipy"
        raise InputError(Problem("cluster", message=text, fix="install the same on all of them"))
    if word == _RAISED:
        raise found
    results: list[Any] = found
    return results


_DONE, _RAISED, _OTHER = "done", "raised", "other"


def _piece(
    token: bytes,
    packed: bytes,
    program: bytes | None,
    prepare: Callable[..., _Ready],
    work: Callable[[_Ready, _Item], _Result],
    items: Sequence[_Item],
) -> tuple[str, Any]:
    """What a worker does: the results of some items, or what was raised."""
    if program is None or whole_program() != program:
        return _OTHER, None
    with _one_at_a_time:
        try:
            ready = _prepared(token, packed, prepare)
            return _DONE, [work(ready, item) for item in items]
        except Exception as error:
            return _RAISED, error


def _prepared(token: bytes, packed: bytes, prepare: Callable[..., _Ready]) -> _Ready:
    """What the items are worked out with; that of the last work is kept."""
    if token not in _ready:
        made = prepare(*pickle.loads(zlib.decompress(packed)))
        _ready.clear()
        _ready[token] = made
    ready: _Ready = _ready[token]
    return ready


__all__ = ["spread"]
