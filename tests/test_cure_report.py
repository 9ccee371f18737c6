"""Cure report: published values through whole plans, independent integrations, CSV files, workbook."""

from __future__ import annotations

import io
import json
import math
import re
import subprocess
import zipfile
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import openpyxl
import pytest
from lxml import etree
from pictures import assert_of_today
from plans import MONDAY, add_hot_pot, hand_rows, make
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from scipy.stats import linregress
from scipy.stats import t as student

from dispense.base.errors import DispenseError, FileError, InputError, Problem
from dispense.base.memory import forget_all
from dispense.books.cure import cure_workbook
from dispense.books.cure.pack import map_table
from dispense.books.page import Page
from dispense.books.plan import new_plan
from dispense.cli import main
from dispense.handbook.heat import peak_temperature
from dispense.handbook.pours import hottest
from dispense.handbook.schedule import PartLag, Profile
from dispense.jobs.cure import cure_file
from dispense.jobs.fit import fit_file
from dispense.plan.csv import read_record
from dispense.plan.demo import DEMO
from dispense.plan.materials import kinetics_of, mixed_density
from dispense.reports.cure import _pour_text, belt_speed, cure_report, light_report, moisture_report
from dispense.reports.day import COLDER, HOTTER, STATED, life_day
from dispense.reports.pour import PourReport, _trace, not_computed, pour_findings, pour_report
from dispense.reports.runs import _played, early_test, run_rows, with_hold
from dispense.reports.shot_plan import ShotChoice, ShotMap
from dispense.sheets.material import shift_material_content
from dispense.shift.play import play_shift
from dispense.shift.windows import OPEN, SURFACE, latest_times

R = 8.31446261815324


@pytest.fixture(scope="module")
def demo():
    return make(DEMO)


@pytest.fixture(scope="module")
def plan_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("plan") / "plan.xlsx"
    new_plan(path, demo=True)
    return path


def write(path, text: str, encoding: str = "utf-8"):
    path.write_bytes(text.encode(encoding))
    return path


# --------------------------------------------------------------------------------------- CSV files


def test_record_in_fahrenheit_and_through_midnight(tmp_path):
    found = read_record(write(tmp_path / "r.csv", "Time,Temperature [°F]\n22:00,68\n23:30,77\n01:00,50\n"))
    assert found.is_clock and found.times == [79200.0, 84600.0, 90000.0]
    # 68, 77 and 50 °F are 20, 25 and 10 °C
    assert found.channels["Temperature"] == pytest.approx([293.15, 298.15, 283.15])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_record_of_a_logger(tmp_path, encoding):
    text = (
        "# logger\r\nNo;Time;Temperature [°C]\r\n1;2026-03-02 06:00;19,5\r\n2;2026-03-02 06:30;20,25\r\n\r\n"
    )
    found = read_record(write(tmp_path / "r.csv", text, encoding))
    assert found.times == [21600.0, 23400.0]
    assert found.channels["Temperature"] == pytest.approx([292.65, 293.4])


def test_thermocouple_log_with_channels(tmp_path):
    text = "Time [s]\tTemperature 1 [°C]\tTemperature 2 [K]\n0\t23\t296.15\n60\t100\t350\n"
    found = read_record(write(tmp_path / "log.csv", text))
    assert not found.is_clock and found.times == [0.0, 60.0]
    assert list(found.channels) == ["Temperature 1", "Temperature 2"]
    assert found.channels["Temperature 2"] == pytest.approx([296.15, 350.0])


def problems_of(call, *arguments, **options) -> list[str]:
    with pytest.raises(DispenseError) as caught:
        call(*arguments, **options)
    return [str(problem) for problem in caught.value.problems]


def test_every_problem_is_told_with_its_row(tmp_path):
    text = "Time,Temperature\n06:00,19\nnoon,20\n07:00,warm\n06:30,20\n08:00,-300\n09:00\n"
    found = problems_of(read_record, write(tmp_path / "r.csv", text))
    rows = [words.split(":")[0] for words in found]
    assert rows.count("r.csv row 3") == 1 and "time of day" in found[0]
    for row in ("r.csv row 4", "r.csv row 5", "r.csv row 6", "r.csv row 7"):
        assert row in rows
    assert any("row 5" in words and "row before" in words for words in found)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "has no rows"),
        ("Time,Temperature\n", "has no rows"),
        ("When,Temp\n06:00,20\n", 'the column "Time" is missing'),
        ("Time,Temperature [kg]\n06:00,20\n", "unit of temperature"),
        ("Time,Temperature\n06:00,\n", "temperature is blank"),
    ],
)
def test_records_that_cannot_be_read(tmp_path, text, words):
    assert any(words in line for line in problems_of(read_record, write(tmp_path / "r.csv", text)))


def test_missing_and_binary_files(tmp_path):
    assert "cannot be read" in problems_of(read_record, tmp_path / "none.csv")[0]
    (tmp_path / "b.csv").write_bytes(b"PK\x03\x04\x00\x00")
    assert "not a text file" in problems_of(read_record, tmp_path / "b.csv")[0]


# ----------------------------------------------------------------------------------- pot life


def day_of(rows):
    plan = make(rows)
    return life_day(plan, plan.station("hem"), plan.material("Bond 60"))


def test_constant_temperature_by_hand():
    rows = hand_rows()
    day = day_of(rows)
    assert [row.clock for row in day.rows] == [6 * 3600 + 1800 * place for place in range(9)]
    first = day.rows[0]
    # 60 min of life, 60 % of it to the purge, 30 min of open time, all at 23 °C
    assert first.life == pytest.approx(3600.0) and first.ends == pytest.approx(7 * 3600.0)
    assert first.purge_at == pytest.approx(6 * 3600 + 0.6 * 3600.0)
    assert first.mate_before == pytest.approx(6.5 * 3600.0)
    assert first.left == pytest.approx([0.75, 0.5, 0.25])
    assert first.cured["move"] == pytest.approx(10 * 3600.0)
    assert "hardly changes" in day.hot_afternoon


@pytest.mark.parametrize(
    ("changes", "temperature", "minutes"),
    [
        # ln t straight in 1/T through 60 min at 23 °C and 25 min at 35 °C, by hand
        (dict(pot_life_2=25, pot_life_temperature_2=35), 30, 35.70288172),
        # a life halves every 10 K (common practice): 60·2^(−17/10), 60·2^(13/10)
        ({}, 40, 18.4671662),
        ({}, 10, 147.7373296),
    ],
)
def test_published_lives_through_the_plan(changes, temperature, minutes):
    rows = hand_rows()
    rows["Materials"][0] |= changes
    rows["Stations"][0]["shop_temperature"] = temperature
    assert day_of(rows).rows[0].life / 60.0 == pytest.approx(minutes, rel=1e-8)


def rows_with_heat():
    rows = hand_rows()
    rows["Stations"][0]["record"] = "hall"
    rows["Temperatures"] = [
        dict(record="hall", time=time, temperature=temperature)
        for time, temperature in (("06:00", 18), ("08:00", 33), ("10:00", 24))
    ]
    return rows


def test_life_along_a_record_against_quadrature():
    day = day_of(rows_with_heat())

    def temperature(clock):
        return np.interp(clock, [21600.0, 28800.0, 36000.0], [18.0, 33.0, 24.0])

    for row in day.rows[:6]:

        def excess(end, start=row.clock):
            spent = quad(
                lambda clock: 2.0 ** ((temperature(clock) - 23.0) / 10.0) / 3600.0,
                start,
                end,
                points=[28800.0] if start < 28800.0 < end else None,
            )[0]
            return spent - 1.0

        assert row.ends == pytest.approx(brentq(excess, row.clock + 60, row.clock + 9000), rel=1e-7)


