"""More stops than this site ever had: on most of the last days it stopped out of full power and started again, where before it hardly did.

Flow: symptoms.DayView, memory.py (the days before) -> HERE -> watchers.py; close.py keeps each day's count.
How often clouds, a tank or a low level stop a pump hangs on the place, and the place's own days tell it. With a share of p of all days
before that had as many, four or more of eight days come by chance with probability 70 p^4 at most (binomial); a wet season begins with days
of weak sun, and those do not count as evidence. Coarse rows show it as well, for no single day has to.
Never: weighing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.causes import controller_trip, short_cycling
from analysis.causes.short_cycling import own_full, short_runs, strong_rows
from analysis.gives_up import gives_up
from analysis.look import Columns, told_to_stand
from analysis.memory import Case, Memory
from analysis.no_water import GONE
from analysis.plant import Plant, plant_of
from analysis.rows import last_where
from analysis.solar_days import HOUR_MS, MINUTE_MS, up_to_minute
from analysis.symptoms import DayView, Episode
from analysis.unread_trips import LIMITS as UNREAD
from analysis.unread_trips import light_is_over


@dataclass(frozen=True)
class MoreStopsLimits:
    """Common practice, no source, where nothing else is said."""

    stood_ms: int = 45 * MINUTE_MS  # at most: a tank is drawn down for longer
    row_ms: int = 15 * MINUTE_MS
    ran_h: float = 2.0  # of running: a day with less tells nothing
    clouded: float = 0.1  # of the rows within runs that were weak
    least: int = 3  # a day
    days: int = 4  # of the window
    chance: float = 0.06  # of days before with as many: 70 p^4 below one in a thousand
    full_least: float = 0.3  # of full power: a pump turned down further, or a dim array, stops for want of light
    an_hour: float = 1.0  # of running: more is short cycling
    known_ms: int = 21 * 24 * HOUR_MS  # it goes on, though quieter days lie between
    hold_share: float = 0.15  # of the hold after a low level: what stands so long waited for the well
    hot_c: float = 60.0  # a controller so warm stops for its heat


LIMITS = MoreStopsLimits()
STOPS, WINDOW, MOST, FIELDS = "stops", 8, 9, 4
"""In the memory's arrays: how many days had 0, 1, ... MOST - 1 or more stops; behind it the last days' counts, whether each is evidence,
its first stop and its running hours. [-, -, ms, h]"""
CAUSES = ("short-cycling", "controller-trip")


@dataclass(frozen=True)
class Stops:
    """Of one day. ran_h: NaN where it tells nothing."""

    count: int
    evident: bool
    first_ms: int
    last_ms: int
    ran_h: float


def more_stops(view: DayView) -> list[Episode]:
    """Judged when: the day is over. Shows as: more stops out of full power on most of the last days than nearly all days before had."""
    if view.columns is None or STOPS not in view.memory.arrays or not light_is_over(view):
        return []
    today = stops_of(view)
    if today.count < LIMITS.least or not today.evident or _told_elsewhere(view):
        return []
    before, days = _kept(view.memory)
    least = _least(before)
    if least is None or today.count < least:
        return []
    known = _known(view)
    evident = [day for day in days[-(WINDOW - 1) :] if day[1] and day[0] >= least]
    if known is None and (len(evident) + 1 < LIMITS.days or "fault_code" in view.facts.sensors.channels):
        return []  # where a code is read a trip says it, and what begins is seen within the day
    counts, hours = [day[0] for day in evident] + [today.count], [day[3] for day in evident] + [today.ran_h]
    an_hour = float(sum(counts) / max(sum(hours), 0.2))
    cause = known or (CAUSES[0] if an_hour > LIMITS.an_hour else CAUSES[1])
    begun = today.first_ms if known or not evident else int(evident[0][2])
    rate, trips = today.count / today.ran_h, float(today.count)
    told = {"starts": rate} if cause == CAUSES[0] else {"trips": trips, "unread": 1.0}
    dusk_ms = up_to_minute(view.days.daylight_ms(view.day, 0)[1])
    return [
        Episode(
            cause,
            began_ms=begun,
            flag_ms=dusk_ms,
            seen_ms=dusk_ms,  # a day is what is judged: it is not over before it is told of
            hours=today.ran_h,
            at_flag=told,
            whole=told,
            cause=cause,
            size=rate if cause == CAUSES[0] else trips,
        )
    ]


def stops_of(view: DayView) -> Stops:
    """The day's stops out of full power, after which it started again within the hour and nothing read tells why."""
    return view.once("stops", lambda: _stops_of(view, plant_of(view.facts)))


