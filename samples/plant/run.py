"""The plant's clock: one step after the other through the hours of sun, all days of a season side by side.

Flow: sky, array's offer, effects, state -> HERE -> `Run` (what happened, before any sensor) -> electric.py, sensors.py.
Never: sensors; the calendar.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from samples.plant import controller
from samples.plant.array import Supply
from samples.plant.drawn import Plant
from samples.plant.effects import Effects
from samples.plant.motor import MOST_CURRENT
from samples.plant.sky import Sky
from samples.plant.state import State
from samples.plant.well import TIME_CONSTANTS_S

Floats = NDArray[np.float64]
Lanes = NDArray[np.int64]
SPEEDS = 14
SUCTION_M = 9.0  # what the air's weight lifts, less vapour and the pump's own need


@dataclass
class Run:
    """What happened, (steps, days) each. `flow`: mean over the step to the tank; `pumped`: through the pump.

    `driven_s`: seconds of the step that the motor was driven; `fed_still`: fed without turning.
    """

    running: Floats
    driven_s: Floats
    rpm: Floats
    torque_nm: Floats
    input_w: Floats
    wanted_w: Floats
    flow: Floats
    pumped: Floats
    head_m: Floats
    level_m: Floats
    empty_m3: Floats
    tank_m3: Floats
    drawn_m3: Floats
    spilt_m3: Floats
    box_c: Floats
    code: Floats
    probe_wet: Floats
    float_up: Floats
    fed_still: Floats
    held_back: Floats


def blank(shape: tuple[int, int]) -> Run:
    """Nothing happened yet."""
    return Run(**{name: np.zeros(shape) for name in Run.__dataclass_fields__})


@dataclass(frozen=True)
class Scene:
    """All that a run needs besides the state. `draw_m3_h`: water taken from the tank; `gasp`: noise 0..1."""

    plant: Plant
    sky: Sky
    offer: Supply
    effects: Effects
    resting_m: Floats
    draw_m3_h: Floats
    gasp: Floats
    step_s: float
    forced_w: Floats | None = None  # input power laid down from outside: the healthy twin's


def run_steps(scene: Scene, state: State, run: Run, lanes: Lanes, steps: range) -> None:
    """Advance `state` (of `lanes`) through `steps`, writing into `run`."""
    keep = np.exp(-scene.step_s / TIME_CONSTANTS_S)[:, None]
    everywhere = len(lanes) == run.flow.shape[1]
    for step in steps:
        which: Any = slice(None) if everywhere else lanes
        _one_step(scene, state, run, step, which, keep)


def _one_step(scene: Scene, state: State, run: Run, step: int, which: Any, keep: Floats) -> None:
    plant, step_s = scene.plant, scene.step_s
    fx = scene.effects.at(step, which)
    level = _level(scene, state, fx, step, which)
    intake = plant.facts.pump.setting_depth_m
    level = np.minimum(level, intake + 0.3)
    wet, up = controller.probe_and_float(plant, state, fx, level)
    box = state.box_c + scene.sky.ambient_c[step, which]
    wanted, hot = controller.power_allowed(plant, scene.offer.power_w[step, which], box)
    if scene.forced_w is None:
        driven = controller.decide(
            plant, state, fx, step_s, wanted, scene.offer.voltage_v[step, which], scene.offer.open_v[step, which], wet
        )
        driven, push = controller.push_stalled(state, fx, step_s, driven)
    else:
        wanted = scene.forced_w[step, which]
        driven, push = np.where(wanted > 0, step_s, 0.0), np.zeros(len(level), bool)
        state.running = (driven > 0).astype(float)
    done = _pump(scene, state, fx, step, which, level, wanted, driven)
    rpm, torque, power, pumped, head, heavy = done
    if scene.forced_w is None:
        controller.overload(state, heavy)
    turning = (driven > 0) & ~push & ~heavy
    rpm, torque = np.where(turning, rpm, 0.0), np.where(turning, torque, 0.0)
    torque = np.where(
        push | heavy, np.minimum(MOST_CURRENT, 1.1 + 0.35 * plant.flow_factor) * plant.motor.rated_nm, torque
    )
    still_w = np.minimum(wanted, 0.35 * plant.motor.rated_w)
    power = np.where(turning, power, np.where(push | heavy, still_w, 0.0))
    pumped = np.where(turning, pumped, 0.0)
    flow = column(plant, state, fx, step_s, pumped, driven, level)
    through = pumped * driven / step_s
    state.wells = state.wells * keep + plant.well.share_m_per_m3_h[:, None] * (1 - keep) * through
    state.flow = pumped
    dry = np.clip(1 - pumped / np.maximum(0.25 * plant.pump.rated_flow * rpm / plant.motor.rated_rpm, 1e-6), 0, 1)
    state.heat = np.where(turning, state.heat + step_s / 1500.0 * (0.7 * dry - state.heat), state.heat * 0.98)
    drawn, spilt = _tank(plant, state, scene.draw_m3_h[step, which], flow, step_s)
    controller.warm_box(plant, state, fx, step_s, power, scene.sky.plane_w_m2[step, which])
    out = (
        state.running, driven, rpm, torque, power, wanted, flow, pumped, np.where(turning, head, 0.0), level, state.empty_m3, state.tank_m3, drawn, spilt,
        state.box_c, np.where(hot & turning & (state.code == 0), controller.HOT, state.code), wet, up,
        (push | heavy), hot,
    )  # fmt: skip
    for name, value in zip(Run.__dataclass_fields__, out, strict=True):
        getattr(run, name)[step, which] = value


def _level(scene: Scene, state: State, fx: dict[str, Any], step: int, which: Any) -> Floats:
    harder = 1.0 + np.asarray(fx["drawdown"])
    drawdown = harder * (state.wells.sum(axis=0) + scene.plant.well.quadratic * state.flow**2)
    return scene.resting_m[step, which] + fx["static_m"] + drawdown


def _share_of_water(
    scene: Scene, state: State, fx: dict[str, Any], level: Floats, noise: Floats
) -> tuple[Floats, Floats]:
    """How wet the pump swallows, and the most that can reach it [m3/h]."""
    plant = scene.plant
    intake = plant.facts.pump.setting_depth_m
    short = np.clip((level - intake) / 0.3, 0.0, 1.0)
    inflow = np.asarray(fx["inflow_m3_h"], float)
    gasping = np.where(inflow < 1e8, inflow * 2.2 * noise, 1e9)
    natural = np.where(short > 0, np.maximum(state.flow, 0.02) * (1.0 - 0.35 * short), 1e9)
    obstruction = np.maximum(np.asarray(fx["clog_intake"], float), 1e-9)
    cavitates = np.sqrt((np.maximum(intake - level, 0.0) + SUCTION_M) / obstruction)
    limit = np.minimum(np.minimum(gasping, natural), cavitates)
    return limit, cavitates


def _pump(
    scene: Scene, state: State, fx: dict[str, Any], step: int, which: Any, level: Floats, wanted: Floats, driven: Floats
):
    """Speed that uses the power wanted: (rpm, torque, input power, flow through the pump, too heavy to turn)."""
    plant = scene.plant
    c, pump, motor = plant.control, plant.pump, plant.motor
    if not np.any(driven > 0):
        none = np.zeros(len(level))
        return none, none, none, none, none, none > 0
    limit, _ = _share_of_water(scene, state, fx, level, scene.gasp[step, which])
    riser, pipe = plant.pipes.obstruction(state.flow)
    blocked = riser + pipe + fx["clog_intake"] + fx["clog_pump"] + fx["clog_delivery"]
    lift = level + plant.pipes.outlet_height_m - state.empty_m3 / plant.pipes.column_m3_per_m
    top = c.most_rpm * plant.facts.controller.speed_limit_pct / 100.0 * np.asarray(fx["speed_setting"])
    if np.any(fx["surge"]):
        top = top * (1 - fx["surge"] * scene.gasp[step, which])
    least = np.minimum(c.least_rpm, top)
    ladder = least + np.linspace(0.0, 1.0, SPEEDS)[:, None] * (top - least)

    starved = bool(np.any(limit < 1.4 * pump.rated_flow))

    def at(rpm: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        flow, head, torque = pump.work(rpm, lift, blocked, fx, 1.0, state.heat)
        if starved:
            wet = np.minimum(1.0, limit / np.maximum(flow, 1e-9))
            flow, head, torque = pump.work(rpm, lift, blocked, fx, wet, state.heat)
        torque = torque + np.asarray(fx["drag"]) * motor.rated_nm
        return flow, torque, motor.input_w(torque, rpm, fx), head

    _, torques, powers, _ = at(ladder)
    too_heavy = motor.current_a(torques, fx) > MOST_CURRENT * motor.rated_a
    powers = np.where(too_heavy, 1e12, np.maximum.accumulate(powers, axis=0))
    below = (powers <= wanted).sum(axis=0) - 1
    heavy = (driven > 0) & too_heavy[0]
    low = np.clip(below, 0, SPEEDS - 2)
    column = np.arange(len(low))
    span = powers[low + 1, column] - powers[low, column]
    share = np.clip((wanted - powers[low, column]) / np.maximum(span, 1e-9), 0.0, 1.0)
    share = np.where(below < 0, 0.0, share)
    rpm = least + (low + share) / (SPEEDS - 1) * (top - least)
    flow, torque, power, head = at(rpm)
    fits = power <= wanted * 1.0001
    scale = np.where(fits, 1.0, wanted / np.maximum(power, 1e-9))
    return rpm * scale, torque, np.minimum(power, wanted), flow * scale, head, heavy


def column(
    plant: Plant, state: State, fx: dict[str, Any], step_s: float, pumped: Floats, driven: Floats, level: Floats
) -> Floats:
    """Mean flow that reaches the tank; fills or drains the riser."""
    hours = step_s / 3600.0
    deep = np.maximum(level, 1.0)
    standing = np.maximum(deep - state.empty_m3 / plant.pipes.column_m3_per_m, 0.0)
    lost = np.asarray(fx["leak"]) * np.sqrt(0.6 * standing + np.maximum(plant.pipes.outlet_height_m, 0.0))
    gained = np.maximum(pumped * driven / step_s - lost, 0.0) * hours
    fills = np.minimum(state.empty_m3, gained)
    at_rest = (driven <= 0) | (pumped <= 0)
    runs_out = (np.asarray(fx["drains"]) * 0.25 + plant.seep_m3_h) * np.sqrt(standing / deep) + lost
    most = plant.pipes.column_m3_per_m * deep * np.where(np.asarray(fx["leak"]) > 0, 0.75, 1.0)
    emptied = np.minimum(state.empty_m3 + runs_out * hours, np.maximum(most, state.empty_m3))
    state.empty_m3 = np.where(at_rest, emptied, state.empty_m3 - fills)
    return (gained - fills) / hours


def _tank(plant: Plant, state: State, draw_m3_h: Floats, flow: Floats, step_s: float) -> tuple[Floats, Floats]:
    """(drawn, spilt) in this step, m3."""
    hours = step_s / 3600.0
    drawn = np.minimum(state.tank_m3, draw_m3_h * hours)
    tank = state.tank_m3 + flow * hours - drawn
    spilt = np.maximum(tank - 1.02 * plant.facts.tank.capacity_m3, 0.0)
    state.tank_m3 = tank - spilt
    return drawn, spilt
