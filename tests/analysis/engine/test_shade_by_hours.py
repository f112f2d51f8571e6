"""From rows to the finding, with no sensor of the sun: a shade at the same hours each day, and a tank that is full by the afternoon."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from analysis.pipeline import advance, begin
from analysis.plant import plant_of
from analysis.rows import Rows
from logger.record.finding import Finding
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

FACTS = read_site((HERE / "string-out/centrifugal_full/site.toml").read_text(), "site.toml")
CHANNELS = ("input_power_w", "motor_running")
FIRST, DAYS, FALLS = 20_000, 42, 24
MINUTES = np.arange(-360, 360, 5)


def season(left: float, since_h: float, until_h: float) -> tuple[list[Finding], int]:
    """What is found of a pump that takes nine tenths of what the model's array gives, under a sky with clouds on two days of five; from
    the day FALLS so much is left of it in these hours from noon, 0: it stands. And when that day begins. [ms]
    """
    facts = replace(FACTS, sensors=replace(FACTS.sensors, channels=CHANNELS), visits=())
    plant, rng = plant_of(facts), np.random.default_rng(3)
    noon_ms = np.array([plant.days.noon_ms(FIRST + day) for day in range(DAYS)], np.int64)
    time_ms = (noon_ms[:, None] + MINUTES * 60_000).ravel()
    cloud = np.where((np.arange(DAYS) % 5 < 2)[:, None], rng.uniform(0.3, 1.0, (DAYS, len(MINUTES))), 1.0).ravel()
    light = plant.model.expect(Rows(time_ms, {})).clear_poa_w_m2 * cloud
    sun = plant.model.expect(Rows(time_ms, {"irradiance_w_m2": light}))
    hours = np.tile(MINUTES / 60.0, DAYS)
    shaded = (np.arange(len(hours)) // len(MINUTES) >= FALLS) & (hours >= since_h) & (hours < until_h)
    share = 0.9 * np.where(shaded, left, 1.0) * rng.normal(1.0, 0.01, len(hours))
    values = {"input_power_w": sun.mpp_power_w * share, "motor_running": (share > 0).astype(float)}
    found = advance(begin(facts), Rows(time_ms, values), int(time_ms[-1])).findings
    return list(found), plant.days.open_ms(FIRST + FALLS)


@pytest.mark.parametrize(("left", "since_h", "until_h"), [(0.5, -1.0, 1.0), (0.0, 1.5, 3.0), (0.0, -6.0, -2.4)])
def test_a_shade_that_leaves_no_steady_hour_is_told_after_four_clear_days_and_once_it_outlasts_a_weather(
    left: float, since_h: float, until_h: float
) -> None:
    found, fell_ms = season(left, since_h, until_h)
    (one,) = found
    assert one.first_cause == one.cause == "shading"
    flagged_ms, began_ms = (datetime.fromisoformat(at).timestamp() * 1000 for at in (one.flagged, one.began))
    assert abs(began_ms - fell_ms) <= 86_400_000
    assert fell_ms < flagged_ms <= fell_ms + 16 * 86_400_000


def test_a_sound_season_is_silent() -> None:
    assert season(1.0, -3.0, -1.5)[0] == []


def test_a_pump_that_stands_from_the_same_minute_until_the_evening_is_not_shaded() -> None:
    """Nothing reads whether the tank is full."""
    assert not [one for one in season(0.0, 2.4, 6.0)[0] if one.cause == "shading"]