def test_hot_hours_shorten_life():
    day = day_of(rows_with_heat())
    by_name = {item.name: item for item in day.comparisons}
    assert by_name["hottest half hour"].life < day.shortest.life < by_name["constant mean"].life
    assert by_name["constant mean"].life < by_name["coolest half hour"].life
    # a hot afternoon uses up more than a constant mean does (the rate is convex in temperature)
    assert by_name["as recorded, shortest"].limits > by_name["constant mean"].limits
    # the shortest life is that of its row; limits of the day by quadrature of the halving rule
    assert by_name["as recorded, shortest"].life == day.shortest.life

    def rate(clock):
        return 2.0 ** ((np.interp(clock, [21600.0, 28800.0, 36000.0], [18.0, 33.0, 24.0]) - 23.0) / 10.0)

    lives = quad(rate, day.start, day.end, points=[28800.0])[0] / 3600.0
    assert by_name["as recorded, shortest"].limits == pytest.approx(lives / day.share, rel=1e-6)
    assert "has a pot life of 33 min" in day.hot_afternoon
    assert day.life_words == f"{day.shortest_words}; {day.hot_afternoon}"  # the figure first
    # mean of the half hours' temperatures: (18 + 33)/2 and (33 + 24)/2 for two hours each
    assert by_name["constant mean"].temperature == pytest.approx(273.15 + 27.0)


def test_extrapolated_part_is_told_apart():
    rows = rows_with_heat()
    one = day_of(rows)
    assert {kind for *_, kind in one.curve} == {COLDER, HOTTER}
    rows["Materials"][0] |= dict(pot_life_2=25, pot_life_temperature_2=35)
    two = day_of(rows)
    assert {kind for *_, kind in two.curve} == {COLDER, STATED, HOTTER}
    for temperature, _, kind in two.curve:
        if kind == STATED:
            assert 296.15 - 1e-9 <= temperature <= 308.15 + 1e-9
    assert two.points == [(296.15, 3600.0), (308.15, 1500.0)]
    lives = [life for _, life, _ in sorted(two.curve)]
    assert all(a >= b for a, b in pairwise(lives))


def test_curve_has_room_beyond_the_day_and_the_data_sheet():
    # coldest hour 20.4 °C, hottest 26.6 °C, data sheet 23 °C: 2 K beyond are 18.4 and 28.6 °C, the whole
    # degrees outside of them 18 and 29 °C, by hand
    rows = rows_with_heat()
    for row, temperature in zip(rows["Temperatures"], (20.4, 26.6, 24.0), strict=True):
        row["temperature"] = temperature
    shown = [temperature - 273.15 for temperature, *_ in day_of(rows).curve]
    assert (min(shown), max(shown)) == pytest.approx((18.0, 29.0))


# --------------------------------------------------------------------------------------- schedules


def oven_rows(profile, material=None, **oven):
    rows = hand_rows()
    rows["Materials"][0] |= dict(cure="oven", cure_temperature=80, **(material or {}))
    rows["Profiles"] = [
        dict(profile="belt", time=time, temperature=temperature) for time, temperature in profile
    ]
    rows["Ovens"] = [dict(part="frame", station="hem", profile="belt", start_temperature=25) | oven]
    return rows


def run_of(rows):
    plan = make(rows)
    (run,) = cure_report(plan, "hem").runs
    return run


RAMP = ((0, 25), (55, 80), (85, 80), (112.5, 25))
PLAIN = dict(move_time=None, join_time=None, test_time=None)


def test_equivalent_time_of_a_ramp_hold_ramp():
    # exponential integral E₁ in closed form, and quadrature: 53.3049691 min at 80 °C, 60 kJ/mol
    run = run_of(oven_rows(RAMP, PLAIN | dict(activation_energy=60), hold=50))
    assert run.places[0].equivalent[-1] / 60.0 == pytest.approx(53.3049691, rel=1e-6)
    assert run.passes and run.places[0].temperatures.max() == pytest.approx(353.15, abs=0.02)
    assert run.places[0].at_cure / 60.0 == pytest.approx(5 + 30 + 2.5, rel=1e-3)  # at 75 °C and above
    told = run_rows(run)[0]  # the same for a script and the terminal, in shop units
    assert told["equivalent_time"] == pytest.approx(53.3049691, rel=1e-6) and told["degree"] is None
    assert told["highest_temperature"] == pytest.approx(80.0, abs=0.02)
    late = run_of(oven_rows(RAMP, PLAIN | dict(activation_energy=60), hold=54))
    assert not late.passes and "54.0 min are required" in late.places[0].reasons[0]


FLAT = ((0, 80), (60, 80))


@pytest.mark.parametrize(
    ("kinetics", "degree"),
    [
        # (1 + (n − 1)kt)^(1/(1−n)), by hand; first order 1 − exp(−kt); Kamal m = n = 1 in closed form
        (dict(rate_1=0.05, energy_1=0, order_n=1.5), 0.84),
        (dict(rate_1=0.05, energy_1=0, order_n=2), 0.75),
        (dict(rate_1=0.01, energy_1=0, order_n=0.5), 0.51),
        (dict(rate_1=0.02, energy_1=0, order_n=1), 0.6988057881),
        (dict(rate_1=0.002, energy_1=0, rate_2=0.08, energy_2=0, order_m=1, order_n=1), 0.7683650017),
    ],
)
def test_published_degrees_through_the_plan(kinetics, degree):
    material = (
        PLAIN
        | kinetics
        | dict(glass_uncured=-20, glass_cured=220, glass_lambda=0.5, full_degree=0.5, gel_degree=0.4)
    )
    run = run_of(oven_rows(FLAT, material, start_temperature=80))
    place = run.places[0]
    assert place.degrees[-1] == pytest.approx(degree, abs=1e-7)
    told = run_rows(run)[0]
    assert told["degree"] == pytest.approx(degree, abs=1e-7)
    assert told["equivalent_time"] == pytest.approx(60.0, rel=1e-9)  # an hour at the reference itself
    # DiBenedetto: −20 + 240·λα/(1 − (1 − λ)α), by hand
    glass = -20 + 240 * 0.5 * degree / (1 - 0.5 * degree)
    assert place.glass_points[-1] - 273.15 == pytest.approx(glass, abs=1e-4)
    assert 0.0 < place.gel < place.full < 3600.0


def test_gel_of_a_first_order_cure_by_hand():
    # 1 − exp(−0.02·t) is 0.4 after −ln(0.6)/0.02 = 25.5413 min, straight between points a minute apart
    kinetics = dict(rate_1=0.02, energy_1=0, order_n=1, full_degree=0.5, gel_degree=0.4)
    (place, *_) = run_of(oven_rows(FLAT, PLAIN | kinetics, start_temperature=80)).places
    assert place.gel / 60.0 == pytest.approx(25.54128, abs=2e-3)
    assert place.full / 60.0 == pytest.approx(34.65736, abs=2e-3)  # −ln(0.5)/0.02


def test_lagging_part_against_a_general_integrator(demo):
    (run,) = (run for run in cure_report(demo, "Carrier bead").runs if run.kind == "oven")
    material = demo.material("oven epoxy")
    rate, energy, order = material.rate_1, material.energy_1, material.order_n
    times, air = demo.profile("Belt 150")
    for place, lag in zip(run.places, (90.0, 180.0), strict=True):

        def slope(time, y, lag=lag):
            heat, degree = y
            return [
                (np.interp(time, times, air) - heat) / lag,
                rate * math.exp(-energy / (R * heat)) * (1 - min(degree, 1.0)) ** order,
            ]

        found = solve_ivp(
            slope, (0, times[-1]), [296.15, 0.0], method="LSODA", rtol=1e-9, atol=1e-9, max_step=30.0
        )
        assert place.temperatures[-1] == pytest.approx(found.y[0, -1], abs=1e-3)
        assert place.degrees[-1] == pytest.approx(found.y[1, -1], abs=1e-5)
    assert run.coldest.name == "slowest place" and run.hottest.name == "quickest place"
    assert run.coldest.full > run.hottest.full


