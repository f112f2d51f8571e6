"""The symptom `no-water`: the pump turns, has settled, and nothing comes; or its load says that it lifts nothing.

Flow: symptoms.DayView -> HERE -> watchers.py; the causes that compete for it give `levels`.
Booleans and whole numbers against yesterday's baseline, so that a flag never depends on what comes later. Never: weighing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.firm import drained, firm_rows, firmly
from analysis.just_before import JustBefore, just_before
from analysis.lifts_from import slow_for_it, surely_lifts
from analysis.loads import measures_of
from analysis.look import Columns, over_open_m
from analysis.memory import Case
from analysis.meter import METERS, NANO, register_step_m3
from analysis.plant import Plant, plant_of
from analysis.protected import at_intake, cut_short, has_codes, waiting, whole_rows
from analysis.rows import Floats, last_where, or_zero
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.symptoms import DayView, Episode
from analysis.water_lost import came_m3
from analysis.water_missed import GONE_SHARE, levels_of
from analysis.water_told import gasps_in, step_n
from logger.record.causes import CAUSES


@dataclass(frozen=True)
class NoWaterLimits:
    """Where nothing else is said: common practice, no source."""

    gone_share: float = GONE_SHARE  # of expected; less is no water
    comes: float = 0.5  # of what was due since it began
    gasp_share: float = 0.3  # likewise where the load, too, is that of a pump with too little water
    run_ms: int = 150_000  # two and a half minutes of running: judged with the third minute
    steps: float = 2.7  # expected steps of the register without one: less than a third of the flow, or none
    light: float = float(np.log(0.62))  # log torque, about half way to a pump that lifts nothing
    heavy: float = float(np.log(1.45))
    light_current: float = float(np.log(0.66))
    heavy_current: float = float(np.log(1.4))
    least_flow_share: float = 0.3  # of full flow expected: nearer to where lifting begins nothing can be told
    surely_share: float = 0.1  # likewise, less two standard uncertainties
    above_lift_speed: float = 1.12  # 8 % of head (ISO 9906 below 10 kW, from memory), a seasonal level, and friction
    above_lift_power: float = 1.45  # the cube of it
    least_load_known: float = (
        0.4  # likewise where the load is that of a pump that lifts: a weak pump lifts nothing at low sun
    )
    as_ever: float = 0.12  # log: within it load and table agree (common practice, no source)
    load_run_ms: int = 900_000  # likewise: a dead meter can wait a quarter of an hour
    least_unloaded: float = 0.02  # likewise where it is not the sun that gives so little
    least_tried: float = 0.05  # likewise of a try that the controller cut short: there the load alone tells
    owed_h: float = 0.25  # of full flow
    least_owed: float = 0.05  # of full flow
    known_enough: float = 0.25
    unsized: float = 0.15  # likewise where the meter itself is the likelier cause (a guess)
    contradicted: float = 0.15  # log: power and current, where both are read, must not say opposite things of the load
    long_row_h: float = (
        0.05  # clouds pass within minutes: one longer reading of the power does not tell all of its interval
    )
    apart_ms: int = 3 * HOUR_MS  # runs further apart are two


LIMITS = NoWaterLimits()
GOOD, UNKNOWN, BAD = -1, 0, 1
GONE = ("dry-running", "closed-delivery", "broken-shaft", "reverse-rotation")
"""Causes for which no water comes at all; a hole in the riser and a lying meter are of the same family."""
PRESSED_M = (
    -2.0,
    5.0,
)  # over what an open pipe needs at most: a gauge that hangs too high does not come down to the one; the other is no friction
HOLE = "riser-leak"
REST_MS = HOUR_MS  # after it the riser may have drained


def no_water(view: DayView) -> list[Episode]:
    """Stretches of the day in which the pump turned and gave nothing."""
    seen = view.columns
    if seen is None:
        return []
    plant = plant_of(view.facts)
    measures = measures_of(plant, view, seen)
    label, late, usual = view.once("no-water", lambda: _labels(plant, view, seen, measures))
    told = np.flatnonzero(label)
    if not (label[told] == BAD).any():
        return []
    found = []
    for start, stop in _runs(label[told], seen.time_ms[told]):
        rows = told[start:stop]
        episode = _episode(view, seen, measures, rows[label[rows] == BAD], late, usual)
        if episode is not None:
            found.append(episode)
    return found


def _labels(
    plant: Plant, view: DayView, seen: Columns, measures: dict[str, Floats]
) -> tuple[NDArray[np.int8], NDArray[np.bool_], NDArray[np.bool_]]:
    """Each row good, bad or silent about it; which come from a register that should have moved long ago; which carry a usual load."""
    should = seen.should_m3_h * measures["factor"]
    step = register_step_m3(plant.facts)
    own = view.once("just-before", lambda: just_before(plant, seen))
    with np.errstate(invalid="ignore"):
        torque, current = measures["torque"], measures["current"]
        light = (torque < LIMITS.light) | (current < LIMITS.light_current)
        heavy = (torque > LIMITS.heavy) | (current > LIMITS.heavy_current)
        light &= ~(np.fmax(torque, current) > -LIMITS.contradicted)
        heavy &= ~(np.fmin(torque, current) < LIMITS.contradicted)
        usual = ~(light | heavy) & ~(np.isnan(torque) & np.isnan(current))
        full, loss, hole, unloaded = plant.full_flow_m3_h, _known_loss(view), _known_loss(view, HOLE), seen.unloaded
        least = np.where(usual, LIMITS.least_load_known, LIMITS.least_flow_share) + loss
        able = seen.settled & (
            should > np.where(unloaded, np.minimum(LIMITS.least_unloaded + hole, least), least) * full
        )
        # no loss but a hole takes the load as well: others take their part of what the sun offers
        able &= ~unloaded | (seen.expected.flow_of_sun_m3_h > (LIMITS.surely_share + loss) * full)
        sure = seen.surely_m3_h > np.where(unloaded, 0.0, LIMITS.surely_share * full)
        able &= sure | surely_lifts(view, seen.speed_rpm)
        able &= _well_above_lift(plant, seen) & ~(seen.speed_rpm < slow_for_it(view))
        able &= ~own.slowed
        able &= _through(seen, able)
        able &= _riser_full(plant, seen, should) | ~(np.isnan(torque) & np.isnan(current))
        now = seen.flow_now_m3_h
        gone = able & (now < LIMITS.gone_share * should)
        flowing = (now >= LIMITS.gone_share * should) | (seen.moved_m3 > 0)
        # a sound impeller turned down, and a worn or leaking rotor in weak sun, may lift as little
        starves = light | unloaded if plant.helical and not loss else light
        gasps = able & starves & gasps_in(seen, should, LIMITS.gasp_share)
        flowing &= ~gasps
        late = able & (seen.since_n * measures["factor"] >= LIMITS.steps * step * NANO) & (seen.moved_m3 == 0)
        late &= np.isnan(now) | gone
        late |= (
            owed(plant, seen, loss) & ~flowing & np.isnan(torque) & np.isnan(current)
        )  # where no load is read to tell sooner
    odd = (able & (light | heavy) & ~flowing & ~_unread(plant, seen)) | gasps
    good = (seen.settled & (flowing | (usual & able)) & ~odd) | ~seen.turning
    odd, late, usual = _by_own(plant, seen, measures, own, light, odd, late, usual)
    good &= ~between_tries(plant, seen)
    if has_codes(seen):
        tried = _tried(plant, seen, light, heavy) | _all_in_vain(plant, seen, should)
        odd, good = odd | tried, good & ~tried & ~waiting(seen)
    fine_gone = gone & (seen.moved_m3 * 0 == 0)
    bad = odd | late | fine_gone | (gone & ~np.isnan(seen.rows["flow_m3_h"]))
    if loss > LIMITS.known_enough and not plant.has & {"motor_current_a", "motor_speed_rpm"}:
        bad &= unloaded & (
            hole == 0.0
        )  # a great loss is known, and nothing reads the load: low sun giving nothing is its
    label = np.where(bad, BAD, np.where(good, GOOD, UNKNOWN)).astype(np.int8)
    return label, late, usual


def _by_own(
    plant: Plant,
    seen: Columns,
    measures: dict[str, Floats],
    own: JustBefore,
    light: NDArray[np.bool_],
    odd: NDArray[np.bool_],
    late: NDArray[np.bool_],
    usual: NDArray[np.bool_],
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """`odd`, `late`, `usual` with what gauges and the minutes before say, wherever the table knows too little."""
    with np.errstate(invalid="ignore"):
        same = np.abs(own.log_load) < LIMITS.as_ever
    came = (seen.moved_m3 > 0) | (seen.rows["flow_m3_h"] > LIMITS.gone_share * plant.full_flow_m3_h)
    overdue_n = LIMITS.steps * step_n(plant.facts)
    came |= ~np.isnan(seen.moved_m3) & (seen.since_n < overdue_n)  # the register need not have moved yet
    odd = odd | own.changed
    odd |= drained(plant, seen)
    odd |= ~came & (pressed(plant, seen) | (seen.settled & at_intake(plant, seen) & light))
    usual = usual | (np.isnan(measures["torque"]) & np.isnan(measures["current"]) & same)
    return odd, late | (own.gone & ~own.changed), (usual | (own.gone & same)) & ~odd


def pressed(plant: Plant, seen: Columns, fed: NDArray[np.bool_] | None = None) -> NDArray[np.bool_]:
    """The wellhead's gauge stands above all that an open pipe could need, and did not earlier that day: no pipe is open. bool[n]

    fed: rows to ask; None = those that turn.
    """
    if "discharge_pressure_bar" not in plant.has or not len(seen):
        return np.zeros(len(seen), bool)
    # also in a try too short to count as settled: against an open pipe a start's own surge stays below
    with np.errstate(invalid="ignore"):
        over = over_open_m(plant, seen.rows)
        low = np.where(over < PRESSED_M[0], seen.day, np.iinfo(np.int64).min)
        return (seen.turning if fed is None else fed) & (over > PRESSED_M[1]) & (np.maximum.accumulate(low) == seen.day)


def _unread(plant: Plant, seen: Columns) -> NDArray[np.bool_]:
    """A meter is fitted, and the row holds nothing of it: that no water was read is no sign that none came. bool[n]"""
    if not plant.has & set(METERS):
        return np.zeros(len(seen), bool)
    return np.isnan(seen.moved_m3) & np.isnan(seen.rows["flow_m3_h"])


def between_tries(plant: Plant, seen: Columns) -> NDArray[np.bool_]:
    """It stands, and when it last turned the pipe was shut: that says nothing of the water. bool[n]"""
    places = np.arange(len(seen))
    turned, shut = (np.maximum.accumulate(np.where(rows, places, -1)) for rows in (seen.turning, pressed(plant, seen)))
    return ~seen.turning & (shut >= 0) & (shut == turned)


def _tried(plant: Plant, seen: Columns, light: NDArray[np.bool_], heavy: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows cut short by the controller whose load, or level, says that nothing was lifted; too short to wait for the meter."""
    shown = (
        light if not plant.helical else light | heavy
    )  # a mean over start and rest makes an impeller's load look heavy
    with np.errstate(invalid="ignore"):
        shut = over_open_m(plant, seen.rows) > 0
    if "discharge_pressure_bar" in plant.has:
        shown = shown & (light | shut)
    enough = (
        (seen.should_m3_h > LIMITS.least_tried * plant.full_flow_m3_h)
        & _well_above_lift(plant, seen)
        & whole_rows(seen)
    )
    came = (seen.rows["flow_m3_h"] >= LIMITS.gone_share * seen.should_m3_h) | (seen.moved_m3 > 0)
    return cut_short(seen) & ((shown & enough & ~came) | shut | at_intake(plant, seen))


