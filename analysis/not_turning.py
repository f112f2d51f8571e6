"""The symptom `not-turning`: sun enough, nothing told it to stand, and the pump does not run.

Flow: symptoms.DayView -> HERE -> watchers.py; the causes that compete for it give `levels`.
Never: weighing.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.estimates.at_rest import in_the_dark
from analysis.gives_up import GivenUp, enough_given_up, gives_up, shut_share
from analysis.late_starts import LIMITS as LATE
from analysis.late_starts import SPRANG, again, since, sprang
from analysis.look import IDLE_SHARE, IDLE_W, Columns, over_open_m
from analysis.meter import register_step_m3
from analysis.plant import Plant, plant_of
from analysis.running import LIMITS as RUNNING
from analysis.running import belied, strong_up_to, tries_of
from analysis.solar_days import DAY_MS, HOUR_MS, MINUTE_MS, up_to_minute
from analysis.stood import HALTED, STARTS_W, array_lost, days_idle, turned_off
from analysis.symptoms import DayView, Episode
from analysis.tried_light import tried_light
from analysis.water_told import told_rows


@dataclass(frozen=True)
class NotTurningLimits:
    """Common practice, no source."""

    measured_ms: int = 40 * MINUTE_MS  # sun measured: longer than any restart delay of a float or a low level
    morning_ms: int = (
        2 * HOUR_MS
    )  # and it did not run yet today: by then the sun has doubled or left a shade, so that a part of the array starts it
    locked: float = 1.2  # times the rated current without any speed: a rotor that stands takes several times that, where the controller lets it
    tries: int = 3  # of them without a turn in between
    driven_ms: int = 10 * MINUTE_MS  # fed and not turning harms a motor
    driven_rows: int = 2  # a row in which it starts holds both
    tried_steps: float = 3.0  # of the meter, that such short runs should have brought and did not
    unmeasured_ms: int = 3 * HOUR_MS  # a clear sky is only supposed: cloud may keep a pump still for hours
    morning_share: float = 2.0  # times the power that starts it
    least_ample: float = 1.3  # likewise, where the array can hardly give that: at least so much, and
    noon: float = 0.55  # of the array's rating: two or three hours about noon
    bright_share: float = (
        0.36  # of the array's rating, as at 400 W/m2: up to there controllers differ in what they start at
    )
    half_full: float = 0.55  # of full power: a pump that starts late still starts
    own_room: float = 1.1  # over the offer at which this pump was seen to start
    hold_room: float = 1.1  # a timer's own tolerance, likewise
    lit: float = 0.25  # of the way from the voltage at maximum power to that of the open array: less is dusk, whatever a sensor says
    never_dusk: float = 0.7  # of the open array's voltage, where a sensor says that it is light: less is modules lost (too_few_volts.py)
    cut: float = 0.3  # of the voltage at maximum power: the array is cut off, which says nothing of the light
    spare: float = 1.1  # times the voltage at maximum power, while it is fed: the array has more to give
    fed_share: float = 0.05  # of full power
    pressed_ms: int = 10 * MINUTE_MS  # pressure that stays locked in is no surge of a stop
    alike_tries: int = 5  # as many taking the same: under cloud each takes what the array has at that moment
    flows: float = 0.5  # of the expected flow: no pipe is shut through which it comes
    spun_rpm: float = 10.0  # a rotor that stands reads none; one that presses a pipe full has turned, if for seconds
    vain_ms: int = (
        HOUR_MS  # of such tries: clouds with sharp edges, and a loose contact, stop a pump before it could settle
    )


LIMITS = NotTurningLimits()


def not_turning(view: DayView) -> list[Episode]:
    """Stretches in which it should have run and did not."""
    seen = view.columns
    if seen is None or _without_water(view):
        return []
    plant = plant_of(view.facts)
    unknown = seen.unread
    gave = gives_up(plant, seen)
    turns = seen.turning & ~tries_of(seen) & ~gave.tries | unknown & (seen.moved_m3 > 0) | _lifted(plant, seen)
    with np.errstate(invalid="ignore"):
        guarded = seen.rows["pv_voltage_v"] > view.facts.controller.max_input_voltage_v  # `over-voltage` tells of that
    if any(case.cause == "over-voltage" and case.ended_ms is None for case in view.memory.cases):
        guarded |= seen.rows["fault_code"] > 0  # nor of its code, which stands while the voltage is hardly below
    guarded |= in_the_dark(plant, seen)
    locked = locked_rows(plant, seen)
    own_w = view.memory.numbers.get(STARTS_W, 0.0)
    bright = sun_certain(plant, seen, own_w, 1.0 - array_lost(view))
    stands = seen.asked & ~turns & ~guarded & bright & ~belied(seen, turns, unknown)
    stands &= ~_dusk(plant, seen) & ~_waits(view, seen)
    stands = (locked | stands | (gave.stands & ~turns & ~guarded)) & (seen.dt_h > 0)
    told = np.flatnonzero(stands | (turns & (seen.dt_h > 0)))
    if not stands.any():
        return []
    tries = _begins(locked), _begins(_in_vain(plant, seen) & stands)
    state, fed = stands[told], fed_rows(plant, seen)
    breaks = np.flatnonzero(np.concatenate([[True], state[1:] != state[:-1]]))
    ends = np.append(breaks[1:], len(told))
    found = []
    for start, stop in zip(breaks, ends, strict=True):
        if state[start]:
            rows = told[start:stop]
            if turned_off(view, ran_today=bool(turns[: rows[0]].any())):
                tried = np.flatnonzero(fed[rows])
                if not len(tried):
                    continue
                rows = rows[int(tried[0]) :]  # what stood before was by hand: a later try tells nothing of it
            coded = _stopped_with_a_code(plant, seen, turns, rows)
            of_day = _of_day(view, seen, turns, rows, coded)
            episode = _episode(plant, seen, turns, rows, tries, coded, gave, of_day)
            if episode is not None:
                found += [episode, *_once_it_started(view, seen, turns, rows, episode)]
    return found


def _once_it_started(
    view: DayView, seen: Columns, turns: np.ndarray, rows: np.ndarray, episode: Episode
) -> list[Episode]:
    """The same stretch judged once more, where its end tells what the light had been."""
    by, share = sprang(plant_of(view.facts), seen, turns, rows, 1.0 - array_lost(view))
    if by < 0:
        return []
    told = episode.whole | {SPRANG: share} | again(view)
    flag_ms = up_to_minute(int(seen.time_ms[by]))
    if share > LATE.strong:
        episode = replace(episode, began_ms=since(view, episode.began_ms))
    return [replace(episode, flag_ms=flag_ms, at_flag=told, whole=told, judged_again=True)]


def _lifted(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows in which it was fed and water came, whatever speed their mean holds: short runs in dim light lift too. bool[n]

    Or at rest right after such a row: the meter is read a moment later than the current, and a short run's water is its step.
    """
    came = (seen.moved_m3 > 0) | (seen.rows["flow_m3_h"] > 0)
    fed = seen.driven | fed_rows(plant, seen) if came.any() else came
    return came & (fed | np.append(False, fed[:-1]))


