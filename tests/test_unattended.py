"""Runs that nobody watches: tables for other programs, manifests, sheets that no longer hold, stops.

Read back with pandas, pyarrow and the standard library, which know nothing of this project; exit codes of
signals are those of POSIX shells (128 and the number of the signal).
"""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
from plans import hand_rows
from pyarrow import parquet
from test_trust import ROOT, contents, light_plan, posix

from dispense import cli
from dispense.base.errors import FileError, InputError
from dispense.base.findings import BAD_INPUT, DANGEROUS, DONE, NOT_WRITTEN, SHORT, USAGE
from dispense.jobs import book as book_job
from dispense.jobs import fill as filling
from dispense.jobs import forecast as forecast_job
from dispense.jobs.fill import fill
from dispense.jobs.forecast import forecast_file
from dispense.jobs.upload import upload_columns
from dispense.journal.store import journal_path, read_journal
from dispense.xlsx.write import atomic_write, clean

TWO_DAYS = "date,shift,part,quantity\n2026-03-02,early,frame,7\n2026-03-03,early,frame,3\n"


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    rows = hand_rows()
    rows["Stations"].append(rows["Stations"][0] | dict(station="cap"))
    rows["Parts"].append(dict(part="lid"))
    rows["Beads"].append(rows["Beads"][0] | dict(bead="rim", part="lid", station="cap"))
    rows["Components"][0] |= dict(item_number="100-7", supplier="North", lead_time=1)
    rows["Stock"][0]["quantity"] = 10
    return light_plan(tmp_path_factory.mktemp("plan") / "plan.xlsx", rows)


def builds(tmp_path: Path, text: str = TWO_DAYS) -> list[str]:
    path = tmp_path / "b.csv"
    path.write_text(text)
    return ["--builds", str(path)]


# --------------------------------------------------------------------------------- out as tables


def test_tables_of_a_fill_are_what_stands_on_the_sheets(plan, tmp_path, capsys):
    out, folder = tmp_path / "out", tmp_path / "tables"
    arguments = ["fill", str(plan), "--out", str(out), "--tables", str(folder), "--json"]
    assert cli.main(arguments) in (0, 4)
    told = json.loads(capsys.readouterr().out)
    frame = pd.read_csv(folder / "MaterialUse.csv")
    # opening + connected = used + left at end, for each component, to the printed digits
    assert len(frame) == 2
    assert (frame["Opening"] + frame["Connected"]).to_list() == pytest.approx(
        (frame["Used"] + frame["Left at end"]).to_list()
    )
    assert frame["Day"].unique() == ["2026-03-02"] and frame["Station"].unique() == ["hem"]
    record = told["tables"]["MaterialUse"][0]
    assert record["Used [mL]"] == pytest.approx(frame["Used"][0]) and record["Day"] == "2026-03-02"
    described = json.loads((folder / "datapackage.json").read_text())
    schema = {item["path"]: item["schema"]["fields"] for item in described["resources"]}
    for path, fields in schema.items():  # Data Package: the fields are the columns, in their order
        assert list(pd.read_csv(folder / path, nrows=0).columns) == [field["name"] for field in fields]
        data = (folder / path).read_bytes()
        hashes = {item["path"]: item["hash"] for item in described["resources"]}
        assert hashes[path] == "sha256:" + hashlib.sha256(data).hexdigest()
    used = next(field for field in schema["MaterialUse.csv"] if field["name"] == "Used")
    assert (used["type"], used["unit"]) == ("number", "mL")
    # the same as Parquet, with types and units in the schema, and as one workbook of named tables
    assert cli.main([*arguments[:-1], "--table-form", "parquet"]) in (0, 4)
    table = parquet.read_table(folder / "MaterialUse.parquet")
    assert table.schema.field("Used").metadata == {b"unit": b"mL"}
    assert table.to_pandas()["Day"][0] == datetime.date(2026, 3, 2)
    assert not (folder / "MaterialUse.csv").exists()  # no table of a run before is left
    assert cli.main([*arguments[:-1], "--table-form", "xlsx"]) in (0, 4)
    book = pd.read_excel(folder / "tables.xlsx", sheet_name="MaterialUse")
    assert book["Used [mL]"].to_list() == pytest.approx(frame["Used"].to_list())


