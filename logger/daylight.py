"""How high the sun stands, to a degree or so: enough to know when a controller should be awake.

Flow: urgent.py -> HERE. Declination and equation of time by their first terms (common textbook forms; from memory:
J. W. Spencer, Fourier series representation of the position of the sun, 1971); analysis has the exact one.
Never: refraction, altitude, time zones.
"""

import math

DAY_MS = 86_400_000
YEAR_DAYS = 365.2425
FIRST_OF_2000_MS = 946_684_800_000


def sun_elevation_deg(time_ms: int, latitude_deg: float, longitude_deg: float) -> float:
    """Of the sun's centre above the horizon; `time_ms` UTC."""
    days = (time_ms - FIRST_OF_2000_MS) / DAY_MS
    year = 2 * math.pi * (days % YEAR_DAYS) / YEAR_DAYS
    declination = (
        0.006918 - 0.399912 * math.cos(year) + 0.070257 * math.sin(year)
        - 0.006758 * math.cos(2 * year) + 0.000907 * math.sin(2 * year)
    )  # fmt: skip
    equation_min = 229.18 * (
        0.000075 + 0.001868 * math.cos(year) - 0.032077 * math.sin(year)
        - 0.014615 * math.cos(2 * year) - 0.040849 * math.sin(2 * year)
    )  # fmt: skip
    solar_min = days % 1 * 1440 + equation_min + 4 * longitude_deg
    hour_angle = math.radians(solar_min / 4 - 180)
    latitude = math.radians(latitude_deg)
    sine = math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(declination) * math.cos(
        hour_angle
    )
    return math.degrees(math.asin(max(-1.0, min(1.0, sine))))