def test_shortest_hold_passes_and_less_does_not(demo):
    (run,) = (run for run in cure_report(demo, "Carrier bead").runs if run.kind == "oven")
    # the profile's ramp alone, by hand from its table: 38 − 6 min
    assert run.hold == pytest.approx(32 * 60.0)
    assert run.hold_needed < run.hold
    times, air = demo.profile("Belt 150")
    for share, passes in ((1.002, True), (0.99, False)):
        profile = with_hold(Profile(np.array(times), np.array(air)), run.hold_needed * share)
        assert profile.times[-1] == pytest.approx(times[-1] - run.hold + run.hold_needed * share)
        lags = [PartLag("a", 90.0, 0.0, 296.15), PartLag("b", 180.0, 0.0, 296.15)]
        _, places = _played(demo, profile, lags, demo.material("oven epoxy"), run.requirement)
        assert all(place.passes for place in places) is passes


def test_hold_at_one_temperature_is_the_hold_asked_for():
    run = run_of(oven_rows(FLAT, PLAIN | dict(activation_energy=60), start_temperature=80, hold=20))
    assert run.hold_needed == pytest.approx(20 * 60.0, rel=1e-4)


def test_positions_and_oven_length():
    # 60 min at a takt of 600 s: 6 parts; 400 mm apart: 3600/600·0.4 m (Little's law, by hand)
    run = run_of(oven_rows(FLAT, PLAIN | dict(activation_energy=60), pitch=400, hold=20))
    assert (run.positions, run.takt) == (6, 600.0) and run.length == pytest.approx(2.4)


def test_oven_without_energy_uses_the_rule_of_thumb_and_says_so():
    run = run_of(oven_rows(((0, 90), (30, 90)), PLAIN, start_temperature=90, hold=40))
    assert "rule of thumb" in run.energy_basis
    # 10 K hotter counts twice: 30 min at 90 °C are 60 min at 80 °C
    assert run.places[0].equivalent[-1] == pytest.approx(3600.0, rel=1e-4)


def test_no_milestone_before_the_part_is_out_of_the_oven():
    # 80 °C from the start, data-sheet times of 10, 15 and 20 min at 80 °C: all are over long before
    # the 60 min of the profile are, and a part in an oven can be neither handled nor tested
    times = dict(move_time=10, join_time=15, test_time=20, activation_energy=60)
    place = run_of(oven_rows(FLAT, times, start_temperature=80)).places[0]
    assert place.equivalent[-1] == pytest.approx(3600.0, rel=1e-4)
    assert place.milestones == {"move": 3600.0, "join": 3600.0, "test": 3600.0}
    assert place.handling == place.full_cure == 3600.0 and place.passes
    # with kinetics the degree is there after 23.0 min (first order, by hand), full cure is not
    kinetics = dict(rate_1=0.1, energy_1=0, full_degree=0.9)
    place = run_of(oven_rows(FLAT, times | kinetics, start_temperature=80)).places[0]
    assert place.full / 60.0 == pytest.approx(math.log(10) / 0.1, rel=1e-3) and place.full_cure == 3600.0
    # what the oven does not give is not there at its end
    long = run_of(oven_rows(FLAT, dict(times, test_time=70), start_temperature=80)).places[0]
    assert long.milestones["test"] is None and long.full_cure is None and not long.passes


GLASSY = PLAIN | dict(
    rate_1=0.1, energy_1=0, full_degree=0.95, glass_uncured=-20, glass_cured=150, glass_lambda=0.45
)


def test_cure_of_a_glass_is_said_everywhere():
    # at 40 °C a glass 20 K above is reached at T_g = 60 °C: 80 = 170·0.45α/(1 − 0.55α), α = 0.6639, by
    # hand; first order at 0.1/min: −ln(1 − α)/0.1 = 10.9 min; the kinetics alone end at 1 − e⁻⁶ = 0.9975
    rows = oven_rows(((0, 40), (60, 40)), GLASSY, start_temperature=40)
    rows["Materials"][0] |= dict(cure_temperature=80, activation_energy=60)
    plan = make(rows)
    report = cure_report(plan, "hem")
    (run,) = report.runs
    place = run.places[0]
    assert place.degrees[-1] == pytest.approx(1 - math.exp(-6), abs=1e-6)
    assert not place.passes and not run.passes and place.full is None and place.full_cure is None
    assert place.glass.start / 60.0 == pytest.approx(-math.log(1 - 80 / (76.5 + 44)) / 0.1, abs=0.05)
    assert place.sure == pytest.approx(80 / (76.5 + 44), abs=1e-6)
    words = "glass transition 60 °C is 20 K or more above the part at 40 °C from 11 min on, at degree 0.66"
    assert any(words in reason for reason in place.reasons)
    assert run.hold_needed is None and "does not pass" in run.hold_words
    (finding,) = (item for item in report.findings if words in item.text)
    assert finding.kind == "quality" and "hotter" in finding.fix
    text = report.as_text()
    assert words in " ".join(text.split()) and "FAIL: a glass from 11 min" in text
    row = report.as_json()["schedules"][0]["places"][0]
    assert row["passes"] is False and words in " ".join(row["reasons"])
    assert row["glass_from"] == pytest.approx(10.9, abs=0.1) and row["degree_before_glass"] < 0.67
    book = openpyxl.load_workbook(io.BytesIO(cure_workbook(report)))
    cells = [str(cell.value) for line in book["Oven"].iter_rows() for cell in line if cell.value is not None]
    assert any(words in cell for cell in cells) and "▲ fail: a glass from 11 min" in cells
    # the same mix at 140 °C is none: it passes, and cooling to the room after it changes nothing
    hot = run_of(
        oven_rows(((0, 140), (60, 140), (90, 25)), GLASSY | dict(activation_energy=60), start_temperature=140)
    )
    assert hot.passes and hot.places[0].glass is None and hot.places[0].glass_points[-1] > 273.15 + 120


def test_log_in_the_place_of_the_profile(tmp_path):
    text = "Time [min],Temperature 1 [°F],Temperature 2 [°F]\n0,176,140\n60,176,140\n"  # 80 and 60 °C
    log = read_record(write(tmp_path / "log.csv", text))
    plan = make(oven_rows(FLAT, PLAIN | dict(activation_energy=60), hold=50))
    for report in (cure_report(plan, "hem", log=log), cure_report(plan, "hem", record=log)):
        run = next(run for run in report.runs if run.kind == "log")
        assert [place.passes for place in run.places] == [True, False]
        assert run.places[0].equivalent[-1] == pytest.approx(3600.0, rel=1e-6)
        ratio = math.exp(60e3 / R * (1 / 353.15 - 1 / 333.15))
        assert run.places[1].equivalent[-1] == pytest.approx(3600.0 * ratio, rel=1e-6)
        assert any("log.csv" in words for words in report.warnings)


def test_room_cure_by_hand():
    found = cure_report(make(hand_rows()), "hem").runs
    assert len(found) == 1 and found[0].kind == "room"
    place = found[0].places[0]
    # data-sheet times at the data-sheet temperature: 4 h and 24 h; 4 h at a takt of 600 s: 24 parts
    assert place.handling == pytest.approx(4 * 3600.0, rel=1e-4)
    assert place.full_cure == pytest.approx(24 * 3600.0, rel=1e-4)
    assert found[0].positions == 24


# ----------------------------------------------------------------------------------------- exotherm


def pot_rows(**material):
    rows = hand_rows()
    add_hot_pot(rows, container=100, **material)
    return rows


def pour_of(rows):
    plan = make(rows)
    return pour_report(plan, plan.pots[0])


