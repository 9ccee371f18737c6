"""Forms and topics of a plan workbook: the same cells as the wide tables, pages that hold what they print.

What a cell of a table holds is looked up here with openpyxl; ironcalc, an engine of its own, computes the
forms beside our evaluation. Page sizes are those of ISO 216 (A4) and ANSI (Letter).
"""

from __future__ import annotations

import itertools
import re
import subprocess
from collections import Counter
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.utils import column_index_from_string, get_column_letter

from dispense.books.plan import new_plan, plan_bytes
from dispense.handbook.in_formulas import formula_values
from dispense.jobs.rewrite import with_rows
from dispense.plan.demo import DEMO
from dispense.plan.read import check_plan
from dispense.plan.tables import BY_NAME, TABLES
from dispense.xlsx.package import Package

HEADER, FIRST_OF_FORM = 3, 6
TABLES_OF = {"Material form": ("Materials", "Components", "Components"), "Station form": ("Stations",)}
# points: 210 × 297 mm and 8.5 × 11 in; margins of 0.4 in at the sides, 0.6 in above and below
PAPERS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}
SIDES, ENDS = 2 * 0.4 * 72.0, 2 * 0.6 * 72.0
CHARACTER = 5.47  # points of a character of column width, measured on a page printed by LibreOffice 7.4


@pytest.fixture(scope="module")
def demo_bytes() -> bytes:
    return plan_bytes(DEMO)


@pytest.fixture
def demo(tmp_path, demo_bytes) -> Path:
    path = tmp_path / "plan.xlsx"
    path.write_bytes(demo_bytes)
    return path


def computed_elsewhere(book: Workbook, sheet: str, cells: list[str]) -> dict[str, str]:
    """Cells of a sheet as ironcalc shows them, from a book of the same cells without notes and tables."""
    ironcalc = pytest.importorskip("ironcalc")
    model = ironcalc.create("plan", "en", "UTC", "en")
    names = [sheet, *TABLES_OF[sheet]]
    for number, name in enumerate(dict.fromkeys(names)):
        if number:
            model.new_sheet()
        model.rename_sheet(number, name)
    for number, name in enumerate(dict.fromkeys(names)):
        for cell in itertools.chain.from_iterable(book[name].iter_rows()):
            if cell.value is not None and cell.column <= (3 if name == sheet else 99):
                text = f"'{cell.value}" if cell.data_type == "s" else str(cell.value)
                model.set_user_input(number, cell.row, cell.column, text)
    model.evaluate()
    number = [each["name"] for each in model.get_worksheets_properties()].index(sheet)
    found = {}
    for cell in cells:
        letter, row = cell[0], int(cell[1:])
        found[cell] = model.get_formatted_cell_value(number, row, column_index_from_string(letter))
    return found


def same(shown: str, value) -> bool:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(shown.replace(",", "")) == pytest.approx(value, rel=1e-6)
    return shown == ("" if value is None else str(value))


def assert_form_of(path: Path, sheet: str, name: str) -> dict[str, object]:
    """Each value stands in the cell that the link names, in the row of that name; gives values by label."""
    book = load_workbook(path)
    form = book[sheet]
    ours = formula_values(Package.open(path.read_bytes(), name="plan")).values
    rows = [row for row in range(FIRST_OF_FORM, form.max_row + 1) if form.cell(row, 3).value]
    theirs = computed_elsewhere(book, sheet, [f"{letter}{row}" for row in rows for letter in "ABC"])
    labels = {}
    for row in rows:
        table = re.match(r'=HYPERLINK\("#(\w+)!"&', form.cell(row, 3).value)[1]
        place = ours[sheet, f"C{row}"]
        column, line = re.fullmatch(r"([A-Z]+)(\d+)", place).groups()
        held = None if int(line) == HEADER else book[table][place].value
        assert int(line) == HEADER or book[table].cell(int(line), 1).value == name
        assert ours[sheet, f"A{row}"] == book[table][f"{column}{HEADER}"].value
        assert ours[sheet, f"B{row}"] == ("" if held is None else held), (row, place)
        assert theirs[f"C{row}"] == place and theirs[f"A{row}"] == ours[sheet, f"A{row}"]
        assert same(theirs[f"B{row}"], held), (row, place)
        labels.setdefault(ours[sheet, f"A{row}"], ours[sheet, f"B{row}"])
    return labels


