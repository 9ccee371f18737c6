"""The cure report as a workbook: one file a sheet.

Imports `sheets` and below, and the look of all books.
"""

from __future__ import annotations

from ...base.offer import offer

_OFFERED = {"cure_workbook": "workbook"}

__all__ = list(_OFFERED)
__getattr__ = offer(__name__, _OFFERED)