def _stops_of(view: DayView, plant: Plant) -> Stops:
    seen = view.columns
    if seen is None or len(seen) < WINDOW:
        return Stops(0, False, 0, 0, float("nan"))
    turns = seen.turning
    ran_h = float(seen.dt_h[turns].sum())
    if not ran_h >= LIMITS.ran_h:
        return Stops(0, False, 0, 0, float("nan"))
    begins = np.flatnonzero(turns[1:] & ~turns[:-1]) + 1
    ran = last_where(turns)
    begins = begins[ran[begins - 1] > 0]
    begins = begins[seen.time_ms[begins] - seen.time_ms[ran[begins - 1]] <= LIMITS.stood_ms]
    if not len(begins):
        return Stops(0, False, 0, 0, ran_h)
    strong = strong_rows(seen, np.maximum(own_full(plant, seen), LIMITS.full_least * plant.full_power_w))
    begins = begins[_unexplained(plant, seen, strong, begins)]
    stops = ran[begins - 1]
    if not len(begins) or _of_the_well(view, seen, begins, stops):
        return Stops(0, False, 0, 0, ran_h)
    within = turns[1:-1] & turns[:-2] & turns[2:]
    evident = bool((within & ~strong[1:-1]).sum() <= LIMITS.clouded * max(within.sum(), 1))
    evident &= "tank_float_up" in plant.has or _no_float(plant, seen, stops)
    return Stops(len(begins), evident, int(seen.time_ms[stops[0]]), int(seen.time_ms[begins[-1]]), ran_h)


def _unexplained(
    plant: Plant, seen: Columns, strong: NDArray[np.bool_], begins: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Of the starts, those before which it had stopped out of full power with nothing that tells it to. bool[len(begins)]"""
    stops = last_where(seen.turning)[begins - 1]
    with np.errstate(invalid="ignore"):
        told = told_to_stand(seen.rows) | (seen.rows["low_level_probe_wet"] < 0.5) | (seen.rows["fault_code"] > 0)
        told |= (seen.rows["controller_temp_c"] > LIMITS.hot_c) | seen.unread | (seen.dt_h <= 0)
    told |= seen.dt_h * HOUR_MS > LIMITS.row_ms * 1.01
    total = np.cumsum(told)
    free = total[begins - 1] == total[stops]
    free &= ~(told[stops] | gives_up(plant, seen).tries[stops])
    return np.asarray(free & strong[stops])


def _of_the_well(view: DayView, seen: Columns, begins: NDArray[np.int64], stops: NDArray[np.int64]) -> bool:
    """It stood for the hold after a low level, most times: the level is back at the probe before a reading comes."""
    hold_ms = view.facts.controller.low_level_hold_min * MINUTE_MS
    if view.facts.well.probe_depth_m is None or hold_ms < UNREAD.hold_min * MINUTE_MS:
        return False
    probe = seen.rows["low_level_probe_wet"]
    if not (np.isnan(probe).all() or (probe < 0.5).any()):  # on a day of many such stops one reading would have met it
        return False
    stood = (seen.time_ms[begins] - seen.time_ms[stops]).astype(float)
    row_ms = float(seen.dt_h[begins].mean()) * HOUR_MS
    return bool(np.median(np.abs(stood - hold_ms)) < LIMITS.hold_share * hold_ms + 0.5 * row_ms)


def _no_float(plant: Plant, seen: Columns, stops: NDArray[np.int64]) -> bool:
    """Its runs are too uneven for a float that nobody reads, which fills by one and the same volume, or too short to fill anything."""
    if short_runs(plant, seen, ~seen.turning)[stops].mean() > 0.5:
        return True
    if len(stops) < LIMITS.least:
        return False
    began = last_where(~seen.turning)[stops]
    first, middle, third = np.quantile(seen.time_ms[stops] - seen.time_ms[began], (0.25, 0.5, 0.75))
    return bool((third - first) / max(middle, 1.0) >= UNREAD.even)


def kept_stops(view: DayView) -> dict[str, np.ndarray]:
    """For the memory's arrays, at the day's end. A day that leaves the window joins the days before, but not one of such a fault."""
    before, days = _kept(view.memory)
    today = stops_of(view)
    if not np.isnan(today.ran_h):
        days = [*days, (float(today.count), float(today.evident), float(today.first_ms), today.ran_h)]
    if len(days) > WINDOW:
        gone, days = days[0], days[1:]
        if _known(view) is None:
            before = before.copy()
            before[min(int(gone[0]), MOST - 1)] += 1.0
    return {STOPS: np.concatenate([before, np.array(days, float).ravel()])}


def _kept(memory: Memory) -> tuple[np.ndarray, list[tuple[float, ...]]]:
    """How many days had so many stops, and the days of the window, the newest last."""
    kept = memory.arrays.get(STOPS)
    if kept is None:
        return np.zeros(MOST), []
    return kept[:MOST], [tuple(day) for day in kept[MOST:].reshape(-1, FIELDS).tolist()]


def _least(before: np.ndarray) -> int | None:
    """The fewest stops, that so few of the days before had; None where nothing is rare enough, or too little known."""
    as_many = np.cumsum(before[::-1])[::-1]
    share = (as_many + 0.5) / (before.sum() + 1.0)
    rare = np.flatnonzero(share <= LIMITS.chance)
    rare = rare[rare >= LIMITS.least]
    return int(rare[0]) if len(rare) else None


def _of_late(view: DayView) -> list[Case]:
    first_ms = view.days.open_ms(view.day) - LIMITS.known_ms
    return [case for case in view.memory.cases if case.cause in CAUSES and case.seen_ms > first_ms]


def _known(view: DayView) -> str | None:
    """As what it is told of already."""
    late = _of_late(view)
    return late[-1].cause if late else None


def _told_elsewhere(view: DayView) -> bool:
    """The day's rows alone tell it, or it ran without water."""
    if any(case.family == "no-water" and case.ended_ms is None and case.cause in GONE for case in view.memory.cases):
        return True
    return bool(short_cycling.watch(view) or controller_trip.watch(view))
