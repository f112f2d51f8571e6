"""Hours that fall beside the others of the same days, day after day: a shadow; and what is none."""

import warnings

import numpy as np
import pytest

from analysis.estimates import dips
from analysis.estimates.dips import dip_of, hours_taken
from analysis.estimates.vector import HOURS
from analysis.rows import middle, middles

USUAL = np.array([np.nan, np.nan, 0.9, 0.95, 0.85, 0.8, 0.8, 0.85, 0.95, 0.9, np.nan, np.nan])


def season(days: int, shade: dict[int, float], begins: int, seed: int = 1) -> np.ndarray:
    """What was taken by hour; from day `begins` the hours of `shade` keep so much of it. Some days are cloudy. (days, HOURS)"""
    rng = np.random.default_rng(seed)
    taken = USUAL * rng.normal(1.0, 0.02, (days, HOURS))
    cloudy = rng.random(days) < 0.3
    taken[cloudy] *= rng.uniform(0.2, 1.0, (cloudy.sum(), HOURS))
    for hour, left in shade.items():
        taken[begins:, hour] *= left
    taken[-5:] = USUAL * rng.normal(1.0, 0.01, (5, HOURS))
    for hour, left in shade.items():
        taken[-5:, hour] = left * USUAL[hour]
    return taken


def told(
    taken: np.ndarray,
    float_read: bool = True,
    stood: float | np.ndarray = 0.0,
    held: float = 0.0,
    of_sun: float | np.ndarray = 1.0,
    needs_more: bool = False,
) -> list[int]:
    today = np.stack([taken[-1], np.full(HOURS, held), np.full(HOURS, stood), np.full(HOURS, of_sun)])
    kept = None
    for row in taken:
        kept = hours_taken(kept, np.stack([row, row, row]))
    dip = dip_of(kept, today, float_read, needs_more=needs_more)
    return [] if dip is None else dip.hours.tolist()


def test_hours_that_fell_at_once_and_stay_low_are_told() -> None:
    assert told(season(30, {5: 0.6}, 22)) == [5]
    assert told(season(30, {3: 0.5, 4: 0.1}, 22)) == [3, 4]


def test_sound_days_tell_nothing() -> None:
    for seed in range(20):
        assert told(season(30, {}, 22, seed)) == []


@pytest.mark.parametrize("float_read", [True, False])
def test_a_pump_that_stands_may_stand_for_a_full_tank_where_no_float_is_read(float_read: bool) -> None:
    assert told(season(30, {5: 0.0, 6: 0.0}, 22), float_read, stood=1.0) == ([5, 6] if float_read else [])


def test_a_start_at_the_same_minute_each_day_is_the_suns_and_no_tanks() -> None:
    assert told(season(30, {2: 0.4}, 22), float_read=False, stood=0.6) == [2]


def test_a_stop_at_the_same_minute_until_the_evening_may_be_a_full_tank_where_no_float_is_read() -> None:
    stood = np.zeros(HOURS)
    stood[[8, 9]] = 0.4, 1.0
    assert told(season(30, {8: 0.6, 9: 0.0}, 22), float_read=False, stood=stood) == []
    assert told(season(30, {8: 0.6, 9: 0.0}, 22), float_read=True, stood=stood) == [8, 9]


def test_a_tank_full_by_another_hour_each_day_hides_no_shade_of_the_morning() -> None:
    """No float is read: the pump stops until the evening, now at this hour, now at that."""
    taken = season(30, {2: 0.0, 3: 0.6}, 22)
    full = 9 - np.arange(30) % 3
    kept, today = None, np.empty((4, HOURS))
    for row, hour in zip(taken, full, strict=True):
        stood = np.where(np.isnan(USUAL) | (row < 0.01) | (np.arange(HOURS) > hour), 1.0, 0.0)
        stood[hour] = 0.5
        today = np.stack(
            [
                np.where(np.arange(HOURS) < hour, row, 0.5 * row * (np.arange(HOURS) == hour)),
                0.0 * USUAL,
                stood,
                np.ones(HOURS),
            ]
        )
        today[1] = 0.0
        kept = hours_taken(kept, today, float_read=False)
    dip = dip_of(kept, today, float_read=False)
    assert dip is not None
    assert dip.hours.tolist() == [2, 3]


