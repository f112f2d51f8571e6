"""In what steps a channel reads, as its values tell: a coarse sensor stands still until what it measures has moved by a step.

Flow: a column of readings -> HERE -> causes/sensor_fault.py.
Never: judgement.
"""

import numpy as np

from analysis.rows import Floats

STEPS = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.025, 0.02, 0.01)
"""In which displays and converters count, the coarsest first (common practice, no source)."""
WHOLE = 1e-3  # of a step: rounding of the number itself, and of sums in the logger
SINGLE = 2.0**-23  # of the value: rounding where it was kept as a 32-bit number (IEEE 754)


def reading_step(values: Floats) -> float:
    """The coarsest usual step that all values are whole multiples of; 0 where there is none, or nothing but zeros and gaps.

    values
        In the channel's unit, NaN where not read. One value alone tells too: that 43.37 m is read in whole metres is out of the
        question, and that 43 m is read in hundredths is one in a hundred.
    """
    known = np.unique(values[np.isfinite(values)])
    if not known.any():
        return 0.0
    for step in STEPS:
        of_step = known / step
        if (np.abs(of_step - np.rint(of_step)) < WHOLE + SINGLE * np.abs(of_step)).all():
            return step
    return 0.0
