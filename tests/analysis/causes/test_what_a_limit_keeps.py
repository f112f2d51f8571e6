"""A limit of power lets the speed go with the load, one of speed lets the power; and only a hand sets a speed and nothing else."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.diagnosis import NOTHING, weigh_shift
from analysis.estimates.kept import LEAST_DAY, MOST_DAY, limit_kept, power_kept
from analysis.estimates.steady import hours_of
from analysis.estimates.vector import HOURS, PLACE, empty
from analysis.plant import plant_of
from analysis.slow import Shift, slow_bench
from tests.cases.recorded import HERE, read_case

ROWS = 60
DRAWN = 0.004 * np.sin(np.arange(HOURS) / 1.7)  # log of load by hour: a well drawn down, water that warms


def day(power, speed, helical=True, held_hours=8, noise=0.002):
    """Log-likelihood of a day held back in the hours around noon; logs of power and speed by hour."""
    bins = np.repeat(np.arange(HOURS), ROWS)
    dt_h = np.full(len(bins), 1.0 / ROWS)
    rng = np.random.default_rng(5)
    seen = SimpleNamespace(
        power_w=700.0 * np.exp(power[bins] + noise * rng.standard_normal(len(bins))),
        speed_rpm=np.rint(2400.0 * np.exp(speed[bins])),
        dt_h=dt_h,
    )
    first = (HOURS - held_hours) // 2
    held = (bins >= first) & (bins < first + held_hours)
    return float(power_kept(SimpleNamespace(helical=helical), seen, held, hours_of(bins, (1, HOURS), dt_h))[0])


@pytest.mark.parametrize("helical", [True, False])
def test_what_stays_is_what_is_kept(helical):
    slope = 1.0 if helical else 3.0
    still = np.zeros(HOURS)
    assert day(still, -DRAWN / slope, helical) > 1.0
    assert day(DRAWN, still, helical) < -0.5


def test_no_day_says_more_than_a_few_readings_are_worth():
    still = np.zeros(HOURS)
    assert day(still, -5.0 * DRAWN / 3.0, noise=0.0001) == MOST_DAY
    assert day(2.0 * DRAWN, still, noise=0.0001) == LEAST_DAY


def test_nothing_is_told_where_all_stands_still_or_neither_is_kept():
    still = np.zeros(HOURS)
    assert abs(day(still, still)) < 1.0
    assert np.isnan(day(2.0 * DRAWN, 2.0 * DRAWN, noise=0.0001)), "power and speed go together: the light's doing"
    assert np.isnan(day(still, -DRAWN, held_hours=2)), "two hours show no course"
    assert np.isnan(day(8.0 * DRAWN, still)), "heat's, or set anew"


def test_days_of_the_limit_that_the_newest_stand_at_add_up():
    recent = np.repeat(empty(1), 8, axis=0)
    recent[:, PLACE["cap"]] = [0.0, 0.0, 0.0, -0.3, -0.31, np.nan, -0.3, -0.3]
    recent[:, PLACE["kept"]] = [-1.0, -1.0, -1.0, 1.0, 0.5, np.nan, np.nan, 1.0]
    assert limit_kept(recent) == pytest.approx(2.5)
    assert limit_kept(recent[:3]) == pytest.approx(-3.0)
    assert limit_kept(recent[5:6]) == 0.0


@pytest.mark.parametrize("site", ["none/helical_middle", "string-out/centrifugal_full"])
def test_a_kept_power_is_the_controllers_and_a_kept_speed_rather_a_hands(site):
    facts, _, _ = read_case(HERE / site)
    bench = replace(slow_bench(plant_of(facts)), setting_read=False)
    slope = 1.0 if plant_of(facts).helical else 3.0
    places = np.array([PLACE["cap"], PLACE["cn"]])
    flat = Shift("held", places, np.array([-0.3, -0.3 / slope]), np.diag([0.03**2, 0.01**2]), 5)
    power, unknown, speed = (weigh_shift(bench, flat, kept=kept).shares[NOTHING] for kept in (6.0, 0.0, -6.0))
    assert power < 0.5 * unknown < unknown < speed
