"""Columns in another unit than their name says are refused with the likely unit; a sick pump's columns are not."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.solar_days import HOUR_MS
from analysis.units_by_look import judge_units
from logger.record.site_facts import SiteFacts
from tests.cases.recorded import HERE, case_folders, read_case


@cache
def recorded():
    """A sound helical pump with current, speed and meter; power worked out beside."""
    facts, rows, _ = read_case(HERE / "none" / "helical_middle")
    return facts, Rows(rows.time_ms, rows.values | {"input_power_w": rows["pv_voltage_v"] * rows["pv_current_a"]})


@pytest.mark.parametrize(
    ("channel", "factor", "unit"),
    [
        ("motor_current_a", 1000, "mA"),
        ("motor_current_a", 10, "tenths of an ampere"),
        ("pv_voltage_v", 10, "tenths of a volt"),
        ("pv_current_a", 1000, "mA"),
        ("input_power_w", 1 / 1000, "kW"),
        ("motor_speed_rpm", 1 / 60, "Hz"),
        ("volume_m3", 1000, "litres"),
        ("volume_m3", 264.17, "US gallons"),
        ("volume_m3", 35.31, "cubic feet"),
        ("pv_current_a", 1 / 1000, "kA"),
        ("motor_current_a", 1 / 1000, "a decimal point looks lost"),
    ],
)
def test_the_likely_unit_is_named(channel: str, factor: float, unit: str) -> None:
    facts, rows = recorded()
    changed = Rows(rows.time_ms, rows.values | {channel: rows[channel] * factor})
    (problem,) = judge_units("r.csv", changed, facts)
    assert channel in str(problem)
    assert unit in str(problem)


@pytest.mark.parametrize(
    ("scale", "zero", "unit"), [(1.8, 32.0, "degrees Fahrenheit"), (1.0, 273.15, "kelvins"), (10.0, 0.0, "tenths")]
)
def test_temperatures_in_other_degrees_are_seen(scale: float, zero: float, unit: str) -> None:
    facts, rows = recorded()
    air = 24.0 + 7.0 * np.sin(np.arange(len(rows)) / len(rows) * 200.0)
    for name, warmer in (("ambient_temp_c", 0.0), ("module_temp_c", 14.0)):
        assert judge_units("r.csv", Rows(rows.time_ms, {name: air + warmer}), facts) == []
        (problem,) = judge_units("r.csv", Rows(rows.time_ms, {name: scale * (air + warmer) + zero}), facts)
        assert f"column {name}" in str(problem)
        assert f"it looks like {unit}" in str(problem)


@cache
def test_a_speed_in_per_cent_is_not_called_turns_a_second_alone() -> None:
    facts, rows = recorded()
    fastest = max(row.speed_rpm for row in facts.pump.curve)
    changed = Rows(
        rows.time_ms,
        rows.values | {"motor_speed_rpm": rows["motor_speed_rpm"] * 100.0 / np.nanmax(rows["motor_speed_rpm"])},
    )
    (problem,) = judge_units("r.csv", changed, facts)
    assert "per cent of the fastest" in str(problem)
    assert f"{fastest / 100.0:g} (per cent)" in problem.fix
    hertz = Rows(rows.time_ms, rows.values | {"motor_speed_rpm": rows["motor_speed_rpm"] / 60.0})
    assert "per cent" not in str(judge_units("r.csv", hertz, facts))


def full():
    """A sound helical pump with all sensors, and a flow meter beside the register."""
    facts, rows, _ = read_case(HERE / "none" / "helical")
    hours = np.diff(rows.time_ms, prepend=rows.time_ms[0]) / 3.6e6
    counted = np.diff(rows["volume_m3"], prepend=rows["volume_m3"][0])
    flow = np.convolve(
        np.divide(counted, hours, out=np.zeros(len(hours)), where=(hours > 0) & (hours < 0.3)), np.ones(5) / 5, "same"
    )
    return facts, Rows(rows.time_ms, rows.values | {"flow_m3_h": flow})


@pytest.mark.parametrize(
    ("channel", "factor", "unit"),
    [
        ("flow_m3_h", 1 / 3600, "m3/s"),
        ("flow_m3_h", 1 / 3.6, "L/s"),
        ("flow_m3_h", 1000 / 60, "L/min"),
        ("water_level_m", 3.281, "feet"),
        ("flow_m3_h", 1000, "L/h"),
        ("water_level_m", 39.37, "inches"),
        ("discharge_pressure_bar", 100, "kPa"),
        ("discharge_pressure_bar", 1000, "mbar"),
        ("discharge_pressure_bar", 14.5, "psi"),
        ("discharge_pressure_bar", 10.2, "metres of water"),
        ("discharge_pressure_bar", 0.1, "MPa"),
        ("pv_current_a", 1000, "mA"),
        ("pv_current_a", 0.1, "a decimal point looks lost"),
        ("motor_current_a", 0.1, "a decimal point looks lost"),
        ("irradiance_w_m2", 0.1, "mW/cm2"),
    ],
)
def test_units_told_by_another_channel_or_by_the_pipe(channel: str, factor: float, unit: str) -> None:
    facts, rows = full()
    assert judge_units("r.csv", rows, facts) == []
    (problem,) = judge_units("r.csv", Rows(rows.time_ms, rows.values | {channel: rows[channel] * factor}), facts)
    assert f"column {channel}" in str(problem)
    assert unit in str(problem)


def test_two_meters_are_compared_in_readings_by_the_hour() -> None:
    """As far apart as the other judgements of units take rows to be."""
    facts, rows = full()
    hour = rows.time_ms // HOUR_MS
    ends = np.flatnonzero(np.append(np.diff(hour) > 0, True))
    register = rows["volume_m3"][ends]
    flow = np.diff(register, prepend=register[0])
    thin = Rows(rows.time_ms[ends], {"volume_m3": register, "flow_m3_h": flow / 3.6})
    (problem,) = judge_units("r.csv", thin, facts)
    assert "it looks like L/s" in problem.wrong


@pytest.mark.parametrize(
    ("channel", "factor"),
    [("irradiance_w_m2", 0.1), ("motor_current_a", 0.1), ("discharge_pressure_bar", 0.1), ("pv_voltage_v", 10.0)],
)
def test_whoever_has_a_lying_sensor_is_told_how_to_go_on(channel: str, factor: float) -> None:
    facts, rows = full()
    (problem,) = judge_units("r.csv", Rows(rows.time_ms, rows.values | {channel: rows[channel] * factor}), facts)
    assert problem.fix.endswith("if the sensor is broken, leave its column out")
    assert (
        judge_units(
            "r.csv", Rows(rows.time_ms, {name: one for name, one in rows.values.items() if name != channel}), facts
        )
        == []
    )


@pytest.mark.parametrize(
    ("channel", "factor", "words"),
    [
        ("pv_voltage_v", 1e-3, "it looks like kV"),
        ("pv_current_a", 1e-2, "multiply by 100"),
        ("pv_current_a", 1e-3, "multiply by 1000"),
        ("motor_current_a", 1e-3, "multiply by 1000"),
        ("motor_speed_rpm", 0.1, "at which no pump takes so much power"),
        ("motor_speed_rpm", 1e-3, "thousands of turns"),
        ("motor_speed_rpm", 10.0, "lie above 10000 1/min"),
        ("controller_temp_c", 10.0, "lie above 150 deg C"),
        ("pv_current_a", -1.0, "is the sensor turned round?"),
    ],
)
def test_values_that_are_next_to_nothing_or_that_no_instrument_says_are_refused(
    channel: str, factor: float, words: str
) -> None:
    facts, rows = full()
    (problem,) = judge_units("r.csv", Rows(rows.time_ms, rows.values | {channel: rows[channel] * factor}), facts)
    assert f"column {channel}" in str(problem)
    assert words in str(problem)
    since = rows.time_ms - rows.time_ms.min()
    later = np.where(since > 0.6 * since.max(), factor, 1.0)
    assert judge_units("r.csv", Rows(rows.time_ms, rows.values | {channel: rows[channel] * later}), facts) == [], (
        "a sensor that fails some day"
    )


@pytest.mark.parametrize(
    ("channel", "zero"), [("motor_current_a", -0.1), ("pv_voltage_v", -0.3), ("irradiance_w_m2", -23.0)]
)
def test_a_sensor_whose_zero_is_a_little_off_is_no_unit(channel: str, zero: float) -> None:
    facts, rows = full()
    noise = np.random.default_rng(1).normal(0.0, 0.2 * abs(zero), len(rows))
    read = np.where(rows[channel] < 0.5, zero, rows[channel]) + noise
    assert judge_units("r.csv", Rows(rows.time_ms, rows.values | {channel: read}), facts) == []


def test_few_turns_of_a_pump_that_takes_little_power_are_true() -> None:
    """A low limit, a motor that only tries, or weak sun."""
    facts, rows = full()
    slow = {"motor_speed_rpm": 0.15, "pv_current_a": 0.1, "input_power_w": 0.1}
    some = rows.values | {name: share * rows[name] for name, share in slow.items() if name in rows.values}
    assert [one for one in judge_units("r.csv", Rows(rows.time_ms, some), facts) if "motor_speed" in one.key] == []


def test_a_word_for_not_read_is_no_unit() -> None:
    facts, rows = full()
    level = np.where(np.arange(len(rows)) % 3 == 0, -9999.0, rows["water_level_m"])
    assert judge_units("r.csv", Rows(rows.time_ms, rows.values | {"water_level_m": level}), facts) == []


def test_a_level_counted_upwards_is_no_depth() -> None:
    facts, rows = full()
    level = rows["water_level_m"]
    (negative,) = judge_units("r.csv", Rows(rows.time_ms, rows.values | {"water_level_m": -level}), facts)
    assert "a depth is counted downwards" in str(negative)
    (height,) = judge_units("r.csv", Rows(rows.time_ms, rows.values | {"water_level_m": 70.0 - level}), facts)
    assert "it looks like the height of the water over a sensor" in str(height)
    stuck = np.full(len(level), np.nanmedian(level))
    assert judge_units("r.csv", Rows(rows.time_ms, rows.values | {"water_level_m": stuck}), facts) == []


def test_milliamperes_are_seen_through_nights_of_idle_current() -> None:
    """A controller's own few hundredths of an ampere are most of a winter's rows."""
    facts, rows = full()
    few = np.where(np.arange(len(rows)) % 3 == 0, rows["pv_current_a"], 0.03)
    (problem,) = judge_units("r.csv", Rows(rows.time_ms, {"pv_current_a": few * 1000.0}), facts)
    assert "it looks like mA" in str(problem)


def test_litres_and_gallons_are_told_apart_by_what_the_register_counts_in() -> None:
    facts, rows = recorded()
    slow = Rows(rows.time_ms, rows.values | {"volume_m3": rows["volume_m3"] * 0.4 // 0.1 * 0.1})
    for factor, unit in ((1000.0, "litres"), (264.17, "US gallons")):
        changed = Rows(rows.time_ms, {"volume_m3": slow["volume_m3"] * factor})
        (problem,) = judge_units("r.csv", changed, facts)
        assert f"it looks like {unit}" in str(problem)


def test_where_neither_step_nor_flow_tells_litres_from_gallons_both_are_named() -> None:
    """A pump that lifts half of what its table could: the step is no help where the file tells none."""
    facts, rows = recorded()
    unsaid = replace(facts, sensors=replace(facts.sensors, meter_step_m3=None))
    for factor, words in ((400.0, "US gallons or litres"), (1000.0, "litres")):
        changed = Rows(rows.time_ms, {"volume_m3": rows["volume_m3"] * factor})
        (problem,) = judge_units("r.csv", changed, unsaid)
        assert f"it looks like {words}" in str(problem)


def test_a_lost_point_that_begins_some_day_is_a_sensors_fault() -> None:
    facts, rows = full()
    late = rows.time_ms > np.quantile(rows.time_ms, 0.4)
    for channel, factor in (("discharge_pressure_bar", 10.2), ("pv_current_a", 0.1), ("irradiance_w_m2", 0.1), ("motor_current_a", 0.1)):  # fmt: skip
        changed = rows.values | {channel: np.where(late, factor, 1.0) * rows[channel]}
        assert judge_units("r.csv", Rows(rows.time_ms, changed), facts) == [], channel


def test_the_friction_of_a_long_pipe_is_no_other_unit() -> None:
    facts, rows = full()
    far = replace(facts, delivery=replace(facts.delivery, outlet_height_m=3.0, pipe_length_m=2500.0))
    plant = plant_of(far)
    flow = np.minimum(np.maximum(rows["flow_m3_h"], 0.0), plant.full_flow_m3_h)
    gauge = np.where(np.isnan(flow), np.nan, plant.wellhead_head_m(np.nan_to_num(flow)) / plant.metres_a_bar)
    assert judge_units("r.csv", Rows(rows.time_ms, rows.values | {"discharge_pressure_bar": gauge}), far) == []


def test_a_gauge_stuck_far_up_is_no_other_unit() -> None:
    facts, rows = full()
    assert judge_units("r.csv", Rows(rows.time_ms, {"discharge_pressure_bar": np.full(len(rows), 80.0)}), facts) == []


def test_a_stuck_or_mad_thermometer_is_no_other_unit() -> None:
    facts, rows = recorded()
    for value in (120.0, 85.0, -127.0, 300.0):
        column = {"ambient_temp_c": np.full(len(rows), value)}
        assert judge_units("r.csv", Rows(rows.time_ms, column), facts) == []


def test_a_register_that_began_anywhere_or_restarts_is_no_other_unit() -> None:
    facts, rows = recorded()
    register = rows["volume_m3"] + 1e6
    register[len(register) // 2 :] -= register[len(register) // 2]
    assert judge_units("r.csv", Rows(rows.time_ms, {"volume_m3": register}), facts) == []
    assert judge_units("r.csv", Rows(rows.time_ms, {"volume_m3": np.full(len(rows), np.nan)}), facts) == []


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: f"{f.parent.name}-{f.name}")
def test_no_recorded_fault_is_taken_for_a_unit(folder) -> None:
    facts, rows, _ = read_case(folder)
    assert judge_units("r.csv", rows, facts) == []


@pytest.mark.parametrize(("factor", "unit"), [(14.5, "psi"), (10.2, "metres of water"), (100, "kPa")])
@pytest.mark.parametrize("clogs", [1.0, 8.0])
@pytest.mark.parametrize("outlet_m", [2.0, 6.0])
def test_a_gauges_unit_is_told_though_the_pipe_clogs_or_the_outlet_is_low(
    factor: float, unit: str, clogs: float, outlet_m: float
) -> None:
    """What stands on the gauge at rest is the outlet's height; a clogging that raises what is pressed in half of the days hides no unit."""
    facts, rows = full()
    low = replace(facts, delivery=replace(facts.delivery, outlet_height_m=outlet_m))
    plant = plant_of(low)
    flow = np.clip(np.nan_to_num(rows["flow_m3_h"]), 0.0, plant.full_flow_m3_h)
    open_m = plant.wellhead_head_m(flow)
    late = (rows.time_ms > np.quantile(rows.time_ms, 0.5)) & (flow > 0.1)
    bar = np.where(late, clogs, 1.0) * open_m / plant.metres_a_bar
    assert judge_units("r.csv", Rows(rows.time_ms, rows.values | {"discharge_pressure_bar": bar}), low) == []
    (problem,) = judge_units("r.csv", Rows(rows.time_ms, rows.values | {"discharge_pressure_bar": factor * bar}), low)
    assert "column discharge_pressure_bar" in str(problem)
    assert unit in str(problem)


