"""A mutation run: faults put into the planner one at a time, and whether the tests notice.

    python tests/golden/mutants.py --seed 7            # 100 mutants and the named faults
    python tests/golden/mutants.py --named             # the named alone
    python tests/golden/mutants.py --seed 7 --only 12  # one of them again, with the output of pytest

Candidates come from the syntax trees of the modules in `MODULES`: operators and comparisons exchanged,
min for max, hottest for coldest, A for B, low for high, a factor of 1.1, off by one, a term dropped,
arguments exchanged. Drawn with the seed, evenly over the modules; each is written into a copy of the
package and the golden tests and the tests of its topic run there until the first failure. It is run by
hand: two at a time on two cores a hundred take about an hour.
"""

from __future__ import annotations

import argparse
import ast
import concurrent.futures
import itertools
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "dispense"
DESELECTED: list[str] = []  # options for pytest
LONGEST = 900.0  # s; a mutant that runs longer is killed by its time

#: module of the package and the tests of its topic, quick ones first: amounts, materials, the shift and its
#: setup card, what the sheets say, and the reports
MODULES: dict[str, tuple[str, ...]] = {
    "plan/amounts.py": ("test_amounts.py", "test_sheets.py"),
    "plan/materials.py": ("test_amounts.py", "test_limits.py", "test_shift.py", "test_cure_report.py"),
    "plan/weather.py": ("test_moisture.py", "test_cure_times.py", "test_shift.py"),
    "shift/calendar.py": ("test_shift.py",),
    "shift/store.py": ("test_shift.py",),
    "shift/player.py": ("test_shift.py", "test_golden_line.py"),
    "shift/line.py": ("test_routes.py", "test_golden_line.py"),
    "shift/pace.py": ("test_routes.py", "test_golden_line.py"),
    "plan/routes.py": ("test_routes.py",),
    "reports/routes.py": ("test_routes.py",),
    "shift/results.py": ("test_shift.py", "test_sheets.py"),
    "shift/windows.py": ("test_shift.py", "test_cure_report.py", "test_sheets.py"),
    "shift/setup.py": ("test_sheets.py", "test_limits.py", "test_findings.py"),
    "shift/weighing.py": ("test_limits.py", "test_sheets.py"),
    "shift/cure_times.py": ("test_cure_times.py", "test_moisture.py"),
    **{
        f"sheets/{name}.py": ("test_sheets.py", "test_limits.py")
        for name in ("material", "setup", "board", "check", "staging", "line", "results", "pieces")
    },
    "reports/cure.py": ("test_cure_report.py",),
    "reports/runs.py": ("test_cure_report.py", "test_cure_times.py"),
    "reports/day.py": ("test_cure_report.py",),
    "reports/pour.py": ("test_cure_report.py", "test_runaway.py", "test_findings.py"),
    "handbook/press.py": ("test_pressed.py",),
    "reports/press.py": ("test_pressed.py", "test_cure_report.py"),
}


@dataclass(frozen=True)
class Mutant:
    """One change of one file: what stands at start:end is replaced."""

    file: str
    line: int
    start: int
    end: int
    new: str
    what: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.what}"


# --------------------------------------------------------------------------------------- candidates

OPERATORS: dict[type, str] = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.FloorDiv: "/"}
COMPARES: dict[type, str] = {
    ast.Lt: "<=",
    ast.LtE: "<",
    ast.Gt: ">=",
    ast.GtE: ">",
    ast.Eq: "!=",
    ast.NotEq: "==",
    ast.Is: "is not",
    ast.IsNot: "is",
    ast.In: "not in",
    ast.NotIn: "in",
}
NAMES = {
    "min": "max",
    "max": "min",
    "hottest": "coldest",
    "coldest": "hottest",
    "floor": "ceil",
    "ceil": "floor",
    "low": "high",
    "high": "low",
    "lag_slow": "lag_fast",
    "begun": "ended",
    "ended": "begun",
    "volume_ratio": "mass_ratio",
    "mass_ratio": "volume_ratio",
    "nozzle_bore": "mixer_bore",
    "mixer_length": "nozzle_length",
    "hot": "cold",
    "cold": "hot",
    "worst_low": "low",
    "worst_high": "high",
    "width": "height",
    "nominal": "high",
    "purge_volume": "mixer_volume",
    "start_volume": "end_volume",
    "first": "last",
    "last": "first",
    "usable": "heel",
    "opening": "closing",
    "started": "finished",
    "flow": "speed",
    "purges": "mixers",
    "sin": "cos",
    "mass_low": "mass_high",
    "mass_high": "mass_low",
}
TEXTS = {
    "a": "b",
    "b": "a",
    "mass": "volume",
    "purge": "change mixer",
    "moisture": "room",
    "oven": "room",
    "move": "join",
    "join": "test",
    "parts": "scrap",
    "heel": "expired",
    "mL": "g",
    "°C": "K",
}


