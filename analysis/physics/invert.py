"""Solve an increasing function for its argument, for whole arrays at once.

Flow: pump_curve.py, operating_point.py -> HERE. Never: a Python loop over elements.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


FEW = 256
"""So many elements cost hardly more than one: the way is cut into more parts at once."""


def solve_increasing(function: Callable[[Floats], Floats], target: Floats, low: Floats, high: Floats) -> Floats:
    """Argument between `low` and `high` where `function` reaches `target`, by bisection, or by sixteenths for a few elements.

    The nearer end where the target lies outside; NaN where target or function is NaN. The bracket shrinks by
    2**-44, below what any measurement resolves. `function` must take further axes before those of `low`.
    """
    left, width = np.array(low, float), np.asarray(high, float) - low
    rounds, parts = (11, 16) if left.size <= FEW else (44, 2)
    inner = np.arange(1, parts).reshape(-1, *(1,) * left.ndim) / parts
    for _ in range(rounds):
        passed = (function(left + inner * width) < target).sum(axis=0)
        left, width = left + passed / parts * width, width / parts
    answer = left + 0.5 * width
    return np.where(np.isnan(target) | np.isnan(function(answer)), np.nan, answer)
