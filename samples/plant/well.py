"""A well in an aquifer: Theis' response to pumping, written as a few reservoirs so that it can run step by step.

Flow: site facts -> `well_of` -> run.py advances the reservoirs.
Never: the pump.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.special import exp1

from logger.record.site_facts import Well

Floats = NDArray[np.float64]
TIME_CONSTANTS_S = np.array([40.0, 300.0, 2400.0, 18000.0, 150000.0, 1.3e6])
TEST_S = 6 * 3600.0  # the driller's step: what B in a site file stands for


@dataclass(frozen=True)
class Borehole:
    """`share_m_per_m3_h`: steady drawdown of each reservoir per flow; `keep(step_s)` how much of it stays over a step."""

    static_m: float
    seasonal_m: float
    seasonal_doy: float
    share_m_per_m3_h: Floats
    quadratic: float

    def resting_m(self, unix_s: Floats) -> Floats:
        """Resting level over the year, without pumping. [m]"""
        doy = unix_s / 86400.0 % 365.2425
        return self.static_m + 0.5 * self.seasonal_m * np.cos(2 * np.pi * (doy - self.seasonal_doy) / 365.2425)


def theis_drawdown_m(
    flow_m3_d: float, transmissivity_m2_d: float, storage: float, radius_m: float, time_d: Floats
) -> Floats:
    """Drawdown beside a well pumped at a constant flow since time 0 (C. V. Theis, 1935); 0 before. [m]"""
    time = np.asarray(time_d, float)
    u = radius_m**2 * storage / (4 * transmissivity_m2_d * np.maximum(time, 1e-12))
    return np.where(time > 0, flow_m3_d / (4 * np.pi * transmissivity_m2_d) * exp1(np.minimum(u, 700.0)), 0.0)


@lru_cache(maxsize=256)
def reservoirs(transmissivity_m2_d: float, storage: float, radius_m: float) -> tuple[float, ...]:
    """Steady drawdown per flow of reservoirs whose sum follows Theis from half a minute to twelve days. [m per m3/d]"""
    time_s = np.geomspace(30.0, 1.0e6, 80)
    wanted = theis_drawdown_m(1.0, transmissivity_m2_d, storage, radius_m, time_s / 86400.0)
    rises = -np.expm1(-time_s[:, None] / TIME_CONSTANTS_S)
    shares, _ = nnls(np.hstack([rises, np.ones((len(time_s), 1))]) / wanted[:, None], np.ones(len(time_s)))
    shares[0] += shares[-1]  # what comes at once is given to the fastest
    return tuple(shares[:-1])


def well_of(
    well: Well, storage: float, radius_m: float, static_m: float, harder: float, seasonal_doy: float
) -> Borehole:
    """The well of the site file with its own resting level and `harder` times the drawdown of the driller's test."""
    shape = np.array(reservoirs(20.0, storage, radius_m))
    after_test = float((shape * -np.expm1(-TEST_S / TIME_CONSTANTS_S)).sum())
    linear = shape / after_test * well.drawdown_linear_m_per_m3_h * harder
    return Borehole(
        static_m, well.seasonal_range_m or 0.0, seasonal_doy, linear, well.drawdown_quadratic_m_per_m3_h2 * harder
    )
