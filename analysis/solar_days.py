"""The canonical instants of a site: minutes, UTC hours and the close of its solar day.

Flow: site facts -> HERE -> prepare.py, pipeline.py, estimates.
A block of time is open at its start and closed at its end: a reading at the stroke belongs to what ended.
Never: rows, judgement.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property, lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
DEGREES_AN_HOUR = 15.0


@dataclass(frozen=True)
class SolarDays:
    """Days that close at solar noon + 12 h, rounded to a UTC hour so that every day is whole hours.

    latitude_deg, longitude_deg
        Of the site. [deg]
    timezone
        IANA name; a day bears the local date of its noon.
    """

    latitude_deg: float
    longitude_deg: float
    timezone: str

    @cached_property
    def offset_ms(self) -> int:
        """When day 0 (that of the epoch) began, ms after the epoch; -12 h to 12 h."""
        return -round(self.longitude_deg / DEGREES_AN_HOUR) * HOUR_MS

    def day_of(self, time_ms):
        """Index of the day that holds the instant. int or int64 array in, the same out."""
        return (time_ms - 1 - self.offset_ms) // DAY_MS

    def days_of_rising(self, time_ms: NDArray[np.int64]) -> NDArray[np.int64]:
        """`day_of` instants in order: by where each day begins among them, for to divide every one costs forty times as much."""
        if not len(time_ms):
            return np.empty(0, np.int64)
        days = np.arange(self.day_of(int(time_ms[0])), self.day_of(int(time_ms[-1])) + 1)
        begins = np.searchsorted(time_ms, self.open_ms(days), "right")
        return np.repeat(days, np.diff(begins, append=len(time_ms)))

    def open_ms(self, day):
        """When the day began, ms. int or int64 array in, the same out."""
        return day * DAY_MS + self.offset_ms

    def close_ms(self, day: int) -> int:
        """When the day closes, ms; its last instant."""
        return (day + 1) * DAY_MS + self.offset_ms

    def noon_ms(self, day: int) -> int:
        """Solar noon without the equation of time (16 min at most), ms."""
        return day * DAY_MS + round((12.0 - self.longitude_deg / DEGREES_AN_HOUR) * HOUR_MS)

    def date_of(self, day: int) -> str:
        """Local date of the day's noon, ISO 8601."""
        return _date_of(self.timezone, self.noon_ms(day))

    def day_of_date(self, when: date) -> int:
        """The day whose local noon falls on `when`."""
        day = (when - date(1970, 1, 1)).days
        return day + (when - date.fromisoformat(self.date_of(day))).days

    def half_day_ms(self, day: int) -> int:
        """From sunrise to noon, ms; 0 in polar night. Declination after Cooper (1969), within 2 degrees."""
        return _half_day_of(self.latitude_deg, self.longitude_deg, day)

    def daylight_ms(self, day: int, inside_ms: int = 0) -> tuple[int, int]:
        """From sunrise + `inside_ms` to sunset - `inside_ms`; a negative `inside_ms` widens."""
        return _daylight_of(self, day, inside_ms)

    def _noon(self, day: int) -> datetime:
        return datetime.fromtimestamp(self.noon_ms(day) / 1000.0, UTC)


@lru_cache(maxsize=4096)
def _date_of(timezone: str, noon_ms: int) -> str:
    return datetime.fromtimestamp(noon_ms / 1000.0, ZoneInfo(timezone)).date().isoformat()


@lru_cache(maxsize=8192)
def _daylight_of(days: SolarDays, day: int, inside_ms: int) -> tuple[int, int]:
    noon, half = days.noon_ms(day), days.half_day_ms(day)
    return noon - half + inside_ms, noon + half - inside_ms


@lru_cache(maxsize=4096)
def _half_day_of(latitude_deg: float, longitude_deg: float, day: int) -> int:
    noon = SolarDays(latitude_deg, longitude_deg, "UTC")._noon(day)
    return _half_day_ms(latitude_deg, noon.timetuple().tm_yday)


@lru_cache(maxsize=4096)
def _half_day_ms(latitude_deg: float, day_of_year: int) -> int:
    declination = np.radians(23.45 * np.sin(2.0 * np.pi * (284 + day_of_year) / 365.0))
    cosine = -np.tan(np.radians(latitude_deg)) * np.tan(declination)
    return int(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) / DEGREES_AN_HOUR * HOUR_MS)


def hour_of(time_ms: NDArray[np.int64]) -> NDArray[np.int64]:
    """Index of the UTC hour that holds the instant."""
    return (time_ms - 1) // HOUR_MS


def iso(time_ms: int) -> str:
    """ISO 8601, UTC, to the second, ending in Z."""
    return datetime.fromtimestamp(time_ms // 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def up_to_minute(time_ms: int) -> int:
    """The instant, rounded up to a whole minute."""
    return -(-time_ms // MINUTE_MS) * MINUTE_MS