class _Seeker(ast.NodeVisitor):
    """Walks a module and yields what could be changed."""

    def __init__(self, file: str, source: str):
        self.file, self.source = file, source
        self.offsets = [0]
        for line in source.encode().splitlines(keepends=True):
            self.offsets.append(self.offsets[-1] + len(line))
        self.raw = source.encode()
        self.found: list[Mutant] = []

    def span(self, node: ast.AST) -> tuple[int, int]:
        """Bytes of a node."""
        return (
            self.offsets[node.lineno - 1] + node.col_offset,
            self.offsets[node.end_lineno - 1] + node.end_col_offset,
        )

    def text(self, node: ast.AST) -> str:
        """Source of a node."""
        start, end = self.span(node)
        return self.raw[start:end].decode()

    def put(self, node: ast.AST, new: str, what: str) -> None:
        """A candidate."""
        start, end = self.span(node)
        old = " ".join(self.raw[start:end].decode().split())
        shown = " ".join(new.split())
        self.found.append(Mutant(self.file, node.lineno, start, end, new, f"{what}: {old} -> {shown}"))

    # what is no behaviour, or only words of an error
    def visit_Raise(self, node: ast.Raise) -> None:
        return

    def visit_Assert(self, node: ast.Assert) -> None:
        return

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_arguments(self, node: ast.arguments) -> None:
        return

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for item in node.body:
            self.visit(item)

    def visit_Import(self, node: ast.Import) -> None:
        return

    visit_ImportFrom = visit_Import  # type: ignore[assignment]

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):  # a docstring
            self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> None:
        if any(getattr(target, "id", "") == "__all__" for target in node.targets):
            return
        self.generic_visit(node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        return  # texts: the figures in them come from what is mutated elsewhere

    def visit_BinOp(self, node: ast.BinOp) -> None:
        left, right = self.text(node.left), self.text(node.right)
        words = any(
            isinstance(part, ast.JoinedStr)
            or (isinstance(part, ast.Constant) and isinstance(part.value, str))
            for part in (node.left, node.right)
        )
        sign = OPERATORS.get(type(node.op))
        if sign and not words:
            self.put(node, f"({left}) {sign} ({right})", "operator")
            if isinstance(node.op, ast.Add | ast.Sub):
                self.put(node, f"({left})", "term dropped")
            else:
                self.put(node, f"1.1 * ({self.text(node)})", "factor")
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        if len(node.ops) == 1:
            sign = COMPARES[type(node.ops[0])]
            self.put(
                node, f"({self.text(node.left)}) {sign} ({self.text(node.comparators[0])})", "comparison"
            )
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        word = " and " if isinstance(node.op, ast.Or) else " or "
        self.put(node, "(" + word.join(f"({self.text(item)})" for item in node.values) + ")", "and/or")
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not | ast.USub):
            self.put(node, f"({self.text(node.operand)})", "sign")
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        body, test, other = self.text(node.body), self.text(node.test), self.text(node.orelse)
        self.put(node, f"(({other}) if ({test}) else ({body}))", "branches exchanged")
        self.generic_visit(node)

    def visit_Name(self, node: ast.Name) -> None:
        if isinstance(node.ctx, ast.Load) and node.id in NAMES and NAMES[node.id] in ("min", "max"):
            self.put(node, NAMES[node.id], "name")

    def visit_Attribute(self, node: ast.Attribute) -> None:
        if isinstance(node.ctx, ast.Load) and node.attr in NAMES:
            value = self.text(node.value)
            self.put(node, f"{value}.{NAMES[node.attr]}", "name")
        self.visit(node.value)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, bool) or node.value is None:
            return
        if isinstance(node.value, int):
            self.put(node, f"({node.value + 1})", "off by one")
        elif isinstance(node.value, float):
            new = node.value * 1.1 if node.value else 1.0
            self.put(node, f"({new!r})", "constant")
        elif isinstance(node.value, str) and node.value in TEXTS:
            self.put(node, repr(TEXTS[node.value]), "text")

    def visit_Call(self, node: ast.Call) -> None:
        # the order of what min and max compare says nothing
        if isinstance(node.func, ast.Name | ast.Attribute) and self.text(node.func) not in ("min", "max"):
            plain = [item for item in node.args if not isinstance(item, ast.Starred)]
            for one, two in itertools.pairwise(plain):
                if (
                    isinstance(one, ast.Constant)
                    or isinstance(two, ast.Constant)
                    or len(plain) != len(node.args)
                ):
                    continue
                if self.text(one) != self.text(two):
                    start = self.span(one)[0]
                    end = self.span(two)[1]
                    between = self.raw[self.span(one)[1] : self.span(two)[0]].decode()
                    new = self.text(two) + between + self.text(one)
                    what = f"arguments exchanged: {self.text(one)} and {self.text(two)}"
                    self.found.append(Mutant(self.file, one.lineno, start, end, new, " ".join(what.split())))
        self.generic_visit(node)


