"""Shot weights against the plan: what is asked for is asked for with the stated certainty.

References: the regressions against the textbook formulas written here and scipy.stats (its own code); the
control limits against the e-Handbook's formulas by hand; false alarms and finds by simulation with a seed,
judged by the binomial spread of a count.
"""

from __future__ import annotations

import datetime
import json
import math

import numpy as np
import openpyxl
import pytest
from plans import hand_rows, make
from scipy import optimize, stats

from dispense.books.plan import new_plan, write_plan
from dispense.cli import main
from dispense.journal.entries import (
    SETTING,
    VOLUME,
    VOLUME_A,
    VOLUME_B,
    WEIGHT,
    WEIGHT_A,
    WEIGHT_B,
    Booking,
    Entry,
)
from dispense.journal.statistics import FALSE_ALARMS, effects, level, short_term_sd
from dispense.journal.store import Booked
from dispense.journal.weighed import component_targets
from dispense.journal.weights import WEIGH_MORE, Weight, Weights, gather, judge, weights_findings, weights_of
from dispense.plan.read import load_plan
from dispense.shift.setup import pressure_growth, setup_card

MONDAY = datetime.datetime(2026, 3, 2, 6, 0)


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return load_plan(write_plan(hand_rows(), tmp_path_factory.mktemp("weights") / "plan.xlsx"))


def series(plan, deviations, target=5.0, half=3.0, lots=None, warm=None) -> Weights:
    """Weights one an hour, eight a day; a mixer each two hours, a container each day at noon."""
    found = []
    for place, value in enumerate(deviations):
        day, hour = divmod(place, 8)
        moment = MONDAY + datetime.timedelta(days=day, hours=hour)
        entry = Entry(
            WEIGHT,
            f"n {place}",
            f"w.csv row {place}",
            time=moment.isoformat(),
            value=target * (1 + value / 100),
            station=plan.stations[0].station,
            unit="g",
        )
        factors = {
            "hour of the day": 6.0 + hour,
            "temperature": 18.0 + 4.0 * math.sin(hour / 3.0) if warm is None else warm[place],
            "time since mixer change": float(hour % 2) + 0.3,
            "time since container change of A": float((place + 4) % 8),
        }
        found.append(
            Weight(
                entry,
                moment,
                1,
                target,
                target * (1 - half / 100),
                target * (1 + half / 100),
                factors,
                {"lot of A": lots[place]} if lots else {},
            )
        )
    return Weights(plan.stations[0].station, "check shots", found)


def judged(plan, deviations, entries=(), **options) -> Weights:
    return judge(series(plan, deviations, **options), plan, list(entries))


# ------------------------------------------------------------------------------------- the figures


def test_limits_of_single_values_by_hand(plan):
    """e-Handbook 6.3.2.2: mean ± 2.66·mean moving range (3/1.128), upper limit of the range 3.267 of it."""
    values = np.array([0.2, -0.4, 0.1, 0.9, -0.3, 0.0, 0.5, -0.6])
    found = judged(plan, values)
    mean_range = np.mean([0.6, 0.5, 0.8, 1.2, 0.3, 0.5, 1.1])
    low, centre, high = found.charts["individuals"][0]
    assert (low, centre, high) == pytest.approx(
        (0.05 - 2.6596 * mean_range, 0.05, 0.05 + 2.6596 * mean_range), rel=1e-3
    )
    assert found.charts["individuals"][1][2] == pytest.approx(3.267 * mean_range, rel=1e-3)
    assert found.sd == pytest.approx(mean_range / 1.128, rel=1e-3)
    # the first two weighted means, λ = 0.3: 0.3·0.2; 0.3·(−0.4) + 0.7·0.06
    assert found.charts["ewma"][:2, 1] == pytest.approx([0.06, -0.078])