def test_a_pump_that_stands_all_morning_had_room_in_its_tank_the_evening_before() -> None:
    stood = np.zeros(HOURS)
    stood[[2, 3]] = 1.0
    assert told(season(30, {2: 0.0, 3: 0.0}, 22), float_read=False, stood=stood) == [2, 3]


def test_a_pump_that_runs_at_less_power_has_no_full_tank() -> None:
    stood = np.zeros(HOURS)
    stood[9] = 1.0
    assert told(season(30, {8: 0.3, 9: 0.0}, 22), float_read=False, stood=stood) == [8, 9]


def test_what_all_hours_lost_that_show_it_is_no_shade() -> None:
    """About noon the sun gives half as much again as the pump takes: a string out shows in the morning, and the afternoon was clouded."""
    of_sun = np.where(np.abs(np.arange(HOURS) - 5.5) < 3.0, 0.6, 1.0)
    taken = season(30, {2: 0.7}, 22)
    taken[22:, 9] = np.nan
    assert told(taken, of_sun=of_sun) == []
    assert told(season(30, {2: 0.7}, 22), of_sun=of_sun) == [2]


def test_a_shade_that_grows_is_told_of_where_no_horizon_is() -> None:
    taken = season(40, {}, 22)
    taken[22:, 4] = USUAL[4] * np.linspace(0.95, 0.4, 18)
    assert told(taken) == [4]


def test_an_array_held_back_is_no_shade() -> None:
    assert told(season(30, {5: 0.6}, 22), held=1.0) == []
    assert told(season(30, {5: 0.2}, 22), held=1.0) == [5], (
        "beside full hours no limit takes so much; shaded cells stand above maximum power too"
    )


def test_what_falls_by_little_a_day_is_the_season() -> None:
    taken = np.tile(USUAL, (30, 1))
    taken[:, 2] *= np.linspace(1.0, 0.4, 30)
    assert told(taken) == []


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_quantiles_of_all_hours_at_once_are_those_of_each_in_every_bit(share: float) -> None:
    rng = np.random.default_rng(20)
    for days in range(1, 46):
        kept = rng.normal(size=(days, HOURS))
        kept[rng.random(kept.shape) < 0.3] = np.nan
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # hours of no day
            expected = np.nanquantile(kept, share, axis=0)
        found = dips._quantile(np.sort(kept, axis=0), (~np.isnan(kept)).sum(axis=0), share)
        np.testing.assert_array_equal(found, expected)


def test_middles_of_rows_are_those_of_each() -> None:
    rng = np.random.default_rng(21)
    table = rng.normal(size=(200, HOURS))
    table[rng.random(table.shape) < 0.5] = np.nan
    table[0] = np.nan
    np.testing.assert_array_equal(middles(table), [middle(row) for row in table])


def test_a_pump_that_starts_late_and_stops_early_has_a_heavier_load_and_no_shade() -> None:
    """At both ends of the day it stands, and takes what it ever took while it runs; at one end alone it may be a shade, unless its load is known to have grown."""
    stood = np.zeros(HOURS)
    stood[[2, 9]] = 0.15, 0.4
    both, one = season(30, {2: 0.85, 9: 0.6}, 22), season(30, {9: 0.6}, 22)
    assert told(both, stood=stood) == []
    assert told(one, stood=stood) == [9]
    assert told(one, stood=stood, needs_more=True) == []
    assert told(one, stood=np.where(stood > 0.3, 0.1, stood), needs_more=True) == [9]