def lines_method(stages, kinetics, heat, density, capacity, conductivity, film, room, cells=40):
    """Peak of shots poured one on the other: method of lines with a general stiff solver.

    `stages` are (depth, seconds until the next shot); uniform cells of their own for each shot.
    """
    rate, energy, order = kinetics
    widths, state = np.zeros(0), np.zeros((0, 2))  # rows of temperature and degree
    peak = room
    for depth, wait in stages:
        widths = np.concatenate([widths, np.full(cells, depth / cells)])
        state = np.concatenate([state, np.column_stack([np.full(cells, room), np.zeros(cells)])])
        link = conductivity / (0.5 * (widths[:-1] + widths[1:]))
        top = 1.0 / (1.0 / film + 0.5 * widths[-1] / conductivity)

        def slope(_, y, widths=widths, link=link, top=top):
            t, a = y.reshape(-1, 2).T
            speed = rate * np.exp(-energy / (R * t)) * np.clip(1 - a, 0, 1) ** order
            flow = np.zeros(t.size + 1)
            flow[1:-1] = link * (t[:-1] - t[1:])
            flow[-1] = top * (t[-1] - room)
            gain = (flow[:-1] - flow[1:]) / widths / (density * capacity) + heat / capacity * speed
            return np.column_stack([gain, speed]).ravel()

        run = solve_ivp(
            slope, (0.0, wait), state.ravel(), method="LSODA", rtol=1e-7, atol=1e-7, lband=2, uband=2
        )
        state = run.y[:, -1].reshape(-1, 2)
        peak = max(peak, run.y[::2].max())
    return peak


GIVEN = ((1.2e7 / 60, 60e3, 1.5), 300e3, 1100.0, 1800.0, 0.25, 10.0, 296.15)


def test_peak_of_one_shot_against_the_method_of_lines():
    found = pour_of(pot_rows())
    # the same slab by an implicit solver, 100 and 200 layers extrapolated: 84.50682 °C
    assert found.peak - 273.15 == pytest.approx(84.50682, abs=0.02)
    assert found.peak == pytest.approx(lines_method([(0.04, 1.5 * found.peak_time)], *GIVEN), abs=0.05)
    assert found.peak < found.adiabatic == pytest.approx(296.15 + 300 / 1.8)
    assert any("limit 60" in words for words in found.warnings)


def test_a_peak_above_the_adiabatic_figure_says_why():
    """A front that starts at the base warms the layers before it, which then add their whole own rise.

    Independent: the method of lines passes the adiabatic figure 23 + 230/1.6 °C as well.
    """
    rows = pot_rows(rate_1=1.2e8, order_n=1, heat=230, specific_heat=1.6, conductivity=0.35)
    rows["Pots"][0] |= dict(level=55, limit=None)
    found = pour_of(rows)
    given = ((1.2e8 / 60, 60e3, 1.0), 230e3, 1100.0, 1600.0, 0.35, 10.0, 296.15)
    peak = lines_method([(0.055, 1.2 * found.peak_time)], *given, cells=120)
    assert peak > 296.15 + 230 / 1.6 + 5.0
    assert found.peak == pytest.approx(peak, abs=1.5)
    (told,) = [item for item in found.findings if item.topic == "peak above adiabatic"]
    assert told.kind == "note" and "above the 166.8 °C" in told.text
    assert not [item for item in pour_of(pot_rows()).findings if item.topic == "peak above adiabatic"]


def test_two_shots_against_the_method_of_lines():
    rows = pot_rows()
    rows["Shots"] = [
        dict(part="frame", pot="bed", shot=1, portion=0.5),
        dict(part="frame", pot="bed", shot=2, portion=0.5, wait=900),
    ]
    found = pour_of(rows)
    assert [shot[1] for shot in found.shots] == pytest.approx([0.02, 0.02])
    wait = 900 * 60.0
    expected = lines_method([(0.02, wait), (0.02, 1.5 * found.shots_time)], *GIVEN)
    assert found.shots_peak == pytest.approx(expected, abs=0.1)
    assert found.shots_peak < found.peak


@pytest.mark.parametrize("wait", [0, None])
def test_shots_without_a_wait_are_poured_as_one(wait):
    rows = pot_rows()
    one = pour_of(rows)
    halves = [dict(part="frame", pot="bed", shot=number, portion=0.5) for number in (1, 2)]
    rows["Shots"] = [halves[0], halves[1] | dict(wait=wait)]
    both = pour_of(rows)
    assert both.shots == [] and both.peak == one.peak
    # and beside a true wait: 10 + 10 mm, then 20 mm
    quarters = [dict(part="frame", pot="bed", shot=number, portion=0.25) for number in (1, 2)]
    rows["Shots"] = [quarters[0], quarters[1] | dict(wait=wait), halves[1] | dict(shot=3, wait=30)]
    found = pour_of(rows)
    assert [shot[1:] for shot in found.shots] == [pytest.approx((0.02, 0.0)), pytest.approx((0.02, 1800.0))]


def poured_stage(peak: float, after: float, last: float):
    """A shot of 20 mm that warms by 1 mK/s everywhere from 300 K, followed at three moments."""
    heights = np.array([0.005, 0.015])
    return SimpleNamespace(
        peak_temperature=peak,
        peak_time=after,
        peak_height=0.01,
        times=np.array([0.0, 0.3 * last, last]),
        heights=heights,
        widths=np.array([0.01, 0.01]),
        depth=0.02,
        at=lambda time: (np.full(2, 300.0 + time / 1e3), np.array([0.2, 0.4])),
    )


TWO_SHOTS = [(1, 0.02, 0.0), (2, 0.02, 600.0)]


def test_times_of_shots_count_from_the_first():
    # the second shot comes 600 s after the first and is hottest 50 s later: 650 s, by hand
    poured = [poured_stage(310.0, 400.0, 600.0), poured_stage(320.0, 50.0, 1000.0)]
    assert hottest(poured, TWO_SHOTS) == (320.0, 650.0, 0.01)
    trace = _trace(poured, TWO_SHOTS, 650.0)
    # the first is followed from 0 to 600 s, the second from 600 to 600 + 1000 s and from 300 K again
    assert (trace.times[0], trace.times[-1]) == (0.0, 1600.0) and np.all(np.diff(trace.times) >= 0.0)
    assert np.count_nonzero(trace.times == 600.0) == 2
    assert trace.base[-1] == trace.top[-1] == pytest.approx(301.0)
    assert trace.degree == pytest.approx(0.3)  # mean of two equal layers
    # a quarter, half, all and one and a half of the 50 s
    assert trace.profile_times == pytest.approx([612.5, 625.0, 650.0, 675.0])
    assert [profile[0] for profile in trace.profiles] == pytest.approx([300.0125, 300.025, 300.05, 300.075])


def test_profiles_end_with_what_is_followed():
    poured = [poured_stage(320.0, 400.0, 600.0), poured_stage(310.0, 900.0, 1000.0)]
    # the peak is in the first shot: of the second there is its end only, 600 + 1000 s
    assert _trace(poured, TWO_SHOTS, 400.0).profile_times == [1600.0]
    # hottest 900 s after the second: one and a half of it are more than the 1000 s that are followed
    assert _trace(poured, TWO_SHOTS, 1500.0).profile_times == pytest.approx([825.0, 1050.0, 1500.0, 1600.0])
    # a peak beyond the end counts as the end, and is not shown twice
    assert _trace(poured, TWO_SHOTS, 2000.0).profile_times == pytest.approx([850.0, 1100.0, 1600.0])


