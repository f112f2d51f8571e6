"""Three weeks of one site, drawn by a few lines and no physics: enough for the engine to see days, a silence, a dry pump."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site

SITE = Path(__file__).parents[1] / "store" / "site.toml"
FIRST = pd.Timestamp("2025-11-01T00:00:00Z")
DAYS, STEP_S = 21, 300


@pytest.fixture(scope="session")
def site_file() -> Path:
    """A site file that holds."""
    return SITE


@pytest.fixture(scope="session")
def facts() -> SiteFacts:
    """Its facts."""
    return load_site(SITE)


@pytest.fixture(scope="session")
def frame() -> pd.DataFrame:
    """Readings every five minutes: power follows the sun, water the datasheet's row at 60 m; day 8 is missing from nine
    to five, and on day 15 the motor runs from ten to one without moving water."""
    time = pd.date_range(FIRST, periods=DAYS * 86_400 // STEP_S, freq=f"{STEP_S}s").as_unit("ms")
    hour = np.asarray(time.hour + time.minute / 60)
    sun = np.clip(np.sin(np.pi * (hour - 4) / 12), 0, None)
    power = np.where(sun > 0.1, 1500 * sun, 0.0)
    flow = np.interp(power, [0, 466, 1518], [0, 1.17, 4.95]) * (power > 300)
    day = np.asarray((time - FIRST).days)
    dry = (day == 15) & (hour >= 8) & (hour < 11)
    flow[dry], power[dry] = 0.0, 0.5 * power[dry]
    volume = np.floor(np.cumsum(flow) * STEP_S / 3600 / 0.01) * 0.01
    whole = pd.DataFrame({
        "time": time,
        "pv_voltage_v": np.where(sun > 0, 215.0, 0.0),
        "pv_current_a": np.round(power / 215.0, 3),
        "volume_m3": np.round(volume, 2),
        "motor_running": (power > 300).astype(float),
    })  # fmt: skip
    silent = (day == 8) & (hour >= 7) & (hour < 15)
    return whole[~silent].reset_index(drop=True)
