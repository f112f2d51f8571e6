"""What a sky without clouds sends onto the plane of the array.

Flow: sun.py and site facts -> HERE -> sky_table.py; clear_periods.py compares it with the site's own signal.
Never: measured irradiance, clouds, learning.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pvlib import atmosphere, clearsky, irradiance

from analysis.physics.incidence import diffuse_modifiers, glass_modifier
from analysis.physics.sun import SunPosition, pressure_at

Floats = NDArray[np.float64]

ALBEDO = 0.2
"""Ground reflectance of grass and dry soil: the customary default (e.g. Duffie and Beckman), +-0.1."""
TURBIDITY_DEFAULT = 3.5
"""Linke turbidity of a rural inland sky where no monthly value is known: common practice."""


@dataclass(frozen=True)
class ClearSky:
    """On the plane of the array: all [W/m2], and `aoi_cos`, the cosine of the beam's angle of incidence, 0 behind.

    `taken_w_m2`: of `poa_w_m2` what passes plain front glass, over what passes it straight in (`incidence.py`).
    """

    poa_w_m2: Floats
    taken_w_m2: Floats
    beam_w_m2: Floats
    ghi_w_m2: Floats
    aoi_cos: Floats


def clear_sky(
    sun: SunPosition,
    day_of_year: ArrayLike,
    altitude_m: float,
    tilt_deg: float,
    azimuth_deg: float,
    linke_turbidity: ArrayLike = TURBIDITY_DEFAULT,
    albedo: float = ALBEDO,
) -> ClearSky:
    """Clear-sky irradiance of a tilted plane.

    Parameters
    ----------
    sun : SunPosition
        Apparent elevation and azimuth, any shape. [deg]
    day_of_year : float or ndarray that broadcasts
        1 = the first of January: the distance to the sun. [d]
    altitude_m, tilt_deg, azimuth_deg : float
        Tilt from the horizontal, azimuth clockwise from true north. [m], [deg], [deg]
    linke_turbidity : float or ndarray that broadcasts
        Of air mass 2, 1 to 10. [-]
    albedo : float
        0 to 1. [-]

    Returns
    -------
    ClearSky, shape of `sun`
        0 with the sun below the horizon; NaN where the sun's position is. Horizon, haze and dust storms are not in it: the
        relative standard uncertainty is `clear_sky_relative_std`.

    Raises
    ------
    ValueError
        A fact out of its range.

    Notes
    -----
    Ineichen and Perez for the horizontal (with Kasten and Young's air mass), Hay and Davies for the tilted sky, isotropic
    ground; all through pvlib.

    References
    ----------
    .. [1] P. Ineichen, R. Perez, Solar Energy 73(3), 151-157, 2002.
    .. [2] J. E. Hay, J. A. Davies, Proc. First Canadian Solar Radiation Data Workshop, 1980.
    """
    if not (0 <= albedo <= 1 and 0 <= tilt_deg <= 90):
        raise ValueError(f"albedo must be 0 to 1 and tilt 0 to 90 deg, got {albedo!r} and {tilt_deg!r}")
    zenith = 90.0 - sun.elevation_deg
    seen = np.minimum(zenith, 89.9)
    extra = np.broadcast_to(irradiance.get_extra_radiation(np.asarray(day_of_year, float)), np.shape(zenith))
    airmass = atmosphere.get_relative_airmass(seen) * pressure_at(altitude_m) / 101_325.0
    flat = clearsky.ineichen(seen, airmass, linke_turbidity, altitude_m, extra)
    aoi_cos = irradiance.aoi_projection(tilt_deg, azimuth_deg, zenith, sun.azimuth_deg)
    aoi_cos = np.maximum(aoi_cos, 0.0)
    beam = flat["dni"] * aoi_cos
    sky = irradiance.haydavies(
        tilt_deg,
        azimuth_deg,
        flat["dhi"],
        flat["dni"],
        extra,
        projection_ratio=aoi_cos / np.maximum(np.cos(np.radians(zenith)), 0.01745),
        return_components=True,
    )
    ground = irradiance.get_ground_diffuse(tilt_deg, flat["ghi"], albedo)
    below = zenith >= 90.0
    poa = np.where(below, 0.0, beam + sky["poa_sky_diffuse"] + ground)
    round_sun, rest = sky["poa_circumsolar"], sky["poa_isotropic"]
    of_sky, of_ground = diffuse_modifiers(tilt_deg)
    straight = glass_modifier(np.degrees(np.arccos(np.minimum(aoi_cos, 1.0))))
    taken = np.where(below, 0.0, straight * (beam + round_sun) + of_sky * rest + of_ground * ground)
    return ClearSky(poa, taken, np.where(below, 0.0, beam), np.where(below, 0.0, flat["ghi"]), aoi_cos)


def clear_sky_relative_std(elevation_deg: ArrayLike) -> Floats:
    """Relative standard uncertainty of `clear_sky` on the plane of the array, before anything was learnt. [-]

    Parameters
    ----------
    elevation_deg : float or ndarray, any shape
        The sun's; NaN in, NaN out, held at 4 deg below that. [deg]

    Returns
    -------
    ndarray, shape of `elevation_deg`
        6.5 % with the sun high and growing with air mass, as turbidity weighs more: 13 % at 15 deg. [-]

    References
    ----------
    .. [1] M. J. Reno, C. W. Hansen, J. S. Stein, SAND2012-2389, 2012: 2 to 8 % for Ineichen's model with monthly turbidity.
    """
    sine = np.sin(np.radians(np.maximum(np.asarray(elevation_deg, float), 4.0)))
    return 0.04 + 0.025 / sine


def monthly_turbidity(day_of_tropical_year: ArrayLike, latitude_deg: float, longitude_deg: float) -> Floats:
    """Linke turbidity of the place and season, from the world maps that pvlib carries. [-]

    Parameters
    ----------
    day_of_tropical_year : float or ndarray
        As `sun.day_of_year`. [d]
    latitude_deg, longitude_deg : float
        North and east positive. [deg]

    Returns
    -------
    ndarray, shape of the days
        TURBIDITY_DEFAULT where the maps hold no value (sea).

    References
    ----------
    .. [1] J. Remund et al., Worldwide Linke turbidity information, Proc. ISES Solar World Congress, 2003.
    """
    import pandas as pd

    from analysis.physics.sun import DAY_MS, REFERENCE_DAY

    days = np.atleast_1d(np.asarray(day_of_tropical_year, float))
    times = pd.to_datetime((REFERENCE_DAY + days) * DAY_MS, unit="ms", utc=True)
    looked_up = clearsky.lookup_linke_turbidity(times, latitude_deg, longitude_deg).to_numpy(float)
    usable = np.isfinite(looked_up) & (looked_up >= 1.0)
    return np.where(usable, looked_up, TURBIDITY_DEFAULT).reshape(np.shape(day_of_tropical_year))
