"""Tables that answer by index arithmetic: several quantities at once, straight lines between nodes.

Flow: whatever iterates is tabulated once per site -> HERE -> expected.py looks rows up.
Every answer depends on its own input alone, bit for bit: additions and multiplications element by element, no sums.
Never: extrapolation (the edge's value is held; NaN in, NaN out).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """K quantities over n evenly spaced nodes: `values` float64[n, K]."""

    start: float
    step: float
    values: Floats

    def __call__(self, x: Floats) -> list[Floats]:
        """The K quantities at `x`, float64[m] each."""
        low, weight, unknown = _cell(x, self.start, self.step, len(self.values))
        below = self.values.take(low, axis=0)
        low += 1
        above = self.values.take(low, axis=0)
        above -= below
        above *= weight[:, None]
        above += below
        return _columns(above, unknown)


@dataclass(frozen=True)
class Plane:
    """K quantities over n by m evenly spaced nodes: `values` float64[n, m, K]."""

    start: tuple[float, float]
    step: tuple[float, float]
    values: Floats

    def __call__(self, x: Floats, y: Floats) -> list[Floats]:
        """The K quantities at (x, y), float64[m] each."""
        rows, columns, depth = self.values.shape
        low, along, unknown_x = _cell(x, self.start[0], self.step[0], rows)
        beside, across, unknown_y = _cell(y, self.start[1], self.step[1], columns)
        flat = self.values.reshape(rows * columns, depth)
        low *= columns
        low += beside
        across, along = across[:, None], along[:, None]
        near = _between(flat, low, across)
        low += columns
        far = _between(flat, low, across)
        far -= near
        far *= along
        far += near
        unknown = unknown_y if unknown_x is None else unknown_x if unknown_y is None else unknown_x | unknown_y
        return _columns(far, unknown)


def _between(flat: Floats, low: NDArray[np.int64], weight: Floats) -> Floats:
    below = flat.take(low, axis=0)
    above = flat.take(low + 1, axis=0)
    above -= below
    above *= weight
    above += below
    return above


def _cell(
    x: Floats, start: float, step: float, nodes: int
) -> tuple[NDArray[np.int64], Floats, NDArray[np.bool_] | None]:
    """Lower node, share of the way to the next, and where `x` is NaN (None: nowhere)."""
    place = (x - start) * (1.0 / step)
    np.minimum(np.maximum(place, 0.0, out=place), nodes - 1.0, out=place)
    unknown: NDArray[np.bool_] | None = np.isnan(place)
    if np.any(unknown):
        place[unknown] = 0.0
    else:
        unknown = None
    low = place.astype(np.int64)
    np.minimum(low, nodes - 2, out=low)
    place -= low
    return low, place, unknown


def _columns(found: Floats, unknown: NDArray[np.bool_] | None) -> list[Floats]:
    if unknown is not None:
        found[unknown] = np.nan
    return [found[:, k] for k in range(found.shape[1])]
