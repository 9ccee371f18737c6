"""The docs: every example in them is run, pages made from declarations are current, links lead
somewhere, and the command behaves as the README says.

What the examples print is checked here against the pages only; that the figures are right is tested
beside each topic, against sources.
"""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
from fenced import Reader, blocks, commands, words_of
from pictures import assert_rows_of_today, pictured

from dispense.base.terminal import use_colour
from dispense.books.plan import new_plan
from dispense.cli import BAD_INPUT, DONE, USAGE, main, parser
from dispense.jobs.pages import PAGES

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
WRITTEN = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))]
TRIED = {
    "languages.md": {"console"},
    "tutorial.md": {"console", "change"},
    "engineer.md": {"console", "formula"},
    "floor.md": {"console", "change"},
    "planner.md": {"console", "change", "rows", "formula", "python"},
    "scripting.md": {"console", "python"},
    "theory.md": {"formula"},
    "theory-cure.md": {"formula"},
    "theory-spreading.md": {"console", "formula"},
    "cure.md": {"console", "python"},
}


@pytest.fixture(scope="module")
def demo_plan(tmp_path_factory) -> bytes:
    """The demo plan, made once."""
    target = tmp_path_factory.mktemp("demo") / "plan.xlsx"
    new_plan(target, demo=True)
    return target.read_bytes()


@pytest.fixture
def desk(tmp_path, demo_plan) -> Path:
    """The folder where the tutorial leaves its reader: beside the example scripts, with the demo plan."""
    folder = tmp_path / "demo"
    folder.mkdir()
    (folder / "plan.xlsx").write_bytes(demo_plan)
    (tmp_path / "examples").mkdir()
    for item in (ROOT / "examples").iterdir():
        if item.is_file():
            (tmp_path / "examples" / item.name).write_bytes(item.read_bytes())
    return folder


