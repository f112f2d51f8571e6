"""The array of the last days against itself in the weeks just before: what changed within days, whatever the season does to both.

Flow: close.py (hours of each day) -> HERE -> soiling.py.
Turbidity, the sun's height and a tilt not quite as the file says move an array's figures by several percent in a season, and by little in a
fortnight: against the first days learnt a tenth lost in a week is no more than that; against the weeks before it is. Each hour of the sun's
way is held against itself, and how far it went astray before says what its change is worth. Only where a sensor reads the sun: under a
supposed clear sky weeks of haze look the same.
Never: rows; judgement.
"""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.vector import HOURS, PLACE
from analysis.rows import Floats

KEPT_DAYS = 60
SUN = np.arange(PLACE["s0"], PLACE["s0"] + HOURS)
AFTER, GAPS, BEFORE = (3, 5, 8, 12), (0, 4, 8, 14, 21, 30), 20
"""Days: of the last ones, of a growth left out between the two, of the time before."""
LAST, GAP = (part.ravel() for part in np.meshgrid(AFTER, GAPS, indexing="ij"))
LAG = 0.5 * LAST + GAP + 0.5 * BEFORE
LEAST_BEFORE, LEAST_OF_HOUR = 4, 2
WORTH_A_LOOK = 0.03  # log of power
POLISHED = 3  # rounds in which days and hours of the sun's way are told apart, by medians (J. W. Tukey's median polish)
GUESS_WORTH = 4.0  # a guess of a scatter counts as so many days
HALF_NORMAL = 0.455  # median of a squared standard normal


@dataclass(frozen=True)
class Steadiness:
    """How steady a sound array is, logs of power.

    noon, edge: an hour by itself, in the middle of the day and where horizon and season decide, a guess before any was seen. day: all
    hours of a day together, likewise. walk: by which the level goes astray, times the square root of the days. dust: no fault up to there.
    least_days: that must tell of the last ones.
    """

    noon: float
    edge: float
    day: float
    walk: float
    dust: float
    least_days: int


MEASURED = Steadiness(noon=0.012, edge=0.06, day=0.012, walk=0.0015, dust=0.03, least_days=2)
WEATHER_DAYS = 4.0  # within one weather days tell the same (common practice, no source)
SCATTER_LEAST = 0.004
DUST_SPREAD = 0.4  # of the most: standard deviation of a sound array's dust, somewhere between nothing and that


@dataclass(frozen=True)
class Change:
    """From the days before to the last `days`, by hour of the sun's way: level before, shift since, variance of its own (HOURS,); NaN where not known.

    loss, variance: log of power, and of what all hours have in common.
    """

    before: Floats
    shift: Floats
    own: Floats
    loss: float
    variance: float
    ratio: float
    days: int


def hours_kept(kept: Floats | None, vector: Floats) -> Floats:
    """The hours of the sun's way of the last days with today's; float64[days, HOURS]."""
    today = vector[SUN][None, :]
    return today if kept is None else np.concatenate([kept[1 - KEPT_DAYS :], today])


def largest_change(hours: Floats, least_ratio: float = 0.0) -> Change | None:
    """The most certain loss up to today, and the log-likelihood ratio that it is one; None where too few days tell, or none is.

    hours : float64[days, HOURS]
        Log of power over what sun and temperature allow, today last.
    least_ratio
        A smaller one is not asked for: where none can be as large, the scatter of the days is not worked out.
    """
    if np.isnan(hours[-1]).all() or len(hours) < LEAST_BEFORE + 2:
        return None
    if not _below_its_better_days(hours):
        return None
    inside = hours == hours
    told = np.asarray(inside.any(axis=1))
    newest, before = _windows(len(hours))
    filled = np.where(inside, hours, 0.0)
    table = np.concatenate([told[:, None], inside, filled], axis=1)
    (days_new, new_n, new), (days_old, old_n, old) = (_parted(which @ table) for which in (newest, before))
    enough = (days_new >= MEASURED.least_days) & (days_old >= LEAST_BEFORE)
    with np.errstate(divide="ignore", invalid="ignore"):
        new, old = new / new_n, old / old_n
        known = (new_n > 0) & (old_n >= LEAST_OF_HOUR)
        fell = np.where(known, old - new, 0.0)
        common_least = _common_at_least(int(told.sum()), days_new, days_old)
        # no mean over the hours is more than the most of them: on nearly all days that says enough
        if not _largest_ratio(enough, fell.max(axis=1), common_least) > SURELY_LESS * least_ratio:
            return None
        seen = np.maximum(before @ filled**2 - old_n * old**2, 0.0)
        own = (GUESS_WORTH * hour_scatter() ** 2 + seen) / (GUESS_WORTH + old_n) + SCATTER_LEAST**2
        weight = np.where(known, 1.0 / own, 0.0)
        sure = weight.sum(axis=1)
        loss = (weight * fell).sum(axis=1) / sure
        enough &= sure > 0
        if not _largest_ratio(enough, loss, common_least + 1.0 / sure) > SURELY_LESS * least_ratio:
            return None
        _, level = telling(hours)
        day = scatter_of_days(level[told])
        slow = _slow(np.where(told, level, 0.0), told, before, day, days_old)
        common = slow + day**2 / days_new + day**2 / days_old
        ratio = 0.5 * np.maximum(loss - MEASURED.dust, 0.0) ** 2 / (common + 1.0 / sure)
    best = int(np.argmax(np.where(enough, ratio, -1.0)))
    if not ratio[best] > 0.0:
        return None
    of, once = known[best], old_n[best] >= LEAST_OF_HOUR
    return Change(
        np.where(once, old[best], np.nan), np.where(of, new[best] - old[best], np.nan), own[best],
        float(loss[best]), float(common[best]) + (DUST_SPREAD * MEASURED.dust) ** 2, float(ratio[best]), int(LAST[best]),
    )  # fmt: skip


