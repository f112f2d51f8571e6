"""Trips where no code is read: stops from full power under a clear sky, some a day, on several days of a week.

Flow: symptoms.DayView, memory.py (the days before) -> HERE -> causes/controller_trip.py, close.py.
Clouds that stop a pump also pass without stopping it, and take its power down before; a full tank stops it once or twice a day. A
controller that stops itself leaves the power of each run as the sky has it, stands for about the same minutes each time, and does so
day after day.
Never: weighing.
"""

from dataclasses import dataclass

import numpy as np

from analysis.causes.short_cycling import starts_of
from analysis.full_power import full_w, strong_rows
from analysis.look import Columns
from analysis.plant import plant_of
from analysis.rows import last_where
from analysis.same_light import LIMITS as SAME_LIGHT
from analysis.same_light import ample, same_share
from analysis.solar_days import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.symptoms import DayView


@dataclass(frozen=True)
class UnreadLimits:
    """Common practice, no source."""

    stops: int = 5  # a day; a full tank stops it once or twice
    days: int = 3  # of the week
    stood_ms: int = 40 * MINUTE_MS  # at most: a tank is drawn down for longer
    waits: float = 0.5  # standard deviation over mean of how long it stood: a timer's wait; clouds are as uneven as chance, 1 (Poisson process)
    hold_share: float = 0.15  # of the hold after a low level: what stands so long waited for the well
    hold_min: float = 5.0
    clouded: float = 0.02  # of the rows within runs that were weak
    an_hour: float = 2.5  # more is short cycling,
    chance: float = 1.0  # unless its runs are as uneven as chance: likewise, 1 of lengths drawn evenly from nothing on
    even: float = 0.8  # quartiles of the runs apart, over their median: a float that nobody reads fills by one and the same volume; 1.6 of a Poisson process
    row_ms: int = 5 * MINUTE_MS  # readings further apart cannot show it


LIMITS = UnreadLimits()
WEEK = 7
TRIP_DAYS, TRIP_LAST, TRIP_BEGAN = "trip_days", "trip_last_day", "trip_began_ms"
"""In the memory's numbers: days of the last week as bits, the newest lowest; the last day counted; the first stop of those."""


def unread_stops(view: DayView) -> np.ndarray:
    """The rows at which it started again after such a stop, where they make a day of trips; else none. Of a day that is over: all its stops together tell."""
    if not light_is_over(view):
        return np.zeros(0, np.int64)
    return view.once("unread-stops", lambda: _unread_stops(view))


def _unread_stops(view: DayView) -> np.ndarray:
    seen, plant, none = view.columns, plant_of(view.facts), np.zeros(0, np.int64)
    if seen is None or "fault_code" in plant.has or len(seen) < WEEK:
        return none
    begins, _ = starts_of(view, seen, seen.asked, ~seen.turning)
    ran = np.maximum.accumulate(np.where(seen.turning, np.arange(len(seen)), -1))
    begins = begins[seen.time_ms[begins] - seen.time_ms[ran[begins - 1]] <= LIMITS.stood_ms]
    strong = strong_rows(seen, full_w(plant, seen)) | seen.expected.poa_measured
    stops = ran[begins - 1]
    enough = strong[stops] & ample(plant, seen, begins, stops)
    begins, stops = begins[enough], stops[enough]
    if len(begins) < LIMITS.stops or _clouded(view, seen, int(begins[LIMITS.stops - 1])):
        return none
    stood = (seen.time_ms[begins] - seen.time_ms[stops]).astype(float)
    if same_share(plant, seen, begins, stops) <= SAME_LIGHT.share:
        return none
    uneven = _unevenness(seen, stops)
    if uneven < LIMITS.even or _by_chance(seen, begins, stood) or _of_the_well(view, stood):
        return none
    hours = float(seen.time_ms[begins[-1]] - seen.time_ms[begins[0]]) / HOUR_MS
    return begins if uneven > LIMITS.chance or len(begins) <= LIMITS.an_hour * max(hours, 1.0) else none


def _unevenness(seen: Columns, stops: np.ndarray) -> float:
    """How far apart the quartiles of the runs that ended with these rows lie, over their median: one that the count left out changes little."""
    began = last_where(~seen.turning)[stops]
    first, middle, third = np.quantile(seen.time_ms[stops] - seen.time_ms[began], (0.25, 0.5, 0.75))
    return float((third - first) / max(middle, 1.0))


def light_is_over(view: DayView) -> bool:
    """Whether the day has nothing more to tell."""
    return view.until_ms >= view.days.daylight_ms(view.day, 0)[1]


def _by_chance(seen: Columns, begins: np.ndarray, stood: np.ndarray) -> bool:
    """It stood as unevenly long as passing clouds make a pump stand. Both ends fall anywhere within a row."""
    row_ms = seen.dt_h[begins].mean() * HOUR_MS
    return bool(max(stood.var() - row_ms**2 / 6.0, 0.0) > (LIMITS.waits * stood.mean()) ** 2)


def _of_the_well(view: DayView, stood: np.ndarray) -> bool:
    """It stood for the hold after a low level, most times: the level is back at the probe before a reading comes."""
    hold_ms = view.facts.controller.low_level_hold_min * MINUTE_MS
    if view.facts.well.probe_depth_m is None or hold_ms < LIMITS.hold_min * MINUTE_MS:
        return False
    return bool(np.median(np.abs(stood - hold_ms)) < LIMITS.hold_share * hold_ms)


def _clouded(view: DayView, seen: Columns, until: int) -> bool:
    """Up to the row: the power within runs went and came. A run's first and last row hold its start and its stop."""
    turns = seen.turning[:until]
    within = turns[1:-1] & turns[:-2] & turns[2:]
    weak = within & ~strong_rows(seen, full_w(plant_of(view.facts), seen))[1 : until - 1]
    return bool(weak.sum() > LIMITS.clouded * max(within.sum(), 1))


def tallied(view: DayView) -> dict[str, float]:
    """For the memory's numbers, at the day's end."""
    bits, known = _week(view), view.memory.numbers
    stops = unread_stops(view)
    if not len(stops):
        return {}
    began = known[TRIP_BEGAN] if bits else float(view.columns.time_ms[stops[0]]) if view.columns is not None else 0.0
    began = max(began, float((view.day - WEEK) * DAY_MS))  # what is older than a week does not count
    return {TRIP_DAYS: float((bits << 1 | 1) % 2**WEEK), TRIP_LAST: float(view.day), TRIP_BEGAN: began}


def _week(view: DayView) -> int:
    """The days of trips of the week before this day, yesterday's lowest."""
    known = view.memory.numbers
    if TRIP_LAST not in known:
        return 0
    return (int(known[TRIP_DAYS]) << (view.day - int(known[TRIP_LAST]) - 1)) % 2 ** (WEEK - 1)


def days_before(view: DayView) -> int:
    """How many of the week's days before this one were days of trips."""
    return _week(view).bit_count()
