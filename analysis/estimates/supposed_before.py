"""The array of the last days against the weeks before where a clear sky is only supposed: how much less its best days give.

Flow: close.py (hours of each day) -> HERE -> soiling.py.
Haze and thin cloud only take light, and drift off again; dust stays. So it is the best of the last days that tell what the array has
lost, each hour of the sun's way against itself, and what such best days did in the weeks before says what a loss is worth. Weeks of haze
take a tenth where the air is dusty: less than that is not told here.
Never: rows; a site whose sun a sensor reads (days_before.py).
"""

import numpy as np

from analysis.estimates.days_before import DUST_SPREAD, GUESS_WORTH, HALF_NORMAL, LEAST_OF_HOUR, MEASURED, Change
from analysis.estimates.vector import HOURS
from analysis.rows import Floats

OUTLYING = 0.08  # log of power: an hour so far from the others of its day is a cloud's or a shade's
LEAST_HOURS = 2  # that agree, of a day
NEWEST, LEAST_SPAN = (
    (4, 6, 9),
    4,
)  # telling days of the last ones; from first to last of them, days: one weather passes within
NEWEST_SPAN = 21  # days
GAPS, BEFORE_DAYS, LEAST_BEFORE = (
    (0, 7, 14, 21),
    24,
    5,
)  # days of a growth left out between; of the time before; of them telling
BEST = 1 / 3  # of the last days
DAY, HOUR, WALK = 0.04, 0.02, 0.008
"""Logs of power, standard deviations: a day's best level, an hour by itself, and what season and air do, times the square root of the
days (a guess; what the days before did is weighed against the first)."""


def without_clouds(hours: Floats) -> Floats:
    """The hours without those that lie apart from the others of their day, and without days of which too few are left. (days, HOURS)"""
    level, usual = _levels(hours)
    kept = np.where(np.abs(hours - usual - level[:, None]) < OUTLYING, hours, np.nan)
    few = (~np.isnan(kept)).sum(axis=1) < LEAST_HOURS
    return np.where(few[:, None], np.nan, kept)


def _levels(hours: Floats) -> tuple[Floats, Floats]:
    """Each day's middle level over what its hours usually give, and that. (days,), (HOURS,)"""
    known = ~np.isnan(hours)
    usual = np.zeros(HOURS)
    level = np.full(len(hours), np.nan)
    for _ in range(3):
        for day in np.flatnonzero(known.any(axis=1)):
            level[day] = np.median((hours[day] - usual)[known[day]])
        for hour in np.flatnonzero(known.any(axis=0)):
            usual[hour] = np.median((hours[:, hour] - level)[known[:, hour]])
    return level, usual


def change_of_the_best(hours: Floats) -> Change | None:
    """The most certain loss of the best of the last days up to today, None where too few days tell.

    hours : float64[days, HOURS]
        Log of power over what a clear sky and temperature allow, today last.
    """
    if np.isnan(hours[-1]).all():
        return None
    hours = without_clouds(hours)
    level, _ = _levels(hours)
    told = np.flatnonzero(~np.isnan(level))
    if not len(told) or told[-1] != len(hours) - 1:
        return None
    variance = _variance_of_days(level[told])
    found = [_change(hours, level, told, count, gap, variance) for count in NEWEST for gap in GAPS if len(told) > count]
    sure = [change for change in found if change is not None]
    return max(sure, key=lambda change: change.ratio) if sure else None


def _variance_of_days(level: Floats) -> float:
    """From one telling day to the next: neither season nor a step or two is in their median."""
    steps = np.diff(level) ** 2
    seen = float(np.median(steps)) / (2.0 * HALF_NORMAL) if len(steps) else 0.0
    return (GUESS_WORTH * DAY**2 + len(steps) * seen) / (GUESS_WORTH + len(steps))


def _change(hours: Floats, level: Floats, told: np.ndarray, count: int, gap: int, day: float) -> Change | None:
    new = told[-count:]
    if not LEAST_SPAN <= new[-1] - new[0] <= NEWEST_SPAN:
        return None
    last = new[0] - 1 - gap
    before = told[(told <= last) & (told > last - BEFORE_DAYS)]
    if len(before) < LEAST_BEFORE:
        return None
    best = new[np.argsort(-level[new], kind="stable")[: max(round(BEST * count), 2)]]
    usual = float(np.median(level[before]))
    loss = usual - float(level[best].mean())
    spread = float(np.median((level[before] - usual) ** 2)) / HALF_NORMAL
    lag = float(np.median(new) - np.median(before))
    variance = max(day, spread) * (1.0 / len(best) + 1.0 / len(before)) + WALK**2 * lag
    old_n, new_n = (~np.isnan(hours[before])).sum(axis=0), (~np.isnan(hours[best])).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        old = np.where(old_n >= LEAST_OF_HOUR, np.nansum(hours[before], axis=0) / old_n, np.nan)
        shift = np.where(new_n > 0, np.nansum(hours[best], axis=0) / new_n, np.nan) - old
    if np.isnan(shift).all():
        return None
    ratio = 0.5 * max(loss - MEASURED.dust, 0.0) ** 2 / (variance + HOUR**2)
    return Change(
        old,
        shift,
        np.full(HOURS, HOUR**2),
        loss,
        variance + (DUST_SPREAD * MEASURED.dust) ** 2,
        float(ratio),
        int(new[-1] - new[0] + 1),
    )
