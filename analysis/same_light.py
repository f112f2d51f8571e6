"""Stops that the light did not make: the array had plenty to give, and the pump takes after the stop what it took before.

Flow: look.py -> HERE -> unread_trips.py, more_stops.py.
A cloud that stops a pump takes the light away and gives back another; a controller that stops itself finds the light as it left it. Morning and
evening light stops a pump by itself.
Never: how often, how evenly.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.full_power import full_w
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import or_zero
from analysis.solar_days import MINUTE_MS


@dataclass(frozen=True)
class SameLightLimits:
    """Common practice, no source, where nothing else is said."""

    sun_share: float = 0.5  # of full power, that the sun or a clear sky offers at stop and start
    like: float = 0.1  # log of the power after a stop over that before, each beside a clear sky's
    share: float = 0.65  # of the stops
    after_ms: int = 4 * MINUTE_MS  # within so long, but four rows at the least, it has run up again
    after_rows: int = 4


LIMITS = SameLightLimits()


def ample(plant: Plant, seen: Columns, begins: NDArray[np.int64], stops: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Of the starts and the last rows of the runs before, those with light to spare at both. bool[len(begins)]"""
    offered = full_w(plant, seen) > LIMITS.sun_share * plant.full_power_w
    return np.asarray(offered[stops] & offered[begins])


def same_share(plant: Plant, seen: Columns, begins: NDArray[np.int64], stops: NDArray[np.int64]) -> float:
    """Likewise, the share after which it took, beside what a clear sky gives, as much as before; 0 of none."""
    if not len(begins):
        return 0.0
    power, full = or_zero(seen.power_w), np.maximum(full_w(plant, seen), 1.0)
    before = np.maximum(power[stops], power[np.maximum(stops - 1, 0)]) / full[stops]
    until = np.searchsorted(seen.time_ms, seen.time_ms[begins] + LIMITS.after_ms)
    until = np.maximum(until, begins + LIMITS.after_rows)
    after = np.array([power[first:last].max() for first, last in zip(begins, until, strict=True)]) / full[begins]
    return float((np.abs(np.log(np.maximum(after, 0.01) / np.maximum(before, 0.01))) < LIMITS.like).mean())
