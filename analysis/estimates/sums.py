"""Sums over whole days and their parts, the same in every bit however the rows were cut into blocks.

Flow: estimates/*.py -> HERE. bincount adds one row after the other, so a bin's sum depends on its own rows alone.
Never: a sum whose order depends on the length of an array (np.sum, np.mean).
"""

import numpy as np
from numpy.typing import NDArray

from analysis.rows import Floats


class Sums:
    """Sums of columns over the rows that `which` picks, by bin."""

    def __init__(self, which: NDArray[np.bool_], bin_of_row: NDArray[np.int64], shape: tuple[int, ...]) -> None:
        self._rows = slice(None) if which.all() else np.flatnonzero(which)
        self._bins = bin_of_row[self._rows]
        self._shape = shape
        self._count = int(np.prod(shape))

    def of(self, column: Floats) -> Floats:
        """Sum by bin; float64 of `shape`. NaN in a picked row makes its bin NaN."""
        return np.asarray(np.bincount(self._bins, column[self._rows], self._count), np.float64).reshape(self._shape)

    def count(self) -> Floats:
        """Rows by bin."""
        return np.bincount(self._bins, minlength=self._count).astype(float).reshape(self._shape)


def log_ratio(measured: Floats, expected: Floats, enough: NDArray[np.bool_]) -> Floats:
    """log(measured / expected) where there is enough of both, else NaN."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(enough & (measured > 0) & (expected > 0), np.log(measured / expected), np.nan)


def mean(total: Floats, weight: Floats, enough: NDArray[np.bool_]) -> Floats:
    """total / weight where there is enough, else NaN."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(enough, total / weight, np.nan)
