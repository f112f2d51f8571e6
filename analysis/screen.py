"""Which days of a block can hold nothing for a watcher: what each must see at least, asked of all days in one go.

Flow: look.py (columns of whole days) -> HERE -> watchers.py, which looks in full at the days that are left.
A screen may let a quiet day through and never holds back another, so that what is found is the same with it and without. Which quiet days
it lets through depends on the block: what is learnt of a day is learnt at its close (close.py), whoever looked.
Never: judgement; a watcher that has no screen is always asked.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis import lonely_jumps, unread_trips, values_lost
from analysis.by_night import may_stand
from analysis.causes import controller_trip, over_voltage, sensor_fault, short_cycling, silent, string_out
from analysis.estimates.vector import PLACE
from analysis.gives_up import LIMITS as GIVES_UP
from analysis.gives_up import gives_up
from analysis.just_before import gone_rows
from analysis.loads import FACTOR_LOGS, load_logs
from analysis.lonely_jumps import may_jump
from analysis.look import Columns
from analysis.memory import Memory
from analysis.meter import NANO, register_step_m3
from analysis.no_water import LIMITS, owed, pressed
from analysis.not_turning import LIMITS as STILL
from analysis.not_turning import locked_rows, sun_certain
from analysis.plant import Plant
from analysis.protected import at_intake, cut_short
from analysis.rows import Floats, Times, or_zero
from analysis.running import LIMITS as RUNNING
from analysis.said_falsely import may_be_denied
from analysis.solar_days import HOUR_MS
from logger.record.site_facts import SiteFacts

Days = NDArray[np.bool_]

MOVED = 0.1  # log by which the baseline may move within the block while its screen holds
ARRAY_MOVED = 0.03  # likewise the array's: a module's loss is a small log, and a wide screen would hold every day back
HELD = np.array([PLACE["t1"], PLACE["i1"]])
ROUNDING = 1e-6  # h
PICKS = 5
ASK_THE_MEMORY = ("no-water", "string-out", "silent")
"""Watchers whose quiet days hang on what was learnt or heard before, too."""


@dataclass(frozen=True)
class Screen:
    """By watcher, bool[days]: may find something. `base`: the baseline's logs of load for which `no-water` holds; `array`: of the array, for `string-out`.

    `before`: a memory whose baseline and array lie near enough to these.
    """

    days: range
    may: dict[str, Days]
    base: np.ndarray
    facts: SiteFacts
    array: string_out.Known
    before: Memory

    def heard(self, plant: Plant, heard_ms: Times) -> "Screen":
        """The same daylight, after more readings of the night."""
        return replace(self, may={**self.may, "silent": _may_be_silent(plant, heard_ms, self.days)})

    def asked(self, names: Iterable[str], day: int, memory: Memory) -> list[str]:
        """The watchers among `names` that must look at the day, with this memory of yesterday's close."""
        place = day - self.days.start
        return [
            name
            for name in names
            if (flags := self.may.get(name)) is None
            or flags[place]
            or (name in ASK_THE_MEMORY and self._by_memory(name, memory))
        ]

    def _by_memory(self, name: str, memory: Memory) -> bool:
        """Whether what the memory holds by now makes a watcher look that the block's rows alone would not."""
        if name == "silent":
            return silent.silence_lasts(memory)
        return self._array_moved(memory) if name == "string-out" else self._base_moved(memory)

    def _base_moved(self, memory: Memory) -> bool:
        if memory is self.before or memory.arrays.get("mean") is self.before.arrays.get("mean"):
            return False
        return bool((np.abs(_load(memory) - self.base) > MOVED).any())

    def _array_moved(self, memory: Memory) -> bool:
        if memory is self.before or string_out.same_known(self.facts, memory, self.before):
            return False
        return _array_of(self.facts, memory).moved_from(self.array) > ARRAY_MOVED

    def renewed(self, plant: Plant, memory: Memory, seen: Columns) -> "Screen":
        """For the days after this memory's close: asked anew of what was learnt, where that has moved too far for the answers to hold.

        Else every day that is left of the block would have to be looked at in full.
        """
        may, base, array = self.may, self.base, self.array
        if self._base_moved(memory):
            base = _load(memory)
            may = {**may, "no-water": _may_lack(plant, seen, base, self.days)}
        if self._array_moved(memory):
            array = _array_of(self.facts, memory)
            may = {**may, "string-out": _may_lose_a_string(plant, array, seen, self.days)}
        return Screen(self.days, may, base, self.facts, array, memory)


