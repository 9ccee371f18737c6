"""Files of users: outputs whole or not at all, inputs never overwritten, nothing hostile gets through.

What the system does on a full disk, a locked file or a kill is POSIX (rename is atomic; SIGKILL ends
a process between any two instructions), not our own figures. Attacks are those of the OWASP sheets
on XML, CSV injection and zip bombs.
"""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import textwrap
import zipfile
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter
from plans import hand_rows, light_plan

from dispense import cli
from dispense.addin import excel
from dispense.jobs import tables as tables_module
from dispense.jobs.fill import fill, template_folder
from dispense.jobs.forecast import forecast_file
from dispense.xlsx import write
from dispense.xlsx.package import Package, compare
from dispense.xlsx.templates import fill_template
from dispense.xlsx.write import atomic_write

ROOT = Path(__file__).resolve().parents[1]
STAMP = "2026-03-01 12:00"
posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals and limits")


def run(capsys, *arguments: str) -> tuple[int, list[str]]:
    """The exit code of a command and the lines it wrote."""
    code = cli.main([str(item) for item in arguments])
    caught = capsys.readouterr()
    return code, (caught.out + caught.err).splitlines()


def one_line(capsys, *arguments, words: str = "") -> str:
    code, lines = run(capsys, *arguments)
    assert (code, len(lines)) == (1, 1), lines
    assert re.search(words, lines[0]), lines
    assert "Traceback" not in lines[0] and len(lines[0]) < 900 + max(map(len, map(str, arguments)))
    return lines[0]


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# -------------------------------------------------------------------------------- killed at any time

KILLER = """
    import json, os, random, re, signal, sys, time
    from pathlib import Path
    from dispense.addin import excel
    from dispense.fill import fill
    from dispense.books.plan import new_plan
    from dispense.jobs.book import book_files
    from dispense.jobs.forecast import forecast_file
    from dispense.journal.store import journal_path, read_journal

    what, plan, out, allowed, seed, kills = sys.argv[1:]
    draw, out = random.Random(int(seed)), Path(out)
    whole = {}
    for folder in json.loads(allowed):
        for path in Path(folder).rglob("*.*"):
            whole.setdefault(str(path.relative_to(folder)), set()).add(path.read_bytes())

    def work(turn):
        if what == "fill":
            fill(plan, out, stamp=f"stamp {turn % 2}")
        elif what == "forecast":
            forecast_file(
                plan, weeks=1, draws=10, seed=turn % 2, what_if=False, out=out / "weeks.xlsx",
                tables=out / "tables", upload=out / "orders.csv",
            )
        elif what == "book":
            book_files(out / "plan.xlsx", [out / "actuals.csv"], stamp="2026-03-03 06:00")
        elif what == "install":
            os.environ["APPDATA"] = str(out)
            excel.startup_folder = lambda: out / "XLSTART"
            excel.sys.executable = f"python{turn % 2}"
            excel.install()
        else:
            new_plan(out / f"new {turn}.xlsx")

    def wrong_journal():
        # the journal of a killed booking is whole, and the next booking mends it
        path = journal_path(out / "plan.xlsx")
        before = read_journal(path).bookings
        work(0)
        journal = read_journal(path)
        told = [] if len(before) in (0, 1) and len(journal.bookings) == 1 else [len(before)]
        if len(journal.current()) != 3:
            told.append(str(journal.current()))
        for file in out.glob("plan*journal*"):
            file.unlink()
        return told

    # how long the work takes here and now, once all is loaded
    for turn in range(2):
        began = time.perf_counter()
        work(turn)
        longest = time.perf_counter() - began
        if what == "book":
            wrong_journal()
    killed, wrong = 0, []
    for turn in range(5 * int(kills)):
        if killed == int(kills):
            break
        child = os.fork()
        if not child:
            work(turn)
            os._exit(0)
        time.sleep(draw.uniform(0, longest))
        os.kill(child, signal.SIGKILL)
        killed += os.WIFSIGNALED(os.waitpid(child, 0)[1])
        if what == "book":
            wrong += wrong_journal()
        for path in out.rglob("*"):
            if path.is_dir():
                continue
            name = "new.xlsx" if what == "new" else str(path.relative_to(out))
            if path.name.startswith(".dispense-") and path.suffix == ".tmp":
                if not os.environ["LEFT"]:
                    path.unlink()  # what a kill leaves is known by its name
            elif what == "forecast" and name == "tables/datapackage.json":
                json.loads(path.read_bytes())  # it may name what is still to be written
            elif path.read_bytes() not in whole.get(name, ()):
                wrong.append([turn, str(path), path.stat().st_size])
    if os.environ["LEFT"]:
        work(0)  # a run that is not killed
        left = [str(path) for path in out.rglob(".dispense-*")]
        wrong += left
    print(json.dumps([killed, wrong]))
"""


