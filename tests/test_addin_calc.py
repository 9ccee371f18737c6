"""The add-in for LibreOffice Calc: what is built, and what the real Calc computes with it."""

from __future__ import annotations

import ast
import math
import os
import re
import shutil
import struct
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.formula import ArrayFormula

from dispense.addin import argument_help, argument_title
from dispense.addin.calc import builder, cells, component_names, office
from dispense.addin.calc.session import Session
from dispense.base.errors import DispenseError
from dispense.base.fields import number
from dispense.books import bench
from dispense.formulas.spell import spell
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.declare import Function, Out
from dispense.handbook.in_formulas import OWN
from dispense.xlsx.package import MAIN

PACKAGED = "http://schemas.openxmlformats.org/package/2006/relationships"
ROOT = Path(__file__).resolve().parents[1]
TEMPLATE = ROOT / "workbook_templates" / "bench.xlsx"
OOR = "{http://openoffice.org/2001/registry}"

# Error codes of LibreOffice Calc, as its help lists them (Error Codes in LibreOffice Calc)
CALC_ERRORS = {
    "#NULL!": 521,
    "#DIV/0!": 532,
    "#VALUE!": 519,
    "#REF!": 524,
    "#NAME?": 525,
    "#NUM!": 503,
    "#N/A": 32767,
}
# ERROR.TYPE, OpenDocument 1.2 part 2, 6.13.11
ERROR_TYPES = {"#VALUE!": 3, "#NUM!": 6, "#N/A": 7}


# -------------------------------------------------------------------------- what is built, anywhere


def test_built_twice_gives_the_same_bytes(tmp_path):
    one, two = builder.build(tmp_path / "a.oxt"), builder.build(tmp_path / "b.oxt")
    assert one.read_bytes() == two.read_bytes()
    with zipfile.ZipFile(one) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_another_ending_is_refused(tmp_path):
    with pytest.raises(DispenseError, match=r"\.oxt"):
        builder.build(tmp_path / "addin.zip")


def test_every_part_that_the_manifest_names_is_there(members):
    manifest = ElementTree.fromstring(members["META-INF/manifest.xml"])
    space = "{http://openoffice.org/2001/manifest}"
    named = [item.get(f"{space}full-path") for item in manifest.iter(f"{space}file-entry")]
    assert named and set(named) <= set(members)
    for name, data in members.items():
        if name.endswith((".xcu", ".xml", ".components")):
            ElementTree.fromstring(data)


def test_type_library_has_each_function_with_its_arguments(members):
    text = members["types.idl"].decode()
    methods = dict(re.findall(r"> ([A-Z0-9_]+)\(([^)]*)\);", text))
    assert set(methods) == set(FUNCTIONS)
    for name, arguments in methods.items():
        assert arguments.count("[in] any ") == len(FUNCTIONS[name].arguments)
    assert ">>" not in text  # which LibreOffice 7.4 does not read


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_wizard_texts_say_unit_and_default_of_each_argument(members, name):
    root = ElementTree.fromstring(members["CalcAddIns.xcu"])
    node = next(item for item in root.iter("node") if item.get(f"{OOR}name") == name)
    own = {item.get(f"{OOR}name"): item.findtext("value") for item in node.findall("prop")}
    entry = FUNCTIONS[name]
    assert own["DisplayName"] == name
    assert own["Description"].startswith(entry.category)
    parameters = node.find("node").findall("node")
    assert len(parameters) == len(entry.arguments)
    for item, parameter in zip(entry.arguments, parameters, strict=True):
        texts = {part.get(f"{OOR}name"): part.findtext("value") for part in parameter}
        if item.unit and item.unit != "as given":
            assert f"[{item.unit}]" in texts["DisplayName"]
        if item.is_required:
            # Calc itself writes "(optional)" after each name: the two words never stand together
            assert "Required" not in texts["Description"]
            assert "Never left out" in texts["Description"]
        else:
            assert "Optional" in texts["Description"]
            assert item.default_text() in texts["Description"]


