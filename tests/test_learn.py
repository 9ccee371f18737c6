"""What is learned from the journal, with its uncertainty, and taken over into the plan by command.

References: the NIST/SEMATECH e-Handbook's printed examples (from memory where said), scipy.stats and
statsmodels as independent code, and coverage by simulation with a seed, judged by the spread of a count.
"""

from __future__ import annotations

import datetime
import json

import numpy as np
import openpyxl
import pytest
from plans import hand_rows, make
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from dispense.base.errors import DispenseError, InputError
from dispense.books.changes import Wanted, change_plan
from dispense.books.plan import write_plan
from dispense.cli import main
from dispense.journal.entries import (
    COUNTED,
    DONE,
    MADE,
    PURGED,
    SCRAPPED,
    SETTING,
    VOLUME_A,
    WEIGHT,
    WEIGHT_A,
    Booking,
    Entry,
)
from dispense.journal.history import played
from dispense.journal.intervals import dispersion, grouped_proportion, mean, proportion, rate, spread
from dispense.journal.learned import Learned, Target, judged
from dispense.journal.lessons import learned_values
from dispense.journal.store import Booked
from dispense.journal.used import with_learned
from dispense.journal.weighed import weight_findings
from dispense.journal.weights import weights_of
from dispense.plan.read import load_plan
from dispense.xlsx.package import Package

DAY = datetime.date(2026, 3, 13)


# -------------------------------------------------------------------------------------- intervals


def test_proportions_as_the_handbook_prints_them():
    """e-Handbook 7.2.4.1: 4 of 20 at 90 % has 0.071354 to 0.401029 (printed from a spreadsheet's search)."""
    found = proportion(4, 20, 0.90)
    assert (found.low, found.high) == pytest.approx((0.071354, 0.401029), abs=2e-6)
    for count, total in ((0, 30), (30, 30), (3, 117), (62, 2242)):
        found = proportion(count, total)
        assert (found.low, found.high) == pytest.approx(
            proportion_confint(count, total, 0.05, "beta"), nan_ok=True, abs=1e-12
        )
    # the probability at a limit of the interval is what the interval leaves outside
    found = proportion(3, 117)
    assert found.probability_of(found.low) == pytest.approx(0.05, abs=1e-9)
    assert found.probability_of(found.high) == pytest.approx(0.05, abs=1e-9)
    tails = stats.binom.cdf(3, 117, 0.1), stats.binom.sf(2, 117, 0.1)
    assert found.probability_of(0.1) == pytest.approx(2 * min(tails))


def test_shares_that_differ_as_the_handbook_prints_them():
    """e-Handbook 7.4.5: 36, 46, 42, 63, 38 of 300 each: chi-square 12.131 with 4 degrees of freedom."""
    counts, totals = np.array([36.0, 46, 42, 63, 38]), np.full(5, 300.0)
    ratio, probability = dispersion(counts, totals)
    assert 4 * ratio == pytest.approx(12.131, abs=5e-4)
    table = np.array([counts, totals - counts])
    assert probability == pytest.approx(stats.chi2_contingency(table, correction=False).pvalue)
    plain, wide = proportion(225, 1500), grouped_proportion(counts, totals)
    assert wide.value == pytest.approx(plain.value)
    assert (wide.high - wide.low) / (plain.high - plain.low) == pytest.approx(np.sqrt(ratio), rel=0.03)


