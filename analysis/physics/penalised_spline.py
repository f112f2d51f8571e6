"""A smooth curve through few, noisy, uneven points: cubic B-splines with a roughness penalty.

Flow: centrifugal.py -> HERE. The penalty's null space is a parabola, so with little data the curve is one.
Never: I/O, pandas; nothing of pumps is known here.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

DEGREE = 3
SEGMENTS = 9
WEIGHTS = np.array([0.02, 0.1, 0.5, 2.5, 12.0, 60.0])  # roughness weights that `choose_weight` tries
FEW = 10  # below this many different points only a parabola is asked for

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Basis:
    """Cubic B-splines on even knots from 0 to `top`."""

    top: float
    segments: int = SEGMENTS

    @property
    def size(self) -> int:
        """Number of coefficients."""
        return self.segments + DEGREE

    def matrix(self, x: Floats) -> Floats:
        """One row a point, one column a coefficient; x is held within 0 to `top`."""
        inside = np.clip(x, 0.0, self.top * (1 - 1e-12))
        return np.asarray(self._splines(inside), np.float64)

    @cached_property
    def _splines(self) -> BSpline:
        """All of them as one spline of many values: the same figures as SciPy's design matrix, which is a sparse one and takes long to make."""
        step = self.top / self.segments
        knots = step * np.arange(-DEGREE, self.segments + DEGREE + 1)
        return BSpline.construct_fast(knots, np.eye(self.size), DEGREE)

    def roughness(self, order: int = 3) -> Floats:
        """Differences of the coefficients: 0 for a polynomial of degree below `order`, in units of the whole span."""
        return np.diff(np.eye(self.size), order, axis=0) * float(self.segments) ** (order - 0.5) / 10.0**order


def choose_weight(basis: Basis, x: Floats, y: Floats, sigma: Floats, stiff: bool = False) -> float:
    """The roughness weight with the least generalised cross-validation score; the stiffest where points are few or `stiff`.

    The factor 1.4 on the degrees of freedom guards against undersmoothing (Kim and Gu 2004, from memory).
    """
    if stiff or len(np.unique(np.round(x / basis.top, 3))) < FEW:
        return float(WEIGHTS[-1])
    design = basis.matrix(x) / sigma[:, None]
    target, rough = y / sigma, basis.roughness()
    scores = []
    for weight in WEIGHTS:
        normal = design.T @ design + weight**2 * rough.T @ rough + 1e-9 * np.eye(basis.size)
        hat = design @ np.linalg.solve(normal, design.T)
        left = target - hat @ target
        free = max(len(x) - 1.4 * float(np.trace(hat)), 1e-3 * len(x))
        interpolates = np.trace(hat) > 0.5 * len(x)
        scores.append(np.inf if interpolates else float(left @ left) / free**2)
    return float(WEIGHTS[int(np.argmin(scores))])