def test_text_of_a_pour_tells_its_shots():
    # 323.15 K are 50 °C, 345.65 K are 72.5 °C, 9000 s are 150 min, by hand
    one = dict(
        pot=SimpleNamespace(part="frame", pot="bed", limit=333.15),
        **dict(
            material=None,
            start=296.15,
            room=296.15,
            depth=0.035,
            constants=None,
            runaway=None,
            maximum_rate=None,
        ),
        **dict(peak=345.65, peak_time=6000.0, peak_height=0.02, adiabatic=462.8, trace=None),
        safe_words="30.0 mm in one shot",
    )
    none = dict(shots=[], shots_peak=None, shots_time=None)
    shots = dict(shots=[(1, 0.02, 0.0), (2, 0.015, 600.0)], shots_peak=323.15, shots_time=9000.0)
    text = _pour_text(PourReport(**one, **shots))
    assert "in one shot 72.5 °C after 100 min" in text
    (line,) = (line for line in text.splitlines() if line.startswith("in 2 shots"))
    assert line.startswith("in 2 shots (20.0 mm, then 15.0 mm after 10 min) 50.0 °C after 150 min")
    assert " shots (" not in _pour_text(PourReport(**one, **none))


def test_deepest_safe_pour_ends_at_the_limit():
    found = pour_of(pot_rows())
    # method of lines and a root finder: 37.4324304 mm for 60 °C without cells
    assert found.safe_depth * 1e3 == pytest.approx(37.4324304, rel=1e-5)
    plan = make(pot_rows())
    material = plan.material("Bond 60")
    peak = peak_temperature(
        found.safe_depth,
        296.15,
        296.15,
        kinetics_of(plan, material),
        material.heat,
        mixed_density(material, plan.components_of("Bond 60")),
        material.specific_heat,
        material.conductivity,
    )
    assert float(peak) - 273.15 == pytest.approx(60.0, abs=1e-3)


def test_pour_without_heat_stays_as_it_is():
    found = pour_of(pot_rows(heat=0))
    assert found.peak == pytest.approx(296.15, abs=1e-9)
    assert "any depth" in found.safe_words and found.runaway is None


def test_a_runaway_without_a_limit_tells_its_peak():
    rows = pot_rows()
    rows["Pots"][0] |= dict(limit=None)
    (danger,) = [item for item in pour_of(rows).findings if item.kind == "danger"]
    # the same slab by an implicit solver, 100 and 200 layers extrapolated: 84.50682 °C
    assert "runaway criterion" in danger.text
    assert danger.text.replace("\u202f", " ").endswith("the pour comes to 84.5 °C")


def test_runaway_criterion_and_time_to_maximum_rate():
    # slab, 60 kJ/mol, 1e6 1/s, 400 J/g, 1.15 g/mL, 0.2 W/(m·K), 23 °C: 13.3234381 mm by the isothermal
    # Lane–Emden equation where the face is held; with the pot's film of 10 W/(m²·K) less, by the largest
    # δ = 2c²·sech²c·exp(−2c·tanh c/Bi) on a grid of c (P. H. Thomas 1958);
    # adiabatic time with 1.8 J/(g·K) by LSODA: 0.68679 h (its first term c·R·T²/(H·k·E) is 0.58096 h)
    rows = pot_rows(rate_1=6e7, order_n=1, heat=400, conductivity=0.2)
    for part in rows["Components"]:
        part["density"] = 1.15
    found = pour_of(rows)
    c = np.linspace(1e-4, 3.0, 200_001)

    def excess(depth):
        biot = 10.0 * depth / 0.2
        critical = np.max(2.0 * (c / np.cosh(c)) ** 2 * np.exp(-2.0 * c * np.tanh(c) / biot))
        return 0.8784576798 * (depth / 13.3234381e-3) ** 2 - critical

    assert found.runaway.half_thickness == pytest.approx(brentq(excess, 1e-4, 13.3e-3), rel=1e-6)
    rows["Pots"][0]["film"] = 1e5  # as good as held
    assert pour_of(rows).runaway.half_thickness * 1e3 == pytest.approx(13.3234381, rel=1e-3)
    report = cure_file(make(rows), "hem")
    assert "adiabatic time to the maximum rate 41.2 min" in report.as_text()
    assert report.as_json()["pours"][0]["time_to_maximum_rate"] == pytest.approx(60 * 0.68679, rel=1e-4)
    assert found.maximum_rate / 3600.0 == pytest.approx(0.68679, rel=1e-4)
    assert found.runaway.runs_away and any("runaway" in str(item) for item in found.findings)


def test_cells_take_up_heat():
    rows = pot_rows()
    rows["Pots"][0] |= dict(cells=4, cell_diameter=30, cell_height=65, limit=120)
    found = pour_of(rows)
    assert found.cell_share == pytest.approx(4 * math.pi * 15**2 / (100 * 80), rel=1e-9)
    assert 296.15 < found.cells_peak < found.peak
    # all solids at the compound's temperature: the rise without loss is diluted by their capacity
    solid, liquid = found.cell_share * 2600 * 900, (1 - found.cell_share) * 1100 * 1800
    assert found.cells_peak < 296.15 + (300 / 1.8) * liquid / (liquid + solid)


def test_hotter_day_gives_a_hotter_pour_and_a_shallower_limit():
    peaks, depths = [], []
    for temperature in (15, 23, 31):
        rows = pot_rows()
        rows["Stations"][0]["shop_temperature"] = temperature
        found = pour_of(rows)
        peaks.append(found.peak)
        depths.append(found.safe_depth)
    assert peaks[0] < peaks[1] < peaks[2]
    assert depths[0] is None or depths[0] > depths[1] > depths[2]


def test_pot_of_unknown_kinetics_is_told():
    report = cure_report(make(pot_rows(rate_1=None)), "hem")
    assert not report.pours and any("exotherm is not computed" in words for words in report.warnings)


def test_a_pour_that_runs_away_is_a_danger_also_without_a_limit():
    rows = pot_rows()
    del rows["Pots"][0]["limit"]
    plan = make(rows)
    pot, material = plan.pots[0], plan.material("Bond 60")
    found = not_computed(pot, material, "pour: the pour runs away after 12 min: what follows is too quick")
    assert found.kind == "danger" and "12 min" in found.text and "units" not in str(found)
    assert not_computed(pot, material, "pour: the reaction is too quick").kind == "quality"


def test_cells_without_a_limit_are_told():
    rows = pot_rows()
    del rows["Pots"][0]["limit"]
    assert not [item for item in pour_findings(make(rows), "hem") if item.topic == "no pour limit"]
    rows["Pots"][0] |= dict(cells=4, cell="21700")
    (told,) = [item for item in pour_findings(make(rows), "hem") if item.topic == "no pour limit"]
    assert told.kind == "quality" and "no limit" in told.text


def test_a_data_sheet_that_tests_before_the_kinetics_are_through_is_told():
    plan = make(hand_rows())
    place = SimpleNamespace(full=1832 * 60.0, milestones={"test": 1252 * 60.0})
    run = SimpleNamespace(kind="room", name="room", places=[place])
    (told,) = early_test(plan.stations[0], plan.materials[0], run)
    assert told.topic == "cure" and "1252 min" in told.text and "1832 min" in told.text
    place.full = 1200 * 60.0
    assert not early_test(plan.stations[0], plan.materials[0], run)


def test_incomplete_kinetics_are_told_at_their_cell():
    found = problems_of(make, pot_rows(rate_2=1e8))
    assert len(found) == 1 and "no E2 and order m" in found[0] and found[0].startswith("Materials!")
    assert "no E1" in problems_of(make, pot_rows(energy_1=None))[0]


@pytest.fixture
def forgotten():
    """Answers asked before are asked anew, and those given here are not kept for other tests."""
    forget_all()
    yield
    forget_all()


@pytest.mark.usefixtures("forgotten")
def test_pour_that_cannot_be_computed_is_told_and_the_rest_goes_on(monkeypatch):
    def fails(*_, **__):
        raise InputError(Problem("pour", message="the reaction is too quick to follow"))

    monkeypatch.setattr("dispense.handbook.pours.pour", fails)
    report = cure_report(make(pot_rows()), "hem")
    assert not report.pours and "frame / bed: exotherm not computed" in report.warnings[0]
    assert report.day is not None and json.dumps(report.as_json(), allow_nan=False)