@pytest.mark.parametrize(
    ("sheet", "name"), [("Material form", "cell compound"), ("Station form", "Block potting")]
)
def test_a_form_shows_the_cells_of_the_row_that_is_chosen(demo, sheet, name):
    book = load_workbook(demo)
    book[sheet]["B3"] = name
    book.save(demo)
    assert_form_of(demo, sheet, name)


def test_a_one_part_material_has_no_component_b(demo):
    book = load_workbook(demo)
    book["Material form"]["B3"] = "oven epoxy"
    book.save(demo)
    values = formula_values(Package.open(demo.read_bytes(), name="plan")).values
    rows = {book["Material form"].cell(row, 1).value: row for row in range(1, 200)}
    assert values["Material form", f"B{rows['Component A']}"] > HEADER
    assert values["Material form", f"B{rows['Component B']}"] == 0
    below = [
        values["Material form", f"B{row}"] for row in range(rows["Component B"] + 1, rows["Component B"] + 4)
    ]
    assert below == ["", "", ""]


def test_the_first_row_is_shown_until_another_is_chosen_with_its_values_in_the_file(demo):
    """pandas, viewers and phones read stored values: those of the first row of each table."""
    book = load_workbook(demo, data_only=True)
    for sheet, (table, *_) in TABLES_OF.items():
        first = [cell.value for cell in book[table][HEADER + 1]]
        form = book[sheet]
        assert form["B3"].value == first[0] and form["B4"].value == HEADER + 1
        shown = [
            form.cell(row, 2).value
            for row in range(FIRST_OF_FORM, form.max_row + 1)
            if form.cell(row, 3).value
        ]
        assert [value or None for value in shown[: len(first)]] == [value or None for value in first]


def test_a_form_follows_headers_and_names_as_the_plant_writes_them(demo):
    """Another unit in a header, a name with what a search takes for a pattern, and "=" as a text."""
    book = load_workbook(demo)
    sheet = book["Materials"]
    life = next(cell.column for cell in sheet[HEADER] if cell.value == "Pot life [min]")
    sheet.cell(HEADER, life).value = "Pot life [h]"
    sheet.cell(HEADER + 2, 1).value = "epoxy *?~"
    book["Material form"]["B3"] = "epoxy *?~"
    book.save(demo)
    assert (
        assert_form_of(demo, "Material form", "epoxy *?~")["Pot life [h]"]
        == sheet.cell(HEADER + 2, life).value
    )


def test_every_column_stands_once_on_its_form_with_help_and_limits(demo):
    book = load_workbook(demo, data_only=True)
    for sheet, names in TABLES_OF.items():
        form = book[sheet]
        seen = Counter(
            (form.cell(row, 1).value, form.cell(row, 6).value)
            for row in range(FIRST_OF_FORM, form.max_row + 1)
            if form.cell(row, 3).value
        )
        expected: Counter = Counter()
        for number, name in enumerate(names):
            for item in BY_NAME[name].columns:
                if number == 0 or item.name not in ("material", "component"):
                    # a of an equation is not A: a symbol keeps its letter
                    is_symbol = item.name in ("thickening_exponent", "thickening_slope")
                    words = item.help if is_symbol else item.help[:1].upper() + item.help[1:]
                    expected[item.title, words] += 1
        assert seen == expected


def test_a_plan_with_forms_reads_as_one_without(demo):
    plan, problems = check_plan(demo)
    assert problems == [] and plan.warnings == []
    book = load_workbook(demo)
    for sheet in TABLES_OF:
        del book[sheet]
    book.save(demo)
    old, problems = check_plan(demo)
    assert problems == [] and old.warnings == []
    assert [old.rows, plan.rows] and all(
        getattr(old, table.attribute) == getattr(plan, table.attribute) for table in TABLES
    )


def test_a_blank_plan_has_forms_that_say_so(tmp_path):
    path = new_plan(tmp_path / "blank.xlsx")
    book = load_workbook(path, data_only=True)
    for sheet in TABLES_OF:
        form = book[sheet]
        assert (form["B3"].value or "") == "" and form["B4"].value == 0
        values = [form.cell(row, 2).value for row in range(FIRST_OF_FORM, form.max_row + 1)]
        assert all(not value for value in values)


def test_a_table_written_anew_leaves_forms_with_values(demo):
    rows = [("Hem path", 0.0, 0.0, 0.0, "line"), ("Hem path", 50.0, 0.0, 0.0, "line")]
    demo.write_bytes(with_rows(demo, "Paths", ("path", "x", "y", "z", "motion"), rows))
    assert (
        load_workbook(demo, data_only=True)["Material form"]["B3"].value == DEMO["Materials"][0]["material"]
    )


