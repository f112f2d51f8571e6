"""A day's observations tell the factors that made the day, and lead the baseline to them."""

import numpy as np
import pytest

from analysis.baseline import Baseline
from analysis.day_observations import observe_day
from analysis.factors import Factors
from analysis.rows import Rows

DAY_MS = 86_400_000


def lived_day(model, day: int, truth: Factors, rng) -> tuple[Rows, np.ndarray]:
    """A healthy plant's readings and flow, by its own factors."""
    time_ms = 1_762_905_600_000 + DAY_MS * day + 300_000 * np.arange(288, dtype=np.int64)
    clear = np.nan_to_num(model.expect(Rows(time_ms, {})).clear_poa_w_m2)
    poa = clear * rng.uniform(0.75, 1.0)
    real = model.expect(Rows(time_ms, {"irradiance_w_m2": poa}), truth)
    power = np.minimum(np.nan_to_num(real.mpp_power_w), 1400.0)
    voltage = np.nan_to_num(real.mpp_voltage_v, nan=4.0)
    water = model.expect(Rows(time_ms, {"input_power_w": power}), truth)
    speed = np.nan_to_num(model.pump.speed_of_power(power / truth.power, water.head_m))
    values = {
        "irradiance_w_m2": poa,
        "pv_voltage_v": voltage,
        "pv_current_a": power / voltage,
        "motor_speed_rpm": speed,
        "water_level_m": model.curve.level_m(np.nan_to_num(water.flow_m3_h))
        + truth.level_offset_m
        + rng.normal(0, 0.05, 288),
    }
    flow = np.nan_to_num(water.flow_m3_h) * rng.normal(1.0, 0.01, 288)
    return Rows(time_ms, values), flow


def told(model, truth: Factors, days: int = 20) -> Baseline:
    rng = np.random.default_rng(8)
    baseline = Baseline.start(model.facts)
    for day in range(days):
        rows, flow = lived_day(model, day, truth, rng)
        seen = model.expect(rows)
        sound = seen.daylight & (seen.input_power_w > 350)
        at_max = sound & (seen.input_power_w < 1390)
        baseline = baseline.update(observe_day(model, rows, seen, flow, sound, at_max, f"2025-11-{12 + day:02d}"))
    return baseline


@pytest.mark.parametrize(("name", "value", "within"), [
    ("flow", 0.94, 0.03), ("power", 1.05, 0.02), ("level_offset_m", 1.6, 0.3), ("array_current", 0.96, 0.02),
])  # fmt: skip
def test_the_baseline_finds_the_factor_that_made_the_days(model, name, value, within):
    baseline = told(model, Factors(**{name: value}))
    assert baseline.beyond_tolerance == ()
    assert getattr(baseline.factors(), name) == pytest.approx(value, abs=within)


def test_a_flawless_plant_stays_at_the_datasheet(model):
    learnt = told(model, Factors()).factors()
    assert np.abs(learnt.vector() - Factors().vector()).max() < 0.25, "level_offset_m in metres, the rest shares"
    assert abs(learnt.flow * learnt.meter - 1.0) < 0.012


def test_learning_narrows_the_band(model):
    factors = told(model, Factors()).factors()
    noon = Rows(
        np.array([1_762_941_600_000], np.int64),
        {"input_power_w": np.array([1000.0]), "motor_speed_rpm": np.array([1800.0])},
    )
    before, after = model.expect(noon), model.expect(noon, factors)
    assert after.flow_at_speed_m3_h_std[0] < 0.7 * before.flow_at_speed_m3_h_std[0]


def test_too_few_rows_tell_nothing(model):
    rows, flow = lived_day(model, 0, Factors(), np.random.default_rng(0))
    seen = model.expect(rows)
    nothing = np.zeros(len(rows), bool)
    assert observe_day(model, rows, seen, flow, nothing, nothing, "2025-11-12").observations == ()


@pytest.mark.parametrize("air", [0.93, 1.0, 1.05])
def test_without_a_sensor_clear_spells_tell_air_and_array_together(model, air):
    """The afternoon is cloudy: only the clear morning may speak."""
    time_ms = 1_762_905_600_000 + 300_000 * np.arange(288, dtype=np.int64)
    clear = np.nan_to_num(model.expect(Rows(time_ms, {})).clear_poa_w_m2)
    rng = np.random.default_rng(4)
    cloud = np.where(np.arange(288) < 125, 1.0, rng.uniform(0.2, 0.9, 288))
    real = model.expect(Rows(time_ms, {"irradiance_w_m2": air * clear * cloud}))
    voltage = np.nan_to_num(real.mpp_voltage_v, nan=4.0)
    rows = Rows(time_ms, {"pv_voltage_v": voltage, "pv_current_a": np.nan_to_num(real.mpp_power_w) / voltage})
    seen = model.expect(rows)
    sound = seen.daylight & (seen.input_power_w > 200)
    day = observe_day(model, rows, seen, np.full(288, np.nan), sound, sound, "2025-11-12")
    (told,) = [o for o in day.observations if o.kind == "clear_sky"]
    assert set(told.slopes) == {"clear_sky", "array_current", "array_voltage"}
    assert np.exp(told.value) == pytest.approx(air, abs=0.02)
    assert not any(o.kind == "array_power" for o in day.observations), "no sensor measured the sun"


def test_a_sensor_speaks_instead_of_the_clear_sky(model):
    rows, flow = lived_day(model, 0, Factors(), np.random.default_rng(0))
    seen = model.expect(rows)
    sound = seen.daylight & (seen.input_power_w > 350)
    kinds = {o.kind for o in observe_day(model, rows, seen, flow, sound, sound, "2025-11-12").observations}
    assert "array_power" in kinds
    assert "clear_sky" not in kinds