def test_argument_names_are_allowed_in_the_type_library():
    # a letter, then letters and digits (UNOIDL identifiers without underscores), no reserved word
    for entry in FUNCTIONS.values():
        names = [builder.parameter_name(item.name) for item in entry.arguments]
        assert len(set(names)) == len(names)
        for name in names:
            assert re.fullmatch(r"[a-zA-Z][a-zA-Z0-9]*", name)
            assert name.lower() not in builder._RESERVED.split()
    assert builder.parameter_name("service") == "serviceValue"
    assert builder.parameter_name("lead_time") == "leadTime"


def test_component_and_builder_agree_on_names():
    source = (Path(builder.__file__).parent / "component.py").read_text("utf-8")
    values = {
        node.targets[0].id: node.value.value
        for node in ast.parse(source).body
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
    }
    assert values["SERVICE"] == OWN.service
    assert values["IMPLEMENTATION"] == component_names.IMPLEMENTATION
    assert values["RESPELL"] == component_names.RESPELL
    assert values["VALUE"] == CALC_ERRORS["#VALUE!"]
    assert f"{component_names.MODULE}.{component_names.INTERFACE}" in source


def test_package_in_the_extension_is_complete(members, tmp_path):
    for name, data in members.items():
        target = tmp_path / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    script = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from dispense.handbook.catalogue import FUNCTIONS\n"
        "from dispense.addin.calc.cells import method\n"
        "import dispense\n"
        "assert dispense.__file__.startswith(sys.argv[1]), dispense.__file__\n"
        "for entry in FUNCTIONS.values():\n"
        "    for case in entry.examples[:1]: method(entry)(None, *case.arguments)\n"
        "names = open(sys.argv[2]).read().split()\n"
        "assert sorted(FUNCTIONS) == sorted(names)\n"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-c", script, str(tmp_path / "pythonpath"), str(tmp_path / "functions.txt")],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


# ----------------------------------------------------------------------------- values in and out


@pytest.mark.parametrize("text, code", CALC_ERRORS.items())
def test_error_is_a_nan_with_the_number_of_the_error(text, code):
    bits = struct.unpack("<Q", struct.pack("<d", cells.error_value(text)))[0]
    assert bits & 0xFFFFFFFF == code
    assert math.isnan(cells.error_value(text))


def _code(value: float) -> int:
    return struct.unpack("<Q", struct.pack("<d", value))[0] & 0xFFFFFFFF


def test_single_values_and_blanks():
    area = cells.method(FUNCTIONS["BEAD_AREA"])
    half = math.pi * 16 / 8  # half circle of 4 mm
    for rest in ((None, None), ("", ""), ((("",),), None), ()):
        result = area(None, "half-round", 4.0, *rest)
        assert result[0][0] == pytest.approx(half, rel=1e-12)
        assert (len(result), len(result[0])) == (1, 1)


def test_rows_against_columns_and_blank_rows():
    area = cells.method(FUNCTIONS["BEAD_AREA"])
    column = tuple((float(width),) for width in (2, 4, 6))
    result = area(None, (("round", "half-round"),), column, None, None)
    assert [len(row) for row in result] == [2, 2, 2]
    for (width,), row in zip(column, result, strict=True):
        assert row == pytest.approx((math.pi * width**2 / 4, math.pi * width**2 / 8), rel=1e-12)
    blank = area(None, "round", ((2.0,), ("",), (-1.0,)), None, None)
    assert blank[0][0] == pytest.approx(math.pi, rel=1e-12)
    assert blank[1][0] == ""
    assert _code(blank[2][0]) == CALC_ERRORS["#NUM!"]