def test_rates_means_and_spreads():
    """Garwood's limits by scipy; e-Handbook 1.3.5.2 (195 values, mean 9.261460, s 0.02278881: 9.258242 to
    9.264679) and 1.3.5.8 (100 values, s 0.006278908: 0.00551 to 0.00729), both from memory."""
    for count in (0, 1, 10, 66):
        found = rate(count, 47.0)
        low = 0.0 if count == 0 else stats.chi2.ppf(0.025, 2 * count) / 2 / 47.0
        assert (found.low, found.high) == pytest.approx(
            (low, stats.chi2.ppf(0.975, 2 * count + 2) / 2 / 47.0)
        )
    found = rate(10, 1.0)
    assert found.probability_of(20.0) == pytest.approx(2 * stats.poisson.cdf(10, 20.0))

    def of(count, centre, sd):
        values = np.random.default_rng(1).standard_normal(count)
        return centre + sd * (values - values.mean()) / values.std(ddof=1)

    found = mean(of(195, 9.261460, 0.02278881))
    assert (found.low, found.high) == pytest.approx((9.258242, 9.264679), abs=1.5e-6)
    found = spread(of(100, 0.0, 0.006278908))
    assert (found.low, found.high) == pytest.approx((0.00551, 0.00729), abs=6e-6)


def test_the_interval_of_a_share_holds_it_as_often_as_it_says():
    """Clopper and Pearson's interval is never short of its confidence, for every true share."""
    for share in (0.005, 0.02, 0.1):
        held = [
            found.low <= share <= found.high for found in (proportion(count, 200) for count in range(201))
        ]
        assert (stats.binom.pmf(range(201), 200, share) * held).sum() >= 0.95


# ---------------------------------------------------------------------------------------- learned


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return load_plan(write_plan(hand_rows(), tmp_path_factory.mktemp("learn") / "plan.xlsx"))


def booked(*entries: Entry) -> list[Booked]:
    return [Booked(entry, Booking(1, "book", "s")) for entry in entries]


def one(found: list[Learned], quantity: str) -> Learned:
    return next(item for item in found if item.quantity == quantity)


def counts(plan, made, scrapped, station=None):
    """Parts made and scrapped, a shift a day."""
    station = station or plan.stations[0].station
    part = plan.parts[0].part
    days = [(datetime.date(2026, 3, 2) + datetime.timedelta(days=n)).isoformat() for n in range(len(made))]
    rows = []
    for day, good, lost in zip(days, made, scrapped, strict=True):
        rows.append(Entry(MADE, f"{day} m", day=day, shift="s", station=station, part=part, count=good))
        if lost is not None:
            rows.append(
                Entry(SCRAPPED, f"{day} s", day=day, shift="s", station=station, part=part, count=lost)
            )
    return booked(*rows)


def test_scrap(plan):
    stated = plan.stations[0].scrap
    found = one(learned_values(plan, counts(plan, [95, 90, 92], [5, 10, 8])), "scrap")
    assert found.value == pytest.approx(100 * 23 / 300) and found.count == 300 and found.days == 3
    assert (found.low, found.high) == pytest.approx(
        [100 * x for x in proportion_confint(23, 300, 0.05, "beta")]
    )
    assert found.planned == pytest.approx(100 * stated) and found.bookings == (1,)
    assert found.verdict == "differs" and found.may_be_taken
    assert found.target == Target("Stations", (plan.stations[0].station,), "scrap")
    # a count of one kind alone says nothing of a share, and is told
    found = one(learned_values(plan, counts(plan, [95, 90], [5, None])), "scrap")
    assert found.count == 100 and "1 count of made or scrapped alone left out" in found.caution
    found = one(learned_values(plan, counts(plan, [95], [None])), "scrap")
    assert found.verdict == "unknown" and "cannot be told" in found.sentence and not found.may_be_taken


