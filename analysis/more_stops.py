"""More stops than this site ever had: on several of the last days it stopped out of full power and started again, where before it hardly did.

Flow: symptoms.DayView, memory.py (the days before) -> HERE -> watchers.py; close.py keeps each day's count.
How often clouds, a tank or a low level stop a pump hangs on the place, and the place's own days tell it: clear days of clear ones, days of
weak sun of such days, or a wet season would begin as a fault. Where m of N days of a kind had so many, the next has them with
(m + 1/2) / (N + 1), and each one that comes counts to the next (Jeffreys' prior, a beta-binomial); so many of eight days seldom come by
chance. And two things tell a controller that stops itself from clouds: it finds the light as it left it, so that the pump takes after the stop
what it took before; and it waits its own time each time. Coarse rows show it as well, for no single day has to.
Never: weighing.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.causes import controller_trip, short_cycling
from analysis.causes.short_cycling import short_runs
from analysis.full_power import FULL_LEAST, own_full, strong_rows
from analysis.gives_up import gives_up
from analysis.look import Columns, told_to_stand
from analysis.memory import Case, Memory
from analysis.no_water import GONE
from analysis.plant import Plant, plant_of
from analysis.rows import last_where
from analysis.running import running_in
from analysis.same_light import LIMITS as SAME_LIGHT
from analysis.same_light import ample, same_share
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
    least: int = 3  # a day; a full tank stops it once or twice
    days: int = 2  # of the window
    chance: float = 0.003  # of so many days of the window
    runs: int = 4  # between stops, at the least, that tell a float's from others
    waits: float = 0.6  # quartiles of how long it stood apart, over their median; clouds pass as chance has it, 1.6 (Poisson process)
    an_hour: float = 1.0  # of running: more is short cycling, if its runs are even
    known_ms: int = 21 * 24 * HOUR_MS  # it goes on, though quieter days lie between
    hold_share: float = 0.15  # of the hold after a low level: what stands so long waited for the well
    hot_c: float = 60.0  # a controller so warm stops for its heat


LIMITS = MoreStopsLimits()
STOPS, WINDOW, MOST, KEPT = "stops", 8, 9, 8
FIELDS = 6 + 2 * KEPT
"""In the memory's arrays: how many clear days had 0, 1, ... MOST - 1 or more stops, and how many of weak sun; behind them the last days' counts,
whether the sun was weak, first stop, running hours, the share of runs that fill no tank, that of stops after which it took as much as before, how
long it ran up to each stop but the day's first, and how long it stood; -1 = none. [-, -, ms, h, -, -, min ..., min ...]"""
CAUSES = ("short-cycling", "controller-trip")
Days = list[tuple[float, ...]]


@dataclass(frozen=True)
class Stops:
    """Of one day. ran_h: NaN where it tells nothing. weak: clouds took the power down while it ran. short: share of the runs that fill no tank.

    same: share of the stops after which it took as much as before. runs_min, stood_min: how long it ran up to each stop but the first; stood.
    """

    count: int
    weak: bool
    first_ms: int
    last_ms: int
    ran_h: float
    short: float = 0.0
    same: float = 0.0
    runs_min: tuple[float, ...] = ()
    stood_min: tuple[float, ...] = ()


def more_stops(view: DayView) -> list[Episode]:
    """Judged when: the day is over. Shows as: more stops out of full power on several of the last days than nearly all days before had."""
    if view.columns is None or STOPS not in view.memory.arrays or not light_is_over(view):
        return []
    today = stops_of(view)
    if today.count < LIMITS.least or _told_elsewhere(view):
        return []
    before, days = _kept(view.memory)
    known = _known(view)
    if known is None and (_dimmed(view) or "fault_code" in view.facts.sensors.channels):
        return []  # where a code is read a trip says it, and what begins is seen within the day
    found = [_row(today)] if known else _evident(before, [*days[-(WINDOW - 1) :], _row(today)])
    if not found or not _by_itself(found) or not ("tank_float_up" in plant_of(view.facts).has or _no_float(found)):
        return []
    an_hour = float(sum(day[0] for day in found) / max(sum(day[3] for day in found), 0.2))
    cause = known or _named(found, an_hour)
    begun = today.first_ms if known else int(found[0][2])
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


def _named(days: Days, an_hour: float) -> str:
    """A float or a wire that chatters makes even runs; what trips a controller comes as chance has it, which leaves them uneven, however often."""
    runs = _kept_of(days, 0)
    if len(runs) < LIMITS.runs:
        return CAUSES[0] if an_hour > UNREAD.an_hour else CAUSES[1]
    return CAUSES[0] if an_hour > LIMITS.an_hour and _apart(runs) < UNREAD.chance else CAUSES[1]


def _evident(before: NDArray[np.float64], window: Days) -> Days:
    """The days of the window, today last, that had more stops than chance would give them; none where chance may have."""
    best: tuple[float, Days] = (1.0, [])
    for least in range(LIMITS.least, min(int(window[-1][0]), MOST - 1) + 1):
        had = [day for day in window if day[0] >= least]
        if len(had) >= LIMITS.days and (chance := _by_chance(before, had, least)) < best[0]:
            best = chance, had
    return best[1] if best[0] <= LIMITS.chance else []


def _by_chance(before: NDArray[np.float64], had: Days, least: int) -> float:
    """Probability, at the most, that so many days of the window have so many stops, as the days before of their kind tell."""
    total = float(math.comb(WINDOW, len(had)))
    for kind, counts in enumerate(before):
        for place in range(sum(int(day[1]) == kind for day in had)):
            total *= (counts[least:].sum() + 0.5 + place) / (counts.sum() + 1.0 + place)
    return total


