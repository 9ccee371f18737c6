"""Planned against actual use as a workbook: the answer, each component and period, the causes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from ..base.findings import Finding
from ..journal.explained import CAUSE_HELP, CAUSES, Explained
from . import style
from .finish import finished
from .page import Page

__all__ = ["explain_workbook"]

_WIDTHS = (20, 18, 11, *[11] * 8, 12, 10)
_KG, _MONEY = "0.000", "#,##0.00"
_FIRST = 4  # columns before the figures


def explain_workbook(
    answer: str,
    rows: Sequence[Explained],
    currency: str,
    findings: Sequence[Finding],
    notes: Sequence[str],
    paper: str = "A4",
) -> bytes:
    """The workbook; the same figures give the same bytes."""
    book = Workbook()
    book.remove(book.active)
    page = Page(book, "Explained", "Planned and actual use", _WIDTHS, _span(rows))
    page.answer(answer, True)
    page.texts("Findings", [str(each) for each in findings if each.is_warning], warning=True)
    if rows:
        _table(page, "What explains the difference [kg]", rows, True, _KG)
        money = f"[{currency}]" if currency else "at the prices of Components"
        _table(page, f"What it costs {money}", rows, False, _MONEY)
        _by_component(page, rows)
    page.texts("Causes", [f"{cause}: {words}" for cause, words in CAUSE_HELP.items()])
    page.texts("Notes", notes)
    page.close()
    return finished(book, "explain.xlsx", paper)


def _span(rows: Sequence[Explained]) -> str:
    if not rows:
        return "nothing booked"
    return f"{min(row.first for row in rows)} to {max(row.last for row in rows)}"


def _figure(row: Explained, volume: int | None, is_mass: bool) -> float | None:
    if volume is None:
        return None
    return row.mass(volume) if is_mass else row.money(volume)


def _table(page: Page, title: str, rows: Sequence[Explained], is_mass: bool, form: str) -> None:
    """Planned, actual and the causes; what they leave of the difference is computed, and must be nought."""
    page.section(title)
    head = page.row
    table: list[list[Any]] = []
    difference, first = get_column_letter(_FIRST + 2), get_column_letter(_FIRST + 3)
    last = get_column_letter(_FIRST + 2 + len(CAUSES))
    for number, row in enumerate(rows, head + 1):
        causes = [row.all_causes.get(cause) for cause in CAUSES]
        volumes = [row.planned, row.actual, row.difference, *causes]
        rest = f"=ROUND({difference}{number}-SUM({first}{number}:{last}{number}),6)"
        table.append(
            [
                row.period,
                row.component.material,
                row.component.component.upper(),
                *(_figure(row, volume, is_mass) for volume in volumes),
                style.Live(rest) if row.actual is not None else None,
            ]
        )
    heads = [
        "Period",
        "Material",
        "Component",
        "Planned",
        "Actual",
        "Difference",
        *map(str.capitalize, CAUSES),
    ]
    page.table([*heads, "Left over"], table, ("@", "@", "@", *[form] * (len(heads) - 3), form))


def _by_component(page: Page, rows: Sequence[Explained]) -> None:
    """Each component over all periods of which the actual use is known, and how that is known."""
    groups: dict[tuple[str, str], list[Explained]] = defaultdict(list)
    for row in rows:
        groups[row.key].append(row)
    page.section("By component, periods whose actual use is known")
    table: list[list[Any]] = []
    for (material, letter), mine in groups.items():
        known = [row for row in mine if row.actual is not None]
        volume = sum(row.difference or 0 for row in known)
        planned = sum(row.planned for row in known)
        counts = (sum(getattr(row, name) for row in mine) for name in ("booked", "kept", "shifts"))
        table.append(
            [
                ", ".join(dict.fromkeys(row.basis for row in mine)),
                material,
                letter.upper(),
                *(mine[0].mass(each) if known else None for each in (planned, planned + volume, volume)),
                volume / planned if planned else None,
                *counts,
            ]
        )
    masses = ["Planned [kg]", "Actual [kg]", "More [kg]"]
    page.table(
        ["Known by", "Material", "Component", *masses, "Share", "Booked", "Kept", "Shifts"],
        table,
        ("@", "@", "@", _KG, _KG, _KG, "0.0%", "0", "0", "0"),
    )
