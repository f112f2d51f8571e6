"""What this one installation really does when healthy, learnt from its own first sound days without learning a fault.

Flow: a day's observations (day_observations.py or the estimates) -> HERE -> Factors -> expected side, causes.
Never: rows, judgement of causes. A baseline is a value: `update` returns another one.

How it keeps from learning a fault
- Learning is short: a factor closes once it is known well enough, or after LEARNING_DAYS sound days. What grows afterwards is left in the residuals.
- A factor that needs more than its tolerance was wrong from the first day: it is put back, closed and named in `beyond_tolerance`.
- A visit opens the factors that it may have changed, and no others.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.factors import NAMES, Factors
from analysis.observation import DayEstimate, Observation
from analysis.uncertainty import COVERAGE, prior, tolerances
from logger.record.site_facts import SiteFacts, VisitKind

__all__ = ["Baseline", "DayEstimate", "Observation"]

Floats = NDArray[np.float64]

LEARNING_DAYS = 15
AGE_DAYS = 4.0
"""Later days count for less, by (1 + days open / AGE_DAYS) on their standard uncertainty: what grows from the first day on should be
learnt as it was at the first."""
JUDGED_AFTER_DAYS = 3
"""Sound days before a factor may be called beyond its tolerance."""
ENOUGH_DAYS, WELL_KNOWN, WELL_KNOWN_M = 5, 0.006, 0.15
"""A factor closes after that many days once all that is seen of it can be foretold so well (shares; metres for levels)."""
JOINTLY = 2.5
"""Factors that are only seen together are beyond their tolerance when their sum is that many of its standard deviations off."""
MAIN_SHARE = 0.25
"""Of the sum's variance: factors with less are not named."""
TOLD_APART = 0.5
"""A factor whose standard uncertainty is still above this share of its prior's was not told apart from its fellows: when one
of them is put back, so is it."""
HUBER = 1.5
"""Innovations beyond this many standard deviations are weighted down: P. J. Huber, Ann. Math. Stat. 35, 1964."""
SEASONAL = "level_offset_m"
"""What the season itself moves: a measured level may still move it after it closed, within tolerance and season."""
SEASON_DAYS = 60.0

OPENED_BY: Mapping[VisitKind, tuple[str, ...]] = {
    "panels-washed": ("array_current",),
    "pump-lifted": ("flow", "power", "friction", "motor_current", "level_offset_m"),
    "leads-moved": (),
    "meter-replaced": ("meter",),
    "controller-replaced": ("power", "motor_current", "array_current", "array_voltage"),
    "other": (),
}
"""What a visit may have changed. Another controller has other losses, another tracker and other instruments. Exchanged leads are right
or wrong, there is nothing to learn."""


