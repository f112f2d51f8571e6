"""Whole days of rows -> columns: what was measured, what should have come, and what the pump was doing.

Flow: merge.py, expected.py, meter.py -> HERE -> estimates, symptoms.
Elementwise, or by whole numbers within a day, so that a row's columns are the same however the rows were cut into blocks.
Never: judgement; anything learnt.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.counted_flow import as_register
from analysis.expected import Expected
from analysis.meter import metered, register_step_m3
from analysis.plant import Plant
from analysis.rows import Floats, Rows, Times, rises
from analysis.solar_days import HOUR_MS, MINUTE_MS
from analysis.unloaded import expect_more, unloaded_rows

Flags = NDArray[np.bool_]

GAP_MS = 20 * MINUTE_MS  # rows come each 15 min at most; after more, nobody knows what happened in between
SETTLE_MS = MINUTE_MS  # after the start delay: speed, riser and meter have caught up (common practice, no source)
DAYLIGHT_MARGIN_MS = 45 * MINUTE_MS  # before sunrise and after sunset: the well at rest, and low light
IDLE_W = 12.0  # a controller at rest with its own electronics (common practice, no source)
AT_REST_W = 6.0  # likewise; a motor that turns free of any load takes more (common practice, no source)
IDLE_SHARE = 0.025  # of full power
FED_SHARE = 0.1  # of the motor's rated current: an idle drive's own, and a sensor's zero (common practice, no source)
TURNING_SHARE = 0.04  # of the fastest speed in the datasheet
AT_MAX_BAND = (0.75, 1.045)  # measured over expected voltage at maximum power: below bypassed modules, above held back
CURVE_OFF = 0.04  # of the voltage at maximum power: cells warmer or colder than supposed
SHORT = (
    0.75  # of the curve's power: soiling and a sensor's gain together rarely take as much (common practice, no source)
)
AT_MAX_UNMEASURED, HELD_UNMEASURED = (
    1.06,
    1.08,
)  # likewise where light and cell temperature are worked out from the array's own current
LOG_LIGHT = 0.03  # relative change of voltage at maximum power with the log of light (single-diode model; from memory)
VOLTAGE_PER_K = -0.004  # likewise with cell temperature, 1/K
SHUT_ABOVE = (1.15, 1.0)  # times the head of the open pipe at full flow, and metres: a gauge's error, and a rough pipe
OPEN_STD = 0.15  # of the flow of an open pipe, worked out from a pump at a shut one (ISO 9906 tolerances, from memory)
START_MARGIN = 1.5  # times the power at which lifting begins: enough to start and stay


@dataclass(frozen=True)
class Columns:
    """n daylight rows of whole days, rising in time. Floats are NaN where not measured.

    dt_h: what the row stands for [h]; 0 after a gap. flow_m3_h: shared out over the meter's steps. flow_now_m3_h: what this row's
    own reading says, NaN where the meter is too coarse for it. since_n: expected volume since the meter moved [1e-9 m3].
    should_m3_h: what a sound pump would lift now, by power, by speed, and where it is held back by the sun, the largest; 0 at rest.
    surely_m3_h: likewise, each less two standard uncertainties: near where lifting begins a table says little.
    driven: the controller drives the motor. turning: it turns. settled: it has for long enough.
    unread: nothing reads whether it runs. asked: sun enough, nothing told it to stand, and something reads whether it runs. at_max: the array works at its maximum power. unloaded: no speed is read, and it
    takes far less than the sun offers.
    """

    day: NDArray[np.int64]
    time_ms: Times
    dt_h: Floats
    rows: Rows
    expected: Expected
    power_w: Floats
    speed_rpm: Floats
    should_m3_h: Floats
    surely_m3_h: Floats
    flow_m3_h: Floats
    flow_now_m3_h: Floats
    moved_m3: Floats
    since_n: NDArray[np.int64]
    driven: Flags
    turning: Flags
    settled: Flags
    asked: Flags
    sun_enough: Flags
    at_max: Flags
    held: Flags
    unloaded: Flags
    unread: Flags

    def __len__(self) -> int:
        return len(self.time_ms)

    def of_day(self, day: int) -> "Columns | None":
        """The rows of one day, None where it has none."""
        start, stop = int(self.day.searchsorted(day)), int(self.day.searchsorted(day + 1))
        if start == 0 and stop == len(self):
            return self if stop else None
        return self.take(slice(start, stop)) if stop > start else None

    def take(self, which: slice) -> "Columns":
        """Some rows in a row."""
        return _ColumnsCut.of(self, which)

    def beside(self, rows: Rows) -> "Columns":
        """The same columns with other readings of the same rows."""
        every: dict[str, Any] = {one.name: getattr(self, one.name) for one in fields(Columns)}
        return Columns(**{**every, "rows": rows})


class _Cut:
    """Some rows in a row of a whole: each column is cut when it is asked for first, for a day's watchers look at few."""

    @classmethod
    def of(cls, whole: Any, which: "slice | NDArray[np.int64]") -> Any:
        part = object.__new__(cls)
        part.__dict__.update(_whole=whole, _which=which)
        return part

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        whole, which = self.__dict__["_whole"], self.__dict__["_which"]
        value = getattr(whole, name)
        if isinstance(value, np.ndarray):
            found: Any = value[which]
        else:
            found = value.take(which) if isinstance(value, Rows) else _ExpectedCut.of(value, which)
        self.__dict__[name] = found
        return found


