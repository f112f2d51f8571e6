"""Which way each slow cause moves the day's figures: signs, exponents and fractions that follow from how pumps and arrays work.

Not how far: that is each site's own. Signatures from the pump laws and the single-diode circuit; see the causes' own docstrings.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.causes.registry import all_causes
from analysis.estimates.bench import bench_of
from analysis.estimates.effects import Effect, relieved
from analysis.estimates.vector import HOURS, PLACE
from analysis.plant import Plant, plant_of
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

SITES = {
    "helical full": "riser-leak/helical_full",
    "helical middle": "none/helical_middle",
    "centrifugal full": "closed-delivery/centrifugal_full",
    "centrifugal middle": "dry-running/centrifugal_middle",
}
ALL, FULL = list(SITES), ["helical full", "centrifugal full"]


@cache
def plant(site: str) -> Plant:
    return plant_of(read_site((HERE / SITES[site] / "site.toml").read_text(), "site.toml"))


def effects(cause: str, site: str) -> list[Effect]:
    effect = all_causes()[cause].effect
    assert effect is not None
    return effect(plant(site))


def part(cause: str, site: str, name: str | None) -> Effect:
    """The cause's first form of that part: the usual one."""
    return next(effect for effect in effects(cause, site) if effect.part == name)


def bands(effect: Effect, name: str) -> np.ndarray:
    """Low, middle, high power of one banded figure."""
    return effect.direction[[PLACE[f"{name}{band}"] for band in range(3)]]


def hours(effect: Effect) -> np.ndarray:
    return effect.direction[PLACE["s0"] : PLACE["s0"] + HOURS]


@pytest.mark.parametrize("site", ALL)
def test_wear_slips_most_at_low_speed_for_the_same_torque(site: str) -> None:
    """Less water means less drawdown and friction, and a displacement pump's torque follows the head."""
    wear = part("worn-pump", site, None)
    slip = bands(wear, "n")
    assert (slip < 0).all()
    assert slip[0] < slip[1] < slip[2]
    assert (wear.lost < 0).all()
    torque = bands(wear, "t")
    assert (np.abs(torque) < 0.5).all()
    assert (torque < 0).all() == site.startswith("helical")  # and a worn stator rubs less
    assert (torque <= 0).all()


@pytest.mark.parametrize("site", ["helical full", "helical middle"])
def test_water_that_runs_out_was_lifted_so_that_the_torque_hardly_moves(site: str) -> None:
    """The well is drawn down for it and half of the riser passes it, where wear spares both; a gauge of the level takes its part from both."""
    wear, wall = bands(part("worn-pump", site, None), "t"), bands(part("riser-leak", site, "wall"), "t")
    assert (wall < 0).all()
    assert (wear < wall).all()
    has = frozenset(plant(site).has)
    assert (relief(site, has - {"water_level_m"}) < relief(site, has | {"water_level_m"})).all()


def relief(site: str, has: frozenset[str]) -> np.ndarray:
    """Log of torque for each unit of the flow that is not lifted, with such channels."""
    seen = plant(site)
    fitted = replace(seen.facts, sensors=replace(seen.facts.sensors, channels=tuple(sorted(has))))
    return relieved(plant_of(fitted), bench_of(seen), float(bench_of(seen).flow_m3_h[-1]), 1.0, 1.0)


@pytest.mark.parametrize("site", FULL)
def test_a_blockage_goes_as_the_square_of_the_flow_and_the_gauge_says_where(site: str) -> None:
    pipe, strainer = part("clogging", site, "delivery"), part("clogging", site, "intake")
    pressure = bands(pipe, "p")
    assert (pressure > 0).all()
    assert pressure / pressure[-1] == pytest.approx(bench_of(plant(site)).relative_flow() ** 2)
    assert (bands(strainer, "p") == 0).all()
    assert (bands(strainer, "q") < 0).all()
    assert strainer.lost[0] > strainer.lost[-1]


@pytest.mark.parametrize("site", ALL)
def test_a_hole_costs_what_wear_costs_and_the_first_water_too(site: str) -> None:
    wall, valve = part("riser-leak", site, "wall"), part("riser-leak", site, "check-valve")
    assert (bands(wall, "n") < 0).all()
    assert bands(wall, "q") == pytest.approx(bands(part("worn-pump", site, None), "q"), rel=0.2)
    assert wall.direction[PLACE["first"]] > 0
    assert valve.direction[PLACE["first"]] > 0
    assert (bands(valve, "n") == 0).all()
    assert (bands(valve, "q") == 0).all()


