"""The sky over one site as a table: sun, clear-sky irradiance and usual air temperature by day and solar time.

Flow: sun.py, clear_sky.py, cell_temperature.py -> HERE (once per site) -> expected.py
A day is a local mean solar day; within it nodes every ten minutes, straight lines between them.
Never: measured weather.
"""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.physics.cell_temperature import ambient_default
from analysis.physics.clear_sky import clear_sky, clear_sky_relative_std, monthly_turbidity
from analysis.physics.sun import (
    DAY_MS,
    REFERENCE_DAY,
    TROPICAL_YEAR_DAYS,
    day_of_year,
    declination_and_equation_of_time,
    seen_from,
)
from logger.record.site_facts import Array, Site

Floats = NDArray[np.float64]

ELEVATION_DEG, CLEAR_POA_W_M2, CLEAR_STD_W_M2, AMBIENT_C, TAKEN_POA_W_M2, TAKEN_STD_W_M2 = range(6)
"""The last two, what passes the glass, only where the clear sky is tabulated as it falls in: else it is that already."""
NODES = 145
KEPT_DAYS = 3
SEASON_NODES = 122
GLASS_STD = 0.3
"""Of what the glass turns away: between plain and coated glass (common practice, no source)."""
LIT_DEG = -16.0 / 60.0
"""Apparent elevation of the sun's centre with its upper edge on the horizon: from here on a row counts as daylight."""