class _ColumnsCut(_Cut, Columns):
    pass


class _ExpectedCut(_Cut, Expected):
    pass


def look(plant: Plant, rows: Rows, days: range, before: "Columns | None" = None) -> Columns:
    """The daylight rows of `days` as columns. `rows`: merged, whole days. `before`: of all rows but the newest, as they were looked at."""
    rows = _daylight(plant, rows, days)
    day = plant.days.days_of_rising(rows.time_ms)
    dt_h = durations_h(rows.time_ms, day)
    rows = as_register(plant.facts, day, dt_h, rows)
    expected = plant.model.expect_briefly(rows, None if before is None else before.expected)
    power = expected.input_power_w
    speed = _speed(plant, rows)
    driven, turning = _running(plant, rows, power, speed)
    sun_enough = _sun_enough(plant, expected)
    asked, held_low = _asked(plant, rows, day)
    unknown = unread(plant, rows, power)
    asked &= ~unknown
    at_max, held = _at_maximum(plant, rows, expected, power, turning)
    light = held.copy()
    if len(at := held.nonzero()[0]):
        light[at] = ~short_of_curve(plant, rows["pv_voltage_v"][at], power[at], _ExpectedCut.of(expected, at))
    should, surely = _should(expected, turning, light)
    _unshut(plant, rows, expected, speed, turning, should, surely)
    unloaded = unloaded_rows(
        plant, rows.time_ms, day, dt_h, expected, power, rows["pv_voltage_v"], speed, turning, light
    )
    expect_more(plant, expected, power, unloaded, should, surely)
    step_m3 = plant.facts.sensors.meter_step_m3 or 0.0
    meter = metered(day, dt_h, rows["volume_m3"], should, plant.full_flow_m3_h, step_m3)
    flow, flow_now = _flow(plant, rows, meter.flow_m3_h, meter.moved_m3, dt_h, should)
    since_start = _since(rows.time_ms, day, ~turning | (dt_h == 0) | stopped_within(turning, driven, day))
    whole_row = since_start - np.rint(dt_h * HOUR_MS).astype(np.int64)  # a meter's mean covers the row's whole interval
    full = rows["tank_float_up"] > 0.5  # the pump stops within this row: its means mix running and rest
    settled = turning & ~full & (whole_row >= plant.facts.controller.start_delay_s * 1000 + SETTLE_MS) & (dt_h > 0)
    return Columns(
        day, rows.time_ms, dt_h, rows, expected, power, speed, should, surely, flow, flow_now, meter.moved_m3, meter.since_n,
        driven, turning, settled, asked & ~held_low & sun_enough, sun_enough, at_max, held, unloaded, unknown,
    )  # fmt: skip


def daylight_ms(plant: Plant, day: int) -> tuple[int, int]:
    """From when on and before when a day's rows are looked at."""
    return plant.days.daylight_ms(day, -DAYLIGHT_MARGIN_MS)


