"""Run the benchmarks and write `benchmarks/results.md`: `python -m benchmarks [NAME …] [--quick]`."""

from __future__ import annotations

import argparse
import datetime
import importlib
import os
import platform
import sys
from importlib.metadata import version
from pathlib import Path

from . import NAMES, Row

RESULTS = Path(__file__).with_name("results.md")
HEADERS = (
    "benchmark",
    "what",
    "ours",
    "beside",
    "its time",
    "ratio",
    "limit",
    "met",
    "what stands between, and remarks",
)
HEAD = """# Benchmarks

Written by `python -m benchmarks`. Ours and the reference take turns in one run and the median
counts; the times are those of one machine, only the ratios are meant to be read. A limit that is
not kept says what stands between.

"""


def main() -> int:
    """Measure what is named, all by default; lines of what is not measured anew are kept."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(NAMES)}")
    parser.add_argument("--quick", action="store_true", help="smaller cases; results.md is not written")
    options = parser.parse_args()
    unknown = [name for name in options.names if name not in NAMES]
    if unknown:
        parser.error(f"no benchmark is called {', '.join(unknown)}; there are {', '.join(NAMES)}")
    for name in options.names or NAMES:
        print(f"{name} …", file=sys.stderr)
        found = []
        for row in importlib.import_module(f"benchmarks.{name}").rows(options.quick):
            found.append(_line(name, row))
            print(found[-1], flush=True)
        if not options.quick:
            _write({**_kept(), name: found})
    return 0


def _line(name: str, row: Row) -> str:
    cells = (str(cell).replace("|", "/").replace("\n", " ") for cell in (name, *row.cells()))
    return f"| {' | '.join(cells)} |"


def _kept() -> dict[str, list[str]]:
    """Lines of the last results, by benchmark."""
    lines: dict[str, list[str]] = {}
    if RESULTS.exists():
        for line in RESULTS.read_text(encoding="utf-8").splitlines():
            name = line[2:].partition(" |")[0]
            if line.startswith("| ") and name in NAMES:
                lines.setdefault(name, []).append(line)
    return lines


def _write(lines: dict[str, list[str]]) -> None:
    table = [f"| {' | '.join(HEADERS)} |", "|" + "---|" * len(HEADERS)]
    for name in NAMES:
        table.extend(lines.get(name, ()))
    machine = (
        f"\nLast run {datetime.date.today()}: {platform.machine()}, {os.cpu_count()} processors, "
        f"{platform.system()}, Python {platform.python_version()}, numpy {version('numpy')}, "
        f"scipy {version('scipy')}, openpyxl {version('openpyxl')}.\n"
    )
    RESULTS.write_text(HEAD + "\n".join(table) + "\n" + machine, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
