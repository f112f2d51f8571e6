"""An array's loss within days is told from what a season, dust that is no fault, or cloud does to the same figures."""

import numpy as np
import pytest

from analysis.estimates.days_before import KEPT_DAYS, MEASURED, largest_change
from analysis.estimates.vector import HOURS
from analysis.soiling import ENOUGH, exceeded_since
from tests.published.test_published_soiling import Judged

LONG = 60


def hours_with(level: np.ndarray, scatter: float, seen: slice = slice(2, 10)) -> np.ndarray:
    """Days of the sun's way, each hour with its own lasting error; NaN outside `seen`."""
    rng = np.random.default_rng(2)
    hours = np.full((len(level), HOURS), np.nan)
    own = rng.normal(0.0, 0.04, HOURS)
    hours[:, seen] = (level[:, None] + own + rng.normal(0.0, scatter, (len(level), HOURS)))[:, seen]
    return hours


def grown(loss: float, days: int) -> np.ndarray:
    """Level of an array that was sound, then lost so much in the last days."""
    return -loss * np.clip((np.arange(LONG) - (LONG - days)) / days, 0.0, 1.0)


def test_what_is_lost_in_a_fortnight_is_seen() -> None:
    """By its size too, though it still grows."""
    loss = 0.08
    change = largest_change(hours_with(grown(loss, 14), 0.004))
    assert change is not None
    assert change.ratio > ENOUGH
    assert 0.6 * loss < change.loss < loss


@pytest.mark.parametrize("level", [np.linspace(0.0, -0.04, LONG), grown(0.028, 10)])
def test_a_season_and_a_little_dust_are_not(level: np.ndarray) -> None:
    change = largest_change(hours_with(level, 0.006))
    assert change is None or change.ratio < ENOUGH


def test_an_hour_is_held_against_itself() -> None:
    """Days on which other hours tell, with errors of their own, are no change."""
    hours = hours_with(np.zeros(LONG), 0.004)
    hours[:-8, 5:] = np.nan
    hours[-8:, 2:5] = np.nan
    hours[-8:, 5:] -= 0.09
    change = largest_change(hours)
    assert change is None or change.ratio < ENOUGH


def test_it_begins_where_dust_passes_what_is_no_fault() -> None:
    """A single even cloud before it does not date it."""
    lost = np.concatenate([np.zeros(10), [0.4], np.zeros(3), np.linspace(0.0, 0.12, 13)])
    assert exceeded_since(lost, 0) == 14 + int(np.ceil(MEASURED.dust / 0.01))


@pytest.mark.parametrize("sun_measured", [True, False])
def test_a_loss_of_two_weeks_is_told_where_a_sensor_reads_the_sun(sun_measured: bool) -> None:
    """A level that goes astray by 6 % in the season hides no loss of 16 % in two weeks, and its size is how bad it is at the end. Under a
    supposed sky it does: weeks of haze look the same.
    """
    rng = np.random.default_rng(4)
    season = np.linspace(0.0, 0.06, KEPT_DAYS + 20)
    loss = np.concatenate([np.zeros(KEPT_DAYS), np.minimum(np.linspace(0.0, 0.2, 20), 0.16)])
    told = Judged(np.exp(season - loss + rng.normal(0.0, 0.008, len(loss))), sun_measured=sun_measured).cases
    assert {case.cause for case in told} <= {"panel-soiling"}
    if not sun_measured:
        return
    assert len(told) == 1
    size = told[0].size
    assert size is not None
    assert size[0] == pytest.approx(1.0 - np.exp(-0.16), abs=0.04)
    assert size[1] < size[0] < size[2]
