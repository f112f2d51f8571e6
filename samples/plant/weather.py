"""The weather of a landscape: days that hang together, clouds that pass, air, wind, rain and dust.

Flow: seed, place, day numbers -> HERE -> sky.py.
A day's weather depends on its number and the seed alone, so a season and a live run that follows agree.
Never: the sun.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from scipy.special import ndtri

from samples.plant.streams import day_normals, stream

Floats = NDArray[np.float64]
CLOUD_STEP_S = 30
CLOUD_STEPS = 86400 // CLOUD_STEP_S
MEMORY = np.array([1.0, 0.7, 0.45, 0.25])  # how a day takes after those before it
LOOK_BACK_DAYS = 60


@dataclass(frozen=True)
class Climate:
    """What the weather of a place is drawn from. `rain_peak_doy`: day of the year when it rains most."""

    cloud_mean: float = 0.28
    cloud_season: float = 0.18
    cloud_spread: float = 0.24
    rain_peak_doy: float = 20.0
    rain_threshold: float = 0.72
    beam_depth: float = 0.36
    mean_c: float = 22.0
    season_c: float = 6.0
    warmest_doy: float = 15.0
    swing_c: float = 7.5
    wind_m_s: float = 2.6
    dust_per_day: float = 0.0008
    dust_most: float = 0.024


@dataclass(frozen=True)
class Days:
    """One value a day: cloud cover 0..1, rain in mm, dust on the panels (share of light lost), and the day's draws."""

    number: NDArray[np.int64]
    cover: Floats
    rain_mm: Floats
    dust: Floats
    turbidity: Floats
    mean_c: Floats


def _season(days: NDArray[np.int64], peak_doy: float) -> Floats:
    return np.cos(2 * np.pi * ((days % 365.2425) - peak_doy) / 365.2425)


def _persisting(seed: int, part: str, days: NDArray[np.int64]) -> Floats:
    reach = np.arange(days[0] - len(MEMORY) + 1, days[-1] + 1)
    fresh = day_normals(seed, part, reach, 1)[:, 0]
    return np.convolve(fresh, MEMORY / np.sqrt((MEMORY**2).sum()), "valid")


def weather_days(climate: Climate, seed: int, days: NDArray[np.int64]) -> Days:
    """The days' weather; `days` must follow one another."""
    reach = np.arange(days[0] - LOOK_BACK_DAYS, days[-1] + 1)
    mood = _persisting(seed, "cover", reach)
    cover = (
        climate.cloud_mean + climate.cloud_season * _season(reach, climate.rain_peak_doy) + climate.cloud_spread * mood
    )
    depth = np.abs(day_normals(seed, "rain", reach, 1)[:, 0])
    rain = np.where(cover > climate.rain_threshold, 2.0 + 9.0 * depth, 0.0)
    dust, lost = np.empty(len(reach)), 0.5 * climate.dust_most
    pace = np.exp(0.5 * day_normals(seed, "dust", reach, 1)[:, 0])
    for at in range(len(reach)):
        lost = lost * 0.15 if rain[at] > 5.0 else min(climate.dust_most, lost + climate.dust_per_day * pace[at])
        dust[at] = lost
    keep = slice(LOOK_BACK_DAYS, None)
    warm = (
        climate.mean_c + climate.season_c * _season(days, climate.warmest_doy) + 2.2 * _persisting(seed, "warmth", days)
    )
    haze = climate.beam_depth * np.exp(0.12 * _persisting(seed, "haze", days))
    return Days(
        days, np.clip(cover[keep], 0.0, 1.0), rain[keep], dust[keep], haze, warm - 3.0 * np.clip(cover[keep], 0, 1)
    )


def _red_noise(white: Floats, correlation_s: float) -> Floats:
    keep = float(np.exp(-CLOUD_STEP_S / correlation_s))
    start = white[:, :1] * keep
    return lfilter([np.sqrt(1 - keep**2)], [1.0, -keep], white, axis=1, zi=start)[0]


def cloud_series(seed: int, days: Days) -> tuple[Floats, Floats]:
    """Share of the beam and of the clear-sky diffuse light that arrives, shape (days, CLOUD_STEPS + 1)."""
    white = day_normals(seed, "clouds", days.number, 2 * (CLOUD_STEPS + 1)).reshape(len(days.number), 2, -1)
    draws = np.array([stream(seed, "cloud-kind", int(day)).random(3) for day in days.number])
    patchy = 0.8 * _red_noise(white[:, 0], 240.0) + 0.6 * _red_noise(white[:, 1], 3000.0)
    cover = days.cover[:, None]
    edge = ndtri(np.clip(1.0 - cover, 0.001, 0.999))
    few = cover < 0.12
    inside = np.where(few, 0.0, 1.0 / (1.0 + np.exp(-(patchy - edge) / 0.10)))
    opaque = 0.45 + 0.5 * draws[:, :1]
    beam = 1.0 - opaque * inside
    rim = np.where(few, 0.0, np.exp(-((((patchy - edge) + 0.22) / 0.15) ** 2))) * (0.05 + 0.25 * draws[:, 1:2])
    veil = np.clip((cover - 0.62) / 0.3, 0.0, 1.0) * (0.55 + 0.4 * draws[:, 2:3])
    beam = beam * (1.0 - veil)
    diffuse = 1.0 + 1.3 * inside * (1 - 0.55 * veil) + rim * 2.0 - 0.45 * veil
    return beam, np.maximum(diffuse, 0.25)


def at_times(series: Floats, second_of_day: Floats) -> Floats:
    """Series (days, steps + 1) at seconds (n,) of every day, shape (n, days)."""
    place = second_of_day / CLOUD_STEP_S
    low = np.minimum(place.astype(int), series.shape[1] - 2)
    share = (place - low)[:, None]
    return (1 - share) * series[:, low].T + share * series[:, low + 1].T


def wind_series(climate: Climate, seed: int, days: Days) -> Floats:
    """Wind at the array, shape (days, CLOUD_STEPS + 1). [m/s]"""
    white = day_normals(seed, "wind", days.number, CLOUD_STEPS + 1)
    return climate.wind_m_s * np.exp(0.45 * _red_noise(white, 900.0) - 0.1)