def _daylight(plant: Plant, rows: Rows, days: range) -> Rows:
    """The rows in daylight, by their places: stretch by stretch each column would cost a call for every day, and a mask costs by row."""
    ends = np.searchsorted(rows.time_ms, [daylight_ms(plant, day) for day in days]).reshape(-1, 2)
    ends[1:, 0] = np.maximum(ends[1:, 0], ends[:-1, 1])  # near the poles the margins of two days overlap
    parts = [slice(*both) for both in ends.tolist()]
    if len(parts) < 2:
        return rows.take(parts[0] if parts else slice(0, 0))
    lengths = np.maximum(ends[:, 1] - ends[:, 0], 0)
    lit = np.arange(int(lengths.sum())) + np.repeat(ends[:, 0] - (lengths.cumsum() - lengths), lengths)
    return Rows(rows.time_ms.take(lit), {name: column.take(lit) for name, column in rows.values.items()})


def durations_h(time_ms: Times, day: NDArray[np.int64]) -> Floats:
    """What each row stands for: the time since the one before on its day, 0 after a gap. [h]"""
    steps = np.zeros(len(time_ms), np.int64)
    steps[1:] = np.where(day[1:] == day[:-1], rises(time_ms), 0)
    return np.where(steps <= GAP_MS, steps, 0) / float(HOUR_MS)


def _since(time_ms: Times, day: NDArray[np.int64], broken: Flags) -> Times:
    """By row, ms since the last row where `broken` held, within the day; the day's first row counts as broken."""
    if not len(time_ms):
        return np.empty(0, np.int64)
    marks = broken.copy()
    marks[0] = True
    marks[1:] |= day[1:] != day[:-1]
    last = np.flatnonzero(marks)
    ends = np.empty_like(last)
    ends[:-1], ends[-1] = last[1:], len(time_ms)
    return time_ms - np.repeat(time_ms[last], ends - last)


def _speed(plant: Plant, rows: Rows) -> Floats:
    """Motor speed; where only the drive's frequency is read, that scaled by the motor's rated speed at 50 Hz."""
    speed = np.abs(rows["motor_speed_rpm"])
    if "motor_speed_rpm" not in rows.values and "drive_frequency_hz" in rows.values:
        rated = plant.facts.motor.rated_speed_rpm
        if rated:
            return np.abs(rows["drive_frequency_hz"]) * rated / 50.0
    return speed


def _running(plant: Plant, rows: Rows, power: Floats, speed: Floats) -> tuple[Flags, Flags]:
    """Driven and turning: by the controller's word, else by speed, else by the power that it takes."""
    fed = power > max(IDLE_W, IDLE_SHARE * plant.full_power_w)
    if np.isnan(power).any():
        fed |= np.isnan(power) & (rows["motor_current_a"] > FED_SHARE * (plant.facts.motor.rated_current_a or np.inf))
    said = rows["motor_running"]
    driven = np.where(np.isnan(said), fed | (speed > 0), said > 0.5)
    fastest = max((row.speed_rpm or 0.0 for row in plant.facts.pump.curve), default=0.0)
    slowest = TURNING_SHARE * (fastest or plant.facts.motor.rated_speed_rpm or 1000.0)
    taken = (power > AT_REST_W) | np.isnan(
        power
    )  # else water runs back through it, or its speed's reading stands still
    return driven, np.where(np.isnan(speed), driven & (fed | np.isnan(power)), taken & (speed > slowest))


def stopped_within(turning: Flags, driven: Flags, day: NDArray[np.int64]) -> Flags:
    """Rows that turn on average and at whose end the controller says that it rests: means of running and of rest. bool[n]

    Only where it said on that day that it drives: a word that stands still says nothing.
    """
    found = turning & ~driven
    if found.any():
        found &= np.maximum.accumulate(np.where(driven, day, np.iinfo(np.int64).min)) == day
    return found


def unread(plant: Plant, rows: Rows, power: Floats) -> Flags:
    """Nothing reads whether the pump runs: no power, speed nor current, nor the controller's word. bool[n]

    A meter alone does not: it stands still where a pump runs dry, and one that counts coarsely stands for an hour.
    """
    found = np.isnan(power)
    if found.any():
        for channel in ("motor_running", "motor_speed_rpm"):
            found &= np.isnan(rows[channel])
        if "motor_speed_rpm" not in rows.values and plant.facts.motor.rated_speed_rpm:
            found &= np.isnan(rows["drive_frequency_hz"])
        if plant.facts.motor.rated_current_a:
            found &= np.isnan(rows["motor_current_a"])
    return found


