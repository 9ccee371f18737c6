"""Start of the package and of the command beside the import of numpy, each in a fresh process."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from . import Row, take_turns

ROOT = Path(__file__).resolve().parents[1]
HEAVY = ("numpy", "pandas", "pint", "scipy", "openpyxl", "lxml")
COMMAND = "import sys; from dispense.cli import main; sys.exit(main(sys.argv[1:]))"


def rows(quick: bool = False) -> Iterator[Row]:
    """Imports and commands, with compiled modules kept as an installed package has them."""
    turns = 3 if quick else 7
    with tempfile.TemporaryDirectory() as folder:
        environment = _environment(folder)

        def run(code: str, *arguments: str) -> str:
            done = subprocess.run(
                [sys.executable, "-c", code, *arguments],
                env=environment,
                capture_output=True,
                text=True,
                check=True,
            )
            return done.stdout

        def imported(names: str) -> float:
            code = (
                "import time; begin = time.perf_counter(); "
                f"import {names}; print(time.perf_counter() - begin)"
            )
            return float(run(code))

        inside = _medians(
            [
                lambda: imported("dispense"),
                lambda: imported("dispense.handbook.catalogue"),
                lambda: imported("numpy"),
            ],
            turns,
        )
        bare, full, numpy = inside
        yield Row(
            "import dispense",
            bare,
            numpy,
            2.0,
            beside="import numpy",
            note="functions are loaded on first use",
        )
        yield Row(
            "import dispense.handbook.catalogue: everything that can be called",
            full,
            numpy,
            2.0,
            beside="import numpy",
            note="numpy's own import is within",
        )
        loaded = _loaded(run, "--help")
        help_, call_, python = take_turns(
            lambda: run(COMMAND, "--help"),
            lambda: run(COMMAND, "call", "BEAD_AREA", "half-round", "6"),
            lambda: run("pass"),
            turns=turns,
        )
        yield Row(
            "dispense --help, whole process",
            help_,
            python,
            beside="an empty Python process",
            asked="no numpy, pandas or pint",
            kept=not {"numpy", "pandas", "pint"} & set(loaded),
            note=f"of {', '.join(HEAVY)} it loads {', '.join(loaded) or 'none'}",
        )
        yield Row(
            "dispense call BEAD_AREA half-round 6, whole process",
            call_,
            limit=0.35,
            note="" if call_ <= 0.35 else "numpy's import on a busy machine",
        )
        loaded = _loaded(run, "call", "BEAD_AREA", "half-round", "6")
        yield Row(
            "dispense call, beside python -c 'import numpy'",
            *take_turns(
                lambda: run(COMMAND, "call", "BEAD_AREA", "half-round", "6"),
                lambda: run("import numpy"),
                turns=turns,
            ),
            beside="a process that imports numpy",
            note=f"it loads {', '.join(loaded)}",
        )


def _environment(folder: str) -> dict[str, str]:
    """The environment with compiled modules kept in a folder of their own."""
    kept = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    path = os.pathsep.join(filter(None, (str(ROOT), kept.get("PYTHONPATH", ""))))
    return {**kept, "PYTHONPYCACHEPREFIX": folder, "PYTHONPATH": path}


def _medians(works: Sequence, turns: int) -> list[float]:
    """The median of what each work returns; they take turns, the first turn is not counted."""
    from statistics import median

    found = [[work() for work in works] for _ in range(turns + 1)]
    return [median(column) for column in zip(*found[1:], strict=True)]


def _loaded(run, *arguments: str) -> list[str]:
    """Which of the heavy packages a command loads."""
    code = (
        "import sys, atexit; from dispense.cli import main; "
        f"atexit.register(lambda: print('loaded', *[name for name in {HEAVY!r} if name in "
        "sys.modules])); main(sys.argv[1:])"
    )
    return run(code, *arguments).strip().splitlines()[-1].split()[1:]
