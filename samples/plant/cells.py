"""A photovoltaic module as a single diode with series and shunt resistance, written in its junction voltage.

Flow: datasheet -> `cells_of`; light and temperature -> operating points -> array.py.
Never: strings, dust, shade.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from logger.record.site_facts import Module

Floats = NDArray[np.float64]
VOLT_PER_CELL = 0.632  # open circuit; only sets how many cells a module is taken to have
BOLTZMANN_OVER_CHARGE = 8.617333e-5
STC_K = 298.15


@dataclass(frozen=True)
class Cells:
    """`slope_v`: ideality x cells x thermal voltage at 25 deg C; `coefficient`: open-circuit voltage per deg C."""

    light_a: float
    dark_a: float
    slope_v: float
    series_ohm: float
    shunt_ohm: float
    v_oc_v: float
    voc_per_c: float
    isc_per_c: float


def current_and_voltage(light_a, dark_a, slope_v, series_ohm, shunt_ohm, junction_v):
    """Terminal current and voltage at a junction voltage; any shapes that broadcast. [A, V]"""
    current = light_a - dark_a * np.expm1(junction_v / slope_v) - junction_v / shunt_ohm
    return current, junction_v - current * series_ohm


def best_junction_v(light_a, dark_a, slope_v, series_ohm, shunt_ohm, open_v):
    """Junction voltage of greatest power, by Newton's rule on the power's slope. Shapes broadcast. [V]"""
    junction = 0.86 * np.asarray(open_v, float)
    for _ in range(9):
        grown = dark_a * np.exp(np.minimum(junction / slope_v, 700.0))
        current = light_a - (grown - dark_a) - junction / shunt_ohm
        slope = -(grown / slope_v + 1.0 / shunt_ohm)
        bend = -grown / slope_v**2
        rise = current + junction * slope - 2.0 * series_ohm * current * slope
        turn = 2 * slope + junction * bend - 2.0 * series_ohm * (slope**2 + current * bend)
        step = np.clip(rise / np.minimum(turn, -1e-12), -0.2 * open_v, 0.2 * open_v)
        junction = np.clip(junction - step, 0.0, open_v)
    return junction


def cells_of(module: Module) -> Cells:
    """The diode whose open circuit, short circuit and maximum power are the datasheet's.

    ValueError: no series resistance of 0 or more reaches the datasheet's maximum power.
    """
    count = max(1, round(module.v_oc_v / VOLT_PER_CELL))
    slope, shunt = 1.04 * count * BOLTZMANN_OVER_CHARGE * STC_K, 120.0 * module.v_oc_v / module.i_sc_a

    def diode(series: float) -> tuple[float, float]:
        light = module.i_sc_a * (1 + series / shunt)
        return light, (light - module.v_oc_v / shunt) / np.expm1(module.v_oc_v / slope)

    def power(series: float) -> float:
        light, dark = diode(series)
        best = best_junction_v(light, dark, slope, series, shunt, module.v_oc_v)
        current, volts = current_and_voltage(light, dark, slope, series, shunt, best)
        return float(current * volts) - module.p_mp_w

    most = 0.35 * module.v_oc_v / module.i_sc_a
    if power(0.0) < 0 or power(most) > 0:
        raise ValueError(f"no diode fits p_mp_w = {module.p_mp_w}; v_mp_v, i_mp_a, v_oc_v and i_sc_a must fit together")
    series = float(brentq(power, 0.0, most))
    light, dark = diode(series)
    return Cells(
        light, float(dark), slope, series, shunt, module.v_oc_v,
        module.v_oc_v * module.temp_coeff_v_oc_pct_c / 100.0, module.temp_coeff_i_sc_pct_c / 100.0,
    )  # fmt: skip


def lit_and_warm(cells: Cells, light_w_m2: Floats, cell_c: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Light current, dark current, slope and open-circuit voltage of one module at light and temperature.

    The dark current is what makes the open-circuit voltage at full light fall by the datasheet's coefficient.
    """
    warmer = cell_c - 25.0
    light = cells.light_a * np.maximum(light_w_m2, 1e-3) / 1000.0 * (1 + cells.isc_per_c * warmer)
    slope = cells.slope_v * (cell_c + 273.15) / STC_K
    open_full = cells.v_oc_v + cells.voc_per_c * warmer
    full = cells.light_a * (1 + cells.isc_per_c * warmer)
    dark = (full - open_full / cells.shunt_ohm) / np.expm1(open_full / slope)
    open_v = slope * np.log1p(np.maximum(light - 0.5 * open_full / cells.shunt_ohm, 1e-9) / dark)
    for _ in range(2):
        left = light - dark * np.expm1(open_v / slope) - open_v / cells.shunt_ohm
        open_v = open_v + left / (dark / slope * np.exp(open_v / slope) + 1.0 / cells.shunt_ohm)
    return light, dark, slope, np.maximum(open_v, 0.0)
