"""Head lost to wall friction and fittings in round pipes.

Flow: site facts and flow -> HERE -> system_curve.py. Laminar, transitional and turbulent in one continuous factor.
Never: I/O, pandas, settings.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.hydraulic_power import GRAVITY_M_S2

Floats = NDArray[np.float64]

LAMINAR_REYNOLDS_MAX = 2300.0
TURBULENT_REYNOLDS_MIN = 4000.0
ROUGHNESS_RATIO_MAX = 0.05
VISCOSITY_15C_M2_S = 1.1386e-6  # groundwater is near the mean air temperature; IAPWS at 15 degC


def velocity_m_s(flow_m3_h: ArrayLike, diameter_m: float) -> Floats:
    """Mean velocity in a full round pipe.

    Parameters
    ----------
    flow_m3_h : float or ndarray, any shape
        Flow; may hold NaN. [m3/h]
    diameter_m : float
        Inner diameter, a site fact. [m]

    Returns
    -------
    ndarray, shape of `flow_m3_h`
        [m/s]

    Raises
    ------
    ValueError
        `diameter_m` is not between 0 and 3: millimetres perhaps.

    References
    ----------
    .. [1] Continuity.
    """
    return np.asarray(flow_m3_h, float) / 3600.0 / (np.pi / 4 * _diameter(diameter_m) ** 2)


def reynolds_number(flow_m3_h: ArrayLike, diameter_m: float, viscosity_m2_s: float = VISCOSITY_15C_M2_S) -> Floats:
    """Reynolds number of a full round pipe.

    Parameters
    ----------
    flow_m3_h : float or ndarray, any shape
        Flow; its sign is dropped. [m3/h]
    diameter_m : float
        Inner diameter, a site fact. [m]
    viscosity_m2_s : float, optional
        Kinematic viscosity. [m2/s]

    Returns
    -------
    ndarray, shape of `flow_m3_h`
        [-]

    Raises
    ------
    ValueError
        `diameter_m` not between 0 and 3, or `viscosity_m2_s` not between 1e-7 and 1e-3.

    References
    ----------
    .. [1] F. M. White, Fluid Mechanics, ch. 6. From memory.
    """
    if not 1e-7 <= viscosity_m2_s <= 1e-3:
        raise ValueError(f"viscosity_m2_s must be 1e-7 to 1e-3 (water: about 1e-6), got {viscosity_m2_s!r}")
    return np.abs(velocity_m_s(flow_m3_h, diameter_m)) * diameter_m / viscosity_m2_s


def friction_factor(reynolds: ArrayLike, roughness_ratio: float) -> Floats:
    """Darcy friction factor of a round pipe at any Reynolds number.

    Parameters
    ----------
    reynolds : float or ndarray, any shape
        Measured, so may hold NaN. [-]
    roughness_ratio : float
        Roughness over inner diameter; a site fact, 0 to 0.05. [-]

    Returns
    -------
    ndarray, shape of `reynolds`
        64 / Re up to 2300, Colebrook from 4000, between them a cubic that meets both in value and slope of
        ln f against ln Re. Infinite at Re = 0; at an infinite one the rough pipe's own, of a smooth pipe 0;
        NaN where `reynolds` is NaN or negative. [-]

    Raises
    ------
    ValueError
        `roughness_ratio` outside 0 to 0.05: the site file is wrong, not the data.

    Notes
    -----
    Colebrook is solved to 1e-9 by four fixed steps from Haaland's explicit form. Real transition depends on the inlet; between
    2300 and 4000 no formula is better than 20 % or so (common practice, no source).

    References
    ----------
    .. [1] C. F. Colebrook, J. Inst. Civ. Eng. 11, 133-156, 1939, doi:10.1680/ijoti.1939.13150.
    .. [2] S. E. Haaland, J. Fluids Eng. 105(1), 89-90, 1983, doi:10.1115/1.3240948.
    """
    if not 0.0 <= roughness_ratio <= ROUGHNESS_RATIO_MAX:
        raise ValueError(f"roughness_ratio must be 0 to {ROUGHNESS_RATIO_MAX}, got {roughness_ratio!r}")
    re = np.asarray(reynolds, float)
    if roughness_ratio == 0.0:
        # beyond any pipe: the smooth pipe's factor goes to 0 as slowly as a logarithm, and Newton's steps would divide 0 by 0
        finite = np.where(np.isposinf(re), 1e300, re)
        smooth = _factor(finite, roughness_ratio)
        return np.where(np.isposinf(re), 0.0, smooth)
    return _factor(re, roughness_ratio)


def _factor(re: Floats, roughness_ratio: float) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        laminar = np.where(re >= 0, 64.0 / re, np.nan)
        factor = np.where(re < LAMINAR_REYNOLDS_MAX, laminar, _colebrook(np.maximum(re, 1000.0), roughness_ratio))
        between = (re >= LAMINAR_REYNOLDS_MAX) & (re < TURBULENT_REYNOLDS_MIN)
        if not between.any():
            return factor
        return np.where(between, _transition(np.where(between, re, 3000.0), roughness_ratio), factor)


def _colebrook(re: Floats, ratio: float) -> Floats:
    """Newton's method on 1/sqrt(f), from Haaland."""
    y = -1.8 * np.log10((ratio / 3.7) ** 1.11 + 6.9 / re)
    for _ in range(4):
        inner = ratio / 3.7 + 2.51 * y / re
        slope = 1 + 2 / np.log(10) * (2.51 / re) / inner
        y = y - (y + 2 * np.log10(inner)) / slope
    return y**-2


