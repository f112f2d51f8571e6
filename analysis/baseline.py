"""What this one installation does when healthy, in the few named parameters that an engineer would ask for.

Flow: learning.py (what the engine learnt of the day's vector), scatter.py (the parameters, their tolerances) -> HERE -> expected side, people.
A view: nothing is learnt here. Never: rows, judgement of causes.

Shares are natural logs: 0 = as the site file says, -0.05 = 5 % less.
"""

from dataclasses import dataclass

import numpy as np

from analysis.estimates.scatter import Scatter
from analysis.estimates.vector import SIZE
from analysis.factors import NAMES, Factors
from analysis.learning import Learnt
from analysis.rows import Floats
from analysis.uncertainty import COVERAGE, prior
from logger.record.site_facts import SiteFacts

TOLD = 0.9
"""A parameter whose standard uncertainty is still above this share of the one before learning was not told of by these sensors."""
FACTOR_OF = {
    "flow": ("flow",),
    "power": ("power", "leads"),
    "array_current": ("array_current",),
    "array_voltage": ("array_voltage",),
    "level_offset_m": ("level_offset_m",),
    "drawdown": ("drawdown",),
    "friction": ("friction",),
    "motor_current": ("motor_current",),
    "meter": ("meter",),
}
"""Which parameters make each factor of the expected side; the air's own (`clear_sky`) stays as its tolerance leaves it."""


@dataclass(frozen=True)
class Parameter:
    """One named parameter as learnt.

    value, std: with its standard uncertainty, in `unit` ("share": a natural log; "m").
    tolerance: half-width that 19 of 20 new installations keep, in the same unit.
    told: whether anything measured here speaks of it; else `value` is what its fellows leave of the site file's.
    """

    name: str
    unit: str
    value: float
    std: float
    tolerance: float
    told: bool

    @property
    def beyond_tolerance(self) -> bool:
        """Surely (by its own standard uncertainty) off by more than its tolerance: a fault, not a property."""
        return abs(self.value) - self.std > self.tolerance


@dataclass(frozen=True)
class Baseline:
    """The named parameters together. `values` (k,) and `covariance` (k, k) in the order of `parameters`."""

    parameters: tuple[Parameter, ...]
    values: Floats
    covariance: Floats
    days: float
    """Sunny days behind the best known entry."""

    def __getitem__(self, name: str) -> Parameter:
        """KeyError: no parameter of that name."""
        return self.parameters[self._place(name)]

    def _place(self, name: str) -> int:
        names = [parameter.name for parameter in self.parameters]
        if name not in names:
            raise KeyError(f"{name!r}: one of {', '.join(names)} expected")
        return names.index(name)

    def together(self, shares: dict[str, float]) -> tuple[float, float]:
        """A weighted sum of parameters and its standard uncertainty: what is known better than each of them, as flow and meter.

        KeyError: no parameter of that name.
        """
        weights = np.zeros(len(self.parameters))
        for name, weight in shares.items():
            weights[self._place(name)] = weight
        return float(weights @ self.values), float(np.sqrt(weights @ self.covariance @ weights))

    def factors(self, facts: SiteFacts) -> Factors:
        """The factors with their covariance, to hand to `SiteModel.expect`.

        To first order in the logs for the covariance; `clear_sky`, of which no parameter tells, as `uncertainty.prior` has it.
        """
        start = prior(facts)
        values, slopes = start.vector(), np.zeros((len(NAMES), len(self.parameters)))
        covariance = np.array(start.covariance)
        told = [NAMES.index(name) for name in FACTOR_OF]
        for place, names in zip(told, FACTOR_OF.values(), strict=True):
            for name in names:
                slopes[place, self._place(name)] = 1.0
            amount = float(slopes[place] @ self.values)
            is_log = not NAMES[place].endswith("_m")
            values[place] = np.exp(amount) if is_log else amount
            slopes[place] *= values[place] if is_log else 1.0
        covariance[told, :] = 0.0
        covariance[:, told] = 0.0
        return start.with_vector(values, covariance + slopes @ self.covariance @ slopes.T)


def baseline_of(learnt: Learnt, scatter: Scatter) -> Baseline:
    """The named parameters behind what was learnt.

    Parameters
    ----------
    learnt : Learnt
        As `learning.learn` returns it, or `close.learnt_of(plant, memory)` of a running site.
    scatter : Scatter
        The site's own, `slow.slow_bench(plant).scatter`.

    Returns
    -------
    Baseline

    Notes
    -----
    The engine learns entries and parameters jointly (Kalman, from the prior that the tolerances leave), so that these are the
    least-squares amounts of the parameters in what was learnt, each with what the others leave open.

    References
    ----------
    .. [1] R. E. Kalman, J. Basic Engineering 82, 35-45, 1960.
    """
    values, covariance = learnt.joint[SIZE:], learnt.joint_covariance[SIZE:, SIZE:]
    stds = np.sqrt(np.diag(covariance))
    parameters = tuple(
        Parameter(name, mode.unit, float(value), float(std), COVERAGE * mode.std, bool(std < TOLD * mode.std))
        for (name, mode), value, std in zip(scatter.modes.items(), values, stds, strict=True)
    )
    return Baseline(parameters, values, covariance, float(learnt.days.max()))
