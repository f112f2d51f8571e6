"""Columns in another unit than their name says are refused with the likely unit; a sick pump's columns are not."""

from functools import cache

import numpy as np
import pytest

from analysis.rows import Rows
from analysis.units_by_look import judge_units
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
    ],
)
def test_the_likely_unit_is_named(channel: str, factor: float, unit: str) -> None:
    facts, rows = recorded()
    changed = Rows(rows.time_ms, rows.values | {channel: rows[channel] * factor})
    (problem,) = judge_units("r.csv", changed, facts)
    assert channel in str(problem)
    assert f"it looks like {unit}" in str(problem)


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
