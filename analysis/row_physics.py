"""One block of rows through sun, array and pump: the arithmetic behind `expected.SiteModel.expect`.

Flow: expected.py cuts blocks -> HERE -> its columns.
Only additions, products, roots and table look-ups, element by element: nothing depends on where a block is cut.
Never: sums over rows, pandas, I/O.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from analysis import operating_line as line
from analysis.factors import NAMES, Factors
from analysis.physics.cell_temperature import (
    AMBIENT_DEFAULT_STD_C,
    CELL_ABOVE_MODULE_C,
    MODULE_SENSOR_STD_C,
    NOCT_AMBIENT_C,
    NOCT_IRRADIANCE_W_M2,
    NOCT_MODEL_STD_C,
)
from analysis.physics.sky_table import AMBIENT_C, CLEAR_POA_W_M2, CLEAR_STD_W_M2, ELEVATION_DEG, NODES
from analysis.rows import Floats, Rows
from analysis.uncertainty import SENSOR_STD

if TYPE_CHECKING:
    from analysis.expected import SiteModel

ELEVATION, POA, CLEAR, CELL, POWER, VOLTAGE, CURRENT, INPUT, HEAD, FLOW, AT_SPEED, POWER_AT_SPEED, OF_SUN, MOTOR = (
    0, 1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23, 25,
)  # fmt: skip
"""Places of the columns; each but the first is followed by its uncertainty."""
FED_SHARE = 0.01
"""A row whose power is above this share of the controller's largest counts as fed, even at night by its clock."""