def _all_in_vain(plant: Plant, seen: Columns, should: Floats) -> NDArray[np.bool_]:
    """Rows of tries cut short, by which all tries since the last water together owe more than riser and meter can hide. Sums are of whole numbers (1e-9 m3)."""
    turned = np.where(np.concatenate([[False], seen.turning[:-1]]), 1.0, 0.5)  # it may have started anywhere in a row
    turned = np.where(seen.turning & (seen.dt_h > 0), turned, 0.0)
    with np.errstate(invalid="ignore"):
        came = (seen.moved_m3 > 0) | (seen.rows["flow_m3_h"] > LIMITS.gone_share * should)
    owed = np.cumsum(np.rint(turned * should * seen.dt_h * NANO).astype(np.int64))
    new_day = np.concatenate([[True], np.diff(seen.day) > 0])
    since = owed - np.maximum.accumulate(np.where(came | new_day, owed, 0))
    step = register_step_m3(plant.facts)
    return cut_short(seen) & (since >= (plant.riser_m3 + LIMITS.steps * step) * NANO)


def fruitless(view: DayView, rows: np.ndarray) -> NDArray[np.bool_]:
    """Of some rows (places in the day's columns) those that turned and lifted nothing, as far as load and meter tell."""
    seen = view.columns
    if seen is None or not len(rows):
        return np.zeros(len(rows), bool)
    plant = plant_of(view.facts)
    return view.once("no-water", lambda: _labels(plant, view, seen, measures_of(plant, view, seen)))[0][rows] == BAD


