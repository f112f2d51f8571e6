"""What the array gained from one day to the next: rain or a cleaning gives back at once what dust took, and so tells how much that was.

Flow: close.py (hours of each day) -> HERE -> washed.py.
Dust lies as a saw's teeth over the days: a slow fall, a sudden rise (M. G. Deceglie, L. Micheli, M. Muller, IEEE Journal of Photovoltaics
8(2), 547-551, 2018, find the cleanings so). The level just after the rise is the cleanest that there is, nearer than weeks before the fall,
in which season and sky moved the figures. Each hour of the sun's way is held against itself. Only where a sensor reads the sun: a week of
haze ends with the rain, too.
Never: rows; judgement.
"""

from dataclasses import dataclass

import numpy as np

from analysis.estimates.days_before import DUST_SPREAD, MEASURED, WORTH_A_LOOK, hour_scatter, scatter_of_days, telling
from analysis.rows import Floats, middles

LEAST_HOURS = 3  # of a day, told before and after: one or two may be a shade's, or a cloud's edge
NEWEST = (1, 2, 3)  # days since it came
BEFORE = 4  # days that tell, before it
WITHIN_DAYS = 14  # longer ago, season and sky were others
LAST = 2  # of them: dust grows until it is washed off, and what it was at last is what was gained


@dataclass(frozen=True)
class Gain:
    """A rise of the array's level up to today.

    after: level since, by hour of the sun's way (HOURS,), NaN where not known. lost: what the days before lay below it, by hour, negative.
    own, variance: of each hour's loss by itself, of what all hours have in common. gain: log of power, of the last days before it.
    ratio: log-likelihood ratio that it is more than dust that is no fault. ago: days from its first day to today. days: from the first of
    those before it to that day.
    """

    after: Floats
    lost: Floats
    own: Floats
    variance: float
    gain: float
    ratio: float
    ago: int
    days: int


def largest_gain(hours: Floats, least_ratio: float = 0.0) -> Gain | None:
    """The most certain rise of the last days up to today, None where there is none.

    hours : float64[days, HOURS]
        Log of power over what sun and temperature allow, today last.
    """
    known = ~np.isnan(hours)
    told = np.flatnonzero(known.sum(axis=1) >= LEAST_HOURS)
    if len(told) < 3 or told[-1] != len(hours) - 1:
        return None
    found = [(new, _rise(hours, told, new)) for new in NEWEST if len(told) >= new + 2]
    risen = [(new, rise) for new, rise in found if rise is not None]
    if not risen:
        return None
    inside, level = telling(hours)
    day = scatter_of_days(level[inside.any(axis=1)])
    best: Gain | None = None
    for new, (after, before) in risen:
        gained = after - hours[before]
        both = ~np.isnan(gained)
        weight = both / hour_scatter() ** 2
        by_day = (weight * np.where(both, gained, 0.0)).sum(axis=1) / weight.sum(axis=1)
        gain = float(by_day[-LAST:].mean())
        own = hour_scatter() ** 2 * (1.0 / new + 1.0 / len(before))
        lag = 0.5 * new + float((told[-new] - before).mean())
        common = day**2 * (1.0 / new + 1.0 / LAST) + MEASURED.walk**2 * lag
        ratio = 0.5 * max(gain - MEASURED.dust, 0.0) ** 2 / (common + 1.0 / (both.any(axis=0) / own).sum())
        if ratio >= least_ratio and (best is None or ratio > best.ratio):
            with np.errstate(invalid="ignore"):
                lost = -np.where(both, gained, 0.0).sum(axis=0) / np.where(both.any(axis=0), both.sum(axis=0), np.nan)
            best = Gain(
                after, lost, own, common + (DUST_SPREAD * MEASURED.dust) ** 2, gain, float(ratio),
                int(len(hours) - 1 - told[-new]), int(told[-new] - before[0]),
            )  # fmt: skip
    return best


def _rise(hours: Floats, told: np.ndarray, new: int) -> tuple[Floats, np.ndarray] | None:
    """Level of the newest days, and the days before, where each of them lay lower by more than dust that is no fault."""
    before = told[:-new][-BEFORE:]
    before = before[before >= told[-new] - WITHIN_DAYS]
    if len(before) < 2:
        return None
    newest = hours[told[-new:]]
    count = (~np.isnan(newest)).sum(axis=0)
    with np.errstate(invalid="ignore"):
        after = np.where(np.isnan(newest), 0.0, newest).sum(axis=0) / np.where(count > 0, count, np.nan)
    gained = after - hours[before]
    before = before[(~np.isnan(gained)).sum(axis=1) >= LEAST_HOURS]
    if len(before) < 2 or not middles(after - hours[before]).min() > WORTH_A_LOOK:
        return None
    return after, before
