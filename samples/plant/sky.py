"""What the sky gives one array: light in its plane, air, module temperature, step by step.

Flow: sun.py, weather.py -> HERE -> array.py, controller.py, sensors.py.
Arrays have the shape (steps of a day, days): the whole season advances a day's clock at once.
Never: what the panels make of the light.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from logger.record.site_facts import SiteFacts
from samples.plant.sun import incidence_cosine, sun_position
from samples.plant.weather import Climate, at_times, cloud_series, weather_days, wind_series

Floats = NDArray[np.float64]
SOLAR_CONSTANT_W_M2 = 1361.0
MODULE_LAG_S = 380.0


@dataclass(frozen=True)
class Sky:
    """Everything (steps, days) but `dust` and `rain_mm` (days,) and `second` (steps,). `beam`, `diffuse`: in the plane."""

    second: Floats
    unix_s: Floats
    elevation_deg: Floats
    azimuth_deg: Floats
    beam_w_m2: Floats
    diffuse_w_m2: Floats
    ambient_c: Floats
    module_c: Floats
    dust: Floats
    rain_mm: Floats

    @cached_property
    def plane_w_m2(self) -> Floats:
        """Light in the plane of the array, unshaded and clean."""
        return self.beam_w_m2 + self.diffuse_w_m2


def day_origin_s(longitude_deg: float) -> int:
    """Second of the UTC day at which the solar day of a place begins, rounded to an hour."""
    return round(-longitude_deg / 15.0) * 3600


def make_sky(
    facts: SiteFacts, climate: Climate, landscape_seed: int, site_seed: int, days: NDArray[np.int64], step_s: int
) -> Sky:
    """The sky over `days` (days since 1970, one after the other) in steps of `step_s` (divides 86400).

    Neighbours that share `landscape_seed` share the days' weather; `site_seed` moves their clouds.
    """
    second = np.arange(0, 86400, step_s, dtype=float) + step_s
    unix = day_origin_s(facts.site.longitude_deg) + days[None, :] * 86400.0 + second[:, None]
    elevation, azimuth, nearness = sun_position(unix, facts.site.latitude_deg, facts.site.longitude_deg)
    weather = weather_days(climate, landscape_seed, days)
    beam_share, diffuse_share = cloud_series(site_seed, weather)
    beam_share, diffuse_share = at_times(beam_share, second), at_times(diffuse_share, second)
    up = np.maximum(np.sin(np.radians(elevation)), 0.0)
    air = np.exp(-facts.site.altitude_m / 8400.0) / (up + 0.15 * (3.885 + np.maximum(elevation, 0.0)) ** -1.253)
    top = SOLAR_CONSTANT_W_M2 * nearness
    direct = np.where(up > 0, top * np.exp(-weather.turbidity * air**0.72), 0.0)
    scattered = np.where(up > 0, 0.30 * up * top * (1 - np.exp(-weather.turbidity * air**0.72)), 0.0)
    direct, scattered = direct * beam_share, scattered * diffuse_share
    facing = incidence_cosine(elevation, azimuth, facts.array.tilt_deg, facts.array.azimuth_deg)
    glass = np.clip(1.0 - 0.05 * (1.0 / np.maximum(facing, 0.06) - 1.0), 0.0, 1.0)
    tilt = np.cos(np.radians(facts.array.tilt_deg))
    horizontal = scattered + direct * up
    diffuse = 0.5 * (1 + tilt) * scattered + 0.5 * (1 - tilt) * 0.22 * horizontal
    beam = direct * facing * glass
    hour = 2 * np.pi * (second[:, None] / 3600.0 - 15.0) / 24.0
    swing = climate.swing_c * (1.15 - 0.75 * weather.cover)
    ambient = weather.mean_c + swing * (np.cos(hour) + 0.18 * np.cos(2 * hour))
    wind = at_times(wind_series(climate, site_seed, weather), second)
    return Sky(
        second, unix, elevation, azimuth, beam, diffuse, ambient,
        _module_temperature(facts, beam + diffuse, ambient, wind, step_s), weather.dust, weather.rain_mm,
    )  # fmt: skip


def _module_temperature(facts: SiteFacts, plane: Floats, ambient: Floats, wind: Floats, step_s: int) -> Floats:
    """Ambient plus what sun adds and wind (1 m/s at NOCT) takes, behind the glass's own lag."""
    loss = 800.0 / (facts.array.module.noct_c - 20.0)
    warm = plane / (0.72 * loss + 0.28 * loss * wind)
    keep = float(np.exp(-step_s / MODULE_LAG_S))
    lagged = lfilter([1 - keep], [1.0, -keep], warm, axis=0)
    return ambient + lagged
