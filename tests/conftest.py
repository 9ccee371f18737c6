"""Shared by all tests: helpers beside them can be imported; spreadsheet tests share one worker."""

from __future__ import annotations

import os
import shutil
import sys
import zipfile
from pathlib import Path

import pytest
from hypothesis import settings

# random cases are the same in each run, to tell a change from luck; HYPOTHESIS_PROFILE=search draws anew
settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

# no answer of an earlier run stands in for one of this code: `test_kept` says where it may
os.environ["DISPENSE_KEPT"] = "off"

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


# ------------------------------------------------- one LibreOffice for all tests of the Calc add-in


@pytest.fixture(scope="session")
def members(tmp_path_factory):
    """Files of the extension as it is built for anybody."""
    from dispense.addin.calc import builder

    path = builder.build(tmp_path_factory.mktemp("built") / "dispense.oxt")
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _need_office() -> None:
    from dispense.addin.calc import office
    from dispense.base.errors import DispenseError

    try:
        found = office.find_office()
        missing, fits = office.lacking(found)
        if missing and not fits:
            raise DispenseError(f"LibreOffice's Python lacks {', '.join(missing)}")
    except DispenseError as error:
        if os.environ.get("CI"):
            pytest.fail(f"LibreOffice is needed here: {error}")
        pytest.skip(str(error))


@pytest.fixture(scope="session")
def profile(tmp_path_factory):
    """A LibreOffice profile of its own, with the add-in."""
    from dispense.addin.calc import office

    _need_office()
    folder = tmp_path_factory.mktemp("calc") / "profile"
    state = office.install(profile=folder)
    assert state["problems"] == []
    return folder


@pytest.fixture(scope="session")
def calc(profile):
    from dispense.addin.calc.session import Session

    with Session(profile) as session:
        yield session
