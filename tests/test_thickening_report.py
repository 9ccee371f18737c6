"""Kinetics that stop and material that thickens, in a plan: verdicts, findings, the cure report."""

from __future__ import annotations

import math

import openpyxl
import pytest
from plans import MONDAY, hand_rows, make
from scipy.integrate import quad
from scipy.optimize import brentq

from dispense.base.errors import InputError
from dispense.handbook.kinetics import DiffusionFactor, DiffusionResistance, Piecewise, RateTable
from dispense.jobs.cure import cure_file
from dispense.plan.materials import kinetics_of
from dispense.reports.findings import station_findings
from dispense.reports.thickening import thickening_report
from dispense.shift.play import play_plan
from dispense.shift.today import Today, Told

R = 8.31446261815324
SLOWING = dict(rate_1=2e7, energy_1=58, order_n=2, glass_uncured=-20, glass_cured=150, glass_lambda=0.45)


def oven_rows(top, hold, **material):
    rows = hand_rows()
    rows["Materials"][0] |= dict(cure="oven", cure_temperature=top, move_time=None, test_time=None) | material
    rows["Profiles"] = [
        dict(profile="p", time=0, temperature=top),
        dict(profile="p", time=hold, temperature=top),
    ]
    rows["Ovens"] = [dict(part="frame", station="hem", profile="p", start_temperature=top)]
    return rows


def place_of(rows):
    return cure_file(make(rows), "hem").runs[0]


def test_a_cure_that_diffusion_stops_does_not_pass():
    # 1/k = 1/k_c + 1/k_d (Rabinowitch; WLF 17.44, 51.6 K; k_d0 0.5 1/min): at 70 °C the degree is 0.7538
    # after 480 min by quadrature and an implicit integrator; without diffusion it passes
    stopped = SLOWING | dict(diffusion_rate=0.5, full_degree=0.8)
    run = place_of(oven_rows(70, 480, **stopped))
    (place,) = run.places
    assert not place.passes and place.degrees[-1] == pytest.approx(0.75384585, abs=1e-5)
    assert any("diffusion stops" in words for words in place.reasons)
    # the glass transition is 70 °C at 0.7142857 by DiBenedetto, solved by hand: 0.9/(0.45 + 0.55·0.9·…)
    share = 90 / 170
    degree = share / (0.45 + 0.55 * share)
    assert degree == pytest.approx(0.7142857143, rel=1e-9)
    (met,) = place.crossings
    assert met.hardens and met.temperature == pytest.approx(343.15)

    def slowed(a):
        k = 2e7 * math.exp(-58000 / (R * 343.15))
        above = 70 - (-20 + 170 * 0.45 * a / (1 - 0.55 * a))
        kd = 0.5 * 10 ** (17.44 * above / (51.6 + above))
        return 1 / (k * kd / (k + kd) * (1 - a) ** 2)

    assert met.time / 60 == pytest.approx(quad(slowed, 0, degree)[0], rel=1e-3)
    assert place.verdict == f"fail: a glass from {met.time / 60:.0f} min"
    assert run.hold_needed is None
    hot = place_of(oven_rows(100, 480, **stopped))
    assert hot.passes
    free = place_of(oven_rows(70, 2000, **(stopped | dict(diffusion_rate=None))))
    assert free.places[0].degrees[-1] > 0.8


def test_pass_needs_the_glass_transition_above_the_service_temperature():
    stopped = SLOWING | dict(diffusion_rate=0.5, full_degree=0.7)
    # at degree 0.75384585: −20 + 170·0.45·0.75384585/(1 − 0.55·0.75384585) = 78.5 °C
    reached = -20 + 170 * 0.45 * 0.75384585 / (1 - 0.55 * 0.75384585)
    assert place_of(oven_rows(70, 480, **stopped)).passes
    assert place_of(oven_rows(70, 480, **stopped, service_temperature=reached - 1)).passes
    run = place_of(oven_rows(70, 480, **stopped, service_temperature=reached + 1))
    assert not run.passes
    assert any(f"glass transition ends at {reached:.1f} °C" in words for words in run.places[0].reasons)
    plan = make(oven_rows(70, 480, **stopped, service_temperature=reached + 1))
    assert any("service temperature" in item.text for item in station_findings(plan, "hem"))


