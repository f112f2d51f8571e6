"""How each day's running began and ended, of all days of a block at once: what a day's close keeps of it.

Flow: look.py, full_power.py -> HERE -> stood.py, lifts_from.py, more_stops.py.
A day's figures are the same whatever stands beside it. Never: anything learnt; judgement.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.full_power import clouded_days
from analysis.look import Columns
from analysis.plant import Plant, plant_of
from analysis.solar_days import HOUR_MS, MINUTE_MS
from analysis.symptoms import DayView


@dataclass(frozen=True)
class RunningLimits:
    """Common practice, no source."""

    stopped_ms: int = 16 * MINUTE_MS  # a row apart, at most a quarter of an hour
    strong: float = 1.2  # times the power that starts it, taken up to the stop: it was not the evening that stopped it
    fine_h: float = 0.09  # rows so close show the power before the stop; else the last one must
    lasting_ms: int = 30 * MINUTE_MS  # a run so long was no try
    brief_ms: int = 5 * MINUTE_MS  # a controller that goes on so long has found a rotor that turns
    flows: float = 0.1  # of full flow
    lifting_h: float = 1.0  # of such running on a day
    slowest: float = 0.05  # of it: the slowest that lifted, without a meter's late steps
    spread: float = 0.9  # of the fastest of that day: one that always turns at one speed tells nothing


LIMITS = RunningLimits()


@dataclass(frozen=True)
class Running:
    """One day.

    offered_w: what the measured sun offered when the pump first started for good; None where nothing tells.
    halted: it ended the day standing, after it was stopped with power to spare; None where it never turned.
    slowest_rpm: the slowest speed at which water came, of an impeller whose speed is read; None where too little tells.
    clouded: clouds took the power down while it ran.
    """

    offered_w: float | None = None
    halted: bool | None = None
    slowest_rpm: float | None = None
    clouded: bool = False


NO_RUNNING = Running()


def running_of(plant: Plant, seen: Columns, days: range) -> list[Running]:
    """Every day of `days`, in order; `seen` holds their rows."""
    if not len(seen.time_ms):
        return [NO_RUNNING] * len(days)
    cuts = np.searchsorted(seen.day, np.arange(days.start, days.stop + 1))
    told = _offered(seen, cuts), _halted(plant, seen, cuts), _slowest(plant, seen, cuts)
    columns = *told, clouded_days(plant, seen, cuts)
    return [Running(*day) for day in zip(*columns, strict=True)]


def running_in(view: DayView) -> Running:
    """The view's day: of its block, or else by itself."""
    seen = view.columns
    if view.running is not None or seen is None:
        return view.running or NO_RUNNING
    day = int(seen.day[0])
    return running_of(plant_of(view.facts), seen, range(day, day + 1))[0]


def _offered(seen: Columns, cuts: NDArray[np.int64]) -> list[float | None]:
    found: list[float | None] = [None] * (len(cuts) - 1)
    turns = seen.turning & (seen.dt_h > 0)
    edge = np.empty(len(turns) + 1, bool)
    edge[0] = edge[-1] = True
    np.logical_or(turns[1:] != turns[:-1], seen.day[1:] != seen.day[:-1], out=edge[1:-1])
    begins, ends = (turns & edge[:-1]).nonzero()[0], (turns & edge[1:]).nonzero()[0]
    lasting = begins[seen.time_ms[ends] - seen.time_ms[begins] >= LIMITS.lasting_ms]
    at = np.searchsorted(lasting, cuts)
    days = (at[1:] > at[:-1]).nonzero()[0]
    rows = lasting[at[days]]
    told = (seen.sun_enough & ~seen.asked).astype(np.int64)  # sun enough, and told to stand; flags add up slowly
    untold = np.append(0, np.cumsum(told))
    sure = seen.expected.poa_measured[rows] & (untold[rows] == untold[cuts[days]])
    for day, offered in zip(days[sure].tolist(), seen.expected.mpp_power_w[rows[sure]].tolist(), strict=True):
        found[day] = offered
    return found


