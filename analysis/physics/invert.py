"""Solve an increasing function for its argument, for whole arrays at once.

Flow: pump_curve.py, operating_point.py -> HERE. Never: a Python loop over elements.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


CUT, SECANTS = 16, 12
FEW = 512
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


def falls_to_zero(function: Callable[[Floats], Floats], low: Floats, high: Floats, close: float) -> Floats:
    """Where a falling function crosses zero between `low` and `high`, element by element, within `close` of the argument.

    Two cuts into sixteenths leave a bracket that neither a bend nor a jump of the function upsets; secants that are kept within it
    (Illinois) do the rest. `low` where it is nowhere above zero. `function` must take a further axis before those of `low`.
    """
    width = high - low
    inner = (np.arange(1, CUT) / CUT).reshape(-1, *(1,) * low.ndim)
    for _ in range(2):
        above = function(low + inner * width) > 0
        low, width = low + np.logical_and.accumulate(above).sum(axis=0) / CUT * width, width / CUT
    high = low + width
    miss_low, miss_high = function(low), function(high)
    side = np.zeros(low.shape, np.int8)
    for _ in range(SECANTS):
        fall = miss_low - miss_high
        at = np.where(fall > 0, low + miss_low * (high - low) / np.where(fall > 0, fall, 1.0), low)
        miss = function(at)
        above = miss > 0
        # the end that stays a second time counts half, or it would stay for ever
        miss_high = np.where(above, np.where(side == 1, 0.5 * miss_high, miss_high), miss)
        miss_low = np.where(above, miss, np.where(side == -1, 0.5 * miss_low, miss_low))
        step = np.where(above, at - low, high - at)
        low, high, side = np.where(above, at, low), np.where(above, high, at), np.where(above, np.int8(1), np.int8(-1))
        if (np.minimum(step, np.abs(miss)) <= close).all():
            break
    return at


def settled(answer: Callable[[Floats], Floats], start: Floats, close: float, rounds: int) -> Floats:
    """Where `answer` gives its own argument back, element by element, from `start` by secants; NaN answers count as 0.

    `answer` falls (what a pump lifts, against the head that its flow makes), so no step is longer than the miss itself.
    Until all misses are below `close`, or for so many rounds.
    """
    at, before, missed_before = start, start, np.zeros_like(start)
    for number in range(rounds):
        missed = answer(at) - at
        if not np.isfinite(missed).all():
            missed = np.nan_to_num(missed)
        if (np.abs(missed) < close).all():
            break
        moved = missed_before - missed
        steep = np.where((number > 0) & (np.abs(moved) > 1e-15), (at - before) / np.where(moved == 0, 1.0, moved), 0.5)
        before, missed_before = at, missed
        at = at + np.clip(steep, 0.0, 1.0) * missed
    return at
