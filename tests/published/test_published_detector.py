"""False alarms and delay of the slow engine's sequential test against published values.

The test is Siegmund and Venkatraman's generalised likelihood ratio over windows of days (D. Siegmund, E. S. Venkatraman, Annals of
Statistics 23(1), 255-271, 1995), one-sided, over a few window lengths only. The counting of run lengths is proven first on a
CUSUM whose average run lengths stand in every textbook: D. C. Montgomery, Introduction to Statistical Quality Control, table of
the two-sided tabular CUSUM with k = 0.5 (from memory).
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from analysis.slow import ENOUGH, ENOUGH_LONG, WINDOWS, Shift, amounts_of


def cusum_run_lengths(shift: float, h: float, runs: int, most: int, seed: int) -> np.ndarray:
    """Days until the two-sided CUSUM with k = 0.5 passes h; a change of `shift` from the first day."""
    dice = np.random.default_rng(seed)
    high, low, length = np.zeros(runs), np.zeros(runs), np.zeros(runs)
    for day in range(1, most + 1):
        x = dice.normal(shift, 1.0, runs)
        high, low = np.maximum(high + x - 0.5, 0.0), np.maximum(low - x - 0.5, 0.0)
        length[((high > h) | (low > h)) & (length == 0)] = day
        if length.all():
            break
    assert length.all()
    return length


def ratio_run_lengths(shift: float, bounds: dict[int, float], runs: int, most: int, seed: int) -> np.ndarray:
    """Days until the mean of one window of days is too high by its bound of log-likelihood ratio; `most` where it never was."""
    dice = np.random.default_rng(seed)
    walk, length = np.zeros((runs, max(bounds) + 1)), np.zeros(runs)
    for day in range(1, most + 1):
        walk = np.roll(walk, 1, axis=1)
        walk[:, 0] = walk[:, 1] + dice.normal(shift, 1.0, runs)
        for window, bound in bounds.items():
            if window <= day:
                z = (walk[:, 0] - walk[:, window]) / np.sqrt(window)
                length[(z > np.sqrt(2.0 * bound)) & (length == 0)] = day
        if length.all():
            break
    return np.where(length == 0, most, length)


def overshoot(x: float) -> float:
    """Siegmund's nu, by his short form (D. Siegmund, B. Yakir, The Statistics of Gene Mapping, 2007, p. 112; from memory)."""
    return float((2 / x) * (norm.cdf(x / 2) - 0.5) / ((x / 2) * norm.cdf(x / 2) + norm.pdf(x / 2)))


def mean_run_length(bound: float, longest: int) -> float:
    """Siegmund and Venkatraman's approximation for windows of 1 to `longest` days, doubled for one side only. [days]"""
    b = np.sqrt(2.0 * bound)
    weight = quad(lambda x: x * overshoot(x) ** 2, b / np.sqrt(longest), b)[0]
    return float(2.0 * np.sqrt(2.0 * np.pi) * np.exp(bound) / (b * weight))


ENGINE = {window: ENOUGH.get(window, ENOUGH_LONG) for window in WINDOWS}


@pytest.mark.parametrize(
    ("shift", "h", "published"),
    [(0.0, 4.0, 168.0), (0.5, 4.0, 26.6), (1.0, 4.0, 8.38), (0.0, 5.0, 465.0), (0.5, 5.0, 38.0), (1.0, 5.0, 10.4)],
)
def test_the_counting_gives_the_textbooks_cusum(shift: float, h: float, published: float) -> None:
    lengths = cusum_run_lengths(shift, h, 4000, 20_000, 5)
    allowed = 4.0 * lengths.std() / np.sqrt(len(lengths)) + 0.006 * published  # Monte Carlo, and three printed digits
    assert lengths.mean() == pytest.approx(published, abs=allowed)


@pytest.mark.parametrize("day_mean", [-1.0, 0.2, 1.5])
@pytest.mark.parametrize("days", [1, 8, 40])
def test_the_engines_ratio_is_the_one_that_is_counted_here(day_mean: float, days: int) -> None:
    """One figure a day with unit scatter: half the square of the window's standardised mean, 0 below it."""
    bench: Any = SimpleNamespace(directions=np.ones((1, 1)), most=np.array([np.inf]))
    moved = Shift("electric", np.array([0]), np.array([day_mean]), np.array([[1.0 / days]]), days)
    _, _, ratios = amounts_of(bench, moved, np.array([0]))
    assert ratios[0] == pytest.approx(0.5 * max(day_mean * np.sqrt(days), 0.0) ** 2)


@pytest.mark.parametrize(("bound", "longest"), [(4.5, 20), (5.5, 40)])
def test_false_alarms_of_all_windows_are_as_published(bound: float, longest: int) -> None:
    """The approximation is for high bounds; at these, low enough to count, within a tenth and the counting's own error."""
    lengths = ratio_run_lengths(0.0, dict.fromkeys(range(1, longest + 1), bound), 600, 20_000, 7)
    published = mean_run_length(bound, longest)
    allowed = 3.0 * lengths.std() / np.sqrt(len(lengths)) + 0.1 * published
    assert lengths.mean() - longest / 4 == pytest.approx(published, abs=allowed + longest / 4)


def test_false_alarms_of_the_engines_windows_are_rare() -> None:
    """One direction, days apart from each other: fewer than the published value for all windows, one in 27 years."""
    least = mean_run_length(ENOUGH_LONG, max(WINDOWS))
    assert least == pytest.approx(27.5 * 365, rel=0.02)
    runs, most = 2000, 730
    alarms = np.count_nonzero(ratio_run_lengths(0.0, ENGINE, runs, most, 11) < most)
    expected_at_most = runs * most / least
    assert alarms <= expected_at_most + 3.0 * np.sqrt(expected_at_most)


@pytest.mark.parametrize("shift", [0.8, 1.2, 2.0])
def test_delay_is_as_published(shift: float) -> None:
    """To first order 2 x bound / shift^2 days (G. Lorden, Annals of Mathematical Statistics 42(6), 1971); a few windows cost more.

    The next window may be as much as 5/3 of the one that would do.
    """
    lengths = ratio_run_lengths(shift, ENGINE, 2000, 400, 13)
    published = 2.0 * ENOUGH_LONG / shift**2
    assert 0.75 * published < lengths.mean() < 5 / 3 * published + 1
