"""Slopes of residuals by small steps ahead, for least squares within bounds.

Flow: centrifugal.py, single_diode.py -> HERE -> scipy's `least_squares`, which would find the same slopes by itself, bit for bit, but spends
as much on looking at each answer as a short list of residuals takes to be worked out.
Never: I/O, pandas; nothing of pumps or modules is known here.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Residuals = Callable[..., Floats]

STEP = float(np.sqrt(np.finfo(float).eps))


def with_slopes(residuals: Residuals, low: Floats, high: Floats) -> tuple[Residuals, Residuals]:
    """The residuals (n,) of parameters (k,) and whatever else follows, and their slopes (n, k): `fun` and `jac` of `least_squares`.

    A slope is that of a step ahead by `STEP` of the parameter, and of no less than `STEP`; back where that leads out of the bounds
    `low` to `high`, (k,) each.
    """
    newest: list[Any] = [b"", None]

    def fun(theta: Floats, *more: Any) -> Floats:
        newest[:] = theta.tobytes(), residuals(theta, *more)
        return np.asarray(newest[1], np.float64)

    def jac(theta: Floats, *more: Any) -> Floats:
        here = newest[1] if newest[0] == theta.tobytes() else residuals(theta, *more)
        steps = _within(theta, STEP * np.where(theta >= 0, 1.0, -1.0) * np.maximum(1.0, np.abs(theta)), low, high)
        slopes = np.empty((len(theta), len(here)))
        for place, step in enumerate(steps):
            ahead = theta.copy()
            ahead[place] += step
            slopes[place] = (residuals(ahead, *more) - here) / (ahead[place] - theta[place])
        return slopes.T

    return fun, jac


def _within(theta: Floats, steps: Floats, low: Floats, high: Floats) -> Floats:
    """The steps, turned round where they lead out of the bounds; as long as there is room where there is too little on either side."""
    below, above = theta - low, high - theta
    out, fits = (theta + steps < low) | (theta + steps > high), np.abs(steps) <= np.maximum(below, above)
    return np.where(fits, np.where(out, -steps, steps), np.where(above >= below, above, -below))