def candidates() -> dict[str, list[Mutant]]:
    """All that could be changed, by module."""
    found: dict[str, list[Mutant]] = {}
    for name in MODULES:
        path = ROOT / PACKAGE / name
        source = path.read_text(encoding="utf-8")
        seeker = _Seeker(str(path.relative_to(ROOT)), source)
        seeker.visit(ast.parse(source))
        found[name] = seeker.found
    return found


def changed(source: str, mutant: Mutant) -> str:
    """The source with the fault in it."""
    raw = source.encode()
    return (raw[: mutant.start] + mutant.new.encode() + raw[mutant.end :]).decode()


def parses(mutant: Mutant) -> bool:
    """Whether the changed module is Python."""
    try:
        ast.parse(changed((ROOT / mutant.file).read_text(encoding="utf-8"), mutant))
    except SyntaxError:
        return False
    return True


def draw(seed: int, count: int) -> list[Mutant]:
    """Mutants drawn with the seed: each module its share, at least a few."""
    rng = random.Random(seed)
    pools = {name: rng.sample(items, len(items)) for name, items in sorted(candidates().items()) if items}
    chosen: list[Mutant] = []
    while len(chosen) < count and any(pools.values()):
        for name in list(pools):
            while pools[name] and len(chosen) < count:
                mutant = pools[name].pop()
                if parses(mutant):
                    chosen.append(mutant)
                    break
    return chosen


# ------------------------------------------------------------------------------------ by name

#: what was once put in at once and passed: (what, file, pattern, replacement); the last is read twice
NAMED: tuple[tuple[str, str, str, str], ...] = (
    ("flow A shown as B", "**/*.py", r'component_flows\.get\("a"\)', 'component_flows.get("b")'),
    ("by volume and by mass exchanged", "**/*.py", r"\{card\.volume_ratio:", "{card.mass_ratio:"),
    ("mass ratio × 1.1", "**/*.py", r"(100\.0 \* masses\[\"b\"\] / masses\[\"a\"\])", r"1.1 * \1"),
    (
        "hottest for coldest",
        "shift/setup.py",
        r"coldest, hottest = min\(record\), max\(record\)",
        "hottest, coldest = min(record), max(record)",
    ),
    ("half depth", "**/*.py", r"return float\(section_depth\(", "return 0.5 * float(section_depth("),
    ("one edge for two", "**/*.py", r"\(bead\.open_edges or BOTH_EDGES\)", "1"),
    ("as wide as it likes", "plan/amounts.py", r"bead\.flange_width or math\.inf", "math.inf"),
    (
        "quickest for slowest oven place, on the board",
        "shift/cure_times.py",
        r"oven\.lag_slow",
        "oven.lag_fast",
    ),
    ("quickest for slowest oven place, in the report", "reports/runs.py", r"oven\.lag_slow", "oven.lag_fast"),
)


def named() -> list[Mutant]:
    """The named faults where they would stand now; each wherever its file has it."""
    found = []
    for what, file, pattern, new in NAMED:
        for path in sorted((ROOT / PACKAGE).glob(file)):
            source = path.read_text(encoding="utf-8")
            match = re.search(pattern, source)
            if match:
                line = source.count("\n", 0, match.start()) + 1
                name = str(path.relative_to(ROOT))
                found.append(Mutant(name, line, 0, len(source.encode()), re.sub(pattern, new, source), what))
                break
        else:
            raise SystemExit(f"mutants: nothing in the package looks like {pattern} ({what})")
    return found