def owed(plant: Plant, seen: Columns, known_loss: float = 0.0) -> NDArray[np.bool_]:
    """Weak sun all along, and yet by now even a weak pump would owe more than any doubt of the table, and than the register waits for.

    Of a pump known to lose a share of its full flow, what it lifts above that: a hole takes its part first. Sums are of whole numbers.
    """
    if not len(seen):
        return np.zeros(0, bool)
    sure_m3_h = seen.surely_m3_h - known_loss * plant.full_flow_m3_h
    surely = np.where(seen.settled, np.maximum(sure_m3_h, 0.0), 0.0)
    owed = np.cumsum(np.rint(surely * seen.dt_h * NANO).astype(np.int64))
    new_day = np.concatenate([[True], np.diff(seen.day) > 0])
    since = owed - owed.take(last_where((seen.moved_m3 != 0) | new_day))
    step = register_step_m3(plant.facts)
    enough = since >= max(LIMITS.owed_h * plant.full_flow_m3_h, LIMITS.steps * step) * NANO
    return enough & seen.settled & (sure_m3_h > LIMITS.least_owed * plant.full_flow_m3_h)


def _through(seen: Columns, able: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows so short that nothing happened within them unseen, or long ones at whose start, too, water was to be expected."""
    through = seen.dt_h <= LIMITS.long_row_h
    through[1:] |= able[:-1] & (seen.dt_h[1:] > 0)
    return through


def _riser_full(plant: Plant, seen: Columns, should: Floats) -> NDArray[np.bool_]:
    """After a rest the riser may have to be filled before any water is counted. Sums are of whole numbers (1e-9 m3)."""
    if not len(seen):
        return np.zeros(0, bool)
    step = register_step_m3(plant.facts)
    pumped = np.cumsum(np.rint(should * seen.dt_h * NANO).astype(np.int64))
    last = np.maximum.accumulate(np.where(seen.turning, seen.time_ms, seen.time_ms[0]))
    rested = np.concatenate([[True], np.diff(seen.time_ms) > 0]) & ~seen.turning & (seen.time_ms - last > REST_MS)
    rested[0] = True
    since = pumped - np.maximum.accumulate(np.where(rested, pumped, 0))
    return since >= (plant.riser_m3 + LIMITS.steps * step) * NANO


def _well_above_lift(plant: Plant, seen: Columns) -> NDArray[np.bool_]:
    """A centrifugal pump lifts nothing below a speed that its table tells within some per cent only.

    Nor below the power that goes with it, where the array gives no more: a load that lets go pulls the array's voltage up or the
    speed to its limit, while under a cloud the array stays at its maximum power. Near where lifting begins a speed read a few per
    cent high makes half of a flow out of none.
    """
    if plant.helical:
        return np.ones(len(seen), bool)
    with np.errstate(invalid="ignore"):
        slow = seen.speed_rpm < LIMITS.above_lift_speed * plant.lift_speed_rpm
        weak = (seen.power_w < LIMITS.above_lift_power * plant.lift_power_w) & ~seen.held & ~seen.unloaded
    return ~slow & ~(weak & (np.isnan(seen.speed_rpm) | ~np.isnan(seen.rows["pv_voltage_v"])))


def _known_loss(view: DayView, cause: str | None = None) -> float:
    """Flow known to be lost (leak, wear, clogging, a deeper level open at yesterday's close; or one of these), as a share: low sun may then give nothing."""
    known = [
        _share_lost(case)
        for case in view.memory.cases
        if case.family == "slow-hydraulic" and case.ended_ms is None and cause in (None, case.cause)
    ]
    return 1.2 * min(sum(known), 0.6) if known else 0.0


def _share_lost(case: Case) -> float:
    """Of the flow; a size in metres is none."""
    if case.size and CAUSES[case.cause].unit == "fraction":
        return case.size[0]
    return case.figures.get("flow_lost", LIMITS.unsized)


def _runs(label: NDArray[np.int8], time_ms: np.ndarray) -> list[tuple[int, int]]:
    """Stretches between good rows that hold a bad one, as (start, stop) in the rows that say anything."""
    breaks = np.concatenate([[True], (label[1:] == GOOD) | (label[:-1] == GOOD) | (np.diff(time_ms) > LIMITS.apart_ms)])
    starts = np.flatnonzero(breaks)
    stops = np.append(starts[1:], len(label))
    bad = np.logical_or.reduceat(label == BAD, starts)
    return list(zip(starts[bad].tolist(), stops[bad].tolist(), strict=True))


def _meter_lies(view: DayView) -> bool:
    """At yesterday's close the meter was known to tell wrong: that it counts nothing for a while says no more than that."""
    return any(
        case.cause == "sensor-fault" and case.channel in METERS and case.ended_ms is None for case in view.memory.cases
    )


def _load_tells(measures: dict[str, Floats], usual: NDArray[np.bool_], rows: np.ndarray) -> bool:
    """On some of the rows a load was read, or a gauge, and it was not that of a pump that lifts."""
    read = ~(np.isnan(measures["torque"][rows]) & np.isnan(measures["current"][rows])) & ~usual[rows]
    return bool((read | (measures["above"][rows] > PRESSED_M[1])).any())


def _as_ever(measures: dict[str, Floats], own: JustBefore, rows: np.ndarray) -> NDArray[np.bool_]:
    """The load is that of a pump that lifts: then it is the meter, or its readings came late, and nothing is in a hurry."""
    load = np.where(np.isnan(measures["torque"][rows]), measures["current"][rows], measures["torque"][rows])
    load = np.where(np.isnan(load), own.log_load[rows], load)
    with np.errstate(invalid="ignore"):
        return np.abs(load) < LIMITS.as_ever


def water_came(moved_m3: Floats, due_m3: Floats) -> NDArray[np.bool_]:
    """By row of a stretch, up to it: the meter counted much of what was due, whatever the load says. bool[n]"""
    came = np.cumsum(moved_m3)
    return np.asarray((came > 0.0) & (came >= LIMITS.comes * np.cumsum(due_m3)))


def _episode(
    view: DayView,
    seen: Columns,
    measures: dict[str, Floats],
    bad: np.ndarray,
    late: np.ndarray,
    usual: np.ndarray,
) -> Episode | None:
    dt_ms = np.rint(seen.dt_h[bad] * HOUR_MS).astype(np.int64)
    lasted = np.cumsum(dt_ms)
    wait = np.where(usual[bad], LIMITS.load_run_ms, LIMITS.run_ms)
    sure = (lasted >= wait) & (np.arange(len(bad)) >= 1)
    beyond = (LIMITS.light, LIMITS.light_current), (LIMITS.heavy, LIMITS.heavy_current)
    sure |= firmly(firm_rows(plant_of(view.facts), seen, measures, *beyond, LIMITS.gone_share)[bad], lasted)
    own = view.once("just-before", lambda: just_before(plant_of(view.facts), seen))
    soon = ~usual[bad] | ((lasted >= LIMITS.run_ms) & ~_as_ever(measures, own, bad))
    told = np.arange(len(bad)) >= 1  # one reading alone may hold a stop, or the first water
    should = np.maximum(seen.should_m3_h * measures["factor"], np.where(own.gone, own.due_m3_h, 0.0)) * seen.dt_h
    moved = came_m3(seen.moved_m3, seen.rows["flow_m3_h"], seen.dt_h)
    enough = np.flatnonzero((sure | (late[bad] & soon & told)) & ~water_came(moved[bad], should[bad]))
    if not len(enough):
        return None
    flag = int(bad[enough[0]])
    if _meter_lies(view) and not _load_tells(measures, usual, bad[: enough[0] + 1]):
        return None
    began = int(seen.time_ms[bad[0]] - dt_ms[0])
    if late[bad[0]]:
        came = np.flatnonzero((seen.moved_m3 > 0) & (seen.time_ms < seen.time_ms[bad[0]]))
        turned = np.flatnonzero(seen.turning & (seen.since_n <= 0) & (seen.time_ms < seen.time_ms[bad[0]]))
        candidates = [int(seen.time_ms[k[-1]]) for k in (came, turned) if len(k)]
        began = max(candidates) if candidates else began
    last = int(bad[-1])
    until_flag = bad[bad <= flag]
    first = min(int(np.searchsorted(seen.time_ms, began, "right")), int(bad[0]))
    during = slice(first, last + 1)
    able = np.zeros(len(seen), bool)
    kept = between_tries(plant_of(view.facts), seen)
    able[during] = seen.settled[during] | kept[during]
    # what its sun would have brought: the motor itself lets go, spins, or stands low for want of a way out
    of_sun = or_zero(seen.expected.flow_of_sun_m3_h) * seen.dt_h
    return Episode(
        "no-water",
        began_ms=began,
        flag_ms=up_to_minute(int(seen.time_ms[flag])),
        seen_ms=int(seen.time_ms[last]),
        hours=float(seen.dt_h[during][(seen.turning | kept)[during]].sum()),
        at_flag=levels_of(view, seen, measures, until_flag, should, moved, began),
        whole=levels_of(view, seen, measures, bad, should, moved, began),
        lost_m3=max(float(of_sun[able].sum() - moved[able].sum()), 0.0),
    )
