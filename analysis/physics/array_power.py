"""What the array can give: maximum power, its voltage and current at the controller's input, and what lies off maximum.

Flow: site facts -> single_diode.py -> HERE (tabulated once) -> expected.py, operating_state.py
Never: sky, learning, I/O. Factors of what soils or bypasses come in as arguments.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pvlib import pvsystem

from analysis.physics.cable import dc_loop_ohm
from analysis.physics.grid import Plane
from analysis.physics.numbers_only import as_numbers
from analysis.physics.reason import Reason
from analysis.physics.single_diode import Diode, curve_points, fit_diode, scale
from logger.record.site_facts import Array

Floats = NDArray[np.float64]

POA_STEP_W_M2, POA_NODES = 10.0, 161
CELL_LOWEST_C, CELL_STEP_C, CELL_NODES = -30.0, 5.0, 29
POA_MOST_W_M2 = POA_STEP_W_M2 * (POA_NODES - 1)
CELL_HIGHEST_C = CELL_LOWEST_C + CELL_STEP_C * (CELL_NODES - 1)
DARK_W_M2 = 0.5
"""The first node stands for this instead of darkness, where the circuit has no voltage to tell."""
LIGHT_SHARE = 0.98 * 0.995 * 0.985 * 0.99
"""What no nameplate states and every array loses: mismatch 2 %, connections 0.5 %, light-induced degradation 1.5 % (defaults of
A. P. Dobos, PVWatts version 5 manual, NREL/TP-6A20-62641, 2014), and 1 % for a tracker that looks about (common practice)."""
CABLE_C = 40.0
"""Array cable in the sun: common practice, no source."""

POWER_W, VOLTAGE_V, CURRENT_A, OPEN_CIRCUIT_V, SHORT_CIRCUIT_A = range(5)


@dataclass(frozen=True)
class ArrayModel:
    """The array of one site. Build with `array_model`.

    `table` holds maximum power [W], its voltage [V] and current [A] behind the array cable, open-circuit voltage [V] and
    short-circuit current [A], over effective irradiance [W/m2] and cell temperature [deg C].
    """

    diode: Diode
    modules_in_series: int
    strings: int
    loop_ohm: float
    table: Plane

    def maximum(
        self, poa_w_m2: ArrayLike, cell_c: ArrayLike, current_factor: float = 1.0, voltage_factor: float = 1.0
    ) -> tuple[Floats, Floats, Floats]:
        """Maximum power, its voltage and current, looked up.

        Parameters
        ----------
        poa_w_m2, cell_c : float or array-like that broadcast
            Plane-of-array irradiance, 0 to 1600, and cell temperature, -30 to 110. [W/m2], [deg C]
        current_factor : float
            Share of the light that reaches and of the strings that work: soiling, shade, strings. [-]
        voltage_factor : float
            Share of the cells in series that work: bypassed modules. [-]

        Returns
        -------
        power_w, voltage_v, current_a : ndarray, broadcast shape
            At the controller's input, with LIGHT_SHARE of the light. Within 0.1 % + 0.1 W per kWp of the circuit solved row by row above 50 W/m2
            (tested). In darkness 0, all three. NaN where an input is NaN or out of its range: `maximum_reason` says which.
        """
        poa, cell = np.broadcast_arrays(as_numbers(poa_w_m2, "poa_w_m2"), as_numbers(cell_c, "cell_c"))
        found = self.held_maximum(np.ravel(poa), np.ravel(cell), current_factor, voltage_factor)
        valid, dark = self.maximum_reason(poa, cell) == Reason.OK, poa == 0.0
        power, voltage, current = (
            np.where(valid, np.where(dark, 0.0, values.reshape(poa.shape)), np.nan) for values in found
        )
        return power, voltage, current

    @staticmethod
    def maximum_reason(poa_w_m2: ArrayLike, cell_c: ArrayLike) -> NDArray[np.uint8]:
        """Why `maximum` gives no value: `Reason` codes, of the broadcast shape. [W/m2], [deg C] -> [-]"""
        poa, cell = np.broadcast_arrays(as_numbers(poa_w_m2, "poa_w_m2"), as_numbers(cell_c, "cell_c"))
        reason = np.full(poa.shape, Reason.OK, np.uint8)
        reason[(cell < CELL_LOWEST_C) | (cell > CELL_HIGHEST_C) | (poa > POA_MOST_W_M2)] = Reason.OUT_OF_RANGE
        reason[poa < 0.0] = Reason.IMPOSSIBLE
        reason[np.isnan(poa) | np.isnan(cell)] = Reason.MISSING
        return reason

    def held_maximum(
        self, poa_w_m2: Floats, cell_c: Floats, current_factor: float = 1.0, voltage_factor: float = 1.0
    ) -> tuple[Floats, Floats, Floats]:
        """`maximum` of measured rows: an edge's value beyond the edge. float64[n] each. [W/m2], [deg C] -> [W], [V], [A]

        A cloud's edge sends more than 1600 W/m2 for a minute, a sensor's offset is below 0 at night: both are readings. What no
        instrument says, `SiteModel.expect` leaves out before. In darkness the voltage is that of the first light.
        """
        light = poa_w_m2 if current_factor == 1.0 else poa_w_m2 * current_factor
        power, voltage, current = self.table(light, cell_c, (POWER_W, VOLTAGE_V, CURRENT_A))
        if voltage_factor == 1.0:
            return power, voltage, current
        return power * voltage_factor, voltage * voltage_factor, current

    def voltage_at_maximum(self, poa_w_m2: Floats, cell_c: Floats) -> Floats:
        """Of `maximum`, only the voltage, all strings and cells at work. [W/m2], [deg C] -> [V]"""
        return self.table(poa_w_m2, cell_c, (VOLTAGE_V,))[0]

    def current_at(self, voltage_v: ArrayLike, poa_w_m2: ArrayLike, cell_c: ArrayLike) -> Floats:
        """Current that the array gives at a voltage that the controller chose; 0 above open circuit. [A]

        Solved, not looked up: for blocks of interest, not for seasons. The array cable's drop is in it. NaN in, NaN out.
        """
        circuit = _circuit(self.diode, LIGHT_SHARE * np.asarray(poa_w_m2, float), np.asarray(cell_c, float))
        series = self.diode.series_ohm + self.loop_ohm * self.strings / self.modules_in_series
        module_v = np.asarray(voltage_v, float) / self.modules_in_series / _trim(self.diode, cell_c)
        return np.maximum(pvsystem.i_from_v(module_v, *circuit[:2], series, *circuit[2:]), 0.0) * self.strings

    def light_of(self, voltage_v: ArrayLike, current_a: ArrayLike, cell_c: ArrayLike) -> Floats:
        """Plane-of-array irradiance that the operating point itself tells, wherever on the curve it lies, of a clean array. [W/m2]

        The single-diode equation solved for the photocurrent: explicit. Useless near open circuit, where it is all diode: NaN
        where the diode takes more than three quarters of the light. NaN in, NaN out.
        """
        diode, cell = self.diode, np.asarray(cell_c, float)
        series = diode.series_ohm + self.loop_ohm * self.strings / self.modules_in_series
        current = np.asarray(current_a, float) / self.strings
        inner = np.asarray(voltage_v, float) / self.modules_in_series / _trim(self.diode, cell) + current * series
        light, saturation, _, ideality = scale(
            diode.photocurrent_a,
            diode.saturation_a,
            diode.shunt_ohm,
            diode.modified_ideality_v,
            diode.alpha_a_c,
            1000.0,
            cell,
            diode.gap_ev,
        )
        lost = saturation * np.expm1(np.minimum(inner / ideality, 60.0))
        # the shunt conducts in proportion to the light (De Soto), hence the divisor
        share = light - inner / diode.shunt_ohm
        poa = 1000.0 / LIGHT_SHARE * (current + lost) / share
        return np.where(lost < 3.0 * np.maximum(current, 1e-9), np.maximum(poa, 0.0), np.nan)


def array_model(array: Array) -> ArrayModel:
    """Tabulate a site's array.

    Parameters
    ----------
    array : Array
        Site facts: layout [-], module [W], [V], [A], cable [m], [mm2].

    Returns
    -------
    ArrayModel
        Power [W], voltage [V] and current [A] behind the array cable.

    Raises
    ------
    ValueError
        A datasheet without a circuit (`fit_diode`).

    References
    ----------
    .. [1] W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80(1), 78-88, 2006, doi:10.1016/j.solener.2005.06.010.
    """
    diode = fit_diode(array.module)
    loop = 0.0
    if array.cable_length_m and array.cable_mm2:
        loop = dc_loop_ohm(array.cable_length_m, array.cable_mm2, CABLE_C)
    poa = np.maximum(np.arange(POA_NODES) * POA_STEP_W_M2, DARK_W_M2)[:, None]
    cell = (CELL_LOWEST_C + np.arange(CELL_NODES) * CELL_STEP_C)[None, :]
    values = np.stack(
        solve_maximum(diode, array.modules_in_series, array.strings, loop, LIGHT_SHARE * poa, cell), axis=-1
    )
    values[0, :, [POWER_W, CURRENT_A, SHORT_CIRCUIT_A]] = 0.0
    table = Plane((0.0, CELL_LOWEST_C), (POA_STEP_W_M2, CELL_STEP_C), np.ascontiguousarray(values))
    return ArrayModel(diode, array.modules_in_series, array.strings, loop, table)


def solve_maximum(
    diode: Diode, in_series: int, strings: int, loop_ohm: float, poa_w_m2: ArrayLike, cell_c: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Maximum power, its voltage and current, open-circuit voltage, short-circuit current: the circuit itself.

    Parameters
    ----------
    diode : Diode
        One module's circuit. [A], [V], [ohm]
    in_series, strings : int
        Layout. [-]
    loop_ohm : float
        Array cable, there and back. [ohm]
    poa_w_m2, cell_c : float or ndarray that broadcast
        Light on the cells, without LIGHT_SHARE (the datasheet's own), and their temperature; NaN in, NaN out. [W/m2], [deg C]

    Returns
    -------
    power, voltage, current, open-circuit voltage, short-circuit current : ndarray, broadcast shape
        [W], [V], [A], [V], [A]

    Notes
    -----
    A trim of the voltage brings power over temperature to the datasheet's coefficient where the circuit alone would miss it; the
    open-circuit voltage is the circuit's own, whose band gap has it at the datasheet's coefficient (`fit_diode`).

    References
    ----------
    .. [1] W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80(1), 78-88, 2006, doi:10.1016/j.solener.2005.06.010.
    """
    poa, cell = np.broadcast_arrays(np.asarray(poa_w_m2, float), np.asarray(cell_c, float))
    shape, poa, cell = poa.shape, poa.ravel(), cell.ravel()
    light, saturation, shunt, ideality = _circuit(diode, poa, cell)
    points = curve_points(light, saturation, diode.series_ohm, shunt, ideality)
    module_a, module_v, open_v, short_a = (point.reshape(shape) for point in points)
    trim = _trim(diode, cell.reshape(shape))
    current = strings * module_a
    voltage = in_series * module_v * trim - current * loop_ohm
    return current * voltage, voltage, current, in_series * open_v, strings * short_a


def _circuit(diode: Diode, poa: Floats, cell: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    return scale(
        diode.photocurrent_a,
        diode.saturation_a,
        diode.shunt_ohm,
        diode.modified_ideality_v,
        diode.alpha_a_c,
        poa,
        cell,
        diode.gap_ev,
    )


def _trim(diode: Diode, cell_c: ArrayLike) -> Floats:
    return 1.0 + diode.trim_per_c * (np.asarray(cell_c, float) - 25.0)
