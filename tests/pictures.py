"""Whether a picture of the docs is of today: what its charts drew when it was made, beside what they draw."""

import json
import pathlib
import runpy

import pytest

ROOT = pathlib.Path(__file__).parents[1]
SHOWN = 5e-3  # of a value: less is not seen in a picture


def assert_of_today(picture: str, book, sheet: str) -> None:
    """The same charts, series and figures as when `sh examples/pictures.sh` made the picture."""
    now = runpy.run_path(str(ROOT / "examples" / "drawn.py"))["drawn"](book, sheet)
    kept = json.loads((ROOT / "docs" / "pictures" / "drawn.json").read_text(encoding="utf-8"))[picture]
    assert now and now.keys() == kept.keys()
    for title, lines in now.items():
        assert lines.keys() == kept[title].keys()
        for name, values in lines.items():
            assert values == pytest.approx(kept[title][name], rel=SHOWN, abs=1e-3), (title, name)
