"""Whether a picture of the docs is of today: what its page showed when it was made, beside what it shows."""

import json
import pathlib
import re
import runpy
import shlex

import pytest

ROOT = pathlib.Path(__file__).parents[1]
SHOWN = 5e-3  # of a value: less is not seen in a picture


def kept_of_pictures() -> dict:
    """What was kept when `sh examples/pictures.sh` made the pictures, by their names."""
    return json.loads((ROOT / "docs" / "pictures" / "drawn.json").read_text(encoding="utf-8"))


def pictured() -> list[tuple[str, str, str, int]]:
    """Name, book, sheet and rows of each picture, as the script that makes them says."""
    script = (ROOT / "examples" / "pictures.sh").read_text(encoding="utf-8")
    early = re.search(r"^early=(.+)$", script, re.M)[1]
    lines = [shlex.split(line) for line in script.splitlines() if line.startswith("picture ")]
    return [(words[1], words[2].replace("$early", early), words[3], int(words[7])) for words in lines]


def assert_rows_of_today(picture: str, book, sheet: str, rows: int) -> None:
    """The same words and figures in the rows that the picture shows."""
    now = runpy.run_path(str(ROOT / "examples" / "drawn.py"))["shown"](book, sheet, rows)
    assert now == kept_of_pictures()[picture], f"sh examples/pictures.sh {picture} makes it anew"


def assert_of_today(picture: str, book, sheet: str) -> None:
    """The same charts, series and figures as when `sh examples/pictures.sh` made the picture."""
    now = runpy.run_path(str(ROOT / "examples" / "drawn.py"))["drawn"](book, sheet)
    kept = kept_of_pictures()[picture]
    assert now and now.keys() == kept.keys()
    for title, lines in now.items():
        assert lines.keys() == kept[title].keys()
        for name, values in lines.items():
            assert values == pytest.approx(kept[title][name], rel=SHOWN, abs=1e-3), (title, name)
