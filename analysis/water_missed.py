"""How an hour without water began, what came before it and since: what tells its causes apart beside the loads themselves.

Flow: no_water.py (rows without water), symptoms.DayView -> HERE -> the causes' `levels`.
Of rows up to the last one given, so that a flag never depends on what comes later. Never: weighing.
"""

from dataclasses import dataclass

import numpy as np

from analysis.loads import MEASURES
from analysis.look import Columns
from analysis.meter import register_step_m3
from analysis.plant import Plant, plant_of
from analysis.rows import Floats
from analysis.solar_days import DAY_MS, HOUR_MS
from analysis.symptoms import DayView, worked_on

GONE_SHARE = 0.12  # of expected; less is no water (common practice, no source)


@dataclass(frozen=True)
class MissedLimits:
    """Where nothing else is said: common practice, no source."""

    handled_h: float = 0.75  # under sun that would run it: longer than a restart's wait (common practice, no source)
    laden: float = 1.8  # times the power of a rotor with no lift upon it, at its fastest: some load hangs on it, whatever the speed
    laden_h: float = 0.15  # of full flow, expected meanwhile
    let_go_h: float = 0.5  # an odd row of a sound pump under a cloud looks as if its load had gone
    let_go_share: float = 0.2


LIMITS = MissedLimits()
BEFORE_STEPS, BEFORE_ROWS = 10.0, 5
BEFORE_SURELY = 0.5  # of the expected flow, less two standard uncertainties
AGAIN_MS = 2 * DAY_MS
NEAR_MS, NEAR_ROWS = HOUR_MS // 3, 3  # about the moment at which the water stopped
STEADY = 0.15  # log of power: within it neither cloud nor load has changed
REVIVED_STEPS, REVIVED_RISER = 1.5, 0.3  # a step alone may be a shake of the meter


def levels_of(
    view: DayView,
    seen: Columns,
    measures: dict[str, Floats],
    rows: np.ndarray,
    should: Floats,
    moved: Floats,
    began: int,
) -> dict[str, float]:
    levels = {}
    for name in MEASURES:
        known = measures[name][rows]
        known = known[np.isfinite(known)]
        if len(known):
            levels[name] = float(known.sum() / len(known))
    levels |= _let_go(seen, rows)
    levels["flow"] = float(moved[rows].sum() / max(should[rows].sum(), 1e-9))
    levels["lead"] = float(_visited(view, began))
    levels["onset"] = _onset(seen, int(rows[0]))
    levels["handled"] = _handled(seen, int(rows[0]), levels["onset"])
    levels["fell"] = _fell(seen, measures["torque"], rows, began) if levels["onset"] == 1.0 else float("nan")
    levels["part"] = _part(plant_of(view.facts), seen, should, moved, rows)
    levels["revived"] = _revived(view, seen, int(rows[0]))
    levels["before"] = _before(view, seen, should, moved, began)
    if levels["onset"] == 0.0:  # that run had brought nothing yet: what looks like a fading is the fault itself
        levels["before"] = float("nan")
    return levels


def _let_go(seen: Columns, rows: np.ndarray) -> dict[str, float]:
    """ "let_go" = 1 where through much of it the motor took far less than the sun offered; nothing else says that it did not."""
    hours = seen.dt_h[rows]
    unloaded = float(hours[seen.unloaded[rows]].sum())
    is_told = unloaded >= LIMITS.let_go_h and unloaded >= LIMITS.let_go_share * float(hours.sum())
    return {"let_go": 1.0} if is_told else {}


def _onset(seen: Columns, row: int) -> float:
    """1 where it lifted water in the very run within which it began, 0 where that run never lifted any; NaN = not known.

    A shaft breaks and a well gives out while the pump works; leads are exchanged while it stands.
    """
    rests = np.flatnonzero(~seen.turning[:row])
    if not len(rests) or (seen.dt_h[rests[-1] : row] == 0).any():
        return float("nan")
    run = slice(int(rests[-1]) + 1, row)
    with np.errstate(invalid="ignore"):
        came = (seen.moved_m3[run] > 0) | (seen.rows["flow_m3_h"][run] > GONE_SHARE * seen.should_m3_h[run])
    return float(came.any())