def test_an_unforeseen_failure_is_an_error_cell_with_a_reason():
    def broken(width):
        raise RuntimeError("no such thing")

    entry = Function(
        "BROKEN", "Checks", "Fails.", (number("width", "mm", "a width"),), (Out("width", "mm"),), broken
    )
    result = cells.method(entry)(None, 3.0)
    assert _code(result[0][0]) == CALC_ERRORS["#VALUE!"]
    rows = cells.method(FUNCTIONS["LAST_PROBLEMS"])(None, 1.0)
    assert "no such thing" in rows[0][3]


def test_words_of_an_argument():
    item = number("lead_time", "d", "time to wait", default=2.5, at_least=0)
    assert argument_title(item) == "lead_time [d]"
    assert argument_help(item) == "Time to wait. 0 or more d. Optional, default 2.5."


# ------------------------------------------------------------------------------- the bench workbook


def _formulas(path: Path) -> dict[tuple[str, str], str]:
    found = {}
    for sheet in load_workbook(path):
        for row in sheet.iter_rows():
            for cell in row:
                value = cell.value
                if isinstance(value, ArrayFormula):
                    value = value.text
                if isinstance(value, str) and value.startswith("="):
                    found[sheet.title, cell.coordinate] = value
    return found


def test_bench_template_is_what_the_registry_makes(tmp_path):
    made = _formulas(bench.write(tmp_path / "bench.xlsx"))
    assert _formulas(TEMPLATE) == made, "run: python -m dispense.books.bench workbook_templates/bench.xlsx"
    listed = {row[0].value for row in load_workbook(TEMPLATE)[bench.CHECK].iter_rows(bench.CHECK_ROW + 1)}
    assert listed == set(FUNCTIONS)


def test_bench_in_plain_names(tmp_path):
    excel = _formulas(bench.write(tmp_path / "plain.xlsx", "excel"))
    calc = _formulas(TEMPLATE)
    assert not any(f"{OWN.service}." in text for text in excel.values())
    assert {place: spell(text, "calc", OWN) for place, text in excel.items()} == calc


def test_bench_carries_values_charts_and_titles():
    book = load_workbook(TEMPLATE, data_only=True)
    pages = [sheet for sheet in book if sheet.title != bench.CHECK]
    assert len(pages) == 6
    for sheet in pages:
        assert isinstance(sheet["B5"].value, float | int)
    with zipfile.ZipFile(TEMPLATE) as archive:
        charts = [archive.read(name).decode() for name in archive.namelist() if "charts/chart" in name]
    assert len(charts) == 6
    for chart in charts:
        assert chart.count("<title>") + chart.count(":title>") // 2 >= 3
        assert re.search(r"\[[^\]]+\]", chart)
    # the half round bead of the first sheet, by hand: π·6²/8 mm² on 1200 mm
    assert book["Bead"]["B5"].value == pytest.approx(1.2 * math.pi * 36 / 8, rel=1e-9)


# -------------------------------------------------------------------------------- the real program


@pytest.fixture
def page(calc):
    """A new spreadsheet; `page(formula)` is what the formula gives in a cell."""
    calc.open()

    def value(formula: str, cell: str = "Z1"):
        calc.set(cell, formula)
        return calc.get(cell)[0][0]

    return value


office_test = pytest.mark.libreoffice


@office_test
def test_status_counts_the_functions(profile):
    (item,) = office.status(profile)["installed"][:1]
    assert item["functions"] == len(FUNCTIONS)
    assert item["for"] == "this user"


def test_a_virtual_environment_that_is_switched_on_is_not_its_python(tmp_path, monkeypatch):
    """The interpreter within LibreOffice takes the first python3 of PATH for its own, and its libraries."""
    (tmp_path / "bin").mkdir()
    (tmp_path / "pyvenv.cfg").write_text("home = /usr/bin\n")
    monkeypatch.setenv("PATH", os.pathsep.join([str(tmp_path / "bin"), "/usr/bin", "/bin"]))
    monkeypatch.setenv("VIRTUAL_ENV", str(tmp_path))
    found = office.clean_environment()
    assert found["PATH"].split(os.pathsep) == ["/usr/bin", "/bin"] and "VIRTUAL_ENV" not in found


