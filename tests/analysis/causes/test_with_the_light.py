"""An array that gives all it has goes with the light, whatever its voltage says; what holds a pump back does not."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.estimates.held import fill_held, held_rows
from analysis.estimates.steady import hours_of
from analysis.estimates.vector import PLACE, SIZE, empty
from analysis.estimates.with_the_light import on_one_curve, over_own_cells, with_the_light
from analysis.held_on import held_on
from analysis.plant import plant_of
from logger.record.site_file import read_site

HOURS, ROWS = 12, 30


class _Rows(SimpleNamespace):
    def __len__(self):
        return len(self.dt_h)


@pytest.fixture
def follows():
    """One day, a row each two minutes, all above the supposed voltage of maximum power: power -> rows that go with the light."""
    bins = np.repeat(np.arange(HOURS), ROWS)
    sun = 1000.0 * np.sin(np.pi * (np.arange(HOURS * ROWS) + 0.5) / (HOURS * ROWS))
    dt_h, yes = np.full(len(bins), 1 / 30), np.ones(len(bins), bool)
    noise = 1.0 + 0.004 * np.random.default_rng(1).standard_normal(len(bins))

    def rows(power_w, measured=True):
        expected = SimpleNamespace(poa_measured=yes & measured, mpp_power_w=sun)
        seen = _Rows(settled=yes, held=yes, expected=expected, power_w=power_w(sun) * noise, dt_h=dt_h)
        return with_the_light(seen, hours_of(bins, (1, HOURS), dt_h))

    return rows


def test_a_third_of_the_strings_out_is_not_held_back_at_noon_either(follows):
    assert follows(lambda sun: 0.67 * sun).all()


def test_one_speed_in_the_middle_of_the_day_is_held_back_and_the_morning_is_not(follows):
    found = follows(lambda sun: np.minimum(0.95 * sun, 600.0))
    assert found[:ROWS].all()
    assert not found[4 * ROWS : 8 * ROWS].any()


def test_heat_that_takes_more_and_more_does_not_follow_the_light(follows):
    falling = np.linspace(0.0, 0.4, HOURS * ROWS)
    assert not follows(lambda sun: np.minimum(0.95 * sun, 700.0 * (1 - falling)))[5 * ROWS : 8 * ROWS].any()


def test_without_a_sensor_of_the_sun_nothing_is_said(follows):
    assert not follows(lambda sun: 0.67 * sun, measured=False).any()


@pytest.fixture
def hunts():
    """An hour's rows at 800 W/m2 on cells of 50 deg C, supposed so: voltages -> rows that lie on the curve of one light."""
    array = plant_of(read_site(Path("samples/sites/ochre-pan.toml").read_text())).model.array
    at_most = float(array.voltage_at_maximum(np.array([800.0]), np.array([50.0]))[0])

    def rows(times, light_w_m2):
        volts = at_most * np.asarray(times)
        count, hot = len(volts), np.full(len(volts), 50.0)
        amperes = array.current_at(volts, light_w_m2, hot)
        yes, dt_h = np.ones(count, bool), np.full(count, 1 / 60)
        seen = _Rows(
            rows={"pv_voltage_v": volts, "pv_current_a": amperes}, power_w=volts * amperes, dt_h=dt_h,
            expected=SimpleNamespace(poa_measured=~yes, cell_temp_c=hot),
        )  # fmt: skip
        return on_one_curve(
            SimpleNamespace(model=SimpleNamespace(array=array)),
            seen,
            hours_of(np.zeros(count, np.int64), (1, 1), dt_h),
            yes,
        )

    return rows


def test_a_controller_that_hunts_moves_along_the_curve_of_one_light(hunts):
    assert hunts(np.tile([1.06, 1.09, 1.12], 20), np.full(60, 800.0)).all()


def test_a_passing_cloud_does_not(hunts):
    assert not hunts(np.full(60, 1.0), np.tile([800.0, 500.0, 650.0], 20)).any()


