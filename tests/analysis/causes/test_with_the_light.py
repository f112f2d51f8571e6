"""An array that gives all it has goes with the light, whatever its voltage says; what holds a pump back does not."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.estimates.steady import hours_of
from analysis.estimates.with_the_light import with_the_light

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
