"""Helical-rotor (progressive cavity) pump: displacement, slip and torque, fitted to a table.

Flow: table rows -> HERE -> pump_curve.py (inverses, validity, uncertainty).
In units of the reference speed x = n / n_ref: Q = D x - S(H, x), where slip S grows with head, and
P = losses + x (friction torque + displacement torque that grows with head) + drag. Few physical terms, none of which
may change sign, the unusual ones held small unless the rows ask for them. Never: I/O, pandas, site facts.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

Floats = NDArray[np.float64]

RIDGE = 0.04  # spread, as a share of the largest flow or power, that an unusual term is given
STICKING = 1.6  # rubber sticks to a resting rotor: start over running torque (common practice, no source)
HUBER = 2.5
SIGMA = 0.01


@dataclass(frozen=True)
class HelicalCore:
    """A fitted helical-rotor pump. Speeds are relative to `reference_rpm`.

    flow_terms : displacement [m3/h at x = 1], slip: constant, per H, per H^2, per x H, each >= 0
    power_terms : of 1, x, x H, x^2, x^3, H, H^2, each >= 0 [W, m]; 1, H, H^2 are copper loss, which follows torque squared
    """

    reference_rpm: float
    flow_terms: tuple[float, ...]
    power_terms: tuple[float, ...]
    leak_head_m: float
    leak_flow_m3_h: float

    def slip(self, x: Floats, head_m: Floats) -> Floats:
        """Flow that leaks back through the seal lines when healthy. [m3/h]"""
        _, s0, s1, s2, s3 = self.flow_terms
        return s0 + s1 * head_m + s2 * head_m**2 + s3 * x * head_m

    def flow(self, x: Floats, head_m: Floats, slip_factor: float = 1.0) -> Floats:
        """Flow at relative speed and head, slip times a factor: 0 where slip takes it all. [m3/h]"""
        return np.maximum(self.flow_terms[0] * x - slip_factor * self.slip(x, head_m), 0.0)

    def head(self, x: Floats, flow_m3_h: Floats) -> Floats:
        """Head at which this speed gives this flow: 0 or less where it cannot. [m]"""
        d, s0, s1, s2, s3 = self.flow_terms
        left, linear = d * x - s0 - flow_m3_h, s1 + s3 * x
        with np.errstate(divide="ignore", invalid="ignore"):
            return 2 * left / (linear + np.sqrt(np.maximum(linear**2 + 4 * s2 * left, 0.0)))

    def power_at_head(self, x: Floats, head_m: Floats) -> Floats:
        """Power at relative speed and head. [W]"""
        one, first, lift, square, cube, still, copper = self.power_terms
        return one + head_m * (still + copper * head_m) + x * (first + lift * head_m + x * (square + cube * x))

    def power(self, x: Floats, flow_m3_h: Floats) -> Floats:
        """Power at relative speed and flow, through the head that they mean. [W]"""
        return self.power_at_head(x, self.head(x, flow_m3_h))

    def breakaway_torque_n_m(self, head_m: Floats) -> Floats:
        """Torque that starts the rotor: friction and displacement torque at standstill, times what sticking adds. [N m]"""
        _, first, lift, *_ = self.power_terms
        standing = first + lift * head_m
        return STICKING * standing / (self.reference_rpm * np.pi / 30)

    def lift_speed(self, head_m: Floats) -> Floats:
        """Relative speed below which slip takes it all. [-]"""
        d, s0, s1, s2, s3 = self.flow_terms
        return (s0 + s1 * head_m + s2 * head_m**2) / np.maximum(d - s3 * head_m, 1e-9 * d)

    def run_out_speed(self, head_m: Floats) -> Floats:
        """Displacement pumps have no run-out: infinity. [-]"""
        return np.full(np.shape(head_m), np.inf)

    def leak_m3_h(self, head_m: Floats) -> Floats:
        """Slip that unit wear adds: as healthy slip grows with head, but never flatter than laminar. [m3/h]"""
        return self.leak_flow_m3_h * np.maximum(head_m, 0.0) / self.leak_head_m


def fit_helical(x: Floats, head_m: Floats, flow_m3_h: Floats, power_w: Floats, reference_rpm: float):
    """Fit displacement, slip and torque to table rows by bounded, robust least squares.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Speed over `reference_rpm`; the largest is 1. [-]
    head_m, flow_m3_h, power_w : ndarray, shape (n,)
        The rows. [m], [m3/h], [W]
    reference_rpm : float
        Speed that x = 1 stands for. [1/min]

    Returns
    -------
    HelicalCore

    Notes
    -----
    Slip is taken as laminar through the seal lines (in proportion to head) with a turbulent or elastic part; a designer's
    slip model is still within 20 % only [2]_, so the table decides and the terms only keep it physical.

    References
    ----------
    .. [1] J. R. S. Mueller et al., arXiv:2104.06736, 2021: flow nearly linear in speed, slip grows with pressure.
    .. [2] K. P. Simon, Design Tools and Mechanisms for Progressive Cavity Pumps, PhD thesis, MIT, 2019 (abstract).
    """
    top_head = max(float(head_m.max()), 1.0)
    h = head_m / top_head
    one = np.ones_like(x)
    top_flow, top_power = float(flow_m3_h.max()), float(power_w.max())
    flow_design = np.column_stack([x, -one, -h, -(h**2), -x * h])
    flow_coef = _bounded(flow_design, flow_m3_h, SIGMA * (flow_m3_h + 0.2 * top_flow), np.array([0, 0.5, 0, 1, 1]))
    power_design = np.column_stack([one, x, x * h, x**2, x**3, h, h**2])
    held = np.array([1, 0, 0, 1, 1, 1, 1])
    power_coef = _bounded(power_design, power_w, SIGMA * (power_w + 0.1 * top_power), held)
    per_head = np.array([0, 0, 1, 2, 1]), np.array([0, 0, 1, 0, 0, 1, 2])
    flow_terms, power_terms = flow_coef / top_head ** per_head[0], power_coef / top_head ** per_head[1]
    return HelicalCore(
        reference_rpm, tuple(map(float, flow_terms)), tuple(map(float, power_terms)), 0.75 * top_head, top_flow
    )


def _bounded(design: Floats, y: Floats, sigma: Floats, held: Floats) -> Floats:
    """Coefficients >= 0; those with `held` above 0 are drawn to 0, the more the larger."""
    top = float(y.max())
    ridge = np.diag(held / (RIDGE * top))[held > 0]
    keep = np.ones(len(y))
    for _ in range(3):
        matrix = np.vstack([design * (keep / sigma)[:, None], ridge])
        target = np.concatenate([keep * y / sigma, np.zeros(len(ridge))])
        coef = nnls(matrix, target)[0]
        misfit = (design @ coef - y) / sigma
        spread = max(1.4826 * float(np.median(np.abs(misfit))), 0.3)
        keep = np.sqrt(np.minimum(1.0, HUBER * spread / np.maximum(np.abs(misfit), 1e-12)))
    return np.maximum(coef, 0.0)
