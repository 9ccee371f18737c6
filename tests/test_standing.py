"""What a plan says of sag, settling, hoses and old material in a mixer: by hand from a small plan."""

from __future__ import annotations

import math

import numpy as np
import pytest
from plans import add_hot_pot, hand_rows, make

from dispense.jobs.cure import cure_file
from dispense.reports.findings import station_findings
from dispense.reports.standing import (
    FAR_CARRIED,
    age_findings,
    bubble_findings,
    carried_findings,
    gap_findings,
    hose_findings,
    sag_findings,
    settling_findings,
    standing_findings,
    standing_of,
)
from dispense.sheets.setup import station_setup_content
from dispense.shift.mixer import Mixer
from dispense.shift.play import play_plan
from dispense.shift.setup import setup_card

GRAVITY = 9.80665  # m/s², CGPM 1901


def plan_with(**tables):
    """The hand plan with changes of the first row of some tables."""
    rows = hand_rows()
    for table, changes in tables.items():
        rows[table][0] |= changes
    return make(rows)


def found(look, plan):
    return look(plan, plan.station("hem"))


def on_the_card(plan):
    content = station_setup_content(plan, setup_card(plan, "hem"), "")
    return [row["text"] for name in ("SetupNotes", "SetupRemarks") for row in content.tables[name]]


def test_a_plan_that_states_nothing_hears_nothing():
    assert found(standing_findings, plan_with()) == []


def test_a_bead_higher_than_its_yield_stress_holds():
    """Density of the mix 1.1 g/mL: 10 Pa hold 10/(1100·9.80665) = 0.927 mm, the bead is 1 mm high."""
    plan = plan_with(Materials={"yield_stress": 10.0, "consistency": 50.0}, Beads={"face_angle": 90})
    told = found(sag_findings, plan)
    assert [each.kind for each in told] == ["quality"]
    holds = 10.0 / (1100.0 * GRAVITY)
    assert told[0].numbers["holds_mm"] == pytest.approx(holds * 1e3, rel=1e-9)
    # Bingham layer: (ρg/μ)(h − h_y)²/2
    speed = 1100.0 * GRAVITY / 50.0 * (1e-3 - holds) ** 2 / 2.0
    assert told[0].numbers["runs_mm_min"] == pytest.approx(speed * 60e3, rel=1e-6)
    assert "0.9 mm" in told[0].text and any("runs down" in words for words in on_the_card(plan))
    assert told[0].text in {
        each.text for each in cure_file(plan, "hem").findings
    }  # as check and fill tell it
    # 11 Pa hold 1.02 mm; on 60° even 10 Pa hold 1.07 mm; lying it holds whatever it is
    for stress, angle in ((11.0, 90), (10.0, 60), (0.0, 0), (0.0, None)):
        rows = {"Materials": {"yield_stress": stress}, "Beads": {"face_angle": angle}}
        assert found(sag_findings, plan_with(**rows)) == []


def test_bubbles_that_stay_in_a_pour():
    """40 mm deep, 1.1 g/mL, 5 Pa·s, 60 min at 23 °C: d = √(18μz/(ρgt)), by hand."""
    rows = hand_rows()
    rows["Materials"][0]["consistency"] = 5.0
    add_hot_pot(rows, 1000.0)
    rows["Pots"][0]["bubble_limit"] = 0.2
    size = math.sqrt(18 * 5.0 * 0.04 / (1100.0 * GRAVITY * 3600.0))  # 0.304 mm
    told = found(bubble_findings, make(rows))
    assert [each.kind for each in told] == ["quality"]
    assert told[0].numbers["bubble_mm"] == pytest.approx(size * 1e3, rel=1e-9)
    assert any("do not come up" in words for words in on_the_card(make(rows)))
    # a yield stress holds all under τ₀/(0.048ρg): 0.5 Pa, 0.97 mm (criterion from memory)
    rows["Materials"][0]["yield_stress"] = 0.5
    held = 0.5 / (0.048 * 1100.0 * GRAVITY)
    assert found(bubble_findings, make(rows))[0].numbers["bubble_mm"] == pytest.approx(held * 1e3)
    rows["Pots"][0]["bubble_limit"] = 1.0
    assert found(bubble_findings, make(rows)) == []


def test_compound_that_runs_down_between_cells():
    """k = 3.122956 mm² between cells of 18.4 mm in a square of 20 mm (finite elements): t = μz/(kρg)."""
    rows = hand_rows()
    rows["Materials"][0]["consistency"] = 60.0
    add_hot_pot(rows, 1000.0)
    rows["Pots"][0] |= dict(cells=12, cell_diameter=18.4, cell_height=65, length=85, width=65, depth=45)
    rows["Pots"][0] |= dict(arrangement="square", pitch=20, cells_along=4, cell_rows=3)
    time = 60.0 * 0.04 / (3.122956e-6 * 1100.0 * GRAVITY)  # 71.2 s for the 40 mm of the pour
    (told,) = found(gap_findings, make(rows))
    assert told.kind == "note" and "1.2 min" in told.text and told.topic == "between cells"
    assert told.numbers["fill_min"] == pytest.approx(time / 60.0, rel=1e-4)
    # 60 % of the 60 min pot life are 36 min: 2000 Pa·s need 39.6
    rows["Materials"][0]["consistency"] = 2000.0
    (told,) = found(gap_findings, make(rows))
    assert told.kind == "quality" and "40 min" in told.text and "36 min" in told.text
    assert any("between the cells" in words for words in on_the_card(make(rows)))
    # a compound with a yield stress may stop on its way, which is not reckoned; a thin one is down at once
    for change in (dict(yield_stress=1.0), dict(consistency=1.0)):
        rows["Materials"][0] |= change
        assert found(gap_findings, make(rows)) == []
        rows["Materials"][0]["yield_stress"] = 0.0