def kill_often(
    what: str,
    plan: Path,
    out: Path,
    allowed: list[Path],
    kills: int,
    *,
    scratch: Path | None = None,
    is_left: bool = False,
) -> None:
    """Start the work until it was killed so often at a random moment, look at every file there is.

    `allowed` are folders with the files as they may be; no other file may be there. `scratch` takes the
    place of the system's folder for temporary files. Where what a kill leaves `is_left`, the next run must
    have removed it.
    """
    environment = dict(os.environ)
    if scratch is not None:
        scratch.mkdir()
        environment["TMPDIR"] = str(scratch)
    found = subprocess.run(
        [
            sys.executable,
            "-c",
            textwrap.dedent(KILLER),
            what,
            str(plan),
            str(out),
            json.dumps([str(path) for path in allowed]),
            "3",
            str(kills),
        ],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=3600,
        env=environment | {"LEFT": "yes" if is_left else ""},
    )
    assert found.returncode == 0, found.stderr
    killed, wrong = json.loads(found.stdout.splitlines()[-1])
    assert wrong == []
    assert scratch is None or not list(scratch.glob(".dispense-*"))
    assert killed == kills


@pytest.fixture(scope="module")
def stamped(tmp_path_factory):
    """A light plan and folders of its sheets with either stamp."""
    folder = tmp_path_factory.mktemp("stamped")
    plan = light_plan(folder / "plan.xlsx")
    for turn in range(2):
        fill(plan, folder / str(turn), stamp=f"stamp {turn}")
    return plan, [folder / "0", folder / "1"]


def killed_fills(stamped, out: Path, kills: int) -> None:
    plan, versions = stamped
    before = plan.read_bytes()
    fill(plan, out, stamp="stamp 1")
    kill_often("fill", plan, out, versions, kills)
    assert plan.read_bytes() == before
    fill(plan, out, stamp="stamp 0")  # and the next run mends it
    assert contents(out) == contents(versions[0])


@posix
def test_a_fill_killed_at_40_random_moments(stamped, tmp_path):
    killed_fills(stamped, tmp_path / "out", 40)


@posix
@pytest.mark.slow
def test_a_fill_killed_at_200_random_moments(stamped, tmp_path):
    killed_fills(stamped, tmp_path / "out", 200)


def killed_forecasts(tmp_path: Path, kills: int) -> None:
    """Workbook, tables and upload are those of the one seed or of the other; the next run leaves no rest."""
    rows = hand_rows()
    rows["Stations"][0]["meter_tolerance"] = 0.05
    plan, out = light_plan(tmp_path / "plan.xlsx", rows), tmp_path / "out"
    versions = [tmp_path / "0", tmp_path / "1"]
    for seed, folder in enumerate([*versions, out]):
        folder.mkdir()
        forecast(plan, folder, seed % 2)
    said = (out / "tables" / "datapackage.json").read_bytes()
    assert contents(versions[0]) != contents(versions[1])
    kill_often("forecast", plan, out, versions, kills, is_left=True)
    forecast(plan, out, 1)
    assert contents(out) == contents(versions[1])
    (out / "tables" / "datapackage.json").write_bytes(said)


def forecast(plan: Path, out: Path, seed: int) -> None:
    """What the killer runs."""
    forecast_file(
        plan,
        weeks=1,
        draws=10,
        seed=seed,
        what_if=False,
        out=out / "weeks.xlsx",
        tables=out / "tables",
        upload=out / "orders.csv",
    )


@posix
def test_a_forecast_killed_at_6_random_moments(tmp_path):
    killed_forecasts(tmp_path, 6)


@posix
@pytest.mark.slow
def test_a_forecast_killed_at_200_random_moments(tmp_path):
    killed_forecasts(tmp_path, 200)


@posix
def test_the_first_run_with_tables_killed_on_the_way_is_no_foreign_folder(tmp_path, monkeypatch):
    """The list of the folder is written first, so that the next run knows the files as ours."""
    plan = light_plan(tmp_path / "plan.xlsx")
    real, count = tables_module.atomic_write, iter(range(4))

    def dies(*arguments, **options):
        if next(count) == 3:
            raise KeyboardInterrupt
        return real(*arguments, **options)

    monkeypatch.setattr(tables_module, "atomic_write", dies)
    with pytest.raises(KeyboardInterrupt):
        forecast(plan, tmp_path, 0)
    monkeypatch.undo()
    forecast(plan, tmp_path, 0)
    clean = tmp_path / "clean"
    clean.mkdir()
    forecast(plan, clean, 0)
    assert contents(tmp_path / "tables") == contents(clean / "tables")


