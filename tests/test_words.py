"""One word for each thing: what is printed uses those of the trade, and the words before are still read.

The table is the reference: words of ISO 10364 (pot life and working life), ISO 472 (Tg, gel, conversion,
Herschel–Bulkley's flow index n) and of the trade, common practice, no source.
"""

import contextlib
import io
import re
from pathlib import Path

import openpyxl
import pytest

from dispense.base.fields import Field
from dispense.books.plan import new_plan
from dispense.books.templates import write_all
from dispense.cli import OLD_NAMES, main, parser
from dispense.jobs.fill import fill
from dispense.plan.read import load_plan
from dispense.plan.tables import SETTINGS, TABLES
from dispense.sheets.catalogue import SPECS

ROOT = Path(__file__).parents[1]

#: table of the plan, header before, header of today
HEADERS = [
    ("Materials", "Move time", "Handling time"),
    ("Materials", "Join time", "Time to load"),
    ("Materials", "Test time", "Full-cure time"),
    ("Materials", "Glass uncured", "Tg uncured"),
    ("Materials", "Glass cured", "Tg cured"),
    ("Materials", "Gel degree", "Conversion at gel"),
    ("Materials", "Rate 1", "A1"),
    ("Materials", "Energy 1", "E1"),
    ("Materials", "Rate 2", "A2"),
    ("Materials", "Energy 2", "E2"),
    ("Materials", "Index", "Flow index n"),
    ("Materials", "Heat", "Heat of reaction"),
    ("Pots", "Film", "Surface heat transfer"),
    ("Pots", "Unfilled", "Void share"),
    ("Stations", "Rule", "At life limit"),
]

#: template, table of it or "" for a figure, words before, words of today
PRINTED = [
    ("shift_material", "", "Rule", "At life limit"),
    ("station_setup", "", "Rule", "At life limit"),
    ("shift_material", "MaterialUse", "Drawn", "Used"),
    ("results", "ResultUse", "Drawn", "Used"),
    ("results", "ResultMaterials", "Drawn", "Used"),
    ("shift_material", "MaterialUse", "Mounted", "Connected"),
    ("results", "ResultUse", "Mounted", "Connected"),
    ("shift_material", "MaterialUse", "Start", "Start-up loss"),
    ("results", "ResultUse", "Start", "Start-up loss"),
    ("shift_material", "MaterialUse", "End", "Shut-down loss"),
    ("results", "ResultUse", "End", "Shut-down loss"),
    ("shift_material", "MaterialUse", "Mixers", "Lost in mixers"),
    ("results", "ResultUse", "Mixers", "Lost in mixers"),
    ("shift_material", "MaterialUse", "Closing", "Left at end"),
    ("results", "ResultUse", "Closing", "Left at end"),
    ("shift_material", "MaterialLots", "First", "Needed from"),
    ("shift_material", "MaterialLater", "Serial", "No."),
    ("shift_material", "MaterialLater", "Before", "After shot"),
    ("shift_material", "MaterialLater", "Wait", "Wait at least"),
    ("shift_material", "MaterialLater", "Earliest", "Not before"),
    ("staging", "StagingContainers", "First", "Needed from"),
    ("staging", "StagingContainers", "Last", "Last change"),
    ("cure_board", "CureBatches", "Mates", "Planned mating"),
    ("cure_board", "CureBatches", "Mate before", "Mate by"),
    ("cure_board", "CureBatches", "Begun", "First part"),
    ("cure_board", "CureBatches", "Ended", "Last part"),
    ("station_setup", "SetupShots", "Together", "Mass of n shots"),
    ("station_setup", "SetupShots", "Matters most", "Main tolerance"),
    ("shift_material", "MaterialParts", "Good", "Asked"),
    ("shift_material", "", "Parts good", "Parts asked"),
    ("shift_material", "", "Mixed total", "Dispensed in all"),
    ("shift_material", "", "Mixed mass", "As mass"),
    ("results", "ResultShifts", "Good", "Asked"),
    ("shift_material", "MaterialParts", "Matters most", "Main tolerance"),
    ("shift_material", "", "Matters most", "Main tolerance"),
    ("results", "ResultAmounts", "Matters most", "Main tolerance"),
    ("shot_check", "", "Ratio mass", "B per 100 A by mass, target"),
    ("results", "", "Passes through stations", "Operations"),
    ("station_setup", "SetupFlows", "Time", "Dispense time"),
    ("station_setup", "SetupFlows", "Station time", "At the station"),
    ("results", "ResultAmounts", "Time", "At the station"),
    *((key, "", "Stamp", "Printed") for key in SPECS),
]

