"""One block of rows through sun, array and pump: the arithmetic behind `expected.SiteModel.expect`.

Flow: expected.py cuts blocks -> HERE -> its columns.
Only additions, products, roots and table look-ups, element by element: nothing depends on where a block is cut.
Never: sums over rows, pandas, I/O.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis import operating_line as line
from analysis.factors import Factors
from analysis.physics.cell_temperature import (
    AMBIENT_DEFAULT_STD_C,
    CELL_ABOVE_MODULE_C,
    MODULE_SENSOR_STD_C,
    NOCT_AMBIENT_C,
    NOCT_IRRADIANCE_W_M2,
    NOCT_MODEL_STD_C,
)
from analysis.physics.grid import Cells
from analysis.physics.sky_table import (
    AMBIENT_C,
    CLEAR_POA_W_M2,
    CLEAR_STD_W_M2,
    ELEVATION_DEG,
    LIT_DEG,
    NODES,
    TAKEN_POA_W_M2,
    TAKEN_STD_W_M2,
)
from analysis.row_arithmetic import put_back, root_of_squares, within
from analysis.rows import Floats, Rows
from analysis.site_tables import SiteTables
from analysis.uncertainty import SENSOR_STD, head_share

ELEVATION, POA, CLEAR, CELL, POWER, VOLTAGE, CURRENT, INPUT, HEAD, FLOW, AT_SPEED, POWER_AT_SPEED, OF_SUN, MOTOR = (
    0, 1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23, 25,
)  # fmt: skip
"""Places of the columns; each but the first is followed by its uncertainty."""
WIDTH = 27
SELDOM_ASKED = (CLEAR + 1, CELL + 1, VOLTAGE + 1, CURRENT + 1, INPUT + 1, HEAD + 1, POWER_AT_SPEED + 1, MOTOR + 1)
"""Uncertainties that no finding rests on: a season's judgement goes without them."""
OFTEN_ASKED = tuple(place for place in range(WIDTH) if place not in SELDOM_ASKED)
FED_SHARE = 0.01
"""A row whose power is above this share of the controller's largest counts as fed, even at night by its clock."""
TURNS_SHARE = 0.02
"""Below this share of the pump's fastest speed it counts as standing."""
SPEED_LAWS = {"multistage-centrifugal": (2.0, 3.0, 2.0), "helical-rotor": (1.0, 1.0, 0.0)}
"""How flow and power at a kept head answer to a share more of speed. Flow: by itself less so many times head times its slope over head;
power: by so many times itself less so many times head times its slope. Impellers: the affinity laws. A helical rotor: displacement goes with
speed, slip in proportion to head, torque with head alone."""
MOSTLY = 0.7
"""From this share of rows with anything to work out, all are worked out where they stand: to pick rows and put them back costs more."""


@dataclass(frozen=True)
class _Picked:
    """Rows of a block that are worked on: those at the places `which`, or all."""

    block: slice
    which: NDArray[np.int64] | None

    def of(self, column: Floats) -> Floats:
        """Their values, of a column of all rows."""
        part = column[self.block]
        return part if self.which is None else part.take(self.which, mode="clip")

    def put(self, column: NDArray[np.bool_], flags: NDArray[np.bool_]) -> None:
        """Their flags into a column of all rows."""
        if self.which is None:
            column[self.block] = flags
        else:
            column[self.block][self.which] = flags


