"""The array under a sky that nothing reads, against itself in the weeks just before: did its clear days fall, or did none come?

Flow: close.py (hours of each day) -> HERE -> soiling.py.
Clear days lie within two percent of one another, and cloud only takes from them. Dust moves all of them down together; a sound array comes
back to its level on the first clear day. So the days before, as they were scattered, are held against the last ones: shifted by a loss (dust),
hardly shifted (season and air wander slowly), or drawn anew from a week of even cloud, which lies anywhere. Bayes' rule, days of one weather
counting as few. Each day gives one level, of whatever hours tell: a pump that stands at its limit at noon still tells in the morning.
Never: rows; judgement among causes.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.days_before import (
    DUST_SPREAD,
    GUESS_WORTH,
    LEAST_OF_HOUR,
    MEASURED,
    WEATHER_DAYS,
    Change,
    hour_scatter,
    telling,
)
from analysis.rows import Floats

AFTER, GAPS, BEFORE = (8, 12, 16), (0, 4, 8, 14, 21, 30), 20
"""Days: of the last ones, longer than one weather; of a growth left out between the two; of the time before."""
LEAST_HOURS, LEAST_DAYS, LEAST_APART, LEAST_BEFORE = 2, 3, 6, 5
"""Hours of a day that tell; of the last days: so many that tell, and days from the first to the last of them; of those before."""
WITHIN = 0.015  # log of power: scatter of clear days about their level (common practice, no source)
ANY_DAY, ANY_WIDE = 0.1, 1.3  # share of days that are like no other, and how wide they lie (log of power)
ABOVE = 0.03  # of those, that lie above all days before: cloud lifts no day as a whole (a guess)
EVEN_WEEK, EVEN_WIDE = 0.03, 0.4
"""Share of weeks under an even sheet of cloud, and how wide its days lie (log of power; common practice, no source)."""
UNEVEN, UNEVEN_STD, CLEAR_STD = 0.6, 0.7, 0.5
"""Log of how far a day's hours lie apart, under an even sheet of cloud over under a clear sky, and the scatter of either: no sheet stays the same
from morning to evening, and dust does (half of 1,400 such days of drawn seasons of five plants lie 1.4 to 2.5 times as far apart)."""
UNEVEN_HOURS, UNEVEN_LEAST, UNEVEN_CLEAR, UNEVEN_TOLD = 3, 0.004, 3, (-1.0, 2.0)
"""Of a day, to say how far they lie apart; the least of it that is read; clear days before that tell the usual; what a day may say at most."""
WANDER, WANDER_POWER = (0.02, 0.0014), (0.03, 0.0016)
"""Log of power by which a sound array's clear level goes astray, at once and a day, where its current is read and where only its power is:
within a month as between two times whose haze (scatter.py) has nothing in common."""
LEAST, USUAL = 0.05, 0.12  # log of power: less dust is not asked for here, and the mean of what is beyond
STEP, LOWEST, CELLS = 0.01, -1.6, 230
LOSSES = np.arange(-10, 51)
"""In `STEP`s: shifts that are tried."""


def fallen(hours: Floats, power_only: bool, enough: float) -> Change | None:
    """The most certain loss up to today, where the log of its odds over no loss at all (Bayes factor) is `enough`; else None.

    hours : float64[days, HOURS]
        Log of power over what a clear sky allows, cloud in it; today last, NaN where an hour does not tell.
    """
    if np.isnan(hours[-1]).all() or len(hours) < LEAST_BEFORE + LEAST_DAYS:
        return None
    known, level = telling(hours)
    told = known.sum(axis=1) >= LEAST_HOURS
    if not told[-1]:
        return None
    ago = len(level) - 1 - np.arange(len(level))
    apart = _apart(hours, level)
    best: tuple[float, float, NDArray[np.bool_], NDArray[np.bool_], int, float] | None = None
    for last in AFTER:
        new = told & (ago < last)
        if new.sum() < LEAST_DAYS or np.ptp(ago[new]) < LEAST_APART:
            continue
        highest = np.sort(level[new])[-2]
        for gap in GAPS:
            old = told & (ago >= last + gap) & (ago < last + gap + BEFORE)
            if old.sum() < LEAST_BEFORE or np.median(level[old]) - highest < 0.5 * LEAST:
                continue
            wander = _wander(0.5 * last + gap + 0.5 * BEFORE, power_only)
            cloudy = _cloudy(apart[new], apart[old], level[old])
            odds, loss = _odds(level[new], ago[new], level[old], wander, cloudy)
            if odds >= enough and (best is None or odds > best[0]):
                best = odds, loss, new, old, last, wander
    return None if best is None else _change(hours, level, *best)


def _wander(lag_days: float, power_only: bool) -> float:
    """Standard deviation of a sound array's clear level between two times. [log of power]"""
    at_once, a_day = WANDER_POWER if power_only else WANDER
    return float(np.hypot(at_once, a_day * lag_days))


@cache
def _kernel(wide: float) -> Floats:
    """A normal law of that standard deviation in `STEP`s, summing to 1."""
    of = np.exp(-0.5 * (np.arange(-15, 16) * STEP / wide) ** 2)
    return np.asarray(of / of.sum(), np.float64)


def _cell(level: Floats) -> NDArray[np.int64]:
    return np.clip(np.floor((level - LOWEST) / STEP), 0, CELLS - 1).astype(np.int64)


