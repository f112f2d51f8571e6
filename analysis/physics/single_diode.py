"""A module's datasheet as a single-diode circuit.

Flow: site_facts.Module -> HERE -> array_power.py
Never: strings, cables, sky.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pvlib import pvsystem
from scipy.optimize import least_squares

from logger.record.site_facts import Module

Floats = NDArray[np.float64]

THERMAL_V = 1.380649e-23 * 298.15 / 1.602176634e-19
"""kT/q at 25 deg C. [V]"""
CELL_OPEN_CIRCUIT_V = 0.63
"""Open-circuit voltage of one crystalline cell, to guess how many are in series (only the ideality's name hangs on it)."""

WARM_C = 55.0
"""Where the temperature coefficient is met besides 25 deg C: a usual working temperature."""


@dataclass(frozen=True)
class Diode:
    """De Soto's five parameters at 1000 W/m2 and 25 deg C, and what the datasheet adds.

    `trim_per_c`: what brings the circuit's maximum power over temperature to the datasheet's coefficient, a factor on voltage
    [1/deg C]. `misfit`: largest relative error at the datasheet's own three points.
    """

    photocurrent_a: float
    saturation_a: float
    series_ohm: float
    shunt_ohm: float
    modified_ideality_v: float
    alpha_a_c: float
    trim_per_c: float
    misfit: float


def fit_diode(module: Module) -> Diode:
    """The circuit that goes through the datasheet's points.

    Short circuit and open circuit are met exactly; series and shunt resistance and ideality are sought so that the maximum
    lies at the datasheet's voltage and current and the open-circuit voltage moves with temperature as stated. Bounded least
    squares, so that a rounded or contradictory datasheet still gives a physical circuit: `misfit` says how well.

    Parameters
    ----------
    module : Module
        The datasheet: [W], [V], [A], coefficients in [%/deg C].

    Returns
    -------
    Diode
        Of one module: currents [A], resistances [ohm], modified ideality factor [V].

    Raises
    ------
    ValueError
        The maximum lies outside the rectangle of open circuit and short circuit.

    References
    ----------
    .. [1] W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80(1), 78-88, 2006.
    """
    if not (module.v_mp_v < module.v_oc_v and module.i_mp_a < module.i_sc_a):
        raise ValueError("the module's v_mp_v must be below v_oc_v and i_mp_a below i_sc_a")
    cells = max(1.0, round(module.v_oc_v / CELL_OPEN_CIRCUIT_V))
    lowest = np.log([0.85 * cells * THERMAL_V, 1e-4 * module.v_mp_v / module.i_mp_a, 5 * module.v_mp_v / module.i_mp_a])
    highest = np.log(
        [2.2 * cells * THERMAL_V, 0.4 * module.v_mp_v / module.i_mp_a, 1e4 * module.v_mp_v / module.i_mp_a]
    )
    start = np.log([1.1 * cells * THERMAL_V, 0.04 * module.v_mp_v / module.i_mp_a, 100 * module.v_mp_v / module.i_mp_a])
    found = least_squares(lambda x: _misfit(np.exp(x), module, np.log(100.0), start), start, bounds=(lowest, highest))
    ideality, series, shunt = (float(v) for v in np.exp(found.x))
    photocurrent, saturation = _through_ends(ideality, series, shunt, module)
    point = pvsystem.singlediode(photocurrent, saturation, series, shunt, ideality, method="newton")
    wanted = {"v_mp": module.v_mp_v, "i_mp": module.i_mp_a, "v_oc": module.v_oc_v, "i_sc": module.i_sc_a}
    misfit = max(abs(float(point[name]) / value - 1.0) for name, value in wanted.items())
    alpha = module.temp_coeff_i_sc_pct_c / 100.0 * module.i_sc_a
    light, grown, hot_shunt, hot_ideality = scale(photocurrent, saturation, shunt, ideality, alpha, 1000.0, WARM_C)
    warm = pvsystem.singlediode(light, grown, series, hot_shunt, hot_ideality, method="newton")
    own = (float(warm["p_mp"]) / float(point["p_mp"]) - 1.0) / (WARM_C - 25.0)
    trim = module.temp_coeff_p_mp_pct_c / 100.0 - own
    return Diode(photocurrent, saturation, series, shunt, ideality, alpha, trim, misfit)


def _through_ends(ideality: float, series: float, shunt: float, module: Module) -> tuple[float, float]:
    """Photo and saturation current that meet short circuit and open circuit exactly."""
    short, full = module.i_sc_a * series, module.v_oc_v
    rise = np.exp(full / ideality) - np.exp(short / ideality)
    saturation = (module.i_sc_a - (full - short) / shunt) / rise
    return float(saturation * np.expm1(full / ideality) + full / shunt), float(saturation)


def _misfit(x: Floats, module: Module, shunt_weight: float, start: Floats) -> Floats:
    """Residuals: current at the maximum, slope of power there, voltage's temperature coefficient, weak pull of the shunt."""
    ideality, series, shunt = x
    photocurrent, saturation = _through_ends(ideality, series, shunt, module)
    inner = module.v_mp_v + module.i_mp_a * series
    grown = saturation * np.exp(inner / ideality)
    current = photocurrent - (grown - saturation) - inner / shunt
    conductance = grown / ideality + 1.0 / shunt
    slope = conductance / (1.0 + series * conductance)
    beta = module.temp_coeff_v_oc_pct_c / 100.0 * module.v_oc_v
    scaled = scale(
        photocurrent, saturation, shunt, ideality, module.temp_coeff_i_sc_pct_c / 100.0 * module.i_sc_a, 1000.0, 35.0
    )
    warm = module.v_oc_v + 10.0 * beta
    open_circuit = scaled[0] - scaled[1] * np.expm1(warm / scaled[3]) - warm / scaled[2]
    return np.array([
        (current / module.i_mp_a - 1.0) * 20.0,
        (slope * module.v_mp_v / module.i_mp_a - 1.0) * 5.0,
        open_circuit / module.i_sc_a * 2.0,
        (np.log(shunt) - start[2]) / shunt_weight * 0.1,
    ])  # fmt: skip


def scale(
    photocurrent: float,
    saturation: float,
    shunt: float,
    ideality: float,
    alpha_a_c: float,
    poa: ArrayLike,
    cell_c: ArrayLike,
) -> tuple[Floats, Floats, Floats, Floats]:
    """De Soto's parameters at other irradiance and cell temperature.

    Parameters
    ----------
    photocurrent, saturation : float
        At standard test conditions. [A]
    shunt : float
        Likewise. [ohm]
    ideality : float
        Modified ideality, likewise. [V]
    alpha_a_c : float
        Short-circuit current's coefficient. [A/deg C]
    poa, cell_c : float or ndarray that broadcast
        NaN in, NaN out. [W/m2], [deg C]

    Returns
    -------
    photocurrent, saturation, shunt, ideality : ndarray, broadcast shape
        Shunt is infinite in the dark. [A], [A], [ohm], [V]

    References
    ----------
    .. [1] W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80(1), 78-88, 2006, doi:10.1016/j.solener.2005.06.010.
    """
    kelvin, ratio = np.asarray(cell_c, float) + 273.15, np.asarray(poa, float) / 1000.0
    relative = kelvin / 298.15
    gap = 1.121 * (1.0 - 0.0002677 * (kelvin - 298.15))
    boltzmann = 8.617333262e-5
    grown = saturation * relative**3 * np.exp(1.121 / (boltzmann * 298.15) - gap / (boltzmann * kelvin))
    with np.errstate(divide="ignore"):
        return ratio * (photocurrent + alpha_a_c * (kelvin - 298.15)), grown, shunt / ratio, ideality * relative
