"""The formula evaluator, checked against LibreOffice Calc, ironcalc and hand working."""

from __future__ import annotations

import io
import math
import re
import shutil
import subprocess
import time
from pathlib import Path

import openpyxl
import pytest
from openpyxl.formula.translate import Translator
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.table import Table

from dispense.fields import CellError
from dispense.workbook import sheetfunctions
from dispense.workbook.evaluate import evaluate_package, evaluate_workbook
from dispense.workbook.formula import Unevaluable, parse, tokens
from dispense.workbook.package import Package

# functions that the file format marks as newer than itself (ECMA-376 part 1 does not list them)
NEWER = (
    "IFS SWITCH XOR TEXTJOIN CONCAT MAXIFS MINIFS IFNA STDEV.S STDEV.P VAR.S VAR.P PERCENTILE.INC "
    "QUARTILE.INC RANK.EQ MODE.SNGL CEILING.MATH FLOOR.MATH NORM.S.INV NORM.S.DIST NORM.DIST "
    "NORM.INV DAYS ISOWEEKNUM UNICHAR UNICODE FORECAST.LINEAR XLOOKUP SEQUENCE"
).split()
_NEWER = re.compile(r"(?<![\w.])(" + "|".join(map(re.escape, NEWER)) + r")\(")


def marked(formula: str) -> str:
    """A formula with the file format's prefix before newer functions."""
    return _NEWER.sub(r"_xlfn.\1(", formula)


def fill_data(workbook: openpyxl.Workbook) -> None:
    """The sheets that the formulas below read."""
    data = workbook.active
    data.title = "Data"
    rows = [
        ("Part", "Width [mm]", "Length [mm]", "Count", "Net [mL]"),
        ("Lid", 3, 410.5, 2, None),
        ("Frame", 4.5, 1250, 1, None),
        ("lid", 6, 88.25, 4, None),
        ("Busbar", 2.25, 60, 12, None),
        ("Cold plate", 8, 930, 3, None),
        ("Total", None, None, None, None),
    ]
    for row in rows:
        data.append(row)
    for row in range(2, 7):
        data.cell(row, 5).value = "=Beads[[#This Row],[Width '[mm']]]*Beads[[#This Row],[Count]]"
    data["E7"] = "=SUBTOTAL(109,Beads[Net '[mL']])"
    table = Table(displayName="Beads", ref="A1:E7")
    table.totalsRowCount = 1
    data.add_table(table)
    for row, value in enumerate((5, -3, "text", True, None, 0, 2.5, "7", "", 1e-3), 1):
        data.cell(row, 7).value = value  # G: mixed
    data["G9"] = '=""'
    for row, value in enumerate((10, 20, 30, 40, 50), 1):
        data.cell(row, 8).value = value  # H: rising
        data.cell(row, 9).value = "abcde"[row - 1] * 2  # I: rising texts
        data.cell(row, 10).value = 60 - value  # J: falling
    data["K1"] = "=1/0"
    data["K2"] = "#N/A"
    data["K3"] = 3
    data["L1"] = 45366.75  # 2024-03-15 18:00
    data["L2"] = 45658  # 2025-01-01
    other = workbook.create_sheet("Shop's data")
    for row in range(1, 6):
        other.cell(row, 1).value = row * 1.5
        other.cell(row, 2).value = f"lot {row}"
    workbook.defined_names["rate"] = DefinedName("rate", attr_text="0.25")
    workbook.defined_names["heights"] = DefinedName("heights", attr_text="Data!$H$1:$H$5")
    workbook.defined_names["twice"] = DefinedName("twice", attr_text="2*rate")
    workbook.defined_names["label"] = DefinedName("label", attr_text='"mL"')