def _apart(hours: Floats, level: Floats) -> Floats:
    """Log of how far the hours of each day lie apart, NaN where too few tell. float64[days]"""
    rest = hours - level[:, None]
    known = ~np.isnan(rest)
    usual = np.array([np.median(rest[on, hour]) if on.any() else 0.0 for hour, on in enumerate(known.T)])
    count = known.sum(axis=1)
    squares = np.where(known, (rest - usual) ** 2, 0.0).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.maximum(np.sqrt(squares / (count - 1)), UNEVEN_LEAST)
        return np.where(count >= UNEVEN_HOURS, np.log(spread), np.nan)


def _cloudy(new: Floats, old: Floats, level: Floats) -> Floats:
    """Log of how much likelier a sheet of cloud makes the newest days' spread than a clear sky does; 0 where it is not known."""
    clear = old[(np.abs(level - np.quantile(level, 0.7)) < LEAST) & ~np.isnan(old)]
    if len(clear) < UNEVEN_CLEAR:
        return np.zeros(len(new))
    over = new - np.median(clear)
    told = 0.5 * (over / CLEAR_STD) ** 2 - 0.5 * ((over - UNEVEN) / UNEVEN_STD) ** 2 + np.log(CLEAR_STD / UNEVEN_STD)
    return np.clip(np.where(np.isnan(over), 0.0, told), *UNEVEN_TOLD)


def _odds(
    new: Floats, ago: NDArray[np.int64], old: Floats, wander: float, cloudy: Floats
) -> tuple[float, float]:  # fmt: skip
    """Log of how much likelier dust makes the newest levels than a sound array does, and the likeliest loss. cloudy: of `_cloudy`."""
    cells = _cell(old)
    counted = np.bincount(cells, minlength=CELLS) / len(old)
    beyond = np.arange(CELLS) > cells.max() + round(2.0 * WITHIN / STEP)
    like_no_other = ANY_DAY / ANY_WIDE * np.where(beyond, ABOVE, 1.0)
    density = (1.0 - ANY_DAY) * np.convolve(counted, _kernel(WITHIN), "same") / STEP + like_no_other
    block = ago // round(WEATHER_DAYS - 1.0)
    weight = 1.0 / np.sqrt(np.bincount(block)[block])  # so many days of one weather are worth the root of it
    shifted = np.clip(_cell(new) + LOSSES[:, None], 0, CELLS - 1)
    logs = np.log(density)[shifted] @ weight
    sound = np.exp(-0.5 * (LOSSES * STEP / wander) ** 2)
    lost = LOSSES * STEP
    dust = np.where(lost > LEAST - 0.5 * STEP, np.exp(-np.maximum(lost - LEAST, 0.0) / USUAL), 0.0)
    dust = np.convolve(dust, _kernel(wander), "same")
    dust, sound = dust / dust.sum(), sound / sound.sum()
    most = logs.max()
    of_dust, of_sound = (most + np.log((np.exp(logs - most) * share).sum()) for share in (dust, sound))
    even = np.log(EVEN_WEEK) + (cloudy - np.log(EVEN_WIDE)) @ weight
    best = int(np.argmax(logs + np.log(dust + 1e-12)))
    return float(of_dust - np.logaddexp(of_sound, even)), float(lost[best])


def _change(
    hours: Floats, level: Floats, odds: float, loss: float, new: NDArray[np.bool_], old: NDArray[np.bool_], days: int,
    wander: float,
) -> Change | None:  # fmt: skip
    """By hour, what the clear days of both times gave."""
    near = np.abs(level[new][:, None] - level[new][None, :]) < 2.0 * WITHIN
    clear = level[new][near[int(near.sum(axis=1).argmax())]].mean()
    after, before = (hours[of & (np.abs(level - at) < 2.0 * WITHIN)] for of, at in ((new, clear), (old, clear + loss)))
    if not len(after) or not len(before):
        return None
    (_, was_after, _), (n_before, was_before, spread) = _of_hours(after), _of_hours(before)
    own = (GUESS_WORTH * (2.0 * hour_scatter()) ** 2 + spread) / (GUESS_WORTH + n_before)
    variance = wander**2 + WITHIN**2 * (1.0 / len(after) + 1.0 / len(before))
    return Change(
        np.where(n_before >= LEAST_OF_HOUR, was_before, np.nan), was_after - was_before, own, loss,
        variance + (DUST_SPREAD * MEASURED.dust) ** 2, odds, days,
    )  # fmt: skip


def _of_hours(hours: Floats) -> tuple[Floats, Floats, Floats]:
    """By hour: days that have it, their mean (NaN where there are none), sum of squares about it."""
    known = ~np.isnan(hours)
    count = known.sum(axis=0).astype(float)
    with np.errstate(invalid="ignore"):
        mean = np.where(known, hours, 0.0).sum(axis=0) / count
        squares = np.where(known, (hours - mean) ** 2, 0.0).sum(axis=0)
    return count, mean, squares


NEAR, NEAR_LEAST, CLOUDED = 5, 3, 0.04
"""Telling days, as few as tell of what follows, and log of power: a day that lost so much more than the second best of those up to it, and of
those from it on, lay under cloud."""


def in_clear_air(lost: Floats) -> NDArray[np.bool_]:
    """Days whose loss is the array's own, not a cloud's. float64[days] (log, NaN where unknown) -> bool[days]"""
    clear = ~np.isnan(lost)
    told = np.flatnonzero(clear)
    for place, day in enumerate(told):
        up_to, from_on = told[max(place - NEAR + 1, 0) : place + 1], told[place : place + NEAR]
        sides = [up_to, from_on] if len(from_on) >= NEAR_LEAST else [up_to]
        second = max(np.sort(lost[side])[min(1, len(side) - 1)] for side in sides)
        clear[day] = lost[day] <= second + CLOUDED
    return clear