@dataclass(frozen=True)
class Baseline:
    """The factors as learnt so far. Make one with `Baseline.start(facts)`."""

    values: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    days_open: tuple[int, ...]
    """By factor: sound days since it opened; -1 = closed."""
    beyond_tolerance: tuple[str, ...]
    tolerance: tuple[float, ...]
    season_m: float
    visits: tuple[tuple[str, VisitKind], ...]
    """Still to come, by date."""

    @staticmethod
    def start(facts: SiteFacts) -> "Baseline":
        """Before the first day: the tolerances."""
        first = prior(facts)
        allowed = tolerances(facts)
        visits = tuple(sorted((visit.date.isoformat(), visit.kind) for visit in facts.visits))
        return Baseline(
            tuple(float(v) for v in first.vector()), first.covariance or (), (0,) * len(NAMES), (),
            tuple(allowed[name] for name in NAMES), (facts.well.seasonal_range_m or 0.0) / 2.0, visits,
        )  # fmt: skip

    def factors(self) -> Factors:
        """The factors with their covariance, to hand to `SiteModel.expect`."""
        return Factors().with_vector(np.array(self.values), np.array(self.covariance))

    @property
    def settled(self) -> bool:
        """Something was learnt, and nothing that was observed is still being learnt."""
        return any(days < 0 for days in self.days_open) and not any(days > 0 for days in self.days_open)

    def update(self, day: DayEstimate) -> "Baseline":
        """The baseline after a closed day.

        Parameters
        ----------
        day : DayEstimate
            Only sound running; a day without observations still passes its visits.

        Returns
        -------
        Baseline

        Raises
        ------
        ValueError
            An observation with an unknown factor, or a standard uncertainty that is not above 0.

        Notes
        -----
        Kalman's update, one observation after the other. Closed factors are constants to the gain, so that what is open takes up
        the whole of a change, yet their uncertainty stays in the covariance (after S. F. Schmidt's consider filter, Advances in
        Control Systems 3, 1966; Joseph's form for a gain that is not the optimal one). Huber's weights. An observation that a factor
        beyond its tolerance has a part in teaches nothing. The order of observations is the caller's; keep it.
        """
        opened = self._visited(day.date)
        if not day.observations:
            return opened
        mean, cov = np.array(opened.values), np.array(opened.covariance)
        days_open, touched = np.array(opened.days_open), np.zeros(len(NAMES), bool)
        start = mean.copy()
        for seen in day.observations:
            slopes = _slopes(seen)
            movable = (days_open >= 0) & (slopes != 0.0)
            if any(slopes[NAMES.index(name)] != 0.0 for name in opened.beyond_tolerance):
                movable[:] = False  # its fellows would take up the fault
            touched |= movable
            if opened.season_m and seen.kind == "level" and days_open[NAMES.index(SEASONAL)] < 0:
                place = NAMES.index(SEASONAL)
                movable[place] = True
                cov[place, place] += opened.season_m**2 / SEASON_DAYS
            age = float(days_open[movable].max(initial=0))
            aged = replace(seen, std=seen.std * (1.0 + max(age, 0.0) / AGE_DAYS))
            mean, cov = _absorbed(mean, cov, aged, slopes, movable)
        mean = opened._within_season(mean, start)
        days_open = np.where(touched & (days_open >= 0), days_open + 1, days_open)
        learnt = replace(opened, values=_floats(mean), covariance=_square(cov), days_open=_ints(days_open))
        return learnt._judged(day.observations)._closed(day.observations)

    def _visited(self, date: str) -> "Baseline":
        """The factors opened by the visits up to and on `date`."""
        due = [kind for when, kind in self.visits if when <= date]
        if not due:
            return self
        mean, cov = np.array(self.values), np.array(self.covariance)
        days_open, beyond = list(self.days_open), list(self.beyond_tolerance)
        for name in (name for kind in due for name in OPENED_BY[kind]):
            place = NAMES.index(name)
            cov[place, :] = cov[:, place] = 0.0
            cov[place, place] = (self.tolerance[place] / COVERAGE) ** 2
            mean[place] = _nominal(name)
            days_open[place] = 0
            beyond = [other for other in beyond if other != name]
        left = tuple((when, kind) for when, kind in self.visits if when > date)
        return replace(
            self, values=_floats(mean), covariance=_square(cov), days_open=tuple(days_open),
            beyond_tolerance=tuple(beyond), visits=left,
        )  # fmt: skip

    def _within_season(self, mean: Floats, start: Floats) -> Floats:
        """A closed level keeps within what tolerance and season explain."""
        place = NAMES.index("level_offset_m")
        if self.days_open[place] < 0:
            reach = self.tolerance[place] + self.season_m
            kept = np.clip(mean[place], -reach, reach) if abs(start[place]) <= reach else start[place]
            mean = mean.copy()
            mean[place] = kept
        return mean

    def _judged(self, observations: tuple[Observation, ...]) -> "Baseline":
        """Open factors that need more than their tolerance: put back, closed, named."""
        off = np.array([value - _nominal(name) for name, value in zip(NAMES, self.values, strict=True)])
        cov, tolerance, days_open = np.array(self.covariance), np.array(self.tolerance), np.array(self.days_open)
        std, ripe = np.sqrt(np.diag(cov)), days_open >= JUDGED_AFTER_DAYS
        out = ripe & (np.abs(off) - tolerance > std)
        for seen in observations:
            slopes = np.where(ripe, _slopes(seen), 0.0)
            parts = (slopes * tolerance / COVERAGE) ** 2
            known = float(np.sqrt(slopes @ cov @ slopes))
            if abs(float(slopes @ off)) > JOINTLY * np.sqrt(parts.sum()) + known > 0.0:
                out |= parts > MAIN_SHARE * parts.sum()
        if not out.any():
            return self
        mean = np.array(self.values)
        back = out | ((days_open > 0) & (std > TOLD_APART * np.array(self.tolerance) / COVERAGE))
        for place in np.flatnonzero(back):
            mean[place] = _nominal(NAMES[place])
            cov[place, :] = cov[:, place] = 0.0
            cov[place, place] = (self.tolerance[place] / COVERAGE) ** 2
            days_open[place] = -1
        named = tuple(dict.fromkeys((*self.beyond_tolerance, *(NAMES[i] for i in np.flatnonzero(out)))))
        return replace(
            self, values=_floats(mean), covariance=_square(cov), days_open=_ints(days_open), beyond_tolerance=named
        )

    def _closed(self, observations: tuple[Observation, ...]) -> "Baseline":
        """Close what is known well enough, or was open long enough."""
        cov, days = np.array(self.covariance), np.array(self.days_open)
        known = days >= ENOUGH_DAYS
        for seen in observations:
            slopes = _slopes(seen)
            limit = WELL_KNOWN_M if seen.kind in ("level", "pressure") else WELL_KNOWN
            if float(slopes @ cov @ slopes) > limit**2:
                known &= slopes == 0.0
        return replace(self, days_open=_ints(np.where(known | (days >= LEARNING_DAYS), -1, days)))

    def as_dict(self) -> dict[str, Any]:
        """As JSON values: names to numbers, the covariance's lower half."""
        return {
            "version": 1,
            "names": list(NAMES),
            "values": list(self.values),
            "covariance": [list(row[: i + 1]) for i, row in enumerate(self.covariance)],
            "days_open": list(self.days_open),
            "beyond_tolerance": list(self.beyond_tolerance),
            "tolerance": list(self.tolerance),
            "season_m": self.season_m,
            "visits": [list(visit) for visit in self.visits],
        }

    @staticmethod
    def from_dict(saved: Mapping[str, Any]) -> "Baseline":
        """Back from `as_dict`. ValueError: another version or other factors; start anew from the stored readings."""
        if saved.get("version") != 1 or tuple(saved.get("names", ())) != NAMES:
            raise ValueError(
                f"baseline: version 1 with {', '.join(NAMES)} expected, got version {saved.get('version')!r}"
            )
        lower = saved["covariance"]
        size = len(NAMES)
        full = tuple(tuple(float(lower[max(i, j)][min(i, j)]) for j in range(size)) for i in range(size))
        return Baseline(
            tuple(float(v) for v in saved["values"]), full, tuple(int(v) for v in saved["days_open"]),
            tuple(saved["beyond_tolerance"]), tuple(float(v) for v in saved["tolerance"]), float(saved["season_m"]),
            tuple((when, kind) for when, kind in saved["visits"]),
        )  # fmt: skip