def _sun_enough(plant: Plant, expected: Expected) -> Flags:
    """The healthy array would give enough to start this pump and keep it lifting."""
    return plant.start_power_w * START_MARGIN < expected.mpp_power_w


def _should(expected: Expected, turning: Flags, held: Flags) -> tuple[Floats, Floats]:
    """A pump that has lost its load takes little power, so power alone would say that little is to be expected."""
    by_power, by_speed, of_sun = expected.flow_m3_h, expected.flow_at_speed_m3_h, expected.flow_of_sun_m3_h
    most = np.fmax(by_power, by_speed)
    least = np.fmax(by_power - 2 * expected.flow_m3_h_std, by_speed - 2 * expected.flow_at_speed_m3_h_std)
    held_back = held & expected.poa_measured & np.isnan(by_speed)  # a speed that is read says more than the sun
    if held_back.any():
        most = np.where(held_back, np.fmax(most, of_sun), most)
        least = np.where(held_back, np.fmax(least, of_sun - 2 * expected.flow_of_sun_m3_h_std), least)
    return np.where(turning & ~np.isnan(most), most, 0.0), np.where(turning & ~np.isnan(least), least, 0.0)


def _unshut(
    plant: Plant, rows: Rows, expected: Expected, speed: Floats, turning: Flags, should: Floats, surely: Floats
) -> None:
    """Where the gauge shows more than the open pipe ever needs, what an open pipe would bring is to be expected.

    A centrifugal pump at its shut-off head lifts nothing and is not to be excused by it; nor is a rotor, whose head then lies beyond
    all that its table knows. A rotor's flow goes with its speed; its power goes into the pressure. Changes `should` and `surely`.
    """
    if "discharge_pressure_bar" not in rows.values:
        return
    with np.errstate(invalid="ignore"):
        excess = over_open_m(plant, rows)
        shut = np.flatnonzero(turning & (excess > 0))
    if not len(shut):
        return
    head, lookup = (expected.head_m - excess)[shut], plant.pump.lookup()
    by_power = lookup.flow_of_power(np.minimum(expected.input_power_w[shut], plant.ceiling_w), head)
    by_speed = lookup.flow(speed[shut], head) if plant.pump.speed_known else np.full(len(shut), np.nan)
    if plant.helical:
        open_ = np.nan_to_num(np.where(np.isnan(by_speed), np.minimum(by_power, plant.full_flow_m3_h), by_speed))
    else:
        open_ = np.nan_to_num(np.fmax(by_power, by_speed))
    should[shut] = np.maximum(should[shut], open_)
    surely[shut] = np.maximum(surely[shut], open_ * (1.0 - 2.0 * OPEN_STD))


def over_open_m(plant: Plant, rows: Rows) -> Floats:
    """What the wellhead's gauge shows above all that an open pipe could need; NaN where none is read. [m]"""
    most_m = float(plant.wellhead_head_m(np.array([plant.full_flow_m3_h]))[0]) * SHUT_ABOVE[0] + SHUT_ABOVE[1]
    return rows["discharge_pressure_bar"] * plant.metres_a_bar - most_m


def _flow(
    plant: Plant, rows: Rows, shared: Floats, moved: Floats, dt_h: Floats, should: Floats
) -> tuple[Floats, Floats]:
    """Flow for sums, and flow that a row's own reading tells."""
    step = register_step_m3(plant.facts)
    fine = should * dt_h > 4.0 * step
    with np.errstate(divide="ignore", invalid="ignore"):
        now = np.where(fine & (dt_h > 0), moved / dt_h, np.nan)
    direct = rows.values.get("flow_m3_h")
    if direct is None:
        return shared, now
    has = ~np.isnan(direct)
    return np.where(has, direct, shared), np.where(has, direct, now)