class RowPhysics:
    """Everything that is the same for all rows of one call."""

    def __init__(self, model: "SiteModel", factors: Factors, rows: Rows) -> None:
        self.model, self.factors, self.rows = model, factors, rows
        self.any_power, self.capped = model.lines(factors)
        covariance = model.covariance(factors)
        self.std = {name: float(np.sqrt(covariance[i, i])) for i, name in enumerate(NAMES)}
        local = model.sky.local_days(rows.time_ms)
        self.day = np.floor(local).astype(np.int64)
        self.hour = local - self.day
        days, self.place = _distinct_days(self.day)
        table, self.rise, self.set = model.sky.days(days)
        self.sky = table.reshape(-1, table.shape[-1])
        self.power = _input_power(rows)
        facts = model.facts
        self.fed_w = FED_SHARE * facts.controller.max_power_w
        noct = facts.array.module.noct_c
        self.noct_rise = (noct - NOCT_AMBIENT_C) / NOCT_IRRADIANCE_W_M2
        self.torque_motor = facts.motor.kind in ("permanent-magnet", "brushed-dc") and facts.motor.rated_current_a

    def work(self, block: slice, floats: Floats, flags: NDArray[np.bool_]) -> None:
        """Fill the block's part of `floats` (columns by row) and `flags` (daylight, measured irradiance)."""
        place, hour = self.place[block], self.hour[block]
        lit = (hour >= self.rise[place]) & (hour <= self.set[place])
        active = lit
        power = None
        if self.power is not None:
            power = self.power[block]
            active = lit | (power > self.fed_w)
        which = np.flatnonzero(active)
        if not len(which):
            return
        which = which + block.start
        out = floats
        self._sun_side(which, out, flags)
        self._water_side(which, out)

    def _sun_side(self, which: NDArray[np.int64], out: Floats, flags: NDArray[np.bool_]) -> None:
        elevation, clear, clear_std, ambient = self._sky_at(which)
        flags[0, which] = elevation > -0.833
        measured = self._channel("irradiance_w_m2", which)
        poa, poa_std = clear, clear_std
        if measured is not None:
            seen = ~np.isnan(measured)
            flags[1, which] = seen
            share, amount = SENSOR_STD["irradiance_w_m2"]
            poa = np.where(seen, np.maximum(measured, 0.0), clear)
            poa_std = np.where(seen, share * poa + amount, clear_std)
        cell, cell_std = self._cell(which, poa, ambient)
        factors, std = self.factors, self.std
        power, voltage, current = self.model.array.maximum(poa, cell, factors.array_current, factors.array_voltage)
        module = self.model.facts.array.module
        gamma, beta = module.temp_coeff_p_mp_pct_c / 100.0, module.temp_coeff_v_oc_pct_c / 100.0
        relative = poa_std / np.maximum(poa, 1.0)
        squared = relative * relative + std["array_current"] ** 2
        out[ELEVATION, which] = elevation
        out[POA, which], out[POA + 1, which] = poa, poa_std
        out[CLEAR, which], out[CLEAR + 1, which] = clear, clear_std
        out[CELL, which], out[CELL + 1, which] = cell, cell_std
        out[POWER, which] = power
        power_std = power * np.sqrt(squared + (std["array_voltage"] ** 2) + (gamma * cell_std) ** 2)
        out[POWER + 1, which] = power_std
        out[VOLTAGE, which] = voltage
        out[VOLTAGE + 1, which] = voltage * np.sqrt(std["array_voltage"] ** 2 + (beta * cell_std) ** 2)
        out[CURRENT, which] = current
        out[CURRENT + 1, which] = current * np.sqrt(squared)
        offered = np.minimum(power, self.model.facts.controller.max_power_w)
        found = self.capped(offered)
        out[OF_SUN, which] = found[line.FLOW] * factors.meter
        slope = found[line.FLOW_PER_W] * np.where(offered < power, 0.0, power_std)
        out[OF_SUN + 1, which] = np.sqrt(found[line.FLOW_STD] ** 2 + slope**2)

    def _sky_at(self, which: NDArray[np.int64]) -> tuple[Floats, Floats, Floats, Floats]:
        at = self.hour[which] * (NODES - 1.0)
        low = np.minimum(at.astype(np.int64), NODES - 2)
        at -= low
        low += self.place[which] * NODES
        below = self.sky.take(low, axis=0)
        found = self.sky.take(low + 1, axis=0)
        found -= below
        found *= at[:, None]
        found += below
        factor = self.factors.clear_sky
        return (
            found[:, ELEVATION_DEG],
            np.maximum(found[:, CLEAR_POA_W_M2], 0.0) * factor,
            found[:, CLEAR_STD_W_M2] * factor,
            found[:, AMBIENT_C],
        )

    def _cell(self, which: NDArray[np.int64], poa: Floats, ambient: Floats) -> tuple[Floats, Floats]:
        """Cell temperature and its uncertainty, from the best that the row holds."""
        air, module = self._channel("ambient_temp_c", which), self._channel("module_temp_c", which)
        std = np.full(len(which), np.hypot(AMBIENT_DEFAULT_STD_C, NOCT_MODEL_STD_C))
        if air is not None:
            seen = ~np.isnan(air)
            ambient = np.where(seen, air, ambient)
            std[seen] = np.hypot(SENSOR_STD["ambient_temp_c"][1], NOCT_MODEL_STD_C)
        cell = ambient + self.noct_rise * poa
        if module is not None:
            seen = ~np.isnan(module)
            cell = np.where(seen, module + CELL_ABOVE_MODULE_C / 1000.0 * poa, cell)
            std[seen] = MODULE_SENSOR_STD_C
        return cell, std

    def _water_side(self, which: NDArray[np.int64], out: Floats) -> None:
        if self.power is None:
            return
        power = self.power[which]
        share, amount = SENSOR_STD["input_power_w"]
        out[INPUT, which], out[INPUT + 1, which] = power, share * power + amount
        found = self.any_power(power)
        level, pressure = self._channel("water_level_m", which), self._channel("discharge_pressure_bar", which)
        head, head_std, flow, flow_std = (found[k] for k in (line.HEAD, line.HEAD_STD, line.FLOW, line.FLOW_STD))
        if level is not None or pressure is not None:
            head, head_std = self._measured_head(found, level, pressure)
            flow = self._flow_at(power, head)
            if level is not None:
                flow_std = np.where(np.isnan(level), flow_std, found[line.FLOW_STD_HEAD_KNOWN])
        out[HEAD, which], out[HEAD + 1, which] = head, head_std
        out[FLOW, which], out[FLOW + 1, which] = flow * self.factors.meter, flow_std
        speed = self._channel("motor_speed_rpm", which)
        if speed is not None and self.model.pump.speed_known:
            self._speed_side(which, speed, head, head_std, found, out)

    def _measured_head(
        self, found: list[Floats], level: Floats | None, pressure: Floats | None
    ) -> tuple[Floats, Floats]:
        """Total head from what was measured, row by row; the rest along the operating line."""
        curve, factors = self.model.curve, self.factors
        lift = curve.static_level_m + factors.level_offset_m + found[line.DRAWDOWN]
        beyond = curve.outlet_height_m + found[line.BEYOND]
        std = found[line.HEAD_STD]
        if level is not None:
            lift = np.where(np.isnan(level), lift, level)
            std = np.where(np.isnan(level), std, found[line.HEAD_STD_KNOWN])
        if pressure is not None:
            beyond = np.where(np.isnan(pressure), beyond, pressure * curve.m_per_bar)
        return lift + found[line.RISER] + beyond, std

    def _flow_at(self, power: Floats, head: Floats) -> Floats:
        return self.factors.flow * self.model.hydraulics.lookup.flow_of_power(power * (1.0 / self.factors.power), head)

    def _speed_side(
        self, which: NDArray[np.int64], speed: Floats, head: Floats, head_std: Floats, found: list[Floats], out: Floats
    ) -> None:
        factors, std, pump = self.factors, self.std, self.model.pump
        lookup, spread = self.model.hydraulics.lookup, pump.spread
        flow = factors.flow * lookup.flow(speed, head)
        power = factors.power * lookup.power_of_speed(speed, head)
        by_head = found[line.FLOW_PER_M_AT_SPEED] * head_std
        own = flow * flow * (std["flow"] ** 2 + std["meter"] ** 2)
        out[AT_SPEED, which] = flow * factors.meter
        out[AT_SPEED + 1, which] = np.sqrt(own + by_head * by_head + spread.flow_of_speed_m3_h**2)
        by_head = found[line.POWER_PER_M_AT_SPEED] * head_std
        power_std = np.sqrt(power * power * std["power"] ** 2 + by_head * by_head + spread.power_w**2)
        out[POWER_AT_SPEED, which], out[POWER_AT_SPEED + 1, which] = power, power_std
        if self.torque_motor:
            amperes = self._amperes_per_torque() * factors.motor_current / np.where(speed > 1.0, speed, np.nan)
            current = amperes * power
            out[MOTOR, which] = current
            amperes *= power_std
            out[MOTOR + 1, which] = np.sqrt(amperes * amperes + (current * std["motor_current"]) ** 2)

    def _amperes_per_torque(self) -> float:
        """Amperes per (watt per 1/min): the rated current belongs to the largest torque of the datasheet's table."""
        torque = max(row.power_w / row.speed_rpm for row in self.model.facts.pump.curve if row.speed_rpm)
        return (self.model.facts.motor.rated_current_a or np.nan) / torque

    def _channel(self, name: str, which: NDArray[np.int64]) -> Floats | None:
        found = self.rows.values.get(name)
        return None if found is None else found[which]


def _input_power(rows: Rows) -> Floats | None:
    """Measured input power: its channel, else voltage times current; None where neither is there."""
    direct = rows.values.get("input_power_w")
    volts, amperes = rows.values.get("pv_voltage_v"), rows.values.get("pv_current_a")
    if volts is None or amperes is None:
        return direct
    product = volts * amperes
    return product if direct is None else np.where(np.isnan(direct), product, direct)


def _distinct_days(day: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The days to tabulate and each row's place among them: all between the ends, unless those lie decades apart."""
    if not len(day):
        return np.empty(0, np.int64), day
    first, last = int(day.min()), int(day.max())
    if last - first <= 1000:
        return np.arange(first, last + 1), day - first
    return np.unique(day, return_inverse=True)