def screen(plant: Plant, memory: Memory, seen: Columns, heard_ms: Times, days: range) -> Screen:
    """Ask all days of the block. `seen`: their daylight rows; `heard_ms`: all their readings, rising; `memory`: before the first."""
    base, array = _load(memory), _array_of(plant.facts, memory)
    may = {
        "no-water": _may_lack(plant, seen, base, days),
        "not-turning": _may_stand(plant, seen, days),
        "sensor-fault": _may_be_stuck(plant, seen, days)
        | _may_be_dead(plant, seen, days)
        | _may_lose_values(plant, seen, days)
        | _may_be_denied(plant, seen, days)
        | _days(seen, may_stand(plant, seen), days)
        | _days(seen, may_jump(plant, seen), days, lonely_jumps.LIMITS.least_rows)
        | _days(
            seen,
            (seen.rows["low_level_probe_wet"] < 0.5) | sensor_fault.drowned_rows(plant.facts, seen),
            days,
        ),
        "short-cycling": _may_cycle(seen, days),
        "string-out": _may_lose_a_string(plant, array, seen, days),
        "silent": _may_be_silent(plant, heard_ms, days),
    }
    told = gone_rows(plant, seen) | pressed(plant, seen) | (seen.settled & at_intake(plant, seen))
    may["no-water"] = may["no-water"] | _days(seen, told, days)
    code = or_zero(seen.rows["fault_code"]) > 0
    coded = "fault_code" in plant.has
    may["controller-trip"] = (
        _days(seen, code, days, controller_trip.LIMITS.trips)
        if coded
        else _may_cycle(seen, days, unread_trips.LIMITS.stops)
    )
    rating = plant.facts.controller.max_input_voltage_v
    with np.errstate(invalid="ignore"):
        high = seen.rows["pv_voltage_v"] > rating * (1 + over_voltage.LIMITS.above)
    may["over-voltage"] = _days(seen, high | code, days, over_voltage.LIMITS.rows)
    return Screen(days, may, base, plant.facts, array, memory)


def _array_of(facts: SiteFacts, memory: Memory) -> string_out.Known:
    """What a close left of the array: a site is asked each minute until the next."""
    if "recent" not in memory.arrays:
        return string_out.known_of(facts, memory)
    told = string_out.told_open(memory)
    return memory.worked_out("recent", f"array {told}", lambda: string_out.known_of(facts, memory))


def _load(memory: Memory) -> np.ndarray:
    mean = memory.arrays.get("mean")
    return np.zeros(len(HELD)) if mean is None else mean[HELD]


def _days(seen: Columns, rows: NDArray[np.bool_], days: range, least: int = 1) -> Days:
    """Days with at least so many of the rows."""
    if len(days) == 1:
        return np.array([np.count_nonzero(rows) >= least])
    return np.bincount(seen.day[np.flatnonzero(rows)] - days.start, minlength=len(days)) >= least


def _hours(seen: Columns, rows: NDArray[np.bool_], days: range) -> Floats:
    """Hours that the rows stand for, by day."""
    picked = np.flatnonzero(rows)
    return np.asarray(np.bincount(seen.day[picked] - days.start, seen.dt_h[picked], len(days)), np.float64)