# every formula stands in a row of its own on the sheet "Calc"; LibreOffice computes the same file
FORMULAS = r'''
-2^2 | 2^3^2 | 2^-1 | -2^-2 | 10%^2 | 5%+1 | 2*3%*100 | 1+2*3-4/8 | (1+2)*3 | --3 | 1-+-1 | 7-2-1 | 100/10/2
"a"&"b"&1 | 1&2+3 | "x"&1/3 | "x"&0.1+0.2 | "x"&-0.5
"x"&0.00012 | "x"&100 | "x"&2.50
1=1 | "a"="A" | "a"<"B" | 1<"a" | 0.1+0.2=0.3 | 1<>2 | 2>=2 | 2<=1 | "10"=10 | ""=Data!G5 | 0=Data!G5
0.1+0.2-0.3 | 1-0.9-0.1 | 4.35*100-435 | 3*"4" | "3"+"4" | TRUE+TRUE | 1/0 | "abc"+1 | ""+1 | Data!K2+1 | 1/0+Data!K2
SUM(Data!B2:B6) | SUM(Data!G5:G10) | SUM(Data!B2:B3,Data!B5,10) | SUM(Data!K1:K3) | SUM(Data!H:H) | SUM(Data!1:1)
SUM(Data!H:H,Data!J:J) | SUM((Data!H1:H2,Data!J1:J2)) | SUM(Data!H1:H4 Data!H3:J5) | SUM({1,2;3,4}) | SUM({1,2,3}*2) | SUM(0.1,0.2,-0.3)
AVERAGE(Data!B2:B6) | AVERAGE(Data!G5:G10) | AVERAGE(Data!G3) | MIN(Data!G1:G10) | MAX(Data!G1:G10) | MIN(Data!G3)
COUNT(Data!G5:G10) | COUNTA(Data!G1:G10) | COUNTBLANK(Data!G1:G10) | COUNT(1,"2","x") | COUNT(Data!K1:K3) | COUNTA(Data!K1:K3)
PRODUCT(Data!B2:B4) | SUMSQ(3,4) | MEDIAN(Data!B2:B6) | MEDIAN(1,2,3,4) | STDEV(Data!B2:B6) | STDEV.S(Data!B2:B6)
STDEVP(Data!B2:B6) | STDEV.P(Data!B2:B6) | VAR(Data!B2:B6) | VAR.S(Data!B2:B6) | VARP(Data!B2:B6) | VAR.P(Data!B2:B6) | STDEV(1)
DEVSQ(1,2,4) | AVEDEV(1,2,4) | GEOMEAN(2,8) | HARMEAN(2,6) | MODE(1,2,2,3)
ROUND(2.5,0) | ROUND(-2.5,0) | ROUND(2.675,2) | ROUND(1.005,2) | ROUND(1234.5,-2) | ROUND(1.1*1.15,2) | ROUND(0.285,2) | ROUND(5.5,)
ROUNDUP(2.1,0) | ROUNDUP(-2.1,0) | ROUNDUP(1.1*10,0) | ROUNDUP(123,-1) | ROUNDDOWN(2.9,0) | ROUNDDOWN(-2.9,0) | ROUNDDOWN(4.35*100,0) | TRUNC(-3.7) | TRUNC(3.14159,3)
CEILING(2.1,1) | CEILING(-2.5,1) | CEILING(-2.5,-2) | CEILING(7,2.5) | CEILING(0.3,0.1) | FLOOR(2.9,1) | FLOOR(-2.5,-2) | FLOOR(7,2.5) | FLOOR(0.7,0.1) | CEILING(5,0)
CEILING.MATH(-5.5,2) | CEILING.MATH(-5.5,2,1) | FLOOR.MATH(-5.5,2) | FLOOR.MATH(6.7) | MROUND(10,3) | MROUND(-10,-3) | EVEN(1.5) | EVEN(-1) | ODD(1.5) | ODD(-2) | QUOTIENT(-10,3)
INT(2.7) | INT(-2.7) | INT(4.35*100) | MOD(10,3) | MOD(-10,3) | MOD(10,-3) | MOD(1,0.1) | MOD(5,0) | ABS(-4) | SQRT(16) | SQRT(-1) | SIGN(-3) | SIGN(0)
EXP(1) | LN(10) | LN(0) | LOG(8,2) | LOG(1000) | LOG10(0.01) | POWER(2,10) | POWER(4,0.5) | POWER(0,-1) | PI() | SIN(1) | COS(1) | TAN(1) | ATAN(1) | ATAN2(1,2) | ASIN(1) | ACOS(0.5) | DEGREES(PI()) | RADIANS(180) | FACT(5) | SINH(1) | COSH(1) | TANH(1)
IF(1>2,"a","b") | IF(TRUE,5) | IF(FALSE,5) | IF(TRUE,,1) | IF("TRUE",1,2) | IF(0,1/0,"ok") | IF(Data!K2=1,1,2) | SUM(IF(TRUE,Data!H1:H3,0))
IFS(FALSE,1,TRUE,2) | IFS(FALSE,1) | SWITCH(2,1,"a",2,"b","c") | SWITCH(9,1,"a","c") | IFERROR(1/0,"e") | IFERROR(3,"e") | IFERROR(VLOOKUP("zz",Data!A2:B6,2,FALSE),0) | IFNA(Data!K2,7) | IFNA(1/0,7)
ISERROR(1/0) | ISERR(Data!K2) | ISNA(Data!K2) | ISNUMBER(Data!G1) | ISNUMBER(Data!G8) | ISTEXT(Data!G3) | ISBLANK(Data!G5) | ISBLANK(Data!G9) | ISLOGICAL(TRUE) | ISNONTEXT(Data!G5) | ISEVEN(4) | ISODD(4) | ERROR.TYPE(1/0) | N(TRUE) | N("x") | T("x") | T(1)
AND(TRUE,1,Data!G1) | AND(TRUE,0) | OR(FALSE,0,1) | OR(Data!G1:G4) | NOT(0) | XOR(TRUE,TRUE,TRUE) | TRUE() | FALSE() | NA() | AND(Data!K1,FALSE)
SUMIF(Data!A2:A6,"lid",Data!B2:B6) | SUMIF(Data!B2:B6,">4") | SUMIF(Data!A2:A6,"*a*",Data!C2:C6) | SUMIF(Data!A2:A6,"<>lid",Data!B2:B6) | SUMIF(Data!H1:H5,20) | SUMIF(Data!A:A,"Frame",Data!C:C) | SUMIF(Data!A2:A6,"b?sbar",Data!D2)
SUMIFS(Data!C2:C6,Data!A2:A6,"lid",Data!B2:B6,">3") | SUMIFS(Data!C2:C6,Data!B2:B6,">="&3,Data!B2:B6,"<"&8) | COUNTIF(Data!G5:G10,">0") | COUNTIF(Data!G1:G10,"text") | COUNTIF(Data!G1:G10,TRUE) | COUNTIF(Data!A2:A6,"l*") | COUNTIF(Data!G1:G10,"<>0")
COUNTIF(Data!A2:A6,">c") | COUNTIFS(Data!A2:A6,"lid",Data!D2:D6,">=4") | AVERAGEIF(Data!A2:A6,"lid",Data!B2:B6) | AVERAGEIF(Data!A2:A6,"none",Data!B2:B6) | AVERAGEIFS(Data!B2:B6,Data!D2:D6,"<4") | MAXIFS(Data!B2:B6,Data!A2:A6,"lid") | MINIFS(Data!B2:B6,Data!A2:A6,"lid")
SUMPRODUCT(Data!B2:B6,Data!D2:D6) | SUMPRODUCT(--(Data!A2:A6="lid"),Data!B2:B6) | SUMPRODUCT((Data!B2:B6>3)*(Data!D2:D6<4)*Data!C2:C6) | SUMPRODUCT(Data!B2:B6*2) | SUMPRODUCT(Data!H1:H3,Data!H1:H2) | SUMPRODUCT(COUNTIF(Data!A2:A6,{"lid","Frame"}))
VLOOKUP("Frame",Data!A2:D6,3,FALSE) | VLOOKUP("fra*",Data!A2:D6,2,0) | VLOOKUP("none",Data!A2:D6,2,FALSE) | VLOOKUP(35,Data!H1:J5,2) | VLOOKUP(5,Data!H1:J5,2,TRUE) | VLOOKUP(99,Data!H1:I5,2,1) | HLOOKUP("Count",Data!A1:D6,3,FALSE) | VLOOKUP(10,Data!H1:I5,5,0)
INDEX(Data!A2:D6,2,3) | INDEX(Data!H1:H5,4) | SUM(INDEX(Data!B2:D6,0,3)) | SUM(INDEX(Data!B2:D6,2,0)) | INDEX(Data!A1:D1,3) | INDEX(Data!H1:H5,9) | SUM(Data!H1:INDEX(Data!H1:H5,3)) | SUM(INDEX(Data!H1:H5,2):INDEX(Data!H1:H5,4)) | INDEX({1,2;3,4},2,1)
MATCH(35,Data!H1:H5) | MATCH(30,Data!H1:H5,0) | MATCH("cc",Data!I1:I5,0) | MATCH("D*",Data!I1:I5,0) | MATCH(25,Data!J1:J5,-1) | MATCH(5,Data!H1:H5,1) | MATCH("zz",Data!I1:I5,0) | INDEX(Data!C2:C6,MATCH("busbar",Data!A2:A6,0)) | LOOKUP(35,Data!H1:H5,Data!I1:I5)
CHOOSE(2,"a","b","c") | CHOOSE(4,"a") | SUM(CHOOSE(1,Data!H1:H3,Data!J1:J3)) | ROW() | ROW(Data!B7) | ROWS(Data!A1:B7) | COLUMN(Data!D1) | COLUMNS(Data!B:D) | ROWS(Data!A:A)
LEFT("sealant",3) | LEFT("ab") | RIGHT("sealant",3) | MID("sealant",2,3) | MID("ab",5,1) | LEN("mm²") | LEN(Data!L2) | TRIM("  a   b ") | UPPER("abc") | LOWER("ABC") | PROPER("cold plate") | CONCATENATE("a",1,"b") | CONCAT(Data!I1:I3,"z") | TEXTJOIN(", ",TRUE,Data!A2:A4,"",Data!I1) | TEXTJOIN("-",FALSE,"a","","b")
SUBSTITUTE("a-b-c","-","+") | SUBSTITUTE("a-b-c","-","+",2) | REPLACE("abcdef",2,3,"X") | FIND("b","abcb") | FIND("b","abcb",3) | FIND("z","abc") | SEARCH("B","abc") | SEARCH("b*d","abcd") | REPT("ab",3) | EXACT("a","A") | EXACT("a","a") | CHAR(65) | CODE("A") | FIXED(1234.567,1) | FIXED(1234.567,1,TRUE) | CLEAN("ab")
TEXT(1234.567,"0.00") | TEXT(1234.567,"#,##0") | TEXT(0.256,"0.0%") | TEXT(-5,"0.0") | TEXT(0.5,"#.##") | TEXT(12345.678,"0.00E+00") | TEXT(0,"0;-0;""none""") | TEXT(-3,"0;(0)") | TEXT(7,"000") | TEXT(1234567,"#,##0.0,") | TEXT(3.14159,"0.0##") | TEXT("abc","0") | TEXT(5,"0"" mL""") | TEXT(2.5,"0") | TEXT(1.5,"General") | TEXT(0.00001234,"0.0E+0") | TEXT("4","0.0")
TEXT(Data!L1,"yyyy-mm-dd") | TEXT(Data!L1,"yyyy-mm-dd hh:mm") | TEXT(Data!L1,"d mmm yy") | TEXT(Data!L1,"dddd") | TEXT(Data!L1,"ddd d mmmm yyyy") | TEXT(Data!L1,"h:mm AM/PM") | TEXT(1.5,"[h]:mm") | TEXT(0.51,"hh:mm:ss") | TEXT(0.75,"hh:mm") | TEXT(1/86400*90.25,"mm:ss.00") | TEXT(Data!L2,"mm/dd/yyyy")
VALUE("12.5") | VALUE("1e3") | VALUE("50%") | VALUE("abc") | VALUE("2024-03-15") | VALUE("1,234") | VALUE("12:00")
DATE(2024,3,15) | DATE(2024,14,1) | DATE(2024,3,0) | DATE(2024,2,30) | TIME(18,30,0) | TIME(25,0,0) | YEAR(Data!L1) | MONTH(Data!L1) | DAY(Data!L1) | HOUR(Data!L1) | MINUTE(0.51) | SECOND(0.51) | WEEKDAY(Data!L1) | WEEKDAY(Data!L1,2) | WEEKDAY(Data!L1,3) | WEEKDAY(Data!L1,14) | WEEKNUM(Data!L1) | WEEKNUM(Data!L1,2) | ISOWEEKNUM(Data!L2) | EDATE(45322,1) | EOMONTH(Data!L1,0) | DAYS(Data!L2,INT(Data!L1)) | WORKDAY(Data!L1,10) | WORKDAY(Data!L2,-3) | WORKDAY(Data!L1,5,45369) | NETWORKDAYS(Data!L1,Data!L2) | DATEVALUE("2024-03-15") | TIMEVALUE("06:30")
SUBTOTAL(9,Data!H1:H5) | SUBTOTAL(1,Data!H1:H5) | SUBTOTAL(109,Data!H1:H5) | SUBTOTAL(2,Data!G5:G10) | SUBTOTAL(3,Data!G1:G8) | SUBTOTAL(7,Data!H1:H5) | SUBTOTAL(9,Data!E2:E7)
PERCENTILE(Data!B2:B6,0.3) | PERCENTILE.INC(Data!B2:B6,0.9) | QUARTILE(Data!B2:B6,1) | LARGE(Data!B2:B6,2) | SMALL(Data!B2:B6,2) | LARGE(Data!B2:B6,9) | RANK(6,Data!B2:B6) | RANK(6,Data!B2:B6,1) | SUM(LARGE(Data!B2:B6,{1,2,3}))
SLOPE(Data!H1:H5,Data!J1:J5) | INTERCEPT(Data!C2:C6,Data!B2:B6) | FORECAST(5,Data!C2:C6,Data!B2:B6) | CORREL(Data!C2:C6,Data!B2:B6) | RSQ(Data!C2:C6,Data!B2:B6) | NORM.S.INV(0.95) | NORMSINV(0.975) | NORMSDIST(1.5) | NORM.S.DIST(1.5,TRUE) | NORM.DIST(42,40,1.5,FALSE) | NORM.INV(0.9,10,2)
'Shop''s data'!A3*2 | SUM('Shop''s data'!A1:A5) | $H$1+Data!$H$2 | SUM('Shop''s data'!A1:$A$5) | rate*4 | twice+1 | SUM(heights) | 5&label | Data!H3 | Data!G5 | Data!G3
SUM(Beads[Width '[mm']]) | SUM(Beads[Count]) | Beads[[#Headers],[Count]] | Beads[[#Totals],[Net '[mL']]] | SUM(Beads[[Width '[mm']]:[Count]]) | ROWS(Beads[]) | ROWS(Beads[[#All],[Count]]) | SUM(Beads[[#Data],[Count]]) | ROWS(Beads[[#Headers],[#Data],[Count]]) | INDEX(Beads[Part],MATCH(8,Beads[Width '[mm']],0)) | SUMIFS(Beads[Count],Beads[Part],"lid")
'''  # noqa: E501
SPECS = [each.strip() for line in FORMULAS.splitlines() if line for each in line.split(" | ")]