BOOKED = """What,Date,Time,Station,Part,Material,Component,Lot,Containers,Mass [kg],Pieces,Reference
received,2026-03-02,,,,Bond 60,A,A7,3,,,DN-1
opened,2026-03-02,06:05,hem,,,A,A1,,,,
made,2026-03-02,14:00,hem,frame,,,,,,20,
"""


def killed_bookings(tmp_path: Path, kills: int) -> None:
    """A booking is whole or not there, and books nothing twice when it is done again."""
    light_plan(tmp_path / "plan.xlsx")
    (tmp_path / "actuals.csv").write_text(BOOKED, encoding="utf-8")
    kill_often("book", tmp_path / "plan.xlsx", tmp_path, [tmp_path], kills)


@posix
def test_a_booking_killed_at_10_random_moments(tmp_path):
    killed_bookings(tmp_path, 10)


@posix
@pytest.mark.slow
def test_a_booking_killed_at_200_random_moments(tmp_path):
    killed_bookings(tmp_path, 200)


def killed_installs(tmp_path: Path, kills: int) -> None:
    """The add-in in the folder of Excel is the old one or the new one; no scratch folder of ours stays."""
    pytest.importorskip("pyopenvba")
    out, versions = tmp_path / "out", [tmp_path / "0", tmp_path / "1"]
    for turn, folder in enumerate([*versions, out]):
        (folder / "XLSTART").mkdir(parents=True)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(excel, "startup_folder", lambda folder=folder: folder / "XLSTART")
            patch.setattr(excel.sys, "executable", f"python{turn % 2}")
            excel.install()
    kill_often("install", tmp_path, out, versions, kills, scratch=tmp_path / "scratch", is_left=True)


@posix
def test_an_installation_killed_at_5_random_moments(tmp_path):
    killed_installs(tmp_path, 5)


@posix
@pytest.mark.slow
def test_an_installation_killed_at_200_random_moments(tmp_path):
    killed_installs(tmp_path, 200)


@posix
def test_a_new_plan_killed_at_random_moments_is_whole_or_not_there(tmp_path):
    (tmp_path / "whole").mkdir()
    cli.main(["new", str(tmp_path / "whole" / "new.xlsx")])
    (tmp_path / "out").mkdir()
    kill_often("new", tmp_path, tmp_path / "out", [tmp_path / "whole"], 20)


@posix
def test_a_write_killed_in_the_middle_leaves_the_old_file(tmp_path):
    """The kill falls while the new bytes are being written, which a random moment may miss."""
    target = tmp_path / "sheet.xlsx"
    target.write_bytes(b"old")
    code = textwrap.dedent(f"""
        import os, signal
        from dispense.xlsx.write import atomic_write
        def half(stream):
            stream.write(b"new" * 1000)
            stream.flush()
            os.kill(os.getpid(), signal.SIGKILL)
        atomic_write({str(target)!r}, half)
    """)
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT)
    assert found.returncode == -9
    assert target.read_bytes() == b"old"
    assert [path.name for path in tmp_path.glob("*.xlsx")] == ["sheet.xlsx"]


# ------------------------------------------------------------------------ what a system can refuse


@pytest.fixture
def plan(tmp_path) -> Path:
    return light_plan(tmp_path / "plan.xlsx")


def test_a_file_open_elsewhere(plan, tmp_path, capsys, monkeypatch):
    """Some systems refuse to replace or to read a file that a spreadsheet holds open."""
    fill(plan, tmp_path / "out", stamp=STAMP)
    before = contents(tmp_path / "out")

    def locked(*_):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(write.os, "replace", locked)
    monkeypatch.setattr(write.os, "link", locked)
    line = one_line(capsys, "fill", plan, "--out", tmp_path / "out")
    assert "not allowed to write here" in line and "open in a spreadsheet" in line
    line = one_line(capsys, "new", tmp_path / "new.xlsx")
    assert "new.xlsx: cannot be written" in line
    assert contents(tmp_path / "out") == before  # no temporary file is left either
    assert not (tmp_path / "new.xlsx").exists()


def test_a_plan_that_may_not_be_read(plan, capsys, monkeypatch):
    import builtins

    true_open = builtins.open

    def locked(file, *rest, **more):
        if str(file) == str(plan):
            raise PermissionError(errno.EACCES, "Permission denied")
        return true_open(file, *rest, **more)

    monkeypatch.setattr(builtins, "open", locked)
    assert "it may be open elsewhere" in one_line(capsys, "check", plan, words="plan.xlsx: cannot be read")


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "quota"),
        (errno.EROFS, "read-only"),
        (errno.EIO, "cannot be written"),
    ],
)
def test_what_the_disk_refuses(plan, tmp_path, capsys, monkeypatch, number, words):
    fill(plan, tmp_path / "out", stamp=STAMP)
    before = contents(tmp_path / "out")

    def failing(handle):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(write.os, "fsync", failing)
    one_line(capsys, "fill", plan, "--out", tmp_path / "out", words=words)
    one_line(capsys, "new", tmp_path / "new.xlsx", words=words)
    assert contents(tmp_path / "out") == before
    assert not (tmp_path / "new.xlsx").exists()