def test_a_day_on_which_the_working_point_never_moves_proves_nothing(hunts):
    assert not hunts(np.full(60, 1.1), np.full(60, 800.0)).any()


def test_hours_held_back_do_not_tell_how_warm_the_cells_are():
    """Cells 5 % above the supposed voltage; from the third hour on the controller holds back, 6 % above them and with half the current."""
    bins = np.repeat(np.arange(HOURS), ROWS)
    held, yes = bins >= 2, np.ones(HOURS * ROWS, bool)
    volts, amperes = np.where(held, 1.05 * 1.06, 1.05) * 100.0, np.where(held, 5.0, 9.0)
    dt_h = np.full(len(bins), 1 / 30)
    power_w = np.where(bins == 2, 1.2, 1.0) * volts * amperes
    seen = _Rows(
        rows={"pv_voltage_v": volts, "pv_current_a": amperes}, power_w=np.where(bins == 1, 1100.0, power_w), dt_h=dt_h, at_max=yes,
        expected=SimpleNamespace(mpp_current_a=np.full(len(bins), 10.0)),
    )  # fmt: skip
    over = over_own_cells(seen, yes, np.full(len(bins), 100.0), hours_of(bins, (1, HOURS), dt_h))
    assert over[~held] == pytest.approx(1.0)
    assert over[held] == pytest.approx(1.06)


def learnt_and_days(caps):
    """A ceiling learnt at 0, and days that stand at the logs of power `caps`, NaN under cloud."""
    recent = empty(len(caps))
    recent[:, PLACE["cap"]] = caps
    return SimpleNamespace(mean=np.zeros(SIZE)), recent


def test_days_under_cloud_neither_tell_for_nor_against_a_pump_held_back():
    none = np.nan
    assert held_on(*learnt_and_days([-0.3, none, none, none, -0.3, none, -0.2]), 0.25, 0.0)
    assert not held_on(*learnt_and_days([-0.3, none, none, none, 0.0, none, -0.2]), 0.25, 0.0)
    assert not held_on(*learnt_and_days([-0.3, -0.3, -0.3, none]), 0.25, 0.0)


def a_day(power_w, over=None, rows=60, has=(), speed_rpm=None):
    """A day without a sensor of the sun, an hour in `rows` rows: power taken by minute of the day -> rows held back, and the day's figures."""
    bins = np.repeat(np.arange(HOURS), rows)
    count = len(bins)
    hour = (np.arange(count) + 0.5) / rows
    sun = 1000.0 * np.sin(np.pi * hour / HOURS)
    dt_h, yes, none = np.full(count, 1.0 / rows), np.ones(count, bool), np.full(count, np.nan)
    noise = 1.0 + 0.002 * np.random.default_rng(2).standard_normal(count)
    seen = _Rows(
        settled=yes, asked=yes, held=~yes, turning=yes, at_max=yes, power_w=power_w(hour, sun) * noise, dt_h=dt_h, flow_m3_h=none,
        should_m3_h=none, day=np.zeros(count, np.int64), speed_rpm=none if speed_rpm is None else speed_rpm(hour),
        rows=dict.fromkeys(("speed_setting_pct", "pv_voltage_v", "pv_current_a"), none),
        expected=SimpleNamespace(poa_measured=~yes, mpp_power_w=sun),
    )  # fmt: skip
    plant = SimpleNamespace(
        has=frozenset(has), helical=True, ceiling_w=1000.0,
        facts=SimpleNamespace(
            controller=SimpleNamespace(speed_limit_pct=100.0), motor=SimpleNamespace(rated_speed_rpm=3000.0),
            pump=SimpleNamespace(curve=()),
        ),
    )  # fmt: skip
    over = none if over is None else np.where(bins >= 4, over, 1.0)
    held = held_rows(plant, seen, over, hours := hours_of(bins, (1, HOURS), dt_h))
    vector = empty(1)
    fill_held(vector, plant, seen, held, over, range(1), hours)
    return held.reshape(HOURS, rows).all(axis=1), vector[0]


