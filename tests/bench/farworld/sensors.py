"""What the board writes: gains, noise, steps of a register, gaps, doubled rows, and sensors that lie.

Never: imports of the analysis or of another plant.
"""

import numpy as np
import pandas as pd

STEPS = {
    "pv_voltage_v": 0.1, "pv_current_a": 0.01, "input_power_w": 1, "motor_current_a": 0.05, "motor_speed_rpm": 1, "irradiance_w_m2": 1,
    "discharge_pressure_bar": 0.01, "water_level_m": 0.02, "module_temp_c": 0.1, "ambient_temp_c": 0.1, "controller_temp_c": 0.5,
}  # fmt: skip
NOISE = {
    "module_temp_c": 0.4,
    "ambient_temp_c": 0.4,
    "controller_temp_c": 0.4,
    "discharge_pressure_bar": 0.012,
    "motor_current_a": 0.06,
}
"""Of a reading, in the channel's unit; of every other, a share of its range. Drives ripple, and a transmitter's class is of its whole range."""
OFFSETS = {
    "module_temp_c": 12.0,
    "ambient_temp_c": 9.0,
    "controller_temp_c": 15.0,
    "water_level_m": 6.0,
    "discharge_pressure_bar": 0.8,
}
"""How far a lying sensor of this kind may be off; of every other, a share of its usual value."""


def lie(rng: np.random.Generator, x: np.ndarray, fault, name: str, day: np.ndarray) -> np.ndarray:
    """The channel as a lying sensor reads it, before its resolution."""
    on, kind = fault.on, fault.kind
    first = int(np.argmax(on))
    if kind == "dead":
        return np.where(on, np.nan, x)
    if kind in ("wet", "dry", "up", "down"):
        return np.where(on, float(kind in ("wet", "up")), x)
    if name == "volume_m3":
        rise = np.diff(x, prepend=x[:1]) * np.where(on, 0.0 if kind == "stuck" else 1 - fault.much * 0.5, 1.0)
        return x[0] + np.cumsum(rise)
    if kind == "stuck":
        lit = np.flatnonzero(on & (x > np.nanmedian(x)))
        return np.where(on, x[lit[0] if len(lit) else first], x)
    sign = rng.choice([-1.0, 1.0])
    off = OFFSETS.get(name, 0.3 * float(np.nanquantile(x, 0.98))) * (0.5 + 0.5 * fault.much) * sign
    if kind == "scale":
        return np.where(on, x * (1 + sign * (0.12 + 0.25 * fault.much)), x)
    grown = np.clip((day - fault.begin) / 15, 0, 1) if kind == "drift" else 1.0
    return np.where(on, np.maximum(x + off * grown, 0.0) if name in ("pv_voltage_v", "pv_current_a", "input_power_w", "irradiance_w_m2", "motor_current_a", "motor_speed_rpm") else x + off * grown, x)  # fmt: skip


def written(
    rng: np.random.Generator, site: dict, times: pd.DatetimeIndex, day: np.ndarray, true: dict, faults: dict, every: int
) -> pd.DataFrame:
    """The frame of readings: `time` and the site's channels, one row in `every` steps."""
    count = len(day)
    fault = faults.get("sensor-fault")
    frame: dict = {"time": times}
    for name in site["channels"]:
        x = np.asarray(true[name], float)
        if name in STEPS:
            wide = NOISE.get(name, 0.003 * float(np.quantile(np.abs(x), 0.98)))
            gain = 1.0 if name.endswith("temp_c") else rng.normal(1, 0.006)
            x = np.where(
                x == 0,
                0.0,
                x * gain + wide * rng.standard_normal(count) * np.clip(np.abs(x) / max(wide * 30, 1e-9), 0, 1),
            )
        if fault is not None and fault.channel == name:
            x = lie(rng, x, fault, name, day)
        if name == "volume_m3":
            x = np.floor(x / site["step"] + 1e-6) * site["step"]
        elif name in STEPS:
            x = np.round(x / STEPS[name]) * STEPS[name]
        frame[name] = np.where(rng.random(count) < 0.0005, np.nan, x)
    keep = (np.arange(count) % every == 0) & (rng.random(count) > 0.004)
    for _ in range(rng.poisson(1.0)):
        gap = rng.uniform(5, max(day[-1], 6))
        keep &= ~((day > gap) & (day < gap + 0.06))
    if "silent" in faults:
        keep &= ~faults["silent"].on
    whole = pd.DataFrame(frame)[keep]
    for _ in range(rng.poisson(0.5)):  # a run of nulls: the bus to the controller did not answer
        at = int(rng.integers(0, len(whole)))
        whole.iloc[at : at + int(rng.integers(2, 12)), 1:] = np.nan
    twice = whole[rng.random(len(whole)) < 0.0005]
    return pd.concat([whole, twice], ignore_index=True)