def command(*arguments, before=None) -> subprocess.CompletedProcess:
    """A command in a process of its own; `before` runs in it first."""
    return subprocess.run(
        [sys.executable, "-m", "dispense.cli", *map(str, arguments)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        preexec_fn=before,
    )


@posix
def test_a_file_that_grows_past_a_real_limit(plan, tmp_path):
    """The system itself refuses the bytes (setrlimit, RLIMIT_FSIZE)."""
    found = command(
        "fill",
        plan,
        "--out",
        tmp_path / "out",
        before=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000)),
    )
    assert found.returncode == 1
    assert re.fullmatch(r".*results\.xlsx: cannot be written: .*\n", found.stderr)
    assert contents(tmp_path / "out") == {}


@posix
def test_a_disk_that_is_really_full(plan, tmp_path):
    """A disk of 32 kB in memory, where the system lets us make one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    script = (
        f"mount -t tmpfs -o size=32k none {disk} || exit 99; "
        f"exec {sys.executable} -m dispense.cli fill {plan} --out {disk}/out"
    )
    unshare = shutil.which("unshare")
    if unshare is None or os.geteuid() != 0:
        pytest.skip("only root may mount a disk")
    found = subprocess.run([unshare, "-m", "sh", "-c", script], cwd=ROOT, capture_output=True, text=True)
    if found.returncode == 99 or found.stderr.startswith("unshare"):
        pytest.skip("no right to mount a disk")
    assert found.returncode == 5 and not found.stderr  # what could not be written is told, file by file
    told = [line for line in found.stdout.splitlines() if line.startswith("not written: ")]
    assert told and all("cannot be written: the disk is full" in line for line in told), found.stdout


def as_ordinary_user() -> None:
    """Root without its right to write anywhere (capabilities(7): CAP_DAC_OVERRIDE is 1)."""
    import ctypes

    if os.geteuid() == 0:
        for capability in (1, 2):
            ctypes.CDLL(None).prctl(24, capability, 0, 0, 0)  # PR_CAPBSET_DROP


@pytest.mark.skipif(sys.platform != "linux", reason="capabilities of Linux")
def test_a_folder_that_is_read_only(plan, tmp_path):
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o555)
    try:
        for arguments in (
            ("fill", plan, "--out", locked),
            ("new", locked / "plan.xlsx"),
            ("fill", plan, "--out", locked / "deeper"),
        ):
            found = command(*arguments, before=as_ordinary_user)
            assert found.returncode == 1, found
            assert len(found.stderr.splitlines()) == 1, found.stderr
            assert str(locked) in found.stderr
            assert re.search("not allowed to write|cannot be made", found.stderr)
        assert list(locked.iterdir()) == []
    finally:
        locked.chmod(0o755)


# the longest name of a file is 255 bytes on most disks: 200 letters fit, 200 umlauts do not
LONG = "Schicht grün " + "n" * 182 + ".xlsx"


def test_names_with_spaces_umlauts_and_200_characters(tmp_path, capsys):
    assert len(LONG) == 200
    folder = tmp_path / "Straße Süd – Halle 3"
    folder.mkdir()
    assert run(capsys, "new", folder / LONG)[0] == 0
    plan = light_plan(folder / ("ä ö ü " + LONG[6:]))
    assert run(capsys, "check", plan)[0] == 0
    code, _ = run(capsys, "fill", plan, "--out", folder / ("ü" * 100))
    assert code == 0
    assert (folder / ("ü" * 100) / "results.xlsx").is_file()
    assert run(capsys, "fill", plan)[0] == 0  # the folder beside the plan has an even longer name


TOO_LONG = ["ü" * 195 + ".xlsx", "x" * 300 + ".xlsx", "a/" * 3000 + "b.xlsx", "nul\0.xlsx"]


@pytest.mark.parametrize("name", TOO_LONG)
def test_names_that_no_disk_takes(plan, tmp_path, capsys, name):
    one_line(capsys, "new", f"{tmp_path}/{name}")
    one_line(capsys, "check", f"{tmp_path}/{name}")
    code, lines = run(capsys, "fill", plan, "--out", f"{tmp_path}/{name}")
    assert code in (0, 1) and (code == 0 or len(lines) == 1), lines
    if len(name) < 250:
        return
    assert code == 1


def test_folders_that_are_files_and_files_that_are_folders(plan, tmp_path, capsys):
    (tmp_path / "file").write_text("x")
    one_line(capsys, "fill", plan, "--out", tmp_path / "file")
    one_line(capsys, "fill", plan, "--out", tmp_path / "file" / "deeper")
    one_line(capsys, "new", tmp_path / "no such folder" / "plan.xlsx", words="folder does not exist")
    one_line(capsys, "check", tmp_path, words="is a folder")
    one_line(capsys, "check", tmp_path / "none.xlsx", words="does not exist")
    one_line(capsys, "fill", plan, "--templates", tmp_path / "none", words="not a folder")
    (tmp_path / "out" / "results.xlsx").mkdir(parents=True)
    code, lines = run(capsys, "fill", plan, "--out", tmp_path / "out")  # the other files are written: 5
    assert code == 5 and any("not written" in line and "a folder has this name" in line for line in lines)


# ------------------------------------------------------------------------- inputs are never overwritten


def test_new_never_writes_over_a_file(tmp_path, capsys):
    target = tmp_path / "plan.xlsx"
    target.write_bytes(b"mine")
    one_line(capsys, "new", target, words="is there already")
    (tmp_path / "link.xlsx").symlink_to(tmp_path / "nowhere.xlsx")
    one_line(capsys, "new", tmp_path / "link.xlsx", words="is there already")
    one_line(capsys, "new", tmp_path / "link.xlsx", "--demo", words="is there already")
    assert target.read_bytes() == b"mine"
    assert not (tmp_path / "nowhere.xlsx").exists()


def test_a_file_that_appears_while_a_new_one_is_made_is_kept(tmp_path, capsys, monkeypatch):
    """Between the look and the write somebody else may save a file of that name."""
    target = tmp_path / "plan.xlsx"
    true_write = write._write_temporary

    def slow(real, content):
        temporary = true_write(real, content)
        target.write_bytes(b"somebody else's")
        return temporary

    monkeypatch.setattr(write, "_write_temporary", slow)
    one_line(capsys, "new", target, words="is there already")
    assert target.read_bytes() == b"somebody else's"
    assert [path.name for path in tmp_path.iterdir()] == ["plan.xlsx"]


@pytest.mark.parametrize("way", ["same", "symbolic link", "hard link", "folder link", "capitals"])
def test_a_plan_is_never_an_output(tmp_path, capsys, way):
    """The plan stands where an output would go, under its own name or another."""
    out = tmp_path / "out"
    out.mkdir()
    plan = light_plan(out / "results.xlsx")
    before = plan.read_bytes()
    target, given = out, plan
    if way == "symbolic link":
        given = tmp_path / "plan.xlsx"
        given.symlink_to(plan)
    elif way == "hard link":
        given = tmp_path / "plan.xlsx"
        os.link(plan, given)
    elif way == "folder link":
        target = tmp_path / "elsewhere"
        target.symlink_to(out, target_is_directory=True)
    elif way == "capitals":
        given = out / "Results.xlsx"
        if not given.exists():  # a disk that tells capitals apart: two files, no danger
            assert run(capsys, "fill", plan, "--out", tmp_path / "other")[0] == 0
            return
    one_line(capsys, "fill", given, "--out", target, words="never written over|not overwritten")
    assert contents(out) == {"results.xlsx": before}


def test_a_template_is_never_an_output(plan, tmp_path, capsys):
    own = tmp_path / "own"
    shutil.copytree(template_folder(), own)
    before = contents(own)
    one_line(
        capsys, "fill", plan, "--templates", own, "--out", own, words="never written over|not overwritten"
    )
    assert contents(own) == before
    os.link(own / "results.xlsx", tmp_path / "results.xlsx")
    one_line(
        capsys,
        "fill",
        plan,
        "--templates",
        own,
        "--out",
        tmp_path,
        words="never written over|not overwritten",
    )
    assert contents(own) == before


def test_no_output_ever_changes_plan_or_templates(plan, tmp_path, capsys):
    own = tmp_path / "own"
    shutil.copytree(template_folder(), own)
    for path in (plan, *own.iterdir()):
        path.chmod(0o444)
    before = contents(own) | {"plan": plan.read_bytes()}
    assert run(capsys, "fill", plan, "--templates", own, "--out", tmp_path / "out")[0] == 0
    assert contents(own) | {"plan": plan.read_bytes()} == before


def test_a_write_keeps_the_permissions_and_follows_links(tmp_path):
    real = tmp_path / "real.xlsx"
    real.write_bytes(b"old")
    real.chmod(0o640)
    (tmp_path / "link.xlsx").symlink_to(real)
    atomic_write(tmp_path / "link.xlsx", b"new")
    assert (tmp_path / "link.xlsx").is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_mode & 0o777 == 0o640


# ------------------------------------------------------------------------------- parts of templates


def test_hidden_sheets_and_protection_stay_part_by_part():
    """Hidden and very hidden sheets, a protected sheet with open and locked cells."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out)
    card, hidden, very = (book.add_worksheet(name) for name in ("Card", "Hidden", "Very"))
    hidden.hide()
    very.very_hidden()
    hidden.write("A1", "kept")
    hidden.protect("secret", {"sort": True})
    card.protect("other", {"format_cells": True})
    card.write("A1", "open", book.add_format({"locked": False}))
    card.write("B1", "locked", book.add_format({"hidden": True}))
    card.add_table("A3:B5", {"name": "Shots", "columns": [{"header": "Part"}, {"header": "Count"}]})
    card.unprotect_range("A4:B5", "Entry")
    book.define_name("day", "=Card!$A$1")
    book.close()
    before = Package.open(out.getvalue())
    filled = fill_template(out.getvalue(), {"day": "Monday"}, {"Shots": [{"Part": "a", "Count": 1}] * 4})
    after = filled.package
    assert {item.part for item in compare(before, after)} == {
        "xl/worksheets/sheet1.xml",
        "xl/tables/table1.xml",
        "xl/sharedStrings.xml",  # the texts that came
    }
    assert after.shared_strings[: len(before.shared_strings)] == before.shared_strings
    assert [(sheet.name, sheet.state) for sheet in after.sheets] == [
        ("Card", "visible"),
        ("Hidden", "hidden"),
        ("Very", "veryHidden"),
    ]
    pattern = rb"<sheetProtection[^>]*>"
    texts = before.read("xl/worksheets/sheet1.xml"), after.read("xl/worksheets/sheet1.xml")
    assert re.findall(pattern, texts[0]) == re.findall(pattern, texts[1]) != []
    style = rb'r="%s" s="(\d+)"'
    for cell in (b"A1", b"B1"):
        assert re.findall(style % cell, texts[0]) == re.findall(style % cell, texts[1]) != []
    assert b'<protectedRange sqref="A4:B7" name="Entry"' in texts[1]  # it grows with the table