def test_kinetics_by_table_in_the_plan():
    rows = oven_rows(60, 192)
    rows["Kinetics"] = [
        dict(material="Bond 60", name=name, value=value)
        for name, value in (
            ("T", 60),
            ("E", 60),
            (0, 0.002),
            (0.1, 0.006),
            (0.3, 0.012),
            (0.5, 0.01),
            (0.7, 0.005),
            (0.85, 0.0015),
            (0.95, 0.0002),
        )
    ]
    plan = make(rows)
    assert isinstance(kinetics_of(plan, plan.materials[0]), RateTable)
    # degree 0.9 after 191.8181704 min, logarithms per segment and quadrature
    degrees, times = place_of(rows).places[0].degrees, place_of(rows).times
    assert float(times[-1]) / 60 == 192 and 0.9 < degrees[-1] < 0.9 + 0.2 * 0.001
    rows["Kinetics"] = [
        dict(material="Bond 60", name=name, value=value)
        for name, value in (("A1", 1e6), ("E1", 55), ("from", 0.3), ("A1", 1e5), ("E1", 50), ("n", 1.5))
    ]
    rows["Materials"][0] |= dict(diffusion_strength=30, diffusion_degree=0.5, diffusion_slope=0.0045)
    plan = make(rows)
    known = kinetics_of(plan, plan.materials[0])
    assert isinstance(known, Piecewise) and known.switches == (0.3,)
    assert all(isinstance(one, DiffusionFactor) for one in known.branches)
    rows["Kinetics"][1]["name"] = "Q"
    with pytest.raises(InputError, match="one of A1"):
        make(rows)


def test_constants_that_need_others_are_named():
    for given, words in (
        (dict(diffusion_strength=30), "needs diffusion degree"),
        (dict(diffusion_rate=1), "needs Tg uncured"),
        (dict(service_temperature=60), "needs Tg uncured"),
        (dict(later_viscosity=5), "needs later time and consistency"),
        (dict(thickening_exponent=1.5), "needs conversion at gel and consistency"),
        (dict(consistency=5, later_viscosity=4, later_time=10), "not above the first"),
    ):
        rows = hand_rows()
        rows["Materials"][0] |= dict(rate_1=1e6, energy_1=55) | given
        with pytest.raises(InputError, match=words):
            make(rows)
    rows = hand_rows()
    rows["Materials"][0] |= SLOWING | dict(diffusion_rate=0.5)
    plan = make(rows)
    assert isinstance(kinetics_of(plan, plan.materials[0]), DiffusionResistance)


# --------------------------------------------------------------------------------------- thickening


