"""Arithmetic over columns that the row physics is written in: what an instrument can say, roots of squares, rows put back in their places.

Flow: HERE -> row_physics.py. Element by element; never sums over rows.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.rows import Floats
from logger.record.channels import CHANNELS

RUNS_MOST = 0.02
"""Results are copied run by run where the rows in daylight make few runs, else one by one."""


def within(values: Floats, channel: str) -> Floats:
    """NaN where no instrument can honestly say so much or so little: another unit, or no reading. Readings that come in through a gateway
    or a file are refused there already."""
    known = CHANNELS[channel]
    off = values > known.highest
    off |= values < known.lowest
    return np.where(off, np.nan, values) if off.any() else values


def root_of_squares(parts: tuple[Floats, ...], out: Floats, constant: float = 0.0) -> None:
    """Root of the parts' squares and a constant; the parts are used up."""
    total = parts[0]
    total *= total
    for part in parts[1:]:
        part *= part
        total += part
    if constant:
        total += constant
    np.sqrt(total, out=out)


def put_back(which: NDArray[np.int64], found: Floats, target: Floats) -> None:
    """Put the rows worked on back among the block's."""
    cuts = np.flatnonzero(np.diff(which) != 1) + 1
    if len(cuts) > RUNS_MOST * len(which):
        target[:, which] = found
        return
    ends = [*cuts.tolist(), len(which)]
    low = 0
    for high in ends:
        start = int(which[low])
        target[:, start : start + high - low] = found[:, low:high]
        low = high
