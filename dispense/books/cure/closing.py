"""What the sheets of a cure report share: the line under the title, and how each closes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ...base.findings import Finding
from ...handbook.life import GAS_CONSTANT
from ...reports.cure import CureReport
from ...sheets.pieces import marked
from ..page import Page, sentence

#: question, answer, name of the sheet, and whether nothing calls for action
Answer = tuple[str, str, str, bool]
MOST_CURVES = 6  # joints or beads that one chart shows
GAS = repr(GAS_CONSTANT)  # as live formulas hold it


def under_title(report: CureReport) -> str:
    """What it is of: material, plant, line, temperatures."""
    settings = report.plan.settings
    parts = [
        report.material.description,
        settings.get("plant", ""),
        settings.get("line", ""),
        f"temperatures: {report.record}",
    ]
    return " · ".join(part for part in parts if part)


def warnings_of(findings: Iterable[Finding]) -> list[str]:
    """Warnings with the word of their kind; notes left out."""
    return [marked(finding) for finding in findings if finding.is_warning]


def close_sheet(
    page: Page,
    report: CureReport,
    notes: Sequence[str] = (),
    warnings: Sequence[str] = (),
    caution: str = "",
    *,
    header_row: int = 0,
) -> None:
    """What closes each sheet: warnings, notes, cautions, print set-up."""
    page.texts("Warnings", warnings, warning=True)
    page.texts("Notes", notes)
    page.section("Cautions")
    page.text(" ".join(part for part in (sentence(caution), report.cautions) if part), warning=True)
    page.close(header_row=header_row)