def test_tables_never_replace_what_is_not_theirs(plan, tmp_path):
    (tmp_path / "MaterialUse.csv").write_text("mine\n")
    with pytest.raises(FileError, match="was not written by this command"):
        fill(plan, tmp_path / "out", tables=tmp_path)
    assert (tmp_path / "MaterialUse.csv").read_text() == "mine\n"


def test_orders_in_the_shape_that_an_upload_takes(plan, tmp_path):
    columns = "Article=item, Qty=quantity, unit, due date, order date, supplier"
    found = forecast_file(
        plan,
        weeks=1,
        draws=10,
        what_if=False,
        upload=tmp_path / "orders.csv",
        columns=columns,
        tables=tmp_path / "tables",
    )
    frame = pd.read_csv(tmp_path / "orders.csv", dtype=str, keep_default_na=False)
    assert list(frame.columns) == ["Article", "Qty", "unit", "due date", "order date", "supplier"]
    orders = [order for view in found.components.values() for order in view.orders]
    assert len(frame) == len(orders) > 0
    row = frame[frame["Article"] == "100-7"].iloc[0]
    assert (row["unit"], row["supplier"]) == ("EA", "North")
    assert row["due date"] >= row["order date"] >= "2026-03-02"
    use = pd.read_csv(tmp_path / "tables" / "use.csv")
    planned = pd.read_csv(tmp_path / "tables" / "components.csv")["Use planned"].sum()
    assert use["Volume"].sum() == pytest.approx(planned, rel=1e-6)
    with pytest.raises(InputError, match="did you mean due date"):
        upload_columns("item, due dat")


# -------------------------------------------------------------------------------------- manifests


def test_filled_again_without_a_change_the_bytes_are_the_same(plan, tmp_path):
    out = tmp_path / "out"
    fill(plan, out)
    before = contents(out)
    time.sleep(0.01)
    fill(plan, out)
    assert contents(out) == before
    told = json.loads(before["manifest.json"])
    assert told["inputs"][0]["sha256"] == hashlib.sha256(plan.read_bytes()).hexdigest()
    assert {item["file"]: item["sha256"] for item in told["files"]} == {
        name: hashlib.sha256(data).hexdigest() for name, data in before.items() if name != "manifest.json"
    }


def test_the_log_tells_each_run_and_how_long_it_took(plan, tmp_path):
    log = tmp_path / "runs.jsonl"
    for _ in range(2):
        cli.main(["fill", str(plan), "--out", str(tmp_path / "out"), "--log", str(log)])
    cli.main(["fill", str(tmp_path / "none.xlsx"), "--log", str(log)])
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    assert [line["exit_code"] for line in lines[2:]] == [1] and len(lines) == 3
    assert all(line["seconds"] > 0 for line in lines[:2])
    assert cli.main(["fill", str(plan), "--out", str(tmp_path / "out"), "--log", str(plan)]) != 0
    assert plan.read_bytes()[:2] == b"PK"


