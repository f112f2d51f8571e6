"""How much of what sun and pump allow was taken, hour by hour of the sun's way: cloud, rests and all.

Flow: look.py -> HERE -> day.py -> dips.py.
Never: an hour in which it was told to stand; judgement.
"""

import numpy as np

from analysis.estimates.steady import Hours
from analysis.estimates.sums import Sums
from analysis.look import Columns, told_to_stand
from analysis.plant import Plant
from analysis.rows import Floats

LOW_SUN_W_M2 = 150.0
HEARD_H = 0.5  # of an hour
WORTH = 0.4  # of the day's best hour: with less sun horizon, glass and start decide
TAKEN, HELD, STOOD, OF_SUN = range(4)


def held_back(today: Floats) -> Floats:
    """By hour of one day's, the share of the hour in which the pump ran and the array was held back. float64[HOURS]"""
    return np.asarray(today[HELD] * (1.0 - today[STOOD]))


def taken_by_hour(plant: Plant, seen: Columns, hours: Hours) -> Floats:
    """By hour of the sun's way: power over the most that sun and pump allow, NaN where too little of it tells; share of its running
    time in which the array was held back; share of its time in which the pump stood; the most that sun and pump allow over what the sun
    alone does. float64[days, 4, HOURS]
    """
    expected, dt_h = seen.expected, seen.dt_h
    with np.errstate(invalid="ignore"):
        could = np.minimum(expected.mpp_power_w, plant.ceiling_w)
        asked = (expected.poa_w_m2 > LOW_SUN_W_M2) & (could > 0) & (seen.power_w >= 0)
        asked &= ~told_to_stand(seen.rows)
    if "irradiance_w_m2" in plant.has:
        asked &= expected.poa_measured
    sums = Sums(asked, hours.bins, hours.shape, rising=True)
    most, heard_h = sums.of(could * dt_h), sums.hours(dt_h)
    ran_h = sums.of(seen.turning * dt_h)
    known = (heard_h >= HEARD_H) & (most >= WORTH * most.max(axis=1, keepdims=True)) & (most > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        taken = np.where(known, sums.of(seen.power_w * dt_h) / most, np.nan)
        held = np.where(ran_h > 0, sums.of((seen.held & seen.turning) * dt_h) / ran_h, 0.0)
        of_sun = most / sums.of(np.where(asked, expected.mpp_power_w, 0.0) * dt_h)
        return np.stack([taken, held, 1.0 - ran_h / np.maximum(heard_h, 1e-9), of_sun], axis=1)