def test_a_slope_as_the_textbook_has_it():
    draw = np.random.default_rng(2)
    x = draw.uniform(0, 9, 25)
    y = 0.4 * x + draw.standard_normal(25)
    (found,) = effects(y, {"x": x})
    reference = stats.linregress(x, y)
    assert found.slope == pytest.approx(reference.slope)
    assert found.error == pytest.approx(reference.stderr)
    assert found.probability == pytest.approx(reference.pvalue)  # F with one degree is t²
    assert found.share == pytest.approx(reference.rvalue**2)
    sxx = ((x - x.mean()) ** 2).sum()
    assert found.slope == pytest.approx(((x - x.mean()) * (y - y.mean())).sum() / sxx)


def test_beside_another_as_the_textbook_has_it():
    """The t of each coefficient from (XᵀX)⁻¹ s², as in any textbook of regression."""
    draw = np.random.default_rng(3)
    x, z = draw.standard_normal((2, 30))
    z = z + 0.6 * x
    y = 0.5 * x - 0.3 * z + draw.standard_normal(30)
    design = np.column_stack([np.ones(30), x, z])
    inverse = np.linalg.inv(design.T @ design)
    b = inverse @ design.T @ y
    s2 = ((y - design @ b) ** 2).sum() / 27
    for place, name in ((1, "x"), (2, "z")):
        t = b[place] / math.sqrt(s2 * inverse[place, place])
        found = next(item for item in effects(y, {"x": x, "z": z}) if item.name == name)
        assert found.beside == pytest.approx(2 * stats.t.sf(abs(t), 27))


def test_lots_as_an_analysis_of_variance():
    draw = np.random.default_rng(4)
    groups = [draw.standard_normal(8) + shift for shift in (0.0, 0.4, 1.2)]
    classes = np.zeros((24, 2))
    classes[8:16, 0] = classes[16:, 1] = 1.0
    (found,) = effects(np.concatenate(groups), {"lot": classes})
    assert found.probability == pytest.approx(stats.f_oneway(*groups).pvalue)
    means = [group.mean() for group in groups]
    assert found.span == pytest.approx(max(means) - min(means)) and found.slope is None


def test_what_cannot_be_told_apart():
    draw = np.random.default_rng(5)
    hour = np.arange(40.0) % 8
    temperature = 18 + hour + 0.2 * draw.standard_normal(40)  # warms up through the shift: r = 0.99
    other = draw.standard_normal(40)
    found = {
        item.name: item
        for item in effects(
            0.3 * temperature + 0.2 * draw.standard_normal(40),
            {"hour": hour, "temperature": temperature, "other": other},
        )
    }
    assert found["temperature"].like == ("hour",) and found["hour"].like == ("temperature",)
    assert found["other"].like == ()
    twice = {
        item.name: item for item in effects(hour + other, {"hour": hour, "same": 3 * hour, "other": other})
    }
    assert math.isnan(twice["hour"].beside) and twice["same"].like == ("hour",)


def test_too_few_or_all_alike_say_nothing():
    assert level(np.zeros(20)) is None and level(np.arange(4.0)) is None
    assert effects(np.zeros(20), {"x": np.arange(20.0)}) == []
    assert effects(np.arange(4.0), {"x": np.arange(4.0)}) == []
    assert effects(np.arange(9.0) ** 2, {"x": np.ones(9)}) == []


# ------------------------------------------------------------------------------------ false alarms


def within(count: int, of: int, rate: float) -> bool:
    """Whether a count is one that a rate gives, to three standard deviations."""
    return abs(count - of * rate) <= 3.0 * math.sqrt(of * rate * (1.0 - rate))


@pytest.mark.parametrize("length", [12, 40, 150])
def test_the_probability_of_a_level_is_one(length):
    """In control a probability below p is found in a share p of all series, whatever their spread."""
    draw = np.random.default_rng(length)
    found = [level(draw.standard_normal(length) * draw.uniform(0.01, 9)).probability for _ in range(1500)]
    for rate in (0.01, 0.05, 0.3):
        assert within(sum(item < rate for item in found), 1500, rate), rate


