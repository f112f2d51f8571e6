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
WITHIN_MS = 5 * HOUR_MS  # of the start: a hole eats all that a low sun lifts; later, water is not late but missing
FLOWING_SHARE = 0.4  # of expected: water has come
ANSWER_BINS = 16  # of power, up to full
ANSWER_ROWS, ANSWER_H = 20, 0.05  # of settled running, in all and in a bin that tells


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
    """Water short of the day's own answer to power, from the start delay until the first water came; in risers.

    What the pump lifted at the same power later in the day is what it lifts in the morning, worn or not: only a column that must be
    filled first is missing from it. NaN where no water came within `WITHIN_MS`, or the later day does not tell.
    """
    stop_early = start + int(np.searchsorted(seen.time_ms[start:stop] - seen.time_ms[start], WITHIN_MS, "right"))
    window = slice(start, stop_early)
    moved, direct = seen.moved_m3[window], seen.rows["flow_m3_h"][window]
    with np.errstate(invalid="ignore"):
        came = (moved > 0) | (direct > FLOWING_SHARE * seen.expected.flow_m3_h[window]) & (direct > 0)
    came[0] = False
    if not came.any():
        return np.nan
    first = int(np.argmax(came))
    answer = _own_answer(plant, seen, start + first + 1, stop)
    if answer is None:
        return np.nan
    delay = plant.facts.controller.start_delay_s * 1000 + MINUTE_MS
    power = or_zero(seen.power_w[window][: first + 1])
    after = (seen.time_ms[window][: first + 1] - seen.time_ms[start] > delay) & seen.turning[window][: first + 1]
    should = np.where(after, np.interp(power, *answer, left=0.0), 0.0) * seen.dt_h[window][: first + 1]
    brought = np.nansum(moved[: first + 1]) if not np.isnan(moved[first]) else 0.0
    return (float(np.cumsum(should)[-1]) - brought) / plant.riser_m3


def _own_answer(plant: Plant, seen: Columns, first: int, stop: int) -> tuple[Floats, Floats] | None:
    """The day's own mean flow by power: (powers rising [W], flows [m3/h]); None where the rest of the day is too short."""
    told = seen.settled[first:stop] & ~np.isnan(seen.flow_m3_h[first:stop]) & ~np.isnan(seen.power_w[first:stop])
    rows = np.flatnonzero(told) + first
    if len(rows) < ANSWER_ROWS:
        return None
    power, flow, dt = seen.power_w[rows], seen.flow_m3_h[rows], seen.dt_h[rows]
    place = np.clip((power / plant.full_power_w * ANSWER_BINS).astype(np.int64), 0, ANSWER_BINS)
    hours = np.bincount(place, dt, ANSWER_BINS + 1)
    told = hours >= ANSWER_H
    if not told.any():
        return None
    return (
        np.bincount(place, power * dt, ANSWER_BINS + 1)[told] / hours[told],
        np.bincount(place, flow * dt, ANSWER_BINS + 1)[told] / hours[told],
    )
