"""What the instruments read: noise, bias within their class, steps, and what a sick one says.

Flow: simulate.py, electric.py -> HERE (true values, then readings) -> season.py, live.py.
Noise is drawn by channel and day, so that one channel's faults never move another's.
Never: the record's form.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from samples.plant.electric import electric
from samples.plant.simulate import Lived
from samples.plant.streams import stream

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Class:
    """`noise` of full scale or, with `of_value`, of the value; `bias`: spread of the fixed error; `step`: resolution."""

    noise: float
    bias: float
    step: float
    of_value: bool = True
    floor: float = 0.0


CLASSES: dict[str, Class] = {
    "pv_voltage_v": Class(0.002, 0.005, 0.1, floor=0.1),
    "pv_current_a": Class(0.004, 0.008, 0.01, floor=0.008),
    "input_power_w": Class(0.005, 0.01, 1.0, floor=1.0),
    "motor_current_a": Class(0.007, 0.012, 0.01, floor=0.015),
    "motor_voltage_v": Class(0.006, 0.01, 0.1, floor=0.2),
    "motor_speed_rpm": Class(0.0015, 0.0, 1.0, floor=1.0),
    "drive_frequency_hz": Class(0.0005, 0.0, 0.01, floor=0.01),
    "flow_m3_h": Class(0.010, 0.012, 0.001, floor=0.004),
    "discharge_pressure_bar": Class(0.012, 0.02, 0.01, of_value=False),
    "water_level_m": Class(0.02, 0.10, 0.01, of_value=False),
    "irradiance_w_m2": Class(0.006, 0.012, 1.0, floor=1.0),
    "module_temp_c": Class(0.4, 0.8, 0.1, of_value=False),
    "ambient_temp_c": Class(0.25, 0.4, 0.1, of_value=False),
    "controller_temp_c": Class(0.3, 0.8, 1.0, of_value=False),
    "tank_level_m": Class(0.01, 0.02, 0.01, of_value=False),
}
FLAGS = ("low_level_probe_wet", "tank_float_up", "motor_running", "fault_code", "speed_setting_pct", "switched_on")
TANK_HEIGHT_M = 2.2


def true_values(lived: Lived) -> dict[str, Floats]:
    """Every channel as a perfect instrument would read it at the end of each step, (steps, days)."""
    run, sky, plant, fx = lived.run, lived.sky, lived.plant, lived.scene.effects
    shape = run.flow.shape
    limit = plant.facts.controller.speed_limit_pct
    return {
        **electric(lived),
        "flow_m3_h": run.flow,
        "discharge_pressure_bar": pressure(lived),
        "water_level_m": run.level_m,
        "irradiance_w_m2": sky.plane_w_m2,
        "module_temp_c": sky.module_c,
        "ambient_temp_c": sky.ambient_c,
        "controller_temp_c": sky.ambient_c + run.box_c,
        "low_level_probe_wet": run.probe_wet,
        "tank_float_up": run.float_up,
        "motor_running": ((run.running > 0.5) | (run.fed_still > 0.5)).astype(float),
        "fault_code": run.code,
        "speed_setting_pct": np.broadcast_to(limit * np.asarray(fx["speed_setting"]), shape),
        "switched_on": np.broadcast_to(np.asarray(fx["switched_on"], float), shape),
        "tank_level_m": run.tank_m3 / plant.facts.tank.capacity_m3 * TANK_HEIGHT_M,
    }


def pressure(lived: Lived) -> Floats:
    """Gauge pressure at the wellhead: the pipe's height and loss above it. A column that sank leaves none. [bar]"""
    run, plant, fx = lived.run, lived.plant, lived.scene.effects
    _, pipe = plant.pipes.obstruction(run.pumped)
    throttle = np.asarray(fx["clog_delivery"])
    head = plant.pipes.outlet_height_m + (pipe + throttle) * run.flow**2
    dead = (run.rpm > 0) & (throttle > 50.0)
    head = np.where(dead, run.head_m - run.level_m, head)
    held = run.empty_m3 < 0.002
    return np.where(held, head, 0.0) * 997.0 * 9.80665 / 1e5


def biases(seed: int, channels: tuple[str, ...]) -> dict[str, float]:
    """The fixed error of each instrument of this plant, in shares of the value or in its unit."""
    return {
        name: CLASSES[name].bias * float(np.clip(stream(seed, f"bias {name}").normal(0, 0.5), -1, 1))
        for name in channels
        if name in CLASSES
    }


def read(
    name: str, true: Floats, seed: int, days: NDArray[np.int64], bias: float, noise: Floats | None = None
) -> Floats:
    """Readings of a measuring channel: (steps, days) in, the same out, NaN kept."""
    kind = CLASSES[name]
    if noise is None:
        noise = np.array([stream(seed, f"noise {name}", int(day)).standard_normal(len(true)) for day in days]).T
    noise = (noise + 0.05 * noise**3) / 1.155  # tails heavier than a normal law's, the same spread
    if kind.of_value:
        value = true * (1 + bias) + noise * np.hypot(kind.noise * true, np.where(true != 0, kind.floor, 0.0))
    else:
        value = true + bias + noise * kind.noise
    value = np.round(value / kind.step) * kind.step
    return (
        np.maximum(value, 0.0) if name in ("irradiance_w_m2", "pv_current_a", "flow_m3_h", "input_power_w") else value
    )


def meter_register(flow: Floats, step_s: float, step_m3: float, start_m3: float, factor: float = 1.0) -> Floats:
    """The meter's register after each step, in time order (n,): whole steps only. [m3]"""
    total = start_m3 + np.cumsum(flow) * (step_s / 3600.0) * factor
    return np.round(np.floor(total / step_m3 + 1e-9) * step_m3, 4)


def ordered(values: Floats) -> Floats:
    """(steps, days) -> time order."""
    return np.ascontiguousarray(values.T).ravel()


def sick(name: str, values: Floats, how: dict[str, Any], time_s: Floats, step: float) -> Floats:
    """Readings (in time order) of an instrument that fails in the way `how` says from `begins` to `ends` (s)."""
    within = (time_s >= how["begins"]) & (time_s < how["ends"])
    if not within.any():
        return values
    out = values.copy()
    days_in = (time_s[within] - how["begins"]) / 86400.0
    mode, severity = how["mode"], how["severity"]
    if mode == "stuck":
        held = values[max(0, int(np.argmax(within)) - 1)] if how.get("value") is None else how["value"]
        out[within] = held
    elif mode == "dead":
        out[within] = 0.0
    elif mode == "missing":
        out[within] = np.nan
    elif mode == "drift":
        out[within] = np.round((values[within] + severity * days_in) / step) * step
    elif mode == "dirty":
        out[within] = np.round(values[within] * (1 - np.minimum(severity, 0.004 * days_in)) / step) * step
    elif mode == "under-reading":
        out[within] = np.round(values[within] * (1 - severity) / step) * step
    elif mode == "noisy":
        rng = stream(int(how["begins"]), f"sick {name}")
        out[within] = values[within] * (1 + severity * rng.standard_normal(int(within.sum())))
    else:
        raise ValueError(f"no sensor fails in the way {mode!r}")
    return out