@office_test
def test_wizard_shows_every_function(calc):
    shown = calc.functions()
    assert set(FUNCTIONS) <= set(shown)
    for name, entry in FUNCTIONS.items():
        assert shown[name]["category"] == 11  # Add-in: Calc has no category of another name than its own
        assert shown[name]["description"].startswith(entry.category + ". ")
        titles = [title for title, _, _ in shown[name]["arguments"]]
        assert titles == [argument_title(item) for item in entry.arguments]
        for item, (_, text, _) in zip(entry.arguments, shown[name]["arguments"], strict=True):
            assert item.default_text() in text


@office_test
@pytest.mark.parametrize(
    "formula, expected",
    [  # geometry by hand; Calc's separators
        ('=DISPENSE.BEAD_AREA("half-round";4)', math.pi * 2),
        ('=BEAD_AREA("half-round";4)', math.pi * 2),
        ('=bead_area("half-round";4;;)', math.pi * 2),
        ('=BEAD_AREA("half-round";4;1)', math.pi),
        ('=BEAD_AREA("round";"3/16 in")', math.pi * 4.7625**2 / 4),
        ('=BEAD_VOLUME("1.2 m";"rectangle";5;2)', 12.0),
        ("=TAKT(450;300)", 90.0),
        ('=SUM(BEAD_AREA("rectangle";{1.2.3};2))', 12.0),
        ("=INDEX(MIX_SPLIT(300;2;1;1.16;0.98);1;4)", 98.0),
        ('=ROUND(BEAD_AREA("rectangle";5;2)*2;1)&" mm²"', "20 mm²"),
        ('=IF(BEAD_AREA("rectangle";5;2)>9;"big";"small")', "big"),
    ],
)
def test_formulas_typed_with_and_without_optional_arguments(page, formula, expected):
    found = page(formula.replace("{1.2.3}", "{1;2;3}") if "{" in formula else formula)
    assert found == (expected if isinstance(expected, str) else pytest.approx(expected, rel=1e-12))


@office_test
def test_name_as_a_user_types_it(calc, page):
    calc.type("A1", '=bead_area("round";2)')
    assert calc.get("A1")[0][0] == pytest.approx(math.pi, rel=1e-12)
    assert calc.formulas("A1") == [['=DISPENSE.BEAD_AREA("round";2)']]


@office_test
def test_array_formulas_come_back_whole(calc, page):
    widths = [1.0, 2.0, 3.0, 4.0]
    calc.fill("A2:A5", [[w] for w in widths])
    calc.fill("B1:C1", [["round", "half-round"]])
    calc.array("B2:C5", "=BEAD_AREA(B1:C1;A2:A5)")
    for width, row in zip(widths, calc.get("B2:C5"), strict=True):
        assert row == pytest.approx([math.pi * width**2 / 4, math.pi * width**2 / 8], rel=1e-12)
    calc.array("E1:H1", "=MIX_SPLIT(300;2;1;1.16;0.98)")
    assert calc.get("E1:H1")[0] == pytest.approx([200, 100, 232, 98])  # by hand


@office_test
def test_blank_cells_in_ranges(calc, page):
    calc.fill("A1:A3", [[2], [""], [4]])
    calc.set("A2", None)
    calc.array("B1:B3", '=BEAD_AREA("round";A1:A3)')
    first, blank, last = (row[0] for row in calc.get("B1:B3"))
    assert (first, last) == pytest.approx((math.pi, 4 * math.pi))
    assert blank in ("", None)
    # a blank range of one cell is an argument left out
    assert page('=BEAD_AREA("half-round";4;A2:A2)') == pytest.approx(2 * math.pi)
    assert page('=BEAD_AREA("half-round";4;IF(A2="";"";A2))') == pytest.approx(2 * math.pi)


