"""What a limit keeps: one of power lets the speed go with the load, one of speed lets the power.

Flow: electric.py (held rows) -> HERE -> vector.py; recent day vectors -> HERE -> diagnosis.py.
Whoever turns a pump down sets a speed. Through such a day it turns alike to its last readable revolution, while the power follows a
well that is drawn down and water that warms. A controller that spares itself mostly keeps its power, and then the speed gives way.
Never: judgement.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.steady import Hours
from analysis.estimates.sums import Sums
from analysis.estimates.vector import HOURS, PLACE
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats

CUBED = 3.0  # impellers: power goes with the cube of speed (affinity laws); a displacement pump's at given head with speed itself
HOUR_H, LEAST_HOURS = 0.6, 3  # held back within an hour, and such hours of a day: two show no course
FLAT = 0.012  # log of power between the hours of a day: more is heat's, or a limit set anew
KEPT = 0.001  # log of speed between them: where neither is kept so well, the light had a part in it (common practice, no source)
HELD_TO = 0.0003  # log: how well a drive keeps what it keeps, and is read (common practice, no source)
LOADS = np.exp(np.linspace(np.log(0.0001), np.log(0.02), 12))  # log of torque between the hours of a day: any of these
LEAST_DAY, MOST_DAY = -1.0, 2.0
"""Log-likelihood: a day says no more, for readings wander in ways that no scatter within an hour tells (a guess)."""
SAME_LIMIT = 0.04  # log of power
TOLD_DAYS = 10  # newest of a limit


def power_kept(plant: Plant, seen: Columns, held: NDArray[np.bool_], hours: Hours) -> Floats:
    """By day, log-likelihood that the limit which `held` rows stand at is one of power over that it is one of speed. float64[days]

    NaN where no speed is read, in fewer than `LEAST_HOURS`, and where neither is kept. How far the load moved is not known: each of
    `LOADS` is as likely. What the readings' noise makes of an hour's mean is told by the jumps from row to row.
    """
    found = np.full(hours.shape[0], np.nan)
    with np.errstate(invalid="ignore"):
        told = held & (seen.power_w > 0) & (seen.speed_rpm > 0)
    if not told.any():
        return found
    slope = 1.0 if plant.helical else CUBED
    count, power, power_noise = _between_hours(seen.power_w, told, seen, hours)
    _, speed, speed_noise = _between_hours(seen.speed_rpm, told, seen, hours)
    over_noise = (np.sqrt(x) - 2.0 * np.sqrt(noise) for x, noise in ((power, power_noise), (speed, speed_noise)))
    over_power, over_speed = over_noise
    tells = (count >= LEAST_HOURS) & (power < FLAT**2) & ((over_power < KEPT * slope) | (over_speed < KEPT))
    loads, own = LOADS[None, :] ** 2, HELD_TO**2

    def fit(square: Floats, noise: Floats, load: Floats | float) -> Floats:
        variance = noise[:, None] + own + load
        return np.asarray(-0.5 * (count - 1.0)[:, None] * (square[:, None] / variance + np.log(variance)))

    of_speed = fit(power, power_noise, slope**2 * loads) + fit(speed, speed_noise, 0.0)
    of_power = fit(power, power_noise, 0.0) + fit(speed, speed_noise, loads)
    ratio = np.logaddexp.reduce(of_power, axis=1) - np.logaddexp.reduce(of_speed, axis=1)
    return np.where(tells, np.clip(ratio, LEAST_DAY, MOST_DAY), found)


def _between_hours(
    value: Floats, told: NDArray[np.bool_], seen: Columns, hours: Hours
) -> tuple[Floats, Floats, Floats]:
    """By day: hours that tell, the variance of the log between them, and what noise makes of it. float64[days] each"""
    logs = np.log(np.where(told, value, 1.0))
    sums = Sums(told, hours.bins, hours.shape, rising=True)
    weight = sums.hours(seen.dt_h)
    known = weight >= HOUR_H
    level = sums.of(logs * seen.dt_h) / np.where(known, weight, 1.0)
    count = known.sum(axis=1).astype(float)
    mean = np.where(known, level, 0.0).sum(axis=1) / np.maximum(count, 1.0)
    variance = np.where(known, (level - mean[:, None]) ** 2, 0.0).sum(axis=1) / np.maximum(count - 1.0, 1.0)
    pairs = np.zeros(len(told), bool)
    pairs[1:] = told[1:] & told[:-1] & (hours.bins[1:] == hours.bins[:-1])
    jumps = np.where(pairs, np.diff(logs, prepend=logs[:1]), 0.0)
    by_day = Sums(pairs, hours.bins // HOURS, (hours.shape[0],), rising=True)
    of_row = 0.5 * by_day.of(jumps**2) / np.maximum(by_day.count(), 1)
    rows = np.where(known, sums.count(), 0).sum(axis=1) / np.maximum(count, 1.0)
    return count, variance, of_row / np.maximum(rows, 1.0)


def limit_kept(recent: Floats) -> float:
    """Likewise of the limit that the newest days stand at, all together; 0 where nothing tells. recent: float64[days, SIZE]"""
    known = recent[~np.isnan(recent[:, PLACE["cap"]])]
    if not len(known):
        return 0.0
    same = np.abs(known[:, PLACE["cap"]] - known[-1, PLACE["cap"]]) < SAME_LIMIT
    since = len(known) - int((~same[::-1]).argmax()) if not same.all() else 0
    told = known[since:, PLACE["kept"]]
    return float(told[~np.isnan(told)][-TOLD_DAYS:].sum())
