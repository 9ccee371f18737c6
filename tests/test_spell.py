"""Names of the project's functions in the formulas of each spreadsheet program."""

from __future__ import annotations

from functools import partial

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.chart import BarChart, Reference
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import PatternFill
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.table import Table, TableColumn, TableFormula

from dispense.base.errors import FileError, InputError
from dispense.formulas import spell as spelling
from dispense.formulas.own import OwnFunctions
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.in_formulas import OWN
from dispense.xlsx.package import Package, compare

spell = partial(spelling.spell, own=OWN)
respell_workbook = partial(spelling.respell_workbook, own=OWN)

AREA = f"{OWN.service}.BEAD_AREA"
VOLUME = f"{OWN.service}.BEAD_VOLUME"


@pytest.mark.parametrize(
    ("plain", "calc"),
    [
        ('=BEAD_AREA("round",6)', f'={AREA}("round",6)'),
        ('BEAD_AREA("round",6)', f'{AREA}("round",6)'),
        ("=1+BEAD_AREA(A1, B1)*BEAD_VOLUME(C1,A1,B1)", f"=1+{AREA}(A1, B1)*{VOLUME}(C1,A1,B1)"),
        ("=SUM(BEAD_AREA(A1,B1),MAX(1,2))", f"=SUM({AREA}(A1,B1),MAX(1,2))"),
        # texts, sheet names, headers, names and comments in texts stay as they are
        ('="BEAD_AREA(1)"&BEAD_AREA(A1,B1)', f'="BEAD_AREA(1)"&{AREA}(A1,B1)'),
        ("='BEAD_AREA(x)'!A1+BEAD_AREA(A1,B1)", f"='BEAD_AREA(x)'!A1+{AREA}(A1,B1)"),
        ("=T[BEAD_AREA(]+BEAD_AREA(A1,B1)", f"=T[BEAD_AREA(]+{AREA}(A1,B1)"),
        ("=SUM(T[Net '[mL']])+BEAD_AREA(A1,B1)", f"=SUM(T[Net '[mL']])+{AREA}(A1,B1)"),
        ("=BEAD_AREA+1", "=BEAD_AREA+1"),
        ("=MY_BEAD_AREA(1)", "=MY_BEAD_AREA(1)"),
        ("=BEAD_AREA2(1)", "=BEAD_AREA2(1)"),
        # layout is kept
        ("= BEAD_AREA( A1 ,\n  B1 )  ", f"= {AREA}( A1 ,\n  B1 )  "),
        ("=SUM(1,2)", "=SUM(1,2)"),
        ("=_xlfn.CONCAT(BEAD_AREA(A1,B1))", f"=_xlfn.CONCAT({AREA}(A1,B1))"),
        ("plain text", "plain text"),
        ("", ""),
        ('=BEAD_AREA("unfinished', '=BEAD_AREA("unfinished'),
    ],
)
def test_spelling_for_calc_and_back(plain, calc):
    # what a formula must look like follows from the rule: only the function's name changes
    assert spell(plain, "calc") == calc
    assert spell(calc, "calc") == calc
    for host in ("excel", "plain"):
        assert spell(calc, host) == plain
        assert spell(plain, host) == plain


@pytest.mark.parametrize(
    "written",
    [
        AREA,
        AREA.lower(),
        AREA.title(),
        "bead_area",
        "_xludf.BEAD_AREA",
        "_xlfn.BEAD_AREA",
        f"_xldudf_{AREA}",
        "[1]!BEAD_AREA",
        "'C:\\tools\\add in.xlam'!BEAD_AREA",
    ],
)
def test_every_way_back_ends_in_the_plain_name(written):
    assert OWN.meaning(written) == "BEAD_AREA"
    assert spell(f"={written}(A1,B1)", "plain") == "=BEAD_AREA(A1,B1)"
    assert spell(f"={written}(A1,B1)", "calc") == f"={AREA}(A1,B1)"


