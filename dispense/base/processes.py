"""How many processes may work side by side."""

from __future__ import annotations

from .errors import InputError, Problem


def check_processes(processes: object, where: str = "compare") -> None:
    """A count of processes is a whole number from 1.

    >>> check_processes(2)
    """
    if isinstance(processes, bool) or not isinstance(processes, int) or processes < 1:
        raise InputError(Problem(where, "processes", processes, "a whole number 1 or more"))


__all__ = ["check_processes"]
