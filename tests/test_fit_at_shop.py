"""What a fit says of the shop's temperature, and how its workbook draws ramps.

Measurements are drawn by scipy's solve_ivp from constants that are known, so that the truth is: the mean rate
at 23 °C by quadrature. Times at levels are checked with scipy's linregress.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.stats import linregress
from scipy.stats import t as student

from dispense.cli import main
from dispense.jobs.fit import fit_file

R = 8.31446261815324


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def ramps_csv(path, *, noise=0.01, level=None):
    """Three ramps of 2.5, 5 and 10 K/min by solve_ivp, E2 = 52 kJ/mol; `level` °C adds a run held there."""
    draw = np.random.default_rng(5)
    gas = R / 1e3

    def rate(kelvin, degree):
        k1, k2 = 4e6 * math.exp(-62.0 / gas / kelvin), 9e6 * math.exp(-52.0 / gas / kelvin)
        return (k1 + k2 * max(degree, 0.0) ** 0.7) * max(1.0 - degree, 0.0) ** 1.5

    lines = ["Time [min],Temperature [°C],Degree"]
    runs = [(beta, 20.0, 210.0 / beta) for beta in (2.5, 5.0, 10.0)]
    runs += [] if level is None else [(0.0, level, 1500.0)]
    for beta, start, end in runs:
        times = np.linspace(0.0, end, 21)
        course = solve_ivp(
            lambda t, a, beta=beta, start=start: [rate(273.15 + start + beta * t, a[0])],
            (0.0, end),
            [1e-9],
            t_eval=times,
            rtol=1e-8,
            atol=1e-11,
            method="LSODA",
        ).y[0]
        course = course + draw.normal(0.0, noise, course.size)
        lines += [f"{t:.3f},{start + beta * t:.2f},{a:.4f}" for t, a in zip(times, course, strict=True)]
    return write(path, "\n".join(lines) + "\n")


def mean_rate_at_shop():
    """To half cure at 23 °C, of the constants that `ramps_csv` draws with, by quadrature [1/min]."""
    gas, kelvin = R / 1e3, 296.15
    k1, k2 = 4e6 * math.exp(-62.0 / gas / kelvin), 9e6 * math.exp(-52.0 / gas / kelvin)
    return 0.5 / quad(lambda a: 1.0 / ((k1 + k2 * a**0.7) * (1.0 - a) ** 1.5), 0.0, 0.5, limit=400)[0]


def test_a_fit_of_ramps_says_what_it_knows_of_the_shop(tmp_path):
    """The truth of the draw lies within the factor told; ramps do not reach 23 °C, and that is told before
    the constants are offered; the headline names the term that makes the rate."""
    report = fit_file(ramps_csv(tmp_path / "ramps.csv"), "kamal", out=tmp_path / "fit.xlsx")
    shop, truth = report.at_shop, mean_rate_at_shop()
    assert 1.0 < shop.factor < 2.0
    assert truth / shop.factor < 60.0 * shop.rate < truth * shop.factor
    text = report.as_text()
    assert "rate at 23 °C" in text and "known within a factor" in text
    assert text.index("lies") < text.index("measure a level run near it") < text.index("For the plan, table")
    # the term k2·α^m makes most of the rate of the true constants over the ramps
    assert report.leading == "E2" and "E2" in report.answer and report.leading_share > 0.5
    assert "up to" not in report.answer and "factor" in report.answer
    assert "extrapolated over" in report.answer
    assert report.as_json()["at_shop"]["outside"] > 5.0
    # one pair of series a ramp, against temperature; its residuals likewise
    sheet = openpyxl.load_workbook(report.out)["Fit"]
    degree, residual = sheet._charts
    assert len(degree.series) == 2 * 3 and len(residual.series) == 3 + 1
    for chart in (degree, residual):
        assert "temperature" in str(chart.x_axis.title.tx.rich.p[0].r[0].t)
    column = [str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None]
    first = next(place for place, words in enumerate(column) if "measure a level run near it" in words)
    assert first < column.index("For the plan, table Materials")


def test_a_level_run_near_the_shop_narrows_what_is_known_there(tmp_path):
    """Data that reach the shop tell more of it: a smaller factor, and no warning; ramps and levels apart."""
    far = fit_file(ramps_csv(tmp_path / "far.csv"), "kamal")
    path = ramps_csv(tmp_path / "near.csv", level=25.0)
    near = fit_file(path, "kamal", out=tmp_path / "near.xlsx")
    assert near.at_shop.factor < far.at_shop.factor
    assert near.at_shop.beyond == pytest.approx(2.0)
    assert not any("level run" in words for words in near.warnings)
    assert len(openpyxl.load_workbook(near.out)["Fit"]._charts) == 4
    # the temperature of the pour may be told: further out it is known less
    assert fit_file(path, "kamal", at=-20).at_shop.factor > near.at_shop.factor


def test_the_time_at_the_shop_against_a_regression(tmp_path):
    """ln t on (1/T − 1/T_shop): the intercept and its standard error by scipy's linregress."""
    rows = [(40, 20.5), (50, 12.0), (60, 6.6), (70, 4.1)]
    path = write(tmp_path / "a.csv", "Temperature,Time\n" + "".join(f"{a},{b}\n" for a, b in rows))
    found = fit_file(path).at_shop
    place = [1 / (a + 273.15) - 1 / 296.15 for a, _ in rows]
    line = linregress(place, np.log([b for _, b in rows]))
    assert found.time / 60.0 == pytest.approx(math.exp(line.intercept), rel=1e-9)
    assert found.factor == pytest.approx(math.exp(student.ppf(0.975, 2) * line.intercept_stderr), rel=1e-9)
    assert found.beyond == pytest.approx(17.0)
    assert any("measure a level run near it" in words for words in fit_file(path).warnings)
    # two points set no interval
    two = write(tmp_path / "b.csv", "Temperature,Time\n40,20\n50,12\n")
    assert math.isinf(fit_file(two).at_shop.factor) and "hardly known" in fit_file(two).as_text()
    json.dumps(fit_file(two).as_json(), allow_nan=False)


def test_the_command_asks_for_the_temperature_of_the_pour(tmp_path, capsys):
    path = write(tmp_path / "a.csv", "Temperature,Time\n40,20.5\n50,12.0\n60,6.6\n70,4.1\n")
    assert main(["fit", str(path), "--at", "45"]) == 0
    out = capsys.readouterr().out
    assert "time at 45 °C" in out and "level run" not in out
    assert main(["fit", str(path), "--at", "-300"]) != 0
