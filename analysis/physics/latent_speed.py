"""Relative speeds for a pump table that has none.

Flow: pump_table.py -> HERE -> pump_curve.py. Any power table can be read along a hidden speed: what is lost is only its
scale and the shape of head against flow, neither of which flow(power, head) needs.
Never: a claim about real speeds; a model built on these says NO_SPEED when asked for one.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.physics.helical import fit_helical

Floats = NDArray[np.float64]

SLIP_SHARES = np.array([0.01, 0.02, 0.04, 0.06, 0.08, 0.11, 0.15, 0.2, 0.28])  # of the largest flow, at the top head
SLIP_PRIOR, SLIP_SPREAD = 0.10, 0.8  # usual share and spread of its logarithm (common practice, no source)
USUAL_SHARE = 0.35  # what the rows' lowest head usually is (same); the same spread
LOWEST_HEAD_SHARES = np.array([0.08, 0.15, 0.25, 0.35, 0.5, 0.65])  # of shut-off head, where the table's rows may end


def centrifugal_speed(head_m: Floats, flow_m3_h: Floats, power_w: Floats) -> Floats:
    """Relative speed of each row from H / n^2 = 1 - (Q / n)^2 in suitable units.

    Parameters
    ----------
    head_m, flow_m3_h, power_w : ndarray, shape (n,)
        The rows. [m], [m3/h], [W]

    Returns
    -------
    ndarray, shape (n,)
        The largest is 1. [-]

    Notes
    -----
    By the affinity laws P / H^1.5 is one function of Q / H^0.5 at all speeds, so the shape assumed here hardly matters for
    flow(power, head). The unit of flow is the one with which reduced power is closest to a parabola over reduced flow.

    References
    ----------
    .. [1] Similarity laws, as in affinity.py.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        loading = flow_m3_h**2 / head_m
    top = float(loading[np.isfinite(loading)].max())
    best, best_cost = np.ones_like(head_m), np.inf
    for share in LOWEST_HEAD_SHARES:
        n = np.sqrt(head_m + (1 - share) / share / top * flow_m3_h**2)
        x = n / n.max()
        q = flow_m3_h / x / flow_m3_h.max()
        design = np.column_stack([x**3, x**3 * q, x**3 * q**2, x]) / power_w[:, None]
        coef = np.linalg.lstsq(design, np.ones_like(x), rcond=None)[0]
        cost = float(np.sum((design @ coef - 1) ** 2)) + (0.01 * np.log(share / USUAL_SHARE) / SLIP_SPREAD) ** 2
        if cost < best_cost:
            best, best_cost = x, cost
    return best


def helical_speed(head_m: Floats, flow_m3_h: Floats, power_w: Floats) -> Floats:
    """Relative speed of each row from flow plus slip, slip chosen so that power per turn fits best.

    Parameters
    ----------
    head_m, flow_m3_h, power_w : ndarray, shape (n,)
        The rows. [m], [m3/h], [W]

    Returns
    -------
    ndarray, shape (n,)
        The largest is 1. [-]

    References
    ----------
    .. [1] Slip in proportion to head, as in helical.py.
    """
    best, best_cost = np.ones_like(head_m), np.inf
    for share in SLIP_SHARES:
        n = flow_m3_h + share * flow_m3_h.max() * head_m / head_m.max()
        x = n / n.max()
        core = fit_helical(x, head_m, flow_m3_h, power_w, 1.0)
        misfit = (core.power_at_head(x, head_m) - power_w) / (0.01 * power_w)
        cost = float(misfit @ misfit) + (np.log(share / SLIP_PRIOR) / SLIP_SPREAD) ** 2
        if cost < best_cost:
            best, best_cost = x, cost
    return best
