"""The symptom `no-water`: the pump turns, has settled, and nothing comes; or its load says that it lifts nothing.

Flow: symptoms.DayView -> HERE -> watchers.py; the causes that compete for it give `levels`.
Booleans and whole numbers against yesterday's baseline, so that a flag never depends on what comes later. Never: weighing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.vector import PLACE
from analysis.look import SHUT_ABOVE, Columns
from analysis.meter import NANO
from analysis.plant import Plant, plant_of
from analysis.protected import at_intake, cut_short, has_codes, waiting
from analysis.rows import Floats
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.symptoms import DayView, Episode, worked_on


@dataclass(frozen=True)
class NoWaterLimits:
    """Where nothing else is said: common practice, no source."""

    gone_share: float = 0.12  # of expected; less is no water
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
    least_unloaded: float = 0.08  # likewise where it is not the sun that gives so little
    unloaded_power: float = 0.6  # of full power
    least_tried: float = 0.05  # likewise of a try that the controller cut short: there the load alone tells
    known_enough: float = 0.25
    contradicted: float = 0.15  # log: power and current, where both are read, must not say opposite things of the load
    current_days: float = 3.0  # of learning, before a motor's current says anything that power over speed does not
    long_row_h: float = (
        0.05  # clouds pass within minutes: one longer reading of the power does not tell all of its interval
    )
    apart_ms: int = 3 * HOUR_MS  # runs further apart are two


LIMITS = NoWaterLimits()
GOOD, UNKNOWN, BAD = -1, 0, 1
FACTOR_LOGS = (-0.5, 0.3)  # how far the baseline's flow may lie from the table's and still be taken as this pump's own
BEFORE_STEPS, BEFORE_ROWS = 10.0, 5
LEVELS = (
    "torque",
    "idle",
    "current",
    "idle_current",
    "sun",
    "spare",
    "above",
    "water",
    "probe",
    "backwards",
    "drawn",
    "pipe",
)


def no_water(view: DayView) -> list[Episode]:
    """Stretches of the day in which the pump turned and gave nothing."""
    seen = view.columns
    if seen is None:
        return []
    plant = plant_of(view.facts)
    if _known_loss(view) > LIMITS.known_enough and not plant.has & {"motor_current_a", "motor_speed_rpm"}:
        return []  # a great leak is known, and nothing reads the load: low sun giving nothing is that leak's
    measures = _measures(plant, view, seen)
    label, late, usual = _labels(plant, view, seen, measures)
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
    step = plant.facts.sensors.meter_step_m3 or 0.01
    with np.errstate(invalid="ignore"):
        torque, current = measures["torque"], measures["current"]
        light = (torque < LIMITS.light) | (current < LIMITS.light_current)
        heavy = (torque > LIMITS.heavy) | (current > LIMITS.heavy_current)
        light &= ~(np.fmax(torque, current) > -LIMITS.contradicted)
        heavy &= ~(np.fmin(torque, current) < LIMITS.contradicted)
        usual = ~(light | heavy) & ~(np.isnan(torque) & np.isnan(current))
        least = np.where(usual, LIMITS.least_load_known, LIMITS.least_flow_share) + _known_loss(view)
        unloaded = unloaded_rows(plant, seen)
        least = np.where(unloaded, np.minimum(LIMITS.least_unloaded, least), least)
        able = seen.settled & (should > least * plant.full_flow_m3_h)
        able &= seen.surely_m3_h > np.where(unloaded, 0.0, LIMITS.surely_share * plant.full_flow_m3_h)
        able &= _well_above_lift(plant, seen)
        able &= _through(seen, able)
        now = seen.flow_now_m3_h
        gone = able & (now < LIMITS.gone_share * should)
        flowing = (now >= LIMITS.gone_share * should) | (seen.moved_m3 > 0)
        late = able & (seen.since_n * measures["factor"] >= LIMITS.steps * step * NANO) & (seen.moved_m3 == 0)
        late &= np.isnan(now) | gone
    odd = able & (light | heavy) & ~flowing
    good = (seen.settled & (flowing | (usual & able)) & ~odd) | ~seen.turning
    if has_codes(seen):
        tried = _tried(plant, seen, light, heavy)
        odd, good = odd | tried, good & ~tried & ~waiting(seen)
    fine_gone = gone & (seen.moved_m3 * 0 == 0)
    bad = odd | late | fine_gone | (gone & ~np.isnan(seen.rows["flow_m3_h"]))
    label = np.where(bad, BAD, np.where(good, GOOD, UNKNOWN)).astype(np.int8)
    return label, late, usual


def _tried(plant: Plant, seen: Columns, light: NDArray[np.bool_], heavy: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows cut short by the controller whose load, or level, says that nothing was lifted; too short to wait for the meter."""
    shown = (
        light if not plant.helical else light | heavy
    )  # a mean over start and rest makes an impeller's load look heavy
    shut = _shut(plant, seen)
    if "discharge_pressure_bar" in plant.has:
        shown = shown & (light | shut)
    enough = (seen.should_m3_h > LIMITS.least_tried * plant.full_flow_m3_h) & _well_above_lift(plant, seen)
    return cut_short(seen) & ((shown & enough) | shut | at_intake(plant, seen))


