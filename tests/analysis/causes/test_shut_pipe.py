"""A pump that works against a shut pipe: its gauge stands beyond what the pump's table knows, and that excuses no missing water."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.look import look, over_open_m
from analysis.plant import Plant, plant_of
from analysis.rows import Rows
from tests.cases.recorded import HERE, read_case

MINUTES = 40


def rows_at(plant: Plant, facts_rows: Rows, bar: float, speed_rpm: float, power_w: float) -> Rows:
    """Forty minutes about noon of a recorded day, the pump at one speed and power, its gauge at one pressure; no water comes."""
    days = plant.days
    day = int(days.day_of(int(facts_rows.time_ms[len(facts_rows.time_ms) // 2])))
    opens, closes = days.daylight_ms(day, 0)
    time_ms = (opens + closes) // 2 + 60_000 * np.arange(MINUTES, dtype=np.int64)
    ones = np.ones(MINUTES)
    volts = 100.0
    values = {
        "pv_voltage_v": volts * ones, "pv_current_a": power_w / volts * ones, "motor_speed_rpm": speed_rpm * ones,
        "discharge_pressure_bar": bar * ones, "flow_m3_h": 0.0 * ones, "water_level_m": plant.facts.well.static_level_m * ones,
        "irradiance_w_m2": 900.0 * ones, "motor_running": ones,
    }  # fmt: skip
    return Rows(time_ms, values)


@pytest.mark.parametrize("folder", ["helical_full", "centrifugal"])
def test_water_is_to_be_expected_of_a_pump_whose_gauge_stands_beyond_its_table(folder: str) -> None:
    facts, rows, _ = read_case(HERE / "riser-leak" / folder)
    facts = replace(facts, sensors=replace(facts.sensors, channels=(*facts.sensors.channels, "discharge_pressure_bar")))
    plant = plant_of(facts)
    bar = 3.0 * max(row.head_m for row in facts.pump.curve) / plant.metres_a_bar
    speed = plant.pump.core.reference_rpm if plant.pump.speed_known else 2000.0
    made = rows_at(plant, rows, bar, speed, 0.8 * plant.full_power_w)
    assert (over_open_m(plant, made) > 0).all()
    day = int(plant.days.day_of(int(made.time_ms[0])))
    seen = look(plant, made, range(day, day + 1))
    late = seen.settled
    assert late.any()
    assert (seen.should_m3_h[late] > 0.3 * plant.full_flow_m3_h).all()
    assert (seen.surely_m3_h[late] > 0.2 * plant.full_flow_m3_h).all()
