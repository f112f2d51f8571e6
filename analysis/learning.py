"""What this one installation does when sound: learnt over its first sound days, then held.

Flow: estimates (the day's vector), scatter.py -> HERE -> slow.py, first_days.py.
So that a fault is not learnt: later days count for less, and learning stops for good after `DAYS`; an odd day counts for less; what a
new installation's tolerance cannot explain is held back until it is known whether it lasts (first_days.py). A visit opens the named
parameters that it may have changed. Never: a day on which something is suspected.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.estimates.scatter import GROUPS, Scatter
from analysis.estimates.vector import HOURS, PLACE, SIZE
from analysis.rows import Floats
from logger.record.site_facts import VisitKind

DAYS = 16.0  # sunny days per entry; the first two weeks of a new pump (common practice, no source)
GROWTH = 0.003
"""Share a sunny day by which flow or array power may be falling from the first day on: later days tell so much less of what was at first.
A pump worn by a third within four months is a fast one (common practice, no source)."""
GROWING = ("flow", "array_current")
OLDEST = 45.0  # sunny days after the first: nothing more is learnt, however seldom an entry was seen
HUBER = 2.0
"""Of the standard deviations expected of a day; beyond, its weight falls (P. J. Huber, Ann. Math. Stat. 35, 1964)."""
SCATTER_WORTH = 4.0  # the starting guess of the day's scatter counts as so many days
HORIZON_LEAST = 0.08  # log of power lost: less is haze and angle
RAISED = 0.06  # log of power: more is another limit, not the day's own scatter
TAKEN_STD = 0.08  # likewise: how far a limit may lie above the best hour
LIMITS = np.array([PLACE["cap"], PLACE["cv"], PLACE["cn"]])
MOVED = 0.5  # of a day's own scatter: an opened parameter that moves an entry by less leaves it learnt
SUNLIT_STD = np.where(np.abs(np.arange(HOURS) + 0.5 - HOURS / 2) < 4.0, 0.08, 0.3)
"""Log of power, by hour, of one in which the sun was seen: angle, haze, a twig's shade; four hours from noon the season's too (a guess)."""
WELL_KNOWN = 1.5  # times that: nothing is gained
UNTOLD = 6.0  # a guess of the day's scatter may be off by the square root of seven
OPENED_BY: dict[VisitKind, tuple[str, ...]] = {
    "panels-washed": ("array_current",),
    "pump-lifted": ("flow", "power", "leads", "slip", "torque_slope", "motor_current", "friction", "level_sensor_m"),
    "leads-moved": ("leads",),
    "meter-replaced": ("meter",),
    "controller-replaced": ("power", "motor_current", "array_current", "array_voltage"),
    "other": (),
}
"""The named parameters that a visit may have changed. A pump is lifted with riser, cable and level probe. Another controller has other
losses, another tracker and other instruments. What nobody named opens nothing: whatever it was, a change is to be seen."""
ALSO_OPENED: dict[VisitKind, tuple[str, ...]] = {
    "pump-lifted": ("q", "n", "t", "i", "p", "first"),
    "controller-replaced": ("cap", "cv", "cn", "kept", "top"),
}
"""Entries whose own part, beside the named parameters, goes with them: the shape of another pump's curve, another controller's limits."""


@dataclass(frozen=True)
class Learnt:
    """What is known of the day's vector and of the named parameters behind it, together.

    joint, joint_covariance: the vector's entries, then the named parameters in the order of `Scatter.modes`; (SIZE + k,), squared.
    days: learnt by entry (SIZE,). age: sound days since an entry was opened, seen in it or not (SIZE,).
    scatter: variance of a day by entry (SIZE,).
    """

    joint: Floats
    joint_covariance: Floats
    days: Floats
    age: Floats
    scatter: Floats

    @cached_property
    def mean(self) -> Floats:
        """Of the entries (SIZE,)."""
        return self.joint[:SIZE]

    @cached_property
    def covariance(self) -> Floats:
        """Of the entries (SIZE, SIZE)."""
        return self.joint_covariance[:SIZE, :SIZE]

    @cached_property
    def hours_of_sun(self) -> Floats:
        """What each hour of the sun's way was learnt to give, NaN where nothing was (HOURS,)."""
        hours = slice(PLACE["s0"], PLACE["s0"] + HOURS)
        return np.where(self.days[hours] > 0, self.mean[hours], np.nan)

    @cached_property
    def always_there(self) -> Floats:
        """Variance (SIZE,) of hours that a horizon has always dimmed: with the season the sun passes it elsewhere."""
        variance = np.zeros(SIZE)
        first, stop = PLACE["s0"], PLACE["s0"] + HOURS
        if self.mean[first:stop].min() >= -HORIZON_LEAST:
            return variance
        dimmed = np.zeros(HOURS + 2)
        dimmed[1:-1] = np.abs(np.minimum(self.mean[first:stop], 0.0))
        wide = np.maximum(dimmed[1:-1], np.maximum(dimmed[2:], dimmed[:-2]))
        variance[first:stop] = np.where(wide > HORIZON_LEAST, (0.6 * wide) ** 2, 0.0)
        return variance

    @cached_property
    def day_variance(self) -> Floats:
        """A day's own variance, wider while few days have told it (as Student's t is wider than a normal law)."""
        return self.scatter * (1.0 + UNTOLD / (1.0 + self.days))

    @cached_property
    def most_days(self) -> dict[str, float]:
        """By group, sunny days in which its best known entry was learnt."""
        return {group: float(self.days[places].max()) for group, places in GROUPS.items()}

    def of_group(self, group: str) -> tuple[Floats, Floats, Floats]:
        """At a group's places: covariance, `day_variance`, `always_there`. Never to be written into: learnt once, asked for many times a day."""
        kept: dict[str, tuple[Floats, Floats, Floats]] = self.__dict__.setdefault("_of_group", {})
        if group not in kept:
            places = GROUPS[group]
            block = self.covariance[places[:, None], places]
            kept[group] = block, self.day_variance[places], self.always_there[places]
        return kept[group]


