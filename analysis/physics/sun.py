"""Where the sun stands: few instants by the full algorithm, the rest between them.

Flow: site facts and times -> HERE -> clear_sky.py, sky_table.py, estimates.
The slow part (declination, equation of time) is taken once from pvlib's Solar Position Algorithm for each day of one
tropical year and repeated; the daily turn is plain spherical trigonometry.
Never: irradiance, settings, I/O.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pvlib import solarposition

Floats = NDArray[np.float64]

TROPICAL_YEAR_DAYS = 365.24219
DAY_MS = 86_400_000.0
REFERENCE_DAY = 19_797
"""Days from 1970 to 2024-03-15: the year tabulated starts here, in the middle of the product's life."""
PARALLAX_DEG = 8.794 / 3600.0
"""The sun's horizontal parallax: what the topocentric elevation seen from a pole falls short of the declination."""


@dataclass(frozen=True)
class SunPosition:
    """elevation_deg: apparent (refracted) elevation; azimuth_deg: clockwise from true north. Arrays of one shape."""

    elevation_deg: Floats
    azimuth_deg: Floats


@lru_cache(maxsize=1)
def _year() -> tuple[Floats, Floats, Floats]:
    """Day of the tropical year (-1 ... 367), declination [deg] and equation of time [min] at 0 h UTC."""
    days = np.arange(-1.0, 368.0)
    times = pd.to_datetime((REFERENCE_DAY + days) * DAY_MS, unit="ms", utc=True)
    seen = solarposition.spa_python(times, 90.0, 0.0, altitude=0.0, delta_t=69.2)
    elevation = seen["elevation"].to_numpy()
    declination = elevation + PARALLAX_DEG * np.cos(np.radians(elevation))
    return days, declination, seen["equation_of_time"].to_numpy()