# ---------------------------------------------------------------------------------------------- run


@dataclass
class Outcome:
    """What became of one mutant."""

    mutant: Mutant
    killed: bool
    by: str
    seconds: float


def tests_of(mutant: Mutant) -> list[str]:
    """The golden tests, then those of the topic."""
    topic = MODULES.get(
        mutant.file.removeprefix(f"{PACKAGE}/"), ("test_sheets.py", "test_shift.py", "test_cure_report.py")
    )
    return [f"tests/{name}" for name in ("test_golden.py", *topic) if (ROOT / "tests" / name).exists()]


def copy_package(folder: Path) -> None:
    """The package into a folder of its own; what is not mutated beside it."""
    for name in (PACKAGE, "tests", "conftest.py", "pyproject.toml"):
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif source.exists():
            shutil.copy(source, folder / name)
    for name in ("workbook_templates", "examples", "docs"):
        if (ROOT / name).exists():
            (folder / name).symlink_to(ROOT / name)


def pytest(folder: Path, tests: list[str], *options: str) -> tuple[int, str]:
    """Exit code and the end of what pytest said."""
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:cacheprovider",
        "-m",
        "not libreoffice",
        *DESELECTED,
        *options,
        *tests,
    ]
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(folder)}
    try:
        done = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, text=True, timeout=LONGEST
        )
    except subprocess.TimeoutExpired:
        return 99, "took too long"
    return done.returncode, done.stdout[-4000:] + done.stderr[-1000:]


def run(mutant: Mutant, verbose: bool = False) -> Outcome:
    """One mutant in a copy of its own."""
    begin = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="mutant_") as name:
        folder = Path(name)
        copy_package(folder)
        path = folder / mutant.file
        path.write_text(changed(path.read_text(encoding="utf-8"), mutant), encoding="utf-8")
        code, words = pytest(folder, tests_of(mutant), "-x")
    if verbose:
        print(words)
    failed = re.findall(r"^(?:FAILED|ERROR) (\S+)", words, re.MULTILINE)
    by = "" if code == 0 else (failed[0] if failed else f"exit code {code}")
    return Outcome(mutant, code != 0, by, time.monotonic() - begin)


def is_green(numbered: list[tuple[int, Mutant]]) -> bool:
    """Whether the tests pass on the package as it is; else every mutant would seem killed."""
    tests = sorted({name for _, mutant in numbered for name in tests_of(mutant)})
    with tempfile.TemporaryDirectory(prefix="mutant_") as name:
        copy_package(Path(name))
        code, words = pytest(Path(name), tests)
    if code:
        print(f"the tests fail without any mutant:\n{words}")
    return code == 0


def main() -> int:
    """Draw, run, report."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--named", action="store_true", help="the named faults alone")
    parser.add_argument("--only", type=int, help="number of the one mutant to run")
    parser.add_argument("--list", action="store_true", help="print the mutants and do nothing")
    parser.add_argument(
        "--deselect", action="append", default=[], help="a test that fails anyway, as for pytest"
    )
    parser.add_argument("--skip-baseline", action="store_true", help="do not run the unchanged package first")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    DESELECTED.extend(f"--deselect={name}" for name in options.deselect)
    mutants = named() if options.named else [*named(), *draw(options.seed, options.count)]
    numbered = list(enumerate(mutants))
    if options.only is not None:
        numbered = [numbered[options.only]]
    if options.list:
        print("\n".join(f"{number:3d} {mutant}" for number, mutant in numbered))
        return 0
    if not options.skip_baseline and not is_green(numbered):
        return 2
    killed, survivors = 0, []
    with concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
        waiting = {pool.submit(run, mutant, options.only is not None): number for number, mutant in numbered}
        for future in concurrent.futures.as_completed(waiting):
            outcome, number = future.result(), waiting[future]
            killed += outcome.killed
            survivors += [] if outcome.killed else [(number, outcome.mutant)]
            state = f"killed by {outcome.by}" if outcome.killed else "SURVIVED"
            print(f"{number:3d} {outcome.seconds:5.0f} s {state}: {outcome.mutant}", flush=True)
    print(f"\n{killed} of {len(numbered)} killed (seed {options.seed})")
    for number, mutant in sorted(survivors):
        print(f"  survived {number}: {mutant}")
    return 0 if not survivors else 1


if __name__ == "__main__":
    raise SystemExit(main())
