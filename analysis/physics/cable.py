"""Copper between array, controller and motor: its resistance and what is lost in it.

Flow: site facts -> HERE -> array_power.py, site_check/
Never: insulation (a megohmmeter's business), I/O.
"""

from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.numbers_only import as_numbers

Floats = NDArray[np.float64]

CLASS_5_OHM_PER_KM = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21,
    25.0: 0.780, 35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206, 120.0: 0.161, 150.0: 0.129, 185.0: 0.106,
    240.0: 0.0801, 300.0: 0.0641,
}  # fmt: skip
"""Highest resistance at 20 deg C of flexible plain copper: IEC 60228 table 3 (1.5 to 25 mm2 seen, the rest from memory)."""
WATER_COOLED_C = 30.0
"""Of a loaded motor cable in a borehole, most of it under water or along the riser: common practice, no source. [deg C]"""
COLDEST_C, WARMEST_C = -60.0, 250.0
"""Where copper's resistance is straight in its temperature, and any cable's insulation holds (common practice, no source). [deg C]"""
COPPER_PER_C = 0.00393
"""Temperature coefficient of copper's resistance at 20 deg C: IEC 60028."""


def resistance_ohm_per_km(conductor_mm2: float, temperature_c: ArrayLike = 20.0) -> Floats:
    """Resistance of one copper conductor.

    Parameters
    ----------
    conductor_mm2 : float
        Nominal cross-section; between two standard sizes by conductance. 0.5 to 300. [mm2]
    temperature_c : float or ndarray, any shape
        The conductor's own temperature, -60 to 250. [deg C]

    Returns
    -------
    ndarray, shape of `temperature_c`
        The standard's highest for class 5 (flexible, plain); real cable is up to about 3 % lower. NaN where the temperature is
        NaN or out of its range: kelvin perhaps. [ohm/km]

    Raises
    ------
    ValueError
        `conductor_mm2` outside 0.5 to 300.

    References
    ----------
    .. [1] IEC 60228:2004, Conductors of insulated cables, table 3. IEC 60028:1925, resistance of copper.
    """
    sizes = np.array(list(CLASS_5_OHM_PER_KM))
    if not sizes[0] <= conductor_mm2 <= sizes[-1]:
        raise ValueError(f"conductor_mm2 must be {sizes[0]:g} to {sizes[-1]:g}, got {conductor_mm2!r}")
    conductance = np.interp(conductor_mm2, sizes, 1.0 / np.array(list(CLASS_5_OHM_PER_KM.values())))
    cable = as_numbers(temperature_c, "temperature_c")
    warm = 1.0 + COPPER_PER_C * (np.where((cable >= COLDEST_C) & (cable <= WARMEST_C), cable, np.nan) - 20.0)
    return cast(Floats, warm / conductance)


def dc_loop_ohm(length_m: float, conductor_mm2: float, temperature_c: float = 20.0) -> float:
    """Resistance there and back of a two-conductor cable. [ohm]

    Parameters
    ----------
    length_m : float
        One way. [m]
    conductor_mm2 : float
        Copper cross-section, 0.5 to 300. [mm2]
    temperature_c : float, optional
        The conductor's, -60 to 250. [deg C]

    Returns
    -------
    float
        [ohm]

    Raises
    ------
    ValueError
        `conductor_mm2` outside 0.5 to 300, `length_m` below 0 or infinite, a temperature out of its range.

    References
    ----------
    .. [1] IEC 60228:2004, table 3 (class 5, flexible), maximum resistance at 20 deg C; 1.5 to 25 mm2 seen, the rest from memory.
    """
    return 2.0 * _one_way_ohm(length_m, conductor_mm2, temperature_c)


