"""A cluster of machines by its address, as an executor. Needs Dask distributed (extra `cluster`)."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from typing import Any

from .errors import InputError, Problem

WAIT = 20.0  # s for the scheduler and its first worker


class ClusterExecutor(Executor):
    """The executor of a Dask client, which says when no worker is left."""

    def __init__(self, client: Any) -> None:
        self._client = client
        self._executor = client.get_executor(pure=False)

    def submit(self, work: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        """A call that one of the workers makes."""
        future: Future[Any] = self._executor.submit(work, *given, **named)
        return future

    def is_gone(self) -> bool:
        """Whether the scheduler has no worker any more, or cannot be asked."""
        try:
            return not self._client.scheduler_info(n_workers=-1)["workers"]
        except Exception:  # a connection that was lost has errors of many kinds
            return True


@contextlib.contextmanager
def cluster(address: str | None) -> Iterator[Executor | None]:
    """The cluster whose scheduler listens at an address such as tcp://10.0.0.5:8786; None: none is asked for.

    Raises InputError where Dask is not installed, or nobody works at that address.
    """
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError as error:
        text = "cannot be used: Dask distributed is not installed"
        fix = 'pip install "dispense-planner[cluster]"'
        raise InputError(Problem("cluster", message=text, fix=fix)) from error
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what is lost is worked out here
    try:
        connect: Callable[..., Any] = Client
        client = connect(address, timeout=WAIT, set_as_default=False)
    except Exception as error:  # of names, of the network, of time
        text = f"no scheduler answers at {address}"
        fix = "start one with: dask scheduler, and workers with: dask worker ADDRESS --nthreads 1"
        raise InputError(Problem("cluster", message=text, fix=fix)) from error
    try:
        try:
            client.wait_for_workers(1, timeout=WAIT)
        except Exception as error:
            text, fix = f"the scheduler at {address} has no workers", "start some: dask worker ADDRESS"
            raise InputError(Problem("cluster", message=text, fix=fix)) from error
        yield ClusterExecutor(client)
    finally:
        with contextlib.suppress(Exception):
            client.close(timeout=WAIT)


__all__ = ["ClusterExecutor", "cluster"]
