"""The pump controller: when it starts, holds, waits and trips; how much power it takes.

Flow: run.py calls `decide` then `settle` once a step.
Codes: 0 none, 11 over-voltage, 12 overload, 13 no rotation, 14 its own fault, 21 low level (waiting), 22 over-temperature (held back).
Never: the pump.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from samples.plant.drawn import Plant
from samples.plant.state import State

Floats = NDArray[np.float64]
OVER_VOLTAGE, OVERLOAD, NO_ROTATION, OWN_FAULT, LOW_LEVEL, HOT = 11.0, 12.0, 13.0, 14.0, 21.0, 22.0
FLOAT_WAIT_S = 180.0
FULL_SHARE, REFILL_SHARE = 0.97, 0.90
OVERLOAD_WAIT_S = 480.0
STALL_PUSH_S, STALL_PERIOD_S = 25.0, 420.0


def power_allowed(plant: Plant, available_w: Floats, box_c: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """What the controller would take: its share of the maximum, its rating, less what heat forbids. [W]"""
    c = plant.control
    rating = plant.facts.controller.max_power_w
    cooler = np.clip(1.0 - c.derate_per_c * np.maximum(box_c - c.derate_c, 0.0), 0.0, 1.0)
    return np.minimum(available_w * c.mppt_share, rating * cooler), cooler < 0.999


def probe_and_float(plant: Plant, state: State, fx: dict[str, Any], level_m: Floats) -> tuple[Floats, Floats]:
    """What the two contacts say (1 = under water, 1 = tank full), lying or not; updates the float's memory."""
    depth = plant.facts.well.probe_depth_m
    wet = np.ones_like(level_m) if depth is None else (level_m < depth).astype(float)
    wet = np.where(np.asarray(fx["probe_says"]) >= 0, fx["probe_says"], wet)
    share = state.tank_m3 / plant.facts.tank.capacity_m3
    up = np.where(share >= FULL_SHARE, 1.0, np.where(share <= REFILL_SHARE, 0.0, state.full))
    up = np.where(np.asarray(fx["float_says"]) >= 0, fx["float_says"], up)
    state.float_s = np.where((state.full > 0.5) & (up < 0.5), FLOAT_WAIT_S, state.float_s)
    state.full = up
    return wet, up


def decide(
    plant: Plant,
    state: State,
    fx: dict[str, Any],
    step_s: float,
    wanted_w: Floats,
    volts: Floats,
    open_v: Floats,
    wet: Floats,
) -> Floats:
    """Seconds of this step that the motor is driven; updates timers, codes and `running`."""  # fmt: skip
    facts = plant.facts.controller
    low = (wet < 0.5) & (np.asarray(fx["probe_heeded"]) > 0.5)
    hold = 60.0 * facts.low_level_hold_min
    state.hold_s = np.where(low, hold, np.maximum(state.hold_s - step_s, 0.0))
    tripped = np.asarray(fx["trip"]) > 0
    state.lock_s = np.where(tripped, np.maximum(state.lock_s, step_s), np.maximum(state.lock_s - step_s, 0.0))
    state.float_s = np.maximum(state.float_s - step_s, 0.0)
    threshold = np.where(state.running > 0.5, plant.control.stop_w, plant.control.start_w)
    too_high = (open_v > facts.max_input_voltage_v) & (state.running < 0.5)
    sunny = (wanted_w > threshold) & (volts > facts.min_input_voltage_v)
    asked = (
        sunny & (np.asarray(fx["switched_on"]) > 0.5) & (np.asarray(fx["blocked"]) < 0.5)
        & (np.asarray(fx["cycling"]) < 0.5) & ~too_high & (state.hold_s <= 0) & (state.lock_s <= 0)
        & (state.full < 0.5) & (state.float_s <= 0)
    )  # fmt: skip
    before = state.sunny_s
    state.sunny_s = np.where(asked, before + step_s, 0.0)
    delay = plant.control.delay_s
    driven = np.where(asked, np.where(state.running > 0.5, step_s, np.clip(state.sunny_s - delay, 0.0, step_s)), 0.0)
    state.running = (driven > 0).astype(float)
    code = np.where(too_high & (open_v > 0), OVER_VOLTAGE, 0.0)
    code = np.where((state.hold_s > 0) & sunny, LOW_LEVEL, code)
    code = np.where(state.lock_s > 0, np.where(state.code > 0, state.code, OWN_FAULT), code)
    state.code = np.where(tripped, OWN_FAULT, code)
    return driven


def push_stalled(state: State, fx: dict[str, Any], step_s: float, driven_s: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """A motor that does not turn is fed for a while, again and again: (seconds driven, fed now without turning)."""
    held = np.asarray(fx["stalled"]) > 0.5
    if not np.any(held):
        return driven_s, np.zeros(len(driven_s), bool)
    state.tried_s = np.where(held & (driven_s > 0), state.tried_s + step_s, 0.0)
    place = (state.tried_s - step_s) % STALL_PERIOD_S
    push = held & (driven_s > 0) & (place < max(STALL_PUSH_S, step_s))
    state.code = np.where(held & (driven_s > 0) & ~push, NO_ROTATION, state.code)
    state.running = np.where(held, push, state.running > 0.5).astype(float)
    return np.where(held, np.where(push, np.minimum(driven_s, STALL_PUSH_S), 0.0), driven_s), push


def overload(state: State, heavy: NDArray[np.bool_], wait_s: float = OVERLOAD_WAIT_S) -> None:
    """Stop where the shaft asks for more current than the drive gives."""
    state.lock_s = np.where(heavy, wait_s, state.lock_s)
    state.code = np.where(heavy, OVERLOAD, state.code)
    state.running = np.where(heavy, 0.0, state.running)


def warm_box(plant: Plant, state: State, fx: dict[str, Any], step_s: float, power_w: Floats, plane: Floats) -> None:
    """The controller's box: its own losses and the sun on it, minutes behind."""
    load = power_w / plant.facts.controller.max_power_w
    target = (plant.control.warm_c + np.asarray(fx["hot_c"])) * load + 0.006 * plane + 0.25 * np.asarray(fx["hot_c"])
    keep = float(np.exp(-step_s / 1100.0))
    state.box_c = state.box_c * keep + (1 - keep) * target
