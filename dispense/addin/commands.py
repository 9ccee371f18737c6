"""What `dispense addin` does, for all three hosts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..errors import InputError, Problem

DEFAULT_OUT = {"excel": ".", "calc": "dispense.oxt", "names": "dispense-names.xlsx"}


def manage(action: str, host: str, out: str | None = None) -> dict[str, Any]:
    """Build, install, uninstall or inspect the add-in of a host; a flat report."""
    if action == "build":
        target = out or DEFAULT_OUT[host]
        built = _builder(host)(target)
        files = built if isinstance(built, list) else [built]
        return {"built": ", ".join(str(Path(file)) for file in files)}
    if out is not None:
        raise InputError(Problem("addin", message="--out goes with build only"))
    if host == "names":
        raise InputError(
            Problem("addin", message=f"names need no {action}",
                    fix="build puts them into a workbook; open that workbook")
        )  # fmt: skip
    if host == "calc":
        from . import calc as module
    else:
        from . import excel as module
    report = getattr(module, action)()
    return report if isinstance(report, dict) else {action: report if report else "done"}


def _builder(host: str):
    if host == "calc":
        from .calc import build
    elif host == "excel":
        from .excel import build
    else:
        from .names import build_names as build
    return build
