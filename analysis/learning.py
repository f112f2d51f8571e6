"""What this one installation does when sound: learnt over its first sound days, then held.

Flow: estimates (the day's vector), scatter.py -> HERE -> slow.py.
Learning stops for good after `DAYS`, so that a fault that grows for months is not learnt with it; a visit that changed the
installation opens what it changed. Never: a day on which something is suspected.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.estimates.scatter import Scatter
from analysis.estimates.vector import HOURS, PLACE, SIZE
from analysis.rows import Floats

DAYS = 16.0  # sunny days per entry; the first two weeks of a new pump (common practice, no source)
SCATTER_WORTH = 4.0  # the starting guess of the day's scatter counts as so many days
HORIZON_LEAST = 0.08  # log of power lost: less is haze and angle
RAISED = 0.06  # log of power: more is another limit, not the day's own scatter
TAKEN_STD = 0.08  # likewise: how far a limit may lie above the best hour
LIMITS = np.array([PLACE["cap"], PLACE["cv"], PLACE["cn"]])
UNTOLD = 6.0  # a guess of the day's scatter may be off by the square root of seven
OPENED_BY = {
    "panels-washed": ("s",),
    "pump-lifted": ("q", "n", "t", "i", "p", "l", "rest", "first"),
    "meter-replaced": ("q", "n"),
    "controller-replaced": ("t", "i", "q", "cap"),
}
"""What a visit may have changed, by name of entry."""


@dataclass(frozen=True)
class Learnt:
    """mean (SIZE,), covariance (SIZE, SIZE), days learnt by entry (SIZE,), variance of a day by entry (SIZE,)."""

    mean: Floats
    covariance: Floats
    days: Floats
    scatter: Floats

    @cached_property
    def always_there(self) -> Floats:
        """Variance (SIZE,) of hours that a horizon has always dimmed: with the season the sun passes it elsewhere."""
        variance = np.zeros(SIZE)
        first, stop = PLACE["s0"], PLACE["s0"] + HOURS
        dimmed = np.zeros(HOURS + 2)
        dimmed[1:-1] = np.abs(np.minimum(self.mean[first:stop], 0.0))
        wide = np.maximum(dimmed[1:-1], np.maximum(dimmed[2:], dimmed[:-2]))
        variance[first:stop] = np.where(wide > HORIZON_LEAST, (0.6 * wide) ** 2, 0.0)
        return variance

    @cached_property
    def day_variance(self) -> Floats:
        """A day's own variance, wider while few days have told it (as Student's t is wider than a normal law)."""
        return self.scatter * (1.0 + UNTOLD / (1.0 + self.days))


def beginning(scatter: Scatter) -> Learnt:
    """Before the first day: the site file, with its tolerances."""
    return Learnt(np.zeros(SIZE), scatter.tolerance, np.zeros(SIZE), scatter.own)


def learn(learnt: Learnt, vector: Floats, scatter: Scatter) -> Learnt:
    """One sound day more (a Kalman step on the entries that it has)."""
    learnt = _raised(learnt, vector, scatter)
    cap = PLACE["cap"]
    if _limit_known(learnt, scatter) and vector[cap] < learnt.mean[cap] - RAISED:
        vector = vector.copy()
        vector[LIMITS] = np.nan  # what has been taken once can be taken again: a lower limit is never learnt
    seen = ~np.isnan(vector) & (learnt.days < DAYS)
    if not seen.any():
        return learnt
    place = np.flatnonzero(seen)
    noise = scatter.shared[np.ix_(place, place)] + np.diag(learnt.scatter[place])
    part = learnt.covariance[:, place]
    gain = np.linalg.solve(part[place] + noise, part.T).T
    miss = vector[place] - learnt.mean[place]
    days = learnt.days.copy()
    days[place] += 1.0
    return Learnt(
        learnt.mean + gain @ miss,
        learnt.covariance - gain @ part.T,
        days,
        _scatter(learnt, place, miss, days),
    )


def _limit_known(learnt: Learnt, scatter: Scatter) -> bool:
    cap = PLACE["cap"]
    return bool(learnt.covariance[cap, cap] < 0.5 * scatter.tolerance[cap, cap])


def _raised(learnt: Learnt, vector: Floats, scatter: Scatter) -> Learnt:
    """No limit stands below what has been taken: a ceiling learnt too low, or never met, rises to the day's best hour."""
    taken, cap = vector[PLACE["top"]], PLACE["cap"]
    if np.isnan(taken) or (_limit_known(learnt, scatter) and taken < learnt.mean[cap] + RAISED):
        return learnt
    mean, covariance, days = learnt.mean.copy(), learnt.covariance.copy(), learnt.days.copy()
    covariance[LIMITS, :] = 0.0
    covariance[:, LIMITS] = 0.0
    covariance[LIMITS, LIMITS] = scatter.tolerance[LIMITS, LIMITS]
    covariance[cap, cap] = TAKEN_STD**2
    mean[LIMITS] = (taken, 0.0, 0.0)
    days[LIMITS] = 0.0
    return Learnt(mean, covariance, days, learnt.scatter)


def _scatter(learnt: Learnt, place: np.ndarray, miss: Floats, days: Floats) -> Floats:
    """The day's own variance, from how far days fell from what was learnt, once there is something learnt."""
    variance = learnt.scatter.copy()
    known = days[place] > 3.0
    place, miss = place[known], miss[known]
    count = days[place] - 3.0 + SCATTER_WORTH
    bounded = np.minimum(miss**2, 16.0 * variance[place])
    variance[place] += (bounded - variance[place]) / count
    return variance


def opened(learnt: Learnt, kind: str, scatter: Scatter) -> Learnt:
    """After a visit of this kind: what it may have changed is learnt anew, from the site file on."""
    place = _changed_by(kind)
    if not len(place):
        return learnt
    mean, covariance, days = learnt.mean.copy(), learnt.covariance.copy(), learnt.days.copy()
    covariance[place, :] = 0.0
    covariance[:, place] = 0.0
    covariance[np.ix_(place, place)] = scatter.tolerance[np.ix_(place, place)]
    mean[place] = 0.0 if kind == "pump-lifted" else mean[place]
    days[place] = 0.0
    return Learnt(mean, covariance, days, learnt.scatter)


def forgotten(recent: Floats, kind: str) -> Floats:
    """Recent vectors without what a visit of this kind changed: days before it are days of another installation."""
    kept = recent.copy()
    kept[:, _changed_by(kind)] = np.nan
    return kept


def _changed_by(kind: str) -> np.ndarray:
    names = OPENED_BY.get(kind, ())
    return np.array([p for name, p in PLACE.items() if name.rstrip("0123456789") in names], np.int64)