def test_false_alarms_of_the_sentence_are_those_stated(plan):
    """1,200 series in control: 1 % at most ask for something to be done, 5 % at most for five more."""
    draw = np.random.default_rng(11)
    runs = 1200
    actions = [
        judged(plan, 0.5 * draw.standard_normal(int(draw.integers(12, 48)))).action for _ in range(runs)
    ]
    acted = sum(action in ("correct", "look") for action in actions)
    more = actions.count("weigh")
    assert acted <= runs * FALSE_ALARMS + 3 * math.sqrt(runs * FALSE_ALARMS), acted
    assert more <= runs * WEIGH_MORE + 3 * math.sqrt(runs * WEIGH_MORE), more
    assert actions.count("nothing") == runs - acted - more


def test_no_correction_inside_the_scatter_of_the_meter(plan):
    """A lean of 0.3 standard deviations, found with certainty in 160 weights, is said and not corrected."""
    draw = np.random.default_rng(12)
    said = [judged(plan, 0.15 + 0.5 * draw.standard_normal(160)) for _ in range(60)]
    assert not any(item.action == "correct" for item in said)
    lean = [item for item in said if "lean by" in item.sentence]
    assert len(lean) > 20 and all(item.correction is None for item in said)


# ------------------------------------------------------------------------------------- what is found


def test_a_step_is_corrected_by_what_it_is(plan):
    """A step of +1.5 % (3 σ) from weight 17 on: the factor 100/101.5, within its standard errors."""
    draw = np.random.default_rng(21)
    hits, near = 0, 0
    for _ in range(60):
        values = 0.5 * draw.standard_normal(32)
        values[16:] += 1.5
        found = judged(plan, values)
        if found.action == "correct":
            hits += 1
            near += abs(found.correction - 100 * (1 / 1.015 - 1)) < 3.5 * found.level.error
            assert 12 <= found.level.since <= 22
    assert hits >= 50 and near == hits


def test_the_setting_follows_the_correction(plan):
    values = 2.0 + 0.2 * np.random.default_rng(22).standard_normal(20)
    setting = Entry(SETTING, "s", station=plan.stations[0].station, value=40.0)
    found = judged(plan, values, entries=[setting])
    assert found.action == "correct"
    new = float(found.sentence.partition("from setting 40 to ")[2].split(" ")[0])
    assert new == pytest.approx(40.0 / (1 + values[found.level.since - 1 :].mean() / 100), rel=1e-3)
    index = plan.material(plan.stations[0].material).index
    assert ("flow index" in found.sentence) == (index != 1.0)


def test_a_pressure_with_a_yield_stress_is_not_in_proportion():
    """A Bingham plastic in a tube: Q = πR⁴p/8ηL·[1 − 4/3·φ + φ⁴/3], φ = 2Lτ/(Rp) (Buckingham and Reiner)."""
    rows = hand_rows()
    station = rows["Stations"][0]
    for name in ("mixer_bore", "mixer_length"):
        station.pop(name, None)
    station |= {"nozzle_bore": 1.6, "nozzle_length": 20.0, "speed": 50.0}
    rows["Materials"][0] |= {"consistency": 40.0, "index": 1.0, "yield_stress": 300.0}
    rows["Materials"][0] |= {"viscosity_energy": None, "viscosity_temperature": 23.0}
    plan = make(rows)
    flow = min(item.flow for item in setup_card(plan, station["station"]).settings)

    def pressure(wanted):
        def off(p):
            share = 2 * 0.020 * 300.0 / (0.0008 * p)
            return math.pi * 0.0008**4 * p / (8 * 40.0 * 0.020) * (1 - 4 / 3 * share + share**4 / 3) - wanted

        return optimize.brentq(off, 2 * 0.020 * 300.0 / 0.0008 * 1.000001, 1e9)

    grown = pressure_growth(plan, station["station"], 1.1)
    assert grown == pytest.approx(pressure(1.1 * flow) / pressure(flow), rel=1e-4)
    assert 1.0 < grown < 1.1  # a part of the pressure only overcomes the yield stress
    values = -4.0 + 0.2 * np.random.default_rng(22).standard_normal(20)
    setting = Entry(SETTING, "s", station=station["station"], value=30.0, unit="bar")
    found = judged(plan, values, entries=[setting])
    growth = 1 + found.correction / 100
    wanted = 30.0 * pressure(growth * flow) / pressure(flow)
    new = float(found.sentence.partition("from setting 30 bar to ")[2].split(" ")[0])
    assert new == pytest.approx(wanted, rel=2e-3) and "yield stress" in found.sentence


