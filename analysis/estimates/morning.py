"""The first minutes of a day: how much water the first start was short of, and where the well rests.

Flow: look.py -> HERE -> vector.py.
Never: a start in the middle of the day.
"""

import numpy as np

from analysis.estimates.vector import PLACE
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats, or_zero
from analysis.solar_days import HOUR_MS, MINUTE_MS

RUN_ROWS = 3  # rows in a row that make a start
WITHIN_MS = 2 * HOUR_MS  # of the start, or water is not late but missing
FLOWING_SHARE = 0.4  # of expected: water has come


def fill(vector: Floats, plant: Plant, seen: Columns, days: range) -> None:
    """Write `first` and `rest` of `days` into `vector` (days, SIZE)."""
    cuts = np.searchsorted(seen.day, np.arange(days.start, days.stop + 1))
    level = seen.rows["water_level_m"]
    has_level = not np.isnan(level).all()
    for place in range(len(days)):
        low, high = int(cuts[place]), int(cuts[place + 1])
        turning = np.flatnonzero(seen.turning[low:high])
        if len(turning) < RUN_ROWS or high - low < 2 * RUN_ROWS:
            if has_level and high > low and not len(turning):
                vector[place, PLACE["rest"]] = _median(level[low:high]) - plant.facts.well.static_level_m
            continue
        start = low + int(turning[0])
        if has_level and start - low >= 2:
            vector[place, PLACE["rest"]] = _median(level[low:start]) - plant.facts.well.static_level_m
        vector[place, PLACE["first"]] = _missing(plant, seen, start, high)


def _median(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else np.nan


def _missing(plant: Plant, seen: Columns, start: int, stop: int) -> float:
    """Water expected after the start delay until the first water came, less what that reading brought; in risers."""
    stop = start + int(np.searchsorted(seen.time_ms[start:stop] - seen.time_ms[start], WITHIN_MS, "right"))
    window = slice(start, stop)
    delay = plant.facts.controller.start_delay_s * 1000 + MINUTE_MS
    after = seen.time_ms[window] - seen.time_ms[start] > delay
    should = np.where(after & seen.turning[window], or_zero(seen.expected.flow_m3_h[window]), 0.0)
    should = np.cumsum(should * seen.dt_h[window])
    moved = seen.moved_m3[window]
    direct = seen.rows["flow_m3_h"][window]
    with np.errstate(invalid="ignore"):
        came = (moved > 0) | (direct > FLOWING_SHARE * seen.expected.flow_m3_h[window]) & (direct > 0)
    came[0] = False
    if not came.any():
        return np.nan
    first = int(np.argmax(came))
    brought = np.nansum(moved[: first + 1]) if not np.isnan(moved[first]) else 0.0
    return (float(should[first]) - brought) / plant.riser_m3
