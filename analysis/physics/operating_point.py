"""Where pump and installation meet: the flow for a power or a speed, for whole seasons at once.

Flow: PumpModel, SystemCurve -> HERE -> expected.py. Head depends on flow, so flow has to be solved for; here it is solved
once into tables over (power or speed, base lift) and looked up. Base lift is all of the head that does not depend on flow.
Never: I/O, pandas, a Python loop over rows.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.blocks import in_blocks
from analysis.physics.pump_lookup import Ladder, Sheet
from analysis.physics.pump_model import PumpModel
from analysis.physics.system_curve import SystemCurve

Floats = NDArray[np.float64]

LIFTS, STEPS, FLOWS = 193, 193, 600


@dataclass(frozen=True)
class OperatingTable:
    """Flow over drive (power or speed) and base lift, for one way that head grows with flow."""

    lift_low_m: float
    lift_high_m: float
    drive_low: Ladder
    drive_span: Ladder
    flow: Sheet

    @in_blocks
    def at(self, drive: ArrayLike, base_lift_m: ArrayLike) -> Floats:
        """Flow; 0 where the drive does not lift, NaN outside the pump's validity. [W or 1/min], [m] -> [m3/h]"""
        lift, given = np.broadcast_arrays(
            np.atleast_1d(np.asarray(base_lift_m, float)), np.atleast_1d(np.asarray(drive, float))
        )
        share = (self.lift_high_m - lift) / (self.lift_high_m - self.lift_low_m)
        share[~((share >= 0) & (share <= 1))] = np.nan
        v = 1.0 - np.sqrt(share, out=share)
        u = (given - self.drive_low.at(v)) / self.drive_span.at(v)
        u[~((u <= 1.0) & (given >= 0))] = np.nan
        np.maximum(u, 0.0, out=u)
        return self.flow.at(np.sqrt(u, out=u), v)


def operating_table(
    pump: PumpModel, loss_m: Callable[[Floats], Floats], drive: str, flow_max_m3_h: float | None = None
) -> OperatingTable:
    """Solve pump against installation on a grid.

    Parameters
    ----------
    pump : PumpModel
        The pump.
    loss_m : callable
        Head that flow adds, float64[...] [m3/h] to float64[...] [m]; 0 at no flow, rising.
    drive : str
        "power" or "speed".
    flow_max_m3_h : float, optional
        Largest flow of the grid; from the pump where not given. [m3/h]

    Returns
    -------
    OperatingTable

    Raises
    ------
    ValueError
        `drive` is neither, or speed is asked of a pump whose table has none.

    Notes
    -----
    Along one base lift, drive is an explicit and rising function of flow, so each column is turned round by interpolation
    instead of solved. Error against the exact solution: tested, below 0.2 % of the largest flow; about a tenth at the cliffs of coarsely rounded
    tables of 16 rows and more (see pump_lookup.py).

    References
    ----------
    .. [1] F. M. White, Fluid Mechanics, ch. 11, matching pumps to systems. From memory.
    """
    if drive not in ("power", "speed"):
        raise ValueError(f"drive must be 'power' or 'speed', got {drive!r}")
    if drive == "speed" and not pump.speed_known:
        raise ValueError("speed: the pump's table has no speed_rpm; ask with drive='power'")
    wanted = pump.power_of_flow if drive == "power" else pump.speed_of_flow
    low, high = pump.head_limits_m
    lifts = high - (high - low) * np.linspace(1, 0, LIFTS) ** 2
    top = flow_max_m3_h or 1.3 * pump.flow_max_m3_h
    flows = top * np.linspace(0, 1, FLOWS)[:, None] ** 1.5
    heads = lifts + loss_m(flows)
    drives = wanted(np.broadcast_to(flows, heads.shape), heads)
    u = np.linspace(0, 1, STEPS) ** 2
    sheet, begin, span = np.empty((STEPS, LIFTS)), np.empty(LIFTS), np.empty(LIFTS)
    for column in range(LIFTS):  # over the grid's columns, once a site
        known = ~np.isnan(drives[:, column])
        usable = int(np.argmin(known)) if not known.all() else FLOWS
        if usable < 2:
            sheet[:, column], begin[column], span[column] = 0.0, begin[column - 1] if column else 0.0, 1e-9
            continue
        rising = np.maximum.accumulate(drives[:usable, column])
        begin[column], span[column] = rising[0], max(rising[-1] - rising[0], 1e-9)
        sheet[:, column] = np.interp(begin[column] + u * span[column], rising, flows[:usable, 0])
    return OperatingTable(low, high, Ladder(begin), Ladder(span), Sheet(sheet.ravel(), STEPS, LIFTS))


