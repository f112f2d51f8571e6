"""Since when a slow cause is there: the course of its daily amounts, step or growth.

Flow: slow.py (daily amounts) -> HERE -> slow_life.py.
Never: the life of a finding.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.scatter import GROUPS
from analysis.estimates.vector import BANDS, PLACE
from analysis.learning import Learnt
from analysis.rows import Floats
from analysis.slow import TELLS_ENOUGH, SlowBench

LOOK_BACK = 45
GROWN_DAYS = 4
HALF = 0.5
AT_ONCE_IN = (1.0, 2.0)  # days: what comes at noon is half there on its first day
GROWS_FOR = (4.0, 8.0, 16.0, 32.0, 64.0)  # days until it stands still
TAKES = np.array(AT_ONCE_IN + GROWS_FOR)


PUMPING = np.array([PLACE[f"{name}{band}"] for name in "qnti" for band in range(BANDS)])


def that_tell(days: Floats, group: str, count: int) -> Floats:
    """The newest `count` of some day vectors (d, SIZE); of the pump, of those on which it ran steadily, where there are any.

    Under a week of cloud the gauges at rest are all that is read: such days must not outvote the few that say how it pumps.
    """
    if group == "hydraulic":
        told = ~np.isnan(days[:, PUMPING]).all(axis=1)
        days = days[told] if told.any() else days
    return days[-count:]


def with_other_days(
    bench: SlowBench, learnt: Learnt, recent: Floats, group: str, direction: Floats, amounts: Floats
) -> Floats:
    """`amounts`, and of days that hold none of the same places what their own tell: winter sun is another band than summer's.

    By the weights of the day's own places, where these tell `TELLS_ENOUGH` of what all places of these days together would.
    """
    places = GROUPS[group]
    part = recent[:, places] - learnt.mean[places]
    have = ~np.isnan(part)
    other = np.flatnonzero(np.isnan(amounts) & have.any(axis=1))
    if not len(other):
        return amounts
    of_group, along = bench.of_group[group], direction[places]
    learnt_so, daily, always = learnt.of_group(group)
    covariance = learnt_so + of_group.drift + of_group.shared
    every = np.arange(len(places))
    covariance[every, every] += daily + always
    _, firsts, of_pattern = np.unique(have[other] @ (1 << every), return_index=True, return_inverse=True)
    patterns = np.concatenate([have[other[firsts]], have.any(axis=0)[None]])  # last: all that any day holds
    both = patterns[:, :, None] & patterns[:, None, :]
    stack = np.where(both, covariance, 0.0)
    stack[:, every, every] = np.where(patterns, covariance.diagonal(), 1.0)
    directions = patterns * along
    weights = np.linalg.solve(stack, directions[:, :, None])[:, :, 0]
    power = (weights * directions).sum(axis=1)
    told = (np.where(have[other], part[other], 0.0) * weights[of_pattern]).sum(axis=1)
    filled = amounts.copy()
    with np.errstate(divide="ignore", invalid="ignore"):
        filled[other] = np.where(power[of_pattern] > TELLS_ENOUGH * power[-1], told / power[of_pattern], np.nan)
    return filled


def course(amounts: Floats, since: int, most: float, sudden: float = 0.5) -> tuple[int, float | None]:
    """Index of the day on which it began, and the log-likelihood of a step over a growth; None where too few days tell.

    Every day may be the first, and a growth may take any of `GROWS_FOR` days until it stands still: each is scaled to fit the daily
    amounts, and all are summed, so that the growth's greater freedom is paid for. Neighbouring days err together: they count `HALF`.

    most
        The largest likely amount: no growth leads beyond it.
    sudden
        Share of cases in which it comes at once: decides which of the two tells the beginning.
    """
    count = len(amounts)
    low = max(count - since - LOOK_BACK // 2, 0)
    known = np.flatnonzero(~np.isnan(amounts))
    known = known[known >= low]
    if len(known) < 3:
        return max(count - since, 0), None
    weight = 0.5 * len(known) * HALF
    floor = 1e-6 * len(known)
    logs = -weight * np.log(_misses(known, amounts[known], most) + floor)
    step, growth = logs[: len(AT_ONCE_IN)], logs[len(AT_ONCE_IN) :]
    told = _log_mean(step) - _log_mean(growth)
    likelier = step if told + np.log(sudden / (1.0 - sudden)) > 0 else growth
    begins = int(known[int(np.argmax(np.logaddexp.reduce(likelier, axis=0)))])
    return begins, None if (known >= begins).sum() < GROWN_DAYS else told


def _log_mean(logs: Floats) -> float:
    """Log of the mean of what these are logs of."""
    return float(np.logaddexp.reduce(logs, axis=None) - np.log(logs.size))


def _misses(known: NDArray[np.int64], y: Floats, most: float) -> Floats:
    """Squared misfit of each growth to the amounts `y` of the days `known`, scaled to fit, never below nothing nor beyond `most`.

    By how long it takes and by first day, (len(TAKES), len(known) - 1). From sums of squares and products, for what is there on a day hangs
    on its age alone: that a perfect fit comes out as some 1e-16 of all squares is far below the floor that is added.
    """
    days = known - known[0]
    since, shape, squared = _ages(int(days[-1]) + 1)
    there, amount = np.zeros((2, 2 * len(since)))
    there[days], amount[days] = 1.0, y
    after = since[days[:-1]]
    of_shape, of_both = squared @ there[after].T, shape @ amount[after].T
    scale = np.minimum(np.maximum(of_both / of_shape, 0.0), most)
    return np.maximum(y @ y - scale * (2.0 * of_both - scale * of_shape), 0.0)


@lru_cache(maxsize=4 * LOOK_BACK)
def _ages(count: int) -> tuple[NDArray[np.int64], Floats, Floats]:
    """The days from each of so many on, one row each; and by age the share that is there of a growth that takes so long, and its square."""
    age = np.arange(count)
    shape = np.minimum((age + 1.0) / TAKES[:, None], 1.0)
    return age[:, None] + age, shape, shape**2
