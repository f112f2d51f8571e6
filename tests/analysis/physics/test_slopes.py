"""Slopes by steps ahead: bit for bit those that scipy finds, also at bounds."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from analysis.physics.slopes import with_slopes

X = np.linspace(0.0, 3.0, 40)
MEASURED = 2.0 * np.exp(-1.3 * X) + 0.4 + 0.02 * np.sin(9.0 * X)


def residuals(theta: np.ndarray, weight: float) -> np.ndarray:
    return weight * (theta[0] * np.exp(-theta[1] * X) + theta[2] - MEASURED)


@pytest.mark.parametrize(
    ("low", "high"),
    [([0, 0, -1], [9, 9, 1]), ([0, 0, -1], [1.5, 9, 0.3]), ([1.9, 1.25, 0.39], [2.1, 1.25 + 1e-9, 0.41]), ([-9, -9, -9], [9, 1e-9, 0])],
)  # fmt: skip
def test_the_same_bits_as_without_slopes(low: list[float], high: list[float]) -> None:
    bounds = np.array(low, float), np.array(high, float)
    start = 0.5 * (bounds[0] + bounds[1])
    plain = least_squares(residuals, start, bounds=bounds, x_scale="jac", args=(2.0,))
    fun, jac = with_slopes(residuals, *bounds)
    found = least_squares(fun, start, jac, bounds=bounds, x_scale="jac", args=(2.0,))
    np.testing.assert_array_equal(found.x, plain.x)
    np.testing.assert_array_equal(found.jac, plain.jac)
