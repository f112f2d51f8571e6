"""Water's density, viscosity and vapour pressure over temperature.

Flow: HERE -> pipe_friction.py, system_curve.py. Pure water at 101325 Pa; borehole water's salt changes density by
about 0.08 % for each g/L (common practice, no source). Never: I/O, pandas.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.numbers_only import as_numbers

Floats = NDArray[np.float64]

COLDEST_C, WARMEST_C = 0.0, 60.0


def density_kg_m3(temperature_c: ArrayLike) -> Floats:
    """Density of water, Kell's formula.

    Parameters
    ----------
    temperature_c : float or ndarray, any shape
        0 to 60. [deg C]

    Returns
    -------
    ndarray, shape of `temperature_c`
        NaN outside 0 to 60 and where NaN. [kg/m3]

    Raises
    ------
    TypeError
        Text instead of numbers.

    Notes
    -----
    Within 0.02 % of IAPWS-95 over 0 to 60 degC (swept in the tests).

    References
    ----------
    .. [1] G. S. Kell, J. Chem. Eng. Data 20(1), 97-105, 1975, doi:10.1021/je60064a005. Coefficients from memory.
    """
    t = _liquid(temperature_c)
    top = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - 280.54253e-12 * t)))
    )
    return top / (1 + 16.879850e-3 * t)


def viscosity_pa_s(temperature_c: ArrayLike) -> Floats:
    """Dynamic viscosity of water at atmospheric pressure.

    Parameters
    ----------
    temperature_c : float or ndarray, any shape
        0 to 60. [deg C]

    Returns
    -------
    ndarray, shape of `temperature_c`
        NaN outside 0 to 60 and where NaN. [Pa s]

    Raises
    ------
    TypeError
        Text instead of numbers.

    Notes
    -----
    Within 0.2 % of IAPWS R12-08 over 0 to 60 degC (swept in the tests).

    References
    ----------
    .. [1] J. Patek, J. Hruby, J. Klomfar, M. Souckova, A. H. Harvey, J. Phys. Chem. Ref. Data 38(1), 21-29, 2009,
       doi:10.1063/1.3043575. Coefficients from memory.
    """
    reduced = (_liquid(temperature_c) + 273.15) / 300.0
    terms = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))
    return np.asarray(1e-6 * sum(factor * reduced**power for factor, power in terms))


def kinematic_viscosity_m2_s(temperature_c: ArrayLike) -> Floats:
    """Kinematic viscosity of water: dynamic viscosity over density.

    Parameters
    ----------
    temperature_c : float or ndarray, any shape
        0 to 60. [deg C]

    Returns
    -------
    ndarray, shape of `temperature_c`
        NaN outside 0 to 60 and where NaN. [m2/s]

    Raises
    ------
    TypeError
        Text instead of numbers.

    References
    ----------
    .. [1] As `viscosity_pa_s` and `density_kg_m3`.
    """
    return viscosity_pa_s(temperature_c) / density_kg_m3(temperature_c)


def vapour_pressure_pa(temperature_c: ArrayLike) -> Floats:
    """Saturation pressure of water, Wagner and Pruss.

    Parameters
    ----------
    temperature_c : float or ndarray, any shape
        0 to 60. [deg C]

    Returns
    -------
    ndarray, shape of `temperature_c`
        NaN outside 0 to 60 and where NaN. [Pa]

    Raises
    ------
    TypeError
        Text instead of numbers.

    Notes
    -----
    Within 0.1 % of IAPWS-95 (swept in the tests).

    References
    ----------
    .. [1] W. Wagner and A. Pruss, J. Phys. Chem. Ref. Data 22(3), 783-787, 1993, doi:10.1063/1.555926.
       Coefficients from memory.
    """
    kelvin = _liquid(temperature_c) + 273.15
    away = 1 - kelvin / 647.096
    terms = (
        (-7.85951783, 1.0), (1.84408259, 1.5), (-11.7866497, 3.0),
        (22.6807411, 3.5), (-15.9618719, 4.0), (1.80122502, 7.5),
    )  # fmt: skip
    return 22.064e6 * np.exp(647.096 / kelvin * sum(factor * away**power for factor, power in terms))


def _liquid(temperature_c: ArrayLike) -> Floats:
    t = as_numbers(temperature_c, "temperature_c")
    return np.where((t >= COLDEST_C) & (t <= WARMEST_C), t, np.nan)