def test_sheets_of_builds_that_were_cancelled_are_moved_away(plan, tmp_path):
    out = tmp_path / "out"
    given = builds(tmp_path)
    assert cli.main(["fill", str(plan), "--out", str(out), *given]) in (0, 4)
    (out / "2026-03-03_early" / "notes.xlsx").write_text("a plant's own")
    old = (out / "2026-03-03_early" / "hem_material.xlsx").read_bytes()
    builds(tmp_path, TWO_DAYS.replace("2026-03-03,early,frame,3\n", ""))
    assert cli.main(["fill", str(plan), "--out", str(out), *given]) in (0, 4)
    assert (out / "superseded" / "2026-03-03_early" / "hem_material.xlsx").read_bytes() == old
    assert [path.name for path in (out / "2026-03-03_early").iterdir()] == ["notes.xlsx"]
    told = json.loads((out / "manifest.json").read_text())["superseded"]
    assert "2026-03-03_early/hem_material.xlsx" in told and len(told) == 4
    # builds of a later day say nothing of the days before
    builds(tmp_path, TWO_DAYS.replace("2026-03-02,early,frame,7\n", "").replace("03-03", "03-09"))
    assert cli.main(["fill", str(plan), "--out", str(out), *given]) in (0, 4)
    assert (out / "2026-03-02_early" / "hem_material.xlsx").is_file()


def test_a_day_without_builds_is_done_and_a_slip_is_not(plan, tmp_path, capsys):
    empty = builds(tmp_path, "date,shift,part,quantity\n")
    out = ["--out", str(tmp_path / "out")]
    assert cli.main(["fill", str(plan), *out, *empty]) == 0
    assert "Nothing is built" in capsys.readouterr().out
    assert cli.main(["fill", str(plan), *out, "--date", "2026-03-07"]) == 0  # a Saturday
    assert "Nothing is built on 2026-03-07" in capsys.readouterr().out
    assert cli.main(["fill", str(plan), *out, "--date", "2062-03-02"]) == 1  # a Thursday
    assert not (tmp_path / "out").exists()


def test_the_readme_and_the_page_tell_every_exit_code_there_is():
    """128 + the signal's number is what a POSIX shell gives to what a signal ends: SIGINT 2, SIGTERM 15."""
    codes = {DONE, BAD_INPUT, USAGE, DANGEROUS, SHORT, NOT_WRITTEN, 128 + 2, 128 + 15}
    root = Path(__file__).parents[1]
    told = (root / "README.md").read_text("utf-8").partition("Exit codes: ")[2].partition("[More]")[0]
    assert {int(number) for number in re.findall(r"\d+", told.partition("of 3, 4 and 5")[0])} | {
        int(number) for number in re.findall(r"1\d\d", told)
    } == codes
    page = (root / "docs" / "scripting.md").read_text("utf-8")
    rows = re.findall(r"^\| ([\d, ]+) \|", page.partition("exit code | meaning")[2], re.MULTILINE)
    assert {int(number) for row in rows for number in row.split(",")} == codes
    assert {cli.INTERRUPTED, cli.TERMINATED} == {130, 143}


# ------------------------------------------------------------------------------- faults and stops


def test_a_station_that_fails_leaves_the_others_alone(plan, tmp_path, monkeypatch, capsys):
    true_play = filling.play_plan

    def failing(plan, *, stations=None, **rest):
        for result in true_play(plan, stations=stations, **rest):
            if result.station.station == "cap" and (stations is None or "cap" in stations):
                raise ZeroDivisionError("float division by zero")
            yield result

    monkeypatch.setattr(filling, "play_plan", failing)
    given = builds(tmp_path, TWO_DAYS + "2026-03-02,early,lid,4\n")
    code = cli.main(["fill", str(plan), "--out", str(tmp_path / "out"), *given])
    told = capsys.readouterr().out
    assert code in (4, 5) and "cap: failed: ZeroDivisionError" in told
    names = {path.name for path in (tmp_path / "out" / "2026-03-02_early").iterdir()}
    assert "hem_material.xlsx" in names and "cap_material.xlsx" not in names
    assert "ZeroDivisionError" in (tmp_path / "out" / "manifest.json").read_text()


