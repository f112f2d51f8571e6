"""Trips where no code is read: stops from full power under a clear sky, some a day, on several days of a week.

Flow: symptoms.DayView, memory.py (the days before) -> HERE -> causes/controller_trip.py, close.py.
Clouds that stop a pump also pass without stopping it, and take its power down before; a full tank stops it once or twice a day. A
controller that stops itself leaves the power of each run as the sky has it, stands for minutes, and does so day after day.
Never: weighing.
"""

from dataclasses import dataclass

import numpy as np

from analysis.causes.short_cycling import strong_rows, unexplained_starts
from analysis.look import Columns
from analysis.plant import plant_of
from analysis.solar_days import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.symptoms import DayView


@dataclass(frozen=True)
class UnreadLimits:
    """Common practice, no source."""

    stops: int = 5  # a day; a full tank stops it once or twice
    days: int = 3  # of the week
    stood_ms: int = 90 * MINUTE_MS  # at most: a tank is drawn down for longer
    clouded: float = 0.02  # of the rows within runs that were weak
    an_hour: float = 2.5  # more is short cycling
    even: float = (
        0.4  # standard deviation over mean of the runs: a float that nobody reads fills by one and the same volume
    )
    row_ms: int = 5 * MINUTE_MS  # readings further apart cannot show it


LIMITS = UnreadLimits()
WEEK = 7
TRIP_DAYS, TRIP_LAST, TRIP_BEGAN = "trip_days", "trip_last_day", "trip_began_ms"
"""In the memory's numbers: days of the last week as bits, the newest lowest; the last day counted; the first stop of those."""


def unread_stops(view: DayView) -> np.ndarray:
    """The rows at which it started again after such a stop, where they make a day of trips; else none."""
    return view.once("unread-stops", lambda: _unread_stops(view))


def _unread_stops(view: DayView) -> np.ndarray:
    seen, none = view.columns, np.zeros(0, np.int64)
    if seen is None or "fault_code" in plant_of(view.facts).has or len(seen) < WEEK:
        return none
    begins, _ = unexplained_starts(view, seen)
    ran = np.maximum.accumulate(np.where(seen.turning, np.arange(len(seen)), -1))
    begins = begins[seen.time_ms[begins] - seen.time_ms[ran[begins - 1]] <= LIMITS.stood_ms]
    if len(begins) < LIMITS.stops or _clouded(view, seen, int(begins[LIMITS.stops - 1])):
        return none
    stops = ran[begins - 1]
    lasted = np.diff(seen.time_ms[begins], prepend=np.nan)[1:] - (seen.time_ms[begins] - seen.time_ms[stops])[1:]
    if lasted.std() < LIMITS.even * lasted.mean():
        return none
    hours = float(seen.time_ms[begins[-1]] - seen.time_ms[begins[0]]) / HOUR_MS
    return begins if len(begins) <= LIMITS.an_hour * max(hours, 1.0) else none


def _clouded(view: DayView, seen: Columns, until: int) -> bool:
    """Up to the row: the power within runs went and came. A run's first and last row hold its start and its stop."""
    turns = seen.turning[:until]
    within = turns[1:-1] & turns[:-2] & turns[2:]
    weak = within & ~strong_rows(plant_of(view.facts), seen)[1 : until - 1]
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