def _without_water(view: DayView) -> bool:
    """It ran without water a day or two ago and has not since been seen to lift: that it now stalls, or is stopped, is the same fault."""
    return any(
        c.family == "no-water"
        and c.ended_ms is None
        and c.cause in LIFTS_NOTHING
        and view.days.open_ms(view.day) - c.seen_ms < 2 * DAY_MS  # all day: or a flag would come hours after its time
        for c in view.memory.cases
    )


LIFTS_NOTHING = ("dry-running", "closed-delivery", "reverse-rotation", "broken-shaft")


def _dusk(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows at rest whose open array stands hardly above its voltage at maximum power: its light is a few per cent, whatever the sensor or the clear sky say. bool[n]"""
    module = plant.facts.array.module
    least = 1.0 + LIMITS.lit * (module.v_oc_v / module.v_mp_v - 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        volts = seen.rows["pv_voltage_v"] / seen.expected.mpp_voltage_v
        lost = seen.expected.poa_measured & (volts < LIMITS.never_dusk * module.v_oc_v / module.v_mp_v)
        return ~seen.driven & (volts < least) & (volts > LIMITS.cut) & ~lost


def _waits(view: DayView, seen: Columns) -> np.ndarray:
    """Rows at rest after a stop with a code, for as long as the hold of a low level lasts, or while trips are known: that is told elsewhere. bool[n]

    The level is back at the probe within minutes, often before a reading comes.
    """
    if "fault_code" not in seen.rows.values or not len(seen.turning):
        return np.zeros(len(seen.turning), bool)
    coded = ~seen.turning & (seen.rows["fault_code"] > 0)
    if any(case.cause == "controller-trip" and case.ended_ms is None for case in view.memory.cases):
        return coded
    if view.facts.well.probe_depth_m is None:
        return np.zeros(len(seen.turning), bool)
    last = np.maximum.accumulate(np.where(seen.turning, np.arange(len(seen.turning)), -1))
    controller = view.facts.controller
    hold_ms = LIMITS.hold_room * controller.low_level_hold_min * MINUTE_MS + controller.start_delay_s * 1000
    after = np.minimum(last + 1, len(seen.turning) - 1)
    row_ms = np.rint(seen.dt_h[after] * HOUR_MS)
    return coded & (last >= 0) & coded[after] & (seen.time_ms - seen.time_ms[np.maximum(last, 0)] <= hold_ms + row_ms)


def sun_certain(plant: Plant, seen: Columns, own_w: float = 0.0, left: float = 1.0) -> np.ndarray:
    """The array could surely start the pump: by its sensor, or by a clear sky; with room to spare where there is room.

    own_w
        What the measured sun offered, of the array at work, when this pump last started, 0 = not known. [W]
    left
        Share of the array that is at work.
    """
    ample = LIMITS.morning_share * plant.start_power_w
    ample = min(ample, max(LIMITS.least_ample * plant.start_power_w, LIMITS.noon * plant.array_stc_w))
    usual = min(ample, LIMITS.half_full * plant.full_power_w)
    with np.errstate(invalid="ignore"):
        whole, offered = seen.expected.mpp_power_w, left * seen.expected.mpp_power_w
        bright = whole > LIMITS.bright_share * plant.array_stc_w
        measured = (whole > usual) & (offered > LIMITS.own_room * own_w) if own_w else offered > usual
        return seen.sun_enough & bright & np.where(seen.expected.poa_measured, measured, offered > ample)


def locked_rows(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows in which the motor is fed near its locked rotor's current and does not turn: whatever the sun, there was enough to feed it. bool[n]"""
    rated = plant.facts.motor.rated_current_a
    with np.errstate(invalid="ignore"):
        return (
            ~seen.turning
            & ~np.isnan(seen.speed_rpm)
            & (seen.rows["motor_current_a"] > LIMITS.locked * (rated or np.inf))
        )


def _of_day(view: DayView, seen: Columns, turns: np.ndarray, rows: np.ndarray, coded: np.ndarray) -> dict[str, float]:
    """How it came to stand. `onset`: 1 where it did not start, 0 where it was stopped while it ran. `stood`: log of 1 and the nights since. `today`: 1 where it ran on this day before."""
    last = np.flatnonzero(turns[: rows[0]])
    if len(last):  # a run that the light did not end was stopped, though it stood before there was light enough to tell
        strong = strong_up_to(plant_of(view.facts), seen, int(last[-1]))
        return {"onset": float(not (coded[0] or strong or _ran_into(seen, turns, rows))), "stood": 0.0, "today": 1.0}
    halt = view.memory.numbers.get(HALTED) == view.day - 1
    return {"onset": float(not halt), "stood": float(np.log1p(days_idle(view) + halt)), "today": 0.0}


def _ran_into(seen: Columns, turns: np.ndarray, rows: np.ndarray) -> bool:
    """It turned up to the very row before: it did not fail to start, it was stopped."""
    last = np.flatnonzero(turns[: rows[0]])
    return bool(len(last)) and int(seen.time_ms[rows[0]] - seen.time_ms[last[-1]]) <= RUNNING.stopped_ms


def _episode(
    plant: Plant,
    seen: Columns,
    turns: np.ndarray,
    rows: np.ndarray,
    tries: tuple[np.ndarray, np.ndarray],
    coded: np.ndarray,
    gave: GivenUp,
    of_day: dict[str, float],
) -> Episode | None:
    dt_ms = np.rint(seen.dt_h[rows] * HOUR_MS).astype(np.int64)
    fed = fed_rows(plant, seen)[rows]
    weighty = fed & (weighty_rows(plant, seen) | locked_rows(plant, seen))[rows]
    driven = np.cumsum(np.where(weighty, dt_ms, 0))
    ran = turns[: rows[0]].any()
    sure = np.logical_and.accumulate(seen.expected.poa_measured[rows] | coded)
    lasted = seen.time_ms[rows] - _stop_ms(seen, turns, rows) if coded[0] else np.cumsum(dt_ms)
    wait = np.where(sure, LIMITS.measured_ms if ran else _morning_ms(plant, seen, rows), LIMITS.unmeasured_ms)
    if ran and "tank_float_up" not in plant.has:
        wait = np.where(coded, wait, NEVER_MS)
    by_feed = (driven >= LIMITS.driven_ms) & (np.cumsum(weighty) >= LIMITS.driven_rows)
    if seen.turning[rows].any():  # nothing but the meter says that these runs were none
        step = register_step_m3(plant.facts)
        missed = np.cumsum(np.where(seen.turning[rows], plant.full_flow_m3_h * seen.dt_h[rows], 0.0))
        by_feed &= missed >= LIMITS.tried_steps * step
    shown, vain = (np.cumsum(begins[rows]) >= LIMITS.tries for begins in tries)
    held = plant.helical & (np.cumsum(np.where(pressed_rows(plant, seen)[rows], dt_ms, 0)) >= LIMITS.pressed_ms)
    shown |= held | (vain & (lasted >= LIMITS.vain_ms)) | enough_given_up(gave, rows)
    known = ~(gave.tries & seen.turning)[rows]  # the row after tells that it was no run
    enough = np.flatnonzero(((lasted >= wait) | by_feed | shown) & known)
    if not len(enough):
        return None
    flag = int(enough[0])
    should = np.nan_to_num(seen.expected.flow_of_sun_m3_h[rows]) * seen.dt_h[rows]
    return Episode(
        "not-turning",
        began_ms=_stop_ms(seen, turns, rows) if coded[0] else int(seen.time_ms[rows[0]] - dt_ms[0]),
        flag_ms=up_to_minute(int(seen.time_ms[rows[flag]])),
        seen_ms=int(seen.time_ms[rows[-1]]),
        hours=_hours(plant, seen, turns, rows),
        at_flag=_levels(plant, seen, rows[: flag + 1], gave) | of_day,
        whole=_levels(plant, seen, rows, gave) | of_day,
        lost_m3=float(should.sum()),
    )


NEVER_MS = 2**62


def _morning_ms(plant: Plant, seen: Columns, rows: np.ndarray) -> np.ndarray:
    """How long it may stand before its first start. float[len(rows)]

    Less up to where a code has stood all the while: no shade makes a controller say that it cannot, but the hold after a low level may.
    """
    hold_ms = max(LIMITS.measured_ms, LIMITS.hold_room * plant.facts.controller.low_level_hold_min * MINUTE_MS)
    coded = np.logical_and.accumulate(seen.rows["fault_code"][rows] > 0)
    return np.where(coded, hold_ms, LIMITS.morning_ms)


def _stop_ms(seen: Columns, turns: np.ndarray, rows: np.ndarray) -> int:
    """When the last run before the rows was seen to end."""
    return int(seen.time_ms[np.flatnonzero(turns[: rows[0]])[-1]])


def _stopped_with_a_code(plant: Plant, seen: Columns, turns: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Of the rows, those up to which a code has stood ever since it stopped out of a strong run. bool[len(rows)]

    Light in hand where no sensor reads the sun: it ran on it to the last, the open array's voltage says that it is still light
    (`_dusk`), and clouds raise no code. One that came and went that day is a trip's, and goes again.
    """
    last = np.flatnonzero(turns[: rows[0]])
    if "fault_code" not in seen.rows.values or not len(last) or not _ran_into(seen, turns, last[-1:] + 1):
        return np.zeros(len(rows), bool)
    if not strong_up_to(plant, seen, int(last[-1])) or (seen.rows["fault_code"][: last[-1]] > 0).any():
        return np.zeros(len(rows), bool)
    stands = np.logical_and.accumulate(seen.rows["fault_code"][last[-1] + 1 : rows[-1] + 1] > 0)
    return np.asarray(stands[rows - last[-1] - 1])


def _begins(flags: np.ndarray) -> np.ndarray:
    """The first row of each stretch. bool[n]"""
    return flags & ~np.concatenate([[False], flags[:-1]])


def _in_vain(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows in which the motor is fed while the array has more to give: if it gives up, no cloud made it. bool[n]"""
    with np.errstate(divide="ignore", invalid="ignore"):
        fed = fed_rows(plant, seen) & (seen.power_w > LIMITS.fed_share * plant.full_power_w)
        spare = seen.rows["pv_voltage_v"] > LIMITS.spare * seen.expected.mpp_voltage_v
    return fed & spare & (seen.held | seen.expected.poa_measured | ~seen.turning)


def fed_rows(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows in which the motor is fed: a controller says at the row's end whether it drives, and the row's mean holds a try that was over by then. bool[n]

    A row after one that turned holds the end of that run.
    """
    with np.errstate(invalid="ignore"):
        took = seen.driven | (seen.power_w > max(IDLE_W, IDLE_SHARE * plant.full_power_w))
    took[1:] &= ~seen.turning[:-1]
    return np.asarray(took)


def weighty_rows(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows whose mean power is more than a controller takes for itself, or for one try within minutes of dim light; true where none is read. bool[n]"""
    with np.errstate(invalid="ignore"):
        return ~(seen.power_w <= LIMITS.fed_share * plant.full_power_w)


def _hours(plant: Plant, seen: Columns, turns: np.ndarray, rows: np.ndarray) -> float:
    """Hours from the run before to the run after in which the sun would have started it and nothing told it to stand."""
    before, after = np.flatnonzero(turns[: rows[0]]), np.flatnonzero(turns[rows[-1] :])
    part = slice(int(before[-1]) + 1 if len(before) else 0, int(rows[-1] + after[0]) if len(after) else len(seen))
    with np.errstate(invalid="ignore"):
        sunny = seen.expected.mpp_power_w[part] > plant.start_power_w
        told = (seen.rows["tank_float_up"][part] > 0.5) | (seen.rows["switched_on"][part] < 0.5)
    unknown = seen.unread[part]
    return float(seen.dt_h[part][sunny & ~told & ~unknown].sum())


def _levels(plant: Plant, seen: Columns, rows: np.ndarray, gave: GivenUp) -> dict[str, float]:
    """What tells the causes apart: current without speed, power taken, a code, attempts."""
    ever = fed_rows(plant, seen)
    fed = ever[rows]
    levels = {"attempts": float(fed.mean()), "fed": _mean(seen.power_w[rows] / plant.full_power_w)}
    if fed.any():
        levels["push"] = _mean(seen.power_w[rows][fed] / plant.full_power_w)
        speed = seen.speed_rpm[rows][fed]
        levels["still"] = _mean(np.where(np.isnan(speed), np.nan, 1.0))  # a speed is read, and is none
        levels["room"] = _mean(seen.rows["pv_voltage_v"][rows][fed] / seen.expected.mpp_voltage_v[rows][fed])
        weighed = fed & (seen.power_w[rows] > LIMITS.fed_share * plant.full_power_w)
        if not np.isnan(levels["room"]) and weighed.any():  # else the tries are too short to be seen in a row's mean
            vain = float(np.count_nonzero(_begins(_in_vain(plant, seen))[rows]))
            levels["vain"] = min(vain / max(float(np.count_nonzero(_begins(ever)[rows])), 1.0), 1.0)
        if not seen.expected.poa_measured[rows].all():
            levels["light"] = tried_light(plant, seen, rows, fed)
        if np.count_nonzero(weighed) >= LIMITS.alike_tries:
            levels["alike"] = float(np.std(np.log(seen.power_w[rows][weighed])))  # scatter of what the tries took
        if not np.isnan(speed).all():
            levels["spun"] = float(np.nanmax(speed) > LIMITS.spun_rpm)
    current, code = seen.rows["motor_current_a"][rows], seen.rows["fault_code"][rows]
    rated = plant.facts.motor.rated_current_a
    if rated and not np.isnan(current).all():
        levels["current"] = float(np.nanmax(current) / rated)
    if not np.isnan(code).all():
        levels["code"] = _mean((code > 0).astype(float))
    if "discharge_pressure_bar" in seen.rows.values:
        levels["pressed"] = np.fmax(_pressed(plant, seen, rows), shut_share(gave, rows))
    volts = seen.rows["pv_voltage_v"][rows] / seen.expected.mpp_voltage_v[rows]
    if not np.isnan(volts).all():
        levels["volts"] = _mean(volts)
    return levels


def pressed_rows(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows in which the wellhead's gauge shows more than an open pipe could ever need. bool[n]

    Not after one in which it did so while the water came, as far as the meter has told by then: such a gauge reads too high.
    """
    with np.errstate(invalid="ignore"):
        over = np.asarray(over_open_m(plant, seen.rows) > 0.0)
        if over.any():
            came = np.logical_or.accumulate(over & seen.settled & (seen.flow_m3_h > LIMITS.flows * seen.should_m3_h))
            last = np.maximum.accumulate(np.where(told_rows(seen), np.arange(len(over)), -1))
            over &= ~(came[last] & (last >= 0))
    return over


def _pressed(plant: Plant, seen: Columns, rows: np.ndarray) -> float:
    """Share of the rows in which the wellhead's gauge shows more than an open pipe could ever need: a shut pipe holds what a try has pressed into it."""
    known = ~np.isnan(seen.rows["discharge_pressure_bar"][rows])
    return _mean(np.where(known, pressed_rows(plant, seen)[rows], np.nan))


def _mean(values: np.ndarray) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else np.nan
