"""Recalculation in LibreOffice Calc: the add-in beside Calc's own functions.

    python benchmarks/calc.py [--rows 10000] [--json]

Three things are timed, each for the add-in and for a native formula of the same result: a column
of scalar cells, one array formula over the same rows, and a longer closed form (pressure over a
nozzle) whose native spelling is a fair amount of typing. A LibreOffice profile of its own is made
and removed again. The best of several hard recalculations counts.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from pathlib import Path

from dispense.addin.calc.office import install
from dispense.addin.calc.session import Session

REPEATS = 5

# name, formula for row {r}, native formula for row {r}, and both over the whole column
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


def _best(calc: Session) -> float:
    return min(calc.calculate() for _ in range(REPEATS))


def measure(calc: Session, rows: int) -> list[dict[str, object]]:
    """Seconds of the best recalculation of each case, and the ratio to native formulas."""
    results: list[dict[str, object]] = []
    column = f"A1:A{rows}"
    for name, (own, native, own_array, native_array) in CASES.items():
        for kind, formulas in (("cells", (own, native)), ("one array", (own_array, native_array))):
            seconds, values = [], []
            for formula in formulas:
                calc.open()
                calc.fill(column, [[1 + row / rows] for row in range(rows)])
                if kind == "cells":
                    calc.fill(f"B1:B{rows}", [[formula.format(r=r, column=column)]
                                              for r in range(1, rows + 1)])  # fmt: skip
                else:
                    calc.array(f"B1:B{rows}", formula.format(r=1, column=column))
                seconds.append(_best(calc))
                values.append([row[0] for row in calc.get(f"B1:B{rows}")])
            worst = max(abs(a - b) / abs(b) for a, b in zip(*values, strict=True))
            results.append({
                "what": name, "kind": kind, "rows": rows, "add-in s": seconds[0],
                "native s": seconds[1], "ratio": seconds[0] / seconds[1],
                "largest relative difference": worst,
            })  # fmt: skip
    return results


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=10_000)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        profile = Path(folder) / "profile"
        install(profile=profile)
        with Session(profile) as calc:
            results = measure(calc, options.rows)
    if options.json:
        print(json.dumps(results, indent=2))
        return
    print(f"{'what':36}{'kind':11}{'add-in ms':>11}{'native ms':>11}{'ratio':>8}{'us/row':>9}")
    for row in results:
        own, native = 1e3 * float(str(row["add-in s"])), 1e3 * float(str(row["native s"]))
        print(f"{row['what']:36}{row['kind']:11}{own:11.1f}{native:11.2f}{row['ratio']:8.1f}"
              f"{1e3 * own / options.rows:9.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