SURELY_LESS = 0.99  # rounding takes nothing of the hundredth


def _parted(sums: Floats) -> tuple[Floats, Floats, Floats]:
    """Of each pair's days: how many tell; by hour how many have it, and their sum."""
    return sums[:, 0], sums[:, 1 : 1 + HOURS], sums[:, 1 + HOURS :]


def _largest_ratio(enough: NDArray[np.bool_], loss: Floats, variance: Floats) -> float:
    """The log-likelihood ratio of the pair that tells most, at least 0."""
    beyond = np.where(enough, 0.5 * np.maximum(loss - MEASURED.dust, 0.0) ** 2, 0.0)
    return float(np.where(beyond > 0.0, beyond / variance, 0.0).max())


def _common_at_least(days: int, days_new: Floats, days_old: Floats) -> Floats:
    """The least that `common` of `largest_change` can be with so many telling days, however alike they are. (pairs,)"""
    day = max(GUESS_WORTH * MEASURED.day**2 / (GUESS_WORTH + max(days - 1, 0)), SCATTER_LEAST**2)
    slow = GUESS_WORTH * MEASURED.walk**2 * LAG / (GUESS_WORTH + days / WEATHER_DAYS)
    return slow + day / days_new + day / days_old


def _below_its_better_days(hours: Floats) -> bool:
    """Whether any hour of today lies below what three of its earlier days in four stayed under: else there is nothing to work out."""
    earlier = hours[:-1]
    every = np.ones(len(earlier))  # whole numbers, exact as floats; a product is three times as fast as a sum of flags
    count, above = every @ (earlier == earlier), every @ (earlier - hours[-1] > WORTH_A_LOOK)
    return bool(((above >= count - 3 * count // 4) & (count > 0)).any())  # the third in four and all above it


def _slow(
    level: Floats, told: NDArray[np.bool_], before: Floats, day: float, days_old: Floats
) -> Floats:  # fmt: skip
    """Variance of what goes astray slowly, between before and after: a guess, and what the level did before, weighed together. (pairs,)

    Days within one weather count as one.
    """
    guess = MEASURED.walk**2 * LAG
    ago = len(level) - 1 - np.arange(len(level))
    all_before = (ago >= (LAST + GAP)[:, None]) & told
    count = all_before.sum(axis=1)
    mean = before @ level / days_old
    spread = (all_before * (level - mean[:, None]) ** 2).sum(axis=1) / np.maximum(count, 1)
    seen = np.maximum(spread - day**2, 0.0)
    return (GUESS_WORTH * guess + count / WEATHER_DAYS * seen) / (GUESS_WORTH + count / WEATHER_DAYS)


@lru_cache(maxsize=KEPT_DAYS + 1)
def _windows(count: int) -> tuple[Floats, Floats]:
    """Days of the last ones and of those before, by pair of `LAST` and `GAP`; 0 or 1, (pairs, days) each."""
    ago = count - 1 - np.arange(count)
    newest = ago < LAST[:, None]
    stop = (LAST + GAP)[:, None]
    return newest.astype(float), ((ago >= stop) & (ago < stop + BEFORE)).astype(float)


@cache
def hour_scatter() -> Floats:
    """Standard deviation of an hour by itself before any was seen, log of power. (HOURS,)"""
    away = np.abs(np.arange(HOURS) + 0.5 - HOURS / 2)
    return MEASURED.noon + (MEASURED.edge - MEASURED.noon) * np.clip((away - 1.5) / 2.0, 0.0, 1.0)


def telling(hours: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """The hours of each day that tell of the array, (days, HOURS), and their mean over what each usually gives (days,)."""
    known = ~np.isnan(hours)
    usual = np.zeros(HOURS)
    of_days, of_hours = _Middle(known), _Middle(known.T)
    for _ in range(POLISHED):
        of_day = of_days.of(hours - usual)
        usual = of_hours.of((hours - of_day[:, None]).T)
    with np.errstate(divide="ignore", invalid="ignore"):
        return known, np.where(known, hours - usual, 0.0).sum(axis=1) / known.sum(axis=1)


class _Middle:
    """Medians of the known values of each row, 0 where there are none: the middle one, or the two middle ones' mean."""

    def __init__(self, known: NDArray[np.bool_]) -> None:
        count = known.sum(axis=1)
        self._unknown, self._none, self._rows = ~known, count == 0, np.arange(len(known))
        self._low, self._high = np.maximum((count - 1) // 2, 0), np.minimum(count // 2, known.shape[1] - 1)

    def of(self, values: Floats) -> Floats:
        """Of values of that shape."""
        ordered = np.array(values, order="C")
        ordered[self._unknown] = np.inf
        ordered.sort(axis=1)
        middle = 0.5 * (ordered[self._rows, self._low] + ordered[self._rows, self._high])
        middle[self._none] = 0.0
        return middle


def scatter_of_days(level: Floats) -> float:
    """A day's scatter, from one telling day to the next: neither season nor a step or two is in their median."""
    steps = np.diff(level) ** 2
    seen = float(np.median(steps)) / (2.0 * HALF_NORMAL) if len(steps) else 0.0
    variance = (GUESS_WORTH * MEASURED.day**2 + len(steps) * seen) / (GUESS_WORTH + len(steps))
    return max(float(np.sqrt(variance)), SCATTER_LEAST)
