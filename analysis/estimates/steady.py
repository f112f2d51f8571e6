"""Which hours are steady: nothing but the sun's own course moved the power, or a sensor followed a clear sky.

Flow: sums.py -> HERE -> hydraulic.py, electric.py.
Wells, meters and controllers answer with a lag, so that figures from under broken cloud are off in ways that no model knows.
Never: judgement.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.sums import Sums
from analysis.rows import Floats, rises


@dataclass(frozen=True)
class Hours:
    """The hours of a block's rows, worked out once for all who ask.

    bins : int64[n]
        Hour of each row, below the product of `shape`, rising.
    shape
        Days by hours of the sun's way.
    dt_h, along_h : float64[n]
        What each row stands for; time within its hour, from the hour's first row. [h]
    """

    bins: NDArray[np.int64]
    shape: tuple[int, int]
    dt_h: Floats
    along_h: Floats


def hours_of(bins: NDArray[np.int64], shape: tuple[int, int], dt_h: Floats) -> Hours:
    """Hours of rows that stand for `dt_h`. [h]"""
    return Hours(bins, shape, dt_h, _within(bins, dt_h))


LINE = 2  # figures of a straight line, which take so many rows' freedom


def steady_rows(
    which: NDArray[np.bool_], hours: Hours, value: Floats, least: float, share: float, by_itself: bool = True
) -> NDArray[np.bool_]:
    """Rows that `which` picks, in bins whose values scatter little about a straight line in time.

    Parameters
    ----------
    which : bool[n]
    hours : Hours
    value : float64[n]
        What must be steady.
    least : float
        A bin needs so much weight. [h]
    share : float
        Most scatter about the line, over the mean. [-]
    by_itself : bool
        The bin must prove its steadiness by its own rows: a line through two leaves no scatter and proves nothing. Else the scatter
        is taken as it is, where many bins are added up anyway.
    """
    picked = np.flatnonzero(which)
    if not len(picked):
        return which
    along, weight, value = hours.along_h[picked], hours.dt_h[picked], value[picked]
    sums = Sums(picked, hours.bins, hours.shape, rising=True)
    by_time, by_value = weight * along, weight * value
    w, wx, wy = sums.hours(hours.dt_h), sums.added(by_time), sums.added(by_value)
    wxx, wxy, wyy = sums.added(weight * along**2), sums.added(by_time * value), sums.added(weight * value**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_x, mean = wx / w, wy / w
        var_x, cov, var = wxx / w - mean_x**2, wxy / w - mean_x * mean, wyy / w - mean**2
        rest = np.maximum(var - np.where(var_x > 1e-9, cov**2 / var_x, 0.0), 0.0)
        if by_itself:
            rows = sums.count()
            rest = np.where(rows > LINE, rest * rows / (rows - LINE), np.inf)
        good = (w >= least) & (np.sqrt(rest) < share * mean)
    return which & good.ravel()[hours.bins]


HUNTING_ROWS = 20  # of an hour: fewer are white by chance
HUNTS = 0.15  # most scatter of a row, over the mean: a tracker that steps to and fro about the maximum (common practice, no source)
WHITE = 0.7  # of the mean square step from row to row that noise without memory has (J. von Neumann 1941: twice the variance)


def hunting_rows(which: NDArray[np.bool_], hours: Hours, value: Floats) -> NDArray[np.bool_]:
    """Rows that `which` picks, in hours whose values scatter about a straight line without memory: a controller hunts, or a reading is coarse.

    Cloud stays for minutes, so that a row is like the one before it; what is another in each row is no sky's, and its mean is well known.
    """
    picked = np.flatnonzero(which)
    if len(picked) < HUNTING_ROWS:
        return np.zeros_like(which)
    bins, along, value = hours.bins[picked], hours.along_h[picked], value[picked]
    steps = np.where(np.diff(bins, prepend=bins[0] - 1) == 0, np.diff(value, prepend=value[0]), 0.0)
    sums = Sums(picked, hours.bins, hours.shape, rising=True)
    rows = sums.count()
    x, y, xx, xy, yy, dd = (sums.added(of) for of in (along, value, along**2, along * value, value**2, steps**2))
    with np.errstate(divide="ignore", invalid="ignore"):
        var_x, cov, var = xx - x**2 / rows, xy - x * y / rows, yy - y**2 / rows
        rest = (var - np.where(var_x > 1e-9, cov**2 / var_x, 0.0)) / (rows - LINE)
        good = (rows >= HUNTING_ROWS) & (rest < (HUNTS * y / rows) ** 2) & (dd / (rows - 1) > 2.0 * WHITE * rest)
    return which & good.ravel()[hours.bins]


def _within(bins: NDArray[np.int64], weight: Floats) -> Floats:
    """Time within the row's bin, h, from its first row."""
    ticks = np.cumsum(np.rint(weight * 3.6e6).astype(np.int64))
    if not len(ticks):
        return np.zeros(0)
    starts = np.concatenate([[0], np.flatnonzero(rises(bins)) + 1])
    return (ticks - np.repeat(ticks[starts], np.diff(starts, append=len(bins)))) / 3.6e6