def hot(hour, sun):
    """A limit of 700 W that heat lowers by 50 W an hour from the fifth on, and that lets go as the day cools."""
    return np.minimum(0.95 * sun, 700.0 - 50.0 * np.clip(hour - 4.0, 0.0, 4.0) + 60.0 * np.clip(hour - 8.0, 0.0, 2.0))


def test_a_pump_that_takes_less_while_the_sun_climbs_is_held_back_though_only_its_power_is_read():
    held, day = a_day(hot)
    assert held[5:8].all()
    assert not held[:3].any()
    assert day[PLACE["cap"]] == pytest.approx(np.log(0.56), abs=0.08)
    assert day[PLACE["cv"]] < -0.1


def bends(lowest):
    """A limit that a hot box lowers with the sun, bent within the hours and with more scatter than a still sky leaves."""
    rough = np.random.default_rng(5)

    def power(hour, sun):
        limit = 800.0 - (800.0 - lowest) * np.clip(1.0 - np.abs(hour - 6.0) / 3.0, 0.0, 1.0) ** 2
        return np.minimum(0.95 * sun, limit) * (1.0 + 0.02 * rough.standard_normal(len(hour)))

    return power


def test_heat_that_turns_the_power_at_noon_holds_a_pump_back_in_hours_that_are_not_still():
    assert a_day(bends(400.0))[0][5:7].all()


def test_hours_as_rough_in_which_power_stays_where_it_was_say_nothing():
    assert not a_day(bends(800.0))[0].any()


def test_dust_on_all_hours_and_a_plane_that_faces_elsewhere_hold_nothing_back():
    assert not a_day(lambda _, sun: 0.6 * sun)[0].any()
    assert not a_day(lambda hour, sun: sun * (1.0 - 0.05 * hour))[0].any()


def test_cloud_in_the_middle_of_a_day_is_not_still_enough_to_hold_a_pump_back():
    ragged = np.random.default_rng(3)

    def clouded(hour, sun):
        return 0.95 * sun * np.where((hour > 4) & (hour < 8), 0.6 + 0.05 * ragged.standard_normal(len(hour)), 1.0)

    assert not a_day(clouded)[0].any()


def test_the_arrays_voltage_denies_what_the_days_course_seems_to_say():
    """A tree's shade at noon: the voltage stands a little below that of maximum power, and not above."""
    assert not a_day(hot, over=0.98)[0].any()
    assert a_day(hot, over=1.01)[0][5:8].all()


def test_a_still_hour_a_little_above_its_own_cells_is_held_back_and_a_ragged_one_is_not():
    afternoon = 9.0

    def low(hour, sun, noise=0.0):
        swing = noise * np.sin(40.0 * hour)
        return np.where(hour > afternoon, 0.5, 1.0) * sun * (1.0 + swing)

    assert a_day(low, over=1.04)[0][10]
    assert not a_day(low, over=1.02)[0].any()
    assert not a_day(lambda hour, sun: low(hour, sun, 0.03), over=1.04)[0].any()


def test_a_limit_is_as_even_as_its_speed_where_that_is_read():
    """A well drawn down lets the power fall at one speed."""
    falling = a_day(hot, speed_rpm=lambda hour: 3000.0 * np.ones(len(hour)))[1]
    assert falling[PLACE["cv"]] == pytest.approx(0.0, abs=1e-6)
    assert a_day(hot)[1][PLACE["cv"]] < -0.1


def test_a_limit_set_anew_within_an_hour_says_nothing_of_heat():
    def lifted(hour, sun):
        return np.minimum(0.95 * sun, np.where(hour < 6.5, 450.0, 690.0))

    assert np.isnan(a_day(lifted)[1][PLACE["cap"]])
    assert np.isfinite(a_day(lambda _, sun: np.minimum(0.95 * sun, 450.0))[1][PLACE["cap"]])


