"""What tells the causes of no water apart, by row: loads, level, gauge and probe beside what a pump that lifts would show.

Flow: look.py, yesterday's baseline -> HERE -> no_water.py, screen.py.
Elementwise, so that a row's measures need nothing later. Never: judgement of rows; weighing of causes.
"""

import numpy as np

from analysis.estimates.vector import PLACE
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.symptoms import DayView

FACTOR_LOGS = (-0.5, 0.3)  # how far the baseline's flow may lie from the table's and still be taken as this pump's own
CURRENT_DAYS = 3.0  # of learning, before a motor's current says anything that power over speed does not
MEASURES = ("torque", "idle", "current", "idle_current", "sun", "spare", "lift", "above", "water", "probe", "backwards", "drawn", "pipe")  # fmt: skip
MOST_SPARE = 1.0  # log
LEAST_TOP = 0.2  # of the datasheet's fastest speed
MOST_DRAWN = 3.0
MOST_ABOVE_M = {True: 150.0, False: 45.0}  # by helical: a gauge that shows more says no more of a shut pipe
LEAST_TOLD_M = 0.8  # of drawdown or friction expected: less says nothing about the flow


def measures_of(plant: Plant, view: DayView, seen: Columns) -> dict[str, Floats]:
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
    power = np.maximum(seen.power_w, 1.0)
    idle_w = float(plant.idle_power_w(_own_top(view, plant)))
    told = seen.unloaded | seen.held | (power > idle_w)  # else the array gives no more, whatever hangs on the motor
    # an array at its maximum power, under a sky that is only supposed, may lie under a cloud
    clear = told & (seen.unloaded | seen.held | expected.poa_measured | np.isnan(rows["pv_voltage_v"]))
    with np.errstate(divide="ignore", invalid="ignore"):
        measures = {
            "torque": torque,
            "current": current,
            "sun": np.where(clear, np.log(power / np.minimum(expected.mpp_power_w, plant.ceiling_w)), np.nan),
            "lift": np.where(seen.unloaded, np.log(power / plant.lift_power_w), np.nan)
            if not plant.helical
            else np.full(len(seen), np.nan),
            "spare": np.where(told, np.minimum(np.log(power / idle_w), MOST_SPARE), np.nan),
            "above": np.clip(  # a pipe that drains to the tank shows less than its outlet's height, whatever the cause
                rows["discharge_pressure_bar"] * plant.metres_a_bar - plant.facts.delivery.outlet_height_m,
                0.0,
                MOST_ABOVE_M[plant.helical],
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


def _own_top(view: DayView, plant: Plant) -> float:
    """The speed at which this pump stands when sun is plenty, over the datasheet's fastest: by the power it then takes."""
    learnt = view.memory.arrays.get("mean")
    if learnt is None or not view.memory.arrays["days"][PLACE["cap"]] > 0:
        return 1.0
    share = float(np.exp(learnt[PLACE["cap"]])) * plant.ceiling_w / plant.full_power_w
    return float(np.clip(share, LEAST_TOP, 1.0) ** (1.0 if plant.helical else 1.0 / 3.0))


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
    return days is not None and float(days[PLACE["i1"]]) >= CURRENT_DAYS


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