def test_scrap_that_is_stated_for_a_time_is_learned_for_that_time():
    """2 % till Tuesday and 10 % from Wednesday on: 300 parts each as stated are no more than noise."""
    rows = hand_rows()
    rows["Stations"][0] |= {"scrap": 0.02}
    rows["Validity"] = [dict(station="hem", what="scrap", value="10 %", valid_from="2026-03-04")]
    plan = make(rows)
    found = [
        item
        for item in learned_values(plan, counts(plan, [147, 147, 135, 135], [3, 3, 15, 15]))
        if item.quantity == "scrap"
    ]
    assert [(item.subject, item.planned, item.value) for item in found] == [
        ("hem", pytest.approx(2.0), pytest.approx(2.0)),
        ("hem from 2026-03-04", pytest.approx(10.0), pytest.approx(10.0)),
    ]
    assert [item.verdict for item in found] == ["noise", "noise"] and found[1].target is None
    assert "type it there" in found[1].caution
    # 20 % in the second stretch: the figure of that time alone is another, in the forecast too
    found = learned_values(plan, counts(plan, [147, 147, 120, 120], [3, 3, 30, 30]))
    assert [item.verdict for item in found if item.quantity == "scrap"] == ["noise", "differs"]
    used = with_learned(plan, found, ["scrap:hem from 2026-03-04"])
    assert [used.plan.on(datetime.date(2026, 3, day)).station("hem").scrap for day in (3, 4)] == [
        0.02,
        pytest.approx(0.2),
    ]
    assert "scrap of hem from 2026-03-04 20" in used.words


def changed_over(**station):
    """The plan worked by hand whose station takes a material of half the density from Wednesday on."""
    rows = hand_rows()
    rows["Materials"].append(rows["Materials"][0] | dict(material="Light 30"))
    rows["Components"] += [
        row | dict(material="Light 30", density=row["density"] / 2) for row in rows["Components"]
    ]
    rows["Validity"] = [dict(station="hem", what="material", value="Light 30", valid_from="2026-03-04")]
    rows["Stations"][0] |= station
    return make(rows)


def test_weights_are_held_against_the_material_of_their_day():
    """A check of 4 mL weighs 4.4 g of a mix of 1.1 g/mL, and 2.2 g of the other: all as planned.

    A and B alone: 2 mL of 1.2 and of 1.0 g/mL, then of half of that.
    """
    plan = changed_over(check_volume=4)
    entries = []
    for day in range(2, 7):
        for hour in range(6, 10):
            mass = 4.4 if day < 4 else 2.2
            head = dict(day=f"2026-03-{day:02d}", time=f"2026-03-{day:02d}T{hour:02d}:10:00", shift="early")
            name = f"{day} {hour}"
            entries += [
                Entry(kind, name, station="hem", value=share * mass, unit="g", count=1, **head)
                for kind, share in (("weight", 1.0), ("weight a", 1.2 / 2.2), ("weight b", 1.0 / 2.2))
            ]
    counted = Entry(COUNTED, "c", day="2026-03-02", material="Bond 60", component="a", lot="A1", count=1)
    series = weights_of(plan, booked(*entries, counted))  # which is of no station
    assert [(item.what, len(item.weights)) for item in series] == [
        ("check shots with Bond 60", 8),
        ("check shots with Light 30", 12),
    ]
    for item in series:
        assert item.deviations == pytest.approx(np.zeros(len(item.weights)), abs=1e-9)
        assert item.ratio is not None and item.ratio.ratio[0] == pytest.approx(0.0, abs=1e-9)
    masses = [item for item in learned_values(plan, booked(*entries)) if item.quantity == "shot mass"]
    assert [(item.subject, round(item.value, 9)) for item in masses] == [
        ("hem with Bond 60", 100.0),
        ("hem with Light 30", 100.0),
    ]
    assert weight_findings(plan, entries) == []  # half of the first target would be named as a slip


def test_a_flow_law_is_that_of_the_material_of_its_day():
    """Shots in proportion to the pressure, n = 1, of one material, to its square, n = 1/2, of the other."""
    plan = changed_over()
    rows = []
    for day, power in ((2, 1.0), (5, 2.0)):
        for place, bar in enumerate((2.0, 3.0, 4.0, 5.0)):
            head = dict(day=f"2026-03-{day:02d}", station="hem", text="setup")
            name = f"{day} {place}"
            noise = 1.0 + 0.001 * (-1) ** place
            rows.append(Entry("setting", name, value=bar, unit="bar", **head))
            rows.append(
                Entry("weight", name, value=bar**power * noise, unit="g", count=1, target=5.0, **head)
            )
    found = {
        item.subject: item for item in learned_values(plan, booked(*rows)) if item.quantity == "flow index"
    }
    assert found["Bond 60"].value == pytest.approx(1.0, abs=0.01)
    assert found["Light 30"].value == pytest.approx(0.5, abs=0.01)


