"""What this pump itself did minutes ago, in the same run: against it a load that lets go and water that stays away are told at once.

Flow: look.py (columns) -> HERE -> no_water.py, screen.py.
A table tells little near where lifting begins, and some tables tell no speed. What came at this speed, or at this power, minutes ago
must still come now, whatever the table says: heads do not change so fast. Sums are of whole numbers, over rows before the one judged.
Never: weighing; anything across a stop.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from analysis.look import Columns
from analysis.meter import NANO, register_step_m3
from analysis.plant import Plant
from analysis.rows import Floats, last_where, or_zero, places_up_to
from analysis.solar_days import MINUTE_MS

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class JustBeforeLimits:
    """Common practice, no source."""

    back_ms: int = 25 * MINUTE_MS  # a level and a sun still alike
    apart_ms: int = 3 * MINUTE_MS  # not of the very rows in which it may have begun
    rows: int = 3
    least_ms: int = 4 * MINUTE_MS
    steps: float = 3.0  # of the register meanwhile: its flow is known within a third
    as_strong: float = 0.97  # of the power then: a rotor lifts no less; an impeller that has lost it may turn the faster for it near where it lifts nothing
    slip: float = 0.4  # of its speed then, at which a rotor lifts nothing
    flat: float = 0.9  # flow over full flow, squared, to what the square of the speed is above lifting, at full speed a third above it
    spare: float = 1.1  # of the voltage at maximum power
    read: float = 0.01  # of the speed: how well it is read; clouds that came and went say nothing of a speed between
    heads: float = 0.04  # by which the lift may have grown since, and the reading of a speed err
    row_h: float = 0.09  # a reading of the speed says nothing of a longer row's flow
    steps_missed: float = 2.7  # as in no_water.py: less than a third of the flow, or none
    gone: float = 0.25  # of that flow over two rows
    steps_short: float = 1.5  # missed, where the load has changed too
    changed: float = (
        0.3  # log of a rotor's torque: more than noise, a drive's own losses at low speed, and drift of minutes
    )
    eased: float = 0.1  # likewise an impeller's, that turns no slower
    shut: float = (
        -0.7
    )  # likewise: an impeller that throws water and lifts none still takes half or more (common practice, no source)
    flows: float = 0.15  # of full flow: less is near where lifting begins, and comes or not by a hair


LIMITS = JustBeforeLimits()


@dataclass(frozen=True)
class JustBefore:
    """By row. gone: what came minutes ago does not come any more. changed: nor is the load what it was; False where nothing reads it.

    due_m3_h: of what came then, what must come now at the least, 0 = not known. log_load: log of the load over that then, NaN = not known.
    slowed: an impeller turns so much slower than then that by its flow then it need not lift at all, whatever the table says.
    """

    due_m3_h: Floats
    gone: Flags
    changed: Flags
    log_load: Floats
    slowed: Flags


def just_before(plant: Plant, seen: Columns, asked: Flags | None = None) -> JustBefore:
    """Each row against the minutes before, in the run that it belongs to. asked: rows about which to say anything; None = all."""
    count = len(seen)
    none = np.zeros(count, bool)
    if count < LIMITS.rows + 2 or not plant.has & {"volume_m3", "flow_m3_h"}:
        return JustBefore(np.zeros(count), none, none, np.full(count, np.nan), none)
    came = _came(seen)
    # of rows that have not settled nothing is said, and many of a season's are such
    told = seen.settled & np.isfinite(came)
    at = np.flatnonzero(told if asked is None else told & asked)
    new_day = _new_day(seen)
    sums = _Sums(*_window(seen, came, new_day, at), seen.settled)
    with np.errstate(divide="ignore", invalid="ignore"):
        seconds = sums.of(np.rint(seen.dt_h * 3600.0))
        step_m3 = register_step_m3(plant.facts)  # a flow that is read may be made of the same pulses
        water = sums.of(np.rint(or_zero(came) * NANO)) / NANO
        flow = np.maximum(water - step_m3, 0.0) * 3600.0 / seconds
        known = (sums.rows >= LIMITS.rows) & (1000.0 * seconds >= LIMITS.least_ms) & (water >= LIMITS.steps * step_m3)
        known &= flow > LIMITS.flows * plant.full_flow_m3_h
        share, log_load, light, slowed = _against(plant, seen, sums, flow, at)
        due = _put(at, np.where(known & np.isfinite(share), flow * share, 0.0), np.zeros(count))
        log_load = _put(at, np.where(known, log_load, np.nan), np.full(count, np.nan))
        slowed = _put(at, known & slowed, none.copy())
        known, light = _put(at, known, none.copy()), _put(at, light, none.copy())
        missed = _missed(seen, came, due, new_day)
        two = due * seen.dt_h
        two[1:] += two[:-1]
        got = or_zero(came)
        got[1:] += got[:-1]
        fine = (two > LIMITS.steps * step_m3) & (two > 0.0) & (got < LIMITS.gone * two)
        fine[1:] &= known[:-1]
        stays = ~(came > 0) & (missed > 0.0)
        late = stays & (missed >= LIMITS.steps_missed * step_m3)
        short = stays & light & (missed >= LIMITS.steps_short * step_m3)
    gone = (due > 0.0) & (fine | late | short) & (seen.dt_h <= LIMITS.row_h)
    if plant.has & {"motor_speed_rpm", "drive_frequency_hz"}:
        gone &= light  # water that goes takes the load along, or piles it up; else it is the meter, and nothing is in a hurry
    return JustBefore(due, gone, gone & light, log_load, slowed)


def gone_rows(plant: Plant, seen: Columns) -> Flags:
    """`gone` of `just_before`, for whole seasons: looked into only where water stays away, or little comes beside the best row of the day. bool[n]

    No window's mean flow is more than the day's best row's, and no more than that mean must come now.
    """
    if not len(seen) or not plant.has & {"volume_m3", "flow_m3_h"}:
        return np.zeros(len(seen), bool)
    came, starts = _came(seen), _new_day(seen).nonzero()[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        a_second = np.where(seen.settled & (came > 0), came / np.rint(seen.dt_h * 3600.0), 0.0)
        best = np.repeat(np.maximum.reduceat(a_second, starts), np.diff(starts, append=len(seen)))
        got, hours = or_zero(came), seen.dt_h.copy()
        got[1:] += got[:-1]
        hours[1:] += hours[:-1]
        asked = ~(came > 0) | (got < SURELY_MORE * LIMITS.gone * best * 3600.0 * hours)
    asked[:-1] |= asked[1:]  # two rows are judged together
    return just_before(plant, seen, asked).gone


SURELY_MORE = 1.01  # rounding adds nothing of the hundredth


def _new_day(seen: Columns) -> Flags:
    """The first row of each day."""
    found = np.ones(len(seen), bool)
    np.not_equal(seen.day[1:], seen.day[:-1], out=found[1:])
    return found


T = TypeVar("T", Floats, Flags)


def _put(at: Whole, found: T, among: T) -> T:
    """What was found at some rows, among the others'. Changes `among`."""
    among[at] = found
    return among


