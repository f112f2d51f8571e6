"""What a pump takes at its fastest: with sun to spare it stands at its limit of speed, and the power there is a gauge of its load.

Flow: recent day vectors, learning.py, slow.py (forms) -> HERE -> diagnosis.py.
More lift loads a displacement pump and relieves impellers; water that slips back or runs out does neither. So where neither speed nor
torque is read, the very days with light to spare tell head from leak and wear. A limit of power stands whatever the load is.
Never: rows; whether anything is held back for its own sake.
"""

from dataclasses import dataclass

import numpy as np

from analysis.estimates.vector import PLACE
from analysis.learning import Learnt
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.slow import Shift, SlowBench

CAP, AT_FULL = PLACE["cap"], np.array([PLACE["t2"]])
KNOWN_DAYS = 3.0  # learnt: fewer do not tell the limit
DRIFT_STD, DAY_STD = 0.005, 0.004
"""Log of power, over weeks and of a day: of 80 fortnights of sound simulated seasons of two plants nine of ten lay within 0.003 (a guess of two)."""
BY_SPEED = 0.7  # of limits; the rest are limits of power (a guess)
ITS_OWN, ITS_OWN_STD = 0.1, 0.2  # of times that it moves, set anew or by heat, and how far (a guess)
LOAD_TOLD = 0.02  # log of torque at speed: known so well by speed and power, the limit says nothing more
GAUGES = frozenset({"water_level_m", "discharge_pressure_bar"})


@dataclass(frozen=True)
class Limit:
    """How far the power at the limit has moved, log, and its standard deviation."""

    moved: float
    std: float


@dataclass(frozen=True)
class Beside:
    """What else the same days say: of the array, and of the pump's limit; None where nothing."""

    array: Shift | None
    limit: Limit | None


def limit_of(plant: Plant, learnt: Learnt, recent: Floats, days: int) -> Limit | None:
    """Of the last `days` day vectors; None where they did not reach the limit, or level and gauge tell the head by themselves."""
    if plant.has & GAUGES or learnt.days[CAP] < KNOWN_DAYS:
        return None
    told = recent[-days:, CAP]
    told = told[~np.isnan(told)]
    if not len(told):
        return None
    std = np.sqrt(learnt.covariance[CAP, CAP] + DRIFT_STD**2 + DAY_STD**2 / len(told))
    return Limit(float(np.median(told) - learnt.mean[CAP]), float(std))


def by_limit(limit: Limit | None, moved: Shift, loads: Floats, open_: Floats) -> Floats:
    """Log-likelihood of where the limit stands, by the log of torque that each explanation asks for; float64[n]. 0 where it says nothing.

    loads, open_
        By explanation, log of torque at high power and its variance. float64[n]
    """
    at = np.flatnonzero(moved.places == AT_FULL[0])
    if limit is None or (len(at) and np.sqrt(moved.covariance[at[0], at[0]]) < LOAD_TOLD):
        return np.zeros(len(loads))
    with_load = _normal(limit.moved - loads, limit.std**2 + open_)
    without = _normal(limit.moved, limit.std**2)
    own = _normal(limit.moved, limit.std**2 + ITS_OWN_STD**2)
    found = (1.0 - ITS_OWN) * (BY_SPEED * with_load + (1.0 - BY_SPEED) * without) + ITS_OWN * own
    return np.asarray(np.log(found) - np.log(own), np.float64)


def _normal(miss: Floats | float, variance: Floats | float) -> Floats:
    return np.asarray(np.exp(-0.5 * np.square(miss) / variance) / np.sqrt(variance), np.float64)


def loads_of(bench: SlowBench, tried: list[tuple[int, float]]) -> tuple[Floats, Floats]:
    """By form with its amount, the log of torque at high power that it makes, and the variance that it leaves open."""
    forms, amounts = np.array([form for form, _ in tried], np.int64), np.array([amount for _, amount in tried])
    loads = bench.explained(forms.tolist(), amounts, AT_FULL)[:, 0]
    unknowns = amounts[:, None] * bench.by_form.unknowns[forms][:, :, AT_FULL[0]]
    return loads, (bench.loose[forms] * loads) ** 2 + (unknowns**2).sum(axis=1)