def test_a_drift_over_days_is_a_matter_of_the_pump(plan):
    draw = np.random.default_rng(23)
    said = [judged(plan, np.linspace(-1.5, 1.5, 40) + 0.3 * draw.standard_normal(40)) for _ in range(30)]
    assert sum(item.action == "look" and "day" in item.sentence for item in said) >= 28


def test_weights_that_follow_the_temperature(plan):
    draw = np.random.default_rng(24)
    warm = draw.uniform(16, 30, 48)
    found = judged(plan, -0.15 * (warm - 23) + 0.25 * draw.standard_normal(48), warm=warm)
    assert found.action == "look" and "with temperature" in found.sentence
    best = found.effects[0]
    assert best.name == "temperature" and best.slope == pytest.approx(-0.15, abs=4 * best.error)


def test_hour_and_temperature_that_go_together_are_not_told_apart(plan):
    draw = np.random.default_rng(25)
    hours = np.arange(48.0) % 8
    found = judged(plan, 0.3 * (hours - 3.5) + 0.25 * draw.standard_normal(48), warm=18 + hours)
    assert found.action == "look"
    assert "cannot tell apart" in found.sentence
    assert "hour of the day" in found.sentence and "temperature" in found.sentence


def test_a_lot_that_runs_thicker(plan):
    draw = np.random.default_rng(26)
    lots = [("A-1", "A-2", "A-3")[place // 5 % 3] for place in range(45)]
    values = 0.4 * draw.standard_normal(45) - 1.5 * np.array([lot == "A-2" for lot in lots])
    found = judged(plan, values, lots=lots)
    assert (
        found.action == "look"
        and found.sentence.startswith("look at lot of A")
        and "A-2 -1." in found.sentence
    )


def pairs(plan, a: float, b: float, count: int = 8, seed: int = 31) -> list[Entry]:
    draw = np.random.default_rng(seed)
    found = []
    today = component_targets(plan, plan.stations[0].station)  # as the sheets of this plan print them
    for number in range(count):
        for kind, target, off in ((WEIGHT_A, today["a"], a), (WEIGHT_B, today["b"], b)):
            value = target * (1 + off / 100 + 0.003 * draw.standard_normal())
            found.append(
                Entry(kind, f"n {number}", station=plan.stations[0].station, value=value, target=target)
            )
    return found


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [(-4.0, 0.0, "look at pump A"), (0.0, 3.0, "look at pump B"), (-3.0, 3.0, "look at pumps A and B")],
)
def test_a_leaning_meter(plan, a, b, words):
    found = judged(plan, 0.4 * np.random.default_rng(1).standard_normal(12), entries=pairs(plan, a, b))
    assert found.action == "look" and found.sentence.startswith(words)
    assert found.ratio.ratio[0] == pytest.approx(100 * math.log((1 + b / 100) / (1 + a / 100)), abs=0.5)


def test_a_and_b_that_are_right_ask_for_nothing(plan):
    draws = [
        judged(plan, 0.4 * np.random.default_rng(1).standard_normal(12), entries=pairs(plan, 0, 0, seed=seed))
        for seed in range(100)
    ]
    assert sum("pump" in item.sentence for item in draws) <= 3


def test_weights_all_alike_and_off_are_corrected(plan):
    """A scale that always shows 5.25 g of 5 g: +5 %, though nothing scatters; one that is right: nothing."""
    found = judged(plan, [5.0] * 20)
    assert found.action == "correct" and found.correction == pytest.approx(100 * (1 / 1.05 - 1), abs=0.01)
    assert judged(plan, [0.0] * 20).action == "nothing"
    assert judged(plan, [0.01] * 20).action == "nothing"  # half a step of a scale that reads 0.001 g


def test_few_weights_ask_for_more(plan):
    assert judged(plan, [4.0, 4.1, 3.9, 4.0]).sentence == "weigh five more: 4 weights say too little"


# ------------------------------------------------------------------------- density or amount


def one_part() -> dict:
    """The plan worked by hand with one part: dots or beads from one container."""
    rows = hand_rows()
    rows["Materials"][0] |= {"kind": "one-part", "ratio_a": None, "ratio_b": None}
    for name in ("Components", "Stock"):
        rows[name] = [row for row in rows[name] if row["component"] == "a"]
    return rows


def booked_shots(plan, density: float, volume: float, *, measured=True, drift=0.0, count=14) -> list[Booked]:
    """Check shots of a day each: density and volume so many per cent off; mass = density times volume."""
    station = plan.stations[0].station
    target = component_targets(plan, station)
    letters = "ab" if "b" in target else "a"
    draw = np.random.default_rng(61)
    rows = []
    for day in range(count):
        when = MONDAY + datetime.timedelta(days=day)
        at = {"day": f"{when:%Y-%m-%d}", "time": when.isoformat(), "station": station}
        whole = 0.0
        for letter in letters:
            planned = plan.components_of(plan.stations[0].material)[letter].density / 1000.0  # g/mL
            here = (1 + volume / 100 + drift * day / 100) * (1 + 0.001 * draw.standard_normal())
            put = target[letter] / planned * here
            mass = put * planned * (1 + (density if letter == "a" else 0.0) / 100)
            whole += mass
            of_a = letter == "a"
            kinds = (WEIGHT_A if of_a else WEIGHT_B, VOLUME_A if of_a else VOLUME_B)
            if letters == "a":
                kinds = "", VOLUME
            if kinds[0]:
                rows.append(Entry(kinds[0], f"n{day}", value=mass, unit="g", component=letter, **at))
            if measured:
                seen = put * (1 + 0.001 * draw.standard_normal())
                rows.append(Entry(kinds[1], f"n{day}", value=seen, unit="mL", component=letter, **at))
        total = sum(target.values())
        rows.append(Entry(WEIGHT, f"n{day}", value=whole, unit="g", count=1, target=total, **at))
    return [Booked(row, Booking(1, "now", "f", "sheet", "hash")) for row in rows]


def test_a_density_that_is_measured_is_not_corrected_at_the_meter():
    """Mass is density times volume: +5 % with the volume on target is the density alone."""
    plan = make(one_part())
    (found,) = weights_of(plan, booked_shots(plan, 5.0, 0.0))
    assert found.action == "look" and found.correction is None
    assert "density" in found.sentence and "dispense learn takes it over" in found.sentence
    assert "set nothing" in found.sentence and "+5.0 %" in found.sentence
    # the volume off and the density as planned: a matter of the setting, as measured
    (found,) = weights_of(plan, booked_shots(plan, 0.0, 5.0))
    assert found.action == "correct" and found.correction == pytest.approx(100 / 1.05 - 100, abs=0.2)
    assert "the density stands, as measured" in found.sentence
    # one hides the other: on target by mass, 4.8 % too little by volume
    (found,) = weights_of(plan, booked_shots(plan, 5.0, 100 / 1.05 - 100))
    left = float(found.sentence.partition("metered volume is off by ")[2].split(" ")[0])
    assert found.action == "look" and left == pytest.approx(100 / 1.05 - 100, abs=0.2)  # 0.1 % of scatter
    # nothing measured: said that it cannot be told
    (found,) = weights_of(plan, booked_shots(plan, 5.0, 0.0, measured=False))
    assert found.action == "correct" and "one figure in a weight" in found.sentence
    assert "measure the volume" in found.sentence


def test_targets_of_a_plan_that_took_the_density_over_are_not_corrected():
    """Shots right by volume, their targets printed before the density was raised by 5 %."""
    old, rows = make(one_part()), one_part()
    rows["Components"][0]["density"] *= 1.05
    (found,) = weights_of(make(rows), booked_shots(old, 5.0, 0.0))
    assert found.action == "weigh" and "targets of today" in found.sentence


def test_a_density_of_one_component_is_no_matter_of_a_pump(plan):
    (found,) = weights_of(plan, booked_shots(plan, 4.0, 0.0))
    assert found.action == "look" and "pump" not in found.sentence and "/A is +4.0 %" in found.sentence
    assert "set nothing" in found.sentence
    (found,) = weights_of(plan, booked_shots(plan, 4.0, 0.0, measured=False))
    assert found.sentence.startswith("look at pump A") and "one figure in a weight" in found.sentence


def test_a_drift_is_said_beside_a_leaning_meter(plan):
    values = np.linspace(1.0, -1.0, 40) + 0.2 * np.random.default_rng(62).standard_normal(40)
    found = judged(plan, values, entries=pairs(plan, -4.0, 0.0))
    assert found.sentence.startswith("look at pump A") and "the level still falls" in found.sentence
    found = judged(plan, values - 5.0)  # the level is the larger matter, and it falls all the same
    assert found.action == "correct" and "the level still falls" in found.sentence


def test_each_series_has_its_own_findings(plan):
    """A setup weight of a part carries nothing of the station's check shots."""
    setup = Entry(
        WEIGHT,
        "s",
        time=MONDAY.isoformat(),
        station=plan.stations[0].station,
        part="frame",
        application="bead",
        value=1.0,
        unit="g",
        target=1.0,
        low=0.9,
        high=1.1,
        count=1,
    )
    shots = [item.entry for item in booked_shots(plan, 8.0, 0.0, measured=False)]
    series_of = {item.what: judge(item, plan, [*shots, setup]) for item in gather(plan, [*shots, setup])}
    assert series_of["check shots"].ratio is not None
    alone = series_of["frame / bead"]
    assert alone.ratio is None and weights_findings(alone) == []
    assert alone.sentence == "weigh five more: 1 weight says too little"


def test_one_part_without_a_mixer_follows_none():
    plan = make(one_part())
    (found,) = gather(plan, [item.entry for item in booked_shots(plan, 0.0, 0.0, count=2)])
    assert not any("mixer" in name for item in found.weights for name in item.factors)


# ---------------------------------------------------------------------------------- the whole way


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """The demo plan with a journal of weights: a step of +4 % on the third day."""
    folder = tmp_path_factory.mktemp("desk")
    new_plan(folder / "plan.xlsx", demo=True)
    draw = np.random.default_rng(41)
    rows = ["Time,Weight [g],Station"]
    for place in range(24):
        day, hour = divmod(place, 8)
        moment = MONDAY + datetime.timedelta(days=day, minutes=5 + 55 * hour)
        grams = 4.81 * (1 + 0.004 * draw.standard_normal() + 0.04 * (day == 2))
        rows.append(f"{moment:%Y-%m-%d %H:%M},{grams:.4f},Hem robot")
    (folder / "balance.csv").write_text("\n".join(rows), encoding="utf-8")
    assert main(["book", str(folder / "plan.xlsx"), str(folder / "balance.csv"), "--stamp", "s"]) == 0
    return folder


def test_weights_of_a_balance_find_their_target_in_the_plan(desk, capsys):
    """4.81 g is the demo's check shot of this station as its shot-check sheet prints it."""
    capsys.readouterr()
    assert main(["weights", str(desk / "plan.xlsx"), "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["series"]
    assert found["count"] == 24 and found["weights"][0]["target"] == pytest.approx(4.81, abs=0.005)
    assert found["action"] == "correct" and found["correction_percent"] == pytest.approx(
        100 / 1.04 - 100, abs=0.6
    )
    assert found["level"]["since"] == pytest.approx(17, abs=2)
    assert {"hour of the day", "temperature", "day"} <= {item["follows"] for item in found["effects"]}
    assert found["outside_limits"]  # 4 % off, of a meter that is held to 2 %


def test_the_workbook_has_its_charts(desk, capsys):
    out = desk / "weights.xlsx"
    assert main(["weights", str(desk / "plan.xlsx"), "--station", "Hem robot", "--out", str(out)]) == 0
    assert "correct the shot by" in capsys.readouterr().out
    book = openpyxl.load_workbook(out)
    assert book.sheetnames == ["Hem robot", "Chart data"]
    assert len(book["Hem robot"]._charts) == 4
    before = out.read_bytes()
    assert main(["weights", str(desk / "plan.xlsx"), "--out", str(out)]) == 0
    assert out.read_bytes() == before  # the same weights, the same bytes
    assert main(["weights", str(desk / "plan.xlsx"), "--out", str(desk / "plan.xlsx")]) == 1
    assert main(["weights", str(desk / "plan.xlsx"), "--station", "Hemm"]) == 1
    capsys.readouterr()


def test_no_journal_no_weights(tmp_path, capsys):
    new_plan(tmp_path / "plan.xlsx", demo=True)
    assert main(["weights", str(tmp_path / "plan.xlsx")]) == 0
    assert "no weights are booked" in capsys.readouterr().out


def test_what_was_booked_stands_before_what_was_planned(desk):
    """A container booked at 09:00 counts from then on, and the planned one of 06:00 until then no more."""
    from dispense.journal.entries import OPENED

    plan = load_plan(desk / "plan.xlsx")
    at = "2026-03-02T09:00:00"
    entries = [
        Entry(
            OPENED,
            "c",
            day="2026-03-02",
            shift="Early",
            time=at,
            station="Hem robot",
            component="a",
            lot="HA-1",
        ),
        *(
            Entry(
                WEIGHT,
                f"w {hour}",
                time=f"2026-03-02T{hour:02d}:30:00",
                station="Hem robot",
                value=4.8,
                unit="g",
                target=4.81,
                count=1,
            )
            for hour in (8, 9, 11)
        ),
    ]
    (found,) = gather(plan, entries)
    before, after, _ = found.weights
    times = [item.factors["time since container change of A"] for item in found.weights]
    assert times == [2.5, 0.5, 2.5] and before.sources["lot of A"] == "planned"
    assert after.lots["lot of A"] == "HA-1" and after.sources["lot of A"] == "booked"
    assert after.sources["time since container change of B"] == "planned"


def test_a_weight_without_a_time_is_named(plan):
    station = plan.stations[0].station
    entry = Entry(
        WEIGHT, "s", "setup.xlsx Setup!K12", station=station, value=5.0, unit="g", target=5.0, count=1
    )
    (found,) = gather(plan, [entry])
    assert found.weights == [] and "setup.xlsx Setup!K12" in found.notes[0]
    assert judge(found, plan, [entry]).action == "weigh"


def test_short_term_spread_hardly_sees_a_step():
    draw = np.random.default_rng(51)
    values = draw.standard_normal(4000)
    values[2000:] += 50.0
    assert short_term_sd(values) == pytest.approx(1.0, abs=0.1)