def _came(seen: Columns) -> Floats:
    """Water of the row itself. [m3]"""
    direct = seen.rows.values.get("flow_m3_h")
    return seen.moved_m3 if direct is None else np.where(np.isnan(direct), seen.moved_m3, direct * seen.dt_h)


def _window(seen: Columns, came: Floats, new_day: Flags, at: Whole) -> tuple[Whole, Whole]:
    """Of the rows `at`, the rows of the run from `back_ms` on to three minutes ago, and not after water last came.

    As places, first and behind the last: all of them settled, for a run begins behind the last row that was not.
    """
    run = last_where(~seen.settled | new_day).take(at) + 1
    last = last_where(came > 0).take(at)
    end = np.minimum(places_up_to(seen.time_ms, at, LIMITS.apart_ms), last + 1)
    # times are whole ms: one more than `back_ms` ago is what lies before the window
    first = places_up_to(seen.time_ms, np.maximum(end - 1, 0), LIMITS.back_ms + 1)
    start = np.minimum(np.maximum(first, run), at)
    return start, np.maximum(np.minimum(end, at), start)


class _Sums:
    """Sums over the rows from `start` to `stop`, of whole numbers. `settled` : the rows among which all those lie, of all rows"""

    def __init__(self, start: Whole, stop: Whole, settled: Flags) -> None:
        self.start, self.stop, self.settled = start, stop, settled
        self.rows = stop - start

    def of(self, values: Floats) -> Floats:
        total = np.zeros(len(values) + 1, np.int64)
        np.cumsum(values.astype(np.int64), out=total[1:])
        return (total.take(self.stop) - total.take(self.start)).astype(float)

    def mean(self, values: Floats, grain: float) -> Floats:
        """NaN where some row has none."""
        known = np.isfinite(values)
        whole = self.of(np.where(known, np.rint(values / grain), 0.0))
        mean = whole * grain / self.rows
        if (known | ~self.settled).all():
            return mean
        return np.where(self.of(known.astype(float)) == self.rows, mean, np.nan)