# -------------------------------------------------------------------------------------------- topics


def test_topics_fold_behind_their_first_column(demo):
    book = load_workbook(demo)
    folded = 0
    for table in TABLES:
        sheet = book[table.name]
        topics = [cell.value for cell in sheet[2] if cell.value]
        if len(table.topics) < 2:
            assert sheet.column_dimensions.max_outline in (0, None)
            continue
        assert topics == [words for words, _ in table.topics]
        assert len(set(topics)) == len(topics)  # each topic is one run of columns
        assert sheet.sheet_properties.outlinePr.summaryRight is False
        level = {
            number: sheet.column_dimensions[get_column_letter(number)].outlineLevel
            for number in range(1, len(table.columns) + 1)
        }
        for cell in sheet[2]:
            if cell.value:
                assert level[cell.column] == 0  # neighbours would fold as one
        for number, item in enumerate(table.columns, 1):
            assert not (item.name in table.key and level[number])
            assert not sheet.column_dimensions[get_column_letter(number)].hidden
        folded += sum(level.values())
    assert folded > 100


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_across_hold_whole_topics_and_fit_the_paper(demo, paper):
    width = PAPERS[paper][1]  # landscape
    book = load_workbook(demo)
    seen = 0
    for table in TABLES:
        sheet = book[table.name]
        breaks = [item.id for item in sheet.col_breaks.brk]
        if not breaks:
            assert sheet.sheet_properties.pageSetUpPr.fitToPage and sheet.page_setup.fitToWidth == 1
            continue
        starts = set(itertools.accumulate(len(columns) for _, columns in table.topics))
        assert set(breaks) <= starts
        assert sheet.print_title_cols == "$A:$A" and not sheet.sheet_properties.pageSetUpPr.fitToPage
        wide = [
            sheet.column_dimensions[get_column_letter(number)].width
            for number in range(1, len(table.columns) + 1)
        ]
        for first, last in itertools.pairwise([0, *breaks, len(wide)]):
            total = sum(wide[first:last]) + (wide[0] if first else 0.0)
            assert total * CHARACTER * sheet.page_setup.scale / 100.0 <= width - SIDES
            seen += 1
        assert sheet.page_setup.scale * 10.0 / 100.0 >= 5.9  # points of print, as it was fitted to width
    assert seen >= 10


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_of_a_form_hold_whole_topics_and_fit_the_paper(demo, paper):
    width, height = PAPERS[paper]
    book = load_workbook(demo)
    for name in TABLES_OF:
        sheet = book[name]
        scale = sheet.page_setup.scale / 100.0
        assert scale * 10.0 >= 7.5  # points of print
        assert (
            sum(sheet.column_dimensions[letter].width for letter in "ABCDEF") * CHARACTER * scale
            <= width - SIDES
        )
        high = {row: sheet.row_dimensions[row].height or 15.0 for row in range(1, sheet.max_row + 1)}
        breaks = [item.id for item in sheet.row_breaks.brk]
        assert sheet.print_title_rows == "$3:$5"
        for first, last in itertools.pairwise([0, *breaks, sheet.max_row]):
            rows = [*range(first + 1, last + 1), *((3, 4, 5) if first else ())]
            assert sum(high[row] for row in rows) * scale <= height - ENDS
        for row in breaks:  # the words of a topic stand above its fields
            assert sheet.cell(row + 1, 3).value is None and sheet.cell(row, 3).value


@pytest.mark.libreoffice
def test_libreoffice_prints_forms_and_wide_tables_on_the_pages_that_were_meant(demo, tmp_path):
    """A page that spilled over would have no first column, or be one more than the breaks say."""
    book = load_workbook(demo)
    wanted = sum(
        (len(sheet.row_breaks.brk) + 1) * (len(sheet.col_breaks.brk) + 1)
        for sheet in book
        if sheet.title in TABLES_OF or sheet.col_breaks.brk
    )
    names = [sheet.title for sheet in book if sheet.title in TABLES_OF or sheet.col_breaks.brk]
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    command = ["soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", str(tmp_path), str(demo)]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    text = subprocess.run(
        ["pdftotext", "-layout", str(demo.with_suffix(".pdf")), "-"], capture_output=True, text=True
    )
    pages = text.stdout.split("\f")
    feet = [re.search(r"plan\.xlsx\s+(.+?)\s+page \d+ of \d+", page) for page in pages]
    found = Counter(foot[1] for foot in feet if foot)
    assert sum(found[name] for name in names) == wanted
