"""What neighbours with a sensor of the sun say of the sky: by hour, how much of a clear sky's light came through.

Flow: rows of a site that measures the sun -> HERE -> rows of sites nearby that do not (estimates/told_sky.py).
Haze and thin even cloud reach far and take light as dust does, so that without a sensor they pass for each other. Broken cloud is
each place's own: only hours in which the neighbour's light followed a clear sky's course are told.
An outside input of a site's findings, dated by its hour. Never: cloud carried from place to place; light of an hour not yet over.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.estimates.steady import hours_of, steady_rows
from analysis.estimates.sums import Sums
from analysis.look import durations_h
from analysis.plant import plant_of
from analysis.rows import Floats, Rows, Times
from analysis.solar_days import HOUR_MS
from logger.record.site_facts import SiteFacts

CHANNEL = "sky_share"
"""Beside a site's own channels: the share of the row's hour. No board sends it."""
SENSOR = "irradiance_w_m2"
NEAR_KM = 40.0  # haze is one over 40 to 400 km (Anderson et al., J. Atmos. Sci. 60, 119-136, 2003; from memory)
EARTH_KM = 6371.0
HIGH_SUN_W_M2 = (
    400.0  # lower, a clear-sky model's own error is larger than haze, and other tilts see another sky (from memory)
)
WHOLE_H = 0.75  # of the hour must have been heard
EVEN_SHARE = 0.03  # of its mean: more scatter is cloud passing (common practice, no source)
LEAST, MOST = 0.5, 1.2  # less is no haze but a covered sensor; more is no sky


@dataclass(frozen=True)
class SkyShares:
    """k hours. hour_ms: int64[k], starts of UTC hours, rising [ms]; share: float64[k], light over a clear sky's in the same plane [-]."""

    hour_ms: Times
    share: Floats

    def __len__(self) -> int:
        return len(self.hour_ms)

    def between(self, from_ms: int, until_ms: int) -> "SkyShares":
        """The hours that begin from `from_ms` up to but without `until_ms`."""
        inside = (self.hour_ms >= from_ms) & (self.hour_ms < until_ms)
        return SkyShares(self.hour_ms[inside], self.share[inside])


def measures_sun(facts: SiteFacts) -> bool:
    """A sensor of the sun is fitted."""
    return SENSOR in facts.sensors.channels


def distance_km(one: SiteFacts, other: SiteFacts) -> float:
    """Along the ground, on a sphere (haversine). [km]"""
    a_lat, b_lat = np.radians(one.site.latitude_deg), np.radians(other.site.latitude_deg)
    half_lat, half_lon = (b_lat - a_lat) / 2, np.radians(other.site.longitude_deg - one.site.longitude_deg) / 2
    chord = np.sin(half_lat) ** 2 + np.cos(a_lat) * np.cos(b_lat) * np.sin(half_lon) ** 2
    return float(2 * EARTH_KM * np.arcsin(np.sqrt(chord)))


def tells(one: SiteFacts, other: SiteFacts) -> bool:
    """`one` measures the sun, `other` does not, and they stand under the same sky."""
    return measures_sun(one) and not measures_sun(other) and distance_km(one, other) <= NEAR_KM


def shares_told(facts: SiteFacts, rows: Rows) -> SkyShares:
    """Shares of the whole, even hours of high sun that a site's sensor tells of.

    rows
        Of that site, rising strictly in time (`merged`). An hour is told from its own rows alone.
    """
    if not len(rows) or SENSOR not in rows.values:
        return SkyShares(np.empty(0, np.int64), np.empty(0))
    expected = plant_of(facts).model.expect(rows, brief=True)
    hour = rows.time_ms // HOUR_MS
    names, bins = np.unique(hour, return_inverse=True)
    dt_h = durations_h(
        rows.time_ms, np.zeros(len(rows), np.int64)
    )  # an hour's first row reaches back over midnight too
    with np.errstate(divide="ignore", invalid="ignore"):
        lit = expected.poa_measured & (expected.clear_poa_w_m2 > HIGH_SUN_W_M2)
        ratio = np.where(lit, expected.poa_w_m2 / expected.clear_poa_w_m2, 0.0)
    shape = (len(names),)
    even = steady_rows(lit, hours_of(bins, (1, len(names)), dt_h), ratio, WHOLE_H, EVEN_SHARE)
    sums = Sums(even, bins, shape, rising=True)
    heard = sums.hours(dt_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = sums.of(ratio * dt_h) / heard
        good = (heard >= WHOLE_H) & (share > LEAST) & (share < MOST)
    return SkyShares(names[good] * HOUR_MS, share[good])


def of_all(told: Sequence[SkyShares]) -> SkyShares:
    """What several neighbours say together: the middle one of each hour, so that one soiled sensor of three does not tell."""
    if not told:
        return SkyShares(np.empty(0, np.int64), np.empty(0))
    hours = np.concatenate([one.hour_ms for one in told])
    shares = np.concatenate([one.share for one in told])
    order = np.lexsort((shares, hours))
    hours, shares = hours[order], shares[order]
    names, first, count = np.unique(hours, return_index=True, return_counts=True)
    middle = (shares[first + (count - 1) // 2] + shares[first + count // 2]) / 2
    return SkyShares(names, middle)


def with_sky(rows: Rows, told: SkyShares) -> Rows:
    """The rows with the share of each one's hour beside them, NaN where nobody told."""
    if not len(told) or not len(rows):
        return rows
    hour_ms = rows.time_ms // HOUR_MS * HOUR_MS
    place = np.minimum(np.searchsorted(told.hour_ms, hour_ms), len(told) - 1)
    share = np.where(told.hour_ms[place] == hour_ms, told.share[place], np.nan)
    return Rows(rows.time_ms, {**rows.values, CHANNEL: share}, rows.seq, rows.trusted)


def without_sky(rows: Rows) -> Rows:
    """The site's own channels alone, as they are kept."""
    if CHANNEL not in rows.values:
        return rows
    return Rows(rows.time_ms, {k: v for k, v in rows.values.items() if k != CHANNEL}, rows.seq, rows.trusted)