# ------------------------------------------------------------------------------- moisture and light


def test_moisture_depths():
    rows = hand_rows()
    rows["Materials"][0] |= dict(cure="moisture", moisture_coefficient=3 / math.sqrt(24))
    rows["Stations"][0]["humidity"] = 0.5
    rows["Beads"][0] |= dict(bond_line=0.8, flange_width=12)  # 10 mm²: 12.5 mm wide
    plan = make(rows)
    found = moisture_report(plan, plan.station("hem"), plan.material("Bond 60"))
    depths = {
        (hour, humidity): found.depths[a, b] * 1e3
        for a, hour in enumerate(found.hours)
        for b, humidity in enumerate(found.humidities)
    }
    # 3 mm in 24 h: 3·√7 mm in 7 d, 96 h for 6 mm, 3·√(0.3/0.5) mm at 30 % (Comyn's law, by hand)
    assert depths[24.0, 0.5] == pytest.approx(3.0)
    assert depths[168.0, 0.5] == pytest.approx(7.937253933, rel=1e-9)
    assert depths[24.0, 0.3] == pytest.approx(2.323790008, rel=1e-9)
    (need,) = found.needed
    assert need.depth == 6e-3 and need.depth_time / 3600.0 == pytest.approx(96.0)
    # the data sheet's 24 h are over before
    assert need.stated_time == pytest.approx(86400.0) and need.time == need.depth_time
    dry = make(rows | {"Stations": [rows["Stations"][0] | {"humidity": 0}]})
    json.dumps(cure_report(dry, "hem").as_json(), allow_nan=False)


def test_light_times_and_belt_speeds():
    rows = hand_rows()
    rows["Materials"][0] |= dict(cure="light", dose=3)
    plan = make(rows)
    found = light_report(plan, plan.station("hem"), plan.material("Bond 60"))
    # 100 mW/cm² for 30 s are 3 J/cm²; 500 mW/cm² over 80 mm at 2 m/min give 1.2 J/cm², by hand
    assert found.times[found.irradiances.index(1000.0)] == pytest.approx(30.0)
    assert float(belt_speed(5000.0, 0.08, 1.2e4)) * 60.0 == pytest.approx(2.0)
    assert found.speeds[0, 1] == pytest.approx(500.0 * 0.1 / 3e4)


# ----------------------------------------------------------------------------------- latest times


def shift_rows(window, lead=30):
    rows = hand_rows()
    rows["Materials"][0] |= dict(surface_window=window, open_time=None)
    rows["Stations"][0] |= dict(treatment_lead=lead, mixer_volume=0, checks=0, handling_time=0)
    return rows


def shift_of(rows):
    return play_shift(make(rows), MONDAY, "early", "hem")


def test_part_that_waits_over_the_break():
    # takt 600 s from 6:00, break 8:00–8:30: no. 13 is due at 8:00 and waits; treated 30 min of work
    # before, at 7:30; a window of 75 min ends at 8:45, by hand
    found = [row for row in latest_times(shift_of(shift_rows(75))) if row.kind == SURFACE]
    assert [(row.first, row.clock) for row in found] == [(1, 6.75 * 3600.0), (13, 8.75 * 3600.0)]
    assert (found[1].last, found[1].is_late) == (15, False)
    assert "no. 13 to 15 wait" in found[1].text and "08:45" in found[1].text


def test_parts_past_their_window():
    # a window of 45 min ends at 8:15, 8:25 and 8:35 for no. 13, 14 and 15, due at 8:30, 8:40, 8:50
    late = [row for row in latest_times(shift_of(shift_rows(45))) if row.is_late]
    assert [(row.first, row.last, row.clock) for row in late] == [(13, 15, 8.25 * 3600.0)]
    assert "treat them again" in late[0].text
    stops = [item for item in cure_report(make(shift_rows(45)), "hem").findings if item.kind == "stop"]
    assert {(item.station, item.material) for item in stops} == {("hem", "Bond 60")}


def test_shift_sheet_tells_the_latest_times():
    plan = make(shift_rows(45))
    result = play_shift(plan, MONDAY, "early", "hem")
    rows = shift_material_content(plan, result, "stamp").tables["MaterialTimes"]
    windows = [row for row in rows if row["event"] == "window"]
    # its window ends at 8:15, in the break: it is told when someone is there last before, at 8:00
    assert any(row["action"].startswith("▲") and row["time"].strftime("%H:%M") == "08:00" for row in windows)
    # what must be begun by 6:45 is told when it is begun
    first = next(row for row in windows if "no. 1: dispense by" in row["action"])
    assert first["time"].strftime("%H:%M") == "06:00" and "06:15" in first["action"]
    assert "the treated surface keeps 45 min" in first["action"]  # why
    assert rows == sorted(rows, key=lambda row: row["time"])


def test_open_time_over_a_break():
    rows = hand_rows()
    rows["Materials"][0] |= dict(open_time=20)
    rows["Stations"][0] |= dict(mating_delay=15, mixer_volume=0, checks=0)
    # no. 12 is dispensed at 7:50 and due 15 min later, 5 min into the break, its open time over at 8:10: the
    # crew stays so long (up to a quarter of an hour, common practice, no source)
    rows["Breaks"].append(dict(shift="early", start="08:40", end="08:50"))
    assert not [row for row in latest_times(shift_of(rows)) if row.kind == OPEN and row.is_late]


# ------------------------------------------------------------------------------------ whole report


@pytest.mark.parametrize("station", [row["station"] for row in DEMO["Stations"]])
def test_report_of_every_demo_station(demo, station):
    report = cure_report(demo, station)
    text = json.dumps(report.as_json(), allow_nan=False)
    assert "NaN" not in text and "Infinity" not in text
    assert report.as_text().startswith(station) and "nan" not in report.as_text().lower().split()
    assert "safety data sheet" in report.as_text()
    content = cure_workbook(report)
    assert content == cure_workbook(cure_report(demo, station))
    live = openpyxl.load_workbook(io.BytesIO(content))
    held = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    assert live.worksheets[0].title == "Summary" and sum(len(sheet._charts) for sheet in live) > 0
    for sheet in live:
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell.value, str) and cell.value.startswith("=") and cell.data_type == "f":
                    value = held[sheet.title][cell.coordinate].value
                    assert value is not None and not str(value).startswith("#"), cell.coordinate
        for chart in sheet._charts:
            assert chart.x_axis.title is not None and chart.y_axis.title is not None
        assert sheet.sheet_state == ("hidden" if sheet.title == "Chart data" else "visible")  # no blank page
        if sheet.title != "Chart data":  # what the reader came for is the largest thing on the page
            sizes = {
                cell.coordinate: cell.font.size
                for row in sheet.iter_rows()
                for cell in row
                if cell.value is not None
            }
            assert sizes["A3"] == max(sizes.values()) and list(sizes.values()).count(sizes["A3"]) == 1


def test_charts_say_in_words_what_they_show(demo):
    # WCAG 2.2, 1.1.1: what is not text has a text; ECMA-376 part 1, 20.1.2.2.8 keeps it in `descr`
    with zipfile.ZipFile(io.BytesIO(cure_workbook(cure_report(demo, "Block potting")))) as archive:
        drawings = [archive.read(name) for name in archive.namelist() if "drawings/drawing" in name]
    named = [item for text in drawings for item in etree.fromstring(text).iter("{*}cNvPr")]
    words = [item.get("descr", "") for item in named]
    assert len(words) > 6 and all(" against " in text for text in words)
    assert (
        "As planned: corner of the block; temperature [°C] against time since the first shot [min]; series: "
        "hottest compound, skin of the hottest cell, mean of the hottest cell, limit of the cells"
    ) in words


