"""A controller waits its own time before each start; clouds keep a pump still as long as chance has it."""

import numpy as np

from analysis.causes.short_cycling import LIMITS, _unevenness
from tests.analysis.causes.test_standing_rules import seen_of


def unevenness(stood_min: np.ndarray, ran_min: np.ndarray, stood: bool) -> float:
    turning = np.concatenate(
        [np.repeat([False, True], [rest, run]) for rest, run in zip(stood_min, ran_min, strict=True)]
    )
    seen = seen_of(len(turning), turning=turning)
    starts = np.flatnonzero(turning[1:] & ~turning[:-1]) + 1
    return float(_unevenness(seen, starts, ~turning, np.array([0]), len(starts), stood=stood)[0])


def test_the_same_wait_before_each_start_is_a_controllers_and_uneven_ones_are_clouds() -> None:
    chance = np.random.default_rng(5)
    runs = 1 + chance.poisson(4, 14)
    assert unevenness(3 + chance.integers(0, 2, 14), runs, True) < LIMITS.waits
    assert unevenness(1 + np.rint(chance.exponential(6.0, 14)).astype(int), runs, True) > LIMITS.waits


def test_stands_and_runs_are_told_apart() -> None:
    even, uneven = np.full(14, 4), np.array([1, 12] * 7)
    assert unevenness(even, uneven, True) == 0.0
    assert unevenness(even, uneven, False) > LIMITS.waits
