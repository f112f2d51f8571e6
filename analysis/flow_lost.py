"""How much of the water that a day's power should have lifted did not come: the size of what costs flow.

Flow: estimates/day.py (water due and come), learning.py -> HERE -> slow_life.py.
Never: rows; which cause it is.

By the water of the days themselves. Slip and leaks take about the same at every speed, so that low sun and cloud lose several times the share
that noon does: a usual day's shares of its bands told a wear under winter cloud too small by 2 to 17 points.
"""

from dataclasses import dataclass

import numpy as np

from analysis.estimates.day import DUE
from analysis.estimates.vector import BANDS, PLACE
from analysis.learning import Learnt
from analysis.rows import Floats
from analysis.slow import FLOW_LOST

WATER = "water"
"""Name in `Memory.arrays`: `DayFigures.water` of the last days, NaN where the pump stood without water for a time."""
AT_POWER = np.array([PLACE[f"q{band}"] for band in range(BANDS)])
LAST_DAYS = 10  # how bad it is now
SCATTER_LEAST = 0.02  # of a day's water: cloud, starts, a meter's steps (drawn sound seasons: 0.01 to 0.04)
DRIFT = 0.015  # share of the flow: age, season and model over weeks (as scatter.py)
UNSEEN = 0.2  # of a loss: hours in which it keeps the pump from turning at all, and a speed limit, at which power is no measure (a guess)
WELL_KNOWN = 3.0  # sunny days: a band that was learnt for fewer answers as its neighbour


@dataclass(frozen=True)
class Lost:
    """By day: the share of its water that did not come, NaN where the day does not tell, and what was due [m3].

    open_: what the baseline leaves open of the shares, one for all. [-]
    """

    share: Floats
    due_m3: Floats
    open_: float

    def told(self) -> "Lost":
        """The days that tell."""
        known = ~np.isnan(self.share)
        return Lost(self.share[known], self.due_m3[known], self.open_)


def lost_by_day(learnt: Learnt, water: Floats | None, days: int) -> Lost:
    """Share of the water that each of the last `days` days lost at its own power against what was learnt of this installation.

    Parameters
    ----------
    learnt : Learnt
    water : float64[d, 5] or None
        `DayFigures.water` of days, the last one today's; fewer than `days` leave the first ones untold.
    days : int

    Returns
    -------
    Lost
        Of `days` days.
    """
    share, due = np.full(days, np.nan), np.zeros(days)
    if water is None or not len(water) or not days:
        return Lost(share, due, 0.0)
    water = water[-days:]
    place = _answering(learnt)
    usual = np.exp(learnt.mean[place])
    by_band = water[:, :DUE] * usual
    all_due = by_band.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share[-len(water) :] = np.where(all_due > 0.0, 1.0 - water[:, DUE] / all_due, np.nan)
    due[-len(water) :] = np.where(np.isnan(all_due), 0.0, all_due)
    weight = np.nansum(by_band, axis=0)
    weight /= max(float(weight.sum()), 1e-9)
    block = learnt.covariance[place[:, None], place]
    return Lost(share, due, float(np.sqrt(max(weight @ block @ weight, 0.0))))


def _answering(learnt: Learnt) -> np.ndarray:
    """The entry that answers for each band of `DayFigures.water`: its own, or the nearest above that was learnt. int64[4]"""
    places = AT_POWER.copy()
    for band in range(BANDS - 2, -1, -1):
        if learnt.days[AT_POWER[band]] < WELL_KNOWN:
            places[band] = places[band + 1]
    return np.concatenate([places[:1], places])


def size_of(lost: Lost) -> tuple[float, float, float]:
    """How bad it is now, and a 95 % interval in which both that and how bad it was on the whole lie.

    lost
        Days that tell, one at least.
    """
    last = Lost(lost.share[-LAST_DAYS:], lost.due_m3[-LAST_DAYS:], lost.open_)
    whole, now = _mean(lost), _mean(last)
    scatter = max(float(last.share.std()), SCATTER_LEAST) / np.sqrt(len(last.share))
    half = 1.96 * float(np.sqrt(lost.open_**2 + DRIFT**2 + (UNSEEN * whole) ** 2 + scatter**2))
    return max(now, 0.0), min(whole, now) - half, max(whole, now) + half


HARDLY = 0.04  # share: a meter's class and a day's own scatter (common practice, no source)


def nothing_lost(cause: str, size: list[float] | None) -> bool:
    """Whether the water itself, at the same power, says that nothing is lost: then it is another figure that is odd, and no such cause."""
    return cause in FLOW_LOST and size is not None and size[0] < HARDLY and size[1] <= 0.0


def _mean(lost: Lost) -> float:
    """By the water that was due; each day alike where none is known."""
    all_due = float(lost.due_m3.sum())
    return float(lost.share @ lost.due_m3) / all_due if all_due > 0.0 else float(lost.share.mean())


def interval_of(days: Floats, open_: float) -> tuple[float, float, float]:
    """Value and 95 % interval from the daily figures: how bad it was on the whole and is now lie within. What is there is more than nothing."""
    whole, now = float(days.mean()), float(days[-LAST_DAYS:].mean())
    middle = 0.5 * (whole + now)
    scatter = days[-LAST_DAYS:].std() / np.sqrt(min(len(days), LAST_DAYS))
    half = 1.96 * float(np.hypot(open_, scatter)) + abs(now - whole) / 2
    return middle, middle * float(np.exp(-half / middle)) if middle > 0.0 else 0.0, middle + half