class OperatingPoint:
    """One site's pump in its well and pipes. Tables are made when first asked for.

    What is measured replaces what is computed, row by row: a NaN level or pressure falls back to the facts.
    """

    def __init__(self, pump: PumpModel, system: SystemCurve, friction_factor: float = 1.0) -> None:
        self.pump, self.system, self.friction_factor = pump, system, friction_factor
        self._tables: dict[tuple[str, bool, bool], OperatingTable] = {}

    def flow_of_power(
        self,
        power_w: ArrayLike,
        level_m: ArrayLike | None = None,
        pressure_bar: ArrayLike | None = None,
        extra_lift_m: ArrayLike = 0.0,
    ) -> Floats:
        """Flow that this power lifts here, healthy. [W], [m], [bar], [m] -> [m3/h]"""
        return self._by_what_is_measured("power", power_w, level_m, pressure_bar, extra_lift_m)

    def flow_of_speed(
        self,
        speed_rpm: ArrayLike,
        level_m: ArrayLike | None = None,
        pressure_bar: ArrayLike | None = None,
        extra_lift_m: ArrayLike = 0.0,
    ) -> Floats:
        """Flow that this speed lifts here, healthy. ValueError where the pump's table has no speeds. [1/min] -> [m3/h]"""
        return self._by_what_is_measured("speed", speed_rpm, level_m, pressure_bar, extra_lift_m)

    def head_m(
        self,
        flow_m3_h: ArrayLike,
        level_m: ArrayLike | None = None,
        pressure_bar: ArrayLike | None = None,
        extra_lift_m: ArrayLike = 0.0,
    ) -> Floats:
        """Total head at this flow. [m3/h], [m], [bar], [m] -> [m]"""
        return self.system.head_m(flow_m3_h, level_m, pressure_bar, self.friction_factor, extra_lift_m)

    def table(self, drive: str, level_known: bool, pressure_known: bool) -> OperatingTable:
        """The table for what is measured."""
        key = (drive, level_known, pressure_known)
        if key not in self._tables:
            self._tables[key] = operating_table(self.pump, self._loss(level_known, pressure_known), drive)
        return self._tables[key]

    def _loss(self, level_known: bool, pressure_known: bool) -> Callable[[Floats], Floats]:
        system, factor = self.system, self.friction_factor

        def loss(flow: Floats) -> Floats:
            head = factor * system.riser_loss_m(flow)
            if not level_known:
                head = head + system.drawdown_m(flow)
            if not pressure_known:
                head = head + factor * system.pipe_loss_m(flow)
            return head

        return loss

    def _by_what_is_measured(
        self,
        drive: str,
        given: ArrayLike,
        level_m: ArrayLike | None,
        pressure_bar: ArrayLike | None,
        extra_lift_m: ArrayLike,
    ) -> Floats:
        resting = self.system.static_level_m + np.asarray(extra_lift_m, float)
        value, resting = np.broadcast_arrays(np.atleast_1d(np.asarray(given, float)), resting)
        level, level_gaps = _measured(level_m, value.shape)
        pressure, pressure_gaps = _measured(pressure_bar, value.shape)
        answer = np.full(value.shape, np.nan)
        for level_known in (True, False):
            for pressure_known in (True, False):
                rows = (~level_gaps if level_known else level_gaps) & (
                    ~pressure_gaps if pressure_known else pressure_gaps
                )
                if not rows.any():
                    continue
                below = level if level_known else resting
                above = pressure * self.system.m_per_bar if pressure_known else self.system.outlet_height_m
                table = self.table(drive, level_known, pressure_known)
                if rows.all():
                    return table.at(value, below + above)
                answer[rows] = table.at(value[rows], (below + above)[rows])
        return answer


def _measured(values: ArrayLike | None, shape: tuple[int, ...]) -> tuple[Floats, NDArray[np.bool_]]:
    """The values, and where there are none."""
    if values is None:
        return np.full(shape, np.nan), np.ones(shape, bool)
    measured = np.broadcast_to(np.asarray(values, float), shape)
    return measured, np.isnan(measured)


def solve_flow(
    pump: PumpModel,
    power_w: ArrayLike,
    head_of_flow: Callable[[Floats], Floats],
    wear: ArrayLike = 0.0,
) -> Floats:
    """Flow where pump and any head curve meet, exactly, for arrays of conditions.

    Parameters
    ----------
    pump : PumpModel
        The pump.
    power_w : float or ndarray
        Power taken in. [W]
    head_of_flow : callable
        Flow, shape of `power_w` [m3/h], to total head [m], rising.
    wear : float or ndarray, optional
        See PumpModel. [-]

    Returns
    -------
    ndarray, shape of `power_w`
        0 where nothing is lifted, NaN outside the pump's validity. [m3/h]

    Notes
    -----
    Bisection for all rows together; the slow, sure route that the tables are tested against.

    References
    ----------
    .. [1] As `operating_table`.
    """
    power = np.atleast_1d(np.asarray(power_w, float))
    low, high = np.zeros_like(power), np.full_like(power, 1.5 * pump.flow_max_m3_h)
    for _ in range(44):
        middle = 0.5 * (low + high)
        lifted = pump.flow_of_power(power, head_of_flow(middle), wear)
        # beyond shut-off nothing is lifted; beyond run-out the pump gives more than the middle
        too_much = np.where(np.isnan(lifted), head_of_flow(middle) > pump.head_limits_m[1], lifted < middle)
        high = np.where(too_much, middle, high)
        low = np.where(too_much, low, middle)
    answer = 0.5 * (low + high)
    met = np.abs(pump.flow_of_power(power, head_of_flow(answer), wear) - answer) < 1e-3 * pump.flow_max_m3_h
    return np.where(met, np.where(answer < 1e-9 * pump.flow_max_m3_h, 0.0, answer), np.nan)