def test_every_function_comes_back():
    assert len(FUNCTIONS) > 5
    for name in FUNCTIONS:
        assert OWN.meaning(OWN.calc_name(name)) == OWN.meaning(OWN.calc_name(name).lower()) == name
        assert spell(spell(f"={name}(A1)", "calc"), "plain") == f"={name}(A1)"
    assert OWN.meaning("OTHER.BEAD_AREA") is None
    assert OWN.meaning(f"{OWN.service}.NOTHING") is None
    assert OWN.meaning("SUM") is None


def test_only_the_functions_that_are_handed_in_are_own():
    other = OwnFunctions("OTHER", ["DOUBLE"], lambda name, arguments: [[2 * arguments[0]]])
    text = "=DOUBLE(BEAD_AREA(A1))+_xldudf_OTHER.DOUBLE(2)"
    assert spelling.spell(text, "calc", other) == "=OTHER.DOUBLE(BEAD_AREA(A1))+OTHER.DOUBLE(2)"
    assert spell(text, "calc") == f"=DOUBLE({AREA}(A1))+_xldudf_OTHER.DOUBLE(2)"


def test_an_unknown_host_is_refused():
    with pytest.raises(InputError, match='"numbers"; it must be one of excel, calc, plain'):
        spell("=1", "numbers")


