"""Why a physical model gives no value, or a value that is not a plain lookup.

Flow: pump_curve.py, array_power.py, system_curve.py, operating_point.py -> HERE -> expected.py.
Never: words for users (the causes and pages have their own).
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray


class Reason(IntEnum):
    """One code a value. Only OK and NOT_LIFTING carry a number; all others come with NaN."""

    OK = 0
    NOT_LIFTING = 1  # too slow or too weak for this head: the flow is 0, and that is known
    MISSING = 2  # an input is NaN
    IMPOSSIBLE = 3  # an input is negative
    HEAD_OUTSIDE = 4  # further from the table's heads than the model is good for
    TOO_FAST = 5  # speed above the table's
    TOO_STRONG = 6  # power above what the fastest speed takes at this head
    BEYOND_RUN_OUT = 7  # more flow than the table reaches: head too low for this speed
    BEYOND_SHUT_OFF = 8  # no speed within the table's range lifts this head at this flow
    NO_SPEED = 9  # the table has no speeds, so speed is only relative
    TOO_SLOW = 10  # speed far below the table's slowest
    OUT_OF_RANGE = 11  # beyond what the model, or any honest instrument, knows: another unit perhaps
    DARK = 12  # night, and nothing fed: nothing is asked


@dataclass(frozen=True)
class Answer:
    """Values with their uncertainty and reason, all of one shape.

    value
        NaN wherever the reason is above NOT_LIFTING.
    fit_std
        Standard uncertainty of the model within its table: misfit, rounding, distance from the rows.
    tolerance_std
        What this one pump may differ from its datasheet: the same for all of its readings (a baseline can learn it).
    reason
        Reason codes, uint8.
    """

    value: NDArray[np.float64]
    fit_std: NDArray[np.float64]
    tolerance_std: NDArray[np.float64]
    reason: NDArray[np.uint8]

    @property
    def std(self) -> NDArray[np.float64]:
        """Both parts together."""
        return np.hypot(self.fit_std, self.tolerance_std)
