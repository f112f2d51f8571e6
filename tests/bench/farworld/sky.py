"""Sun, cloud, air and array of the third plant.

Never: imports of the analysis or of another plant.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib
from scipy.interpolate import RegularGridInterpolator
from scipy.signal import lfilter


@dataclass
class Sky:
    """One value a step: W/m2, degrees, deg C, m/s."""

    height_deg: np.ndarray
    azimuth_deg: np.ndarray
    beam: np.ndarray
    diffuse: np.ndarray
    air_c: np.ndarray
    wind: np.ndarray
    rain_days: np.ndarray


def wander(rng: np.random.Generator, count: int, steps: float) -> np.ndarray:
    """A correlated course of unit variance; `steps`: its correlation length (first-order autoregression)."""
    keep = np.exp(-1.0 / steps)
    start = [keep * rng.standard_normal()]
    return lfilter([np.sqrt(1 - keep**2)], [1.0, -keep], rng.standard_normal(count), zi=start)[0]


def draw_sky(
    rng: np.random.Generator, times: pd.DatetimeIndex, site: dict, step_s: float, drought: list[tuple[float, float]]
) -> Sky:
    """Clear-sky beam by Meinel & Meinel (1976), from memory; cloud as a chain of regimes by the half hour.

    `drought`: spans of days without rain, each ended by a rainy day.
    """
    coarse = pd.date_range(times[0], times[-1] + pd.Timedelta("10min"), freq="10min")
    where = pvlib.solarposition.get_solarposition(coarse, site["lat"], site["lon"], site["alt"])
    up, around = np.radians(where["elevation"].to_numpy()), np.radians(where["azimuth"].to_numpy())
    parts = np.array([np.cos(up) * np.cos(around), np.cos(up) * np.sin(around), np.sin(up)])
    at = np.arange(len(times)) * step_s / 600.0
    north, east, high = (np.interp(at, np.arange(len(coarse)), part) for part in parts)
    sine = np.clip(high, 0.0, 1.0)
    height = np.degrees(np.arcsin(np.clip(high, -1, 1)))
    # Kasten and Young (1989), air mass
    air_mass = 1.0 / (sine + 0.50572 * np.maximum(height + 6.07995, 0.1) ** -1.6364)
    year = 2 * np.pi * (times.day_of_year.to_numpy() - 3) / 365.25
    outside = 1361.0 * (1 + 0.0334 * np.cos(year))  # the Earth is nearest early in January
    high_km = site["alt"] / 1000  # with height after Laue (1970), from memory
    clear = np.where(sine > 0.01, outside * ((1 - 0.14 * high_km) * 0.7 ** (air_mass**0.678) + 0.14 * high_km), 0.0)
    halves = int(len(times) * step_s / 1800) + 2
    days = int(len(times) * step_s / 86400) + 1
    rainy = rng.random(days) < site["rain"]
    for begin, end in drought:
        rainy[int(begin) : int(end)] = False
        if end < days - 1:
            rainy[int(end)] = True
    away = site["cloud"]
    chain = np.array([[1 - 1.17 * away, away, 0.17 * away], [0.14, 0.78, 0.08], [0.05, 0.2, 0.75]]).cumsum(axis=1)
    state, states = 0, np.empty(halves, int)
    for k, u in enumerate(rng.random(halves)):
        state = min(int(np.searchsorted(chain[state], u)), 2)
        states[k] = max(state, 1 + (u < 0.6)) if rainy[min(k // 48, days - 1)] else state
    early = 0.4 * wander(rng, len(times), 1800.0 / step_s)  # weather does not change on the half hour
    now = states[np.clip(np.arange(len(times)) * step_s / 1800 + early, 0, halves - 1).astype(int)]
    gust = wander(rng, len(times), 600.0 / step_s)
    through = np.choose(now, [0.985 + 0.01 * gust, 1 / (1 + np.exp(-4 * (gust + 0.2))), 0.04 + 0.02 * gust])
    through = np.clip(through, 0.0, 1.0)
    diffuse = sine * (90.0 + np.choose(now, [0.0, 90.0, 120.0])) * np.clip(clear / 700, 0, 1.2)
    tilt, face = np.radians(site["tilt"]), np.radians(site["azimuth"])
    cos_in = np.sin(tilt) * (north * np.cos(face) + east * np.sin(face)) + np.cos(tilt) * high
    cos_in = np.clip(cos_in, 0.0, 1.0)
    # ASHRAE incidence modifier (Souka and Safwat 1966), b0 = 0.05
    glass = np.clip(1 - 0.05 * (1 / np.maximum(cos_in, 0.05) - 1), 0, 1)
    flat = clear * through * sine + diffuse
    around_w = diffuse * (1 + np.cos(tilt)) / 2 + 0.2 * flat * (1 - np.cos(tilt)) / 2
    day = np.arange(len(times)) * step_s / 86400.0
    local = (times.hour.to_numpy() + times.minute.to_numpy() / 60 + site["lon"] / 15) % 24
    daily = wander(rng, int(day[-1]) + 2, 4.0)
    # A quarter of a degree to each side of the year's mean for a degree of latitude, a month behind the sun (common practice, no source).
    yearly = -0.25 * site["lat"] * np.cos(year - 0.5)
    air = (
        site["mean_c"]
        + yearly
        + 3 * np.interp(day, np.arange(len(daily)), daily)
        + 7 * np.cos((local - 15) * np.pi / 12)
    )
    wind = np.abs(2.5 + 1.2 * wander(rng, len(times), 3600.0 / step_s))
    azimuth = np.degrees(np.arctan2(east, north)) % 360
    return Sky(height, azimuth, clear * through * cos_in * glass, around_w, air, wind, np.flatnonzero(rainy))


class Module:
    """A module as a single diode (De Soto et al. 2006) as pvlib fits it, tabulated over sun, heat and share of full power."""

    def __init__(self, sheet: dict, cells: int) -> None:
        # Four parameters in closed form from the datasheet's three points (Duffie and Beckman, Solar Engineering, from memory),
        # ideality 1.05 a cell; the largest power then lies near the sheet's point, not on it.
        a = 1.05 * cells * 0.02569
        dark = sheet["i_sc"] * np.exp(-sheet["v_oc"] / a)
        inner = (a * np.log(1 - sheet["i_mp"] / sheet["i_sc"]) - sheet["v_mp"] + sheet["v_oc"]) / sheet["i_mp"]
        suns, heats, self.share = np.geomspace(5, 1400, 28), np.linspace(-15, 85, 11), np.linspace(0, 1, 21)
        sun, heat = np.meshgrid(suns, heats, indexing="ij")
        five = pvlib.pvsystem.calcparams_desoto(
            sun, heat, sheet["i_sc"] * 0.0005, a, sheet["i_sc"], dark, 1e3, max(inner, 0.01),
        )  # fmt: skip
        shape = sun.shape
        best = pvlib.pvsystem.singlediode(*[np.broadcast_to(np.asarray(p, float), shape).ravel() for p in five])
        v_mp, v_oc, power = (np.asarray(best[k]) for k in ("v_mp", "v_oc", "p_mp"))
        volts = np.empty((len(v_mp), len(self.share)))
        self._at = {
            k: RegularGridInterpolator((suns, heats), x.reshape(shape))
            for k, x in zip(("v_mp", "v_oc", "p_mp"), (v_mp, v_oc, power), strict=True)
        }
        flat = [np.broadcast_to(np.asarray(p, float), shape).ravel() for p in five]
        for k in range(len(v_mp)):
            v = np.linspace(v_mp[k], v_oc[k], 40)
            p = v * pvlib.pvsystem.i_from_v(v, *[x[k] for x in flat])
            volts[k] = np.interp(self.share * power[k], p[::-1], v[::-1])
        axes = (suns, heats)
        self._power = RegularGridInterpolator(axes, power.reshape(shape), bounds_error=False, fill_value=None)
        self._volts = RegularGridInterpolator(
            (*axes, self.share), volts.reshape(*shape, -1), bounds_error=False, fill_value=None
        )

    def power_w(self, sun: np.ndarray, heat_c: np.ndarray) -> np.ndarray:
        """The most one module gives, W."""
        return np.maximum(self._power(np.column_stack([np.maximum(sun, 5.0), heat_c])) * np.clip(sun / 5, 0, 1), 0)

    def volts(self, sun: np.ndarray, heat_c: np.ndarray, share: np.ndarray) -> np.ndarray:
        """Its voltage at that share of the most, on the open side, V."""
        return self._volts(np.column_stack([np.maximum(sun, 5.0), heat_c, np.clip(share, 0, 1)])) * np.clip(
            sun / 3, 0, 1
        )

    def sheet_at(self, name: str, sun: float, heat_c: float) -> float:
        """`v_mp`, `v_oc` or `p_mp` of one module."""
        return float(self._at[name]([[sun, heat_c]])[0])