PIECES = st.sampled_from(
    [
        *"+-*/,()'\"[]! {}:",
        "A1",
        "BEAD_AREA(",
        AREA + "(",
        AREA.lower() + "(",
        "SUM(",
        '"text"',
        "T[x]",
        "'a b'!",
        "BEAD_AREA",
        "1",
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(PIECES, max_size=12).map("".join))
def test_spelling_twice_changes_nothing_more(text):
    for host in ("calc", "plain"):
        once = spell("=" + text, host)
        assert spell(once, host) == once
        assert spell(spell(once, "calc"), "plain") == spell(once, "plain")


@pytest.fixture
def saved(tmp_path):
    """A workbook with the project's functions wherever a formula may stand."""
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    sheet.append(["Section", "Width", "Area"])
    for row in (2, 3):
        sheet.append(["round", row, f"=BEAD_AREA(A{row},B{row})"])
    table = Table(displayName="Beads", ref="A1:C3")
    table._initialise_columns()
    for column, title in zip(table.tableColumns, ("Section", "Width", "Area"), strict=True):
        column.name = title
    assert isinstance(table.tableColumns[2], TableColumn)
    table.tableColumns[2].calculatedColumnFormula = TableFormula(
        attr_text="BEAD_AREA(Beads[[#This Row],[Section]],Beads[[#This Row],[Width]])"
    )
    sheet.add_table(table)
    sheet["E1"] = "BEAD_AREA(is a text)"
    sheet["E2"] = ArrayFormula("E2:E3", "=BEAD_AREA(A2:A3,B2:B3)")
    workbook.defined_names["standard"] = DefinedName("standard", attr_text='BEAD_AREA("round",6)')
    sheet.conditional_formatting.add(
        "C2:C3", FormulaRule(["BEAD_AREA($A2,$B2)>5"], fill=PatternFill("solid", "FFFF00"))
    )
    rule = DataValidation("custom", formula1='BEAD_AREA("round",B2)<9')
    rule.add("B2:B3")
    sheet.add_data_validation(rule)
    chart = BarChart()
    chart.add_data(Reference(sheet, min_col=3, min_row=1, max_row=3), titles_from_data=True)
    sheet.add_chart(chart, "G2")
    path = tmp_path / "plain.xlsx"
    workbook.save(path)
    return path


def test_respelling_a_workbook(saved, tmp_path):
    before = saved.read_bytes()
    out = tmp_path / "calc.xlsx"
    assert respell_workbook(saved, "calc", out) == 7
    assert saved.read_bytes() == before
    workbook = openpyxl.load_workbook(out)  # read back by openpyxl, not by our own reader
    sheet = workbook.active
    assert sheet["C2"].value == f"={AREA}(A2,B2)"
    assert sheet["E1"].value == "BEAD_AREA(is a text)"
    assert sheet["E2"].value.text == f"={AREA}(A2:A3,B2:B3)"
    assert workbook.defined_names["standard"].attr_text == f'{AREA}("round",6)'
    (rules,) = sheet.conditional_formatting
    assert rules.rules[0].formula == [f"{AREA}($A2,$B2)>5"]
    assert sheet.data_validations.dataValidation[0].formula1 == f'{AREA}("round",B2)<9'
    column = sheet.tables["Beads"].tableColumns[2]
    assert column.calculatedColumnFormula.attr_text.startswith(f"{AREA}(Beads[[#This Row]")
    assert all("chart" not in d.part for d in compare(Package.open(saved), Package.open(out)))


def test_respelling_there_and_back_gives_the_same_workbook(saved, tmp_path):
    respell_workbook(saved, "calc", tmp_path / "calc.xlsx")
    assert respell_workbook(tmp_path / "calc.xlsx", "plain", tmp_path / "back.xlsx") == 7
    assert not compare(Package.open(saved), Package.open(tmp_path / "back.xlsx"))
    assert respell_workbook(saved, "excel", tmp_path / "same.xlsx") == 0


def test_the_input_is_never_overwritten(saved):
    before = saved.read_bytes()
    with pytest.raises(FileError):
        respell_workbook(saved, "calc", saved)
    assert saved.read_bytes() == before


def external_link(target):
    """A link as Excel writes it for functions of an add-in, with a reader of its own (openpyxl)."""
    from openpyxl.packaging.relationship import Relationship
    from openpyxl.workbook.external_link import ExternalLink
    from openpyxl.workbook.external_link.external import ExternalBook

    link = ExternalLink(externalBook=ExternalBook())
    link.file_link = Relationship(type="externalLinkPath", Target=target, TargetMode="External", Id="rId1")
    return link


AUTHOR = r"file:///C:\Users\ann\AppData\Roaming\Microsoft\Excel\XLSTART\dispense.xlam"


@pytest.mark.parametrize(
    ("targets", "formulas", "wanted", "left"),
    [
        ([AUTHOR], ["=[1]!BEAD_AREA(A1,2)"], ["=BEAD_AREA(A1,2)"], []),
        (["data.xlsx", AUTHOR], ["='[2]'!BEAD_AREA(1)+[1]S!A1"], ["=BEAD_AREA(1)+[1]S!A1"], ["data.xlsx"]),
        # a link that stands before another one keeps its number, or the other would name a wrong file
        (
            [AUTHOR, "data.xlsx"],
            ["=[1]!BEAD_AREA(1)+[2]S!A1"],
            ["=BEAD_AREA(1)+[2]S!A1"],
            [AUTHOR, "data.xlsx"],
        ),
        # a function of the same add-in that is none of ours still needs the link
        ([AUTHOR], ["=[1]!BEAD_AREA(1)", "=[1]!OTHER(1)"], ["=BEAD_AREA(1)", "=[1]!OTHER(1)"], [AUTHOR]),
    ],
)
def test_links_to_the_author_s_addin_go_with_their_formulas(tmp_path, targets, formulas, wanted, left):
    book = openpyxl.Workbook()
    for row, formula in enumerate(formulas, 1):
        book.active.cell(row, 1, formula)
    book._external_links = [external_link(target) for target in targets]
    book.save(tmp_path / "sent.xlsx")
    respell_workbook(tmp_path / "sent.xlsx", "excel", tmp_path / "own.xlsx")
    found = openpyxl.load_workbook(tmp_path / "own.xlsx")
    assert [found.active.cell(row, 1).value for row in range(1, len(wanted) + 1)] == wanted
    assert [link.file_link.Target for link in found._external_links] == left
    names = Package.open(tmp_path / "own.xlsx").parts
    assert sum("externalLinks/externalLink" in name for name in names if not name.endswith(".rels")) == len(
        left
    )