def _may_lack(plant: Plant, seen: Columns, base: np.ndarray, days: range) -> Days:
    may = _days(seen, _may_lack_water(plant, seen, base), days)
    if (seen.rows["fault_code"] > 0).any():
        may |= _days(seen, cut_short(seen), days)
    return may


def _may_lack_water(plant: Plant, seen: Columns, base: np.ndarray) -> NDArray[np.bool_]:
    """Rows that some baseline near `base` could call bad: water expected and little or none seen to flow nor merely waited for."""
    most = np.exp(FACTOR_LOGS[1])
    full, step = plant.full_flow_m3_h, register_step_m3(plant.facts)
    with np.errstate(invalid="ignore", divide="ignore"):
        least = min(LIMITS.least_flow_share, LIMITS.least_load_known)
        unloaded = seen.unloaded
        shares = np.where(unloaded, min(least, LIMITS.least_unloaded), least)
        able = seen.settled & (seen.should_m3_h * most > shares * full)
        own = (
            np.zeros(len(seen), bool) if plant.helical else seen.speed_rpm > 0.0
        )  # which it always lifted at, none knows here
        able &= own | (seen.surely_m3_h > np.where(unloaded, 0.0, LIMITS.surely_share * full))
        waits = owed(plant, seen)
        able |= waits
        now, coarse = seen.flow_now_m3_h, np.isnan(seen.flow_now_m3_h)
        able &= (now < LIMITS.gasp_share * most * seen.should_m3_h) | coarse
        if not able.any():
            return able
        none = np.where(coarse, ~(seen.moved_m3 > 0), now < LIMITS.gone_share * most * seen.should_m3_h)
        late = waits | (seen.since_n * most >= LIMITS.steps * step * NANO)
        torque, current = load_logs(seen, float(base[0]), float(base[1]))
        odd = (torque < LIMITS.light + MOVED) | (current < LIMITS.light_current + MOVED) | unloaded
        odd |= none & ((torque > LIMITS.heavy - MOVED) | (current > LIMITS.heavy_current - MOVED))
        return able & (odd | none & (late | ~coarse))


def _may_stand(plant: Plant, seen: Columns, days: range) -> Days:
    """Days on which it stood under sun for as long as any limit asks, or that end with a stop that no evening made."""
    stands = seen.asked & (~seen.turning | np.isnan(seen.speed_rpm) & ~seen.settled) & sun_certain(plant, seen)
    locked = locked_rows(plant, seen)
    hours = _hours(seen, stands | locked, days)
    waits = (STILL.measured_ms, STILL.driven_ms, STILL.morning_ms, STILL.unmeasured_ms)
    tried = _days(seen, locked, days, STILL.tries)
    gave = gives_up(plant, seen)
    tried |= _days(seen, gave.over, days, GIVES_UP.tries) | _days(seen, gave.shut, days, GIVES_UP.pressed)
    return (hours >= min(waits) / HOUR_MS - ROUNDING) | tried | _may_halt(plant, seen, days)


def _may_halt(plant: Plant, seen: Columns, days: range) -> Days:
    """Days whose last running row, or the one before it, took more power than a pump that the evening stops."""
    turned = np.flatnonzero(seen.turning)
    found = np.zeros(len(days), bool)
    if len(turned):
        last = turned[np.flatnonzero(np.append(np.diff(seen.day[turned]) > 0, True))]
        took = np.fmax(seen.power_w[last], seen.power_w[np.maximum(last - 1, 0)])
        found[seen.day[last] - days.start] = took > RUNNING.strong * plant.start_power_w
    return found


