"""A workbook made here, finished: values beside its formulas and in its charts,
its charts in words too; same content same bytes."""

from __future__ import annotations

from openpyxl import Workbook

from ..base.paper import paper_code
from ..handbook.in_formulas import formula_values
from ..xlsx.package import Package
from ..xlsx.stored import cache_values, describe_charts, refresh_charts
from . import style

__all__ = ["finished"]


def finished(book: Workbook, name: str, paper: str = "A4") -> bytes:
    """The bytes of the workbook, to be printed on that paper; errors call it `name`."""
    code = paper_code(paper, name)
    for sheet in book.worksheets:
        if sheet.page_setup.paperSize:
            sheet.page_setup.paperSize = code
    package = Package.open(style.stable_bytes(book), name=name)
    cache_values(package, formula_values)
    refresh_charts(package)
    describe_charts(package)
    return package.to_bytes()
