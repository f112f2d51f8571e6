"""Where the sun stands, and how much of it falls on a tilted plane.

Flow: times, place -> HERE -> sky.py, shade.
Never: weather.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
J2000_UNIX_S = 946_728_000.0  # 2000-01-01T12:00Z
EARTH_AXIS_DEG = 23.439


def sun_position(unix_s: Floats, latitude_deg: float, longitude_deg: float) -> tuple[Floats, Floats, Floats]:
    """Elevation and azimuth of the sun, and (mean / actual distance) squared.

    Parameters
    ----------
    unix_s : ndarray, any shape
        Seconds since 1970, UTC. [s]
    latitude_deg, longitude_deg : float
        North and east positive. [deg]

    Returns
    -------
    elevation, azimuth : ndarray
        Refraction included; azimuth clockwise from north. [deg]
    nearness : ndarray
        Factor on the solar constant. [-]

    Notes
    -----
    Low-precision series of the Astronomical Almanac (from memory), good to about 0.02 deg between 1950 and 2050.
    """
    days = (np.asarray(unix_s, float) - J2000_UNIX_S) / 86400.0
    anomaly = np.radians(357.529 + 0.98560028 * days)
    longitude = np.radians(280.459 + 0.98564736 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    axis = np.radians(EARTH_AXIS_DEG - 0.00000036 * days)
    right_ascension = np.arctan2(np.cos(axis) * np.sin(longitude), np.cos(longitude))
    declination = np.arcsin(np.sin(axis) * np.sin(longitude))
    sidereal = np.radians(15.0 * ((18.697374558 + 24.06570982441908 * days) % 24.0) + longitude_deg)
    hour = sidereal - right_ascension
    latitude = np.radians(latitude_deg)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    elevation = np.degrees(np.arcsin(np.clip(sine, -1, 1)))
    east = -np.cos(declination) * np.sin(hour)
    north = np.sin(declination) * np.cos(latitude) - np.cos(declination) * np.sin(latitude) * np.cos(hour)
    azimuth = np.degrees(np.arctan2(east, north)) % 360.0
    lifted = np.maximum(elevation, -1.0)
    refraction = np.where(elevation > -1.0, 0.0167 / np.tan(np.radians(lifted + 8.6 / (lifted + 4.4))), 0.0)
    nearness = (1.00014 - 0.01671 * np.cos(anomaly) - 0.00014 * np.cos(2 * anomaly)) ** -2
    return elevation + np.maximum(refraction, 0.0), azimuth, nearness


def incidence_cosine(elevation_deg: Floats, azimuth_deg: Floats, tilt_deg: float, facing_deg: float) -> Floats:
    """Cosine of the angle between the sun and the plane's normal; 0 where the sun is behind it or down."""
    elevation, tilt = np.radians(elevation_deg), np.radians(tilt_deg)
    turn = np.radians(azimuth_deg - facing_deg)
    cosine = np.sin(elevation) * np.cos(tilt) + np.cos(elevation) * np.sin(tilt) * np.cos(turn)
    return np.where(elevation_deg > 0, np.maximum(cosine, 0.0), 0.0)