def beginning(scatter: Scatter) -> Learnt:
    """Before the first day: the site file, with its tolerances."""
    made = _made_of(scatter)
    size = made.shape[0]
    return Learnt(np.zeros(size), (made * _prior_of(scatter)) @ made.T, np.zeros(SIZE), np.zeros(SIZE), scatter.own)


def learn(learnt: Learnt, vector: Floats, scatter: Scatter) -> Learnt:
    """One sound day more (a Kalman step on the entries that it has)."""
    learnt = _raised(learnt, vector, scatter)
    cap = PLACE["cap"]
    if _limit_known(learnt, scatter) and vector[cap] < learnt.mean[cap] - RAISED:
        vector = vector.copy()
        vector[LIMITS] = np.nan  # what has been taken once can be taken again: a lower limit is never learnt
    seen = ~np.isnan(vector) & (learnt.days < DAYS) & (learnt.age < OLDEST)
    if not seen.any():
        return learnt
    place = np.flatnonzero(seen)
    noise = scatter.shared[np.ix_(place, place)] + np.diag(learnt.scatter[place])
    for name in GROWING:
        grown = (GROWTH * learnt.age * scatter.modes[name].direction)[place]
        noise += np.outer(grown, grown)
    part = learnt.joint_covariance[:, place]
    miss = vector[place] - learnt.mean[place]
    foretold = part[place] + noise
    variance = foretold.diagonal()
    odd = np.maximum(miss**2 / (HUBER**2 * variance), 1.0)
    gain = np.linalg.solve(foretold + np.diag((odd - 1.0) * variance), part.T).T
    days = learnt.days.copy()
    days[place] += 1.0
    return Learnt(
        learnt.joint + gain @ miss,
        learnt.joint_covariance - gain @ part.T,
        days,
        learnt.age + _aged(seen),
        _scatter(learnt, place, miss, days),
    )


def _aged(seen: np.ndarray) -> Floats:
    """One day for every entry of a group that this day tells of."""
    aged = np.zeros(SIZE)
    for places in GROUPS.values():
        aged[places] = float(seen[places].any())
    aged[seen] = 1.0
    return aged


def _limit_known(learnt: Learnt, scatter: Scatter) -> bool:
    cap = PLACE["cap"]
    return bool(learnt.covariance[cap, cap] < 0.5 * scatter.tolerance[cap, cap])


def _raised(learnt: Learnt, vector: Floats, scatter: Scatter) -> Learnt:
    """No limit stands below what has been taken: a ceiling learnt too low, or never met, rises to the day's best hour."""
    taken, cap = vector[PLACE["top"]], PLACE["cap"]
    if np.isnan(taken) or (_limit_known(learnt, scatter) and taken < learnt.mean[cap] + RAISED):
        return learnt
    mean, covariance, days = learnt.joint.copy(), learnt.joint_covariance.copy(), learnt.days.copy()
    covariance[LIMITS, :] = 0.0
    covariance[:, LIMITS] = 0.0
    covariance[LIMITS, LIMITS] = scatter.tolerance[LIMITS, LIMITS]
    covariance[cap, cap] = TAKEN_STD**2
    mean[LIMITS] = (taken, 0.0, 0.0)
    days[LIMITS] = 0.0
    age = learnt.age.copy()
    age[LIMITS] = 0.0
    return Learnt(mean, covariance, days, age, learnt.scatter)


def _scatter(learnt: Learnt, place: np.ndarray, miss: Floats, days: Floats) -> Floats:
    """The day's own variance, from how far days fell from what was learnt, once there is something learnt."""
    variance = learnt.scatter.copy()
    known = days[place] > 3.0
    place, miss = place[known], miss[known]
    count = days[place] - 3.0 + SCATTER_WORTH
    bounded = np.minimum(miss**2, 16.0 * variance[place])
    variance[place] += (bounded - variance[place]) / count
    return variance


