"""Recalculation in LibreOffice Calc: the add-in beside Calc's own functions.

Three formulas are timed, each as a column of scalar cells and as one array formula over the same
rows: by the add-in, by a native formula of the same result, and by an add-in whose functions do
nothing, which shows what LibreOffice's bridge to Python takes by itself. A function of an add-in that
is compiled and comes with LibreOffice shows what a call to any add-in takes. LibreOffice profiles of
their own are made and removed again. Processor time of LibreOffice counts where the system tells it.
"""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Iterator
from pathlib import Path

from dispense.addin.calc.office import find_office, install
from dispense.addin.calc.session import Session
from dispense.errors import DispenseError

from . import Row, show

COUNT = 10_000
EMPTY = """

def method(function):
    \"\"\"A function that gives its range back, or 1.\"\"\"
    def nothing(self, *arguments):
        return next((value for value in arguments if type(value) is tuple), ((1.0,),))
    return nothing
"""

# name, formula for row {r}, native formula for row {r}, and both over the whole column
COMPILED = ("=GESTEP(A{r};0)", "=IF(A{r}>=0;1;0)")  # of the add-in "Analysis", and native
CASES = {
    "area of a half round bead": (
        '=DISPENSE.BEAD_AREA("half-round";A{r})', "=PI()*A{r}^2/8",
        '=DISPENSE.BEAD_AREA("half-round";{column})', "=PI()*{column}^2/8",
    ),
    "working life at a temperature": (
        "=DISPENSE.POT_LIFE(20+A{r};60;23;55)",
        "=60*EXP(55000/8.31446261815324*(1/(293.15+A{r})-1/296.15))",
        "=DISPENSE.POT_LIFE(20+{column};60;23;55)",
        "=60*EXP(55000/8.31446261815324*(1/(293.15+{column})-1/296.15))",
    ),
    "pressure over a nozzle, Newtonian": (
        "=DISPENSE.NOZZLE_PRESSURE(A{r};1.6;25;60)",
        "=128*60*0.025*A{r}*0.000001/(PI()*0.0016^4)/100000",
        "=DISPENSE.NOZZLE_PRESSURE({column};1.6;25;60)",
        "=128*60*0.025*{column}*0.000001/(PI()*0.0016^4)/100000",
    ),
}  # fmt: skip


def rows(quick: bool = False) -> Iterator[Row]:
    """Cells and arrays of 10,000 rows."""
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
        with Session(profiles[0]) as calc, Session(profiles[1]) as empty:
            compiled, plain = (_time(calc, formula, "cells")[0] for formula in COMPILED)
            yield Row(f"for comparison, compiled add-in that comes with LibreOffice: {COUNT:,} cells",
                      compiled, plain, beside="native formula",
                      note=f"{COMPILED[0].format(r=1)} beside {COMPILED[1].format(r=1)}")  # fmt: skip
            for name, formulas in CASES.items():
                yield from _case(name, formulas, calc, empty, 1 if quick else 2)


def _case(name: str, formulas: tuple, calc: Session, empty: Session, turns: int) -> Iterator[Row]:
    both = (("cells", formulas[:2], 10.0), ("rows in one array", formulas[2:], 2.0))
    for kind, (own, native), limit in both:
        spent: list[list[float]] = []
        for _ in range(turns):
            ours, found = _time(calc, own, kind)
            plain, expected = _time(calc, native, kind)
            nothing, _ = _time(empty, own, kind)
            spent.append([ours, plain, nothing])
        worst = max(abs(a - b) / abs(b) for a, b in zip(found, expected, strict=True))
        assert worst < 1e-9, f"{name}: the results differ by {worst}"
        ours, plain, nothing = (statistics.median(column) for column in zip(*spent, strict=True))
        note = (f"an add-in function that does nothing takes {show(nothing)} here, {nothing / plain:.2g}× "
                "the native formula: LibreOffice's bridge to Python; the rest is ours")  # fmt: skip
        yield Row(f"{name}: {COUNT:,} {kind}", ours, plain, limit, beside="native formula", note=note)


def _time(calc: Session, formula: str, kind: str) -> tuple[float, list[float]]:
    """Median seconds of a hard recalculation, and some of the results."""
    column = f"A1:A{COUNT}"
    calc.open()
    calc.fill(column, [[1 + row / COUNT] for row in range(COUNT)])
    if kind == "cells":
        calc.fill(f"B1:B{COUNT}", [[formula.format(r=row, column=column)]
                                   for row in range(1, COUNT + 1)])  # fmt: skip
    else:
        calc.array(f"B1:B{COUNT}", formula.format(r=1, column=column))
    calc.calculate()
    seconds = []
    for _ in range(5):
        before = _processor(calc)
        clock = calc.calculate()
        after = _processor(calc)
        seconds.append(clock if after is None or before is None else after - before)
    some = [*calc.get("B1:B20"), *calc.get(f"B{COUNT - 19}:B{COUNT}")]
    return statistics.median(seconds), [row[0] for row in some]


def _processor(calc: Session) -> float | None:
    """Seconds that LibreOffice has computed; None where the system does not tell."""
    parents: dict[int, int] = {}
    offices: list[int] = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            name, _, rest = path.read_text().partition(") ")
        except OSError:
            continue
        parents[int(path.parent.name)] = int(rest.split()[1])
        if name.endswith("(soffice.bin"):
            offices.append(int(path.parent.name))
    total, seen = 0.0, False
    for process in offices:
        above = process
        while above > 1 and above != calc._process.pid:
            above = parents.get(above, 0)
        if above == calc._process.pid:
            for path in Path(f"/proc/{process}/task").glob("*/schedstat"):
                total, seen = total + int(path.read_text().split()[0]) / 1e9, True
    return total if seen else None
