"""A pump that works against a shut pipe: its gauge stands beyond what the pump's table knows, and that excuses no missing water."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.look import look, over_open_m
from analysis.memory import Case, Memory
from analysis.no_water import _load_tells, _meter_lies
from analysis.pipeline import advance, begin
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


def tries_of_a_shut_pipe(full_bar: float, code: float = 0.0) -> list[str]:
    """Causes told of a sound day of a helical pump, its pipe shut from noon on: a minute's try in four, the gauge at `full_bar`."""
    facts, rows, _ = read_case(HERE / "riser-leak" / "helical_full")
    facts = replace(
        facts,
        sensors=replace(facts.sensors, channels=(*facts.sensors.channels, "discharge_pressure_bar")),
        digest=f"shut {full_bar} {code}",
    )
    plant, start = plant_of(facts), begin(facts)
    day = int(plant.days.day_of(int(rows.time_ms[0]))) + 2
    opens, closes = plant.days.daylight_ms(day, 0)
    time_ms = np.arange(opens, closes, 60_000, dtype=np.int64)
    share = np.sin(np.pi * (time_ms - opens) / (closes - opens))
    plenty = share > 0.5
    shut = np.arange(len(time_ms)) > len(time_ms) // 2
    tries = shut & (np.arange(len(time_ms)) % 4 == 0)
    run = np.where(plenty, np.where(shut, tries, True), False)
    speed = plant.pump.core.reference_rpm if plant.pump.speed_known else 2000.0
    flow = np.where(run & ~shut, 0.9 * plant.full_flow_m3_h, 0.0)
    open_bar = (plant.outlet_m + 2.0) / plant.metres_a_bar
    values = {
        "pv_voltage_v": np.where(run, 100.0, 125.0), "pv_current_a": np.where(run, np.where(shut, 0.4, 0.9) * plant.full_power_w / 100.0, 0.0),
        "motor_speed_rpm": np.where(run, np.where(shut, 0.1, 0.95) * speed, 0.0), "motor_running": run.astype(float),
        "volume_m3": 100.0 + np.floor(np.cumsum(flow / 60.0) / 0.01) * 0.01, "irradiance_w_m2": 1000.0 * share,
        "discharge_pressure_bar": np.where(run & shut, full_bar, np.where(run, open_bar, plant.outlet_m / plant.metres_a_bar)),
        "tank_float_up": np.zeros(len(time_ms)), "low_level_probe_wet": np.ones(len(time_ms)), "fault_code": np.where(shut & ~run, code, 0.0),
    }  # fmt: skip
    state = advance(start, Rows(time_ms, values), int(time_ms[-1]))
    return [finding.cause for finding in state.findings]


@pytest.mark.parametrize("code", [0.0, 4.0])
def test_tries_of_a_minute_against_a_shut_pipe_are_a_shut_pipe_and_no_short_cycling(code: float) -> None:
    """No try lasts until it counts as settled: the gauge alone says it, at the third of them."""
    assert "closed-delivery" in (told := tries_of_a_shut_pipe(30.0, code))
    assert "short-cycling" not in told


def test_the_same_tries_with_the_gauge_as_ever_are_no_shut_pipe() -> None:
    facts, _, _ = read_case(HERE / "riser-leak" / "helical_full")
    plant = plant_of(facts)
    assert "closed-delivery" not in tries_of_a_shut_pipe((plant.outlet_m + 2.0) / plant.metres_a_bar)


def test_a_meter_known_to_lie_tells_of_missing_water_only_beside_a_load_or_a_gauge() -> None:
    """It misses pulses: minutes in which it counts nothing are that, and no hole through which all the water goes."""
    lying = Case("slow-hydraulic", "sensor-fault", "sensor-fault", 0, 1, 0, 0, channel="volume_m3")
    memory = Memory(cases=[lying])
    assert _meter_lies(SimpleNamespace(memory=memory))
    for other in (replace(lying.copied(), ended_ms=1), replace(lying.copied(), channel="motor_current_a")):
        assert not _meter_lies(SimpleNamespace(memory=Memory(cases=[other])))
    nan, rows = np.full(3, np.nan), np.arange(3)
    none = {"torque": nan, "current": nan, "above": nan}
    usual = np.zeros(3, bool)
    assert not _load_tells(none, usual, rows)
    assert not _load_tells(none | {"torque": np.zeros(3)}, ~usual, rows), "as ever"
    assert _load_tells(none | {"torque": np.full(3, -1.0)}, usual, rows), "it let go"
    assert _load_tells(none | {"above": np.full(3, 40.0)}, usual, rows), "shut"