def test_false_alarms_are_those_stated():
    """Scrap drawn as the plan states it: of 400 looks at most 1 % differ, plus the spread of the count."""
    rows = hand_rows()
    rows["Stations"][0] |= {"scrap": 0.02}
    plan = make(rows)
    draw = np.random.default_rng(5)
    wrong = 0
    for _ in range(400):
        lost = draw.binomial(110, 0.02, 4)
        values = learned_values(plan, counts(plan, list(110 - lost), [int(x) for x in lost]))
        wrong += one(values, "scrap").verdict == "differs"
    assert wrong <= stats.binom.ppf(0.999, 400, 0.01)


def weighed(plan, kind_volume, densities, same_day=False):
    letter = "a"
    rows = []
    for n, density in enumerate(densities):
        day = f"2026-03-{2 if same_day else 2 + n:02d}"
        common = {"day": day, "time": f"{day}T06:30:00", "station": plan.stations[0].station}
        rows.append(Entry(WEIGHT_A, f"n{n}", value=density * 10.0, unit="g", component=letter, **common))
        rows.append(Entry(kind_volume, f"n{n}", value=10.0, unit="mL", component=letter, **common))
    return booked(*rows)


def test_density(plan):
    values = [1.301, 1.299, 1.302, 1.298]
    found = one(learned_values(plan, weighed(plan, VOLUME_A, values)), "density")
    reference = stats.t.interval(0.95, 3, np.mean(values), stats.sem(values))
    assert found.value == pytest.approx(1.3) and (found.low, found.high) == pytest.approx(reference)
    assert found.target.table == "Components" and found.target.column == "density"
    material = plan.material(plan.stations[0].material).material
    stated = plan.components_of(material)["a"].density / 1000.0
    assert found.planned == pytest.approx(stated)
    # too few, and all of one day, are said
    found = one(learned_values(plan, weighed(plan, VOLUME_A, values[:2])), "density")
    assert found.value is None and "cannot be told" in found.sentence
    found = one(learned_values(plan, weighed(plan, VOLUME_A, values, same_day=True)), "density")
    assert "one or two days" in found.caution and found.days == 1


def test_weights_alone_do_not_tell_density_from_meter(plan):
    station = plan.stations[0].station
    rows = [
        Entry(WEIGHT, f"w{n}", day=f"2026-03-{2 + n:02d}", time=f"2026-03-{2 + n:02d}T06:30:00",
              station=station, value=9.8, unit="g", target=10.0, low=9.7, high=10.3)
        for n in range(4)
    ]  # fmt: skip
    found = learned_values(plan, booked(*rows))
    assert one(found, "shot mass").value == pytest.approx(98.0)
    assert one(found, "shot mass").target is None and "one figure" in one(found, "shot mass").caution
    assert not [item for item in found if item.quantity == "density"]


def settings(plan, exponent, unit, count=6, noise=0.002):
    """Setup cards: a shot of mass ∝ setting^exponent."""
    draw = np.random.default_rng(8)
    station = plan.stations[0].station
    rows = []
    for n in range(count):
        value = 3.0 + 0.4 * n
        mass = 5.0 * (value / 3.0) ** exponent * (1 + noise * draw.standard_normal())
        common = {"day": f"2026-03-{2 + n:02d}", "station": station, "part": "p", "application": "a"}
        rows.append(Entry(SETTING, f"c{n}", value=value, unit=unit, **common))
        rows.append(Entry(WEIGHT, f"c{n}", value=mass, unit="g", text="setup", count=1, target=5.0, **common))
    return booked(*rows)


