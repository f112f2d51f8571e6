"""The hours without sun in closed form: the well recovers, the tank is drawn from, the column may empty.

Flow: simulate.py -> HERE -> back to the day's steps.
Never: a running pump.
"""

import numpy as np
from numpy.typing import NDArray

from samples.plant.controller import FULL_SHARE, REFILL_SHARE
from samples.plant.run import Run, Scene, column
from samples.plant.state import State
from samples.plant.well import TIME_CONSTANTS_S

Floats = NDArray[np.float64]
BLOCK_S = 900.0


def through_night(scene: Scene, begin: State, run: Run, lanes: NDArray[np.int64], steps: range) -> State:
    """Write `steps` without sun into `run` and return the state after them."""
    state = begin.take(np.arange(len(lanes)))
    if not len(steps):
        return state
    rows = np.arange(steps.start, steps.stop)
    here = np.ix_(rows, lanes)
    since = (np.arange(len(steps)) + 1.0) * scene.step_s
    left = np.exp(-since[:, None] / TIME_CONSTANTS_S)
    fx_static = np.broadcast_to(scene.effects["static_m"], scene.sky.unix_s.shape)[here]
    fx_harder = 1.0 + np.broadcast_to(scene.effects["drawdown"], scene.sky.unix_s.shape)[here]
    level = scene.resting_m[here] + fx_static + fx_harder * (left @ state.wells)
    level = np.minimum(level, scene.plant.facts.pump.setting_depth_m + 0.3)
    asked = np.cumsum(scene.draw_m3_h[here] * scene.step_s / 3600.0, axis=0)
    tank = np.maximum(state.tank_m3 - asked, 0.0)
    run.tank_m3[here] = tank
    run.drawn_m3[here] = -np.diff(np.vstack([state.tank_m3[None, :], tank]), axis=0)
    share = tank / scene.plant.facts.tank.capacity_m3
    up = np.where(
        share >= FULL_SHARE, 1.0, np.where(np.minimum.accumulate(share, axis=0) > REFILL_SHARE, state.full, 0.0)
    )
    says = np.broadcast_to(scene.effects["float_says"], scene.sky.unix_s.shape)[here]
    run.float_up[here] = np.where(says >= 0, says, up)
    depth = scene.plant.facts.well.probe_depth_m
    wet = np.ones_like(level) if depth is None else (level < depth).astype(float)
    says = np.broadcast_to(scene.effects["probe_says"], scene.sky.unix_s.shape)[here]
    run.probe_wet[here] = np.where(says >= 0, says, wet)
    run.level_m[here] = level
    box = state.box_c * np.exp(-since[:, None] / 1100.0)
    run.box_c[here] = box
    run.empty_m3[here] = _emptying(scene, state, rows, lanes, level)
    for name in (
        "running",
        "driven_s",
        "rpm",
        "torque_nm",
        "input_w",
        "flow",
        "pumped",
        "code",
        "fed_still",
        "wanted_w",
    ):
        getattr(run, name)[here] = 0.0
    state.wells = state.wells * left[-1][:, None]
    state.tank_m3, state.full, state.box_c = tank[-1].copy(), run.float_up[rows[-1], lanes].copy(), box[-1].copy()
    state.empty_m3 = run.empty_m3[rows[-1], lanes].copy()
    state.running = np.zeros(len(lanes))
    return state


def _emptying(scene: Scene, state: State, rows: NDArray, lanes: NDArray, level: Floats) -> Floats:
    """What is missing in the riser, in blocks of a quarter of an hour, straight between them."""
    held = State(**{**state.__dict__, "empty_m3": state.empty_m3.copy()})
    stride = max(1, int(BLOCK_S // scene.step_s))
    ends = np.unique(np.append(np.arange(stride - 1, len(rows), stride), len(rows) - 1))
    none, at, values = np.zeros(len(lanes)), 0, [held.empty_m3]
    for end in ends:
        fx = scene.effects.at(int(rows[end]), lanes)
        column(scene.plant, held, fx, (end + 1 - at) * scene.step_s, none, none, level[end])
        values.append(held.empty_m3)
        at = end + 1
    points = np.concatenate([[-1], ends]).astype(float)
    place = np.searchsorted(points, np.arange(len(rows)), "left")
    place = np.maximum(place, 1)
    share = (np.arange(len(rows)) - points[place - 1]) / (points[place] - points[place - 1])
    table = np.array(values)
    return table[place - 1] + share[:, None] * (table[place] - table[place - 1])