def test_a_pump_lifted_into_higher_water_at_noon_is_a_step_and_no_heat():
    stepped = a_day(lambda hour, sun: np.minimum(0.95 * sun, np.where(hour < 6.0, 500.0, 560.0)))[1]
    assert np.isnan(stepped[PLACE["cap"]])


def test_a_limit_that_is_highest_at_noon_follows_the_sun_and_falls_by_nothing():
    """A controller that stands beside the maximum: its voltage is too high all day, and its power goes with the light."""
    day = a_day(lambda _, sun: 0.7 * sun, over=1.08)[1]
    assert day[PLACE["cv"]] == pytest.approx(0.0, abs=0.01)
    surely = a_day(lambda _, sun: 0.7 * sun, over=1.15)[1]
    assert surely[PLACE["cv"]] < -0.2, "no tracker stands so far beside it: the limit itself moves"


def test_quarter_hours_follow_the_light_through_the_day_or_do_not():
    """Four rows an hour tell nothing of their hour; the day's together do."""
    bins = np.repeat(np.arange(HOURS), 4)
    sun = 1000.0 * np.sin(np.pi * (np.arange(len(bins)) + 0.5) / len(bins))
    yes, dt_h = np.ones(len(bins), bool), np.full(len(bins), 0.25)

    def rows(power_w):
        expected = SimpleNamespace(poa_measured=yes, mpp_power_w=sun)
        seen = _Rows(settled=yes, held=yes, expected=expected, power_w=power_w, dt_h=dt_h)
        return with_the_light(seen, hours_of(bins, (1, HOURS), dt_h))

    assert rows(0.85 * sun).all()
    assert not rows(np.minimum(0.9 * sun, 500.0))[16:32].any()


def test_a_voltage_that_no_cell_explains_is_held_back_though_passing_cloud_moves_the_power():
    site = read_site(Path("samples/sites/ochre-pan.toml").read_text())
    plant = plant_of(site)
    rows, bins = 60, np.repeat(np.arange(HOURS), 60)
    count = len(bins)
    yes, none, dt_h = np.ones(count, bool), np.full(count, np.nan), np.full(count, 1.0 / rows)
    cloud = np.where(np.arange(count) % 60 < 6, 0.5, 1.0)
    sun = 1000.0 * cloud
    seen = _Rows(
        settled=yes, asked=yes, held=cloud == 1.0, power_w=np.minimum(sun, 550.0), dt_h=dt_h, flow_m3_h=none, should_m3_h=none,
        rows=dict.fromkeys(("speed_setting_pct", "pv_voltage_v", "pv_current_a"), none),
        expected=SimpleNamespace(poa_measured=yes, mpp_power_w=sun),
    )  # fmt: skip
    hours = hours_of(bins, (1, HOURS), dt_h)
    assert held_rows(plant, seen, np.where(cloud == 1.0, 1.15, 1.0), hours)[cloud == 1.0].all()


def rough(hour, share):
    """Readings that scatter by 1.5 %, as a wattmeter's of cheap make."""
    return 1.0 + share * np.random.default_rng(7).standard_normal(len(hour))


def test_a_power_that_stays_through_the_day_is_a_limit_however_its_readings_scatter():
    held, figures = a_day(lambda hour, sun: np.minimum(0.9 * sun, 400.0) * rough(hour, 0.015))
    assert held[3:9].all()
    assert np.exp(figures[PLACE["cap"]]) == pytest.approx(0.4, rel=0.01)


def test_light_that_cloud_leaves_goes_with_the_sun_and_is_no_level():
    held, _ = a_day(lambda hour, sun: 0.5 * sun * rough(hour, 0.015))
    assert not held.any(), "a sheet of cloud takes one share"
    held, _ = a_day(lambda hour, sun: np.where((hour > 5.0) & (hour < 8.0), 480.0, 0.5 * sun) * rough(hour, 0.015))
    assert not held.any(), "three hours alike, with hardly more sun in one than in another"