def _transition(re: Floats, ratio: float) -> Floats:
    low, high = np.log(LAMINAR_REYNOLDS_MAX), np.log(TURBULENT_REYNOLDS_MIN)
    ends = _colebrook(TURBULENT_REYNOLDS_MIN * np.array([1.0, 1.001]), ratio)
    start, end = np.log(64 / LAMINAR_REYNOLDS_MAX), np.log(ends[0])
    slope_start, slope_end = -(high - low), np.log(ends[1] / ends[0]) / np.log(1.001) * (high - low)
    t = (np.log(re) - low) / (high - low)
    cubic = (
        (1 + 2 * t) * (1 - t) ** 2 * start + t * (1 - t) ** 2 * slope_start
        + t**2 * (3 - 2 * t) * end + t**2 * (t - 1) * slope_end
    )  # fmt: skip
    return np.exp(cubic)


def friction_head_m(
    flow_m3_h: ArrayLike,
    length_m: float,
    diameter_m: float,
    roughness_m: float,
    viscosity_m2_s: float = VISCOSITY_15C_M2_S,
) -> Floats:
    """Head lost along a straight pipe, Darcy-Weisbach.

    Parameters
    ----------
    flow_m3_h : float or ndarray, any shape
        Flow; backwards flow is negative and gains a negative loss. [m3/h]
    length_m : float
        Length, 0 or more. [m]
    diameter_m : float
        Inner diameter. [m]
    roughness_m : float
        Equivalent sand roughness. [m]
    viscosity_m2_s : float, optional
        Kinematic viscosity. [m2/s]

    Returns
    -------
    ndarray, shape of `flow_m3_h`
        0 at no flow. [m]

    Raises
    ------
    ValueError
        A negative length, a diameter not between 0 and 3, a roughness above a twentieth of the diameter.

    References
    ----------
    .. [1] F. M. White, Fluid Mechanics, ch. 6. From memory.
    """
    if not length_m >= 0:
        raise ValueError(f"length_m must be 0 or more, got {length_m!r}")
    speed = velocity_m_s(flow_m3_h, diameter_m)
    reynolds = reynolds_number(flow_m3_h, diameter_m, viscosity_m2_s)
    factor = friction_factor(np.maximum(reynolds, 1e-9), roughness_m / diameter_m)
    return factor * length_m / diameter_m * speed * np.abs(speed) / (2 * GRAVITY_M_S2)


def minor_head_m(flow_m3_h: ArrayLike, loss_coefficient: float, diameter_m: float) -> Floats:
    """Head lost in bends, valves and entries.

    Parameters
    ----------
    flow_m3_h : float or ndarray, any shape
        Flow. [m3/h]
    loss_coefficient : float
        Sum of the fittings' coefficients, against the velocity in this pipe. [-]
    diameter_m : float
        Inner diameter. [m]

    Returns
    -------
    ndarray, shape of `flow_m3_h`
        [m]

    Raises
    ------
    ValueError
        A negative coefficient, or a diameter not between 0 and 3.

    References
    ----------
    .. [1] F. M. White, Fluid Mechanics, ch. 6. From memory.
    """
    if not loss_coefficient >= 0:
        raise ValueError(f"loss_coefficient must be 0 or more, got {loss_coefficient!r}")
    speed = velocity_m_s(flow_m3_h, diameter_m)
    return loss_coefficient * speed * np.abs(speed) / (2 * GRAVITY_M_S2)


def _diameter(diameter_m: float) -> float:
    if not 0 < diameter_m < 3:
        raise ValueError(f"diameter_m must be above 0 and below 3, got {diameter_m!r}; is it in mm?")
    return diameter_m