def dc_drop_v(current_a: ArrayLike, length_m: float, conductor_mm2: float, temperature_c: float = 20.0) -> Floats:
    """Voltage lost there and back: 2 I R L. [V]

    Parameters
    ----------
    current_a : float or ndarray, any shape
        NaN in, NaN out. [A]
    length_m : float
        One way. [m]
    conductor_mm2 : float
        Copper cross-section, 0.5 to 300. [mm2]
    temperature_c : float, optional
        The conductor's, -60 to 250. [deg C]

    Returns
    -------
    ndarray, shape of `current_a`
        [V]

    Raises
    ------
    ValueError
        `conductor_mm2` outside 0.5 to 300, `length_m` or any current below 0, a temperature out of its range.

    References
    ----------
    .. [1] Ohm's law; resistance of IEC 60228:2004. From memory.
    """
    return _magnitude(current_a) * dc_loop_ohm(length_m, conductor_mm2, temperature_c)


def three_phase_drop_v(
    current_a: ArrayLike, length_m: float, conductor_mm2: float, power_factor: float = 1.0, temperature_c: float = 20.0
) -> Floats:
    """Phase-to-phase voltage lost to resistance: sqrt(3) I R L cos(phi). [V]

    Parameters
    ----------
    current_a : float or ndarray, any shape
        NaN in, NaN out. [A]
    length_m : float
        One way. [m]
    conductor_mm2 : float
        Copper cross-section, 0.5 to 300. [mm2]
    power_factor : float, optional
        Cosine of the phase angle, 0 to 1. [-]
    temperature_c : float, optional
        The conductor's, -60 to 250. [deg C]

    Returns
    -------
    ndarray, shape of `current_a`
        [V]

    Raises
    ------
    ValueError
        `conductor_mm2` outside 0.5 to 300, `power_factor` outside 0 to 1, `length_m` or any current below 0, a temperature out of its range.

    Notes
    -----
    Reactance is left out: below 25 mm2 and 400 Hz it is a few percent of the resistance.

    References
    ----------
    .. [1] Voltage drop of balanced three-phase lines, any handbook of installation; resistance of IEC 60228:2004. From memory.
    """
    if not 0 <= power_factor <= 1:
        raise ValueError(f"power_factor must be 0 to 1, got {power_factor!r}")
    return np.sqrt(3.0) * _magnitude(current_a) * _one_way_ohm(length_m, conductor_mm2, temperature_c) * power_factor


def three_phase_loss_w(
    current_a: ArrayLike, length_m: float, conductor_mm2: float, temperature_c: float = 20.0
) -> Floats:
    """Heat in the three conductors: 3 I^2 R L. [W]

    Parameters
    ----------
    current_a : float or ndarray, any shape
        NaN in, NaN out. [A]
    length_m : float
        One way. [m]
    conductor_mm2 : float
        Copper cross-section, 0.5 to 300. [mm2]
    temperature_c : float, optional
        The conductor's, -60 to 250. [deg C]

    Returns
    -------
    ndarray, shape of `current_a`
        [W]

    Raises
    ------
    ValueError
        `conductor_mm2` outside 0.5 to 300, `length_m` or any current below 0, a temperature out of its range.

    References
    ----------
    .. [1] Joule heat; resistance of IEC 60228:2004. From memory.
    """
    return 3.0 * _magnitude(current_a) ** 2 * _one_way_ohm(length_m, conductor_mm2, temperature_c)


def _one_way_ohm(length_m: float, conductor_mm2: float, temperature_c: float) -> float:
    if not 0 <= length_m < np.inf:
        raise ValueError(f"length_m must be 0 or more, got {length_m!r}")
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise ValueError(
            f"temperature_c must be {COLDEST_C:g} to {WARMEST_C:g}, got {temperature_c!r}; is it in kelvin?"
        )
    return length_m / 1000.0 * float(resistance_ohm_per_km(conductor_mm2, temperature_c))


def _magnitude(current_a: ArrayLike) -> Floats:
    """Currents as magnitudes; a sign here is a slip of the caller's, and would come out as a cable that gains voltage."""
    current = np.asarray(current_a, float)
    if (current < 0).any():
        raise ValueError(f"current_a must be 0 or more, got {float(np.nanmin(current))!r}")
    return current