FILLED = {
    "standing_height": 200,
    "filler_size": 0.055,
    "filler_density": 0.25,
    "filler_share": 0.25,
    "liquid_viscosity": 3.5,
    "density": 0.9025,  # 0.75·1.12 + 0.25·0.25
    "density_tolerance": 0.01,
}


def test_hollow_spheres_rise_in_a_container():
    """Spheres of 55 µm and 0.25 g/mL in 1.12 g/mL at 3.5 Pa·s, a quarter of the volume: 0.1075 µm/s upwards
    (Stokes with Richardson–Zaki 4.65, two methods); halves differ by 4φΔρ·vt/h, by hand."""
    plan = plan_with(Components=FILLED)
    one = standing_of(plan, plan.station("hem"))[0]
    assert one.speed == pytest.approx(-0.1075126663e-6, rel=1e-8)
    wait = 0.01 * 902.5 * 0.2 / (4 * 0.25 * 870.0 * 0.1075126663e-6)
    assert one.wait == pytest.approx(wait, rel=1e-8)
    told = found(settling_findings, plan)
    assert [each.kind for each in told] == ["quality"]
    assert told[0].numbers["wait_h"] == pytest.approx(wait / 3600.0)
    assert "rises" in told[0].text and "stir it every 5.3 h" in told[0].fix
    assert any("stir it every" in words or "rises" in words for words in on_the_card(plan))


def test_filler_that_is_held_or_slow_is_no_finding():
    # 0.048·870·9.80665·55e-6 = 0.0225 Pa hold the spheres (criterion from memory)
    assert found(settling_findings, plan_with(Components=FILLED | {"liquid_yield": 0.03})) == []
    assert len(found(settling_findings, plan_with(Components=FILLED | {"liquid_yield": 0.02}))) == 1
    # a tenth of the size is a hundred times slower: 22 days, past a day; but not past an open life of 30 d
    small = FILLED | {"filler_size": 0.0055}
    assert found(settling_findings, plan_with(Components=small)) == []
    assert len(found(settling_findings, plan_with(Components=small | {"open_life": 30}))) == 1


def test_filler_that_is_half_described_is_told():
    told = found(settling_findings, plan_with(Components={"filler_size": 0.055, "filler_density": 0.25}))
    assert [each.kind for each in told] == ["note"]
    assert "standing height, filler share, liquid viscosity is not stated" in told[0].text


def test_a_hose_that_runs_on():
    """0.5 mL/bar under the pressure of the nozzle; τ = C·Δp/Q, by hand."""
    nozzle = {"nozzle_bore": 2, "nozzle_length": 30, "hose_compliance": 0.5, "meter_tolerance": 0.01}
    plan = plan_with(Materials={"consistency": 5.0}, Stations=nozzle)
    flow = 10 * 1 * 100 * 1e-9  # 10 mm² at 100 mm/s
    pressure = 128 * 5.0 * 0.03 * flow / (math.pi * 0.002**4)
    told = found(hose_findings, plan)
    assert told[0].numbers["drip_mL"] == pytest.approx(0.5 * pressure / 1e5, rel=1e-9)
    assert told[0].numbers["start_s"] == pytest.approx(math.log(20.0) * 5e-12 * pressure / flow, rel=1e-9)
    # 1 % of a shot of 10 mL
    assert told[0].kind == ("quality" if 0.5 * pressure / 1e5 > 0.1 else "note") == "quality"
    stiff = plan_with(Materials={"consistency": 5.0}, Stations=nozzle | {"hose_compliance": 0.001})
    assert [each.kind for each in found(hose_findings, stiff)] == ["note"]


def test_the_oldest_hundredth_counts_where_the_plan_says_so():
    """Laminar tube: the oldest 1 % is older than 5 times the mean (1 − 1/(4θ²) = 0.99)."""
    plan = plan_with(Stations={"oldest_share": 0.01})
    told = {each.topic: each for each in reversed(found(age_findings, plan))}
    assert told["oldest material"].numbers["factor"] == pytest.approx(5.0)
    # a purge of 15 mL through 10 mL: θ = 1.5, 1/(4·1.5²) = 0.111 of old; 50 mL for 1 %
    assert told["purge"].kind == "quality"
    assert told["purge"].numbers["old_share"] == pytest.approx(1.0 / 9.0)
    assert told["purge"].numbers["needed_mL"] == pytest.approx(50.0)
    enough = plan_with(Stations={"oldest_share": 0.01, "purge_volume": 50})
    assert "purge" not in {each.topic for each in found(age_findings, enough)}
    # 15 mL at a time: 4 purges for the 50 mL
    assert "4 purges in a row" in told["purge"].text
    blank = plan_with(Stations={"oldest_share": 0.01, "purge_volume": 0})
    assert "purge" not in {each.topic for each in found(age_findings, blank)}
    assert setup_card(blank, "hem").station.purge_volume == pytest.approx(50e-6)
    assert setup_card(plan_with(Stations={"purge_volume": 0}), "hem").station.purge_volume == 0.0