def opened(learnt: Learnt, kind: VisitKind, scatter: Scatter) -> Learnt:
    """After a visit of this kind: the parameters that it may have changed are as their tolerance leaves them, all others as learnt.

    An entry is what its named parameters make of it and a rest of its own. That rest is parted from the parameters, what is
    opened starts anew, and entries are put together again: one that a lasting parameter shapes too keeps that part.
    """
    places = _opened_parts(kind, scatter)
    return _anew(learnt, places, _changed(kind, scatter), scatter) if len(places) else learnt


def group_anew(learnt: Learnt, group: str, scatter: Scatter) -> Learnt:
    """As before the first day in all entries of a group and in the named parameters that shape these alone; all others as learnt."""
    others = np.ones(SIZE, bool)
    others[GROUPS[group]] = False
    alone = [SIZE + place for place, mode in enumerate(scatter.modes.values()) if not mode.direction[others].any()]
    return _anew(learnt, np.array([*GROUPS[group], *alone], np.int64), ~others, scatter)


def _anew(learnt: Learnt, places: np.ndarray, changed: np.ndarray, scatter: Scatter) -> Learnt:
    """`places`: among entries' own rests and named parameters, those that start anew; `changed`: entries (SIZE,) that are then not learnt."""
    made = _made_of(scatter)
    parted = 2.0 * np.eye(len(made)) - made  # entries less what the parameters make: the inverse of putting together
    parts, covariance = parted @ learnt.joint, parted @ learnt.joint_covariance @ parted.T
    parts[places] = 0.0
    covariance[places, :] = 0.0
    covariance[:, places] = 0.0
    covariance[places, places] = _prior_of(scatter)[places]
    whole = made @ covariance @ made.T
    kept = np.where(changed, 0.0, 1.0)
    return Learnt(made @ parts, 0.5 * (whole + whole.T), kept * learnt.days, kept * learnt.age, learnt.scatter)


def sunlit(learnt: Learnt, hours: np.ndarray, scatter: Scatter) -> Learnt:
    """After hours (bool, HOURS) in which the sun was seen on an array that gave less than it could: no horizon hides it there.

    How much they would give is as open as the array's own parameters; that they are like the other hours is known.
    """
    first = PLACE["s0"]
    places = (hours & (learnt.days[first : first + HOURS] == 0)).nonzero()[0] + first
    if not len(places):
        return learnt
    std = SUNLIT_STD[places - PLACE["s0"]]
    if not (np.sqrt(learnt.covariance[places, places]) > std * WELL_KNOWN).any():
        return learnt
    made = _made_of(scatter)
    parted = 2.0 * np.eye(len(made)) - made
    covariance = parted @ learnt.joint_covariance @ parted.T
    narrower = np.ones(len(made))
    narrower[places] = np.minimum(std / np.sqrt(covariance[places, places]), 1.0)
    whole = made @ (covariance * np.outer(narrower, narrower)) @ made.T
    return Learnt(learnt.joint, 0.5 * (whole + whole.T), learnt.days, learnt.age, learnt.scatter)


def _made_of(scatter: Scatter) -> Floats:
    """Entries and parameters from the entries' own rests and the parameters, (SIZE + k, SIZE + k)."""
    directions = np.array([mode.direction for mode in scatter.modes.values()])
    made = np.eye(SIZE + len(directions))
    made[:SIZE, SIZE:] = directions.T
    return made


def _prior_of(scatter: Scatter) -> Floats:
    return np.concatenate([scatter.rest, [mode.std**2 for mode in scatter.modes.values()]])


def _opened_parts(kind: VisitKind, scatter: Scatter) -> np.ndarray:
    named = [SIZE + place for place, name in enumerate(scatter.modes) if name in OPENED_BY[kind]]
    return np.array([*_own(kind), *named], np.int64)


def _own(kind: VisitKind) -> np.ndarray:
    names = ALSO_OPENED.get(kind, ())
    return np.array([p for name, p in PLACE.items() if name.rstrip("0123456789") in names], np.int64)


def forgotten(recent: Floats, kind: VisitKind, scatter: Scatter) -> Floats:
    """Recent vectors without what a visit of this kind changed: days before it are days of another installation."""
    kept = recent.copy()
    kept[:, _changed(kind, scatter)] = np.nan
    return kept


def _changed(kind: VisitKind, scatter: Scatter) -> np.ndarray:
    """Entries that an opened parameter moves by more than a part of their day's scatter; bool (SIZE,)."""
    changed = np.zeros(SIZE, bool)
    for name in OPENED_BY[kind]:
        changed |= np.abs(scatter.modes[name].std * scatter.modes[name].direction) > MOVED * np.sqrt(scatter.own)
    changed[_own(kind)] = True
    return changed