@pytest.mark.parametrize("site", FULL)
def test_the_gauge_at_rest_falls_with_a_column_that_drains_unless_a_valve_above_holds_it(site: str) -> None:
    leaks = effects("riser-leak", site)
    drained = [e for e in leaks if e.direction[PLACE["first"]] > 0]
    assert {e.direction[PLACE["stand"]] > 0 for e in drained} == {True, False}
    assert all(e.direction[PLACE["stand"]] == 0 for e in leaks if not e.direction[PLACE["first"]] > 0)
    assert part("worn-pump", site, None).direction[PLACE["stand"]] == 0


@pytest.mark.parametrize("site", ALL)
def test_what_drags_takes_torque_and_leaves_the_water(site: str) -> None:
    drag = part("unexplained", site, None)
    load = bands(drag, "t")
    assert load[-1] == 1
    assert (np.diff(load) <= 0).all(), "a centrifugal pump takes the less, the slower it turns"
    assert (bands(drag, "i") > 0).all()
    assert (bands(drag, "n") == 0).all()
    assert (bands(drag, "q") < 0).all()
    assert (bands(drag, "l") == 0).all()
    assert (bands(drag, "p") == 0).all()


def test_it_is_called_drag_only_where_the_torque_rose() -> None:
    told = all_causes()["unexplained"].evidence
    assert "drags" in told({"amount": 0.3, "shift_t2": 0.28})
    assert "drags" not in told({"amount": 1.2, "shift_t2": 0.0, "shift_first": 7.1})


def test_no_strainer_takes_more_suction_than_air_and_well_lend() -> None:
    """Beyond, the pump starves: flow per turn falls at high speed, and the torque rises no further."""
    site = "helical full"
    strainer, starved = (e for e in effects("clogging", site) if e.part == "intake")
    facts = plant(site).facts
    suction_m = facts.pump.setting_depth_m - facts.well.static_level_m + 9.0
    metres = bands(strainer, "t")[-1] / bench_of(plant(site)).power_per_head[-1]
    assert strainer.most * metres <= suction_m
    assert bands(starved, "n")[-1] < bands(starved, "n")[0] <= 0
    assert (bands(starved, "t") > 0).all()


@pytest.mark.parametrize("site", ALL)
def test_a_fallen_level_is_read_by_the_gauge_or_felt_by_the_pump(site: str) -> None:
    """Deeper water asks a displacement pump for torque, and takes load off a centrifugal one at the same speed."""
    resting = part("falling-water-level", site, "resting")
    assert resting.direction[PLACE["rest"]] > 0
    assert (resting.lost < 0).all()
    if site.endswith("full"):
        assert bands(resting, "l") == pytest.approx(np.ones(3))
        assert (bands(resting, "q") == 0).all()
    else:
        assert (bands(resting, "q") < 0).all()
        assert (bands(resting, "t") > 0).all() if site.startswith("helical") else (bands(resting, "t") < 0).any()


@pytest.mark.parametrize("site", ALL)
def test_what_the_season_moves_is_no_fault(site: str) -> None:
    facts = plant(site).facts
    wide = plant_of(replace(facts, well=replace(facts.well, seasonal_range_m=20.0)))
    effect = all_causes()["falling-water-level"].effect
    assert effect is not None
    assert all(form.least >= 10.0 for form in effect(wide))


@pytest.mark.parametrize("site", ALL)
def test_dust_takes_current_at_all_hours_and_no_voltage(site: str) -> None:
    dust = part("panel-soiling", site, None)
    assert (hours(dust) == hours(dust)[0]).all()
    assert hours(dust)[0] < 0
    assert dust.direction[[PLACE["av0"], PLACE["av1"]]] == pytest.approx(0)
    assert dust.least > 0.03, "dust under 3 % is no fault"


@pytest.mark.parametrize("site", ALL)
def test_strings_out_leave_the_others_as_warm_as_ever(site: str) -> None:
    """Where the current itself tells light and warmth, half of it seems to be half of the light, on cooler cells: the voltage seems low."""
    measured, read = "irradiance_w_m2" in plant(site).has, {"pv_voltage_v", "pv_current_a"} <= plant(site).has
    for out in effects("string-out", site)[: min(3, plant(site).facts.array.strings - 1)]:
        low, high = out.direction[[PLACE["av0"], PLACE["av1"]]]
        if measured or not read:
            assert low == high == 0
        else:
            assert low < -0.005
            assert -0.2 < high < -0.005


