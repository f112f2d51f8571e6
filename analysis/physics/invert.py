"""Solve an increasing function for its argument, for whole arrays at once.

Flow: pump_curve.py, operating_point.py -> HERE. Never: a Python loop over elements.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def solve_increasing(function: Callable[[Floats], Floats], target: Floats, low: Floats, high: Floats) -> Floats:
    """Argument between `low` and `high` where `function` reaches `target`, by bisection.

    The nearer end where the target lies outside; NaN where target or function is NaN. The bracket shrinks by
    2**-44, below what any measurement resolves.
    """
    left, right = np.array(low, float), np.array(high, float)
    for _ in range(44):
        middle = 0.5 * (left + right)
        below = function(middle) < target
        left = np.where(below, middle, left)
        right = np.where(below, right, middle)
    answer = 0.5 * (left + right)
    return np.where(np.isnan(target) | np.isnan(function(answer)), np.nan, answer)