class RowPhysics:
    """Everything that is the same for all rows of one call."""

    def __init__(self, model: SiteTables, factors: Factors, rows: Rows, brief: bool = False) -> None:
        self.model, self.factors, self.rows, self.brief = model, factors, rows, brief
        self.any_power, self.capped = model.lines(factors)
        self.std = model.deviations(factors)
        self.days = _days_between(model, rows)
        self.sky = model.sky.flat(self.days)
        facts = model.facts
        self.fed_w = FED_SHARE * facts.controller.max_power_w
        noct = facts.array.module.noct_c
        self.noct_rise = (noct - NOCT_AMBIENT_C) / NOCT_IRRADIANCE_W_M2
        speeds = [row.speed_rpm for row in facts.pump.curve if row.speed_rpm]
        self.turns_rpm = TURNS_SHARE * max(speeds, default=0.0)
        self.motor = model.motor
        self.head_share = head_share(facts)
        self.by_speed = "motor_speed_rpm" in rows.values and model.pump.speed_known
        self.told = OFTEN_ASKED if brief else tuple(range(WIDTH))

    def work(self, block: slice, floats: Floats, flags: NDArray[np.bool_]) -> None:
        """Fill the block's part of `floats` (columns by row) and `flags` (daylight, measured irradiance).

        `brief`: but for the columns `SELDOM_ASKED`, which are left as they were.
        """
        local = self.model.sky.local_days(self.rows.time_ms[block])
        day = np.floor(local)
        local -= day
        place = self._place(day)
        active = local >= self.sky.rise.take(place, mode="clip")
        active &= local <= self.sky.set.take(place, mode="clip")
        power = self._input_power(block)
        if power is not None:
            power = within(power, "input_power_w")
            active |= power > self.fed_w
        whole, count = floats[:, block], np.count_nonzero(active)
        if count >= MOSTLY * len(local) and count:
            self._worked_out(_Picked(block, None), place, local, power, whole, flags)
            if count < len(local):
                idle = ~active
                flags[:, block] &= active
                for row in self.told:
                    np.copyto(whole[row], np.nan, where=idle)
            return
        whole[:] = np.nan
        if not count:
            return
        which = np.flatnonzero(active)
        found = np.empty((WIDTH, count))
        given = None if power is None else power.take(which)
        self._worked_out(_Picked(block, which), place.take(which), local.take(which), given, found, flags)
        put_back(which, found, whole)

    def _worked_out(
        self,
        rows: _Picked,
        place: NDArray[np.int64],
        of_day: Floats,
        power: Floats | None,
        found: Floats,
        flags: NDArray[np.bool_],
    ) -> None:
        self._unknown(power, found)
        lit, measured = self._sun_side(rows, place, of_day, found)
        if power is not None:
            self._water_side(rows, power, found)
        rows.put(flags[0], lit)
        if measured is not None:
            rows.put(flags[1], measured)

    def _unknown(self, power: Floats | None, found: Floats) -> None:
        """NaN where nothing is read that tells: else it is worked out for all rows."""
        if power is None:
            found[INPUT:OF_SUN] = np.nan
        elif not self.by_speed:
            found[AT_SPEED:OF_SUN] = np.nan
        if power is None or not self.by_speed or not self.motor:
            found[MOTOR:] = np.nan

    def _place(self, day: Floats) -> NDArray[np.int64]:
        """Each row's place among the tabulated days."""
        whole = day.astype(np.int64)
        if len(self.days) and self.days[-1] - self.days[0] == len(self.days) - 1:
            whole -= self.days[0]
            return whole
        return np.searchsorted(self.days, whole)

    def _sun_side(
        self, rows: _Picked, place: NDArray[np.int64], of_day: Floats, found: Floats
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_] | None]:
        sky = self._sky_cells(place, of_day)
        elevation = self._sky_at(sky, ELEVATION_DEG)
        poa, poa_std, seen = self._light(rows, sky, found)
        cell, cell_std = self._cell(rows, poa, sky)
        found[ELEVATION] = elevation
        found[POA], found[POA + 1] = poa, poa_std
        found[CELL] = cell
        if not self.brief:
            found[CELL + 1] = cell_std
        self._array(poa, poa_std, cell, cell_std, found)
        offered = np.minimum(found[POWER], self.model.facts.controller.max_power_w)
        flow, flow_std, per_w = self.capped(offered, (line.FLOW, line.FLOW_STD, line.FLOW_PER_W))
        np.multiply(flow, self.factors.meter, out=found[OF_SUN])
        per_w *= np.where(offered < found[POWER], 0.0, found[POWER + 1])
        root_of_squares((flow_std, per_w), found[OF_SUN + 1])
        return elevation > LIT_DEG, seen

    def _light(self, rows: _Picked, sky: Cells, found: Floats) -> tuple[Floats, Floats, NDArray[np.bool_] | None]:
        """Irradiance and its uncertainty, and where it was measured: elsewhere stands what passes the glass of a clear sky's, whether a
        sensor is fitted or not. The clear sky itself goes into `found`.
        """
        measured = self._channel("irradiance_w_m2", rows)
        seen = None if measured is None else ~np.isnan(measured)
        clear, clear_std = self._clear_at(sky, CLEAR_POA_W_M2), None
        found[CLEAR] = clear
        if not self.brief:
            found[CLEAR + 1] = clear_std = self._clear_at(sky, CLEAR_STD_W_M2)
        share, amount = SENSOR_STD["irradiance_w_m2"]
        if measured is None or seen is None:
            return *self._stands_in(sky, clear, clear_std), seen
        poa = np.maximum(within(measured, "irradiance_w_m2"), 0.0)
        poa_std = share * poa + amount
        if not seen.all():
            light, light_std = self._stands_in(sky, clear, clear_std)
            np.copyto(poa, light, where=~seen)
            np.copyto(poa_std, light_std, where=~seen)
        return poa, poa_std, seen

    def _stands_in(self, sky: Cells, clear: Floats, clear_std: Floats | None) -> tuple[Floats, Floats]:
        """What passes the glass under a clear sky, and its uncertainty."""
        if not self.model.sky.through_glass:
            return self._clear_at(sky, TAKEN_POA_W_M2), self._clear_at(sky, TAKEN_STD_W_M2)
        return clear, self._clear_at(sky, CLEAR_STD_W_M2) if clear_std is None else clear_std

    def _clear_at(self, sky: Cells, column: int) -> Floats:
        """A column of the clear sky's light, the site's factor in it; never below 0, where two nodes of a set sun could round to."""
        found = self._sky_at(sky, column)
        np.maximum(found, 0.0, out=found)
        if self.factors.clear_sky != 1.0:
            found *= self.factors.clear_sky
        return found

    def _array(self, poa: Floats, poa_std: Floats, cell: Floats, cell_std: Floats, found: Floats) -> None:
        """Maximum power, voltage and current, with what light, temperature and nameplate leave open."""
        factors, std, module = self.factors, self.std, self.model.facts.array.module
        gamma, beta = module.temp_coeff_p_mp_pct_c / 100.0, module.temp_coeff_v_oc_pct_c / 100.0
        found[POWER], found[VOLTAGE], found[CURRENT] = self.model.array.held_maximum(
            poa, cell, factors.array_current, factors.array_voltage
        )
        light = poa_std / np.maximum(poa, 1.0)
        light *= light
        light += std["array_current"] ** 2
        warmth = cell_std * cell_std
        variances = {}
        if not self.brief:
            variances = {VOLTAGE: warmth * beta**2 + std["array_voltage"] ** 2, CURRENT: light}
        warmth *= gamma**2
        warmth += light
        warmth += std["array_voltage"] ** 2
        for place, variance in (variances | {POWER: warmth}).items():
            np.sqrt(variance, out=variance)
            np.multiply(found[place], variance, out=found[place + 1])

    def _sky_cells(self, place: NDArray[np.int64], of_day: Floats) -> Cells:
        """Where in the sky's table each row lies."""
        of_day *= NODES - 1.0
        low = np.minimum(of_day.astype(np.int64), NODES - 2)
        of_day -= low
        low += place * NODES
        return low, of_day

    def _sky_at(self, cells: Cells, column: int) -> Floats:
        """One column of the sky's table."""
        low, of_day = cells
        values, rises = self.sky.column(column)
        found = rises.take(low, mode="clip")
        found *= of_day
        found += values.take(low, mode="clip")
        return found

    def _cell(self, rows: _Picked, poa: Floats, sky: Cells) -> tuple[Floats, Floats]:
        """Cell temperature and its uncertainty, from the best that the row holds."""
        air, module = self._channel("ambient_temp_c", rows), self._channel("module_temp_c", rows)
        back = None if module is None else within(module, "module_temp_c")
        seen = None if air is None else ~np.isnan(air)
        if air is not None:
            air = within(air, "ambient_temp_c")
        if air is not None and seen is not None and seen.all():
            ambient, std = air, np.full(len(poa), np.hypot(SENSOR_STD["ambient_temp_c"][1], NOCT_MODEL_STD_C))
        else:
            ambient = self._sky_at(sky, AMBIENT_C)
            std = np.full(len(poa), np.hypot(AMBIENT_DEFAULT_STD_C, NOCT_MODEL_STD_C))
            if air is not None and seen is not None:
                ambient = np.where(seen, air, ambient)
                np.copyto(std, np.hypot(SENSOR_STD["ambient_temp_c"][1], NOCT_MODEL_STD_C), where=seen)
        cell = ambient + self.noct_rise * poa
        if module is not None and back is not None:
            seen = ~np.isnan(module)
            cell = np.where(seen, back + CELL_ABOVE_MODULE_C / 1000.0 * poa, cell)
            np.copyto(std, MODULE_SENSOR_STD_C, where=seen)
        return cell, std

    def _water_side(self, rows: _Picked, power: Floats, found: Floats) -> None:
        share, amount = SENSOR_STD["input_power_w"]
        found[INPUT] = power
        level, pressure = (self._channel(name, rows) for name in ("water_level_m", "discharge_pressure_bar"))
        cells = self.any_power.cells(power)
        head_std, flow_std = self.any_power.of(cells, (line.HEAD_STD, line.FLOW_STD))
        if level is None and pressure is None:
            head, flow = self.any_power.of(cells, (line.HEAD, line.FLOW))
        else:
            head = self._measured_head(cells, level, pressure)
            flow = self._flow_at(power, head)
            if level is not None:
                known = self.any_power.of(cells, (line.HEAD_STD_KNOWN, line.FLOW_STD_HEAD_KNOWN))
                head_std, flow_std = (
                    np.where(np.isnan(level), unknown, sure)
                    for unknown, sure in zip((head_std, flow_std), known, strict=True)
                )
        found[HEAD] = head
        if not self.brief:
            found[INPUT + 1], found[HEAD + 1] = share * power + amount, head_std
        np.multiply(flow, self.factors.meter, out=found[FLOW])
        found[FLOW + 1] = flow_std
        speed = self._channel("motor_speed_rpm", rows)
        if speed is not None and self.by_speed:
            self._speed_side(speed, cells, head, head_std, found)

    def _measured_head(self, cells: Cells, level: Floats | None, pressure: Floats | None) -> Floats:
        """Total head from what was measured, row by row; the rest along the operating line."""
        curve, factors = self.model.curve, self.factors
        drawdown, riser, beyond = self.any_power.of(cells, (line.DRAWDOWN, line.RISER, line.BEYOND))
        lift = curve.static_level_m + factors.level_offset_m + drawdown
        beyond += curve.outlet_height_m
        if level is not None:
            lift = np.where(np.isnan(level), lift, within(level, "water_level_m"))
        if pressure is not None:
            beyond = np.where(np.isnan(pressure), beyond, within(pressure, "discharge_pressure_bar") * curve.m_per_bar)
        lift += riser
        lift += beyond
        return lift

    def _flow_at(self, power: Floats, head: Floats) -> Floats:
        site = self.model.hydraulics
        given = power * (1.0 / self.factors.power)
        top = site.top(head)[0]
        top *= line.WITHIN
        return self.factors.flow * site.lookup.flow_of_power(np.minimum(given, top, out=given), head)

    def _speed_side(self, speed: Floats, cells: Cells, head: Floats, head_std: Floats, found: Floats) -> None:
        factors, std, spread = self.factors, self.std, self.model.pump.spread
        speed = np.where(speed > self.turns_rpm, speed, np.nan)
        flow, taken = self.model.hydraulics.lookup.flow_and_power(speed, head)
        flow *= factors.flow
        taken *= factors.power
        share, amount = SENSOR_STD["motor_speed_rpm"]
        misread = share + amount / speed
        of_flow, by_power, of_power = SPEED_LAWS[self.model.facts.pump.kind]
        flow_by_head = self.any_power.of(cells, (line.FLOW_PER_M_AT_SPEED,))[0]
        flow_by_speed = (flow - of_flow * head * flow_by_head) * misread
        lifts = head * (self.head_share * std["flow"])
        flow_by_head *= np.sqrt(head_std * head_std + lifts * lifts)
        np.multiply(flow, factors.meter, out=found[AT_SPEED])
        own = flow * np.sqrt(std["flow"] ** 2 + std["meter"] ** 2)
        root_of_squares((own, flow_by_head, flow_by_speed), found[AT_SPEED + 1], spread.flow_of_speed_m3_h**2)
        found[POWER_AT_SPEED] = taken
        if not self.brief:
            power_by_head = self.any_power.of(cells, (line.POWER_PER_M_AT_SPEED,))[0]
            by_speed = (by_power * taken - of_power * head * power_by_head) * misread
            power_by_head *= head_std
            parts = (taken * std["power"], power_by_head, by_speed)
            root_of_squares(parts, found[POWER_AT_SPEED + 1], spread.power_w**2)
        if self.motor:
            current, per_w = self.motor.current(speed, taken)
            current *= factors.motor_current
            found[MOTOR] = current
            if not self.brief:
                per_w *= factors.motor_current * found[POWER_AT_SPEED + 1]
                current *= std["motor_current"]
                root_of_squares((per_w, current), found[MOTOR + 1])

    def _input_power(self, block: slice) -> Floats | None:
        """Measured input power: its channel, else voltage times current; None where neither is there."""
        values = self.rows.values
        direct, volts, amperes = (values.get(name) for name in ("input_power_w", "pv_voltage_v", "pv_current_a"))
        if volts is None or amperes is None:
            return None if direct is None else direct[block]
        product = volts[block] * amperes[block]
        return product if direct is None else np.where(np.isnan(direct[block]), product, direct[block])

    def _channel(self, name: str, rows: _Picked) -> Floats | None:
        """The picked rows' values; never to be written into."""
        found = self.rows.values.get(name)
        return None if found is None else rows.of(found)


def _days_between(model: SiteTables, rows: Rows) -> NDArray[np.int64]:
    """The solar days to tabulate: all between the ends, unless those lie years apart; then only those with rows."""
    if not len(rows):
        return np.empty(0, np.int64)
    first, last = (model.sky.solar_day(int(end)) for end in (rows.time_ms.min(), rows.time_ms.max()))
    if last - first <= 1000:
        return np.arange(first, last + 1)
    return np.unique(np.floor(model.sky.local_days(rows.time_ms)).astype(np.int64))