def lightness(fill: str) -> float:
    """Grey of an RGB colour as a printer without colour sees it (luma of ITU-R BT.601)."""
    red, green, blue = bytes.fromhex(fill[-6:])
    return 0.299 * red + 0.587 * green + 0.114 * blue


def test_the_map_of_shots_tells_its_safe_region_without_colour():
    # made up: 3 of 5 keep a limit of 60 °C; the thick line stands where a safe cell has an unsafe neighbour
    def one(shots, wait, celsius):
        return ShotChoice(shots, 0.06 / shots, wait, 298.15, 298.15, celsius + 273.15)

    rows = (
        (one(1, 0.0, 90.0),),
        (one(2, 900.0, 70.0), one(2, 1800.0, 58.0)),
        (one(3, 900.0, 50.0), one(3, 1800.0, 40.0)),
    )
    book = openpyxl.Workbook()
    page = Page(book, "Map", "Map", (20, 14, 12, 12))
    map_table(page, ShotMap(333.15, (900.0, 1800.0), rows, (), 0.0, rows[2][0], None))
    cells = {
        str(cell.value): cell
        for row in page.sheet.iter_rows(min_col=3, max_col=4)
        for cell in row
        if str(cell.value)[:1] in ("✓", "▲")
    }
    assert set(cells) == {"▲ 90.0", "▲ 70.0", "✓ 58.0", "✓ 50.0 ●", "✓ 40.0"}
    greys = [
        lightness(cells[name].fill.start_color.rgb) for name in ("✓ 40.0", "✓ 50.0 ●", "✓ 58.0", "▲ 70.0")
    ]
    assert all(cooler - hotter > 10.0 for cooler, hotter in pairwise(greys))
    # dark text on the darkest: contrast well above 4.5 (WCAG 2.2, 1.4.3); grey 140 of 255 is about 6
    assert greys[-1] > 140.0
    thick = {
        name: {
            side for side in ("left", "right", "top", "bottom") if getattr(cell.border, side).style == "thick"
        }
        for name, cell in cells.items()
    }
    assert thick == {
        "▲ 90.0": set(),
        "▲ 70.0": set(),
        "✓ 58.0": {"left", "right", "top"},
        "✓ 50.0 ●": {"left", "top", "bottom"},
        "✓ 40.0": {"right", "bottom"},
    }


def test_live_formulas_give_the_report_s_figures(demo):
    report = cure_report(demo, "Hem robot")
    held = openpyxl.load_workbook(io.BytesIO(cure_workbook(report)), data_only=True)
    sheet = held["Pot life"]
    cells = {sheet.cell(row, 1).value: sheet.cell(row, 3).value for row in range(1, sheet.max_row + 1)}
    there = cells["Your temperature [°C]"] + 273.15
    assert cells["Pot life there [min]"] == pytest.approx(report.day.life.at(there) / 60.0, rel=1e-9)
    joints = openpyxl.load_workbook(
        io.BytesIO(cure_workbook(cure_report(demo, "Plate paste"))), data_only=True
    )["Pressed joints"]
    found = [cell.value for row in joints.iter_rows() for cell in row if isinstance(cell.value, float)]
    nominal = cure_report(demo, "Plate paste").joints[0].resistance.nominal
    assert any(value == pytest.approx(nominal, rel=1e-9) for value in found)


def test_text_of_the_plan_is_never_a_formula():
    rows = pot_rows()
    for table, column in (("Parts", "part"), ("Beads", "part"), ("Pots", "part"), ("Builds", "part")):
        rows[table][0][column] = '=HYPERLINK("x")'
    rows["Pots"][0]["pot"] = "=1+1"
    rows["Beads"][0] |= dict(bead="=2+2", bond_line=0.5, flange_width=30)
    book = openpyxl.load_workbook(io.BytesIO(cure_workbook(cure_report(make(rows), "hem"))))
    shown = [
        cell for sheet in book for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str)
    ]
    assert any(cell.value.startswith("=HYPERLINK") and cell.data_type != "f" for cell in shown)
    assert not any("HYPERLINK" in cell.value for cell in shown if cell.data_type == "f")


def test_demo_joints_and_pour_of_the_plan(demo):
    report = cure_report(demo, "Plate paste")
    assert [item.passes for item in report.joints] == [True, True]
    pour = cure_report(demo, "Block potting").pours[0]
    assert pour.planned_peak < pour.limit < pour.peak  # two shots are what keeps it under the limit


def table_lines(text: str, title: str) -> list[list[str]]:
    """Headings and first row of the table below a title, in cells."""
    lines = text.splitlines()
    start = lines.index(title) + 1
    return [re.split(r"  +", line.strip()) for line in lines[start : start + 2]]


def test_squeeze_out_in_millilitres():
    rows = hand_rows()
    rows["Joints"] = [
        dict(joint="plate", part="frame", station="hem", length=40, width=25, gap=0.3, coverage=1, extra=0.5)
    ]
    rows["Beads"] = [
        dict(bead="edge", part="frame", station="hem", section="round", width=3, length=1000)
        | dict(bond_line=0.5, flange_width=10)
    ]
    rows["Stations"][0]["flow"] = 1
    report = cure_report(make(rows), "hem")
    text = report.as_text()
    # half of 40·25·0.3 mm³ leaves the plate: 0.15 mL; π·3²/4 − 0.5·10 mm² of 1000 mm leave the flange:
    # 2.07 mL, by hand; the paste's density is in neither
    for title, heading, amount in (("Pressed joints", "out [mL]", 0.15), ("Pressed beads", "out [mL]", 2.07)):
        head, row = table_lines(text, title)
        assert row[head.index(heading)] == f"{amount:.2f}"
    found = report.as_json()
    assert found["joints"][0]["volume"]["nominal"] == pytest.approx(0.45)
    assert found["joints"][0]["squeeze_out"] == pytest.approx(0.15)
    assert found["beads"][0]["squeeze_out"] == pytest.approx(math.pi * 2.25 - 5.0)


def test_command_writes_json_and_workbook(plan_file, tmp_path, capsys):
    record = write(tmp_path / "hot.csv", "Time,Temperature [°F]\n06:00,86\n22:00,95\n")
    out = tmp_path / "cure.xlsx"
    code = main(
        [
            "cure",
            str(plan_file),
            "--station",
            "Hem robot",
            "--record",
            str(record),
            "--out",
            str(out),
            "--json",
        ]
    )
    found = json.loads(capsys.readouterr().out)
    assert code == 0 and out.is_file() and found["temperature_record"] == "file hot.csv"
    assert found["working_life"]["rows"][0]["temperature"] == pytest.approx(30.0)
    assert main(["cure", str(plan_file), "--station", "nowhere"]) == 1
    assert "nowhere" in capsys.readouterr().err


def test_inputs_are_never_written_over(plan_file, tmp_path):
    before = plan_file.read_bytes()
    with pytest.raises(FileError):
        cure_file(plan_file, "Hem robot", out=plan_file)
    assert plan_file.read_bytes() == before
    with pytest.raises(InputError):
        cure_file(plan_file, "Hem robot", out=tmp_path / "cure.csv")


def test_shop_record_must_be_a_clock_record_of_one_day(demo, tmp_path):
    long = write(tmp_path / "long.csv", "Time,Temperature\n2026-03-02 06:00,20\n2026-03-04 06:00,20\n")
    assert "more than a day" in problems_of(cure_report, demo, "Hem robot", record=read_record(long))[0]
    two = write(tmp_path / "two.csv", "Time,Temperature 1,Temperature 2\n06:00,20,21\n07:00,20,21\n")
    assert "several temperature" in problems_of(cure_report, demo, "Hem robot", record=read_record(two))[0]