# --------------------------------------------------------------------------------- hostile workbooks

CPU_SECONDS, MEMORY = 60, 3 * 2**30


def bounded() -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def changed(data: bytes, part: str, change) -> bytes:
    """A workbook with one part changed, or added where it is not there."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        for name in names:
            new.writestr(name, change(old.read(name)) if name == part else old.read(name))
        if part not in names:
            new.writestr(part, change(b""))
    return out.getvalue()


PARTS_SHEET = "xl/worksheets/sheet3.xml"  # the third table of the plan worked by hand


def in_sheet(old: bytes, new: bytes):
    def change(text: bytes) -> bytes:
        assert old in text
        return text.replace(old, new, 1)

    return change


def random_text(size: int) -> bytes:
    draw = random.Random(5)
    return bytes(draw.choices(b"abcdefghijklmnopqrstuvwxyz0123456789", k=size))


END = b"</sheetData>"
TEXT = b'<row r="%d"><c r="A%d" t="inlineStr"><is><t>%s</t></is></c></row></sheetData>'
CIRCLE = b'<row r="3"><c r="A3"><f>A4</f></c></row><row r="4"><c r="A4"><f>A3</f></c></row></sheetData>'

#: what is changed in which part, and what the line says ("." where reading past it is as good)
HOSTILE = {
    "zip bomb": ("xl/media/x.xml", lambda _: b" " * (40 * 2**20), "times its size"),
    "bomb in a sheet": (
        PARTS_SHEET,
        in_sheet(b"<sheetData>", b"<sheetData>" + b" " * (40 * 2**20)),
        "times its size",
    ),
    "entities": (
        PARTS_SHEET,
        lambda text: b'<!DOCTYPE x [<!ENTITY a "aa"><!ENTITY b "&a;&a;&a;">]>' + text,
        "document type or entities",
    ),
    "outside entity": (
        PARTS_SHEET,
        lambda text: b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>' + text,
        "document type or entities",
    ),
    "climbing name": ("../../etc/cron.d/x", lambda _: b"x", "no workbook part may have"),
    "rooted name": ("/etc/x", lambda _: b"x", "no workbook part may have"),
    "deep nesting": (PARTS_SHEET, in_sheet(END, b"<x>" * 100_000 + b"</x>" * 100_000 + END), "."),
    "10 MB of text": (
        PARTS_SHEET,
        in_sheet(END, TEXT % (3, 3, random_text(10 * 2**20))),
        r"Parts!A3: part is .*2000 char",
    ),
    "100,000 columns": (
        PARTS_SHEET,
        in_sheet(END, b'<row r="3">' + b"<c><v>1</v></c>" * 100_000 + b"</row>" + END),
        ".",
    ),
    "16,384 columns": (
        PARTS_SHEET,
        in_sheet(b"</row>", b'<c r="XFD1" t="inlineStr"><is><t>end</t></is></c></row>'),
        r"Parts!XFD1: the table reaches past column 200",
    ),
    "a cell past the last column": (
        PARTS_SHEET,
        in_sheet(b"</row>", b'<c r="XFE1"><v>1</v></c></row>'),
        r"Parts!XFD1: the table reaches past column 200",
    ),
    "the last row": (
        PARTS_SHEET,
        in_sheet(END, TEXT % (1048576, 1048576, b"x")),
        r"Parts!A\d+: the table has more than 200000 rows",
    ),
    "a row past the last": (PARTS_SHEET, in_sheet(END, TEXT % (99999999, 99999999, b"x")), "."),
    "two million strings": (
        "xl/sharedStrings.xml",
        lambda text: text.replace(b"</sst>", b"<si/>" * 2_000_000 + b"</sst>"),
        ".",
    ),
    "no formula value": (PARTS_SHEET, in_sheet(END, CIRCLE), r"Parts!A3: part is a formula whose value"),
}


@pytest.fixture(scope="module")
def plan_data(tmp_path_factory) -> bytes:
    return light_plan(tmp_path_factory.mktemp("plan") / "plan.xlsx").read_bytes()


@posix
@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_plans_end_in_clear_lines_within_bounds(case, plan_data, tmp_path):
    part, change, words = HOSTILE[case]
    path = tmp_path / "plan.xlsx"
    path.write_bytes(changed(plan_data, part, change))
    found = command("check", path, before=bounded)
    lines = (found.stdout + found.stderr).splitlines()
    harmless = words == "."  # where reading past it is as good an end as a refusal
    assert found.returncode == 1 or (harmless and found.returncode == 0), lines
    assert "Traceback" not in found.stderr
    if found.returncode == 1:  # a plan that is read has its findings below the first line
        assert 1 <= len(lines) <= (2 if case == "no formula value" else 1), lines
    assert re.search(words, lines[0]), lines
    if found.returncode == 1:
        assert lines[0].startswith((str(path), "Parts!")), lines
    assert max(map(len, lines)) < 900
    if found.returncode == 0:
        return
    found = command("fill", path, "--out", tmp_path / "out", before=bounded)
    assert found.returncode == 1
    assert not (tmp_path / "out").exists()


def test_a_dimension_that_lies_is_not_believed(plan_data, tmp_path, capsys):
    path = tmp_path / "plan.xlsx"
    path.write_bytes(
        changed(
            plan_data,
            PARTS_SHEET,
            lambda text: re.sub(rb'<dimension ref="[^"]*"/>', b'<dimension ref="A1:XFD1048576"/>', text),
        )
    )
    began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert run(capsys, "check", path)[0] == 0
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - began < 100_000  # kB


def test_circular_and_outside_references_are_read_by_value(plan_data, tmp_path, capsys):
    """A plan's formulas are never computed here: the stored value counts, and nothing is fetched."""
    path = tmp_path / "plan.xlsx"
    formulas = (b"A3&amp;1", b"[1]Prices!A1", b'WEBSERVICE("http://127.0.0.1:9/")')
    row = (
        b"".join(
            b'<row r="%d"><c r="A%d" t="str"><f>%s</f><v>name %d</v></c></row>' % (n, n, formula, n)
            for n, formula in enumerate(formulas, 3)
        )
        + END
    )
    path.write_bytes(changed(plan_data, PARTS_SHEET, in_sheet(END, row)))
    assert run(capsys, "check", path)[0] == 0