def _shut(plant: Plant, seen: Columns) -> NDArray[np.bool_]:
    """The gauge shows more than the open pipe needs at full flow."""
    most_m = float(plant.wellhead_head_m(np.array([plant.full_flow_m3_h]))[0]) * SHUT_ABOVE[0] + SHUT_ABOVE[1]
    with np.errstate(invalid="ignore"):
        return seen.rows["discharge_pressure_bar"] * plant.metres_a_bar > most_m


def fruitless(view: DayView, rows: np.ndarray) -> NDArray[np.bool_]:
    """Of some rows (places in the day's columns) those that turned and lifted nothing, as far as load and meter tell."""
    seen = view.columns
    if seen is None or not len(rows):
        return np.zeros(len(rows), bool)
    plant = plant_of(view.facts)
    return _labels(plant, view, seen, _measures(plant, view, seen))[0][rows] == BAD


def _through(seen: Columns, able: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows so short that nothing happened within them unseen, or long ones at whose start, too, water was to be expected."""
    through = seen.dt_h <= LIMITS.long_row_h
    through[1:] |= able[:-1] & (seen.dt_h[1:] > 0)
    return through


def unloaded_rows(plant: Plant, seen: Columns) -> NDArray[np.bool_]:
    """The sun offers more than this rotor takes at full speed, though it takes little: it has no lift upon it.

    A rotor that is merely turned down still brings water in proportion to its speed, and the meter tells. Not so an impeller.
    """
    if not plant.helical or plant.has & {"motor_speed_rpm", "drive_frequency_hz"}:
        return np.zeros(len(seen), bool)
    with np.errstate(invalid="ignore"):
        return seen.held & (seen.power_w < LIMITS.unloaded_power * plant.ceiling_w)


def _well_above_lift(plant: Plant, seen: Columns) -> NDArray[np.bool_]:
    """A centrifugal pump lifts nothing below a speed that its table tells within some per cent only."""
    if plant.helical:
        return np.ones(len(seen), bool)
    with np.errstate(invalid="ignore"):
        slow = seen.speed_rpm < LIMITS.above_lift_speed * plant.lift_speed_rpm
        weak = np.isnan(seen.speed_rpm) & (seen.power_w < LIMITS.above_lift_power * plant.lift_power_w) & ~seen.held
    return ~slow & ~weak


def _known_loss(view: DayView) -> float:
    """Flow known to be lost (leak, wear, clogging open at yesterday's close), as a share: low sun may then give nothing."""
    known = [c.size[0] for c in view.memory.cases if c.family == "slow-hydraulic" and c.ended_ms is None and c.size]
    return 1.2 * min(sum(known), 0.6) if known else 0.0


def _measures(plant: Plant, view: DayView, seen: Columns) -> dict[str, Floats]:
    """By row: what the causes that compete are told apart by. Logs against yesterday's baseline."""
    learnt = view.memory.arrays.get("mean")
    base = np.zeros(len(PLACE)) if learnt is None else learnt
    q, t, i = (float(base[PLACE[name]]) for name in ("q1", "t1", "i1"))
    expected, rows = seen.expected, seen.rows
    torque, current = load_logs(seen, t, i)
    if not _current_learnt(view):
        current = np.where(
            np.isnan(torque), current, np.nan
        )  # the plate's current need not be that of the rated torque
    with np.errstate(divide="ignore", invalid="ignore"):
        measures = {
            "torque": torque,
            "current": current,
            "sun": np.log(np.maximum(seen.power_w, 1.0) / np.minimum(expected.mpp_power_w, plant.ceiling_w)),
            "spare": np.log(np.maximum(seen.power_w, 1.0) / np.minimum(expected.mpp_power_w, plant.idle_power_w(1.0))),
            "above": np.maximum(  # a pipe that drains to the tank shows less than its outlet's height, whatever the cause
                rows["discharge_pressure_bar"] * plant.metres_a_bar - plant.facts.delivery.outlet_height_m, 0.0
            ),
            "water": plant.facts.pump.setting_depth_m - rows["water_level_m"],
            "probe": rows["low_level_probe_wet"],
            "drawn": _drawn(plant, seen, float(base[PLACE["rest"]])),
            "pipe": _pipe(plant, seen, float(base[PLACE["p0"]])),
            "backwards": (rows["motor_speed_rpm"] < 0).astype(float)
            if "motor_speed_rpm" in rows.values
            else np.full(len(seen), np.nan),
        }
    measures |= _idle(plant, seen, torque, current)
    measures["factor"] = np.full(len(seen), np.exp(np.clip(q, *FACTOR_LOGS)))
    return measures


def _idle(plant: Plant, seen: Columns, torque: Floats, current: Floats) -> dict[str, Floats]:
    """The same loads against a pump that lifts nothing: a rotor with no lift upon it, an impeller at a shut valve."""
    speed = seen.speed_rpm / plant.pump.core.reference_rpm if plant.pump.speed_known else np.full(len(seen), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        lifting = np.log(seen.expected.power_at_speed_w / plant.idle_power_w(speed))
    return {"idle": torque + lifting, "idle_current": current + lifting}


def load_logs(seen: Columns, torque: float, current: float) -> tuple[Floats, Floats]:
    """By row, log of torque and of motor current over expected, against the baseline's; NaN where not known."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return (
            np.log(np.maximum(seen.power_w, 1.0) / seen.expected.power_at_speed_w) - torque,
            np.log(np.maximum(seen.rows["motor_current_a"], 0.01) / seen.expected.motor_current_a) - current,
        )


def _current_learnt(view: DayView) -> bool:
    days = view.memory.arrays.get("days")
    return days is not None and float(days[PLACE["i1"]]) >= LIMITS.current_days


MOST_DRAWN = 3.0
LEAST_TOLD_M = 0.8  # of drawdown or friction expected: less says nothing about the flow


def _drawn(plant: Plant, seen: Columns, rest_m: float) -> Floats:
    """Drawdown over that of the expected flow: 1 where water is drawn from the well, 0 where none is."""
    should = plant.system.drawdown_m(seen.should_m3_h)
    drawn = seen.rows["water_level_m"] - plant.facts.well.static_level_m - rest_m
    return np.where(should > LEAST_TOLD_M, np.minimum(drawn / np.maximum(should, LEAST_TOLD_M), MOST_DRAWN), np.nan)


def _pipe(plant: Plant, seen: Columns, offset_m: float) -> Floats:
    """Friction behind the wellhead over that of the expected flow: 1 where water passes the gauge."""
    outlet = plant.facts.delivery.outlet_height_m
    should = plant.wellhead_head_m(seen.should_m3_h) - outlet
    above = seen.rows["discharge_pressure_bar"] * plant.metres_a_bar - outlet - offset_m
    return np.where(should > LEAST_TOLD_M, np.maximum(above / np.maximum(should, LEAST_TOLD_M), 0.0), np.nan)


def _runs(label: NDArray[np.int8], time_ms: np.ndarray) -> list[tuple[int, int]]:
    """Stretches between good rows that hold a bad one, as (start, stop) in the rows that say anything."""
    breaks = np.concatenate([[True], (label[1:] == GOOD) | (label[:-1] == GOOD) | (np.diff(time_ms) > LIMITS.apart_ms)])
    starts = np.flatnonzero(breaks)
    stops = np.append(starts[1:], len(label))
    bad = np.logical_or.reduceat(label == BAD, starts)
    return list(zip(starts[bad].tolist(), stops[bad].tolist(), strict=True))


def _as_ever(measures: dict[str, Floats], rows: np.ndarray) -> NDArray[np.bool_]:
    """The load is that of a pump that lifts: then it is the meter, or its readings came late, and nothing is in a hurry."""
    load = np.where(np.isnan(measures["torque"][rows]), measures["current"][rows], measures["torque"][rows])
    with np.errstate(invalid="ignore"):
        return np.abs(load) < LIMITS.as_ever


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
    soon = ~usual[bad] | ((lasted >= LIMITS.run_ms) & ~_as_ever(measures, bad))
    told = (np.arange(len(bad)) >= 1) | (seen.dt_h[bad] <= LIMITS.long_row_h)
    enough = np.flatnonzero(sure | (late[bad] & soon & told))
    if not len(enough):
        return None
    flag = int(bad[enough[0]])
    began = int(seen.time_ms[bad[0]] - dt_ms[0])
    if late[bad[0]]:
        came = np.flatnonzero((seen.moved_m3 > 0) & (seen.time_ms < seen.time_ms[bad[0]]))
        turned = np.flatnonzero(seen.turning & (seen.since_n <= 0) & (seen.time_ms < seen.time_ms[bad[0]]))
        candidates = [int(seen.time_ms[k[-1]]) for k in (came, turned) if len(k)]
        began = max(candidates) if candidates else began
    last = int(bad[-1])
    until_flag = bad[bad <= flag]
    first, end = int(bad[0]), last + 1
    during = slice(first, end)
    able = np.zeros(len(seen), bool)
    able[during] = seen.settled[during]
    should = seen.should_m3_h * measures["factor"] * seen.dt_h
    moved = np.where(np.isnan(seen.moved_m3), np.nan_to_num(seen.rows["flow_m3_h"]) * seen.dt_h, seen.moved_m3)
    return Episode(
        "no-water",
        began_ms=began,
        flag_ms=up_to_minute(int(seen.time_ms[flag])),
        seen_ms=int(seen.time_ms[last]),
        hours=float(seen.dt_h[during][seen.turning[during]].sum()),
        at_flag=_levels(view, seen, measures, until_flag, should, moved, began),
        whole=_levels(view, seen, measures, bad, should, moved, began),
        lost_m3=max(float(should[able].sum() - moved[able].sum()), 0.0),
    )


def _levels(
    view: DayView,
    seen: Columns,
    measures: dict[str, Floats],
    rows: np.ndarray,
    should: Floats,
    moved: Floats,
    began: int,
) -> dict[str, float]:
    levels = {}
    for name in LEVELS:
        known = measures[name][rows]
        known = known[np.isfinite(known)]
        if len(known):
            levels[name] = float(known.sum() / len(known))
    levels["flow"] = float(moved[rows].sum() / max(should[rows].sum(), 1e-9))
    levels["lead"] = float(_visited(view, began))
    levels["onset"] = _onset(seen, int(rows[0]))
    levels["before"] = _before(view, seen, should, moved, began)
    if levels["onset"] == 0.0:  # that run had brought nothing yet: what looks like a fading is the fault itself
        levels["before"] = float("nan")
    return levels


def _onset(seen: Columns, row: int) -> float:
    """1 where it lifted water in the very run within which it began, 0 where that run never lifted any; NaN = not known.

    A shaft breaks and a well gives out while the pump works; leads are exchanged while it stands.
    """
    rests = np.flatnonzero(~seen.turning[:row])
    if not len(rests) or (seen.dt_h[rests[-1] : row] == 0).any():
        return float("nan")
    run = slice(int(rests[-1]) + 1, row)
    with np.errstate(invalid="ignore"):
        came = (seen.moved_m3[run] > 0) | (seen.rows["flow_m3_h"][run] > LIMITS.gone_share * seen.should_m3_h[run])
    return float(came.any())


def _visited(view: DayView, began: int) -> bool:
    """Leads were moved, or the pump lifted, within the two days before."""
    day = int(view.days.day_of(began))
    return worked_on(view.facts, view.days, range(day, day + 1))


def _before(view: DayView, seen: Columns, should: Floats, moved: Floats, began: int) -> float:
    """Flow over expected in the settled hour before; it fades where the well gives out, and breaks off where a shaft does.

    Only of what the meter had counted by then, so that the answer is the same whatever it counts later.
    """
    rows = seen.settled & (seen.time_ms <= began) & (seen.time_ms > began - HOUR_MS)
    step = view.facts.sensors.meter_step_m3 or 0.01
    expected = float(should[rows].sum())
    if expected < BEFORE_STEPS * step or np.count_nonzero(rows) < BEFORE_ROWS:
        return float("nan")
    return float(np.clip(np.nansum(moved[rows]) / expected, 0.0, 1.5))
