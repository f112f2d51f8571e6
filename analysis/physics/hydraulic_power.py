"""Power in lifted water, efficiency and specific energy.

Flow: HERE -> pump_table.py, expected.py, season.py. Never: I/O, pandas.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

GRAVITY_M_S2 = 9.80665  # standard acceleration of free fall (ISO 80000-3)
DENSITY_20C_KG_M3 = 998.207  # IAPWS-95 at 20 degC and 101325 Pa
DENSITY_LEAST, DENSITY_MOST = 900.0, 1300.0
"""Any water that a pump may lift, brine too (saturated: 1200, from memory). [kg/m3]"""


def hydraulic_power_w(
    flow_m3_h: ArrayLike, head_m: ArrayLike, density_kg_m3: ArrayLike = DENSITY_20C_KG_M3
) -> NDArray[np.float64]:
    """Power that the water gains: rho g Q H.

    Parameters
    ----------
    flow_m3_h : float or ndarray
        Flow; may hold NaN. [m3/h]
    head_m : float or ndarray
        Total head; may hold NaN. [m]
    density_kg_m3 : float or ndarray, optional
        Density of the water, 900 to 1300. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        NaN where an input is. [W]

    Raises
    ------
    ValueError
        A density outside 900 to 1300: g/cm3 perhaps.

    References
    ----------
    .. [1] ISO 9906:2012, definition of pump power output. From memory.
    """
    flow, head = np.asarray(flow_m3_h, float), np.asarray(head_m, float)
    return _density(density_kg_m3) * GRAVITY_M_S2 * flow / 3600.0 * head


def efficiency(
    flow_m3_h: ArrayLike, head_m: ArrayLike, power_w: ArrayLike, density_kg_m3: ArrayLike = DENSITY_20C_KG_M3
) -> NDArray[np.float64]:
    """Hydraulic power over the power taken in, wherever that was measured.

    Parameters
    ----------
    flow_m3_h : float or ndarray
        Flow. [m3/h]
    head_m : float or ndarray
        Total head. [m]
    power_w : float or ndarray
        Power taken in. [W]
    density_kg_m3 : float or ndarray, optional
        Density of the water, 900 to 1300. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        NaN where an input is NaN or the power is not above 0. [-]

    Raises
    ------
    ValueError
        A density outside 900 to 1300: g/cm3 perhaps.

    References
    ----------
    .. [1] ISO 9906:2012, definition of overall efficiency. From memory.
    """
    power = np.asarray(power_w, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(power > 0, hydraulic_power_w(flow_m3_h, head_m, density_kg_m3) / power, np.nan)


def specific_energy_wh_m3(flow_m3_h: ArrayLike, power_w: ArrayLike) -> NDArray[np.float64]:
    """Energy spent for each cubic metre.

    Parameters
    ----------
    flow_m3_h : float or ndarray
        Flow. [m3/h]
    power_w : float or ndarray
        Power taken in. [W]

    Returns
    -------
    ndarray, broadcast shape
        NaN where nothing flows. [Wh/m3]

    Notes
    -----
    Divided by the head it is never below rho g / 3600, 2.72 Wh/(m3 m) in cold water: less is a data fault.

    References
    ----------
    .. [1] Conservation of energy.
    """
    flow, power = np.asarray(flow_m3_h, float), np.asarray(power_w, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(flow > 0, power / flow, np.nan)


def _density(density_kg_m3: ArrayLike) -> NDArray[np.float64]:
    density = np.asarray(density_kg_m3, float)
    if ((density < DENSITY_LEAST) | (density > DENSITY_MOST)).any():
        raise ValueError(
            f"density_kg_m3 must be {DENSITY_LEAST:g} to {DENSITY_MOST:g}, got {density_kg_m3!r}; is it in g/cm3?"
        )
    return density
