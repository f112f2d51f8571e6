"""The invented site that the expected side is tried on, and a day of rows for it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.expected import SiteModel
from analysis.rows import Rows
from logger.record.site_facts import CurveRow, SiteFacts
from logger.record.site_file import load_site

DAY_START_MS = 1_762_905_600_000
"""2025-11-12T00:00Z."""


@pytest.fixture(scope="session")
def facts() -> SiteFacts:
    return load_site(Path(__file__).parent / "north_kraal.toml")


@pytest.fixture(scope="session")
def model(facts) -> SiteModel:
    return SiteModel(facts)


@pytest.fixture(scope="session")
def centrifugal(facts) -> SiteModel:
    """The same well with a multistage pump of round figures: H = 90 x2 - Q2, P = 700 x3 + 130 Q x2."""
    rows = []
    for x in (0.8, 0.9, 1.0):
        for head in (40.0, 50.0, 60.0):
            if 90.0 * x**2 > head:
                flow = (90.0 * x**2 - head) ** 0.5
                rows.append(CurveRow(head, 700.0 * x**3 + 130.0 * flow * x**2, flow, 2900.0 * x))
    pump = replace(facts.pump, kind="multistage-centrifugal", curve=tuple(rows))
    return SiteModel(replace(facts, pump=pump))


def rows_of_days(model: SiteModel, days: int = 2, step_s: int = 120, seed: int = 1) -> Rows:
    """A healthy site's rows with noise, holes and every channel that the expected side can use."""
    rng = np.random.default_rng(seed)
    n = days * 86_400 // step_s
    time_ms = DAY_START_MS + 1000 * step_s * np.arange(n, dtype=np.int64)
    clear = np.nan_to_num(model.expect(Rows(time_ms, {})).clear_poa_w_m2)
    poa = clear * rng.uniform(0.4, 1.0, n)
    seen = model.expect(Rows(time_ms, {"irradiance_w_m2": poa}))
    power = np.minimum(np.nan_to_num(seen.mpp_power_w), 1500.0)
    voltage = np.nan_to_num(seen.mpp_voltage_v, nan=4.0)
    values = {
        "pv_voltage_v": voltage,
        "pv_current_a": power / voltage,
        "irradiance_w_m2": poa,
        "ambient_temp_c": rng.normal(22.0, 5.0, n),
        "module_temp_c": rng.normal(35.0, 5.0, n),
        "motor_speed_rpm": np.where(power > 100.0, 200.0 + 1.7 * power, 0.0),
        "water_level_m": rng.normal(41.0, 1.0, n),
        "discharge_pressure_bar": rng.normal(0.9, 0.05, n),
    }
    for column in values.values():
        column[rng.random(n) < 0.08] = np.nan
    return Rows(time_ms, values)


@pytest.fixture(scope="session")
def make_rows(model):
    """`rows_of_days` for this site."""
    return lambda **how: rows_of_days(model, **how)