def checkout(folder: Path) -> None:
    """What the README's first command reads, with an environment that is set up already."""
    for name in ("examples/demo.sh", "tests/environment.sh", "pyproject.toml"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes((ROOT / name).read_bytes())
    programs = folder / ".venv" / "bin"
    programs.mkdir(parents=True)
    for name, words in (("python", ""), ("dispense", "-m dispense.cli ")):
        program = programs / name
        program.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" {words}"$@"\n')
        program.chmod(0o755)
    (programs / "activate").write_text('PATH="$(pwd)/.venv/bin:$PATH"\n')
    subprocess.run(["sh", "-c", 'echo " $(cksum pyproject.toml)" >.venv/installed'], cwd=folder, check=True)


# ------------------------------------------------------------------------------------- examples


@pytest.mark.parametrize("name", sorted(TRIED))
def test_examples(name, desk, tmp_path_factory):
    """Every command, formula and Python line of a page does what the page says."""
    folder = desk if name != "tutorial.md" else tmp_path_factory.mktemp("own")  # it begins with nothing
    reader = Reader(folder)
    reader.read(DOCS / name)
    assert set(reader.tried) >= TRIED[name]
    if name == "tutorial.md":
        folder = folder / "demo"
        # a round bead of 2 mm and one of 0.09 in: (0.09 × 25.4 / 2)² = 1.3064, by hand
        shots = [
            shot_on(folder / sheets / "2026-03-02_Early/Hem_robot_material.xlsx")
            for sheets in ("sheets", "wider")
        ]
        assert [f"{shot:.2f}" for shot in shots] == ["3.99", "5.21"]  # as the page says
        assert shots[1] / shots[0] == pytest.approx(1.306449, rel=1e-6)
        picture = next(item for item in pictured() if item[0] == "forecast")
        assert_rows_of_today("forecast", folder / picture[1], *picture[2:])


def test_the_first_command_of_the_readme(tmp_path):
    """It makes the demo plan and fills every sheet; the README names the file to begin with."""
    checkout(tmp_path)
    command = ["sh", "examples/demo.sh", "out/demo"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=600)
    assert done.returncode == DONE, done.stderr
    assert "428 files in" in done.stdout
    assert (tmp_path / "out/demo/sheets/2026-03-02_Early/Hem_robot_material.xlsx").is_file()
    assert "out/demo/sheets/2026-03-02_Early/Hem_robot_material.xlsx" in (ROOT / "README.md").read_text(
        "utf-8"
    )


def shot_on(path: Path) -> float:
    """What one part takes, as the shift material sheet says it."""
    for sheet in openpyxl.load_workbook(path):
        for cells in sheet.iter_rows(max_col=20):
            for cell in cells:
                if cell.value == "Shot [mL]":
                    return sheet.cell(cell.row + 1, cell.column).value
    raise AssertionError(f"{path}: no column Shot [mL]")


def test_every_command_shown_is_understood():
    """Commands in blocks that are only shown are at least parsed, with the options named beside."""
    shown = 0
    for page in WRITTEN:
        for block in blocks(page):
            lines = [line.strip() for line in block.lines]
            if block.kind == "console":
                lines = [command for command, _ in commands(block)]
            for line in lines:
                if not line.startswith("dispense "):
                    continue
                _, _, beside = line.partition("# --")
                options = words_of("--" + beside.partition("  ")[0]) if beside else []
                given = words_of(line)[1:] + options
                if "--help" in given:
                    continue
                shown += 1
                assert parser().parse_args(given).command == given[0], f"{page.name}: {line}"
    assert shown > 20


def test_examples_are_run_by_a_page():
    """No example script or table lies there without a page that shows its use."""
    pages = "\n".join(page.read_text(encoding="utf-8") for page in WRITTEN)
    for script in (ROOT / "examples").glob("*"):
        if script.suffix in {".py", ".csv"}:
            assert script.name in pages, script.name


# ---------------------------------------------------------------------------------------- pages


@pytest.mark.parametrize("name", sorted(PAGES))
def test_made_pages_are_current(name):
    """`python -m dispense.jobs.pages` would change nothing."""
    assert (DOCS / name).read_text(encoding="utf-8") == PAGES[name]()


def anchors(page: Path) -> set[str]:
    """The headings of a page as links name them."""
    heads = re.findall(r"^#+ +(.+?) *$", page.read_text(encoding="utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("page", WRITTEN, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    """Links to files and headings of this project."""
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if "://" in target:
            continue
        name, _, anchor = target.partition("#")
        path = (page.parent / name).resolve() if name else page
        assert path.exists(), f"{page.name}: {target}"
        if anchor:
            assert anchor in anchors(path), f"{page.name}: {target}"


def test_every_page_is_in_the_readme():
    """A reader finds each page from the README, or from a page named there."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    nearby = "\n".join(page.read_text(encoding="utf-8") for page in DOCS.glob("*.md")) + readme
    for page in DOCS.glob("*.md"):
        assert f"({page.name})" in nearby or f"(docs/{page.name})" in nearby, page.name


# -------------------------------------------------------------------------------------- command


def command_names() -> list[str]:
    """All commands."""
    actions = [action for action in parser()._actions if action.dest == "command"]
    return list(actions[0].choices)


@pytest.mark.parametrize("name", command_names())
def test_every_command_has_help(name, capsys):
    """`--help` of each command, every option explained."""
    with pytest.raises(SystemExit) as end:
        main([name, "--help"])
    assert end.value.code == DONE
    assert "--help" in capsys.readouterr().out
    actions = next(action for action in parser()._actions if action.dest == "command")
    for action in actions.choices[name]._actions:
        assert action.help, f"{name}: {action.dest} has no help"


def dispense(*words: str, **environment: str) -> subprocess.CompletedProcess:
    """The command in a process of its own, its output piped."""
    return subprocess.run(
        [sys.executable, "-m", "dispense.cli", *words],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=environment.pop("cwd", None),
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["forecast", "--help"]])
def test_help_loads_no_heavy_package(words):
    """Help comes at once: neither numpy, pandas, pint nor openpyxl is loaded for it."""
    script = (
        "import sys\nfrom dispense.cli import main\n"
        f"try: main({words!r})\nexcept SystemExit: pass\n"
        "print(*[name for name in ('numpy', 'pandas', 'pint', 'scipy', 'openpyxl', 'lxml') "
        "if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 0 and done.stdout
    assert done.stderr.strip() == ""


def test_exit_codes(desk, monkeypatch, capsys):
    """0 done, 1 problems in the input with one line each, 2 not understood."""
    monkeypatch.chdir(desk)
    assert main(["check", "plan.xlsx"]) == DONE
    capsys.readouterr()
    assert main(["check", "missing.xlsx"]) == BAD_INPUT
    told = capsys.readouterr()
    assert told.err.startswith("missing.xlsx: ") and told.err.count("\n") == 1 and not told.out
    assert main(["call", "BEAD_AREA", "rond", "-1"]) == BAD_INPUT
    assert capsys.readouterr().err.count("\n") == 2
    assert main(["fill", "plan.xlsx", "--date", "2020-01-01", "--shift", "Night"]) == BAD_INPUT
    assert capsys.readouterr().err.count("\n") == 2
    assert main([]) == USAGE
    assert "COMMAND" in capsys.readouterr().err
    for words in (["polish"], ["cure"], ["fill", "plan.xlsx", "--paper", "A5"]):
        with pytest.raises(SystemExit) as end:
            main(words)
        assert end.value.code == USAGE


def test_piped_output_is_plain(desk):
    """No escape codes and no progress line where output goes to a file or another program."""
    done = dispense(
        "fill", "plan.xlsx", "--out", "sheets", "--date", "2026-03-02", "--shift", "Late", cwd=str(desk)
    )
    assert done.returncode == DONE and "files in sheets" in done.stdout
    assert "\x1b" not in done.stdout + done.stderr and "\r" not in done.stdout + done.stderr
    assert done.stderr == ""


class Terminal:
    """Says of itself that it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_no_color(monkeypatch):
    """NO_COLOR (no-color.org): present and not empty means none; TERM=dumb takes none either."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert use_colour(Terminal())
    monkeypatch.setenv("NO_COLOR", "1")
    assert not use_colour(Terminal())
    monkeypatch.setenv("NO_COLOR", "")
    assert use_colour(Terminal())
    monkeypatch.setenv("TERM", "dumb")
    assert not use_colour(Terminal())


@pytest.mark.skipif(importlib.util.find_spec("pty") is None, reason="needs a Unix terminal")
@pytest.mark.parametrize(("quiet", "bold"), [("", True), ("1", False)])
def test_terminal_output(desk, quiet, bold):
    """On a real terminal headings are bold, unless NO_COLOR is set."""
    import pty

    ours, theirs = pty.openpty()
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm", "NO_COLOR": quiet}
    process = subprocess.Popen(
        [sys.executable, "-m", "dispense.cli", "forecast", "plan.xlsx", "--weeks", "1", "--draws", "20"],
        cwd=desk,
        stdout=theirs,
        stderr=subprocess.DEVNULL,
        env=environment,
    )
    os.close(theirs)
    printed = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        printed += piece
    os.close(ours)
    assert process.wait(timeout=60) == DONE
    assert b"Forecast" in printed
    assert (b"\x1b[" in printed) is bold
