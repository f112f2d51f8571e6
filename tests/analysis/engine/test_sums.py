"""Sums by bin, and places among readings, against NumPy's own slow ways: to the last bit where hours are held against limits."""

import numpy as np
import pytest

from analysis.estimates.sums import MANY, Sums
from analysis.rows import last_where, places_up_to

MINUTE_MS = 60_000


@pytest.mark.parametrize("rising", [True, False])
@pytest.mark.parametrize("kind", ["even", "even but for gaps", "any"])
def test_hours_are_added_row_after_row_and_columns_fully(rising, kind):
    random = np.random.default_rng(7)
    for bins in (1, 2, 36, 432):
        of_row = random.integers(0, bins, 3 * MANY)
        of_row = np.sort(of_row) if rising else of_row
        steps = {"even": [1 / 60], "even but for gaps": [1 / 60, 0.0], "any": [1 / 60, 1 / 30, 0.0]}[kind]
        dt_h, column = random.choice(steps, len(of_row)), random.random(len(of_row))
        picked = random.random(len(of_row)) < 0.6
        for which in (None, picked, picked.nonzero()[0], np.zeros(len(of_row), bool)):
            sums = Sums(which, of_row, (bins,), rising=rising)
            rows = slice(None) if which is None else which
            assert np.array_equal(sums.hours(dt_h), np.bincount(of_row[rows], dt_h[rows], bins))
            assert np.array_equal(sums.in_turn(column), np.bincount(of_row[rows], column[rows], bins))
            assert np.array_equal(sums.count(), np.bincount(of_row[rows], minlength=bins))
            np.testing.assert_allclose(sums.of(column), np.bincount(of_row[rows], column[rows], bins), rtol=1e-12)


@pytest.mark.parametrize("steps", [[1], [1, 1, 1, 2, 90], [1, 7, 15]])
def test_places_are_those_that_a_search_finds(steps):
    random = np.random.default_rng(11)
    time_ms = np.cumsum(random.choice(steps, 900)) * MINUTE_MS
    near = np.sort(random.integers(0, len(time_ms), 500))
    for back_ms in (0, 3 * MINUTE_MS, 25 * MINUTE_MS + 1):
        searched = np.searchsorted(time_ms, time_ms[near] - back_ms, "right")
        assert np.array_equal(places_up_to(time_ms, near, back_ms), searched)
    assert not len(places_up_to(time_ms[:1], near[:0], MINUTE_MS))


def test_the_last_flag_stands_until_the_next():
    flags = np.array([False, False, True, False, True, True, False])
    assert last_where(flags).tolist() == [0, 0, 2, 2, 4, 5, 5]
    assert not len(last_where(flags[:0]))
