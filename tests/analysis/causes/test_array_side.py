"""The array's side: what a resistance, a voltage sensor and a shade look like beside each other, and what the horizon keeps."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.causes.registry import all_causes
from analysis.estimates.effects import Effect
from analysis.estimates.horizon import BINS, without_horizon
from analysis.estimates.own_light import sides_apart
from analysis.estimates.vector import HOURS, PLACE, SIZE
from analysis.plant import Plant, plant_of
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

SITES = ("riser-leak/helical_full", "closed-delivery/centrifugal_full")
DAY, AFTERNOON = 20_000, 9
S = slice(PLACE["s0"], PLACE["s0"] + HOURS)


@cache
def plant(site: str) -> Plant:
    return plant_of(read_site((HERE / site / "site.toml").read_text(), "site.toml"))


def form(cause: str, site: str, **wanted: str) -> Effect:
    effect = all_causes()[cause].effect
    assert effect is not None
    return next(e for e in effect(plant(site)) if all(getattr(e, name) == value for name, value in wanted.items()))


def with_a_joint(site: str, light: float, share: float) -> np.ndarray:
    """Logs of voltage, current and power at the controller's own maximum, with over without a resistance that takes `share` of the volts."""
    array = plant(site).model.array
    _, full_v, full_a = (float(x[0]) for x in array.maximum(np.array([1000.0]), np.array([50.0])))
    volts = np.linspace(0.4, 1.2, 4000) * full_v

    def at_maximum(more_ohm: float) -> np.ndarray:
        circuit = replace(array, loop_ohm=array.loop_ohm + more_ohm)
        amperes = circuit.current_at(volts, np.full(len(volts), light), np.full(len(volts), 25.0 + 0.025 * light))
        best = int(np.argmax(volts * amperes))
        return np.array([volts[best], amperes[best], volts[best] * amperes[best]])

    return np.log(at_maximum(share * full_v / full_a) / at_maximum(0.0))


@pytest.mark.parametrize("site", SITES)
@pytest.mark.parametrize("share", [0.06, 0.12, 0.2])
def test_a_joints_direction_is_what_the_circuit_says(site: str, share: float) -> None:
    """Within its own looseness: volts in proportion to the current, and at full sun a little of the current too."""
    assert sides_apart(plant(site))
    joint = form("cable-fault", site, part="array")
    amount = -with_a_joint(site, 1000.0, share)[2]
    for light, place, s_place in ((850.0, "av1", "s5"), (425.0, "av0", None)):
        volts, amperes, _ = with_a_joint(site, light, share)
        said = amount * joint.direction[PLACE[place]]
        assert abs(said - volts) < joint.loose * abs(said) + 0.005, (light, said, volts)
        if s_place is not None:
            assert joint.blur is not None
            said, blur = (amount * of[PLACE[s_place]] for of in (joint.direction, joint.blur))
            assert abs(said - amperes) < joint.loose * abs(said) + blur, (light, said, amperes)


@pytest.mark.parametrize("site", SITES)
def test_a_voltage_sensor_is_off_by_the_same_share_in_any_light_and_says_nothing_of_the_current(site: str) -> None:
    sensor, joint = form("sensor-fault", site, channel="pv_voltage_v"), form("cable-fault", site, part="array")
    assert sensor.direction[PLACE["av0"]] == sensor.direction[PLACE["av1"]] != 0
    assert not sensor.direction[S].any()
    assert joint.direction[PLACE["av1"]] < 0.0  # down with the current
    assert joint.direction[PLACE["av0"]] == pytest.approx(0.5 * joint.direction[PLACE["av1"]])


SUNNY = np.ones((3, HOURS))


def day_of(**hours: float) -> np.ndarray:
    vector = np.full(SIZE, np.nan)
    vector[S] = 0.0
    for hour, log in hours.items():
        vector[PLACE[hour]] = log
    return vector


def test_what_an_older_version_kept_of_the_horizon_is_taken_up() -> None:
    """It kept the elevations only: they stand, and of the last clear days nothing is known."""
    seen = np.full(BINS, 12.5)
    found, kept = without_horizon(plant(SITES[0]), DAY, day_of(), SUNNY, seen)
    assert kept.shape == (BINS + HOURS,)
    assert (kept[:BINS] <= 12.5).all()
    assert (kept[BINS:] == DAY).all()
    assert np.array_equal(found, day_of(), equal_nan=True)


@pytest.mark.parametrize(("log", "told"), [(-0.7, True), (-0.1, False)])
def test_a_shade_that_comes_in_a_day_is_told_and_one_that_the_season_may_bring_is_not(log: float, told: bool) -> None:
    """Whatever hid the hour lies below where the sun was seen last: a horizon takes little of an hour from one day to the next."""
    kept = without_horizon(plant(SITES[0]), DAY, day_of(), SUNNY, None)[1]
    kept[:BINS] = 90.0  # at these elevations the sun was never seen clear
    found, _ = without_horizon(plant(SITES[0]), DAY + 1, day_of(**{f"s{AFTERNOON}": log}), SUNNY, kept)
    assert np.isfinite(found[PLACE[f"s{AFTERNOON}"]]) == told


def test_an_hour_under_cloud_says_nothing_of_the_horizon() -> None:
    kept = without_horizon(plant(SITES[0]), DAY, day_of(), np.zeros((3, HOURS)), None)[1]
    assert np.isnan(kept[BINS:]).all()
    assert (kept[:BINS] == 90.0).all()
