"""`dispense fit`: kinetics from a CSV of measurements, and its workbook."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from ..base.errors import NA, InputError, Problem
from ..base.paper import paper_code
from ..books.fit import fit_workbook
from ..reports.fit import ARRHENIUS, CHOICES, SHOP, FitReport, fit_report
from ..xlsx.typed import save_signed


def fit_file(
    path: str | os.PathLike[str],
    form: str = ARRHENIUS,
    *,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    glass: Sequence[float] | None = None,
    at: float | str = SHOP,
) -> FitReport:
    """Fit a CSV of measurements; with `out` also a workbook with a residual plot.

    `form` is "arrhenius" (columns Temperature, Time), or "n-th", "kamal" and others of `CHOICES` (Time,
    Temperature, Degree). Those that end in "resistance" need `glass`: the glass transition uncured and
    cured [°C] and DiBenedetto's ratio. `at` is the temperature [°C] of the shop or of the pour: the report
    says how well the rate is known there.
    """
    if form not in CHOICES:
        raise InputError(Problem("fit", "form", form, "one of " + ", ".join(CHOICES), code=NA))
    if out is not None and Path(out).suffix.lower() != ".xlsx":
        raise InputError(Problem("out", "file", str(out), "a name that ends in .xlsx"))
    paper_code(paper, "fit")
    report = fit_report(path, form, glass, at)
    if out is not None:
        report.out, kept = save_signed(out, fit_workbook(report, paper), "fit", [path])
        if kept:
            report.notes.append(f"the old workbook had been filled in and is kept as {kept.name}")
    return report


__all__ = ["fit_file"]