#: words that nothing printed says any more, in the meaning in which they were used
PHRASES = re.compile(
    r"\b(move|join|test) time\b|\bglass (un)?cured\b|\bgel degree\b|\b(rate|energy) [12]\b|\bunfilled\b"
    r"|\bmatters most\b|\bratio mass\b|\bfutures?\b|\bdraws\b|\bdrawn\b|\bmate before\b|\bmounted\b"
    r"|\bput on\b.*\blot\b|\bpasses through\b|\bone in ten\b|\brespell\b|\bworking li(fe|ves)\b",
    re.IGNORECASE,
)
STAYS = re.compile(r"ISO 10364")  # the standard defines working life: a sentence that names it may say so


def without_unit(title: str) -> str:
    """A header without its unit."""
    return title.split(" [")[0]


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("words") / "plan.xlsx"
    new_plan(path, demo=True)
    return path


@pytest.fixture(scope="module")
def sheets(demo):
    """One shift of one station of the demo."""
    return filled(demo, demo.parent / "sheets")


def filled(plan: Path, out: Path, templates: Path | None = None) -> dict[str, Path]:
    """The files of one station's shift by their names within the folder."""
    report = fill(plan, out, stamp="s", date="2026-03-02", stations=["Hem robot"], templates=templates)
    return {str(path.relative_to(out)): path for path in report.files}


def texts(path: Path) -> list[tuple[str, str]]:
    """Cell and text of every text of a workbook."""
    book = openpyxl.load_workbook(path)
    return [
        (f"{path.name} {sheet.title}!{cell.coordinate}", cell.value)
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, str)
    ]


# --------------------------------------------------------------------------------------------- the plan


def test_a_plan_says_the_words_of_today(demo):
    book = openpyxl.load_workbook(demo)
    for table, before, today in HEADERS:
        heads = [without_unit(str(cell.value)) for row in book[table].iter_rows(max_row=12) for cell in row]
        assert today in heads and before not in heads, (table, before)


def test_a_plan_with_the_headers_before_reads_alike(demo, tmp_path):
    book = openpyxl.load_workbook(demo)
    renamed = 0
    for table, before, today in HEADERS:
        for row in book[table].iter_rows(max_row=12):
            for cell in row:
                if isinstance(cell.value, str) and without_unit(cell.value) == today:
                    cell.value = cell.value.replace(today, before)
                    renamed += 1
        for listed in book[table].tables.values():
            for column in listed.tableColumns:
                if without_unit(column.name) == today:
                    column.name = column.name.replace(today, before)
    assert renamed == len(HEADERS)
    book.save(tmp_path / "before.xlsx")
    now, before = load_plan(demo), load_plan(tmp_path / "before.xlsx")
    for table in TABLES:
        assert getattr(before, table.attribute) == getattr(now, table.attribute), table.name
    assert [str(note) for note in before.warnings] == [str(note) for note in now.warnings]


def test_a_column_that_stands_twice_under_both_words_is_told(demo, tmp_path):
    book = openpyxl.load_workbook(demo)
    sheet = book["Materials"]
    head = next(c for row in sheet.iter_rows(max_row=12) for c in row if c.value == "Handling time [min]")
    sheet.cell(head.row, sheet.max_column + 1, "Move time [min]")
    sheet.tables.clear()
    book.save(tmp_path / "twice.xlsx")
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["check", str(tmp_path / "twice.xlsx")]) == 1
    assert '"Move time [min]" appears twice' in out.getvalue()


def test_no_two_columns_of_a_table_share_a_word():
    groups = [SETTINGS, *(table.columns for table in TABLES)]
    groups += [spec.columns(table) for spec in SPECS.values() for table in spec.tables]
    for fields in groups:
        words = [each.casefold() for item in fields for each in item.headings]
        assert len(words) == len(set(words)), sorted(word for word in words if words.count(word) > 1)


