"""Near full power or not: by row, what the pump could take, and on which days clouds took its power down while it ran.

Flow: look.py -> HERE -> running.py (days of a block), causes/short_cycling.py, more_stops.py, unread_trips.py, same_light.py.
Never: what stopped it.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats, or_zero

Flags = NDArray[np.bool_]

STRONG = 0.65
"""Of what a clear sky gives, taken up to a stop: a cloud had not come, where no sensor reads the sun (common practice, no source)."""
CLOUDED = 0.1  # of the rows within a day's runs that were weak (common practice, no source)
ONE_DAY = np.zeros(1, np.int64)
FULL_LEAST = 0.3
"""Of full power: a pump turned down further, or a dim array, stops for want of light (common practice, no source)."""


def strong_rows(seen: Columns, full: Floats) -> Flags:
    """Rows up to which it took nearly `full`: it or the row before. A pump that a cloud stops has run down first."""
    power = or_zero(seen.power_w)
    power[1:] = np.maximum(power[1:], np.where(seen.turning[:-1], power[:-1], 0.0))
    return np.asarray(power > STRONG * full)


def full_w(plant: Plant, seen: Columns) -> Floats:
    """By row, what a clear sky gives it or the pump can take. [W]"""
    return np.asarray(np.minimum(seen.expected.mpp_power_w, plant.full_power_w), np.float64)


def own_full(plant: Plant, seen: Columns, opens: NDArray[np.int64] = ONE_DAY) -> Floats:
    """Likewise, no more than in the share that it ever took so far that day: a string may be out, or its speed turned down. [W]

    opens
        The first rows of the days that `seen` holds.
    """
    full = np.maximum(full_w(plant, seen), 1.0)
    most = or_zero(np.where(seen.turning, or_zero(seen.power_w) / full, 0.0))
    for of_day in np.split(most, opens[1:]):
        np.maximum.accumulate(of_day, out=of_day)
    return np.asarray(full * np.minimum(most, 1.0), np.float64)


def clouded_days(plant: Plant, seen: Columns, cuts: NDArray[np.int64]) -> list[bool]:
    """Of each day, whose rows lie between two of `cuts`: clouds took the power down while it ran. A run's first and last row hold its start and its stop."""
    within = seen.turning.copy()
    within[1:] &= seen.turning[:-1]
    within[:-1] &= seen.turning[1:]
    some = cuts[1:] > cuts[:-1]
    within[cuts[:-1][some]] = within[cuts[1:][some] - 1] = False
    strong = strong_rows(seen, np.maximum(own_full(plant, seen, cuts[:-1]), FULL_LEAST * plant.full_power_w))
    ran, weak = (np.diff(rows.nonzero()[0].searchsorted(cuts)) for rows in (within, within & ~strong))
    return [bool(clouded) for clouded in weak > CLOUDED * np.maximum(ran, 1)]
