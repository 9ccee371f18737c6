"""Recalculation in LibreOffice Calc: the add-in beside Calc's own functions.

Three formulas are timed, each as a column of scalar cells and as one array formula: by the add-in, by
a native formula of the same result, and by an add-in whose functions do nothing, which shows what
LibreOffice's bridge to Python takes by itself. A function of an add-in that is compiled and comes with
LibreOffice shows what a call to any add-in takes.

It is what a user waits for: the command "Recalculate Hard" in the thread of the windows, of a program
that has opened a file with add-in functions itself, until the new numbers stand in the cells. (A thread
that has met Python by another way builds and drops Python's state at every call, and each takes three
times as long.) LibreOffice profiles of their own are made and removed again.
"""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Iterator
from pathlib import Path

from openpyxl import Workbook

from dispense.addin.calc.office import find_office, install
from dispense.addin.calc.session import Session
from dispense.base.errors import DispenseError

from . import Row, show

COUNT = 10_000
SHARE = 0.6  # of the time of a function that does nothing, that ours may take above it
EMPTY = """

def method(function):
    \"\"\"A function that gives its range back, or 1.\"\"\"
    def nothing(self, *arguments):
        return next((value for value in arguments if type(value) is tuple), ((1.0,),))
    return nothing
"""

# numbers, results, some of the results
COLUMN = (f"A1:A{COUNT}", f"B1:B{COUNT}", f"B{COUNT - 19}:B{COUNT}")
BLOCK = ("A1:CV100", "CX1:GS100", "GP81:GS100")
WATCHED = "A20000"

COMPILED = ("=GESTEP(A{r};0)", "=IF(A{r}>=0;1;0)")  # of the add-in "Analysis", and native
# name, formula for row {r}, native formula for row {r}, and both over all numbers
CASES = {
    "area of a half round bead": (
        '=DISPENSE.BEAD_AREA("half-round";A{r})',
        "=PI()*A{r}^2/8",
        '=DISPENSE.BEAD_AREA("half-round";{given})',
        "=PI()*{given}^2/8",
    ),
    "pot life at a temperature": (
        "=DISPENSE.POT_LIFE(20+A{r};60;23;55)",
        "=60*EXP(55000/8.31446261815324*(1/(293.15+A{r})-1/296.15))",
        "=DISPENSE.POT_LIFE(20+{given};60;23;55)",
        "=60*EXP(55000/8.31446261815324*(1/(293.15+{given})-1/296.15))",
    ),
    "pressure over a nozzle, Newtonian": (
        "=DISPENSE.NOZZLE_PRESSURE(A{r};1.6;25;60)",
        "=128*60*0.025*A{r}*0.000001/(PI()*0.0016^4)/100000",
        "=DISPENSE.NOZZLE_PRESSURE({given};1.6;25;60)",
        "=128*60*0.025*{given}*0.000001/(PI()*0.0016^4)/100000",
    ),
}


def rows(quick: bool = False) -> Iterator[Row]:
    """Cells and arrays of 10,000 numbers."""
    try:
        find_office()
    except DispenseError as error:
        yield Row("not measured", float("nan"), note=str(error))
        return
    with tempfile.TemporaryDirectory() as folder:
        profiles = [Path(folder) / name for name in ("own", "empty")]
        for profile in profiles:
            install(profile=profile)
        for module in profiles[1].rglob("addin/calc/cells.py"):
            module.write_text(module.read_text(encoding="utf-8") + EMPTY, encoding="utf-8")
        first, second = (_opened(Path(folder) / f"{profile.name}.xlsx") for profile in profiles)
        with Session(profiles[0], first) as calc, Session(profiles[1], second) as empty:
            compiled, plain = (_time(calc, formula, COLUMN)[0] for formula in COMPILED)
            yield Row(
                f"for comparison, compiled add-in that comes with LibreOffice: {COUNT:,} cells",
                compiled,
                plain,
                beside="native formula",
                note=f"{COMPILED[0].format(r=1)} beside {COMPILED[1].format(r=1)}",
            )
            for name, formulas in CASES.items():
                yield from _case(name, formulas, calc, empty, 1 if quick else 3)


def _opened(path: Path) -> Path:
    """A file with an add-in function in it."""
    book = Workbook()
    book.active["A1"] = '=DISPENSE.BEAD_AREA("round",1)'
    book.save(path)
    return path


def _case(name: str, formulas: tuple, calc: Session, empty: Session, turns: int) -> Iterator[Row]:
    array, plain_array = formulas[2:]
    turned = "=TRANSPOSE(" + array[1:].format(given="TRANSPOSE({given})") + ")"
    for area, own, native, limit, kind in (
        (COLUMN, *formulas[:2], 10.0, f"{COUNT:,} cells"),
        (BLOCK, array, plain_array, 2.0, "100 rows of 100 columns in one array"),
        (COLUMN, array, plain_array, 2.0, f"{COUNT:,} rows in one array"),
        (COLUMN, turned, plain_array, 2.0, f"{COUNT:,} rows in one array, by way of TRANSPOSE"),
    ):
        spent: list[list[float]] = []
        for _ in range(turns):
            ours, found = _time(calc, own, area)
            plain, expected = _time(calc, native, area)
            nothing, _ = _time(empty, own, area)
            spent.append([ours, plain, nothing])
        worst = max(abs(a - b) / abs(b) for a, b in zip(found, expected, strict=True))
        assert worst < 1e-9, f"{name}: the results differ by {worst}"
        ours, plain, nothing = (statistics.median(column) for column in zip(*spent, strict=True))
        note = (
            f"an add-in function that does nothing takes {show(nothing)} here, {nothing / plain:.2g}× "
            "the native formula: LibreOffice's bridge to Python; the rest is ours"
        )
        yield Row(f"{name}: {kind}", ours, plain, limit, beside="native formula", note=note)
        if "{r}" in own:
            yield Row(
                f"{name}: {kind}, our share",
                ours - nothing,
                nothing,
                SHARE,
                beside="an add-in function that does nothing",
            )


def _time(calc: Session, formula: str, area: tuple[str, str, str]) -> tuple[float, list[float]]:
    """Median seconds of a recalculation, and some of the results."""
    calc.open(None, False)
    given, wanted, some = area
    width = 1 if area is COLUMN else 100
    numbers = [1 + place / COUNT for place in range(COUNT)]
    calc.fill(given, [numbers[place : place + width] for place in range(0, COUNT, width)])
    if "{r}" in formula:
        calc.fill(wanted, [[formula.format(r=row)] for row in range(1, COUNT + 1)])
    else:
        calc.array(wanted, formula.format(given=given))
    calc.set(WATCHED, "=RAND()")
    seconds = [calc.recalculate(WATCHED) for _ in range(8)]
    return statistics.median(seconds), [value for row in calc.get(some) for value in row]
