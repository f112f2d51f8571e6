"""An array that gives all it has goes with the light, whatever its voltage says; what holds a pump back does not."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

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