def _against(plant: Plant, seen: Columns, sums: _Sums, flow: Floats, at: Whole) -> tuple[Floats, Floats, Flags, Flags]:
    """Of the rows `at`: share of the flow then that must come now (NaN = nobody knows), log of the load over that then, whether it clearly
    changed, and `slowed`."""
    never = np.zeros(len(at), bool)
    power_then = sums.mean(seen.power_w, 0.01)
    strong = seen.power_w[at] >= LIMITS.as_strong * power_then
    if plant.has & {"motor_speed_rpm", "drive_frequency_hz"}:
        speed = np.where(seen.speed_rpm > 0, seen.speed_rpm, np.nan)
        load, speed_then = seen.power_w / speed, sums.mean(speed, 0.01)
        faster = speed[at] / speed_then
        torque = np.log(load[at] / sums.mean(load, 1e-6))
        if plant.helical:
            share = np.clip((faster - LIMITS.slip) / (1.0 - LIMITS.slip), 0.0, 1.0)
            return np.where(strong, 1.0, share), torque, np.abs(torque) > LIMITS.changed, never
        load = torque - 2.0 * np.log(faster)
        unsteady = np.sqrt(np.maximum(sums.mean(speed**2, 1.0) / speed_then**2 - 1.0, 0.0))
        fast = (faster > 1.0 + unsteady - LIMITS.read) & (strong | _sun_kept(seen, sums, at))
        share = _of_impeller(plant, flow, faster)
        return np.where(fast, share, np.nan), load, load < -LIMITS.eased, (share <= 0.0) & (load > LIMITS.shut)
    return np.where(strong & plant.helical, 1.0, np.nan), np.full(len(at), np.nan), never, never


def _sun_kept(seen: Columns, sums: _Sums, at: Whole) -> Flags:
    """The sun gives no less than then, by its sensor; or the array had more to give then and has now: what the motor takes less is its load's."""
    offer, ratio = seen.expected.mpp_power_w, seen.rows["pv_voltage_v"] / seen.expected.mpp_voltage_v
    measured = seen.expected.poa_measured[at] & (offer[at] >= LIMITS.as_strong * sums.mean(offer, 0.01))
    return measured | ((ratio[at] > LIMITS.spare) & (sums.mean(ratio, 1e-5) > LIMITS.spare))


def _of_impeller(plant: Plant, flow: Floats, faster: Floats) -> Floats:
    """Share of its flow that must still come at so many times the speed: the head of a flat curve at full flow, and all of it lift.

    Then flow goes with the root of what the square of the speed is above that at which lifting begins, so that near it a per cent
    of speed takes all.
    """
    then = 1.0 + (LIMITS.flat * flow / plant.full_flow_m3_h) ** 2
    left = then * faster**2 * (1.0 - LIMITS.heads) - 1.0
    return np.sqrt(np.clip(left, 0.0, None) / (then - 1.0)).clip(0.0, 1.0)


def _missed(seen: Columns, came: Floats, due: Floats, new_day: Flags) -> Floats:
    """Of what was due, what has not come since the register last moved. [m3]"""
    total = np.cumsum(np.rint(due * seen.dt_h * NANO).astype(np.int64))
    return (total - total.take(last_where((came > 0) | new_day | ~seen.settled))) / NANO
