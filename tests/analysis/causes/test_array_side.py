"""The array's side: what a resistance, a voltage sensor and a shade look like beside each other, and what the horizon keeps."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.causes.registry import all_causes
from analysis.estimates import electric
from analysis.estimates.at_rest import Shadow, in_the_dark, with_shadows
from analysis.estimates.effects import Effect
from analysis.estimates.horizon import BINS, without_horizon
from analysis.estimates.own_light import sides_apart
from analysis.estimates.steady import hours_of
from analysis.estimates.vector import HOURS, PLACE, SIZE, empty
from analysis.learning import beginning, sunlit
from analysis.look import look
from analysis.physics.array_power import OPEN_CIRCUIT_V
from analysis.plant import Plant, plant_of
from analysis.rows import Rows
from analysis.slow import slow_bench
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


def figures_of_a_day(volts_left: np.ndarray) -> np.ndarray:
    """A clear day of one-minute rows at maximum power, of whose voltage `volts_left` is left by hour; that day's vector."""
    site = plant(SITES[0])
    site = plant_of(replace(site.facts, controller=replace(site.facts.controller, max_power_w=1e6), visits=()))
    minutes = np.arange(-300, 300, dtype=np.int64)
    time_ms = site.days.noon_ms(DAY) + minutes * 60_000
    clear = site.model.expect(Rows(time_ms, {})).clear_poa_w_m2
    should = site.model.expect(Rows(time_ms, {"irradiance_w_m2": clear, "module_temp_c": 25.0 + 0.025 * clear}))
    left = volts_left[(minutes // 60 + 5).astype(int)]
    values = {"irradiance_w_m2": clear, "module_temp_c": 25.0 + 0.025 * clear, "motor_running": np.ones(len(minutes))}
    values |= {"pv_voltage_v": should.mpp_voltage_v * left, "pv_current_a": should.mpp_current_a.copy()}
    seen = look(site, Rows(time_ms, values), range(DAY, DAY + 1))
    vector = empty(1)
    hours = hours_of(electric.hour_bins(site, seen, range(DAY, DAY + 1)), (1, HOURS), seen.dt_h)
    electric.fill(vector, site, seen, range(DAY, DAY + 1), hours)
    return np.asarray(vector[0])


def test_modules_passed_by_for_some_hours_are_shade_and_for_all_hours_are_not() -> None:
    left = np.ones(10)
    left[7:9] = 0.6
    shaded = figures_of_a_day(left)
    assert shaded[S][8:10] == pytest.approx(np.log(0.6), abs=0.02)
    assert np.abs(shaded[S][2:7]).max() < 0.02
    assert abs(shaded[PLACE["av1"]]) < 0.01  # the array itself is whole
    for share in (0.84, 0.5):  # a module of six, and of two
        lost = figures_of_a_day(np.full(10, share))
        assert np.nanmax(np.abs(lost[S][1:11])) < 0.02
        assert lost[PLACE["av1"]] == pytest.approx(np.log(share), abs=0.01)


def test_volts_that_go_with_the_current_are_a_joints_and_no_shade() -> None:
    left = 1.0 - 0.15 * np.cos(np.abs(np.arange(10) - 4.5) / 6.0 * np.pi / 2)
    assert np.abs(figures_of_a_day(left)[S][1:11]).max() < 0.02


def test_a_dim_hour_that_was_mostly_held_back_tells_of_no_shade() -> None:
    """The pump took all that it takes for most of the hour: only the minutes in a shadow would speak."""
    kept = without_horizon(plant(SITES[0]), DAY, day_of(), SUNNY, None)[1]
    kept[BINS:] = DAY
    some = np.full((3, HOURS), 0.3)
    found, _ = without_horizon(plant(SITES[0]), DAY + 1, day_of(**{f"s{AFTERNOON}": -1.5}), some, kept)
    assert np.isnan(found[PLACE[f"s{AFTERNOON}"]])


def test_an_hour_held_back_was_an_hour_in_the_sun() -> None:
    """The sun gave more than the pump takes, so that nothing hid it: a shade that comes there is new."""
    plenty = np.zeros((3, HOURS))
    plenty[2, AFTERNOON] = 1.0
    kept = without_horizon(plant(SITES[0]), DAY, day_of(**{f"s{AFTERNOON}": np.nan}), plenty, None)[1]
    assert kept[BINS + AFTERNOON] == DAY
    found, _ = without_horizon(plant(SITES[0]), DAY + 1, day_of(**{f"s{AFTERNOON}": -0.7}), SUNNY, kept)
    assert np.isfinite(found[PLACE[f"s{AFTERNOON}"]])


def resting_day(shaded: np.ndarray, running: bool) -> tuple[Plant, np.ndarray, np.ndarray]:
    """A clear day at a site with a sensor: at rest (`shaded`: share of the light left by hour), or running at maximum power outside the shade.

    Plant; the vector's hours (HOURS,); rows in which `in_the_dark` says nothing would start.
    """
    at = plant(SITES[0])
    start, stop = at.days.daylight_ms(DAY)
    time_ms = np.arange(start + 3_600_000, stop - 3_600_000, 60_000)
    sky = at.model.expect(Rows(time_ms, {}), brief=True)
    light = sky.clear_poa_w_m2
    hour = np.clip((time_ms - at.days.noon_ms(DAY)) // 3_600_000 + HOURS // 2, 0, HOURS - 1)
    left = shaded[hour]
    cells = np.full(len(time_ms), 40.0)
    _, volts, amperes = at.model.array.maximum(light, cells)
    open_v = at.model.array.table(light * left, cells, (OPEN_CIRCUIT_V,))[0]
    runs = (left == 1.0) & running
    rows = Rows(
        time_ms,
        {
            "irradiance_w_m2": light,
            "module_temp_c": cells - 3.0 * light / 1000.0,
            "pv_voltage_v": np.where(runs, volts, open_v),
            "pv_current_a": np.where(runs, amperes, 0.0),
        },
    )
    days = range(DAY, DAY + 1)
    seen = look(at, rows, days)
    vector = empty(1)
    hours = hours_of(electric.hour_bins(at, seen, days), (1, HOURS), seen.dt_h)
    electric.fill(vector, at, seen, days, hours)
    return at, vector[0, PLACE["s0"] : PLACE["s0"] + HOURS], in_the_dark(at, seen)


def test_an_array_that_stands_in_a_shade_shows_it_in_its_voltage_at_rest() -> None:
    shaded = np.ones(HOURS)
    shaded[7] = 0.15
    _, hours, dark = resting_day(shaded, running=True)
    assert hours[7] < -0.5
    assert np.nanmin(np.delete(hours, 7)) > -0.1
    assert dark.any()


def test_an_array_that_stands_in_the_sun_shows_no_shade() -> None:
    _, hours, dark = resting_day(np.ones(HOURS), running=False)
    assert not (hours < -0.1).any()
    assert not dark.any()


def test_an_hour_beside_no_hour_in_the_sun_is_not_called_shaded_where_no_sensor_tells() -> None:
    lost = np.zeros((1, HOURS))
    lost[0, 9] = 0.6
    shadow = Shadow(lost, np.zeros((1, HOURS), bool))
    far = np.full((1, HOURS), np.nan)
    far[0, 2:5] = 0.0
    near = far.copy()
    near[0, 8] = 0.0
    assert np.isnan(with_shadows(far, shadow, sun_measured=False)[0, 9])
    assert with_shadows(near, shadow, sun_measured=False)[0, 9] == pytest.approx(np.log(0.4))


def test_an_hour_seen_in_the_sun_is_no_horizon_and_what_it_gives_stays_as_open_as_the_arrays_own() -> None:
    scatter = slow_bench(plant(SITES[0])).scatter
    learnt = beginning(scatter)
    hours = np.zeros(HOURS, bool)
    hours[9] = True
    place = PLACE["s0"] + 9
    known = sunlit(learnt, hours, scatter)
    assert known.covariance[place, place] < 0.02 < learnt.covariance[place, place]
    assert (known.mean == learnt.mean).all()
    k = SIZE + list(scatter.modes).index("array_current")
    assert known.joint_covariance[k, k] == pytest.approx(learnt.joint_covariance[k, k])


def resting_after(left: np.ndarray, volts_left: np.ndarray, rests: np.ndarray) -> np.ndarray:
    """By hour from three before noon on, a clear day: share of the light on the array, of the voltage while it runs, whether it rests; rows dark at rest, by hour."""
    at = plant(SITES[0])
    minutes = np.arange(60 * len(left), dtype=np.int64)
    time_ms, hour = at.days.noon_ms(DAY) + (minutes - 180) * 60_000, minutes // 60
    light, cells = at.model.expect(Rows(time_ms, {}), brief=True).clear_poa_w_m2, np.full(len(minutes), 40.0)
    _, volts, amperes = at.model.array.maximum(light, cells)
    open_v = at.model.array.table(light * left[hour], cells, (OPEN_CIRCUIT_V,))[0]
    values = {
        "irradiance_w_m2": light,
        "module_temp_c": cells - 3.0 * light / 1000.0,
        "pv_voltage_v": np.where(rests[hour], open_v, volts_left[hour] * volts),
        "pv_current_a": np.where(rests[hour], 0.0, amperes),
    }
    dark = in_the_dark(at, look(at, Rows(time_ms, values), range(DAY, DAY + 1)))
    return dark.reshape(-1, 60)[:, 5:].mean(axis=1)


def test_a_run_that_ends_on_the_bypass_diodes_ends_in_a_shade_and_one_at_full_voltage_does_not() -> None:
    rests = np.array([False, False, True, True])
    assert resting_after(np.ones(4), np.array([1.0, 0.5, 1.0, 1.0]), rests).tolist() == [0.0, 0.0, 1.0, 1.0]
    assert resting_after(np.ones(4), np.ones(4), rests).tolist() == [0.0] * 4


def test_less_voltage_at_rest_than_earlier_that_day_is_a_shade_though_a_datasheet_would_not_say_so() -> None:
    left = np.array([1.0, 0.32, 0.32])
    assert resting_after(left, np.ones(3), np.ones(3, bool)).tolist() == [0.0, 1.0, 1.0]
    assert resting_after(left[1:], np.ones(2), np.ones(2, bool)).tolist() == [0.0] * 2


@pytest.mark.parametrize("share", [0.0, 0.2])
def test_a_limit_of_the_pumps_is_no_loss_of_light_though_a_joint_lowers_its_voltage(share: float) -> None:
    """A resistance that takes `share` of the volts at full sun; the pump takes 85 % of what the sun gives at noon, and not more."""
    site = plant(SITES[0])
    array = site.model.array
    _, full_v, full_a = (float(x[0]) for x in array.maximum(np.array([1000.0]), np.array([50.0])))
    minutes = np.arange(-300, 300, dtype=np.int64)
    time_ms = site.days.noon_ms(DAY) + minutes * 60_000
    light = site.model.expect(Rows(time_ms, {})).clear_poa_w_m2
    cells = 25.0 + 0.025 * light
    inner = np.linspace(0.5, 1.35, 400)[:, None] * full_v
    amperes = array.current_at(inner, light, cells)
    volts = inner - share * full_v / full_a * amperes
    power = np.where(volts > 0.0, volts * amperes, 0.0)
    best = power.argmax(axis=0)
    limit_w = 0.85 * power.max()
    reaches = (np.arange(400)[:, None] >= best) & (power >= np.minimum(limit_w, power.max(axis=0)))
    at = np.where(reaches, np.arange(400)[:, None], 0).max(axis=0)
    every = np.arange(len(minutes))
    values = {"irradiance_w_m2": light, "module_temp_c": cells, "motor_running": np.ones(len(minutes))}
    values |= {"pv_voltage_v": volts[at, every], "pv_current_a": amperes[at, every]}
    seen = look(site, Rows(time_ms, values), range(DAY, DAY + 1))
    vector = empty(1)
    hours = hours_of(electric.hour_bins(site, seen, range(DAY, DAY + 1)), (1, HOURS), seen.dt_h)
    electric.fill(vector, site, seen, range(DAY, DAY + 1), hours)
    assert np.nanmin(vector[0][S]) > -0.06
