"""The first minutes of a day: how much water the first start was short of, whether the column stood, where the well rests.

Flow: look.py -> HERE -> vector.py.
Never: a start in the middle of the day.
"""

import numpy as np

from analysis.estimates.vector import PLACE
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats, middle, or_zero, rises
from analysis.solar_days import HOUR_MS, MINUTE_MS

RUN_ROWS = 3  # rows in a row that make a start
WITHIN_MS = 5 * HOUR_MS  # of the start: a hole eats all that a low sun lifts; later, water is not late but missing
FLOWING_SHARE = 0.4  # of expected: water has come
STEP_MOST = 4.0  # risers: several times what a day scatters by (scatter.py)
COARSE = 0.5  # of the riser, lifted within one row: half of what a hole lets run out on the average
LEAST_HEIGHT_M = 1.5  # of the outlet above the gauge: several times what a usual gauge is off by
STAND_LEAST, STAND_MOST = -0.5, 1.2  # beyond, it is the gauge that errs, and p tells
ANSWER_BINS = 16  # of power, up to full
ANSWER_ROWS, ANSWER_H = 20, 0.05  # of settled running, in all and in a bin that tells


def fill(vector: Floats, plant: Plant, seen: Columns, days: range) -> None:
    """Write `first`, `rest` and `stand` of `days` into `vector` (days, SIZE)."""
    cuts = np.searchsorted(seen.day, np.arange(days.start, days.stop + 1))
    turned = np.flatnonzero(seen.turning)
    place = np.searchsorted(turned, cuts)
    rows, turns = rises(cuts), rises(place)
    runs = np.flatnonzero((turns >= RUN_ROWS) & (rows >= 2 * RUN_ROWS))
    starts = turned[place[runs]]
    vector[runs, PLACE["first"]] = _missing(plant, seen, starts, cuts[runs + 1])
    until = dict(zip(runs.tolist(), starts.tolist(), strict=True))
    height_m = plant.facts.delivery.outlet_height_m
    pressure = seen.rows["discharge_pressure_bar"]
    if height_m >= LEAST_HEIGHT_M and not np.isnan(pressure).all():
        for day, start in until.items():
            stood = pressure[int(cuts[day]) : start]
            if len(stood) >= 2:
                lost = 1.0 - middle(stood) * plant.metres_a_bar / height_m
                vector[day, PLACE["stand"]] = min(max(lost, STAND_LEAST), STAND_MOST)
    level = seen.rows["water_level_m"]
    if np.isnan(level).all():
        return
    for day in range(len(days)):
        low, high = int(cuts[day]), int(cuts[day + 1])
        start = until.get(day, high if not turns[day] else low)
        if start - low >= (2 if day in until else 1):
            still = ~seen.driven[low:start]  # a speed that reads 0 for ever calls all day a rest
            vector[day, PLACE["rest"]] = middle(level[low:start][still]) - plant.facts.well.static_level_m


def _missing(plant: Plant, seen: Columns, starts: np.ndarray, stops: np.ndarray) -> Floats:
    """Water short of each day's own answer to power, from the start delay until the first water came; in risers. float64[k]

    What the pump lifted at the same power later in the day is what it lifts in the morning, worn or not: only a column that must be
    filled first is missing from it. NaN where no water came within `WITHIN_MS`, or the later day does not tell.

    starts, stops
        int64[k], rising: the row with which each day's running begins, and the one after the day's last.
    """
    missing = np.full(len(starts), np.nan)
    coarse = (plant.facts.sensors.meter_step_m3 or 0.0) > STEP_MOST * plant.riser_m3
    if coarse and "flow_m3_h" not in seen.rows.values:
        return missing
    came = _first_water(seen, starts, stops)
    known = np.flatnonzero(came < stops)
    answers = _own_answers(plant, seen, came[known] + 1, stops[known])
    delay = plant.facts.controller.start_delay_s * 1000 + MINUTE_MS
    for place, answer in zip(known.tolist(), answers, strict=True):
        if answer is None:
            continue
        start, first = int(starts[place]), int(came[place])
        if coarse and np.isnan(seen.rows["flow_m3_h"][first]):
            continue  # the register says within such a step only when the water came
        window = slice(start, first + 1)
        after = (seen.time_ms[window] - seen.time_ms[start] > delay) & seen.turning[window]
        lifts = np.interp(or_zero(seen.power_w[window]), *answer, left=0.0)
        should = np.where(after, lifts, 0.0) * seen.dt_h[window]
        moved = seen.moved_m3[window]
        if not np.isnan(moved[-1]):
            brought = or_zero(moved).sum()
        elif lifts[-1] * seen.dt_h[first] > COARSE * plant.riser_m3:
            continue  # a flow by itself does not say when within so long a row the water came
        else:
            brought = (or_zero(seen.rows["flow_m3_h"][window]) * seen.dt_h[window]).sum()
        missing[place] = (float(np.cumsum(should)[-1]) - brought) / plant.riser_m3
    return missing


def _first_water(seen: Columns, starts: np.ndarray, stops: np.ndarray) -> np.ndarray:
    """The first row after each start that water came in; the day's stop where none did within `WITHIN_MS`. int64[k]"""
    direct = seen.rows["flow_m3_h"]
    with np.errstate(invalid="ignore"):
        came = (seen.moved_m3 > 0) | (direct > FLOWING_SHARE * seen.expected.flow_m3_h) & (direct > 0)
    rows = np.flatnonzero(came)
    place = np.searchsorted(rows, starts, "right")
    first = np.append(rows, len(seen))[place]
    soon = first < stops
    soon[soon] = seen.time_ms[first[soon]] - seen.time_ms[starts[soon]] <= WITHIN_MS
    return np.where(soon, first, stops)


def _own_answers(
    plant: Plant, seen: Columns, firsts: np.ndarray, stops: np.ndarray
) -> list[tuple[Floats, Floats] | None]:
    """Each day's own mean flow by power, from row `firsts` to `stops`: (powers rising [W], flows [m3/h]); None where that is too short."""
    if not len(firsts):
        return []
    bins, low = ANSWER_BINS + 1, int(firsts[0])
    part, begins = slice(low, int(stops[-1])), np.append(low, stops[:-1])
    flow, power = seen.flow_m3_h[part], seen.power_w[part]
    told = seen.settled[part] & ~np.isnan(flow) & ~np.isnan(power)
    for begin, first in zip((begins - low).tolist(), (firsts - low).tolist(), strict=True):
        told[begin:first] = False
    rows = np.flatnonzero(told)
    day = np.repeat(np.arange(len(stops)), stops - begins)[rows]
    power, flow, dt = power[rows], flow[rows], seen.dt_h[part][rows]
    place = np.clip((power / plant.full_power_w * ANSWER_BINS).astype(np.int64), 0, ANSWER_BINS) + bins * day
    count = np.bincount(day, minlength=len(stops))
    hours, by_power, by_flow = (
        np.bincount(place, weight, bins * len(stops)).reshape(-1, bins) for weight in (dt, power * dt, flow * dt)
    )
    enough = hours >= ANSWER_H
    some = (count >= ANSWER_ROWS) & enough.any(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        powers, flows = by_power / hours, by_flow / hours
    return [(powers[k, enough[k]], flows[k, enough[k]]) if some[k] else None for k in range(len(stops))]
