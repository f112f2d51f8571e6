"""Tables that answer by index arithmetic: several quantities over one or two inputs, straight lines between nodes.

Flow: whatever iterates is tabulated once per site -> HERE -> expected.py looks rows up.
Every answer depends on its own input alone, bit for bit: additions and multiplications element by element, no sums.
Never: extrapolation (the edge's value is held; NaN in, NaN out).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Cells = tuple[Places, Floats]
"""Of each x the lower node of its cell, and the share of the way to the next; float64[m]."""


@dataclass(frozen=True)
class Line:
    """K quantities over n evenly spaced nodes: `values` float64[n, K]."""

    start: float
    step: float
    values: Floats

    @cached_property
    def _pieces(self) -> list[tuple[Floats, Floats]]:
        """By quantity: value at each cell's lower node, and the rise over the cell."""
        return [
            (np.ascontiguousarray(self.values[:-1, k]), np.ascontiguousarray(np.diff(self.values[:, k])))
            for k in range(self.values.shape[1])
        ]

    def __call__(self, x: ArrayLike, only: Sequence[int] | None = None) -> list[Floats]:
        """The quantities at `x`, of its shape: all K, or those numbered in `only`, in that order."""
        return self.of(self.cells(x), range(self.values.shape[1]) if only is None else only)

    def cells(self, x: ArrayLike) -> Cells:
        """Where `x` lies, for `of`: to be asked once where several questions follow."""
        return _cell(np.asarray(x, float), self.start, self.step, len(self.values))

    def of(self, cells: Cells, only: Sequence[int]) -> list[Floats]:
        """The quantities numbered in `only`, in that order, where `cells` says; float64[m] each."""
        pieces = self._pieces
        return [_piece(*pieces[k], *cells) for k in only]


@dataclass(frozen=True)
class Plane:
    """K quantities over n by m evenly spaced nodes: `values` float64[n, m, K]."""

    start: tuple[float, float]
    step: tuple[float, float]
    values: Floats

    @cached_property
    def _pieces(self) -> list[tuple[Floats, Floats, Floats, Floats]]:
        """By quantity and cell: value at the lowest corner, rises along both sides, and the twist."""
        found = []
        for k in range(self.values.shape[2]):
            z = self.values[:, :, k]
            along, across = z[1:, :-1] - z[:-1, :-1], z[:-1, 1:] - z[:-1, :-1]
            twist = z[1:, 1:] - z[1:, :-1] - across
            base, along, across, twist = (np.ravel(piece) for piece in (z[:-1, :-1], along, across, twist))
            found.append((base, along, across, twist))
        return found

    def __call__(self, x: ArrayLike, y: ArrayLike, only: Sequence[int] | None = None) -> list[Floats]:
        """The quantities at (x, y), of their broadcast shape, numbers as arrays: all K, or those numbered in `only`, in that order."""
        rows, columns, _ = self.values.shape
        x, y = np.asarray(x, float), np.asarray(y, float)
        if x.shape != y.shape:
            x, y = np.broadcast_arrays(x, y)
        place, along = _cell(x, self.start[0], self.step[0], rows)
        beside, across = _cell(y, self.start[1], self.step[1], columns)
        place *= columns - 1
        place += beside
        pieces = self._pieces
        answers = []
        for k in range(len(pieces)) if only is None else only:
            base, rise_along, rise_across, twist = pieces[k]
            found = _piece(rise_along, twist, place, across)
            found *= along
            found += _piece(base, rise_across, place, across)
            answers.append(found)
        return answers


def _piece(value: Floats, rise: Floats, low: Places, weight: Floats) -> Floats:
    # mode="clip" spares NumPy's slower checked path; the places are within already
    found = rise.take(low, mode="clip")
    found *= weight
    found += value.take(low, mode="clip")
    return found


def _cell(x: Floats, start: float, step: float, nodes: int) -> tuple[Places, Floats]:
    """Lower node and share of the way to the next: NaN where `x` is, at a node that exists."""
    weight = np.asarray(x - start)  # of a single number NumPy makes no array by itself
    weight *= 1.0 / step
    np.minimum(np.maximum(weight, 0.0, out=weight), nodes - 1.0, out=weight)
    with np.errstate(invalid="ignore"):
        low = weight.astype(np.int64)
    np.minimum(np.maximum(low, 0, out=low), nodes - 2, out=low)
    weight -= low
    return low, weight