@office_test
@pytest.mark.parametrize(
    "formula, error, word",
    [
        ('BEAD_AREA("round";-4)', "#NUM!", "above 0"),
        ('BEAD_AREA("roundish";4)', "#N/A", "half-round"),
        ('BEAD_AREA("round";"wide")', "#VALUE!", "wide"),
        ('BEAD_AREA("round";"3 s")', "#VALUE!", "mm"),
        ('BEAD_AREA("round")', "#VALUE!", "blank"),
    ],
)
def test_errors_are_real_error_cells(calc, page, formula, error, word):
    assert page(f"={formula}", "A1") == {"error": error}
    calc.array("G1:J1", "=LAST_PROBLEMS(1)")
    problem = [str(value) for value in calc.get("G1:J1")[0]]
    assert problem[0] == "BEAD_AREA"
    assert word in " ".join(problem)
    for source in ("A1", formula):
        assert page(f"=ISERROR({source})") == 1
        assert page(f'=IFERROR({source};"bad")') == "bad"
        assert page(f"=SUM(1;{source})") == {"error": error}
        assert page(f"=ISNA({source})") == (error == "#N/A")
        assert page(f"=ISTEXT({source})") == 0
    assert page("=ERROR.TYPE(A1)") == ERROR_TYPES[error]


@office_test
def test_recent_problems_are_computed_again_where_the_cell_asks_for_it(calc, page):
    calc.array("G1:J1", "=LAST_PROBLEMS(1+0*NOW())")
    for width in (-7, -8):
        assert page(f'=BEAD_AREA("round";{width})') == {"error": "#NUM!"}
        page("=1")  # any change computes the volatile cell again
        assert calc.get("I1")[0][0] == str(width)


@office_test
def test_an_error_in_an_argument_is_an_error(calc, page):
    calc.set("A1", "=1/0")
    assert page('=BEAD_AREA("round";A1)') == {"error": "#DIV/0!"}
    assert page('=BEAD_AREA("round";BEAD_AREA("round";-1))') == {"error": "#NUM!"}
    calc.fill("A2:A3", [[1], [2]])
    assert page('=SUM(BEAD_AREA("round";A1:A3))') != pytest.approx(math.pi * 1.25)
    assert page('=ISERROR(SUM(BEAD_AREA("round";A1:A3)))') == 1


@office_test
def test_an_error_in_one_row_leaves_the_others(calc, page):
    calc.fill("A1:A3", [[2], [-2], ["2 furlong/s"]])
    calc.array("B1:B3", '=BEAD_AREA("round";A1:A3)')
    good, negative, wrong = (row[0] for row in calc.get("B1:B3"))
    assert good == pytest.approx(math.pi)
    assert (negative, wrong) == ({"error": "#NUM!"}, {"error": "#VALUE!"})


def _all_pass(calc) -> None:
    assert calc.errors() == []
    last = calc.used(bench.CHECK)[1] + 1
    rows = calc.get(f"{bench.CHECK}!A{bench.CHECK_ROW + 1}:G{last}")
    assert {row[0] for row in rows} == set(FUNCTIONS)
    assert [row for row in rows if row[6] != "pass"] == []
    for row in rows:  # again here, not only by the sheet's own formula
        assert row[4] == pytest.approx(row[3], rel=max(row[5], 1e-15), abs=1e-12)


@office_test
def test_bench_computes_and_every_check_passes(calc, own_bench):
    calc.open(str(own_bench))
    calc.calculate()
    _all_pass(calc)
    # change an input: twice the width of a half round bead is four times the volume
    before = calc.get("Bead!B5")[0][0]
    cell = next(f"Bead!B{row}" for row in range(5, 30) if calc.get(f"Bead!A{row}")[0][0] == "Width")
    calc.set(cell, calc.get(cell)[0][0] * 2)
    assert calc.get("Bead!B5")[0][0] == pytest.approx(4 * before)