def _part(plant: Plant, seen: Columns, should: Floats, moved: Floats, rows: np.ndarray) -> float:
    """Flow over expected up to then on that day, in the rows in which a rotor took much more than one with no lift upon it; NaN = too few.

    A hole leaves a part of the water where the load is as ever; a well that gives out takes the load as well.
    """
    if not plant.helical:
        return float("nan")
    laden = seen.settled & (seen.power_w > LIMITS.laden * float(plant.idle_power_w(1.0)))
    laden[rows[-1] + 1 :] = False
    laden[rows] = False
    expected = float(should[laden].sum())
    step = register_step_m3(plant.facts)
    if expected < max(BEFORE_STEPS * step, LIMITS.laden_h * plant.full_flow_m3_h):
        return float("nan")
    part = float(np.clip(np.nansum(moved[laden]) / expected, 0.0, 1.5))
    return part if part > GONE_SHARE else float("nan")  # all of it missing is the same hole, told of before


def _fell(seen: Columns, torque: Floats, rows: np.ndarray, began: int) -> float:
    """Log of the power as it began over that shortly before, while it still lifted: a load that goes takes the power with it, a meter that dies does not.

    Where a speed is read, of the torque: under a cloud the power goes with the speed.
    """
    first = int(rows[0])
    before = np.flatnonzero(seen.settled[:first] & (seen.time_ms[:first] <= began))[-NEAR_ROWS:]
    before = before[seen.time_ms[before] >= seen.time_ms[first] - NEAR_MS]
    since = rows[:NEAR_ROWS][seen.time_ms[rows[:NEAR_ROWS]] <= seen.time_ms[first] + NEAR_MS // 2]
    came = np.flatnonzero((seen.moved_m3[:first] > 0) | (seen.rows["flow_m3_h"][:first] > 0))
    if not len(before) or not len(came) or seen.time_ms[came[-1]] < seen.time_ms[before[0]] - NEAR_MS:
        return float(
            "nan"
        )  # it had let go long before: what came before the first row that tells was the fault already
    turned = torque[since].sum() / len(since) - torque[before].sum() / len(before)
    if np.isfinite(turned):
        return float(turned)
    now, then = seen.power_w[since].sum() / len(since), seen.power_w[before].sum() / len(before)
    fell = float(np.log(max(now, 1.0) / max(then, 1.0)))
    of_sun = seen.at_max[since].any() and not np.isnan(seen.rows["pv_voltage_v"][since]).all()
    return fell if not of_sun or abs(fell) < STEADY else float("nan")


def _handled(seen: Columns, row: int, onset: float) -> float:
    """1 where that run began after a stop by day that sun, tank and probe do not explain: somebody may have been at it; 0 = no."""
    rests = np.flatnonzero(~seen.turning[:row])
    if onset != 0.0 or not len(rests):
        return float("nan")
    stands = seen.turning[: rests[-1]]
    rest = slice(int(np.flatnonzero(stands)[-1]) + 1 if stands.any() else 0, int(rests[-1]) + 1)
    if (seen.rows["fault_code"][rest] > 0).any():
        return float("nan")
    return float(seen.dt_h[rest][seen.asked[rest]].sum() > LIMITS.handled_h)


def _revived(view: DayView, seen: Columns, row: int) -> float:
    """On a day after it began: 1 where some water came before it stopped again, 0 where none did; NaN = it is new.

    A well recovers overnight; a shut valve, a broken shaft and a dead meter do not.
    """
    begun = [c for c in view.memory.cases if c.family == "no-water" and seen.time_ms[row] - c.seen_ms < AGAIN_MS]
    if not begun:
        return float("nan")
    plant, step = plant_of(view.facts), register_step_m3(view.facts)
    return float(np.nansum(seen.moved_m3[:row]) > max(REVIVED_STEPS * step, REVIVED_RISER * plant.riser_m3))


def _visited(view: DayView, began: int) -> bool:
    """Leads were moved, or the pump lifted, within the two days before."""
    day = int(view.days.day_of(began))
    return worked_on(view.facts, view.days, range(day, day + 1))


def _before(view: DayView, seen: Columns, should: Floats, moved: Floats, began: int) -> float:
    """Flow over expected in the settled hour before; it fades where the well gives out, and breaks off where a shaft does.

    Only of what the meter had counted by then, so that the answer is the same whatever it counts later.
    """
    rows = seen.settled & (seen.time_ms <= began) & (seen.time_ms > began - HOUR_MS)
    step = register_step_m3(view.facts)
    expected, surely = float(should[rows].sum()), float((seen.surely_m3_h * seen.dt_h)[rows].sum())
    if expected < BEFORE_STEPS * step or np.count_nonzero(rows) < BEFORE_ROWS:
        return float("nan")
    if surely < BEFORE_SURELY * expected:
        return float("nan")  # near where lifting begins, or by power alone: then a part missing may be the table's
    return float(np.clip(np.nansum(moved[rows]) / expected, 0.0, 1.5))
