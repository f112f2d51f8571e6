"""A module's datasheet as a single-diode circuit.

Flow: site_facts.Module -> HERE -> array_power.py
Never: strings, cables, sky.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from analysis.physics.slopes import with_slopes
from logger.record.site_facts import Module

Floats = NDArray[np.float64]

THERMAL_V = 1.380649e-23 * 298.15 / 1.602176634e-19
"""kT/q at 25 deg C. [V]"""
CELL_OPEN_CIRCUIT_V = 0.63
"""Open-circuit voltage of one crystalline cell, to guess how many are in series (only the ideality's name hangs on it)."""

STEPS, CLOSE = 60, 1e-9
"""Newton's steps at most; the last is the square of one smaller than `CLOSE` of the ideality."""

WARM_C = 55.0
"""Where the temperature coefficients are met besides 25 deg C: a usual working temperature."""

LOW_W_M2 = 200.0
"""Where IEC 61215 has a module measured at low irradiance."""
LOW_LIGHT_SHARE = 0.96
"""Efficiency at `LOW_W_M2` and 25 deg C over that at 1000 W/m2, of crystalline modules: the middle of the 30 newest (2009 on) of the 381 that Sandia
measured outdoors, scatter 0.02 (D. L. King et al., SAND2004-3535, and the database that pvlib 0.16.1 carries; of all of them 0.946). Circuits that the
California Energy Commission's list gives to datasheets have 0.985, scatter 0.02 (250 drawn of it): what was measured counts."""
GAP_EV = 1.121
"""Silicon's band gap at 25 deg C (De Soto et al.)."""
BOLTZMANN_EV_K = 8.617333262e-5


@dataclass(frozen=True)
class Diode:
    """De Soto's five parameters at 1000 W/m2 and 25 deg C, and what the datasheet adds.

    `gap_ev`: what makes the open-circuit voltage follow the datasheet's coefficient. `trim_per_c`: what brings the circuit's maximum power over temperature to the datasheet's coefficient, a factor on voltage
    [1/deg C]. `misfit`: largest relative error at the datasheet's own three points.
    """

    photocurrent_a: float
    saturation_a: float
    series_ohm: float
    shunt_ohm: float
    modified_ideality_v: float
    alpha_a_c: float
    gap_ev: float
    trim_per_c: float
    misfit: float


def fit_diode(module: Module, low_light_share: float = LOW_LIGHT_SHARE) -> Diode:
    """The circuit that goes through the datasheet's points.

    Short circuit and open circuit are met exactly; series and shunt resistance and ideality are sought so that the maximum
    lies at the datasheet's voltage and current and weak light is used as measured modules use it. Bounded least
    squares, so that a rounded or contradictory datasheet still gives a physical circuit: `misfit` says how well.

    Parameters
    ----------
    module : Module
        The datasheet: [W], [V], [A], coefficients in [%/deg C].
    low_light_share : float
        Efficiency at 200 W/m2 and 25 deg C over that at 1000 W/m2. [-]

    Returns
    -------
    Diode
        Of one module: currents [A], resistances [ohm], modified ideality factor [V].

    Raises
    ------
    ValueError
        The maximum lies outside the rectangle of open circuit and short circuit.

    Notes
    -----
    De Soto et al. [1]_ take the ideality from the open-circuit voltage's temperature coefficient, silicon's band gap given. Against 381 measured
    modules that puts it too low and the series resistance too high: power at 500 W/m2 2.2 % over what was measured, at 200 W/m2 5 %. That the
    resistances and the ideality of a module show in weak light, and are to be taken from there, is from [2]_ (from memory); the coefficient
    then sets the gap instead.

    References
    ----------
    .. [1] W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80(1), 78-88, 2006, doi:10.1016/j.solener.2005.06.010.
    .. [2] K. J. Sauer, T. Roessler, C. W. Hansen, IEEE Journal of Photovoltaics 5(1), 152-158, 2015, doi:10.1109/JPHOTOV.2014.2364133.
    """
    if not (module.v_mp_v < module.v_oc_v and module.i_mp_a < module.i_sc_a):
        raise ValueError("the module's v_mp_v must be below v_oc_v and i_mp_a below i_sc_a")
    cells = max(1.0, round(module.v_oc_v / CELL_OPEN_CIRCUIT_V))
    lowest = np.log([0.85 * cells * THERMAL_V, 1e-4 * module.v_mp_v / module.i_mp_a, 5 * module.v_mp_v / module.i_mp_a])
    highest = np.log(
        [2.2 * cells * THERMAL_V, 0.4 * module.v_mp_v / module.i_mp_a, 1e4 * module.v_mp_v / module.i_mp_a]
    )
    start = np.log([1.1 * cells * THERMAL_V, 0.04 * module.v_mp_v / module.i_mp_a, 100 * module.v_mp_v / module.i_mp_a])
    fun, jac = with_slopes(lambda x: _misfit(np.exp(x), module, low_light_share, np.log(100.0), start), lowest, highest)
    found = least_squares(fun, start, jac, bounds=(lowest, highest))
    ideality, series, shunt = (float(v) for v in np.exp(found.x))
    photocurrent, saturation = _through_ends(ideality, series, shunt, module)
    alpha = module.temp_coeff_i_sc_pct_c / 100.0 * module.i_sc_a
    gap = _gap(module, photocurrent, saturation, shunt, ideality)
    cell = np.array([25.0, WARM_C])
    circuit = scale(photocurrent, saturation, shunt, ideality, alpha, np.full(2, 1000.0), cell, gap)
    current, voltage, open_v, short_a = curve_points(*circuit[:2], series, *circuit[2:])
    wanted = (module.i_mp_a, module.v_mp_v, module.v_oc_v, module.i_sc_a)
    points = (current, voltage, open_v, short_a)
    misfit = max(abs(float(point[0]) / value - 1.0) for point, value in zip(points, wanted, strict=True))
    warm_w, cool_w = float(current[1] * voltage[1]), float(current[0] * voltage[0])
    own = (warm_w / cool_w - 1.0) / (WARM_C - 25.0)
    trim = module.temp_coeff_p_mp_pct_c / 100.0 - own
    return Diode(photocurrent, saturation, series, shunt, ideality, alpha, gap, trim, misfit)


def _through_ends(ideality: float, series: float, shunt: float, module: Module) -> tuple[float, float]:
    """Photo and saturation current that meet short circuit and open circuit exactly."""
    short, full = module.i_sc_a * series, module.v_oc_v
    rise = np.exp(full / ideality) - np.exp(short / ideality)
    saturation = (module.i_sc_a - (full - short) / shunt) / rise
    return float(saturation * np.expm1(full / ideality) + full / shunt), float(saturation)


def _misfit(x: Floats, module: Module, low_light_share: float, shunt_weight: float, start: Floats) -> Floats:
    """Residuals: current at the maximum, slope of power there, power in weak light, weak pull of the shunt."""
    ideality, series, shunt = x
    photocurrent, saturation = _through_ends(ideality, series, shunt, module)
    inner = module.v_mp_v + module.i_mp_a * series
    grown = saturation * np.exp(inner / ideality)
    current = photocurrent - (grown - saturation) - inner / shunt
    conductance = grown / ideality + 1.0 / shunt
    slope = conductance / (1.0 + series * conductance)
    share = LOW_W_M2 / 1000.0
    low_w = _most_w(share * photocurrent, saturation, float(series), float(shunt / share), float(ideality))
    return np.array([
        (current / module.i_mp_a - 1.0) * 20.0,
        (slope * module.v_mp_v / module.i_mp_a - 1.0) * 5.0,
        (low_w / (share * module.v_mp_v * module.i_mp_a) - low_light_share) * 5.0,
        (np.log(shunt) - start[2]) / shunt_weight * 0.05,
    ])  # fmt: skip


def _gap(module: Module, photocurrent: float, saturation: float, shunt: float, ideality: float) -> float:
    """With which the open-circuit voltage at `WARM_C` is the datasheet's. [eV]"""
    warmer, kelvin = WARM_C - 25.0, WARM_C + 273.15
    open_v = module.v_oc_v * (1.0 + module.temp_coeff_v_oc_pct_c / 100.0 * warmer)
    light = photocurrent + module.temp_coeff_i_sc_pct_c / 100.0 * module.i_sc_a * warmer
    grown = (light - open_v / shunt) / np.expm1(open_v / (ideality * kelvin / 298.15))
    per_ev = (1.0 / 298.15 - _narrowed(kelvin) / kelvin) / BOLTZMANN_EV_K
    return float(np.log(grown / saturation / (kelvin / 298.15) ** 3) / per_ev)


def _narrowed(kelvin: ArrayLike) -> Floats:
    """The gap over that at 25 deg C."""
    return 1.0 - 0.0002677 * (np.asarray(kelvin, float) - 298.15)


def scale(
    photocurrent: float,
    saturation: float,
    shunt: float,
    ideality: float,
    alpha_a_c: float,
    poa: ArrayLike,
    cell_c: ArrayLike,
    gap_ev: float = GAP_EV,
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
    gap_ev : float
        At 25 deg C. [eV]

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
    exponent = gap_ev / BOLTZMANN_EV_K * (1.0 / 298.15 - _narrowed(kelvin) / kelvin)
    grown = saturation * relative**3 * np.exp(exponent)
    with np.errstate(divide="ignore"):
        return ratio * (photocurrent + alpha_a_c * (kelvin - 298.15)), grown, shunt / ratio, ideality * relative


def curve_points(
    light: Floats, saturation: Floats, series_ohm: float, shunt: Floats, ideality: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Maximum power's current and voltage, open-circuit voltage and short-circuit current of a single-diode circuit.

    Parameters
    ----------
    light, saturation : float64[n]
        Photocurrent and saturation current, as `scale` gives them. [A]
    series_ohm : float
        [ohm]
    shunt, ideality : float64[n]
        Shunt and modified ideality, as `scale` gives them. [ohm], [V]

    Returns
    -------
    current_a, voltage_v, open_circuit_v, short_circuit_a : float64[n]
        NaN in, NaN out. [A], [V], [V], [A]

    Notes
    -----
    All is explicit in the voltage across the diode [1]_, so that Newton's steps solve whole tables at once; they begin where the diode
    alone takes all light, to the right of each answer but the last, from where they cannot overshoot.

    References
    ----------
    .. [1] J. W. Bishop, Solar Cells 25(1), 73-89, 1988, doi:10.1016/0379-6787(88)90059-2.
    """
    circuit = _Circuit(light, saturation, series_ohm, shunt, ideality)
    at_open, at_most = circuit._newton(circuit.unshunted_v, circuit._past_open), circuit.at_maximum()
    at_short = circuit._newton(series_ohm * light, circuit._past_short)
    current = circuit._taken(at_most)[0]
    return current, at_most - series_ohm * current, at_open, circuit._taken(at_short)[0]


def _most_w(light: float, saturation: float, series: float, shunt: float, ideality: float) -> float:
    """Maximum power of one circuit, as `_Circuit` finds it for many: bit for bit: plain numbers cost a third of arrays of one. NaN where there is none. [W]"""
    if not (light > 0.0 and saturation > 0.0):
        return float("nan")
    inner = ideality * float(np.log1p(light / saturation))
    for _ in range(STEPS):
        current, conductance, bend = _one_taken(inner, light, saturation, shunt, ideality)
        divisor, voltage = 1.0 + series * conductance, inner - series * current
        step = (current - voltage * conductance / divisor) / (-2.0 * conductance - voltage * bend / divisor**2)
        inner -= step
        if not abs(step) > CLOSE * ideality:
            break
    current = _one_taken(inner, light, saturation, shunt, ideality)[0]
    return current * (inner - series * current)


def _one_taken(
    inner: float, light: float, saturation: float, shunt: float, ideality: float
) -> tuple[float, float, float]:
    grown = saturation * float(np.exp(inner / ideality))
    return light - (grown - saturation) - inner / shunt, grown / ideality + 1.0 / shunt, grown / (ideality * ideality)


@dataclass(frozen=True)
class _Circuit:
    """What `curve_points` takes; every method is of the voltage across the diode, and all but `_taken` give a miss and its slope."""

    light: Floats
    saturation: Floats
    series_ohm: float | Floats
    shunt: Floats
    ideality: Floats

    @property
    def unshunted_v(self) -> Floats:
        """Where the diode alone takes all light. [V]"""
        return self.ideality * np.log1p(self.light / self.saturation)

    def at_maximum(self) -> Floats:
        """Voltage across the diode at maximum power. [V]"""
        return self._newton(self.unshunted_v, self._past_maximum)

    def _taken(self, inner: Floats) -> tuple[Floats, Floats, Floats]:
        """Current, conductance and its slope. [A], [A/V], [A/V2]"""
        grown = self.saturation * np.exp(inner / self.ideality)
        current = self.light - (grown - self.saturation) - inner / self.shunt
        return current, grown / self.ideality + 1.0 / self.shunt, grown / self.ideality**2

    def _past_open(self, inner: Floats) -> tuple[Floats, Floats]:
        current, conductance, _ = self._taken(inner)
        return current, -conductance

    def _past_short(self, inner: Floats) -> tuple[Floats, Floats]:
        current, conductance, _ = self._taken(inner)
        return inner - self.series_ohm * current, 1.0 + self.series_ohm * conductance

    def _past_maximum(self, inner: Floats) -> tuple[Floats, Floats]:
        """Slope of power over voltage, but for a factor that is never 0."""
        current, conductance, bend = self._taken(inner)
        divisor = 1.0 + self.series_ohm * conductance
        voltage = inner - self.series_ohm * current
        return current - voltage * conductance / divisor, -2.0 * conductance - voltage * bend / divisor**2

    def _newton(self, inner: Floats, missed: Callable[[Floats], tuple[Floats, Floats]]) -> Floats:
        for _ in range(STEPS):
            miss, slope = missed(inner)
            step = miss / slope
            inner = inner - step
            if not (np.abs(step) > CLOSE * self.ideality).any():
                break
        return inner
