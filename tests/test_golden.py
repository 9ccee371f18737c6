"""Every cell of every sheet of two golden plans, against code that imports nothing of the planner.

The plans and the independent reckoning lie in `tests/golden` (its README says how they are built); each
formula there has its source beside it. Here the plan is written with openpyxl, filled by the planner,
and every workbook that comes out is read cell by cell.
"""

from __future__ import annotations

import ast
import contextlib
import datetime
import os
import random
import re
from pathlib import Path

import pytest
from golden import cells, compared, expected, plans, player
from golden.reading import clock

from dispense.jobs.compare import compare_file
from dispense.jobs.fill import fill

GOLDEN = Path(__file__).parent / "golden"
SAMPLE = int(os.environ.get("GOLDEN_CELLS", "25"))  # cells of each kind of sheet that are changed in turn


@pytest.fixture(scope="module", params=list(plans.PLANS))
def golden(request, tmp_path_factory):
    """A golden plan: its pages as they should be, and the folder of filled sheets."""
    folder = tmp_path_factory.mktemp(request.param)
    tables = plans.PLANS[request.param]
    plans.write(tables, folder / "plan.xlsx")
    with contextlib.chdir(folder):  # the results name the file as it was given
        report = fill("plan.xlsx", folder / "sheets", stamp=expected.STAMP)
    return expected.Reckoning(tables).pages(), folder / "sheets", report


def test_golden_code_imports_nothing_of_the_planner():
    """The reckoning is independent: scanned, not promised (the mutants' harness only runs pytest)."""
    for path in GOLDEN.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [item.name for item in node.names]
            elif isinstance(node, ast.ImportFrom) and not node.level:
                names = [node.module or ""]
            elif isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in (
                "import_module",
                "__import__",
                "exec",
                "eval",
            ):
                names = ["dispense"]
            assert not any(name.split(".")[0] in {"dispense", "plans", "handbook"} for name in names), (
                path,
                names,
            )


def test_every_expected_sheet_is_written_and_no_other(golden):
    pages, folder, _ = golden
    assert sorted(pages) == sorted(str(path.relative_to(folder)) for path in folder.rglob("*.xlsx"))


def test_every_cell_is_explained(golden):
    pages, folder, _ = golden
    faults = [
        f"{name} {fault}"
        for name, page in pages.items()
        for fault in cells.differences(cells.Book.open(folder / name), page)
    ]
    assert not faults, f"{len(faults)} cells:\n" + "\n".join(faults)


# ---------------------------------------------------------------------------------- a shift under way

MINUTE = 60.0
#: what is told of a station of the plan CREW in its first shift, and the sheets that hold a part
UNDER_WAY = {
    # a container and a mixer as read off, and a stop that is still to come
    "told": (
        "seam arm",
        {"now": "08:40", "done": 4, "left": {"A": 120}, "mixers": ["07:35"], "stops": ["09:10 12 min"]},
        player.Told(clock("08:40"), 4, {"a": 120.0}, clock("07:35"), ((clock("09:10"), clock("09:22")),)),
        ("material", "cure_board"),
    ),
    # done at 07:50:51, a part is mated after 26 min of work: 19:09 to the break of 08:10 to 08:25, the
    # other 6:51 after it, at 08:31:51, though the part of the shift that is over ends before the break
    "a break to come": (
        "head pour",
        {"now": "08:09", "done": 7, "left": {"B": 222}, "mixers": ["07:58"], "stops": ["08:48 26 min"]},
        player.Told(clock("08:09"), 7, {"b": 222.0}, clock("07:58"), ((clock("08:48"), clock("09:14")),)),
        ("material", "cure_board"),
    ),
    # what was done by now and is mated in the next shift is still to be handed over at the end of this one
    "to be mated later": (
        "head pour",
        {"now": "10:20", "done": 12},
        player.Told(clock("10:20"), 12),
        ("material",),
    ),
}


@pytest.fixture(scope="module")
def crew(tmp_path_factory):
    """The plan of the crew in a folder."""
    return plans.write(plans.CREW, tmp_path_factory.mktemp("under_way") / "plan.xlsx")


def faults_of(folder: Path, station: str, pages: dict[str, cells.Page], names: tuple[str, ...]) -> list[str]:
    """What the sheets of the first shift of CREW say and should not."""
    stem = folder / "2026-05-18_early" / station.replace(" ", "_")
    return [
        f"{name} {fault}"
        for name in names
        for fault in cells.differences(cells.Book.open(f"{stem}_{name}.xlsx"), pages[name])
    ]


@pytest.mark.parametrize("case", UNDER_WAY)
def test_every_cell_of_the_rest_of_a_shift_is_explained(case, crew, tmp_path):
    station, told, reckoned, names = UNDER_WAY[case]
    chosen = {"date": "2026-05-18", "shift": "early", "stations": [station]}
    fill(crew, tmp_path, stamp=expected.STAMP, **chosen, **told)
    faults = faults_of(tmp_path, station, expected.Reckoning(plans.CREW).from_now(station, reckoned), names)
    assert not faults, "\n".join(faults)


def test_every_cell_of_a_shift_with_a_stop_is_explained(crew, tmp_path):
    station, day = "head pour", datetime.date(2026, 5, 18)
    chosen = {"date": day, "shift": "early", "stations": [station]}
    fill(crew, tmp_path, stamp=expected.STAMP, **chosen, stops=["07:20 35 min"])
    stretch = player.Stretch(stops=((clock("07:20"), clock("07:20") + 35 * MINUTE),))
    reckoned = expected.Reckoning(plans.CREW, {(day, "early"): stretch})
    faults = faults_of(tmp_path, station, reckoned.first_shift(station), ("material", "cure_board"))
    assert not faults, "\n".join(faults)