@dataclass(frozen=True, eq=False)
class SkyTable:
    """`values` float64[SEASON_NODES + 1, NODES, 4 or 6] over the tropical year and the local mean solar day.

    `through_glass`: the clear sky is less what the modules' glass turns away; else two more columns tell that.
    """

    longitude_days: float
    values: Floats
    through_glass: bool = False

    def local_days(self, time_ms: NDArray[np.int64]) -> Floats:
        """Local mean solar time in days since 1970: the whole part names the solar day, the rest is the time of
        day. [ms] -> [d]"""
        return time_ms.astype(float) * (1.0 / DAY_MS) + self.longitude_days

    def solar_day(self, time_ms: int) -> int:
        """The whole part of `local_days` of one instant. [ms] -> [d]"""
        return math.floor(float(time_ms) * (1.0 / DAY_MS) + self.longitude_days)

    def flat(self, solar_days: NDArray[np.int64]) -> "FlatSky":
        """`days`, to be asked column by column: [deg], [W/m2], [deg C]. The few days that a live site asks for again each minute are kept."""
        count = len(solar_days)
        if not count:
            return _no_days(self)
        if count <= KEPT_DAYS and solar_days[-1] - solar_days[0] == count - 1:
            return _flat(self, int(solar_days[0]), int(solar_days[-1]))
        return FlatSky(self, solar_days)

    def days(self, solar_days: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
        """The given solar days' own tables.

        Returns
        -------
        table : float64[days, NODES, 4 or 6]
            Elevation [deg], clear-sky plane-of-array irradiance and its standard uncertainty [W/m2], usual air temperature
            [deg C]; and, not `through_glass`, what of that irradiance passes the glass, with its standard uncertainty [W/m2].
        rise, set : float64[days]
            Share of the solar day between which the sun is up, widened to the next node; rise > set: never up.
        """
        flat = FlatSky(self, solar_days)
        shape = len(solar_days), NODES
        columns = [flat.column(k)[0].reshape(shape) for k in range(self.values.shape[-1])]
        return np.stack(columns, axis=-1), flat.rise, flat.set

    @cached_property
    def _by_column(self) -> Floats:
        """`values` with each column by itself, [column, season, node]."""
        return np.ascontiguousarray(np.moveaxis(self.values, -1, 0))


class FlatSky:
    """`SkyTable.days`, node after node, each column worked out when it is asked for first: a site with all its sensors asks for two of six."""

    def __init__(self, sky: SkyTable, solar_days: NDArray[np.int64]) -> None:
        noon = day_of_year(solar_days + (0.5 - sky.longitude_days))
        place = noon * (SEASON_NODES / TROPICAL_YEAR_DAYS)
        self._low = np.minimum(place.astype(np.int64), SEASON_NODES - 1)
        self._sky, self._weight = sky, (place - self._low)[:, None]
        self._known: dict[int, tuple[Floats, Floats]] = {}
        up = self.column(ELEVATION_DEG)[0].reshape(-1, NODES) > LIT_DEG
        ever = up.any(axis=1)
        first, last = up.argmax(axis=1), NODES - 1 - up[:, ::-1].argmax(axis=1)
        self.rise = np.where(ever, (first - 1.0) / (NODES - 1), 2.0)
        """By day, as `SkyTable.days` gives it."""
        self.set = np.where(ever, (last + 1.0) / (NODES - 1), -2.0)
        """Likewise."""

    def column(self, number: int) -> tuple[Floats, Floats]:
        """A column's values, node after node, and their rises to the next. [deg], [W/m2] or [deg C]"""
        if number not in self._known:
            season = self._sky._by_column[number]
            below = season[self._low]
            values = (below + self._weight * (season[self._low + 1] - below)).ravel()
            self._known[number] = values, _rises(values)
        return self._known[number]


def _rises(column: Floats) -> Floats:
    """From each node to the next; from the last to 0. `np.diff` with an end of its own costs ten times the sum."""
    found = np.empty_like(column)
    np.subtract(column[1:], column[:-1], out=found[:-1])
    found[-1:] = 0.0 - column[-1:]
    return found


@lru_cache(maxsize=2048)
def _no_days(sky: SkyTable) -> FlatSky:
    return FlatSky(sky, np.empty(0, np.int64))


@lru_cache(maxsize=2048)
def _flat(sky: SkyTable, first_day: int, last_day: int) -> FlatSky:
    return FlatSky(sky, np.arange(first_day, last_day + 1))


def sky_table(site: Site, array: Array, through_glass: bool = False) -> SkyTable:
    """Tabulate one site's sky.

    Against the models evaluated row by row (tested): elevation within 0.2 deg between 3 and 85 deg, near the zenith 1 deg;
    clear-sky irradiance within 7 W/m2, 19 rows in 20 within 3, more only on steep arrays with the sun under 4 deg.

    Parameters
    ----------
    site, array : site facts
        Place [deg], [m]; tilt and azimuth [deg].
    through_glass : bool
        Clear-sky irradiance less what the modules' glass turns away: where no sensor's reading is held against it. Without it that
        share stands in columns of its own, for rows that such a sensor reads nothing of. [-]

    Returns
    -------
    SkyTable
        Elevation [deg], clear-sky irradiance and its standard uncertainty [W/m2], usual air temperature [deg C].

    References
    ----------
    .. [1] P. Ineichen, R. Perez, Solar Energy 73(3), 151-157, 2002: the clear sky that is tabulated.
    """
    noon = np.arange(SEASON_NODES + 1)[:, None] * (TROPICAL_YEAR_DAYS / SEASON_NODES)
    of_day = np.arange(NODES)[None, :] / (NODES - 1.0)
    # the tropical year does not begin at this site's noon: the season comes from `noon`, the turn from `of_day`
    declination, minutes = declination_and_equation_of_time(REFERENCE_DAY + noon + of_day - 0.5)
    sun = seen_from(site.latitude_deg, declination, 360.0 * of_day - 180.0 + minutes / 4.0, site.altitude_m)
    calendar = np.mod(noon + 74.0, TROPICAL_YEAR_DAYS) + 1.0
    turbidity = monthly_turbidity(noon[:, 0], site.latitude_deg, site.longitude_deg)[:, None]
    sky = clear_sky(sun, calendar, site.altitude_m, array.tilt_deg, array.azimuth_deg, turbidity)
    ambient = ambient_default(
        site.latitude_deg, site.altitude_m, noon, of_day * 24.0, site.lowest_ambient_c, site.highest_ambient_c
    )
    columns, turned_away = [], GLASS_STD * (sky.poa_w_m2 - sky.taken_w_m2)
    for light in (sky.taken_w_m2,) if through_glass else (sky.poa_w_m2, sky.taken_w_m2):
        columns += [light, np.hypot(light * clear_sky_relative_std(sun.elevation_deg), turned_away)]
    air = np.broadcast_to(ambient, turned_away.shape)
    values = np.stack([sun.elevation_deg, *columns[:2], air, *columns[2:]], axis=-1)
    return SkyTable(site.longitude_deg / 360.0, np.ascontiguousarray(values), through_glass)