def test_flow_law(plan):
    """p ∝ Qⁿ: a shot that grows with the pressure to the power 1/0.6 is of flow index 0.6."""
    rows = settings(plan, 1 / 0.6, "bar")
    found = one(learned_values(plan, rows), "flow index")
    x = np.log([item.entry.value for item in rows[::2]])
    y = np.log([item.entry.value for item in rows[1::2]])
    line = stats.linregress(x, y)
    reach = stats.t.ppf(0.975, len(x) - 2) * line.stderr
    assert found.value == pytest.approx(1 / line.slope) == pytest.approx(0.6, abs=0.01)
    assert (found.low, found.high) == pytest.approx((1 / (line.slope + reach), 1 / (line.slope - reach)))
    assert found.target.column == "index"
    found = one(learned_values(plan, settings(plan, 1.0, "")), "setting exponent")
    assert found.low < 1.0 < found.high and found.verdict == "noise" and found.target is None
    assert one(learned_values(plan, settings(plan, 1.0, "", count=2)), "setting exponent").value is None


def test_purges(plan):
    station = plan.stations[0].station
    shifts = [item for item in played(plan) if item.station.station == station]
    planned = sum(sum(event.kind in ("mixer", "purge") for event in item.events) for item in shifts)
    rows = [
        Entry(PURGED, f"p{n}", day=item.date.isoformat(), shift=item.shift, station=station, count=8)
        for n, item in enumerate(shifts)
    ]
    found = one(learned_values(plan, booked(*rows)), "purges")
    assert f"{8 * len(shifts)} booked, {planned} planned" in found.observed and found.target is None
    if planned:
        assert found.value == pytest.approx(100 * 8 * len(shifts) / planned)


def test_cure_times(plan):
    """A part moved so long after its batch; at the temperature of the data sheet minutes are minutes."""
    station = plan.stations[0]
    shifts = [item for item in played(plan) if item.station.station == station.station]
    batch = shifts[0].batches[0]
    day = shifts[0].date
    rows = []
    for n, minutes in enumerate((200.0, 210.0, 220.0)):
        at = datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(
            seconds=batch.ended + 60 * minutes
        )
        rows.append(
            Entry(DONE, f"cure_board|{day}|{shifts[0].shift}|{station.station}|batch|{batch.number}|moved",
                  f"cell {n}", day.isoformat(), shifts[0].shift, at.isoformat(), station.station, batch.part,
                  text="moved")
        )  # fmt: skip
    found = one(learned_values(plan, booked(*rows)), "handling time")
    assert found.count == 3 and found.low < found.value < found.high
    assert "not what the material needs" in found.caution
    material = plan.material(station.material)
    record = plan.stations[0].record
    if not record and station.shop_temperature == material.cure_temperature:
        assert found.value == pytest.approx(210.0)


def test_demand():
    """Ratios day by day; the spread of their logarithms with its chi-square interval."""
    rows = hand_rows()
    first = rows["Builds"][0]
    days = [datetime.date(2026, 3, 2) + datetime.timedelta(days=n) for n in range(6)]
    rows["Builds"] = [
        {"date": day, "shift": first["shift"], "part": "frame", "quantity": 100} for day in days
    ]
    plan = make(rows)
    made = [104, 96, 110, 90, 101, 99]
    found = learned_values(
        plan,
        booked(
            *(
                Entry(MADE, f"d{n}", day=day.isoformat(), shift=first["shift"], part="frame", count=count)
                for n, (day, count) in enumerate(zip(days, made, strict=True))
            )
        ),
    )
    logs = np.log(np.array(made) / 100)
    sd = logs.std(ddof=1)
    limits = [sd * np.sqrt(5 / stats.chi2.ppf(share, 5)) for share in (0.975, 0.025)]
    spread_ = one(found, "demand spread")
    assert spread_.value == pytest.approx(100 * sd)
    assert (spread_.low, spread_.high) == pytest.approx([100 * limit for limit in limits])
    # its cause cannot be told from what was made (orders, stops, scrap): told only, it feeds the safety stock
    assert spread_.target is None and not spread_.may_be_taken and "told only" in spread_.caution
    builds = one(found, "builds")
    assert builds.value == pytest.approx(100.0) and builds.verdict == "noise" and builds.target is None
    assert learned_values(plan, booked()) == []