@lru_cache(maxsize=1)
def _from_midnight() -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Declination [deg] and equation of time [min] at 0 h UTC from the year's first day on, each with its rise to the next: a day's place is its
    number, so that `np.interp`, which seeks it, takes four times as long for the same bits."""
    _, declination, minutes = _year()
    return (declination[1:-1], np.diff(declination)[1:]), (minutes[1:-1], np.diff(minutes)[1:])


def day_of_year(time_days: ArrayLike) -> Floats:
    """Days since the start of the tabulated tropical year, 0 to 365.24219.

    Parameters
    ----------
    time_days : float or ndarray, any shape
        Days since 1970-01-01T00:00Z; NaN gives NaN. [d]

    Returns
    -------
    ndarray, shape of `time_days`
        [d]

    References
    ----------
    .. [1] J. Meeus, Astronomical Algorithms, 2nd ed. 1998: length of the tropical year. From memory.
    """
    return np.mod(np.asarray(time_days, float) - REFERENCE_DAY, TROPICAL_YEAR_DAYS)


def declination_and_equation_of_time(time_days: ArrayLike) -> tuple[Floats, Floats]:
    """The sun's declination and the equation of time.

    Parameters
    ----------
    time_days : float or ndarray, any shape
        Days since 1970-01-01T00:00Z. [d]

    Returns
    -------
    declination_deg, equation_of_time_min : ndarray, shape of `time_days`
        Within 0.01 deg and 0.02 min of the full algorithm from 2010 to 2045 (swept in the tests). NaN in, NaN out.

    References
    ----------
    .. [1] I. Reda, A. Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302, 2008.
    """
    day = np.asarray(day_of_year(time_days))
    with np.errstate(invalid="ignore"):
        low = np.asarray(day.astype(np.int64))
    np.minimum(np.maximum(low, 0, out=low), round(TROPICAL_YEAR_DAYS), out=low)
    rest = day - low
    (declination, more), (minutes, later) = _from_midnight()
    return more[low] * rest + declination[low], later[low] * rest + minutes[low]


def refraction_deg(elevation_deg: ArrayLike, pressure_pa: float = 101_325.0, temperature_c: float = 15.0) -> Floats:
    """How much the air lifts the sun. [deg]

    Parameters
    ----------
    elevation_deg : float or ndarray, any shape
        True elevation; NaN in, NaN out. [deg]
    pressure_pa : float, optional
        Of the air. [Pa]
    temperature_c : float, optional
        Of the air. [deg C]

    Returns
    -------
    ndarray, shape of `elevation_deg`
        Below -1 deg, where nothing is seen, it fades out until -4 deg, so that tables may interpolate across the horizon. [deg]

    References
    ----------
    .. [1] I. Reda, A. Andreas, Solar Position Algorithm, NREL/TP-560-34302, rev. 2008, equation 42.
    """
    true = np.asarray(elevation_deg, float)
    shown = np.maximum(true, -1.0)
    lift = (pressure_pa / 101_000.0) * (283.0 / (273.0 + temperature_c)) * 1.02 / 60.0
    lift = lift / np.tan(np.radians(shown + 10.3 / (shown + 5.11)))
    return lift * np.clip((true + 4.0) / 3.0, 0.0, 1.0)


def sun_position(
    time_ms: ArrayLike, latitude_deg: float, longitude_deg: float, altitude_m: float = 0.0, temperature_c: float = 15.0
) -> SunPosition:
    """The sun's place in the sky.

    Parameters
    ----------
    time_ms : int or ndarray, any shape
        Milliseconds since 1970-01-01T00:00Z. [ms]
    latitude_deg, longitude_deg : float
        North and east positive. [deg]
    altitude_m, temperature_c : float
        For the refraction alone. [m], [deg C]

    Returns
    -------
    SunPosition, shape of `time_ms`
        Within 0.02 deg of the Solar Position Algorithm (swept in the tests).

    Raises
    ------
    ValueError
        Latitude or longitude off the globe.

    References
    ----------
    .. [1] Reda and Andreas (2008), as above; the daily turn: spherical trigonometry, any textbook of astronomy.
    """
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise ValueError(f"latitude -90 to 90 and longitude -180 to 180, got {latitude_deg!r}, {longitude_deg!r}")
    days = np.asarray(time_ms, float) / DAY_MS
    declination, minutes = declination_and_equation_of_time(days)
    hour_angle = 360.0 * (days - np.floor(days)) - 180.0 + longitude_deg + minutes / 4.0
    return seen_from(latitude_deg, declination, hour_angle, altitude_m, temperature_c)


def seen_from(
    latitude_deg: float,
    declination_deg: ArrayLike,
    hour_angle_deg: ArrayLike,
    altitude_m: float = 0.0,
    temperature_c: float = 15.0,
) -> SunPosition:
    """The sun's place in the sky from its declination and hour angle (0 at true noon, afternoon positive).

    Parameters
    ----------
    latitude_deg : float
        North positive. [deg]
    declination_deg, hour_angle_deg : float or ndarray that broadcast
        NaN in, NaN out. [deg]
    altitude_m : float, optional
        [m]
    temperature_c : float, optional
        Of the air. [deg C]

    Returns
    -------
    SunPosition
        Apparent elevation and azimuth clockwise from true north, broadcast shape. [deg]

    References
    ----------
    .. [1] Spherical trigonometry, any textbook of astronomy.
    """
    hour_angle = np.radians(np.asarray(hour_angle_deg, float))
    declination, latitude = np.radians(np.asarray(declination_deg, float)), np.radians(latitude_deg)
    sine, cosine, turned = np.sin(declination), np.cos(declination), np.cos(hour_angle)
    east = -cosine * np.sin(hour_angle)
    north = sine * np.cos(latitude) - cosine * np.sin(latitude) * turned
    up = sine * np.sin(latitude) + cosine * np.cos(latitude) * turned
    true = np.degrees(np.arcsin(np.clip(up, -1.0, 1.0))) - PARALLAX_DEG
    elevation = true + refraction_deg(true, pressure_at(altitude_m), temperature_c)
    azimuth = np.degrees(np.arctan2(east, north))
    return SunPosition(
        elevation, np.where(azimuth < 0.0, azimuth + 360.0, azimuth + 0.0)
    )  # np.mod takes ten times as long


def pressure_at(altitude_m: float) -> float:
    """Air pressure of the standard atmosphere, below 11 km. [Pa]

    Parameters
    ----------
    altitude_m : float
        Above the sea. [m]

    Returns
    -------
    float
        [Pa]

    References
    ----------
    .. [1] ISO 2533:1975. From memory.
    """
    return 101_325.0 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588
