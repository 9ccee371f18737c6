"""One list of findings: every output tells those that concern its reader, the gravest first."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path

import openpyxl
import pytest
from plans import add_hot_pot, hand_rows, line_rows, make

from dispense.base.findings import (
    DANGER,
    FAILED,
    NOTE,
    QUALITY,
    SHORTAGE,
    STOP,
    Finding,
    exit_code,
    gravest_first,
    grouped,
    tally,
)
from dispense.books.plan import write_plan
from dispense.cli import main
from dispense.jobs.fill import FillReport
from dispense.reports.findings import concerns, plan_findings, station_findings
from dispense.sheets.catalogue import SPECS
from dispense.sheets.pieces import marked
from dispense.shift.setup import setup_card
from dispense.xlsx import write

# what the plan below is wrong in: a piece of the text that must be read, by the sort of the finding.
# The limits are stated in the plan; the figures are checked where they are computed.
POUR = "frame / bed: the pour reaches"  # danger of the plan: limit 60 °C
TAKT = "needs 2 nozzles"  # stop of the plan
STOCK = "stock of Bond 60 B is short by"  # stop of the shift
LOT = "lot B1 may not be used: last day was 2026-03-01"  # quality of the shift
# the wait keeps cells below their limit: it is a least one, and never to be cut short
WAIT = "wait at least 15 min after shot 1 before shot 2"  # note of the plan
KIND = {POUR: DANGER, TAKT: STOP, STOCK: STOP, LOT: QUALITY, WAIT: NOTE}

# who reads what: a check plays no shift, staging is about containers, a cure report about the material
TOLD = {
    "check": {POUR, TAKT, WAIT},
    "check --json": {POUR, TAKT, WAIT},
    "fill": {POUR, TAKT, STOCK, LOT},  # notes are counted only, they stand on the cards
    "fill --json": {POUR, TAKT, STOCK, LOT, WAIT},
    "cure": {POUR, WAIT},
    "cure --json": {POUR, WAIT},
    "cure --station": {POUR, WAIT},
    "forecast": {POUR, LOT},  # what may not be used is no stock: who orders must know
    "forecast --json": {POUR, LOT},
    "results": {POUR, TAKT, STOCK, LOT, WAIT},
    "setup card": {POUR, TAKT, WAIT},
    "material sheet": {POUR, TAKT, STOCK, LOT, WAIT},
    "cure board": {POUR, WAIT},
    "staging": {STOCK, LOT},
    "cure workbook": {POUR, WAIT},
}


def faulty_rows():
    """A pot in two shots that gets too hot, a takt too short, stock that ends, a lot past its day."""
    rows = hand_rows()
    add_hot_pot(rows, container=2000)
    rows["Shots"] = [
        dict(part="frame", pot="bed", shot=1, portion=0.5),
        dict(part="frame", pot="bed", shot=2, portion=0.5, wait=15),
    ]
    # by hand: 8000 mm² · 40 mm = 320 mL at 5 mL/s and a bead of 10 s are 74 s of work; takt 60 s
    rows["Stations"][0] |= dict(takt=60)
    rows["Builds"][0]["quantity"] = 4
    rows["Stock"] = [
        dict(material="Bond 60", component="a", lot="A1", quantity=9000, expiry="2026-06-30"),
        dict(material="Bond 60", component="b", lot="B1", quantity=60, expiry="2026-03-01"),
        dict(material="Bond 60", component="b", lot="B2", quantity=300, expiry="2026-06-30"),
    ]
    return rows


def written(rows, path: Path) -> str:
    write_plan(rows, path)
    return str(path)


def run(capsys, *arguments) -> tuple[int, str]:
    code = main([str(item) for item in arguments])
    return code, capsys.readouterr().out


def cells_of(path: Path) -> str:
    """All texts of a workbook, sheet by sheet and row by row."""
    book = openpyxl.load_workbook(path)
    return "\n".join(
        str(cell)
        for sheet in book
        for row in sheet.iter_rows(values_only=True)
        for cell in row
        if cell is not None
    )


@pytest.fixture(scope="module")
def outputs(tmp_path_factory):
    """Every output of the faulty plan as text, and the exit code of each command."""
    import contextlib
    import io

    folder = tmp_path_factory.mktemp("faulty")
    plan = written(faulty_rows(), folder / "plan.xlsx")
    texts, codes = {}, {}

    def told(name, *arguments):
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            codes[name] = main([str(item) for item in arguments])
        texts[name] = out.getvalue()

    for name, arguments in {
        "check": ("check", plan),
        "fill": ("fill", plan, "--out", folder / "sheets"),
        "cure": ("cure", plan),
        "forecast": ("forecast", plan, "--draws", 20),
    }.items():
        told(name, *arguments)
        told(f"{name} --json", *arguments, "--json")
    told("cure --station", "cure", plan, "--station", "hem", "--out", folder / "cure.xlsx")
    sheets = {
        "results": "results.xlsx",
        "setup card": "setup/hem_setup.xlsx",
        "material sheet": "2026-03-02_early/hem_material.xlsx",
        "cure board": "2026-03-02_early/hem_cure_board.xlsx",
        "staging": "2026-03-02_early/staging.xlsx",
        "shot check": "2026-03-02_early/hem_shot_check.xlsx",
    }
    for name, file in sheets.items():
        texts[name] = cells_of(folder / "sheets" / file)
    texts["cure workbook"] = cells_of(folder / "cure.xlsx")
    return texts, codes


@pytest.mark.parametrize("output", TOLD)
@pytest.mark.parametrize("words", KIND)
def test_every_output_tells_what_concerns_its_reader(outputs, output, words):
    text = " ".join(outputs[0][output].split())  # sheets fold long lines
    assert (words in text) == (words in TOLD[output]), f"{output}: {words}"


@pytest.mark.parametrize("output", TOLD)
def test_the_gravest_stands_first(outputs, output):
    text = " ".join(outputs[0][output].split())
    order = [DANGER, STOP, QUALITY, NOTE]
    if output == "cure workbook":  # a workbook of questions; its summary is the page with findings
        text = text.split("Warnings", 1)[1]
    if output == "results":
        text = text.split("Results: warnings", 1)[1]
    places = sorted((text.index(words), order.index(KIND[words])) for words in TOLD[output])
    ranks = [rank for _, rank in places]
    assert ranks == sorted(ranks)


@pytest.mark.parametrize("sheet", ["results", "material sheet", "cure board", "setup card"])
def test_a_sheet_says_in_words_how_grave_it_is(outputs, sheet):
    text = outputs[0][sheet]
    assert "DANGER" in text
    # peak, limit, what to do and the caution are all there
    flat = " ".join(text.split())
    assert "limit 60 °C" in flat and "wait longer between them" in flat
    assert "a runaway pour can burn" in flat and "safety data sheet" in flat


@pytest.mark.parametrize("sheet", ["material sheet", "cure board", "setup card", "shot check"])
def test_the_largest_words_of_a_sheet_say_danger_first(outputs, sheet):
    assert "\n▲ DANGER, see the setup card. " in outputs[0][sheet]


def test_every_command_leaves_with_the_code_of_a_danger(outputs):
    assert set(outputs[1].values()) == {3}  # 3: danger, as the help says; the shortage (4) gives way


def test_json_has_each_finding_with_its_place_and_figures(outputs):
    found = json.loads(outputs[0]["fill --json"])
    (pour,) = [item for item in found["findings"] if POUR in item["text"]]
    assert pour["kind"] == DANGER and pour["station"] == "hem" and pour["part"] == "frame"
    assert pour["cell"].startswith("Pots!") and pour["fix"]
    assert pour["numbers"]["limit_°C"] == pytest.approx(60.0)
    assert pour["numbers"]["peak_°C"] > 60.0
    (short,) = [item for item in found["findings"] if item.get("topic") == SHORTAGE]
    assert (short["day"], short["shift"]) == ("2026-03-02", "early")
    assert len(json.loads(outputs[0]["cure --json"])["stations"]) == 1


def test_counts_leave_notes_out(outputs):
    found = json.loads(outputs[0]["fill --json"])
    warnings = [item for item in found["findings"] if item["kind"] != NOTE]
    assert 0 < len(warnings) == len(found["warnings"]) < len(found["findings"])
    assert outputs[0]["fill"].count("notes (all in results.xlsx)") == 1
    assert "Notes" not in outputs[0]["fill"]


def test_results_count_warnings_without_notes(outputs, tmp_path):
    texts = outputs[0]
    found = json.loads(texts["fill --json"])
    path = Path(found["folder"]) / "results.xlsx"
    book = openpyxl.load_workbook(path)
    sheet, _, cell = book.defined_names["warnings"].attr_text.rpartition("!")
    assert book[sheet.strip("'")][cell.replace("$", "")].value == len(found["warnings"])


# --------------------------------------------------------------------------------------- exit codes


def sound_rows():
    rows = hand_rows()
    del rows["Materials"][0]["open_time"]
    return rows


def test_exit_codes(tmp_path, capsys, monkeypatch):
    good = written(sound_rows(), tmp_path / "good.xlsx")
    assert run(capsys, "check", good)[0] == 0
    assert run(capsys, "fill", good, "--out", tmp_path / "good")[0] == 0
    rows = sound_rows()
    rows["Beads"][0]["width"] = -1
    assert run(capsys, "check", written(rows, tmp_path / "bad.xlsx"))[0] == 1
    with pytest.raises(SystemExit) as stopped:
        main(["fill"])
    assert stopped.value.code == 2
    rows = sound_rows()
    for row in rows["Stock"]:
        row["quantity"] = 20
    for row in rows["Components"]:
        row["lead_time"] = 5  # no order of today can help
    short = written(rows, tmp_path / "short.xlsx")
    assert run(capsys, "check", short)[0] == 0  # no shift is played
    assert run(capsys, "fill", short, "--out", tmp_path / "short")[0] == 4
    assert run(capsys, "forecast", short, "--draws", 20)[0] == 4

    true_replace = os.replace

    def held_open(source, target):
        if "cure_board" in str(target):
            raise PermissionError(13, "Permission denied")
        true_replace(source, target)

    monkeypatch.setattr(write.os, "replace", held_open)
    code, text = run(capsys, "fill", good, "--out", tmp_path / "good")
    assert code == 5 and "not written: " in text and "hem_cure_board.xlsx" in text
    assert f"{len(SPECS) - 3} files in" in text  # one of each kind but a line's and a lamp's, one not written
    assert run(capsys, "fill", short, "--out", tmp_path / "short")[0] == 4  # the graver of two


def test_help_says_the_exit_codes(capsys):
    for command in ("check", "fill", "cure", "forecast"):
        with pytest.raises(SystemExit):
            main([command, "--help"])
        text = " ".join(capsys.readouterr().out.split())
        assert "3 done, and the plan holds a danger or what stops the line" in text
        assert "5 some files were not written" in text


def test_an_exit_code_is_the_lowest_that_applies():
    danger, short = Finding(DANGER, "hot"), Finding(STOP, "empty", topic=SHORTAGE)
    note = Finding(NOTE, "stock is an estimate", topic=SHORTAGE)
    assert exit_code([]) == exit_code([Finding(QUALITY, "wide"), note]) == 0
    stop, failed = Finding(STOP, "49 parts miss the open time"), Finding(STOP, "not planned", topic=FAILED)
    assert exit_code([stop]) == exit_code([short, stop, note]) == 3
    assert exit_code([failed], not_written=True) == 5
    assert exit_code([short, danger]) == 3 and exit_code([short]) == 4
    assert exit_code([], not_written=True) == 5 and exit_code([short], not_written=True) == 4


# ------------------------------------------------------------------------------- single findings


def test_pressure_above_the_limit_is_a_danger_everywhere(tmp_path, capsys):
    rows = sound_rows()
    rows["Stations"][0] |= dict(nozzle_bore=1, nozzle_length=40, pressure_limit=90)
    rows["Materials"][0] |= dict(consistency=10, viscosity_temperature=23)
    # Hagen-Poiseuille: Δp = 128·μ·L·Q/(π·d⁴), Q = 10 mm² · 100 mm/s, in bar
    needed = 128 * 10 * 0.04 * 1e-6 / (math.pi * 1e-12) / 1e5
    (danger,) = [item for item in setup_card(make(rows), "hem").findings if item.kind == DANGER]
    assert danger.numbers["pressure_bar"] == pytest.approx(needed, rel=1e-6)
    assert needed > 90
    plan = written(rows, tmp_path / "plan.xlsx")
    words = f"{math.ceil(10 * needed) / 10:g} bar is needed, limit 90 bar"  # rounded away from the limit
    code, text = run(capsys, "check", plan)
    assert code == 3 and words in text and "no problems found" not in text
    code, text = run(capsys, "fill", plan, "--out", tmp_path / "out")
    assert code == 3 and words in text
    for name in ("results.xlsx", "setup/hem_setup.xlsx", "2026-03-02_early/hem_material.xlsx"):
        assert words in " ".join(cells_of(tmp_path / "out" / name).split())


def test_the_wait_between_shots_is_printed(outputs):
    setup = outputs[0]["setup card"]
    assert "Wait [min]" in setup and "wait at least 15 min after the shot before" in " ".join(setup.split())


def test_a_limit_that_nothing_checks_is_told():
    rows = faulty_rows()
    for name in ("rate_1", "energy_1", "order_n"):
        del rows["Materials"][0][name]
    found = [item for item in plan_findings(make(rows)) if "exotherm is not computed" in item.text]
    assert [item.kind for item in found] == [QUALITY] and "limit of 60 °C" in found[0].text
    del rows["Pots"][0]["limit"]
    found = [item for item in plan_findings(make(rows)) if "exotherm is not computed" in item.text]
    assert [item.kind for item in found] == [NOTE]


def test_what_lasts_is_told_once():
    # a lot past its day stands in store on every one of five days: one finding, not five
    from dispense.shift.play import play_plan

    rows = faulty_rows()
    rows["Builds"] = [rows["Builds"][0] | dict(date=f"2026-03-0{day}") for day in range(2, 7)]
    found = [item for result in play_plan(make(rows)) for item in result.findings]
    lots = [item for item in found if LOT in item.text]
    assert len(lots) == 5 and len(gravest_first(lots)) == 1


def test_a_pour_is_worked_out_once_for_a_plan(monkeypatch):
    from dispense.reports import pour as pour_report

    plan = make(faulty_rows())
    before = station_findings(plan, "hem")
    monkeypatch.setattr(pour_report, "_planned", None)  # would fail when called again
    assert station_findings(plan, "hem") is before
    assert pour_report.planned_pour(plan, plan.pots[0]).planned_peak > 333.15


def test_one_provider_that_fails_leaves_the_others(monkeypatch):
    from dispense.base.errors import InputError, Problem
    from dispense.reports import findings as module

    def fails(plan, station):
        raise InputError(Problem("Stations!A2", message="no answer"))

    monkeypatch.setattr(module, "OF_STATION", (fails, *module.OF_STATION))
    found = plan_findings(make(faulty_rows()))
    assert any("no answer" in item.text and item.kind == QUALITY for item in found)
    assert any(POUR in item.text for item in found)


def test_groups_of_a_terminal():
    late = [Finding(STOP, f"{count} parts are late", topic="takt", station="hem") for count in (1, 2)]
    other = Finding(STOP, "1 part is late", topic="takt", station="lid")
    hot = [Finding(DANGER, f"{part} is hot", topic="pour limit", station="bed", part=part) for part in "ab"]
    notes = [Finding(NOTE, "an estimate", station=name) for name in ("hem", "lid")]
    found = [(group.first.text, group.count, group.where) for group in grouped([*notes, other, *late, *hot])]
    assert found == [
        ("a is hot", 1, "bed"),
        ("b is hot", 1, "bed"),  # each danger by itself
        ("1 parts are late", 2, "hem"),
        ("1 part is late", 1, "lid"),
        ("an estimate", 2, "2 stations"),
    ]
    assert tally([*notes, other, *late, *hot]) == "2 dangers, 3 stop the line, 2 notes"
    assert marked(other) == "▲ STOP: 1 part is late" and marked(notes[0]) == "note: an estimate"


# ------------------------------------------------------------------------- cure of every station


def test_cure_of_all_stations(tmp_path, capsys):
    rows = faulty_rows()
    rows["Stations"].append(dict(station="lid", material="Grease", flow=1))
    rows["Materials"].append(dict(material="Grease", kind="one-part"))
    rows["Components"].append(dict(material="Grease", component="a", density=1, container=300))
    plan = written(rows, tmp_path / "plan.xlsx")
    code, text = run(capsys, "cure", plan, "--out", tmp_path / "cures")
    assert code == 3
    lines = text.splitlines()
    assert lines[0].split() == ["station", "material", "findings"]
    assert lines[1].startswith("hem") and "danger" in lines[1]
    assert "nothing to compute at: lid" in text and "Exotherm: frame / bed" in text
    assert sorted(path.name for path in (tmp_path / "cures").iterdir()) == ["hem_cure.xlsx", "manifest.json"]
    assert main(["cure", plan, "--out", str(tmp_path / "cure.xlsx")]) == 1
    told = capsys.readouterr().err
    assert "a folder" in told and "--station NAME" in told
    log = tmp_path / "log.csv"
    log.write_bytes(b"Time [s],Temperature [K]\n0,296\n60,350\n")
    assert main(["cure", plan, "--log", str(log), "--record", "shop.csv"]) == 1
    assert log.read_bytes().count(b"\n") == 3  # the log of a thermocouple, not one of runs
    assert capsys.readouterr().err.count("--station NAME") == 2


def test_of_some_stations_only_what_concerns_them():
    """A finding is of its station, of the stations of its material or part, or of all where it names none."""
    plan = make(line_rows({"box": [30, 40]}, {"box": 5}, [60], [None]))
    told = [
        Finding(QUALITY, "here", station="s1"),
        Finding(QUALITY, "there", station="s2"),
        Finding(QUALITY, "its material", material="Seal"),
        Finding(QUALITY, "no material of it", material="Other"),
        Finding(QUALITY, "of all"),
    ]
    kept = [item.text for item in told if concerns(plan, item, ["s1"])]
    assert kept == ["here", "its material", "of all"]


def test_danger_and_stop_stand_before_the_list_of_files(tmp_path):
    report = FillReport(tmp_path, files=[tmp_path / "a_material.xlsx"])
    report.findings = [Finding(STOP, "529 s of work", station="hem"), Finding(QUALITY, "old purge")]
    text = report.as_text()
    assert text.index("529 s of work") < text.index("1 file in") < text.index("old purge")
    assert "first on" not in text  # no column without an entry