# ----------------------------------------------------------------------------------------- taking


@pytest.fixture
def desk(tmp_path):
    """A plan with a journal in which far more is scrapped than the plan says, over four days."""
    write_plan(hand_rows(), tmp_path / "plan.xlsx")
    plan = load_plan(tmp_path / "plan.xlsx")
    station, part = plan.stations[0].station, plan.stations[0].station
    part = plan.parts[0].part
    lines = ["What,Date,Shift,Station,Part,Pieces"]
    for n in range(4):
        for what, count in (("made", 90 + n), ("scrapped", 10 - n)):
            lines.append(f"{what},2026-03-{2 + n:02d},{plan.shifts[0].shift},{station},{part},{count}")
    (tmp_path / "counts.csv").write_text("\n".join(lines), encoding="utf-8")
    assert main(["book", str(tmp_path / "plan.xlsx"), str(tmp_path / "counts.csv"), "--stamp", "s"]) == 0
    return tmp_path


def learn(desk, *options) -> int:
    return main(["learn", str(desk / "plan.xlsx"), *options])


def test_a_figure_is_taken_over_with_its_reason(desk, capsys):
    capsys.readouterr()
    old = (desk / "plan.xlsx").read_bytes()
    was = load_plan(desk / "plan.xlsx")
    assert learn(desk) == 0
    assert (desk / "plan.xlsx").read_bytes() == old  # nothing is taken over by itself
    station = was.stations[0].station
    capsys.readouterr()
    words = [f"scrap:{station}", "--reason", "two weeks", "--by", "KM", "--date", "2026-03-13"]
    assert learn(desk, "--take", *words, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["changes"][0]["new"] == pytest.approx(0.085, abs=1e-4)  # 34 of 400
    now = load_plan(desk / "plan.xlsx")
    assert now.stations[0].scrap == pytest.approx(0.085, abs=1e-4)
    (change,) = now.changes
    assert (change.date, change.table, change.row, change.column) == (DAY, "Stations", station, "Scrap")
    assert change.old == pytest.approx(was.stations[0].scrap) and change.new == now.stations[0].scrap
    assert change.reason.startswith("two weeks; learned 8.5 % (95 %: ") and "34 of 400" in change.reason
    assert change.bookings == "1" and change.by == "KM"
    # the old one is kept as it was, and of the new one only that cell and the list are other
    kept = desk / "plan_before_2026-03-13_1.xlsx"
    assert kept.read_bytes() == old
    before, after = Package.open(kept), Package.open(desk / "plan.xlsx")
    assert before.parts == after.parts
    other = [part for part in before.parts if before.read(part) != after.read(part)]
    other.remove("xl/sharedStrings.xml")  # the texts of the new row come after those that were there
    assert after.shared_strings[: len(before.shared_strings)] == before.shared_strings
    names = {sheet.part: sheet.name for sheet in before.sheets}
    assert {names[part] for part in other} == {"Stations", "Changes", "Station form"}  # which shows the cell
    # once taken over it stands, and is not taken twice
    assert learn(desk, "--take", words[0]) == 1
    assert "no more than noise" in capsys.readouterr().err


def test_a_plan_without_the_list_gets_it_and_keeps_its_own(desk):
    """A plan of before, with a plant's sheet and column, a formula and a header in another unit."""
    path = desk / "plan.xlsx"
    book = openpyxl.load_workbook(path)
    del book["Changes"]
    book.create_sheet("Own")["A1"] = "=Stations!A4"
    sheet = book["Stations"]
    (head,) = [cell for cell in sheet[3] if cell.value == "Scrap"]
    head.value = "Scrap [%]"
    sheet.tables["Stations"].tableColumns[head.column - 1].name = "Scrap [%]"
    book["Own"]["B1"] = f"={'Stations'}!{head.column_letter}4*2"
    book.save(path)
    station = load_plan(path).stations[0].station
    assert learn(desk, "--take", f"scrap:{station}", "--date", "2026-03-13") == 0
    now = load_plan(path)
    assert now.stations[0].scrap == pytest.approx(0.085, abs=1e-4) and len(now.changes) == 1
    found = openpyxl.load_workbook(path, data_only=True)
    assert found["Stations"][f"{head.column_letter}4"].value == pytest.approx(8.5, abs=0.01)
    assert found["Own"]["B1"].value == pytest.approx(17.0, abs=0.02)  # what follows by a formula follows
    assert openpyxl.load_workbook(path)["Own"]["B1"].value.startswith("=")
    assert now.changes[0].unit == "%" and now.changes[0].new == pytest.approx(8.5, abs=0.01)
    assert main(["check", str(path)]) in (0, 3)


def test_what_may_not_be_written_is_refused(desk):
    path = desk / "plan.xlsx"
    station = load_plan(path).stations[0].station
    target = Target("Stations", (station,), "scrap")
    data = path.read_bytes()
    # the limits of a typed one: a share below 1
    with pytest.raises(DispenseError, match="below 1"):
        change_plan(path, [Wanted(target, 120.0, "%", "", "")], DAY)
    (desk / ".~lock.plan.xlsx#").write_text("x", encoding="utf-8")
    with pytest.raises(DispenseError, match="open in a spreadsheet"):
        change_plan(path, [Wanted(target, 5.0, "%", "", "")], DAY)
    (desk / ".~lock.plan.xlsx#").unlink()
    assert path.read_bytes() == data and not list(desk.glob("plan_before*"))
    book = openpyxl.load_workbook(path)
    sheet = book["Stations"]
    (head,) = [cell for cell in sheet[3] if cell.value == "Scrap"]
    sheet[f"{head.column_letter}4"] = "=1/100"
    book.save(path)
    with pytest.raises(InputError, match="formula"):
        _with_values(path)
        change_plan(path, [Wanted(target, 5.0, "%", "", "")], DAY)


def _with_values(path) -> None:
    """Give formulas their values, as a spreadsheet that saves the file does."""
    from dispense.handbook.in_formulas import formula_values
    from dispense.xlsx.stored import cache_values

    package = Package.open(path)
    cache_values(package, formula_values)
    path.write_bytes(package.to_bytes())


def test_names_that_are_none(desk, capsys):
    assert learn(desk, "--take", "scrp:hem", "--take", "density:Nothing") == 1
    told = capsys.readouterr().err
    assert "density:Nothing" in told and "did you mean scrap:hem?" in told  # both, not the first alone


def test_a_name_that_resembles_one_just_taken_over(desk, capsys):
    """The other takeable ones are no answer to a slip in the name of one that is not taken over again."""
    assert learn(desk, "--take", "scrap:hem", "--date", "2026-03-13") == 0
    capsys.readouterr()
    assert learn(desk, "--take", "scrap:he") == 1
    told = capsys.readouterr().err
    assert "did you mean scrap:hem?" in told and "It is not taken over: no more than noise" in told


def test_a_figure_outside_its_interval_that_still_stands_says_why():
    """Each of ten is judged at 0.1 %: 1 % shared by them (Bonferroni). A p of 2 % lies between."""
    found = judged([Learned("scrap", f"s{n}", "%", 1.0, 1.4, 1.1, 1.8, 0.02) for n in range(10)])
    assert all("noise" in item.sentence and "that of 99.9 %" in item.sentence for item in found)
    (inside,) = judged([Learned("scrap", "s", "%", 1.0, 1.1, 0.9, 1.3, 0.3)])
    assert inside.sentence == "no more than noise: the plan's figure stands"