def streamlines_too_old(pushes, filled, volume, limit):
    """Largest share of what leaves on a part that is older than a limit [s]: laminar tube, by streamlines.

    `pushes` are volumes [mL] with their begin and end [s], parts those marked; the tube was filled at once.
    Poiseuille: of the flow, a share F lies within r² = 1 − √(1 − F), where it is 2√(1 − F) times as fast as
    the mean, so that it entered 1/(2√(1 − F)) tube volumes before (B. R. Bird, W. E. Stewart,
    E. N. Lightfoot: Transport Phenomena, from memory).
    """
    shares = (np.arange(20_000) + 0.5) / 20_000
    before = volume / (2.0 * np.sqrt(1.0 - shares))
    clocks, through = [filled], [0.0]
    for amount, begin, end, _ in pushes:
        clocks += [begin, end]
        through += [through[-1], through[-1] + amount]
    worst = 0.0
    for place, (amount, begin, end, is_part) in enumerate(pushes):
        for part in (0.0, 0.5, 1.0) if is_part else ():
            put = through[1 + 2 * place] + part * amount
            # what was there at the start is as old as the filling
            entered = np.interp(put - before, through, clocks, left=filled)
            worst = max(worst, float(np.mean(begin + part * (end - begin) - entered > limit)))
    return worst


@pytest.mark.parametrize(("share", "is_kept"), [(None, False), (0.01, True)])
def test_the_player_purges_by_the_oldest_share(monkeypatch, share, is_kept):
    """10 mL a part each 10 min through 10 mL at 23 °C: 36 min allowed; of plug flow 10, 1 % older than 50."""
    mixers, fill, push = {}, Mixer.fill, Mixer.push

    def filled(self, clock):
        mixers.setdefault(self, []).append((clock, []))
        fill(self, clock)

    def pushed(self, volume, start, end):
        if volume and self in mixers:
            mixers[self][-1][1].append((volume / 1e6, start, end, volume == 10_000_000))
        push(self, volume, start, end)

    monkeypatch.setattr(Mixer, "fill", filled)
    monkeypatch.setattr(Mixer, "push", pushed)
    plan = plan_with(Stations={"oldest_share": share, "purge_volume": 0, "takt": 600, "shop_temperature": 23})
    played = next(iter(play_plan(plan)))
    runs = [run for each in mixers.values() for run in each]
    assert sum(is_part for _, pushes in runs for *_, is_part in pushes) > 10
    worst = max(streamlines_too_old(pushes, clock, 10.0, 36 * 60.0) for clock, pushes in runs)
    assert (worst <= 0.01 + 1e-4) is is_kept
    assert is_kept or worst > 0.013  # 1/(4·4²) is 1.6 %: the mix of four parts before
    purged = [event.volume / 1e6 for event in played.events if event.kind == "purge"]
    assert set(purged) == ({50.0} if is_kept else {10.0})  # after breaks in plug flow too
    # a new mixer costs its content, whatever may stay in it
    assert played.used["a"]["mixers"] + played.used["b"]["mixers"] == played.mixers * 10_000_000


def test_old_material_at_the_takt():
    """10 mL a part at 600 s from a mixer of 10 mL: 10 min on the mean, 50 the oldest 1 %; 36 allowed."""
    plan = plan_with(Stations={"oldest_share": 0.01, "purge_volume": 60})
    slow = [each for each in found(age_findings, plan) if each.kind == "quality"]
    assert [each.topic for each in slow] == ["oldest material"]
    assert slow[0].numbers == pytest.approx({"mean_min": 10.0, "oldest_min": 50.0})
    assert "36 min" in slow[0].text
    quick = plan_with(Stations={"oldest_share": 0.01, "purge_volume": 60, "takt": 400})  # 33 min
    assert [each.kind for each in found(age_findings, quick)] == ["note"]


def test_a_viscosity_carried_far_is_told():
    far = {"consistency": 5.0, "viscosity_energy": 40.0, "viscosity_temperature": 23 + FAR_CARRIED + 1}
    told = found(carried_findings, plan_with(Materials=far))
    assert [each.kind for each in told] == ["quality"] and told[0].numbers["carried_K"] == pytest.approx(26.0)
    near = far | {"viscosity_temperature": 23 + FAR_CARRIED - 1}
    assert found(carried_findings, plan_with(Materials=near)) == []


def test_they_stand_in_the_one_list():
    plan = plan_with(Materials={"yield_stress": 1.0}, Beads={"face_angle": 90})
    assert "sag" in {each.topic for each in station_findings(plan, "hem")}
