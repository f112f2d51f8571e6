"""Without a sensor of the sun: what the array gives in the sunny minutes between clouds.

Flow: electric.py -> HERE -> vector.py.
Under a broken sky the sun comes and goes within minutes, and no hour is steady. But whenever it is out the array gives the same share of
what a clear sky would give, and never more: a level at the top, which comes again hour after hour. Cloud gives any share. The edges of clouds throw
some light too, so that this level is worth some percent: too coarse for dust, enough for a string.
Never: a level that dust could make; judgement.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.steady import Hours
from analysis.estimates.sums import Sums
from analysis.estimates.vector import HOURS
from analysis.rows import Floats

STEP, LEVELS = 0.02, 80  # logs of current over what a clear sky would give
LOWEST = -1.3  # a quarter of it; less is overcast
BESIDE = 2  # steps on either side that are the same level: thin haze, and what clouds throw
LEAST_H = 0.2  # of an hour in the sun
ABOVE = 0.08  # of that, in brighter light: edges of clouds throw more for a minute or two (common practice, no source)
SUNNY_HOURS, AGREE_WITHIN = 3, 0.05  # of a day
DEEP = -0.35  # log: less may be dust or a thin sheet of cloud, and such hours know it too coarsely
NEAR_NOON = (
    np.abs(np.arange(HOURS) + 0.5 - HOURS / 2) < 4.0
)  # at lower sun clear-sky models err by a tenth (from memory)


def between_clouds(
    lit: NDArray[np.bool_], tells: NDArray[np.bool_], hours: Hours, got: Floats, should: Floats
) -> Floats:
    """By hour, log of what the array gives while the sun is out; NaN where no such level stands out. float64[days, HOURS]

    Parameters
    ----------
    lit : bool[n]
        Rows that run under light enough.
    tells : bool[n]
        Those of them that are at maximum power.
    hours : Hours
    got, should : float64[n]
        What the array gives at maximum power, and what it should under a clear sky.
    """
    days, step = hours.shape[0], np.zeros(len(lit), np.int64)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log(got / should)
        known = lit & tells & (ratio > LOWEST)
    step[known] = np.minimum((ratio[known] - LOWEST) / STEP, LEVELS - 1).astype(np.int64)
    shape = days * HOURS, LEVELS
    weight = Sums(known, hours.bins * LEVELS + step, shape).hours(hours.dt_h)
    held_h = Sums(lit & ~tells, hours.bins, (days * HOURS,), rising=True).hours(hours.dt_h)
    running = np.cumsum(np.pad(weight, ((0, 0), (BESIDE + 1, BESIDE))), axis=1)
    near = running[:, 2 * BESIDE + 1 :] - running[:, : -2 * BESIDE - 1]
    best = near.argmax(axis=1)
    every = np.arange(len(near))
    most = near[every, best]
    above = weight.sum(axis=1) - running[every, best + 2 * BESIDE + 1] + held_h
    levels = LOWEST + STEP * (np.arange(LEVELS) + 0.5)
    within = np.abs(np.arange(LEVELS) - best[:, None]) <= BESIDE
    with np.errstate(divide="ignore", invalid="ignore"):
        level = (weight * within * levels).sum(axis=1) / most
    level[(most < LEAST_H) | (above > ABOVE * most)] = np.nan
    return _agreeing(level.reshape(hours.shape))


def _agreeing(level: Floats) -> Floats:
    """Hours that lie where most of their day's do, on days of which enough agree on a level that dust does not make."""
    found = np.full(level.shape, np.nan)
    for day in np.flatnonzero((~np.isnan(level)).sum(axis=1) >= SUNNY_HOURS):
        beside = np.abs(level[day][:, None] - level[day][None, :]) < AGREE_WITHIN
        beside[:, ~NEAR_NOON] = False
        beside[~NEAR_NOON] = False
        agreeing = beside.sum(axis=1)
        best = int(agreeing.argmax())
        if agreeing[best] >= SUNNY_HOURS and np.nanmean(level[day][beside[best]]) < DEEP:
            found[day, beside[best]] = level[day, beside[best]]
    return found