def _nominal(name: str) -> float:
    return 0.0 if name.endswith("_m") else 1.0


def _slopes(seen: Observation) -> Floats:
    strange = set(seen.slopes) - set(NAMES)
    if strange or not seen.std > 0:
        raise ValueError(
            f"observation {seen.kind!r}: unknown factors {sorted(strange)} or std {seen.std!r} not above 0"
        )
    return np.array([seen.slopes.get(name, 0.0) for name in NAMES])


def _absorbed(
    mean: Floats, cov: Floats, seen: Observation, slopes: Floats, movable: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """One observation, robustly: closed factors keep their value but lend their uncertainty."""
    nominal = np.array([_nominal(name) for name in NAMES])
    innovation = seen.value - float(slopes @ (mean - nominal))
    noise = seen.std**2
    expected = float(slopes @ cov @ slopes) + noise
    excess = abs(innovation) / np.sqrt(expected) / HUBER
    if excess > 1.0:
        noise += expected * (excess - 1.0)
        expected *= excess
    gain = np.zeros(len(NAMES))
    if movable.any():
        own = cov[np.ix_(movable, movable)] @ slopes[movable]
        gain[movable] = own / (slopes[movable] @ own + noise)
    keep = np.eye(len(NAMES)) - np.outer(gain, slopes)
    cov = keep @ cov @ keep.T + noise * np.outer(gain, gain)
    return mean + gain * innovation, 0.5 * (cov + cov.T)


def _floats(values: Floats) -> tuple[float, ...]:
    return tuple(float(v) for v in values)


def _ints(values: NDArray[Any]) -> tuple[int, ...]:
    return tuple(int(v) for v in values)


def _square(values: Floats) -> tuple[tuple[float, ...], ...]:
    return tuple(_floats(row) for row in values)