def test_what_no_pump_can_press_is_another_unit_though_the_pipe_drains_at_rest() -> None:
    facts, rows = full()
    low = replace(facts, delivery=replace(facts.delivery, outlet_height_m=2.0))
    plant = plant_of(low)
    flow = np.clip(np.nan_to_num(rows["flow_m3_h"]), 0.0, plant.full_flow_m3_h)
    late = rows.time_ms > np.quantile(rows.time_ms, 0.6)
    bar = np.where(flow > 0.1, np.where(late, 6.0, 1.0) * plant.wellhead_head_m(flow), 0.0) / plant.metres_a_bar
    assert judge_units("r.csv", Rows(rows.time_ms, rows.values | {"discharge_pressure_bar": bar}), low) == []
    (problem,) = judge_units("r.csv", Rows(rows.time_ms, rows.values | {"discharge_pressure_bar": 14.5 * bar}), low)
    assert "psi" in str(problem)


def test_litres_a_minute_and_cubic_metres_a_day_are_both_named() -> None:
    """A factor of 16.7 and one of 24: which of them it is hangs on what this pump gives, which nobody knows so well."""
    facts, rows, _ = read_case(HERE / "none/helical_middle")
    for factor in (1000 / 60, 24):
        flow = np.where(np.diff(rows["volume_m3"], prepend=rows["volume_m3"][0]) > 0, 1.0, 0.0)
        flow *= 0.6 * max(row.flow_m3_h for row in facts.pump.curve) * factor
        told = "; ".join(str(one) for one in judge_units("r.csv", Rows(rows.time_ms, {"flow_m3_h": flow}), facts))
        assert "L/min or m3/d" in told
        assert "16.667 (L/min) or 24 (m3/d)" in told