def _by_itself(days: Days) -> bool:
    """The light was after most stops what it had been before, and it stood for about the same time each time: no cloud stopped it."""
    counts = np.array([day[0] for day in days])
    same = float((counts * np.array([day[5] for day in days])).sum() / counts.sum())
    return same > SAME_LIGHT.share and _apart(_kept_of(days, 1)) <= LIMITS.waits


def _apart(values: list[float]) -> float:
    """Quartiles apart, over the median: one that the count left out changes little."""
    first, middle, third = np.quantile(values, (0.25, 0.5, 0.75))
    return float((third - first) / max(middle, 1.0))


def _kept_of(days: Days, which: int) -> list[float]:
    """How long it ran (0), or stood (1), of all these days."""
    begin = 6 + which * KEPT
    return [value for day in days for value in day[begin : begin + KEPT] if value >= 0.0]


def _dimmed(view: DayView) -> bool:
    """Whether the array is known to give less: it then stops for want of light more often."""
    return any(case.family == "slow-electric" and case.ended_ms is None for case in view.memory.cases)


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
    begins = _again(seen)
    weak = running_in(view).clouded
    if len(begins):
        begins = begins[_unexplained(plant, seen, begins)]
    if not len(begins):
        return Stops(0, weak, 0, 0, ran_h)
    stops = last_where(turns)[begins - 1]
    if _of_the_well(view, seen, begins, stops):
        return Stops(0, weak, 0, 0, ran_h)
    short = float(short_runs(plant, seen, ~turns)[stops].mean())
    runs = (seen.time_ms[stops] - seen.time_ms[last_where(~turns)[stops]])[1 : KEPT + 1] / MINUTE_MS
    stood = (seen.time_ms[begins] - seen.time_ms[stops])[:KEPT] / MINUTE_MS
    return Stops(
        len(begins), weak, int(seen.time_ms[stops[0]]), int(seen.time_ms[begins[-1]]), ran_h, short,
        same_share(plant, seen, begins, stops), tuple(runs.tolist()), tuple(stood.tolist()),
    )  # fmt: skip


def _again(seen: Columns) -> NDArray[np.int64]:
    """The rows of a day at which it started again within the time that a stop may last."""
    turns = seen.turning
    begins = np.flatnonzero(turns[1:] & ~turns[:-1]) + 1
    if not turns[0]:
        begins = begins[1:]  # before the day's first start there is no stop
    if not len(begins):
        return begins
    stops = last_where(turns)[begins - 1]
    return begins[(stops > 0) & (seen.time_ms[begins] - seen.time_ms[stops] <= LIMITS.stood_ms)]


def _unexplained(plant: Plant, seen: Columns, begins: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Of the starts, those before which it had stopped out of full power with nothing that tells it to. bool[len(begins)]"""
    stops = last_where(seen.turning)[begins - 1]
    strong = strong_rows(seen, np.maximum(own_full(plant, seen), FULL_LEAST * plant.full_power_w))
    free = np.asarray(strong[stops] & ample(plant, seen, begins, stops))
    if not free.any():
        return free
    with np.errstate(invalid="ignore"):
        told = told_to_stand(seen.rows) | (seen.rows["low_level_probe_wet"] < 0.5) | (seen.rows["fault_code"] > 0)
        told |= (seen.rows["controller_temp_c"] > LIMITS.hot_c) | seen.unread | (seen.dt_h <= 0)
    told |= seen.dt_h * HOUR_MS > LIMITS.row_ms * 1.01
    total = np.cumsum(told)
    free &= (total[begins - 1] == total[stops]) & ~told[stops]
    return free & ~gives_up(plant, seen).tries[stops] if free.any() else free


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


def _no_float(days: Days) -> bool:
    """The days' runs are too uneven for a float that nobody reads, which fills by one and the same volume, or too short to fill anything."""
    if float(np.mean([day[4] for day in days])) > 0.5:
        return True
    runs = _kept_of(days, 0)
    return len(runs) >= LIMITS.runs and _apart(runs) >= UNREAD.even


def kept_stops(view: DayView) -> dict[str, np.ndarray]:
    """For the memory's arrays, at the day's end. A day that leaves the window joins the days before, but not one of such a fault."""
    kept, today = view.memory.arrays.get(STOPS, np.zeros(2 * MOST)), stops_of(view)
    if np.isnan(today.ran_h):
        return {STOPS: kept}
    before, days = kept[: 2 * MOST], kept[2 * MOST :]
    if len(days) == WINDOW * FIELDS:
        gone, days = days[:FIELDS], days[FIELDS:]
        if _known(view) is None:
            before = before.copy()
            before[int(gone[1]) * MOST + min(int(gone[0]), MOST - 1)] += 1.0
    return {STOPS: np.concatenate([before, days, np.array(_row(today))])}


def _row(day: Stops) -> tuple[float, ...]:
    runs, stood = ((*values, *[-1.0] * KEPT)[:KEPT] for values in (day.runs_min, day.stood_min))
    return (float(day.count), float(day.weak), float(day.first_ms), day.ran_h, day.short, day.same, *runs, *stood)


def _kept(memory: Memory) -> tuple[np.ndarray, Days]:
    """By kind of day how many had so many stops, and the days of the window, the newest last."""
    kept = memory.arrays.get(STOPS)
    if kept is None:
        return np.zeros((2, MOST)), []
    return kept[: 2 * MOST].reshape(2, MOST), [tuple(day) for day in kept[2 * MOST :].reshape(-1, FIELDS).tolist()]


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