def _may_be_stuck(plant: Plant, seen: Columns, days: range) -> Days:
    """Days with a run of equal values as long as the fewest rows that make `stuck_h`: five picks within it are equal."""
    found = np.zeros(len(days), bool)
    if not len(seen):
        return found
    fewest = int(sensor_fault.LIMITS.stuck_h / max(float(seen.dt_h.max()), ROUNDING))
    apart = fewest // PICKS
    if not apart:
        return np.ones(len(days), bool)
    alive = {needs: np.flatnonzero(rows) for needs, rows in sensor_fault.alive_rows(plant, seen).items()}
    spread = {needs: rows[::apart] for needs, rows in alive.items()}
    for channel, needs in sensor_fault.ALIVE.items():
        column = seen.rows.values.get(channel)
        if column is None:
            continue
        places = spread[needs]
        if np.isnan(np.add.reduce(column)):
            rows = alive[needs]
            places = rows[~np.isnan(column[rows])][::apart]
        picked = column[places]
        if len(picked) < PICKS:
            continue
        two = picked[1:] == picked[:-1]
        three = two[1:] & two[:-1]
        first = np.flatnonzero(three[2:] & three[:-2])
        if len(first):
            for pick in (first, first + PICKS - 1):  # across a close, either day
                found[seen.day[places[pick]] - days.start] = True
    return found


def _may_be_dead(plant: Plant, seen: Columns, days: range) -> Days:
    """Days on which a fitted channel gave no value for as long as that takes."""
    found = np.zeros(len(days), bool)
    least = min(sensor_fault.LIMITS.dead_h, sensor_fault.LIMITS.dead_light_h) - ROUNDING
    for channel in sensor_fault.SPOKEN:
        if channel in plant.has and np.isnan(seen.rows[channel].sum()):
            found |= _hours(seen, sensor_fault.dead_rows(seen, channel), days) >= least
    return found


def _may_lose_values(plant: Plant, seen: Columns, days: range) -> Days:
    """Days on which a fitted channel had no value, for as long as that takes, in rows in which its fellows had one."""
    found = np.zeros(len(days), bool)
    least = min(values_lost.LIMITS.least_h, values_lost.LIMITS.never_h) - ROUNDING
    for channel in values_lost.judged(plant.facts):
        if np.isnan(seen.rows[channel].sum()):
            found |= _hours(seen, values_lost.lost_rows(plant.facts, seen, channel)[1], days) >= least
    return found


def _may_be_denied(plant: Plant, seen: Columns, days: range) -> Days:
    """Days with rows in which a word may be denied, for as long as that takes."""
    found = np.zeros(len(days), bool)
    for rows, least_h in may_be_denied(plant, seen):
        hours = _hours(seen, rows, days)
        found |= (hours > 0.0) & (hours >= least_h - ROUNDING)
    return found


def _may_cycle(seen: Columns, days: range, least: int = short_cycling.LIMITS.starts) -> Days:
    starts = np.zeros(len(seen), bool)
    rests = ~seen.turning | short_cycling.paused_rows(seen)
    starts[1:] = ~rests[1:] & rests[:-1]
    return _days(seen, starts, days, least)


def _may_lose_a_string(plant: Plant, known: string_out.Known, seen: Columns, days: range) -> Days:
    if np.isnan(known.volts):
        return np.zeros(len(days), bool)
    low = string_out.low_rows(seen, plant.facts, known, ARRAY_MOVED)
    return _hours(seen, low, days) >= string_out.least_h() - ROUNDING


def _may_be_silent(plant: Plant, heard_ms: Times, days: range) -> Days:
    """Days whose readings, and the ends of whose daylight, lie as far apart as silence asks."""
    wait = round(silent.LIMITS.after_h * HOUR_MS)
    if len(heard_ms) < 2 or int(np.diff(heard_ms).max()) >= wait:
        return np.ones(len(days), bool)
    light = np.array([plant.days.daylight_ms(day, round(silent.LIMITS.sun_up_h * HOUR_MS)) for day in days])
    late = round(silent.LIMITS.morning_h * HOUR_MS)  # of a gap that may have begun the day before
    return (heard_ms[0] - light[:, 0] >= late) | (light[:, 1] - heard_ms[-1] >= wait)