# --------------------------------------------------------------------------------------------- the sheets


def test_templates_say_the_words_of_today():
    for key, table, before, today in PRINTED:
        spec = SPECS[key]
        fields = spec.columns(table) if table else spec.names
        heads = {item.heading for item in fields}
        assert today in heads and before not in heads, (key, table, before)
        if table:
            assert any(before in item.headings for item in fields if item.heading == today), (key, before)


def test_templates_with_the_words_before_are_filled_alike(demo, sheets, tmp_path, monkeypatch):
    """A plant's own templates have the labels that they were made with: the last of each field's list."""
    with monkeypatch.context() as patched:
        patched.setattr(Field, "heading", property(lambda self: self.headings[-1]))
        write_all(tmp_path / "own")
    heads = {without_unit(text) for _, text in texts(tmp_path / "own" / "shift_material.xlsx")}
    assert {"Drawn", "Mounted", "Closing", "Matters most", "Stamp"} <= heads
    again = filled(demo, tmp_path / "out", templates=tmp_path / "own")
    assert sorted(again) == sorted(sheets)
    words = {before for _, _, before, _ in PRINTED} | {today for _, _, _, today in PRINTED}
    for name, path in sheets.items():
        mine, theirs = openpyxl.load_workbook(path), openpyxl.load_workbook(again[name])
        for sheet in mine:
            for row in sheet.iter_rows():
                for cell in row:
                    other = theirs[sheet.title][cell.coordinate].value
                    if cell.value != other:
                        assert {without_unit(str(cell.value)), without_unit(str(other))} <= words, (
                            name,
                            cell,
                        )


def test_no_sheet_prints_a_word_of_before(sheets):
    gone = {
        (SPECS[key].file.removesuffix(".xlsx"), before) for key, _, before, _ in PRINTED if before != "Mixers"
    }
    for name, path in sheets.items():
        kind = next(spec for spec in SPECS.values() if _is_of(name, spec.key))
        for where, text in texts(path):
            assert (kind.file.removesuffix(".xlsx"), without_unit(text)) not in gone, (where, text)
            assert not PHRASES.search(text), (where, text)


def _is_of(name: str, key: str) -> bool:
    ends = {"shift_material": "_material", "station_setup": "_setup"}
    ends |= {alone: alone for alone in ("staging", "line", "results")}
    return Path(name).stem.endswith(ends.get(key, f"_{key}"))


# --------------------------------------------------------------------------------------- help and pages


def test_no_page_and_no_help_says_a_word_of_before():
    pages = {
        path.name: path.read_text(encoding="utf-8") for path in [*ROOT.glob("docs/*.md"), ROOT / "README.md"]
    }
    pages["dispense --help"] = parser().format_help()
    commands = parser()._subparsers._group_actions[0].choices  # argparse offers no other way
    pages.update((f"dispense {name} --help", command.format_help()) for name, command in commands.items())
    assert len(commands) > 8
    found: list[tuple[str, str]] = []
    for name, text in pages.items():
        text = re.sub(r"^```python.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)  # names of Python stay
        text = re.sub(r"`[^`\n]*`|\]\([^)]*\)", "", text)
        if name == "functions.md":  # names of arguments stay, in tables and equations
            text = re.sub(r"^(\| \w+ \||- Equation:.*)", "", text, flags=re.MULTILINE)
        found += [
            (name, line) for line in text.splitlines() if PHRASES.search(line) and not STAYS.search(line)
        ]
    assert not found


@pytest.mark.parametrize(("before", "today"), OLD_NAMES.items())
def test_commands_are_known_by_the_names_before(before, today, capsys):
    with pytest.raises(SystemExit) as done:
        main([before, "--help"])
    assert done.value.code == 0
    assert f"dispense {today}" in capsys.readouterr().out
    assert before not in parser().format_help()


def test_the_option_of_simulation_runs_is_known_by_its_name_before():
    now = parser().parse_args(["forecast", "plan.xlsx", "--runs", "70"])
    before = parser().parse_args(["forecast", "plan.xlsx", "--draws", "70"])
    assert now.draws == before.draws == 70
    assert parser().parse_args(["forecast", "plan.xlsx"]).draws == 500
