"""Sheets in another language: every text has its word, the figures stay, a plant may word all anew.

What is printed is compared cell by cell with the English sheets of the same plan, which are checked in
`test_golden.py`; that the words are right was read by a person.
"""

from __future__ import annotations

import ast
import csv
import itertools
import re
from pathlib import Path

import openpyxl
import pytest
from golden import plans
from plans import routed_rows

import dispense
from dispense.base.errors import FileError, InputError
from dispense.base.language import WORDS, languages, printed_in, read_language, read_words, translated
from dispense.base.measures import CHOICES, Measures, measured_in
from dispense.books.plan import new_plan, write_plan
from dispense.books.templates import write_all
from dispense.cli import main
from dispense.jobs.fill import fill
from dispense.sheets.catalogue import SPECS

CODES = [code for code in languages() if code != "en"]
DAY = "2026-03-02"
NAMES = ("demo", *plans.PLANS, "line")

#: entries that figures need and no text shows by itself
MARKS = {"decimal mark", "locale of dates"}
#: words that are written alike in English and another language, or are names of things
ALIKE = {
    "de": {"Material", "Station", "Takt", "Text", "Detail"},
    "es": {"Material", "Takt", "Total", "Detail"},
}


def entries(code: str) -> list[list[str]]:
    """English and translation of a word list."""
    with (WORDS / f"{code}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))[1:]


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """The demo, both golden plans and a plan with routes."""
    folder = tmp_path_factory.mktemp("languages")
    new_plan(folder / "demo.xlsx", demo=True)
    for name, tables in plans.PLANS.items():
        plans.write(tables, folder / f"{name}.xlsx")
    write_plan(routed_rows(), folder / "line.xlsx")
    return folder


def filled(made: Path, name: str, language) -> dict[str, Path]:
    """The sheets of a plan in a language, of the demo those of one day."""
    code = getattr(language, "code", language)
    out = made / f"{name}_{code}"
    report = fill(
        made / f"{name}.xlsx", out, stamp="s", language=language, date=DAY if name == "demo" else None
    )
    return {str(path.relative_to(out)): path for path in report.files}


@pytest.fixture(scope="module")
def english(made):
    return {name: filled(made, name, "en") for name in NAMES}


@pytest.fixture(scope="module", params=CODES)
def foreign(request, made):
    """A language that was printed in, with what it lacked, and the sheets."""
    language = read_language(request.param)
    return language, {name: filled(made, name, language) for name in NAMES}


def cells(path: Path) -> dict[tuple[int, str], object]:
    """Values by place of the sheet in the workbook and address: sheets have names of the language."""
    book = openpyxl.load_workbook(path, data_only=True)
    return {
        (place, cell.coordinate): cell.value
        for place, sheet in enumerate(book)
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def own_words(path: Path) -> set[str]:
    """Every word that stands in a plan."""
    book = openpyxl.load_workbook(path, read_only=True)
    texts = [str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell]
    return {word for text in texts for word in re.findall(r"[^\W\d_]+", text)}


# --------------------------------------------------------------------------------------- the word lists


def test_german_and_spanish_come_with_the_planner():
    assert {"de", "es"} <= set(CODES)


@pytest.mark.parametrize("code", CODES)
def test_a_word_list_is_whole(code):
    """Its fields agree (the reader refuses others), nothing appears twice, nothing is left out."""
    rows = entries(code)
    english = [row[0] for row in rows]
    assert len(english) == len(set(english))
    assert all(len(row) == 2 and row[1].strip() for row in rows)
    assert english == [row[0] for row in entries(CODES[0])]
    read_words(WORDS / f"{code}.csv")


@pytest.mark.parametrize("code", CODES)
def test_no_two_columns_of_a_table_have_one_word(code):
    with printed_in(code):
        for spec in SPECS.values():
            for table in spec.tables:
                words = [
                    f"{translated(item.heading)} [{item.unit}]".casefold() for item in spec.columns(table)
                ]
                assert len(words) == len(set(words)), (table, sorted(words))


def test_no_entry_is_stale():
    """Every word of an entry stands in a text of the planner: what was worded anew is no longer listed."""
    known: set[str] = set()
    for path in Path(dispense.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                known.update(re.findall(r"[^\W\d_]{3,}", node.value.casefold()))
    known |= {word for spec in SPECS.values() for word in re.findall(r"[^\W\d_]{3,}", spec.title.casefold())}
    for path in Path(dispense.__file__).parent.rglob("*.bas"):  # what the VBA says
        known.update(re.findall(r"[^\W\d_]{3,}", path.read_text(encoding="ascii").casefold()))
    stale = {}
    for english, _ in entries(CODES[0]):
        words = re.findall(r"[^\W\d_]{3,}", re.sub(r"\{\w+\}", " ", english).casefold())
        lost = [word for word in words if word not in known and word.removesuffix("s") not in known]
        if lost and english not in MARKS:
            stale[english] = lost
    assert not stale


#: where findings that are printed on sheets are worded, and which arguments of a maker are its words
WORDED = ("shift/*", "reports/*", "plan/*", "journal/start")
MAKERS = {"Finding": slice(1, 3), "_slip": slice(4, 6), "_found": slice(2, 4)}
#: what may stand in a sentence at an expression that is no figure and no name
MAY_BE = {
    "ends": ("the pot life is over", "the limit is 7 %"),
    "why": ("waiting for parts", "at a takt of 7 s"),
    "count": ("1", "7"),
    "mark": ("extrapolated to 7 °C; stated at 7 °C",),
    "words": ("turbulent", "Speed", "7"),
    "LOOK_AGAIN": ("look again",),
    "CLEAN": ("empty hoses and mixer, clean what touches both",),
    "place": ("nozzle", "mixer"),
}
FIGURE, NAME = "7", "Xyz"
MOST_WORDINGS = 512


def wordings(node: ast.expr) -> list[str]:
    """What an expression may say, with a figure or a name in place of what is only known later."""
    if isinstance(node, ast.Constant):
        return [str(node.value)]
    if isinstance(node, ast.IfExp):
        return [*wordings(node.body), *wordings(node.orelse)]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return [a + b for a in wordings(node.left) for b in wordings(node.right)][:MOST_WORDINGS]
    if isinstance(node, ast.JoinedStr):
        parts = [
            wordings(part.value) if isinstance(part, ast.FormattedValue) else wordings(part)
            for part in node.values
        ]
        return ["".join(some) for some in itertools.islice(itertools.product(*parts), MOST_WORDINGS)]
    if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "counted":
        return [f"{FIGURE} {word}s" for word in wordings(node.args[1])]
    return list(MAY_BE.get(ast.unparse(node), (FIGURE, NAME)))


def worded() -> dict[str, list[str]]:
    """By place in the code the wordings of each text and fix that stands written in a finding."""
    found: dict[str, list[str]] = {}
    for pattern in WORDED:
        for path in sorted(Path(dispense.__file__).parent.glob(f"{pattern}.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                name = getattr(node.func, "id", "") if isinstance(node, ast.Call) else ""
                if not isinstance(node, ast.Call) or name not in MAKERS:
                    continue
                for place, part in enumerate(node.args[MAKERS[name]]):
                    if isinstance(part, ast.Constant | ast.JoinedStr | ast.BinOp | ast.IfExp):
                        texts = [text for text in wordings(part) if text]
                        if texts:
                            found[f"{path.parent.name}/{path.name}:{part.lineno}.{place}"] = texts
    return found


@pytest.mark.parametrize("code", CODES)
def test_every_finding_has_its_words(code: str) -> None:
    """Also those that no plan here brings about: each sentence in the code fits a row of the list."""
    language, missing = read_language(code), []
    found = worded()
    for place, texts in found.items():
        for text in texts:
            language.missing.clear()
            language.translate(text)
            if not language.missing:
                break
        else:
            missing.append(f"{place}: {texts[0]}")
    assert not missing, "\n".join(missing)
    assert len(found) > 90  # the makers are found


#: where problems of a plan that is open are worded, and the arguments of a `Problem` in their order
ON_SCREEN = (
    *(f"jobs/{name}" for name in ["on_screen", "document", "desk", "live", "formulas", "calculation"]),
    "addin/*",
)
OF_PROBLEMS = ("plan/*", "base/fields", "base/units", *ON_SCREEN[:-1])
ARGUMENTS = {
    "Problem": ("where", "argument", "value", "allowed", "fix", "code", "message"),
    "_says": ("where", "message", "fix"),
}
#: what reads files of another kind than the plan that is open: their messages are for a terminal
OF_FILES = {"csv.py", "drawing.py", "sources.py", "workbook.py", "workdays.py", "prepared.py", "builds.py"}
SAID = {  # what an expression of a problem may say
    "kind": ("setting", "column of Beads"),
    "what": ("inserts", "7 cells of 7 mm"),
    "kind.split()[0]": ("setting", "column"),
    "message": ("Xyz is not a setting",),
}
#: a plan's name in the shell, for a file of which one table is read: nobody opens that in a spreadsheet
OF_SHELL = {"say which: 7::SHEET", "has no sheet or table 7; it has the sheets 7"}


@pytest.mark.parametrize("code", CODES)
def test_every_problem_of_an_open_plan_has_its_words(code: str, monkeypatch) -> None:
    for name, texts in SAID.items():
        monkeypatch.setitem(MAY_BE, name, texts)
    language, missing, count = read_language(code), [], 0
    paths = [path for each in OF_PROBLEMS for path in Path(dispense.__file__).parent.glob(f"{each}.py")]
    for path in (path for path in paths if path.name not in OF_FILES):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = ARGUMENTS.get(getattr(node.func, "id", "") if isinstance(node, ast.Call) else "", ())
            parts = dict(zip(names, node.args, strict=False)) if names else {}
            parts |= {each.arg: each.value for each in node.keywords} if names else {}
            for part in (parts.get(name) for name in ("allowed", "fix", "message")):
                if isinstance(part, ast.Constant | ast.JoinedStr | ast.BinOp | ast.IfExp):
                    texts = [text for text in wordings(part) if text]
                    count += 1
                    if texts and texts[0] not in OF_SHELL and not any(has_words(language, t) for t in texts):
                        missing.append(f"{path.name}:{part.lineno}: {texts[0]}")
    assert not missing, "\n".join(missing)
    assert count > 150  # the problems are found


#: what is said beside a plan that is open, and which arguments are the words
SPOKEN = {
    "translated": slice(0, 1),
    "_show": slice(1, 2),
    "Question": slice(1, 2),
    "Command": slice(1, 3),
    "said": slice(0, 1),
    "Pane": slice(0, 1),
}


@pytest.mark.parametrize("code", CODES)
def test_every_question_and_headline_of_an_open_plan_has_its_words(code: str, monkeypatch) -> None:
    monkeypatch.setitem(MAY_BE, "count", ("7 problems",))
    language, missing, count = read_language(code), [], 0
    for path in (path for each in ON_SCREEN for path in Path(dispense.__file__).parent.glob(f"{each}.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            for part in node.args[SPOKEN[name]] if name in SPOKEN else ():
                if isinstance(part, ast.Constant | ast.JoinedStr | ast.BinOp | ast.IfExp):
                    texts = [text.rstrip("…") for text in wordings(part)]
                    count += 1
                    if not any(has_words(language, text) for text in texts):
                        missing.append(f"{path.name}:{part.lineno}: {texts[0]}")
    assert not missing, "\n".join(missing)
    assert count > 45  # they are found


def has_words(language, text: str) -> bool:
    """Whether a list has all of a text."""
    language.missing.clear()
    language.translate(text)
    return not language.missing


# -------------------------------------------------------------------------------------- what is printed


def test_every_text_that_is_printed_has_its_word(foreign, made):
    language, _ = foreign
    assert not list(language.missing)


def test_no_english_is_left_on_a_sheet(foreign, english, made):
    """A text that is the same in both languages holds the plan's own words, units and figures only."""
    language, sheets = foreign
    left = set()
    for name, files in sheets.items():
        own = own_words(made / f"{name}.xlsx") | ALIKE.get(language.code, set())
        assert set(files) == set(english[name])
        for file, path in files.items():
            theirs = cells(english[name][file])
            for place, value in cells(path).items():
                if isinstance(value, str) and theirs.get(place) == value:
                    words = set(re.findall(r"[^\W\d_]{4,}", value)) - own
                    left |= {(value, word) for word in words}
    assert not left


def test_figures_stay_and_formulas_give_the_same(foreign, english):
    """Numbers, dates and values of formulas are those of the English sheets, in their order.

    Their places are not: a warning that takes a line more in a language moves what is below.
    """
    _, sheets = foreign
    for name, files in sheets.items():
        for file, path in files.items():
            mine, theirs = (
                [value for value in cells(each).values() if not isinstance(value, str)]
                for each in (path, english[name][file])
            )
            assert mine == theirs, file


def test_figures_in_sentences_follow_the_language():
    with printed_in("de"):
        assert translated("Set 1,240.5 g") == "1.240,5 g einstellen"
        assert translated("break until Tue 10 Mar 02:05") == "Pause bis Di 10 Mär 02:05"
        assert translated("2.6 mm deep by Thu 12 May 05:14") == "2,6 mm tief bis Do 12 Mai 05:14"
        # names are the plan's own: no decimal comma, no other word
        assert translated("connect Resin 2.5 A lot Tue-1.5") == "Resin 2.5 A Charge Tue-1.5 anschließen"


@pytest.mark.parametrize("unit", [*CHOICES["mass_unit"], *CHOICES["volume_unit"], "kg", "mg"])
def test_the_headline_of_the_card_is_said_in_every_unit(unit):
    """The masses stand in the unit of their column, whichever the plant or its template chose."""
    said = {
        "de": (f"1,371 {unit} einstellen", f"1,371 {unit} einstellen (box / rim)"),
        "es": (f"Ajustar 1,371 {unit}", f"Ajustar 1,371 {unit} (box / rim)"),
    }
    for code, wanted in said.items():
        with printed_in(code), measured_in(Measures((unit,))):
            assert translated(f"Set 1.371 {unit}") == wanted[0]
            assert translated(f"Set 1.371 {unit} (box / rim)") == wanted[1]
            for text in (f"Bring 2 × A 34 {unit}", f"2 × 1.371 {unit}, wait at least 45 min"):
                assert not {"Bring", "wait"} & set(translated(text).split())


def test_what_is_left_what_stays_in_a_container_and_an_opened_rest_have_each_a_word():
    """One word for one thing on the German and on the Spanish balance."""
    for code in ("de", "es"):
        with printed_in(code):
            heel, rest, left, end = map(translated, ("Heel", "Rest", "Left", "Left at end"))
            assert len({heel, rest, left}) == 3 and end.startswith(left)
            lots = translated("Lots to bring, first-expired first")
        # first-expired first, as on the English sheet: not the oldest first
        assert "ältest" not in lots and {"de": "Verfall", "es": "caduca"}[code] in lots


def test_days_in_cells_follow_the_language(foreign):
    language, sheets = foreign
    path = next(path for name, path in sheets["demo"].items() if name.endswith("_material.xlsx"))
    book = openpyxl.load_workbook(path)
    sheet, cell = next(iter(book.defined_names["day"].destinations))
    assert book[sheet][cell].number_format.startswith(f"[$-{language.texts['locale of dates']}]")


# ----------------------------------------------------------------------------------- a plant's own words


def test_a_template_worded_anew_is_filled(made, english, tmp_path):
    """Hidden names tell the columns: every header may have other words, the values stand below them."""
    own = tmp_path / "own"
    write_all(own)
    for path in own.glob("*.xlsx"):
        book = openpyxl.load_workbook(path)
        for sheet in book:
            for table in sheet.tables.values():
                for place, cell in enumerate(sheet[table.ref][0]):
                    unit = re.search(r" \[.*\]$", str(cell.value))
                    cell.value = f"Colonne {place}{unit[0] if unit else ''}"
                    table.tableColumns[place].name = cell.value
        book.save(path)
    report = fill(made / "demo.xlsx", tmp_path / "out", stamp="s", date=DAY, templates=own)
    assert len(report.files) == len(english["demo"])
    for path in report.files:
        theirs = cells(english["demo"][str(path.relative_to(tmp_path / "out"))])
        for place, value in cells(path).items():
            wanted = theirs[place]
            # a template of the plant keeps the unit that it states, where ours tells 10 L and more in litres
            # (a share of them is then reckoned with other figures, to the last digits of a float)
            in_litres = (
                pytest.approx(value, rel=1e-12) in (wanted, 1000.0 * wanted)
                if isinstance(value, float | int) and isinstance(wanted, float | int)
                else str(value).replace("[mL]", "[L]") == wanted
            )
            assert value == wanted or in_litres or str(value).startswith("Colonne "), (path.name, place)


def test_a_plant_has_its_own_word_list(made, tmp_path, capsys):
    (tmp_path / "fr.csv").write_text(
        'English,Translation\ndecimal mark,","\nStation,Poste\nSet {mass} g,Régler {mass} g\n',
        encoding="utf-8",
    )
    book = openpyxl.load_workbook(made / "demo.xlsx")
    row = next(row for row in book["Settings"].iter_rows() if row[0].value == "Language")
    row[1].value = "fr.csv"
    book.save(tmp_path / "plan.xlsx")
    out = tmp_path / "out"
    arguments = ["--date", DAY, "--shift", "Early", "--station", "Hem robot", "--out", str(out)]
    main(["fill", str(tmp_path / "plan.xlsx"), *arguments])
    texts = [
        value for value in cells(out / "setup" / "Hem_robot_setup.xlsx").values() if isinstance(value, str)
    ]
    assert "Poste" in texts and "Station" not in texts
    assert "Régler 4,809\u202fg" in texts  # a narrow blank keeps the unit with its number


def test_a_word_list_that_is_wrong_is_told_row_by_row(tmp_path):
    path = tmp_path / "fr.csv"
    path.write_text("English,Translation\nSet {mass} g,Régler {masse} g\nStation\n", encoding="utf-8")
    with pytest.raises(FileError) as told:
        read_words(path)
    assert [str(problem).split(":")[0] for problem in told.value.problems] == ["fr.csv row 2", "fr.csv row 3"]
    with pytest.raises(InputError, match="one of en, de, es"):
        read_language("xx")
