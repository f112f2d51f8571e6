"""Sun, cloud and air temperature by the minute, in closed forms."""

from dataclasses import dataclass

import numpy as np


@dataclass
class Sky:
    """Columns by the minute: plane-of-array and its sun geometry, air temperature, wind; rain by the day."""

    time_s: np.ndarray
    poa: np.ndarray
    elevation: np.ndarray
    azimuth: np.ndarray
    ambient: np.ndarray
    wind: np.ndarray
    rain_mm: np.ndarray
    beam_share: np.ndarray


def make_sky(site: dict, time_s: np.ndarray, rng: np.random.Generator) -> Sky:
    elevation, azimuth, cos_incidence = _geometry(site, time_s)
    up = np.clip(np.sin(elevation), 0, None)
    air_mass = np.exp(-site["altitude_m"] / 8400) / np.maximum(up, 0.06)
    haze = rng.uniform(0.66, 0.74)
    day = ((time_s - time_s[0]) // 86400).astype(int)
    days = day[-1] + 1
    season_haze = (
        haze + 0.02 * np.sin(2 * np.pi * np.arange(days) / 180 + rng.uniform(0, 6)) + rng.normal(0, 0.008, days)
    )
    dni = 1360 * season_haze[day] ** (air_mass**0.678) * (up > 0)
    diffuse = 0.11 * dni * up + 20 * up
    cloud = _cloudiness(days, rng)
    through = _through(cloud, day, time_s, rng)
    beam = dni * np.clip(cos_incidence, 0, None) * through
    tilt = np.radians(site["tilt_deg"])
    haze_light = diffuse * (1 + 1.8 * through * (1 - through)) * (0.35 + 0.65 * np.sqrt(through))
    poa = (beam + haze_light * (1 + np.cos(tilt)) / 2 + 0.1 * (beam + haze_light) * (1 - np.cos(tilt))) * (up > 0)
    return Sky(
        time_s,
        poa,
        np.degrees(elevation),
        np.degrees(azimuth),
        _air(site, time_s, day, cloud, rng),
        np.abs(rng.normal(2.5, 1.2, days))[day] * (0.6 + 0.4 * up),
        np.where(cloud > 0.75, rng.exponential(6, days) * (rng.random(days) < site.get("rain_chance", 0.35)), 0.0),
        beam / np.maximum(poa, 1e-9),
    )


def _geometry(site, time_s):
    n = time_s / 86400 - 10957.5  # days since 2000-01-01 12:00
    mean = np.radians((280.46 + 0.9856474 * n) % 360)
    anomaly = np.radians((357.528 + 0.9856003 * n) % 360)
    ecliptic = mean + np.radians(1.915) * np.sin(anomaly) + np.radians(0.02) * np.sin(2 * anomaly)
    tilt_axis = np.radians(23.439)
    declination = np.arcsin(np.sin(tilt_axis) * np.sin(ecliptic))
    right = np.arctan2(np.cos(tilt_axis) * np.sin(ecliptic), np.cos(ecliptic))
    sidereal = np.radians((280.46062 + 360.98564737 * n + site["longitude_deg"]) % 360)
    hour = sidereal - right
    lat = np.radians(site["latitude_deg"])
    east = -np.cos(declination) * np.sin(hour)
    north = np.sin(declination) * np.cos(lat) - np.cos(declination) * np.sin(lat) * np.cos(hour)
    up = np.sin(declination) * np.sin(lat) + np.cos(declination) * np.cos(lat) * np.cos(hour)
    tilt, facing = np.radians(site["tilt_deg"]), np.radians(site["azimuth_deg"])
    incidence = up * np.cos(tilt) + np.sin(tilt) * (north * np.cos(facing) + east * np.sin(facing))
    return np.arcsin(up), np.arctan2(east, north) % (2 * np.pi), incidence


def _cloudiness(days, rng):
    """0 clear to 1 overcast, days hanging together."""
    walk = np.empty(days)
    state = rng.normal()
    for i in range(days):
        state = 0.6 * state + 0.8 * rng.normal()
        walk[i] = state
    return 1 / (1 + np.exp(-(walk - 0.9) * 1.8))


def _through(cloud, day, time_s, rng):
    """Share of the beam that passes, by the minute: fields of cloud drift over on cloudy days."""
    n = len(time_s)
    noise = rng.normal(size=n + 200)
    kernel = np.exp(-np.arange(60) / 12.0)
    field = np.convolve(noise, kernel / np.sqrt((kernel**2).sum()))[100 : 100 + n]
    cover = cloud[day]
    return np.clip(1 - np.clip(field - 2.6 + 4.2 * cover, 0, 1) * (0.55 + 0.4 * cover), 0.03, 1)


def _air(site, time_s, day, cloud, rng):
    hour = (time_s / 3600 + site["longitude_deg"] / 15) % 24
    of_year = 2 * np.pi * ((time_s / 86400.0) % 365.25) / 365.25
    warm = -np.cos(of_year) * (1 if site["latitude_deg"] > 0 else -1)
    drift = np.convolve(rng.normal(0, 2.0, cloud.size + 4), np.ones(3) / 1.7, "same")[2:-2]
    swing = 7.5 * (1 - 0.6 * cloud[day])
    return site["mean_c"] + 6 * warm + drift[day] + swing * np.cos(2 * np.pi * (hour - 14.5) / 24)
