"""How much of the water due did not come: by the water of the days themselves."""

import numpy as np
import pytest

from analysis.estimates.vector import PLACE, SIZE
from analysis.flow_lost import Lost, lost_by_day, size_of
from analysis.learning import Learnt

MODES = 3


def learnt(q: tuple[float, float, float], days: tuple[float, float, float] = (16.0, 16.0, 16.0)) -> Learnt:
    joint, seen = np.zeros(SIZE + MODES), np.zeros(SIZE)
    for band, (value, known) in enumerate(zip(q, days, strict=True)):
        joint[PLACE[f"q{band}"]], seen[PLACE[f"q{band}"]] = value, known
    covariance = np.diag(np.full(len(joint), 1e-4))
    return Learnt(joint, covariance, seen, seen, np.full(SIZE, 1e-4))


def test_a_cloudy_day_counts_by_its_own_water():
    """A slip of 0.3 m3/h through five hours of noon, and through five of low sun."""
    noon, dim = [0.0, 0.0, 0.0, 15.0, 13.5], [0.0, 3.0, 0.0, 0.0, 1.5]
    lost = lost_by_day(learnt((0.0, 0.0, 0.0)), np.array([noon, dim]), 2)
    assert lost.share == pytest.approx([0.1, 0.5])
    now, low, high = size_of(lost)
    assert now == pytest.approx(3.0 / 18.0)
    assert low < now < high


def test_what_was_learnt_is_not_lost():
    lost = lost_by_day(learnt((-0.3, -0.1, 0.1)), np.array([[0.0, 0.0, 0.0, 10.0, 10.0 * np.exp(0.1)]]), 1)
    assert lost.share == pytest.approx([0.0])


def test_a_band_never_learnt_answers_as_the_next():
    lost = lost_by_day(learnt((9.0, -0.1, 0.0), (0.0, 16.0, 16.0)), np.array([[2.0, 2.0, 2.0, 0.0, 6.0]]), 1)
    assert lost.share == pytest.approx([1.0 - np.exp(0.1)])


def test_days_that_do_not_tell():
    """No meter, no running, before the first day that is kept."""
    water = np.array([np.full(5, np.nan), np.zeros(5), [0.0, 0.0, 0.0, 8.0, 6.0]])
    lost = lost_by_day(learnt((0.0, 0.0, 0.0)), water, 5)
    assert np.isnan(lost.share[:4]).all()
    assert lost.share[4] == pytest.approx(0.25)
    assert np.array_equal(lost.told().share, lost.share[4:])
    assert np.isnan(lost_by_day(learnt((0.0, 0.0, 0.0)), None, 3).share).all()


def test_what_grows_is_as_bad_as_it_is_now_and_its_interval_holds_the_whole():
    share = np.linspace(0.0, 0.3, 61)
    now, low, high = size_of(Lost(share, np.ones(61), 0.01))
    assert now == pytest.approx(share[-10:].mean())
    assert low < share.mean() < share[-1] < high
