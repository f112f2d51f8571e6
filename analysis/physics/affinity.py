"""Affinity laws: one pump at two speeds.

Flow: HERE -> centrifugal.py, tests. Never: I/O, pandas.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def speed_ratio(speed_rpm: ArrayLike, reference_rpm: float) -> NDArray[np.float64]:
    """Speed over the reference speed.

    Parameters
    ----------
    speed_rpm : float or ndarray, any shape
        Measured speed; NaN where unknown. [1/min]
    reference_rpm : float
        Speed that the known figures belong to, above 0. [1/min]

    Returns
    -------
    ndarray, shape of `speed_rpm`
        NaN where the speed is NaN or negative. [-]

    Raises
    ------
    ValueError
        `reference_rpm` is not above 0.

    References
    ----------
    .. [1] J. F. Gulich, Centrifugal Pumps, Springer, ch. 3 (similarity). From memory.
    """
    if not reference_rpm > 0:
        raise ValueError(f"reference_rpm must be above 0, got {reference_rpm!r}")
    speed = np.asarray(speed_rpm, float)
    return np.where(speed >= 0, speed, np.nan) / reference_rpm


def flow_at_speed(flow_m3_h: ArrayLike, ratio: ArrayLike) -> NDArray[np.float64]:
    """Flow at the homologous point: proportional to speed.

    Parameters
    ----------
    flow_m3_h : float or ndarray
        Flow at the reference speed. [m3/h]
    ratio : float or ndarray
        Speed over reference speed. [-]

    Returns
    -------
    ndarray, broadcast shape
        Flow at the other speed. [m3/h]

    Notes
    -----
    Exact for a pump without Reynolds effects; within about 1 % for speeds down to half (common practice, no source).

    References
    ----------
    .. [1] US DOE Fundamentals Handbook DOE-HDBK-1012/3-92, HT-03, pump laws.
    """
    return np.asarray(flow_m3_h, float) * np.asarray(ratio, float)


def head_at_speed(head_m: ArrayLike, ratio: ArrayLike) -> NDArray[np.float64]:
    """Head at the homologous point: proportional to the square of speed.

    Parameters
    ----------
    head_m : float or ndarray
        Head at the reference speed. [m]
    ratio : float or ndarray
        Speed over reference speed. [-]

    Returns
    -------
    ndarray, broadcast shape
        Head at the other speed. [m]

    References
    ----------
    .. [1] US DOE Fundamentals Handbook DOE-HDBK-1012/3-92, HT-03, pump laws.
    """
    return np.asarray(head_m, float) * np.square(np.asarray(ratio, float))


def power_at_speed(power_w: ArrayLike, ratio: ArrayLike) -> NDArray[np.float64]:
    """Shaft power at the homologous point: proportional to the cube of speed.

    Parameters
    ----------
    power_w : float or ndarray
        Shaft power at the reference speed. [W]
    ratio : float or ndarray
        Speed over reference speed. [-]

    Returns
    -------
    ndarray, broadcast shape
        Shaft power at the other speed; electrical losses do not follow this law. [W]

    References
    ----------
    .. [1] US DOE Fundamentals Handbook DOE-HDBK-1012/3-92, HT-03, pump laws.
    """
    return np.asarray(power_w, float) * np.asarray(ratio, float) ** 3