# ------------------------------------------------------------------------------ text is never formula

INJECTED = [
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1+1",
    '=HYPERLINK("http://127.0.0.1/")',
    "=1+1",
    "%0a=1",
    "＝1+1",
]


def injected_rows(text: str):
    """A plan with the text in every name and note."""
    rows = hand_rows()
    for table in rows.values():
        for row in table:
            for key, value in row.items():
                if value in ("Bond 60", "frame", "hem", "early", "A1", "B1"):
                    row[key] = text + value
    rows["Materials"][0] |= {
        "description": text,
        "cautions": text,
        "pot_life_source": text,
        "surface_treatment": text,
    }
    rows["Stations"][0]["meter"] = text
    rows["Parts"][0]["description"] = text
    return rows


def formulas_in(path: Path) -> set[str]:
    with zipfile.ZipFile(path) as archive:
        return {
            found
            for name in archive.namelist()
            if name.startswith("xl/worksheets/")
            for found in re.findall(r"<f[^>]*>([^<]*)</f>", archive.read(name).decode())
        }


@pytest.mark.parametrize("text", INJECTED)
def test_text_of_a_plan_is_never_a_formula_in_an_output(text, tmp_path, capsys):
    harmless = light_plan(tmp_path / "harmless.xlsx")
    plan = light_plan(tmp_path / "plan.xlsx", injected_rows(text))
    for path, out in ((harmless, "one"), (plan, "two")):
        code, lines = run(capsys, "fill", path, "--out", tmp_path / out)
        assert code == 0, lines
    expected = {found for path in (tmp_path / "one").rglob("*.xlsx") for found in formulas_in(path)}
    for path in (tmp_path / "two").rglob("*.xlsx"):
        assert formulas_in(path) <= expected, path.name
        assert not path.name.startswith(tuple("=+-@\t"))
        for sheet in openpyxl.load_workbook(path).worksheets:
            for row in sheet.iter_rows():
                for cell in row:
                    if cell.data_type == "f":
                        assert "cmd" not in str(cell.value) and "HYPERLINK" not in str(cell.value)