@pytest.fixture
def own_bench(tmp_path):
    """A copy of the bench workbook: Calc puts its lock file beside what it opens."""
    return shutil.copy(TEMPLATE, tmp_path / "bench.xlsx")


@office_test
@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_bench_saved_by_calc_still_computes(calc, own_bench, tmp_path, ending):
    calc.open(str(own_bench))
    copy = str(tmp_path / f"again{ending}")
    calc.save(copy)
    calc.open(copy)
    calc.calculate()
    _all_pass(calc)


@office_test
def test_workbook_with_plain_names_computes_when_opened(calc, tmp_path):
    path = bench.write(tmp_path / "excel.xlsx", "excel")
    calc.open(str(path))
    calc.calculate()
    _all_pass(calc)


@office_test
def test_plain_names_of_all_kinds(calc, tmp_path):
    book = Workbook()
    page = book.active
    page["A1"] = '=BEAD_AREA("round",2)'
    page["A2"] = '=SUM(BEAD_AREA("round",2),1)&" BEAD_AREA("'
    page["A3"] = ArrayFormula("A3:A4", '=BEAD_AREA("round",{2;4})')
    page["A5"] = "BEAD_AREA(1)"
    page["A6"] = "=NO_SUCH(1)"
    book.save(tmp_path / "plain.xlsx")
    calc.open(str(tmp_path / "plain.xlsx"))
    assert not calc.is_modified()
    values = [row[0] for row in calc.get("A1:A6")]
    assert values[0] == pytest.approx(math.pi)
    assert values[1].endswith(" BEAD_AREA(") and values[1].startswith("4.14159")
    assert values[2:4] == pytest.approx([math.pi, 4 * math.pi])
    assert values[4] == "BEAD_AREA(1)"
    assert values[5] == {"error": "#NAME?"}


LINKED = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
EXTERNAL = (
    f'<externalLink xmlns="{MAIN}"><externalBook xmlns:r="{LINKED}" r:id="rId1"><definedNames>'
    '<definedName name="BEAD_VOLUME"/></definedNames></externalBook></externalLink>'
)


def add_link(package, rels, kind, target, **more):
    """A relation of a part, as [MS-OI29500] and ECMA-376 part 1, 18.14 want them for an external book."""
    root = ElementTree.fromstring(package.get(rels, f'<Relationships xmlns="{PACKAGED}"/>'))
    name = f"rId{len(root) + 77}"
    ElementTree.SubElement(
        root, f"{{{PACKAGED}}}Relationship", Id=name, Type=f"{LINKED}/{kind}", Target=target, **more
    )
    package[rels] = ElementTree.tostring(root)
    return name


