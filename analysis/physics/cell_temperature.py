"""How hot the cells are, from the best that was measured.

Flow: irradiance and a temperature -> HERE -> array_power.py, expected.py
Never: I/O, learning.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

NOCT_IRRADIANCE_W_M2 = 800.0
NOCT_AMBIENT_C = 20.0
CELL_ABOVE_MODULE_C = 3.0
"""Cell above the module's back at 1000 W/m2, open rack: King et al. 2004 (dT of the Sandia model)."""
LAPSE_C_PER_M = 0.0065


def cell_of_ambient(ambient_c: ArrayLike, poa_w_m2: ArrayLike, noct_c: float) -> Floats:
    """Cell temperature by the nominal operating cell temperature. [deg C]

    Parameters
    ----------
    ambient_c, poa_w_m2 : float or ndarray that broadcast together
        [deg C], [W/m2]
    noct_c : float
        The datasheet's, 35 to 60. [deg C]

    Returns
    -------
    ndarray
        NaN where either input is. Wind is not in it: within about 5 deg C (standard uncertainty 4) of what is measured.

    Raises
    ------
    ValueError
        `noct_c` outside 35 to 60.

    References
    ----------
    .. [1] R. G. Ross, Interface design considerations for terrestrial solar cell modules, 12th IEEE PVSC, 1976.
    """
    if not 35.0 <= noct_c <= 60.0:
        raise ValueError(f"noct_c must be 35 to 60 deg C, got {noct_c!r}")
    rise = (noct_c - NOCT_AMBIENT_C) / NOCT_IRRADIANCE_W_M2
    return np.asarray(ambient_c, float) + rise * np.asarray(poa_w_m2, float)


def cell_of_module(module_c: ArrayLike, poa_w_m2: ArrayLike) -> Floats:
    """Cell temperature from the temperature measured on the module's back. [deg C]

    Parameters
    ----------
    module_c : float or ndarray
        Back of the module; NaN in, NaN out. [deg C]
    poa_w_m2 : float or ndarray that broadcasts with it
        Irradiance in the plane of the array. [W/m2]

    Returns
    -------
    ndarray, broadcast shape
        [deg C]

    References
    ----------
    .. [1] D. L. King et al., Photovoltaic Array Performance Model, SAND2004-3535, 2004.
    """
    return np.asarray(module_c, float) + CELL_ABOVE_MODULE_C / 1000.0 * np.asarray(poa_w_m2, float)


def ambient_default(
    latitude_deg: float,
    altitude_m: float,
    day_after_march_15: ArrayLike,
    solar_hour: ArrayLike,
    lowest_c: float | None = None,
    highest_c: float | None = None,
) -> Floats:
    """Air temperature to expect where nobody measures it. [deg C]

    Parameters
    ----------
    latitude_deg, altitude_m : float
        [deg], [m]
    day_after_march_15 : float or ndarray
        Day of the tropical year, as `sun.day_of_year` counts. [d]
    solar_hour : float or ndarray that broadcasts with it
        Local mean solar time, 0 to 24. [h]
    lowest_c, highest_c : float, optional
        The site's extremes where its file states them: the answer keeps between them. [deg C]

    Returns
    -------
    ndarray, broadcast shape
        [deg C]. Standard uncertainty AMBIENT_DEFAULT_STD_C: coasts, monsoons and cold fronts are not in it.

    Notes
    -----
    A rough climatology of our own (no source): 27.5 deg C at the equator and sea level, falling with latitude squared,
    6.5 deg C per km of altitude, a yearly swing of 0.3 deg C per degree of latitude that lags the sun by a month, a
    daily swing of +-6 deg C with its peak at 15 h.

    References
    ----------
    .. [1] ISO 2533:1975, for the lapse with altitude (from memory); the rest is our own.
    """
    mean = 27.5 - 0.0094 * latitude_deg**2 - LAPSE_C_PER_M * altitude_m
    hemisphere = 1.0 if latitude_deg >= 0 else -1.0
    season = np.cos(2 * np.pi * (np.asarray(day_after_march_15, float) - 98.0 - 30.0) / 365.24219)
    hour = np.cos(2 * np.pi * (np.asarray(solar_hour, float) - 15.0) / 24.0)
    ambient = mean + hemisphere * 0.3 * abs(latitude_deg) * season + 6.0 * hour
    return np.clip(ambient, -np.inf if lowest_c is None else lowest_c, np.inf if highest_c is None else highest_c)


AMBIENT_DEFAULT_STD_C = 5.0
NOCT_MODEL_STD_C = 4.0
"""Scatter of the wind-free model about measured cells: common practice, no source."""
MODULE_SENSOR_STD_C = 1.5
