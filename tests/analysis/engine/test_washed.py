"""Rain and cleanings: what the array gains from one day to the next tells how dusty it was, and nothing else is told so."""

from datetime import date

import numpy as np
import pytest

from analysis.estimates.recovery import largest_gain
from analysis.memory import Memory
from analysis.soiling import ENOUGH
from analysis.summary import DaySummary
from analysis.washed import of_bright_days
from tests.analysis.engine.test_against_the_weeks_before import hours_with
from tests.published.test_published_soiling import Judged

DIRTY_DAYS, CLEAN_DAYS = 30, 6
GROWN = -np.linspace(0.08, 0.14, DIRTY_DAYS)


def washed(dirty: np.ndarray = GROWN, after: int = 1, kept: float = 0.0) -> np.ndarray:
    """Level of an array that was so dirty, and on the days after is clean again but for a part."""
    return np.concatenate([dirty, np.full(after, kept * dirty[-1])])


@pytest.mark.parametrize("after", [1, 2, 3])
def test_the_first_clean_day_tells_what_was_lost(after: int) -> None:
    gain = largest_gain(hours_with(washed(after=after), 0.004))
    assert gain is not None
    assert gain.ratio > ENOUGH
    assert gain.gain == pytest.approx(-GROWN[-1], abs=0.01)
    assert gain.ago == after - 1


@pytest.mark.parametrize(
    "level",
    [
        washed(-np.linspace(0.0, 0.028, DIRTY_DAYS)),  # dust that is no fault
        np.concatenate([np.zeros(DIRTY_DAYS), [-0.12], np.zeros(1)]),  # one odd day
        GROWN,  # not washed at all
    ],
)
def test_a_little_dust_an_odd_day_and_dust_that_stays_are_none(level: np.ndarray) -> None:
    gain = largest_gain(hours_with(level, 0.006))
    assert gain is None or gain.ratio < ENOUGH


def test_hours_of_one_half_of_the_day_are_not_held_against_the_others() -> None:
    hours = hours_with(np.zeros(DIRTY_DAYS), 0.004)
    hours[:-1, 5:] = np.nan
    hours[-1, 2:5] = np.nan
    hours[-1, 5:] += 0.12
    assert largest_gain(hours) is None


def judged(level: np.ndarray, sun_measured: bool = True) -> Judged:
    rng = np.random.default_rng(7)
    return Judged(np.exp(level + rng.normal(0.0, 0.004, len(level))), sun_measured)


@pytest.mark.parametrize("sun_measured", [True, False])
def test_dust_that_was_told_of_is_sized_by_what_came_back(sun_measured: bool) -> None:
    """Where no sensor reads the sun it is not: a week of haze ends with the rain, too."""
    found = judged(np.concatenate([np.zeros(DIRTY_DAYS), washed(GROWN - GROWN[0], CLEAN_DAYS)]), sun_measured)
    sized = [case for case in found.cases if "came_back" in case.figures]
    assert len(sized) == sun_measured
    for case in sized:
        assert case.cause == "panel-soiling"
        assert case.size is not None
        assert case.size[0] == pytest.approx(1.0 - np.exp(GROWN[-1] - GROWN[0]), abs=0.012)


def test_a_gain_that_nothing_told_of_as_dust_is_none() -> None:
    """A sensor of the sun that reads less from one day on, a string that was mended and another controller give as much at once."""
    assert largest_gain(hours_with(washed(after=1), 0.004), ENOUGH) is not None
    assert not judged(washed(after=CLEAN_DAYS)).cases


@pytest.mark.parametrize("hours_lost", [slice(2, 5), slice(7, 10)])
def test_a_shade_that_is_cut_back_is_no_washing(hours_lost: slice) -> None:
    hours = hours_with(np.zeros(DIRTY_DAYS + 1), 0.004)
    hours[:-1, hours_lost] -= 0.5
    gain = largest_gain(hours)
    assert gain is None or gain.ratio < ENOUGH


def test_overcast_days_before_a_sunny_one_are_none() -> None:
    """Under an overcast sky the same array may stand some percent lower by the same sensor."""
    hours = hours_with(washed(np.concatenate([np.zeros(DIRTY_DAYS - 4), np.full(4, -0.08)])), 0.004)
    light = np.where(np.arange(DIRTY_DAYS) < DIRTY_DAYS - 4, 6000.0, 1600.0)
    days = [
        DaySummary("a", date(2026, 3, 1), None, None, None, None, 0.0, 0.0, None, float(wh), 1.0, {}) for wh in light
    ]
    assert largest_gain(hours, ENOUGH) is not None
    assert largest_gain(of_bright_days(Memory(days=days), hours, 6000.0), ENOUGH) is None
    assert np.array_equal(of_bright_days(Memory(), hours, np.nan), hours, equal_nan=True)