@pytest.mark.parametrize("text", INJECTED)
def test_text_of_a_plan_is_never_a_formula_in_csv(text, tmp_path, capsys):
    plan = light_plan(tmp_path / "plan.xlsx", injected_rows(text))
    target = tmp_path / "forecast.csv"
    code, lines = run(capsys, "forecast", plan, "--weeks", "2", "--draws", "20", "--out", target)
    assert code == 0, lines
    rows = list(csv.reader(io.StringIO(target.read_text("utf-8-sig"))))
    cells = [cell for row in rows for cell in row]
    assert any("Bond 60" in cell for cell in cells)
    for cell in cells:
        if cell[:1] in "=+-@\t\r" and cell:
            float(cell)  # a negative number is the only cell that may begin so


# ------------------------------------------------------------------------------------ same bytes


@pytest.mark.parametrize("kind", ["new", "fill"])
def test_same_input_same_bytes_anywhere(kind, plan_data, tmp_path):
    """Two processes with other hash seeds, zones, languages, folders and masks."""
    (tmp_path / "plan.xlsx").write_bytes(plan_data)
    code = textwrap.dedent("""
        import os, sys
        os.umask(int(sys.argv[1], 8))
        from dispense.fill import fill
        from dispense.books.plan import new_plan
        if sys.argv[2] == "new":
            os.makedirs(sys.argv[4])
            new_plan(os.path.join(sys.argv[4], "plan.xlsx"), demo=True)
        else:
            fill(sys.argv[3], sys.argv[4], stamp="stamp")
    """)
    settings = [
        {"PYTHONHASHSEED": "1", "TZ": "Pacific/Auckland", "LANG": "C", "LC_ALL": "C", "umask": "022"},
        {
            "PYTHONHASHSEED": "99",
            "TZ": "America/St_Johns",
            "LANG": "de_DE.UTF-8",
            "LC_ALL": "",
            "umask": "077",
        },
    ]
    for place, setting in enumerate(settings):
        folder = tmp_path / f"cwd{place}"
        folder.mkdir()
        mask = setting.pop("umask")
        subprocess.run(
            [
                sys.executable,
                "-c",
                code,
                mask,
                kind,
                str(tmp_path / "plan.xlsx"),
                str(tmp_path / f"out{place}"),
            ],
            check=True,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(ROOT), **setting},
        )
    first, second = contents(tmp_path / "out0"), contents(tmp_path / "out1")
    assert list(first) == list(second) != []
    assert [name for name in first if first[name] != second[name]] == []
    mode = next((tmp_path / "out1").rglob("*.xlsx")).stat().st_mode & 0o777
    assert mode == 0o600  # the mask of the user holds for what is written


def test_only_the_stamp_differs_between_two_days(stamped):
    """Two fills with two stamps: the texts that differ are the stamps."""
    versions = [contents(folder) for folder in stamped[1]]
    assert versions[0].keys() == versions[1].keys() != set()
    for name in versions[0]:
        assert versions[0][name] != versions[1][name], name  # each sheet tells its run
        if name == "manifest.json":
            continue
        parts = [dict(_texts(version[name])) for version in versions]
        assert parts[0].keys() == parts[1].keys()
        for part, text in parts[0].items():
            assert text.replace("stamp 0", "stamp 1") == parts[1][part], (name, part)


def _texts(data: bytes):
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for item in archive.infolist():
            yield item.filename, archive.read(item).decode("utf-8", "replace")
            yield f"time of {item.filename}", str(item.date_time)
