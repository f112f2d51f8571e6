"""Dust under a sky that nothing reads is told from weeks of cloud and from what the air does with the season."""

import numpy as np
import pytest

from analysis.estimates.clear_levels import fallen, in_clear_air
from analysis.estimates.vector import HOURS

DAYS, ENOUGH = 50, 5.0


def hours_of(level: np.ndarray, cloudy: np.ndarray, seed: int = 3) -> np.ndarray:
    """Days of clear hours at `level`; on `cloudy` ones a sheet of cloud takes its own share, drifting through the day."""
    rng = np.random.default_rng(seed)
    hours = np.full((len(level), HOURS), np.nan)
    drift = np.where(cloudy, rng.uniform(0.05, 0.15, len(level)), 0.0)[:, None] * np.linspace(-1.0, 1.0, HOURS)
    taken = np.where(cloudy, rng.uniform(0.1, 0.5, len(level)), 0.0)
    hours[:, 2:10] = (level[:, None] - taken[:, None] + drift + rng.normal(0.0, 0.01, (len(level), HOURS)))[:, 2:10]
    return hours


def every(days: int) -> np.ndarray:
    """One cloudy day in so many."""
    return np.arange(DAYS) % days == 1


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_clear_days_that_fell_together_are_dust(seed: int) -> None:
    """Cloud between them notwithstanding, and by their size."""
    level = np.where(np.arange(DAYS) >= DAYS - 14, -0.15, 0.0)
    change = fallen(hours_of(level, every(4), seed), False, ENOUGH)
    assert change is not None
    assert change.loss == pytest.approx(0.15, abs=0.03)
    assert np.nanmean(change.shift) == pytest.approx(-0.15, abs=0.03)


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_a_fortnight_of_cloud_is_not(seed: int) -> None:
    """Its days lie anywhere, and no hour as the other."""
    assert fallen(hours_of(np.zeros(DAYS), np.arange(DAYS) >= DAYS - 14, seed), False, ENOUGH) is None


def test_a_season_is_not() -> None:
    """A tenth in seven weeks is what air and sun do."""
    assert fallen(hours_of(np.linspace(0.0, -0.1, DAYS), every(4)), False, ENOUGH) is None


def test_clear_days_at_the_old_level_deny_it() -> None:
    """What comes back without rain was no dust: two days as good as ever among the last ones."""
    level = np.where(np.arange(DAYS) >= DAYS - 16, -0.15, 0.0)
    level[[-14, -7]] = 0.0
    assert fallen(hours_of(level, every(4)), False, ENOUGH) is None


def test_hours_that_stand_at_a_limit_take_nothing_from_the_others() -> None:
    """Morning and evening alone tell as much."""
    level = np.where(np.arange(DAYS) >= DAYS - 14, -0.15, 0.0)
    hours = hours_of(level, every(5))
    hours[:, 4:8] = np.nan
    change = fallen(hours, False, ENOUGH)
    assert change is not None
    assert np.isnan(change.shift[4:8]).all()


def test_a_cloudy_day_says_nothing_of_the_dust() -> None:
    """A step that stays is the array's own from its first day on; one that goes again is a cloud."""
    lost = np.array([0.0, 0.0, 0.3, 0.01, np.nan, 0.0, 0.12, 0.13, 0.12, 0.14, 0.4])
    clear = [True, True, False, True, False, True, True, True, True, True, False]
    assert in_clear_air(lost).tolist() == clear