@pytest.mark.parametrize("site", ALL)
def test_a_string_goes_by_a_whole_fraction(site: str) -> None:
    array = plant(site).facts.array
    out, at_most = effects("string-out", site), min(3, array.strings - 1)
    strings, modules = out[:at_most], out[at_most:]
    current = [float(np.exp(hours(e)[0])) for e in strings]
    assert current == pytest.approx([1 - out / array.strings for out in range(1, len(current) + 1)])
    voltage = sorted(float(np.exp(e.direction[PLACE["av1"]])) for e in modules)
    assert voltage[-1] == pytest.approx(1 - 1 / 3 / array.modules_in_series), "one group behind a diode"


@pytest.mark.parametrize("site", ALL)
def test_shade_takes_a_run_of_hours(site: str) -> None:
    for shade in effects("shading", site):
        dark = np.flatnonzero(hours(shade))
        assert (hours(shade)[dark] < 0).all()
        assert (np.diff(dark) == 1).all()
        assert 0 < len(dark) < HOURS


@pytest.mark.parametrize("site", ALL)
def test_power_held_back_lowers_the_ceiling(site: str) -> None:
    for held in effects("controller-derating", site):
        assert held.direction[PLACE["cap"]] < 0
        assert (hours(held) == 0).all()


@pytest.mark.parametrize("site", ALL)
def test_a_wet_splice_takes_power_and_current_and_leaves_the_water(site: str) -> None:
    joint, wet, *_ = (effect for effect in effects("cable-fault", site) if effect.part == "motor")
    assert (bands(wet, "t") > 0).all()
    assert (bands(wet, "q") < 0).all()
    assert (bands(wet, "n") == 0).all()
    assert (bands(wet, "i") > 0).all(), "what leaks comes out of the drive, what a joint takes is volts"
    assert (bands(joint, "i") == 0).all()
    more = [np.ptp(bands(effect, "t")) for effect in (wet, joint)]
    assert more[0] < more[1] or "helical" not in site, "a joint weighs most where the power is low"


def test_it_is_called_a_splice_only_where_the_current_rose() -> None:
    told = all_causes()["cable-fault"].evidence
    assert "splice" in told({"size": 0.2, "shift_t2": 0.2, "shift_i2": 0.18})
    assert "splice" not in told({"size": 0.2, "shift_t2": 0.2, "shift_i2": 0.01})
    assert "splice" not in told({"size": 0.2, "shift_t2": 0.2})


@pytest.mark.parametrize("site", ALL)
def test_a_bad_joint_costs_power_on_the_way_and_nothing_after(site: str) -> None:
    motor, array = part("cable-fault", site, "motor"), part("cable-fault", site, "array")
    assert (bands(motor, "t") > 0).all()
    assert (bands(motor, "q") < 0).all()
    assert (bands(motor, "n") == 0).all()
    assert (bands(motor, "i") == 0).all()
    low, high = array.direction[[PLACE["av0"], PLACE["av1"]]]
    assert high < low < 0, "a resistance takes voltage as the current does"


@pytest.mark.parametrize("site", ALL)
def test_a_joint_that_takes_twice_as_much_costs_a_low_sun_more_than_twice_the_flow(site: str) -> None:
    bend = part("cable-fault", site, "motor").bend
    assert bend is not None
    flow, load = ([PLACE[f"{name}{band}"] for band in range(3)] for name in "qt")
    once, twice = bend.at(0.1), bend.at(0.2)
    assert (twice[flow] < 2.0 * once[flow])[0]
    assert (twice[load] > 2.0 * once[load]).all()


def test_where_no_voltage_and_no_sun_is_read_a_noon_that_is_short_is_no_joint() -> None:
    lean = plant("helical middle").has - {"pv_voltage_v", "pv_current_a"}
    assert "irradiance_w_m2" not in lean
    facts = plant("helical middle").facts
    blind = plant_of(replace(facts, sensors=replace(facts.sensors, channels=tuple(sorted(lean | {"input_power_w"})))))
    effect = all_causes()["cable-fault"].effect
    assert effect is not None
    assert {form.part for form in effect(blind)} == {"motor"}