ARRAYS = {  # array formulas by range, beside the formulas
    "E1:E5": "Data!H1:H5*2",
    "F1:J1": "TRANSPOSE(Data!H1:H5)",
    "F2:G4": "Data!H1:H3+{0,100}",
    "H2:I3": "MMULT({1,2;3,4},{5,6;7,8})",
    "F5:F9": "FREQUENCY(Data!B2:B6,{2;4;6;7})",
    "G5:G7": 'IF(Data!B2:B4>4,"wide",Data!B2:B4)',
    "H5:H5": 'SUM(IF(Data!A2:A6="lid",Data!C2:C6))',
    "I5:I5": "MATCH(1,(Data!B2:B6>4)*(Data!D2:D6>2),0)",
    "H6:I8": "Data!H1:I2",
    "H9:I9": "7",
    "J5:J9": 'IFERROR(1/(Data!B2:B6-6),"none")',
}


def build() -> openpyxl.Workbook:
    """The workbook of all formulas, without any values."""
    workbook = openpyxl.Workbook()
    fill_data(workbook)
    calc = workbook.create_sheet("Calc")
    for row, formula in enumerate(SPECS, 1):
        calc.cell(row, 1).value = "=" + marked(formula)
    calc["H1"] = None
    for ref, formula in ARRAYS.items():
        calc[ref.split(":")[0]] = ArrayFormula(ref, "=" + formula)
    return workbook