def test_a_sheet_that_fails_leaves_the_others_alone(plan, tmp_path, monkeypatch):
    true_save = filling.Templates.fill

    def failing(self, content, path):
        if path.name == "hem_cure_board.xlsx":
            raise IndexError("list index out of range")
        return true_save(self, content, path)

    monkeypatch.setattr(filling.Templates, "fill", failing)
    report = fill(plan, tmp_path / "out")
    assert len(report.not_written) == 1 and "IndexError" in str(report.not_written[0])
    assert (tmp_path / "out" / "2026-03-02_early" / "hem_shot_check.xlsx").is_file()


def start(*arguments: str, **more) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "dispense.cli", *arguments],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **more,
    )


@posix
@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGINT, 130)])
def test_a_request_to_end_is_followed_and_said(plan, tmp_path, number, code):
    days = "".join(
        f"{datetime.date(2026, 3, 2) + datetime.timedelta(days=day)},early,frame,7\n" for day in range(60)
    )
    out = tmp_path / "out"
    given = builds(tmp_path, "date,shift,part,quantity\n" + days)
    process = start("fill", str(plan), "--out", str(out), "--processes", "2", *given, start_new_session=True)
    for _ in range(600):
        if list(out.rglob("*_material.xlsx")):
            break
        time.sleep(0.1)
    os.killpg(process.pid, number)  # as a terminal does: to the workers too
    _, told = process.communicate(timeout=60)
    assert process.returncode == code, told
    assert len(told.splitlines()) == 1 and "stopped: " in told and "not written: " in told
    assert not list(out.rglob(".dispense-*"))
    with pytest.raises(ProcessLookupError):  # no worker is left
        os.killpg(process.pid, 0)


@posix
def test_what_a_kill_has_left_goes_with_the_next_run(plan, tmp_path):
    left = tmp_path / "2026-03-02_early"
    left.mkdir()
    code = f"""if True:
        import os, signal
        from dispense.xlsx.write import atomic_write
        def half(stream):
            os.kill(os.getpid(), signal.SIGKILL)
        atomic_write({str(left / "hem_material.xlsx")!r}, half)
    """
    subprocess.run([sys.executable, "-c", code], cwd=ROOT)
    assert len(list(left.iterdir())) == 1
    fill(plan, tmp_path)
    assert not list(tmp_path.rglob(".dispense-*"))

    def half_written(stream):
        clean(left)  # another run begins meanwhile
        assert len(list(left.glob(".dispense-*"))) == 1
        stream.write(b"whole")

    assert atomic_write(left / "x.txt", half_written).read_bytes() == b"whole"


@posix
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
def test_an_output_that_takes_nothing_is_one_line():
    for arguments, shell in ((["functions"], ">/dev/full"), (["functions", "--json"], ">/dev/full")):
        line = f"{sys.executable} -m dispense.cli {' '.join(arguments)} {shell}"
        found = subprocess.run(["sh", "-c", line], cwd=ROOT, capture_output=True, text=True)
        assert found.returncode == 1 and len(found.stderr.splitlines()) == 1, found.stderr
        assert "No space left" in found.stderr
    for shell in (">&-", ">&- 2>&-", "| head -c 1"):
        line = f"{sys.executable} -OO -m dispense.cli functions {shell}"  # -OO: PYTHONOPTIMIZE=2
        found = subprocess.run(["sh", "-c", line], cwd=ROOT, capture_output=True, text=True)
        assert found.returncode == 0 and found.stderr == "", found.stderr


# -------------------------------------------------- forecast, compare and cure, and what stops them


def small_plan(folder: Path) -> Path:
    """The plan worked by hand, with something to choose, as a workbook."""
    rows = hand_rows()
    rows["Choices"] = [dict(station="hem", what="nozzle bore", value="2")]
    return light_plan(folder / "plan.xlsx", rows)


