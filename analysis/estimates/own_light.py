"""The array's current side by itself: what current it would give at maximum power, told by the point where it works.

Flow: look.py -> HERE -> electric.py.
At maximum power it is the current itself. Held back, the single-diode curve leads from the point to the light; its voltage is first
set right by the day's own maximum-power points, for a cell warmer than supposed would pass for more light.
Never: a sensor of the sun; judgement.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.sums import Sums
from analysis.look import Columns
from analysis.physics.cell_temperature import NOCT_AMBIENT_C, NOCT_IRRADIANCE_W_M2
from analysis.plant import Plant
from analysis.rows import Floats

LEAST_TRACKED_H = 0.3  # at maximum power in a day, to know its cells' voltage
TRACKS_BELOW = 0.9  # of the day's highest power: below a ceiling, wherever it is, a pump takes all that the sun gives
TRACKS_WITHIN = 1.04  # of the day's own voltage at maximum power
FURTHEST_OFF = 1.12  # over the datasheet's voltage at maximum power: tolerance, cells warmed otherwise than supposed, a sensor's gain
LEAST_FOLLOWED_H = 1.0
FOLLOWS_WITHIN, SWINGS = 0.03, 0.15  # logs, of current over what the light should give, and of the light itself
FURTHEST = 1.09  # likewise: beyond, a percent of voltage is 6 % of light (single-diode model)


def sides_apart(plant: Plant) -> bool:
    """Current and voltage of the array are both read, so that light lost and voltage lost are two things."""
    return {"pv_voltage_v", "pv_current_a"} <= plant.has


def voltage_at_maximum(plant: Plant, seen: Columns, lit: NDArray[np.bool_]) -> Floats:
    """Expected voltage at maximum power; where the sun is not measured, of `lit` rows under the light that their current tells. [V]"""
    expected = seen.expected
    found = expected.mpp_voltage_v.copy()
    where = np.flatnonzero(lit & ~expected.poa_measured & (seen.rows["pv_current_a"] > 0))
    clear, should = expected.poa_w_m2[where], expected.mpp_current_a[where]
    light = clear * np.clip(seen.rows["pv_current_a"][where] / should, 0.02, 1.4)
    rise = (plant.facts.array.module.noct_c - NOCT_AMBIENT_C) / NOCT_IRRADIANCE_W_M2
    found[where] = plant.model.array.voltage_at_maximum(light, expected.cell_temp_c[where] + rise * (light - clear))
    return found


def current_at_maximum(
    plant: Plant, seen: Columns, lit: NDArray[np.bool_], at_maximum_v: Floats, days: range
) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """Current that the array would give at maximum power; rows that are there; voltage over that of maximum power.

    float64[n] [A], bool[n], float64[n]: NaN where the point, or the day, does not tell.

    lit
        Rows that are asked for: running, light enough.
    at_maximum_v
        Of `voltage_at_maximum`.
    """
    volts, amperes = seen.rows["pv_voltage_v"], seen.rows["pv_current_a"]
    expected, bins = seen.expected, seen.day - days.start
    with np.errstate(invalid="ignore"):
        known = lit & ~np.isnan(volts) & (amperes > 0) & (at_maximum_v > 0)
    highest = Sums(known, bins, (len(days),), rising=True).most(seen.power_w)
    with np.errstate(invalid="ignore"):
        below = known & (seen.power_w < TRACKS_BELOW * highest[bins])
    at_max = seen.at_max | _follows_the_light(seen, below, at_maximum_v, bins, len(days))
    tracked = below & at_max
    sums = Sums(tracked, bins, (len(days),), rising=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        cells = sums.of(volts * seen.dt_h) / sums.of(at_maximum_v * seen.dt_h)
        cells = np.where(sums.hours(seen.dt_h) >= LEAST_TRACKED_H, cells, np.nan)
        right_v = volts / cells[bins]
        there = known & at_max & (right_v < TRACKS_WITHIN * at_maximum_v)
        over = right_v / at_maximum_v
        near = known & ~tracked & (right_v < FURTHEST * at_maximum_v)
        there_already = near & at_max & (right_v <= at_maximum_v)  # left of the maximum nothing works
    found = np.where(tracked | there_already, amperes, np.nan)
    where = np.flatnonzero(near & ~there_already)
    at_v = np.maximum(right_v[where], at_maximum_v[where])  # a resistance takes volts
    light = plant.model.array.light_of(at_v, amperes[where], expected.cell_temp_c[where])
    found[where] = light / expected.poa_w_m2[where] * expected.mpp_current_a[where]
    return found, there, over


def _follows_the_light(
    seen: Columns, below: NDArray[np.bool_], at_maximum_v: Floats, bins: NDArray[np.int64], days: int
) -> NDArray[np.bool_]:
    """Rows of days on which the array works above the voltage that its datasheet gives for maximum power, and yet there. bool[n]

    Known by a current in one proportion to the measured light from dim to bright: a pump that is held back takes one power, whatever
    the light. Only where hardly a row lies at the datasheet's own voltage.
    """
    expected = seen.expected
    usual = Sums(below & seen.at_max, bins, (days,), rising=True).hours(seen.dt_h)
    below = below & (usual < LEAST_TRACKED_H)[bins]
    if not below.any():
        return below
    with np.errstate(divide="ignore", invalid="ignore"):
        over = seen.rows["pv_voltage_v"] / at_maximum_v
        asked = below & expected.poa_measured & (over > 1.0) & (over < FURTHEST_OFF)
        share = np.where(asked, np.log(seen.rows["pv_current_a"] / expected.mpp_current_a), 0.0)
        light = np.where(asked, np.log(expected.poa_w_m2), 0.0)
    sums = Sums(asked, bins, (days,), rising=True)
    hours = sums.hours(seen.dt_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        scatter, spread = (
            np.sqrt(np.maximum(sums.of(x**2 * seen.dt_h) / hours - (sums.of(x * seen.dt_h) / hours) ** 2, 0.0))
            for x in (share, light)
        )
        found = (hours >= LEAST_FOLLOWED_H) & (scatter < FOLLOWS_WITHIN) & (spread > SWINGS)
    return asked & found[bins]