def as_package(workbook: openpyxl.Workbook) -> Package:
    """The workbook through a saved file."""
    stream = io.BytesIO()
    workbook.save(stream)
    return Package.open(stream.getvalue())


def same(ours: object, theirs: object) -> bool:
    """Equal to 1e-9 of the value; a blank text is a blank cell."""
    if isinstance(theirs, bool) or isinstance(ours, bool):
        return type(ours) is type(theirs) and ours == theirs
    if isinstance(theirs, int | float) and isinstance(ours, int | float):
        return math.isclose(ours, theirs, rel_tol=1e-9, abs_tol=1e-12)
    return (ours or "") == (theirs or "")


def recalculated(path: Path, folder: Path) -> openpyxl.Workbook:
    """The values that LibreOffice Calc computes for a workbook."""
    program = shutil.which("soffice")
    if program is None:
        pytest.skip("LibreOffice is not installed")
    subprocess.run(
        [program, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
         "--convert-to", "xlsx", "--outdir", str(folder / "out"), str(path)],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    return openpyxl.load_workbook(folder / "out" / path.name, data_only=True)


def serial_of(cell: openpyxl.cell.Cell) -> object:
    """A cell's value with dates and times as numbers."""
    value = cell.value
    if cell.is_date and not isinstance(value, int | float | str | bool | None):
        from openpyxl.utils.datetime import to_excel

        return float(to_excel(value))
    return value


@pytest.mark.libreoffice
def test_every_formula_against_libreoffice(tmp_path):
    # source: LibreOffice Calc recalculation, independent implementation
    workbook = build()
    path = tmp_path / "formulas.xlsx"
    workbook.save(path)
    ours = evaluate_package(Package.open(path))
    theirs = recalculated(path, tmp_path)
    assert not ours.problems
    assert len(SPECS) > 400
    wrong = []
    for (sheet, place), value in ours.values.items():
        other = serial_of(theirs[sheet][place])
        if not same(value, other):
            wrong.append(f"{sheet}!{place} {workbook[sheet][place].value}: {value!r} {other!r}")
    assert not wrong, "\n".join(wrong)