@pytest.mark.parametrize("command", ["forecast", "compare"])
def test_a_manifest_of_a_command_that_fills_no_folder(command, tmp_path, capsys):
    """Each file that came out is named with the SHA-256 that hashlib gives, and the plan that went in."""
    plan = small_plan(tmp_path)
    arguments = [
        command,
        str(plan),
        "--out",
        str(tmp_path / "out.xlsx"),
        "--tables",
        str(tmp_path / "tables"),
    ]
    arguments += ["--manifest", str(tmp_path / "said.json")]
    arguments += ["--weeks", "1", "--draws", "10"] if command == "forecast" else []
    assert cli.main(arguments) in (0, 4)
    said = json.loads((tmp_path / "said.json").read_bytes())
    assert said["inputs"] == [
        {"role": "plan", "name": "plan.xlsx", "sha256": hashlib.sha256(plan.read_bytes()).hexdigest()}
    ]
    found = {item["file"]: item["sha256"] for item in said["files"]}
    there = [tmp_path / "out.xlsx", *(tmp_path / "tables").iterdir()]
    assert found == {
        path.relative_to(tmp_path).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in there
    }
    before = (tmp_path / "said.json").read_bytes()
    assert cli.main(arguments) in (0, 4)
    assert (tmp_path / "said.json").read_bytes() == before
    (tmp_path / "said.json").write_text("mine")
    assert cli.main(arguments) == 1 and (tmp_path / "said.json").read_text() == "mine"


def test_a_folder_of_cure_has_its_manifest_and_keeps_no_stale_report(tmp_path, capsys):
    plan = small_plan(tmp_path)
    out = tmp_path / "cure"
    assert cli.main(["cure", str(plan), "--out", str(out)]) in (0, 3)
    shutil.copy(out / "hem_cure.xlsx", out / "gone_cure.xlsx")  # of a station that the plan had before
    assert cli.main(["cure", str(plan), "--out", str(out)]) in (0, 3)
    said = json.loads((out / "manifest.json").read_bytes())
    assert [item["file"] for item in said["files"]] == ["hem_cure.xlsx"]
    assert said["superseded"] == ["gone_cure.xlsx"]
    assert sorted(path.name for path in out.iterdir()) == ["hem_cure.xlsx", "manifest.json", "superseded"]


def test_a_forecast_that_is_stopped_says_what_was_written(tmp_path, monkeypatch, capsys):
    """Ctrl-C after the workbook: it is named as written, the folder of tables as not."""
    plan = small_plan(tmp_path)

    def stopped(*_arguments, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr(forecast_job, "write_tables", stopped)
    code = cli.main(
        ["forecast", str(plan), "--weeks", "1", "--draws", "10", "--out", str(tmp_path / "out.xlsx")]
        + ["--tables", str(tmp_path / "tables")]
    )
    said = capsys.readouterr().err
    assert code == 130
    assert f"written: {tmp_path / 'out.xlsx'}" in said
    assert f"not written, or not all of it: {tmp_path / 'tables'}" in said


def test_a_booking_that_is_stopped_says_what_was_booked(tmp_path, monkeypatch, capsys):
    """Ctrl-C while the second file is booked: the first is in the journal, and said so."""
    plan = small_plan(tmp_path)
    head = "What,Date,Time,Station,Part,Material,Component,Lot,Containers,Mass [kg],Pieces,Reference\n"
    for number in (1, 2):
        row = f"received,2026-03-0{number},,,,Bond 60,A,A7{number},3,,,DN-{number}\n"
        (tmp_path / f"day{number}.csv").write_text(head + row, encoding="utf-8")
    real, calls = book_job.book_entries, []

    def stopped(*arguments, **options):
        calls.append(arguments)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return real(*arguments, **options)

    monkeypatch.setattr(book_job, "book_entries", stopped)
    code = cli.main(["book", str(plan), *(str(tmp_path / f"day{number}.csv") for number in (1, 2))])
    assert code == 130
    assert "booked: day1.csv; not booked: day2.csv" in capsys.readouterr().err
    monkeypatch.undo()
    assert len(read_journal(journal_path(plan)).bookings) == 1