def thick_rows(**station):
    """A mix of 20 Pa·s that comes to 40 after 30 min at 23 °C; pot life 60 min there, purge at 60 %."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(consistency=20, viscosity_temperature=23, later_viscosity=40, later_time=30)
    rows["Materials"][0] |= dict(activation_energy=60)
    rows["Stations"][0] |= dict(nozzle_bore=2, nozzle_length=25, shop_temperature=23) | station
    return rows


FRESH = 128 * 20 * 0.025 * 1e-6 / (math.pi * 0.002**4) / 1e5  # bar: 128μLQ/(πD⁴) of 1 mL/s, 12.73
TO_20_BAR = 30 * math.log2(20 / FRESH)  # min


def test_the_limit_of_pressure_asks_for_the_purge():
    plan = make(thick_rows(pressure_limit=20))
    found = thickening_report(plan, "hem")
    (case,) = found.cases
    assert found.fresh / 1e5 == pytest.approx(FRESH, rel=1e-9)
    assert case.pressure_life / 60 == pytest.approx(TO_20_BAR, rel=1e-5)
    assert case.purge_age / 60 == pytest.approx(TO_20_BAR, rel=1e-5)  # not the 36 of the plan's share
    assert case.pressure / 1e5 == pytest.approx(20.0, rel=1e-5)
    (sooner,) = [item for item in found.findings if item.topic == "purge by pressure"]
    share = math.floor(100 * TO_20_BAR / 60)
    assert f"limit of 20 bar at {share} % of its pot life, before the stated 60 %" in sooner.text
    assert sooner in station_findings(plan, "hem")
    assert not [item for item in found.findings if item.kind == "danger"]
    (told,) = [item for item in found.findings if item.topic == "thickening"]
    assert f"needs {FRESH:.3g} bar fresh and up to 20 bar before a purge" in told.text
    # kept by the stated share where the limit is above it, and where the station purges sooner
    for change in (dict(pressure_limit=30), dict(pressure_limit=20, purge_share=0.3)):
        quiet = thickening_report(make(thick_rows(**change)), "hem")
        assert not [item for item in quiet.findings if item.is_warning]
    case = thickening_report(make(thick_rows(pressure_limit=30)), "hem").cases[0]
    assert case.purge_age / 60 == pytest.approx(36.0)
    assert case.pressure / 1e5 == pytest.approx(FRESH * 2**1.2, rel=1e-6)
    # the fresh mix above the limit is told by the setup card alone
    early = station_findings(make(thick_rows(pressure_limit=10)), "hem")
    assert [item.topic for item in early if item.kind == "danger"] == ["pressure limit"]


def test_a_limit_that_no_purge_keeps_is_a_danger():
    # reached 14 s after the mix is fresh, sooner than a purge of 30 s is over
    assert 60 * 30 * math.log2(12.8 / FRESH) < 30.0
    found = thickening_report(make(thick_rows(pressure_limit=12.8, purge_time=30)), "hem")
    (danger,) = [item for item in found.findings if item.kind == "danger"]
    assert danger.topic == "pressure at the purge" and "limit of 12.8 bar" in danger.text
    assert found.cases[0].purge_age / 60 == pytest.approx(36.0)


def test_the_shift_is_played_with_the_purge_that_the_pressure_asks_for():
    plans = [make(thick_rows(**limit)) for limit in ({}, dict(pressure_limit=20))]
    stated, sooner = (next(iter(play_plan(plan))) for plan in plans)
    assert stated.station.purge_share == 0.6
    assert sooner.station.purge_share == pytest.approx(TO_20_BAR / 60, rel=1e-5)
    # nothing stands past either: it is purged, or comes off, when the limit is reached
    for played in (stated, sooner):
        assert any("reaches its limit at" in event.text for event in played.events)
    assert stated.events != sooner.events


def test_a_purge_is_a_flow_under_the_same_limit():
    """128μLQ/(πD⁴) by hand: 1 mL/s needs 12.7 bar, a purge of 10 mL in 2 s five times; twice in 30 min."""
    rows = thick_rows(pressure_limit=30, purge_volume=10, purge_time=2)
    plan = make(rows)
    (told,) = [item for item in station_findings(plan, "hem") if item.topic == "pressure of a purge"]
    assert told.kind == "danger"
    assert told.numbers["flow [mL/s]"] == pytest.approx(5.0)
    assert told.numbers["fresh [bar]"] == pytest.approx(5 * FRESH, rel=1e-6)
    assert told.numbers["aged [bar]"] == pytest.approx(5 * FRESH * 2**1.2, rel=1e-6)  # at 60 % of 60 min
    # the parts go on at 1 mL/s: with the same mix less than the limit
    assert f"that mix needs {math.ceil(10 * FRESH * 2**1.2) / 10:g} bar" in told.text
    # a Newtonian mix: the time grows as the pressure
    least = math.ceil(2 * 5 * FRESH * 2**1.2 / 30)
    assert f"purge in {least} s or more" in told.fix and "never run above" in told.fix
    for quiet in (
        dict(purge_time=least),
        dict(purge_time=0),
        dict(rule="change mixer"),
        dict(pressure_limit=200),
    ):
        calm = make(thick_rows(**dict(pressure_limit=30, purge_volume=10, purge_time=2) | quiet))
        assert "pressure of a purge" not in {item.topic for item in station_findings(calm, "hem")}
    # a mix that does not say how it thickens: fresh
    rows["Materials"][0] |= dict(later_viscosity=None, later_time=None)
    (told,) = [item for item in station_findings(make(rows), "hem") if item.topic == "pressure of a purge"]
    assert told.numbers["aged [bar]"] == pytest.approx(5 * FRESH, rel=1e-6) and " old" not in told.text


def test_mix_that_a_break_would_age_past_its_limit_is_not_pressed_out():
    """The mixer comes off before the break: a purge after it would need 2^(40/30) of the fresh pressure."""
    rows = thick_rows(purge_volume=10, purge_time=10, purge_share=0.3, pressure_limit=25)
    plan = make(rows)
    # at 18 min 19.3 bar are needed, less than the limit: before a shift is played there is nothing to tell
    assert not [item for item in station_findings(plan, "hem") if item.kind == "danger"]
    result = next(iter(play_plan(plan)))
    assert result.station.purge_share == 0.3
    # 18 min are less than the break of 30: no purge keeps the limit, and nobody presses 40 min old mix out
    assert any(event.kind == "off" for event in result.events)
    assert "pressure of a purge" not in {item.topic for item in result.findings}
    rows["Breaks"] = []
    result = next(iter(play_plan(make(rows))))
    assert "pressure of a purge" not in {item.topic for item in result.findings}


def test_a_purge_of_a_mixer_that_is_told_to_be_old_is_judged_as_it_comes():
    """Told at 7:00: put on at 6:20. 40 min of mix need 2^(40/30) of the fresh pressure, 32 bar, limit 25."""
    plan = make(thick_rows(purge_volume=10, purge_time=10, purge_share=0.5, pressure_limit=25))
    assert "pressure of a purge" not in {item.topic for item in station_findings(plan, "hem")}
    told = Told(1, mixers={0: 6 * 3600.0 + 1200.0})
    (result,) = play_plan(plan, today=Today(MONDAY, "early", 7 * 3600.0, {"hem": told}))
    (danger,) = [item for item in result.findings if item.topic == "pressure of a purge"]
    assert danger.kind == "danger" and danger.text.startswith("07:00: ")
    assert danger.numbers["aged [bar]"] == pytest.approx(FRESH * 2 ** (40 / 30), rel=1e-6)


def test_the_loss_of_flow_asks_for_the_purge_in_plan_and_shift():
    # Q goes as 1/m^(1/n): 10 % lost at m·(1/0.9)^n, n = 0.5, where the mix doubles in 30 min
    rows = thick_rows(flow_loss=0.1, pressure_limit=500, meter="pressure-time", meter_tolerance=0.02)
    rows["Materials"][0] |= dict(index=0.5)
    plan = make(rows)
    life = 30 * 0.5 * math.log2(1 / 0.9)  # min
    found = thickening_report(plan, "hem")
    (case,) = found.cases
    assert case.flow_life / 60 == pytest.approx(life, rel=1e-6)
    assert case.purge_age == pytest.approx(case.flow_life, rel=1e-9)
    assert case.drift == pytest.approx(0.1, rel=1e-6)
    (sooner,) = [item for item in station_findings(plan, "hem") if item.topic.startswith("purge by")]
    share = math.floor(1000 * life / 60) / 10  # 3.8 of 3.80: rounded down, a decimal below 10 %
    assert sooner.topic == "purge by flow" and sooner.kind == "quality"
    assert f"lost 10% of its flow at constant pressure at {share} % of its pot life" in sooner.text
    played = next(iter(play_plan(plan)))
    assert played.station.purge_share == pytest.approx(life / 60, rel=1e-6)
    assert any("reaches its limit at" in event.text for event in played.events)


def test_the_sooner_of_pressure_and_flow_decides():
    pressure = thickening_report(make(thick_rows(pressure_limit=20, flow_loss=0.5)), "hem")
    assert pressure.cases[0].purge_age / 60 == pytest.approx(TO_20_BAR, rel=1e-5)  # the flow halves at 30
    assert [item.topic for item in pressure.findings if item.is_warning] == ["purge by pressure"]
    flow = thickening_report(make(thick_rows(pressure_limit=20, flow_loss=0.3)), "hem")
    assert flow.cases[0].purge_age / 60 == pytest.approx(30 * math.log2(1 / 0.7), rel=1e-6)
    assert [item.topic for item in flow.findings if item.is_warning] == ["purge by flow"]
    quiet = thickening_report(make(thick_rows(flow_loss=0.8)), "hem")  # 70 min, past 60 % of the pot life
    assert quiet.cases[0].purge_age / 60 == pytest.approx(36.0)
    assert not [item for item in quiet.findings if item.is_warning]


def test_a_loss_of_flow_that_no_purge_keeps_is_told():
    # 1 % is lost after 26 s, a purge takes 30 s; by the stated share the mix is 36 min old
    assert 60 * 30 * math.log2(1 / 0.99) < 30.0
    found = thickening_report(make(thick_rows(flow_loss=0.01, purge_time=30)), "hem")
    (told,) = [item for item in found.findings if item.is_warning]
    assert told.topic == "flow at the purge" and told.kind == "quality"
    assert f"by the purge after 36 min it falls by {1 - 2**-1.2:.0%}" in told.text
    assert found.cases[0].purge_age / 60 == pytest.approx(36.0)


def test_pressure_moves_with_the_shop_temperature():
    # Arrhenius by hand: at 33 °C life and thickening are quicker by the same factor, the share stays
    quick = math.exp(60e3 / R * (1 / 296.15 - 1 / 306.15))
    found = thickening_report(make(thick_rows(pressure_limit=30, shop_temperature=33)), "hem")
    (case,) = found.cases
    assert case.purge_age / 60 == pytest.approx(36 / quick, rel=1e-6)
    assert case.doubled / 60 == pytest.approx(30 / quick, rel=1e-6)


def test_shots_of_a_meter_by_pressure_drift():
    # 1 − 2^(−36/30) = 56 %; ±5 % is kept for 30·log2(1/0.95) = 2.2 min
    found = thickening_report(make(thick_rows(meter="pressure-time", meter_tolerance=0.05)), "hem")
    (drift,) = [item for item in found.findings if item.topic == "shot drift"]
    assert drift.kind == "quality" and "would fall by 56%" in drift.text
    # the time that it is kept is a limit: 2.2 min, never rounded up; the purge at 36 min may never be played
    assert "kept for 2.2 min" in drift.text and "stood 36 min, the longest before a purge" in drift.text
    assert found.cases[0].drift_life / 60 == pytest.approx(30 * math.log2(1 / 0.95), rel=1e-6)
    found = thickening_report(make(thick_rows(meter="gear pump", meter_tolerance=0.05)), "hem")
    (drift,) = [item for item in found.findings if item.topic == "shot drift"]
    assert drift.kind == "note"


def test_a_law_with_a_gel_point_in_the_plan():
    # k = 0.01 1/min at any temperature, gel at 0.6, exponent 1.5: [0.6/(0.6 − (1 − exp(−0.36)))]^1.5
    rows = thick_rows()
    rows["Materials"][0] |= dict(later_viscosity=None, later_time=None, rate_1=0.01, energy_1=0, order_n=1)
    rows["Materials"][0] |= dict(gel_degree=0.6, thickening_exponent=1.5)
    found = thickening_report(make(rows), "hem")
    degree = 1 - math.exp(-0.36)
    assert found.cases[0].pressure / found.fresh == pytest.approx((0.6 / (0.6 - degree)) ** 1.5, rel=1e-6)
    doubled = brentq(lambda t: (0.6 / (0.6 - (1 - math.exp(-0.01 * t)))) ** 1.5 - 2, 0, 90)
    assert found.cases[0].doubled / 60 == pytest.approx(doubled, rel=1e-6)


def test_pot_life_against_mass_ends_where_the_data_sheet_does():
    rows = thick_rows(mixer_volume=500)
    rows["Materials"][0] |= dict(
        rate_1=2e7, energy_1=58, order_n=1.6, heat=300, specific_heat=1.8, conductivity=0.2, pot_life_mass=100
    )
    found = thickening_report(make(rows), "hem")
    lives = {round(1e3 * item.mass): item.life / 60 for item in found.masses}
    assert lives[100] == pytest.approx(60.0, rel=1e-3)  # the data sheet's own point, at its temperature
    assert lives[550] == min(life for mass, life in lives.items() if mass <= 550)  # 500 mL of 1.1 g/mL
    assert list(lives.values()) == sorted(lives.values(), reverse=True)


def test_a_pot_life_that_does_not_fit_its_kinetics_is_told():
    # k = 2 1/min at any temperature: 1 − exp(−2·60) is full cure long before the pot life of 60 min ends
    rows = thick_rows(mixer_volume=500)
    rows["Materials"][0] |= dict(
        rate_1=2, energy_1=0, order_n=1, heat=300, specific_heat=1.8, conductivity=0.2, pot_life_mass=100
    )
    found = thickening_report(make(rows), "hem")
    assert not found.masses
    (told,) = [item for item in found.findings if item.topic == "pot life against mass"]
    assert "100 g are cured through" in told.text
    # told as well where the plan does not say how the mix thickens, in check and in cure
    rows["Materials"][0] |= dict(thickening_growth=None, later_viscosity=None, later_time=None)
    rows["Materials"][0] |= dict(thickening_exponent=None)
    plain = make(rows)
    assert thickening_report(plain, "hem") is None
    for found in (station_findings(plain, "hem"), cure_file(plain, "hem").findings):
        assert [item.text for item in found if item.topic == "pot life against mass"] == [told.text]


def test_a_plan_that_says_nothing_of_it_has_no_report():
    assert thickening_report(make(hand_rows()), "hem") is None


def test_workbook_draws_it(tmp_path):
    rows = thick_rows(pressure_limit=20, mixer_volume=500)
    rows["Materials"][0] |= dict(
        rate_1=2e7, energy_1=58, order_n=1.6, heat=300, specific_heat=1.8, conductivity=0.2, pot_life_mass=100
    )
    out = tmp_path / "cure.xlsx"
    report = cure_file(make(rows), "hem", out=out)
    book = openpyxl.load_workbook(out)
    assert len(book["Thickening"]._charts) == 2
    assert report.as_json()["thickening"]["pressure_limit"] == pytest.approx(20.0)
    assert "Thickening" in report.as_text()
    stopped = SLOWING | dict(diffusion_rate=0.5, full_degree=0.8)
    cure_file(make(oven_rows(70, 480, **stopped)), "hem", out=out)
    sheet = openpyxl.load_workbook(out)["Oven"]
    assert len(sheet._charts) == 4
    words = [cell.value for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str)]
    assert any("turns into a glass" in text for text in words)


def test_a_table_of_unknown_names_is_refused():
    rows = oven_rows(60, 192)
    rows["Kinetics"] = [dict(material="Bond 60", name="nonsense", value=1)]
    with pytest.raises(InputError, match="names of constants"):
        make(rows)
