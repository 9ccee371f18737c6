"""Names of modules as they were before the folders: importing one gives the module that it is today.

Scripts and notebooks of users keep working; new code uses the names of today.
"""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from importlib.abc import Loader, MetaPathFinder
else:  # Python asks for the methods alone, and the module takes as long to load as the whole package
    Loader = MetaPathFinder = object

MOVED = {
    f"dispense.{old}": f"dispense.{new}"
    for old, new in {
        "addin.bench": "books.bench",
        "amounts": "plan.amounts",
        "beads": "handbook.beads",
        "cure_report": "jobs.cure",
        "demo": "plan.demo",
        "errors": "base.errors",
        "fill": "jobs.fill",
        "fit_report": "jobs.fit",
        "functions": "handbook.catalogue",
        "terminal": "base.terminal",
        "units": "base.units",
        "whatif": "forecast.whatif",
        "workbook": "books",
        "workbook.read_plan": "plan.read",
        "workbook.write_plan": "books.plan",
    }.items()
}


class _Today(Loader):
    """Gives the module of today, its own spec kept."""

    def create_module(self, spec: ModuleSpec) -> ModuleType:
        module = import_module(MOVED[spec.name])
        self.own = module.__spec__
        return module

    def exec_module(self, module: ModuleType) -> None:
        module.__spec__ = self.own


class _Finder(MetaPathFinder):
    """Answers for the old names only."""

    def find_spec(self, fullname, path=None, target=None) -> ModuleSpec | None:
        return ModuleSpec(fullname, _Today()) if fullname in MOVED else None


def offer_old_names() -> None:
    """Let the old names be imported."""
    sys.meta_path.append(_Finder())
