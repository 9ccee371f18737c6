"""Shared by all tests: helpers beside them can be imported; spreadsheet tests share one worker."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# random cases are the same in each run, to tell a change from luck; HYPOTHESIS_PROFILE=search draws anew
settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

sys.path.insert(0, str(Path(__file__).parent))

NEEDED = bool(os.environ.get("CI") or os.environ.get("DISPENSE_NEEDS_SPREADSHEET"))


def pytest_collection_modifyitems(items):
    """Spreadsheet tests run in one worker; without a spreadsheet they fail where it is needed."""
    missing = shutil.which("soffice") is None
    for item in items:
        if item.get_closest_marker("libreoffice"):
            item.add_marker(pytest.mark.xdist_group("libreoffice"))
            if missing and not NEEDED:
                item.add_marker(pytest.mark.skip(reason="LibreOffice is not installed"))
