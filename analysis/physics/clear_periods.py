"""Which of a day's rows saw a clear sky, from the site's own signal: irradiance, or power and current where there is no sensor.

Flow: rows and clear-sky irradiance -> HERE -> estimates, baseline
Looks at neighbours in time, so it takes whole days, not blocks.
Never: learning; the size of the signal (soiling scales it), only its shape.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

WINDOW_MINUTES = 60.0
ROWS_MIN = 4
WOBBLE_MOST = 0.03
"""Least spread about the fitted line that clouds make within a window, as a share of the clear-sky signal: own choice, between
clear sky (1 % and less) and thin cloud."""
SLOPE_MOST_PER_H = 0.10
"""How fast the ratio to the clear sky may drift: haze, dust and module temperature do, a few percent an hour."""
LOW_SUN_W_M2 = 150.0


def clear_periods(time_ms: NDArray[np.int64], signal: Floats, clear: Floats) -> Flags:
    """Rows within a window in which the signal ran as the clear sky does, whatever its scale.

    Parameters
    ----------
    time_ms : int64[n]
        Rising, one solar day. [ms]
    signal : float64[n]
        Irradiance, or current or power at the array's maximum; NaN where not known (held back, not running).
    clear : float64[n]
        The same under a clear sky, any scale. Rows where it is below LOW_SUN_W_M2 are never clear (irradiance scale), so
        scale it to W/m2.

    Returns
    -------
    bool[n]
        False where the signal is NaN, and where a window holds fewer than ROWS_MIN rows.

    Notes
    -----
    A simpler kin of Reno and Hansen's detector [1]_: where they compare five shape statistics with fixed limits in W/m2 after
    rescaling, this compares the ratio signal / clear over an hour with a straight line; spread and slope must both be small.
    Fixed windows would cut clear spells at their edges, so each row's window is centred on it.

    References
    ----------
    .. [1] M. J. Reno, C. W. Hansen, Renewable Energy 90, 520-531, 2016, doi:10.1016/j.renene.2015.12.031.
    """
    n = len(time_ms)
    usable = np.isfinite(signal) & (clear > LOW_SUN_W_M2) & (signal > 0)
    if np.count_nonzero(usable) < ROWS_MIN:
        return np.zeros(n, bool)
    hours = (time_ms - time_ms[0]) / 3_600_000.0
    x, y = hours[usable], signal[usable] / clear[usable]
    scale = np.median(y)
    y = y / scale
    half = WINDOW_MINUTES / 120.0
    low, high = np.searchsorted(x, x - half, "left"), np.searchsorted(x, x + half, "right")
    spread, slope, count = _line_fits(x, y, low, high)
    height = np.maximum(_means(y, low, high), 1e-6)
    calm = (count >= ROWS_MIN) & (spread < WOBBLE_MOST * height) & (np.abs(slope) < SLOPE_MOST_PER_H * height)
    # a window that is calm under even cloud lies far below the day's best: not clear
    best = np.quantile(y[calm], 0.9) if calm.any() else 0.0
    calm &= height > 0.85 * best
    found = np.zeros(n, bool)
    found[usable] = calm
    return found


def _means(y: Floats, low: NDArray[np.int64], high: NDArray[np.int64]) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(y)])
    return (total[high] - total[low]) / (high - low)


def _line_fits(
    x: Floats, y: Floats, low: NDArray[np.int64], high: NDArray[np.int64]
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Least-squares lines over sliding windows: spread about them, slope, rows. From running sums about the day's middle."""
    centred, level = x - x.mean(), y - y.mean()
    sums = [np.concatenate([[0.0], np.cumsum(v)]) for v in (centred, level, centred**2, centred * level, level**2)]
    count = high - low
    sx, sy, sxx, sxy, syy = ((s[high] - s[low]) / count for s in sums)
    across = np.maximum(sxx - sx**2, 1e-12)
    slope = (sxy - sx * sy) / across
    left = np.maximum(syy - sy**2 - slope * (sxy - sx * sy), 0.0)
    return np.sqrt(left), slope, count
