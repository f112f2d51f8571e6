"""What came as a share of what should have, day by day and hour by hour of the sun's way: a step of a twentieth is seen here.

Flow: look.py, estimates/day.py (the days' figures) -> HERE -> explanation.py -> drawing.
Never: drawing, words, judgement.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.stats import t as student

from analysis.estimates.day import figures_of
from analysis.estimates.electric import hour_bins
from analysis.estimates.vector import BANDS, HOURS, PLACE
from analysis.look import Columns
from analysis.pictures import Points, level_of, of_the_array
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.solar_days import DAY_MS, HOUR_MS

LEAST_H = 0.25  # of settled running within an hour of the sun's way, or at a power: less is a moment
BEST = 0.9  # of an hour's readings lie below what is shown of it where no sun is read: above, clouds' edges add light
LEAST_DAYS = 4  # before it began: of fewer nobody knows how far they scatter
LEVEL = 0.95
NORMAL_STD = 1.4826  # of a normal law, times the middle distance from the median
METER_CLASS = 0.01  # readings repeat no better than that, however alike a few days were (common practice, no source)


@dataclass(frozen=True)
class Shares:
    """Measured over expected, 1 = as the site file says.

    of : "array" or "flow"
        Array power at maximum under the sun that was; flow at the power that was taken.
    before_by_day, after_by_day : Points
        x: the middle of each day's figures, ms since the epoch; y, low, high: their middle and middle half, each hour or power held
        against what it was before, for a dull day's mornings are no other day's noon; hours: how many spoke.
    before_by_part, after_by_part : Points
        x: the hour of the sun's way from noon, its middle [h], or the power, 0 low to 2 high; y, low, high: over the days.
    usual, usual_low, usual_high : float
        Middle of the days before, and where one more day would lie (95 %, Student's t about the median); NaN where not known.
    now : float
        Middle of the days since; NaN where there are none.
    sun_measured : bool
        The sun is an instrument's. Else a clear sky's: then the best readings of each hour count, marks are upper quartiles, their whiskers reach from the middle
        to the highest, and there is no range, for cloud only takes.
    """

    of: Literal["array", "flow"]
    before_by_day: Points
    after_by_day: Points
    before_by_part: Points
    after_by_part: Points
    usual: float
    usual_low: float
    usual_high: float
    now: float
    sun_measured: bool


def shares_of(
    plant: Plant, seen: Columns, split_ms: int, of: Literal["array", "flow"], with_held: bool = False
) -> Shares | None:
    """Of rows that were looked at already; before and after `split_ms`. None: no day since speaks.

    with_held : bool
        Also of the array where it is held back, against what sun and pump allow: what a controller holds back is missing then.
    """
    if not len(seen):
        return None
    days = range(int(seen.day[0]), int(seen.day[-1]) + 1)
    noon_ms = plant.days.noon_ms(days.start) + np.arange(len(days))[:, None] * DAY_MS
    part: Floats
    if of == "array":
        part = (np.arange(HOURS) + 0.5 - HOURS / 2).astype(np.float64)
        share, weight_h = _of_array(plant, seen, days, with_held)
        at_ms = noon_ms + part * HOUR_MS
    else:
        part = np.arange(BANDS, dtype=np.float64)
        share, weight_h = _of_flow(plant, seen, days)
        at_ms = np.repeat(noon_ms, BANDS, axis=1).astype(np.float64)
    known, late = np.isfinite(share), at_ms > split_ms
    if not (known & late).any():
        return None
    before, after = known & ~late, known & late
    level = level_of(seen) if of == "array" else 0.5
    alike = _alike(share, before, level)
    old, new = (_by_day(alike, at_ms, weight_h, half & np.isfinite(alike), level) for half in (before, after))
    usual, now = (float(np.quantile(one.y, level)) if len(one.y) else np.nan for one in (old, new))
    low, high = _normal(old.y, usual) if level == 0.5 else (np.nan, np.nan)
    old_part, new_part = (_by_part(share, part, weight_h, half, level) for half in (before, after))
    return Shares(
        of, old, new, old_part, new_part, usual, low, high, now, bool(seen.expected.poa_measured.any())
    )  # fmt: skip


def _of_array(plant: Plant, seen: Columns, days: range, with_held: bool) -> tuple[Floats, Floats]:
    """Energy at maximum power over what the site file's array gives, and its hours, by day and hour of the sun's way. (days, HOURS)"""
    which, offered_w = of_the_array(plant, seen), seen.expected.mpp_power_w
    if with_held:
        which = which | (seen.settled & seen.held & np.isfinite(offered_w) & (seen.power_w > 0))
        offered_w = np.minimum(offered_w, plant.ceiling_w)
    bins, shape = hour_bins(plant, seen, days)[which], (len(days), HOURS)
    dt_h, size = seen.dt_h[which], len(days) * HOURS
    hours, got, due = (
        np.bincount(bins, dt_h * of, size).astype(np.float64).reshape(shape)
        for of in (np.ones(len(bins)), seen.power_w[which], offered_w[which])
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where((hours >= LEAST_H) & (due > 0), got / due, np.nan)
    if not seen.expected.poa_measured.any():  # the hour's mean is the cloud's, its best readings are the array's
        of_row = seen.power_w[which] / seen.expected.mpp_power_w[which]
        known = np.flatnonzero(np.isfinite(share))
        begin, end = np.searchsorted(bins, known), np.searchsorted(bins, known, "right")
        share.ravel()[known] = [np.quantile(of_row[a:b], BEST) for a, b in zip(begin, end, strict=True)]
        return share, hours
    if with_held:
        return share, hours
    figures = figures_of(plant, seen, days)  # of hours in which the pump stands in the shade, too
    by_hour = np.exp([one.vector[PLACE["s0"] : PLACE["s0"] + HOURS] for one in figures])
    return np.where(np.isfinite(share), share, by_hour), np.fmax(hours, np.where(np.isfinite(by_hour), LEAST_H, 0.0))


def _of_flow(plant: Plant, seen: Columns, days: range) -> tuple[Floats, Floats]:
    """Flow over what the site file's pump lifts on that power, as the engine weighs it, and its hours, by day and power. (days, BANDS)"""
    figures = figures_of(plant, seen, days)
    share = np.exp([one.vector[PLACE["q0"] : PLACE["q0"] + BANDS] for one in figures])
    weight_h = np.array([one.weight_h for one in figures])
    return np.where(weight_h >= LEAST_H, share, np.nan), weight_h


def _alike(share: Floats, before: np.ndarray, level: float) -> Floats:
    """Shares of hours, or powers, as if all had been the same before; NaN where it is not known of one what it was, unless of none."""
    usual = np.array([np.quantile(share[on, k], level) if on.any() else np.nan for k, on in enumerate(before.T)])
    return share / usual * np.nanmedian(usual) if np.isfinite(usual).any() else share


def _by_day(share: Floats, at_ms: Floats, weight_h: Floats, which: np.ndarray, level: float) -> Points:
    rows = [(at_ms[day][on], share[day][on], weight_h[day][on]) for day, on in enumerate(which) if on.any()]
    return _points([(float(at.mean()), values, hours) for at, values, hours in rows], level)


def _by_part(share: Floats, part: Floats, weight_h: Floats, which: np.ndarray, level: float) -> Points:
    columns = [(float(x), share[on, k], weight_h[on, k]) for k, (x, on) in enumerate(zip(part, which.T, strict=True))]
    return _points([(x, values, hours) for x, values, hours in columns if len(values)], level)


def _points(groups: list[tuple[float, Floats, Floats]], level: float) -> Points:
    found = [(x, *np.quantile(values, [level, level - 0.25, level + 0.25]), hours.sum()) for x, values, hours in groups]
    return Points(*np.array(found, float).reshape(-1, 5).T)


def _normal(by_day: Floats, usual: float) -> tuple[float, float]:
    """Where the next of some days would lie."""
    if len(by_day) < LEAST_DAYS:
        return np.nan, np.nan
    std = max(NORMAL_STD * float(np.median(np.abs(by_day - usual))), METER_CLASS * usual)
    reach = float(student.ppf(0.5 + LEVEL / 2, len(by_day) - 1)) * std * float(np.sqrt(1.0 + 1.0 / len(by_day)))
    return max(usual - reach, 0.0), usual + reach
