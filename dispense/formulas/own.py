"""The functions of an add-in, as formulas see them: their names, and how to compute one.

Whoever evaluates or spells formulas hands in the `OwnFunctions` that they may call; formulas know
no function of an add-in by themselves.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from ..xlsx.formula_text import Unevaluable

__all__ = ["NO_OWN", "OwnFunctions", "standard_name"]

Rows = Sequence[Sequence[Any]]

_PREFIX = re.compile(r"^(_xlfn\.|_xlws\.|_xludf\.|_xldudf_|_xlfn_|com\.sun\.star\.addin\.)+", re.I)
_ELSEWHERE = re.compile(r"^(\[\d+\]|'[^']*')!")  # an add-in workbook that Excel wrote before a name


def standard_name(written: str) -> str:
    """The name of a standard function without the prefix that marks it as newer than the format."""
    return _PREFIX.sub("", written.strip()).upper()


class OwnFunctions:
    """An add-in's worksheet functions.

    `service` is the add-in as Calc's formulas spell it before a function's name; `compute(name,
    arguments)` gives the rows of a function's result, with None for a blank; `refused` says for some
    of the names why their value is not computed in a file.
    """

    def __init__(
        self,
        service: str,
        names: Iterable[str],
        compute: Callable[[str, Sequence[Any]], Rows],
        refused: Mapping[str, str] | None = None,
    ):
        self.service = service
        self.names = frozenset(name.upper() for name in names)
        self.refused = dict(refused or {})
        self._compute = compute
        self.meaning = lru_cache(maxsize=4096)(self._meaning)  # `meaning(written)`, remembered

    def _meaning(self, written: str) -> str | None:
        """The function that a name in a formula means, None for any other function."""
        bare = _PREFIX.sub("", _ELSEWHERE.sub("", written.strip())).upper()
        service, dot, method = bare.rpartition(".")
        if dot and service.rpartition(".")[2] == self.service.upper():
            bare = method
        return bare if bare in self.names else None

    def calc_name(self, name: str) -> str:
        """The name by which Calc finds a function in an .xlsx file: `SERVICE.METHOD`."""
        return f"{self.service}.{name.upper()}"

    def call(self, name: str, arguments: Sequence[Any]) -> Any:
        """The value of a function: a scalar, or rows of scalars."""
        if name in self.refused:
            raise Unevaluable(f"{name} {self.refused[name]}")
        rows = [["" if cell is None else cell for cell in row] for row in self._compute(name, arguments)]
        return rows[0][0] if len(rows) == 1 and len(rows[0]) == 1 else rows


def _none(name: str, arguments: Sequence[Any]) -> Rows:
    raise Unevaluable(f"the function {name} is not known here")


NO_OWN = OwnFunctions("", (), _none)  # standard functions only