# -------------------------------------------------------------------------------- choices side by side


@pytest.fixture(scope="module")
def choices(tmp_path_factory):
    """The comparison of the plan with choices, and its workbook."""
    folder = tmp_path_factory.mktemp("compared")
    plans.write(plans.COMPARED, folder / "plan.xlsx")
    return compare_file(folder / "plan.xlsx", out=folder / "choices.xlsx"), folder / "choices.xlsx"


def test_every_cell_of_the_choices_is_explained(choices):
    book, faults = cells.Book.open(choices[1]), []
    wanted = compared.sheets()
    assert book.sheets.sheetnames == list(wanted)
    for title, rows in wanted.items():
        there = [row for row in book.sheets[title].iter_rows() if any(cell.value is not None for cell in row)]
        assert len(there) == len(rows), title
        for row, reckoned in zip(there, rows, strict=True):
            padded = [*reckoned, *[None] * (len(row) - len(reckoned))]
            if isinstance(padded[3], cells.Says):  # what would mend it goes on in the next column
                row[3].value, row[4].value = f"{row[3].value}: {row[4].value}", None
            for cell, item in zip(row, padded, strict=True):
                why = cells.compare(cell.value, item, cell.number_format)
                faults += [f"{title}!{cell.coordinate}: {why}"] if why else []
    assert not faults, "\n".join(faults)


def test_every_value_of_the_choices_in_json_is_explained(choices):
    found, faults = choices[0].as_json(), []
    assert [item["stations"] for item in found["stations"]] == [["head pour"], ["seam arm"]]
    for item in found["stations"]:
        wanted = compared.ranked(item["stations"][0])
        assert item["ranked_by"] == ("waste" if wanted[0].cost is None else "cost")
        for one, reckoned in zip(item["sets"], wanted, strict=True):
            rules = [f"{rule['text']}: {rule['fix']}" for rule in one.pop("ruled_out")]
            faults += [
                why
                for text, rule in zip(rules, reckoned.rules, strict=True)
                if (why := cells.why_not(text, rule.says))
            ]
            values = compared.as_json(reckoned)
            uses, volumes = one.pop("used"), values.pop("used")
            assert uses.keys() == volumes.keys() and one.keys() == values.keys()
            pairs = [(key, one[key], values[key]) for key in one] + [
                (key, uses[key], volumes[key]) for key in uses
            ]
            for key, value, reckoned_value in pairs:
                code = "0" if isinstance(value, int) else "0.0" if key == "hottest_pour" else "0.0###"
                if why := cells.compare(value, reckoned_value, code):
                    faults.append(f"{one['choices']} {key}: {why}")
    assert not faults, "\n".join(faults)


# ------------------------------------------------------------------------- the comparison itself fails


def perturbed(value, code: str):
    """What a cell must not say: the last printed digit changed, a minute later, another word."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        if "y" in code:  # the number of a day
            return value + 1
        for step in (1e-3, 1e-2, 1e-1, 1.0, 10.0, 100.0):
            if cells.shown(value + 1.01 * step, code) != cells.shown(value, code):
                return value + 1.01 * step
        raise AssertionError(f"{value} looks the same whatever is added [{code}]")
    if isinstance(value, datetime.datetime):
        return value + (datetime.timedelta(minutes=1) if "h" in code.lower() else datetime.timedelta(days=1))
    figures = re.findall(r"\d", value)
    if figures and not value.startswith("="):
        place = value.rindex(figures[-1])
        return f"{value[:place]}{(int(value[place]) + 1) % 10}{value[place + 1 :]}"
    return "another word"


def test_a_change_of_any_cell_is_seen(golden):
    """Cells of one book of each kind, drawn with a seed, are changed and emptied one at a time."""
    pages, folder, _ = golden
    rng = random.Random(20260309)
    missed = []
    for kind in dict.fromkeys(page.template for page in pages.values()):
        name = min(
            (name for name, page in pages.items() if page.template == kind),
            key=lambda n: (folder / n).stat().st_size,
        )
        page, book = pages[name], cells.Book.open(folder / name)
        before = set(cells.differences(book, page))
        there = [
            cell
            for sheet in book.sheets
            for row in sheet.iter_rows()
            for cell in row
            if cell.value is not None
        ]
        for cell in rng.sample(there, min(SAMPLE, len(there))):
            own, key = cell.value, (cell.parent.title, cell.coordinate)
            carried = book.carried.get(key)
            cell.value = perturbed(own, cell.number_format)
            if set(cells.differences(book, page)) <= before:
                missed.append(f"{name} {key[0]}!{key[1]}: {own!r} -> {cell.value!r}")
            cell.value = own
            if key in book.carried and carried not in (None, ""):
                book.carried[key] = perturbed(carried, cell.number_format)
                if set(cells.differences(book, page)) <= before:
                    missed.append(f"{name} {key[0]}!{key[1]}: carries {book.carried[key]!r}")
                book.carried[key] = carried
            cell.value = None
            if set(cells.differences(book, page)) <= before:
                missed.append(f"{name} {key[0]}!{key[1]}: {own!r} emptied")
            cell.value = own
    assert not missed, "\n".join(missed)
