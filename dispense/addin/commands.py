"""What `dispense addin` does, for all three hosts."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

from ..base.errors import InputError, Problem

DEFAULT_OUT = {"excel": ".", "calc": "dispense.oxt", "names": "dispense-names.xlsx"}


def manage(
    action: str,
    host: str,
    out: str | None = None,
    *,
    workbook: str | None = None,
    with_dependencies: bool = False,
) -> dict[str, Any]:
    """Build, install, uninstall or inspect the add-in of a host; a flat report.

    `workbook` goes with names: they are put into a copy of it. `with_dependencies` goes with calc:
    the extension brings the packages it needs from the running interpreter.
    """
    for option, given, goes_with in (
        ("--workbook", workbook is not None, "names"),
        ("--with-dependencies", with_dependencies, "calc"),
    ):
        if given and (action, host) != ("build", goes_with):
            raise InputError(Problem("addin", message=f"{option} goes with build --host {goes_with} only"))
    if action == "build":
        target = out or DEFAULT_OUT[host]
        options: dict[str, Any] = {}
        if workbook is not None:
            options["workbook"] = workbook
        if with_dependencies:
            options["with_dependencies"] = True
        built = _builder(host)(target, **options)
        files = built if isinstance(built, list) else [built]
        return {"built": ", ".join(str(Path(file)) for file in files)}
    if action == "selftest" and host != "excel":
        raise InputError(Problem("addin", message="selftest goes with --host excel only"))
    if out is not None and action != "selftest":
        raise InputError(Problem("addin", message="--out goes with build and selftest only"))
    if host == "names":
        raise InputError(
            Problem(
                "addin",
                message=f"names need no {action}",
                fix="build puts them into a workbook; open that workbook",
            )
        )
    module = importlib.import_module(f".{host}", __package__)
    report = getattr(module, action)(**({"out": out} if action == "selftest" else {}))
    return report if isinstance(report, dict) else {action: report if report else "done"}


def _builder(host: str):
    if host == "calc":
        from .calc import build
    elif host == "excel":
        from .excel import build
    else:
        from .names import build_names as build
    return build