@office_test
def test_functions_that_link_to_an_addin_workbook_compute_when_opened(calc, tmp_path):
    """As Excel saves the functions of an add-in that lies in a workbook: `[1]!NAME(`."""
    book = Workbook()
    book.active["A1"] = "=SUM(1,2)"
    book.save(tmp_path / "plain.xlsx")
    with zipfile.ZipFile(tmp_path / "plain.xlsx") as archive:
        package = {name: archive.read(name) for name in archive.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    package[sheet] = package[sheet].replace(b"SUM(1,2)", b'[1]!BEAD_VOLUME(1200,"half-round",6)')
    link = add_link(package, "xl/_rels/workbook.xml.rels", "externalLink", "externalLinks/externalLink1.xml")
    package["xl/workbook.xml"] = package["xl/workbook.xml"].replace(
        b"</sheets>",
        f'</sheets><externalReferences><externalReference xmlns:r="{LINKED}" r:id="{link}"/>'
        "</externalReferences>".encode(),
    )
    package["[Content_Types].xml"] = package["[Content_Types].xml"].replace(
        b"</Types>",
        b'<Override PartName="/xl/externalLinks/externalLink1.xml" ContentType="application/vnd.'
        b'openxmlformats-officedocument.spreadsheetml.externalLink+xml"/></Types>',
    )
    rels = "xl/externalLinks/_rels/externalLink1.xml.rels"
    own = add_link(
        package, rels, "externalLinkPath", "file:///C:/AddIns/dispense.xlam", TargetMode="External"
    )
    package["xl/externalLinks/externalLink1.xml"] = EXTERNAL.replace("rId1", own).encode()
    with zipfile.ZipFile(tmp_path / "linked.xlsx", "w") as archive:
        for name, data in package.items():
            archive.writestr(name, data)
    calc.open(str(tmp_path / "linked.xlsx"))
    # a half round of 6 mm on 1200 mm, by hand
    assert calc.get("Sheet!A1")[0][0] == pytest.approx(1.2 * math.pi * 36 / 8)
    assert calc.formulas("Sheet!A1") == [['=DISPENSE.BEAD_VOLUME(1200;"half-round";6)']]


@office_test
def test_converted_on_the_command_line(profile, tmp_path):
    book = Workbook()
    book.active["A1"] = '=BEAD_AREA("rectangle",5,2)'
    book.save(tmp_path / "one.xlsx")
    subprocess.run(
        [
            str(office.find_office().soffice),
            "--headless",
            f"-env:UserInstallation={(profile.parent / 'second').as_uri()}",
            "--convert-to",
            "csv",
            "--outdir",
            str(tmp_path),
            str(tmp_path / "one.xlsx"),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    without = (tmp_path / "one.csv").read_text().strip()
    assert without == "#NAME?"  # a profile without the add-in: so the test can fail
    office.install(profile=profile.parent / "second")
    subprocess.run(
        [
            str(office.find_office().soffice),
            "--headless",
            f"-env:UserInstallation={(profile.parent / 'second').as_uri()}",
            "--convert-to",
            "csv",
            "--outdir",
            str(tmp_path),
            str(tmp_path / "one.xlsx"),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    assert (tmp_path / "one.csv").read_text().strip() == "10"


@office_test
def test_taken_away_again(profile):
    second = profile.parent / "third"
    found = office.find_office()
    missing, _ = office.lacking(found)
    path = builder.build(profile.parent / "third.oxt", with_dependencies=False)
    state = office.install(path, profile=second)
    assert state["installed"][0]["functions"] == len(FUNCTIONS)
    assert bool(state["problems"]) == bool(missing)
    state = office.uninstall(profile=second)
    assert not [item for item in state["installed"] if item["for"] == "this user"]
    with pytest.raises(DispenseError, match="not installed"):
        office.uninstall(shared=False, profile=second)


@office_test
def test_a_package_that_cannot_be_loaded_says_why(profile):
    path = builder.build(profile.parent / "broken.oxt")
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("pythonpath/numpy/__init__.py", "raise ImportError('numpy is broken')")
    folder = profile.parent / "broken"
    office.install(path, profile=folder)
    with Session(folder) as calc:
        calc.open()
        calc.set("A1", '=BEAD_AREA("round";2)')
        assert calc.get("A1")[0][0] == {"error": "#VALUE!"}
        calc.array("B1:E1", "=LAST_PROBLEMS()")
        assert "numpy is broken" in calc.get("B1:E1")[0][3]


def test_whole_columns_are_cut_to_their_used_rows():
    area = cells.method(FUNCTIONS["BEAD_AREA"])
    column = (((2.0,), ("",), (4.0,)) + (("",),) * cells.WHOLE_COLUMN)[: cells.WHOLE_COLUMN]
    result = area(None, "round", column, None, None)
    assert len(result) == 3 and result[1] == ("",)
    assert [row[0] for row in result[::2]] == pytest.approx([math.pi, 4 * math.pi])
    assert len(area(None, "round", column[:100], None, None)) == 100  # an array formula keeps its rows
    assert cells.used_rows((("",),) * 5) == 1


@office_test
def test_a_whole_column_of_a_sheet(calc, page):
    calc.fill("D1:D20", [[float(width)] for width in range(1, 21)])
    squares = 20 * 21 * 41 / 6  # sum of the squares of 1 to 20
    assert page('=SUM(BEAD_AREA("round";D:D))') == pytest.approx(math.pi / 4 * squares)
    cut = "D1:INDEX(D:D;MATCH(1E+306;D:D))"  # as docs/calc.md says
    assert page(f'=SUM(BEAD_AREA("round";{cut}))') == pytest.approx(math.pi / 4 * squares)
    assert page(f"=ROWS({cut})") == 20


def test_the_filled_rows_of_a_column_are_found_wherever_they_end():
    for height in (1, 5, cells._BLOCK, cells._BLOCK + 1, 3 * cells._BLOCK):
        for last in {1, 2, height - 1, height, min(height, cells._BLOCK), max(1, height - cells._BLOCK)} - {
            0
        }:
            if last <= height:
                rows = (("",),) * (last - 1) + ((1.0,),) + (("",),) * (height - last)
                assert cells.used_rows(rows) == last


@office_test
def test_three_hundred_thousand_rows_take_linear_time(calc, page):
    """Four times the rows: 4 of linear time, 16 of quadratic; between them lies 8. The best of three."""
    count = 300_000
    calc.fill(f"F1:F{count}", [[1.0 + row % 7] for row in range(count)])
    best = {}
    for rows in (count // 4, count):
        times = []
        for _ in range(3):
            begin = time.perf_counter()
            got = page(f'=SUM(BEAD_AREA("round";F1:F{rows}))')
            times.append(time.perf_counter() - begin)
        best[rows] = min(times)
        squares = sum((1 + row % 7) ** 2 for row in range(rows))
        assert got == pytest.approx(math.pi / 4 * squares)
    assert best[count] < 8 * best[count // 4]


@office_test
def test_ten_thousand_cells(calc, page):
    count = 10_000
    widths = [1 + i / count for i in range(count)]
    calc.fill(f"A1:A{count}", [[width] for width in widths])
    calc.fill(f"B1:B{count}", [[f'=DISPENSE.BEAD_AREA("round";A{i})'] for i in range(1, count + 1)])
    calc.array(f"C1:C{count}", f'=DISPENSE.BEAD_AREA("round";A1:A{count})')
    turned = f'=TRANSPOSE(DISPENSE.BEAD_AREA("round";TRANSPOSE(A1:A{count})))'  # as docs/calc.md says
    calc.array(f"D1:D{count}", turned)
    calc.calculate()
    for first in (1, 5000, count - 39):
        found = calc.get(f"B{first}:D{first + 39}")
        for width, row in zip(widths[first - 1 :], found, strict=False):
            assert row == pytest.approx([math.pi * width**2 / 4] * 3)  # a circle


@office_test
def test_a_file_that_a_user_opens_and_recalculates(tmp_path):
    # LibreOffice opens the file itself; the key acts in the thread of its windows
    book = Workbook()
    book.active["A1"], book.active["B1"] = 3, '=DISPENSE.BEAD_AREA("round",A1)'
    book.save(tmp_path / "own.xlsx")
    office.install(profile=tmp_path / "profile")
    with Session(tmp_path / "profile", tmp_path / "own.xlsx") as calc:
        assert calc.documents() == [(tmp_path / "own.xlsx").as_uri()]
        calc.open(None, False)
        calc.set("A1", 5)
        calc.set("B1", '=DISPENSE.BEAD_AREA("half-round";A1)')
        calc.set("A9", "=RAND()")
        before = calc.get("A9")
        calc.recalculate("A9")
        assert calc.get("A9") != before
        assert calc.get("B1")[0][0] == pytest.approx(math.pi * 25 / 8)  # half a circle