def _halted(plant: Plant, seen: Columns, cuts: NDArray[np.int64]) -> list[bool | None]:
    found: list[bool | None] = [None] * (len(cuts) - 1)
    turned = seen.turning.nonzero()[0]
    at = np.searchsorted(turned, cuts)
    for day in (at[1:] > at[:-1]).nonzero()[0].tolist():
        begin, stop = int(cuts[day]), int(cuts[day + 1])
        last: int | None = int(turned[at[day + 1] - 1])
        if np.isnan(seen.speed_rpm[last]):
            last = last_turned(seen if stop - begin == len(seen.time_ms) else seen.take(slice(begin, stop)))
            last = None if last is None else begin + last
        if last is not None:
            soon = last + 1 < stop and int(seen.time_ms[last + 1] - seen.time_ms[last]) <= LIMITS.stopped_ms
            found[day] = soon and strong_up_to(plant, seen, last, begin)
    return found


def _slowest(plant: Plant, seen: Columns, cuts: NDArray[np.int64]) -> list[float | None]:
    found: list[float | None] = [None] * (len(cuts) - 1)
    if plant.helical or not plant.has & {"motor_speed_rpm", "drive_frequency_hz"}:
        return found
    with np.errstate(invalid="ignore"):
        lifts = seen.settled & (seen.flow_m3_h > LIMITS.flows * plant.full_flow_m3_h) & (seen.speed_rpm > 0.0)
    rows = lifts.nonzero()[0]
    dt_h, speeds, at = seen.dt_h[rows], seen.speed_rpm[rows], np.searchsorted(rows, cuts).tolist()
    for day in range(len(found)):
        of_day = slice(at[day], at[day + 1])
        if dt_h[of_day].sum() < LIMITS.lifting_h:
            continue
        speed = np.sort(speeds[of_day])
        slowest = float(speed[int(LIMITS.slowest * len(speed))])
        if slowest <= LIMITS.spread * float(speed[int((1.0 - LIMITS.slowest) * (len(speed) - 1))]):
            found[day] = slowest
    return found


def strong_up_to(plant: Plant, seen: Columns, last: int, first: int = 0) -> bool:
    """With row `last` of a day that begins with row `first` its run ended, and not for want of sun: it took more than what starts it to the last."""
    strong_w = LIMITS.strong * plant.start_power_w
    if seen.power_w[last] > strong_w:
        return True
    return bool(seen.dt_h[last] <= LIMITS.fine_h and last > first and seen.power_w[last - 1] > strong_w)


def last_turned(seen: Columns | None) -> int | None:
    """The last row in which it turned, and not only tried to; None where it never did."""
    if seen is None:
        return None
    last = len(seen.turning) - 1 - int(seen.turning[::-1].argmax())
    if not seen.turning[last] or not np.isnan(seen.speed_rpm[last]):
        return last if seen.turning[last] else None
    turned = np.flatnonzero(seen.turning & ~tries_of(seen))
    return int(turned[-1]) if len(turned) else None


def tries_of(seen: Columns) -> NDArray[np.bool_]:
    """Where no speed is read: rows of runs that end before the pump could settle, or within minutes on less than lifts water, and bring nothing. bool[n]"""
    maybe = seen.turning & np.isnan(seen.speed_rpm) & (seen.moved_m3 == 0) & ~(seen.rows["flow_m3_h"] > 0)
    if not maybe.any():
        return maybe
    run = np.cumsum(np.diff(seen.turning, prepend=False))
    brief = np.bincount(run, seen.dt_h) <= LIMITS.brief_ms / HOUR_MS
    ran = np.bincount(run, seen.turning & ~maybe | seen.settled & ((seen.should_m3_h > 0) | ~brief[run]))
    return maybe & (ran[run] == 0)


def belied(seen: Columns, turns: NDArray[np.bool_], unknown: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows read as standing, from the one on in which the meter counted water, until it is seen to turn again: what reads a stop is wrong. bool[n]

    A row after one that turns, or of which nothing is known, still holds water of the run.
    """
    rests = ~seen.turning & ~unknown
    came = rests & (seen.moved_m3 > 0)
    came[1:] &= rests[:-1]
    if not came.any():
        return came
    places = np.arange(len(came))
    return np.maximum.accumulate(np.where(came, places, -1)) > np.maximum.accumulate(np.where(turns, places, -1))
