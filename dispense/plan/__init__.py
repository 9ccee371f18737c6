"""The plan: its tables, records, reader, checks, and what follows from them alone.

Imports `handbook` and below.
"""

from __future__ import annotations

from ..base.offer import offer

_OFFERED = {
    "build_plan": "records",
    "raw_table": "records",
    "read_plan": "records",
    "read_table": "records",
    "Plan": "model",
    "RECORDS": "model",
    "RawTable": "records",
    "load_plan": "read",
    "check_plan": "read",
}

__all__ = list(_OFFERED)
__getattr__ = offer(__name__, _OFFERED)