def test_turns_a_second_are_told_where_the_table_has_no_speeds() -> None:
    facts, rows, _ = read_case(HERE / "none/helical_middle")
    plain = tuple(replace(row, speed_rpm=None) for row in facts.pump.curve)
    rated = max(float(np.nanmax(rows["motor_speed_rpm"])), 1000.0)
    such = replace(facts, pump=replace(facts.pump, curve=plain), motor=replace(facts.motor, rated_speed_rpm=rated))
    slow = Rows(rows.time_ms, {**rows.values, "motor_speed_rpm": rows["motor_speed_rpm"] / 60.0})
    assert any("Hz" in str(one) for one in judge_units("r.csv", slow, such))
    assert not any("motor_speed_rpm" in one.key for one in judge_units("r.csv", rows, such))


def lifting(share: float = 1.0, slip: float = 0.0) -> tuple[SiteFacts, Rows]:
    """A pump that lifts this share of what its table says at its power, less a `slip` of its largest flow; no register beside."""
    facts, rows = full()
    plant, power = plant_of(facts), rows["pv_voltage_v"] * rows["pv_current_a"]
    lift_m = plant.system.head_m(np.full(len(rows), 0.6 * plant.full_flow_m3_h))
    due = plant.pump.lookup().flow_of_power(np.minimum(np.nan_to_num(power), plant.ceiling_w), lift_m)
    flow = np.maximum(np.nan_to_num(due) * share - slip * plant.full_flow_m3_h, 0.0)
    return facts, Rows(rows.time_ms, {**{k: v for k, v in rows.values.items() if k != "volume_m3"}, "flow_m3_h": flow})


def test_litres_a_second_are_seen_where_no_register_is_beside() -> None:
    facts, rows = lifting(1 / 3.6)
    (problem,) = judge_units("r.csv", rows, facts)
    assert "L/s" in str(problem)
    assert "multiply by 3.6" in problem.fix


@pytest.mark.parametrize(("share", "slip"), [(1.0, 0.0), (0.5, 0.0), (0.15, 0.0), (1.0, 0.5), (0.8, 0.4)])
def test_what_is_lost_otherwise_is_no_unit(share: float, slip: float) -> None:
    """A hole or wear takes most of a weak flow, and no fault leaves just a 3.6th of each."""
    facts, rows = lifting(share, slip)
    assert judge_units("r.csv", rows, facts) == []