def test_record_replaces_that_of_the_plan_and_leaves_the_plan(demo, tmp_path):
    hot = read_record(write(tmp_path / "hot.csv", "Time,Temperature\n06:00,33\n22:00,33\n"))
    before = cure_report(demo, "Hem robot").day.shortest.life
    found = cure_report(demo, "Hem robot", record=hot).day.shortest.life
    assert found == pytest.approx(22 * 60.0, rel=1e-9)  # the data sheet's second point: 22 min at 33 °C
    assert cure_report(demo, "Hem robot").day.shortest.life == before


# ----------------------------------------------------------------------------------------- fitting


def test_fit_of_an_energy_against_a_regression(tmp_path):
    rows = [(15, 95.0), (23, 60.0), (30, 37.0), (40, 20.5)]
    text = "Temperature [°C];Time [min]\n" + "".join(f"{a};{str(b).replace('.', ',')}\n" for a, b in rows)
    found = fit_file(write(tmp_path / "a.csv", text), "arrhenius")
    line = linregress([1 / (a + 273.15) for a, _ in rows], np.log([b for _, b in rows]))
    energy = found.constants[0]
    assert energy.value == pytest.approx(line.slope * R / 1e3, rel=1e-9)
    half = student.ppf(0.975, 2) * line.stderr * R / 1e3
    assert energy.error == pytest.approx(line.stderr * R / 1e3, rel=1e-9)
    assert (energy.low, energy.high) == pytest.approx((energy.value - half, energy.value + half))
    assert found.plan_columns == [("Activation energy [kJ/mol]", energy.value)]


def test_fit_says_that_one_energy_does_not_hold(tmp_path):
    # two reactions side by side, 40 and 95 kJ/mol: the slope of ln t on 1/T grows from 20 to 60 °C;
    # how far a line is off at the ends by numpy's polyfit
    heat = np.array([20.0, 30.0, 40.0, 50.0, 60.0]) + 273.15
    rates = [np.exp(-energy / R * (1 / heat - 1 / at)) for energy, at in ((40e3, 293.15), (95e3, 303.15))]
    minutes = 300.0 / sum(rates)
    rows = [f"{at - 273.15:.2f},{time:.3f}" for at, time in zip(heat, minutes, strict=True)]
    path = write(tmp_path / "bent.csv", "Temperature [°C],Time [min]\n" + "\n".join(rows) + "\n")
    report = fit_file(path, out=tmp_path / "bent.xlsx")
    gap = np.polyval(np.polyfit(1 / heat, np.log(minutes), 1), 1 / heat) - np.log(minutes)
    (words,) = (words for words in report.warnings if "one energy does not hold" in words)
    assert gap[0] > 0.0 and f"{math.expm1(gap[0]):.0%} too long at 20 °C" in words
    assert "too long at 60 °C" in words and "do not extrapolate" in words
    assert words in " ".join(report.as_text().split())
    found = json.loads(json.dumps(report.as_json()))
    assert words in found["warnings"] and found["curvature"]["chance"] < 0.05
    cold = found["curvature"]["line_misses"][0]
    assert cold["temperature"] == pytest.approx(20.0)
    assert cold["share_of_time"] == pytest.approx(math.expm1(gap[0]), abs=0.01)
    sheet = openpyxl.load_workbook(report.out)["Fit"]
    assert any(words[1:] in str(cell.value) for line in sheet.iter_rows() for cell in line)


def test_fit_of_two_points_has_no_interval(tmp_path):
    # 60 min at 23 °C and 25 min at 35 °C: 55.35635557 kJ/mol, by hand
    path = write(tmp_path / "a.csv", "Temperature,Time [h]\n23,1\n35,0.41666666666667\n")
    found = fit_file(path)
    assert found.constants[0].value == pytest.approx(55.35635557, rel=1e-8)
    assert found.constants[0].low is None and "two points" in found.warnings[0]
    json.dumps(found.as_json(), allow_nan=False)


def test_fit_of_kinetics_feeds_the_plan(tmp_path):
    # degrees by the closed form 1 − (1 + (n − 1)kt)^(1/(1−n)), n = 1.5, 60 kJ/mol, 2e5 1/s
    lines = ["Time [min],Temperature [°C],Degree [%]"]
    for celsius in (60, 80, 100):
        k = 2e5 * math.exp(-60e3 / (R * (celsius + 273.15)))
        lines += [
            f"{minutes},{celsius},{100 * (1 - (1 + 0.5 * k * minutes * 60) ** -2):.10f}"
            for minutes in (5, 10, 20, 40, 80, 160)
        ]
    out = tmp_path / "fit.xlsx"
    found = fit_file(write(tmp_path / "n.csv", "\n".join(lines)), "n-th", out=out)
    columns = dict(found.plan_columns)
    assert columns["A1 [1/min]"] == pytest.approx(1.2e7, rel=1e-4)
    assert columns["E1 [kJ/mol]"] == pytest.approx(60.0, rel=1e-5)
    assert columns["Order n"] == pytest.approx(1.5, rel=1e-5)
    # keys of the JSON stay when a header of the plan gets other words
    assert list(found.as_json()["plan_columns"]) == ["Rate 1 [1/min]", "Energy 1 [kJ/mol]", "Order n"]
    sheet = openpyxl.load_workbook(out)["Fit"]
    assert len(sheet._charts) == 2
    rows = hand_rows()
    rows["Materials"][0] |= {"rate_1": columns["A1 [1/min]"], "energy_1": 60, "order_n": 1.5}
    assert kinetics_of(make(rows), make(rows).material("Bond 60")).factor == pytest.approx(2e5, rel=1e-4)


def test_fit_of_one_temperature_warns(tmp_path):
    lines = ["Time,Temperature,Degree"] + [f"{t},80,{1 - math.exp(-0.02 * t):.9f}" for t in range(5, 100, 10)]
    found = fit_file(write(tmp_path / "one.csv", "\n".join(lines)), "n-th")
    assert any("one temperature" in words for words in found.warnings)


def test_fit_problems(tmp_path):
    text = "Time,Temperature,Degree\n-1,80,0.5\n10,x,2\n"
    found = problems_of(fit_file, write(tmp_path / "p.csv", text), "n-th")
    assert len(found) == 3 and all("p.csv row" in words for words in found)
    assert "one of arrhenius" in problems_of(fit_file, tmp_path / "p.csv", "linear")[0]


@pytest.mark.libreoffice
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_heading_stands_alone_at_the_foot_of_a_page(demo, paper, tmp_path):
    # pages as LibreOffice breaks them: the line above the footer is never a heading
    headings = {"Notes", "Cautions", "Warnings", "Gap, time, coverage", "Volume and squeeze-out"}
    for number, station in enumerate(("Plate paste", "Gasket robot", "Block potting")):
        (tmp_path / f"{number}.xlsx").write_bytes(cure_workbook(cure_report(demo, station), paper))
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation=file://{tmp_path}/profile",
            "--headless",
            "--convert-to",
            "pdf",
            "--outdir",
            str(tmp_path),
            *map(str, tmp_path.glob("*.xlsx")),
        ],
        check=True,
        capture_output=True,
        timeout=240,
    )
    pages = 0
    for path in tmp_path.glob("*.pdf"):
        text = subprocess.run(
            ["pdftotext", "-layout", str(path), "-"], check=True, capture_output=True, text=True, timeout=60
        ).stdout
        for page in text.split("\f")[:-1]:
            lines = [line.strip() for line in page.splitlines() if line.strip()]
            assert re.search(r"page \d+ of \d+$", lines[-1])  # the footer
            assert lines[-2] not in headings, (path.name, lines[-3:])
            pages += 1
    assert pages > 12


def test_pictures_of_the_docs_are_of_today(demo):
    """`sh examples/pictures.sh` makes them, and keeps what their charts drew."""
    book = io.BytesIO(cure_workbook(cure_report(demo, "Block potting")))
    assert_of_today("cure_working_life", book, "Pot life")
    assert_of_today("cure_exotherm", book, "Exotherm")