def told_to_stand(rows: Rows) -> Flags:
    """Rows in which tank, switch or a speed at zero keeps the pump from running; where none is read, nothing does."""
    return (rows["tank_float_up"] > 0.5) | told_off(rows)


def told_off(rows: Rows) -> Flags:
    """Likewise, switch or a speed at zero."""
    found = np.zeros(len(rows), bool)
    for channel, least in (("switched_on", 0.5), ("speed_setting_pct", np.nextafter(1.0, 2.0))):
        if (column := rows.values.get(channel)) is not None:
            found |= column < least
    return found


def _asked(plant: Plant, rows: Rows, day: NDArray[np.int64]) -> tuple[Flags, Flags]:
    """Nothing told the pump to stand (tank, switch, speed at zero); and it waits out a low level."""
    asked = ~told_to_stand(rows)
    dry = rows["low_level_probe_wet"] < 0.5
    if not dry.any():
        return asked, np.zeros(len(asked), bool)
    hold = _since(rows.time_ms, np.zeros_like(day), dry) <= plant.facts.controller.low_level_hold_min * MINUTE_MS
    was_dry = np.zeros(len(dry), bool)
    seen = np.maximum.accumulate(np.where(dry, day, np.iinfo(np.int64).min)) == day
    was_dry[:] = dry | (hold & seen)
    return asked, was_dry


def _at_maximum(plant: Plant, rows: Rows, expected: Expected, power: Floats, turning: Flags) -> tuple[Flags, Flags]:
    """At maximum power; held back. By the array's voltage where read, else by the power against the pump's ceiling."""
    voltage = rows["pv_voltage_v"]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = voltage / expected.mpp_voltage_v
    top = held_from = np.full(len(ratio), AT_MAX_BAND[1])
    unmeasured = turning & ~expected.poa_measured
    if unmeasured.any():
        ratio = np.where(unmeasured, ratio / _under_own_light(plant, rows, expected), ratio)
        top, held_from = np.where(unmeasured, AT_MAX_UNMEASURED, top), np.where(unmeasured, HELD_UNMEASURED, top)
    known = ~np.isnan(ratio)
    at_max = np.where(known, (ratio > AT_MAX_BAND[0]) & (ratio < top), power < 0.97 * plant.ceiling_w)
    return at_max & turning, turning & known & (ratio >= held_from)


def short_of_curve(plant: Plant, voltage: Floats, power: Floats, expected: Expected) -> Flags:
    """Rows whose power lies far below what the array under the measured light would still give at the voltage that it stands at.

    A load that asks for little lets the voltage rise along the array's curve; where current is missing at a voltage near that of
    maximum power, a string is out or in the shade, and the pump takes all there is. The curve is one diode through the datasheet's
    points; its steep end, where a warm or cold cell changes all, says nothing. bool[n]
    """
    module = plant.facts.array.module
    knee_v = (module.v_oc_v - module.v_mp_v) / -np.log(1.0 - module.i_mp_a / module.i_sc_a)
    with np.errstate(divide="ignore", invalid="ignore"):
        over = voltage / expected.mpp_voltage_v + CURVE_OFF
        current = 1.0 - np.exp((np.minimum(over * module.v_mp_v, module.v_oc_v) - module.v_oc_v) / knee_v)
        gives = expected.mpp_power_w * over * current * module.i_sc_a / module.i_mp_a
        return expected.poa_measured & (power < SHORT * gives)


def _under_own_light(plant: Plant, rows: Rows, expected: Expected) -> Floats:
    """Voltage at maximum power under the light that the array's current speaks of, over that under a clear sky.

    Cloud cools the cells, so that their voltage rises: without this it would look like power held back.
    """
    array = plant.facts.array
    with np.errstate(divide="ignore", invalid="ignore"):
        light = np.clip(rows["pv_current_a"] / (array.strings * array.module.i_mp_a), 0.02, 1.4)
        clear = np.clip(expected.clear_poa_w_m2 / 1000.0, 0.02, 1.4)
        warmer_c = (array.module.noct_c - 20.0) / 0.8 * (light - clear)
        ratio = (1.0 + VOLTAGE_PER_K * warmer_c) * (1.0 + LOG_LIGHT * np.log(light / clear))
        return np.where(np.isnan(ratio), 1.0, ratio)
