"""What the board writes: gains, noise, pulses, steps of a register, gaps, and sensors that lie.

Never: imports of the analysis or of another plant.
"""

import numpy as np
import pandas as pd


def read(rng, site, m, module, sky, times, day, step_s, sun, heat, best, box, rest, got, by, odd) -> pd.DataFrame:
    """The frame of readings with `time` and the site's channels."""
    count = len(day)
    share = np.clip(got["power"] / np.maximum(best, 1.0), 0, 1)
    volts = np.zeros(count)
    lit = sun > 3
    volts[lit] = module.volts(sun[lit], heat[lit], share[lit]) * site["series"]
    if "over-voltage" in by:
        volts = volts * np.where(by["over-voltage"]["on"], 1.14, 1.0)
    power = np.where(lit, np.minimum(got["power"], best) + 4.0, 1.0)
    volume = 1000 * rng.uniform(0.1, 3) + np.cumsum(got["flow"]) * step_s / 3600 * rng.normal(1, 0.012)
    level = rest + got["drawdown"]
    wet = ~(got["low"] & (got["drawdown"] > 0.3)) & ~got["dry"]
    level = np.where(wet, level, site["probe"] + 0.3)
    level = np.where(got["dry"], site["setting"] + 0.1, level)
    bar = np.where(got["run"], (got["head"] - level) * 0.0981, site["up"] * 0.0981)
    trips = by["controller-trip"]["on"] & got["asked"] if "controller-trip" in by else np.zeros(count, bool)
    true = {
        "pv_voltage_v": volts, "pv_current_a": power / np.maximum(volts, 20.0), "input_power_w": power, "motor_current_a": got["amps"],
        "motor_speed_rpm": np.where(got["run"], got["rpm"], 0.0), "volume_m3": volume, "discharge_pressure_bar": np.maximum(bar, 0.0),
        "water_level_m": level, "irradiance_w_m2": sky.beam + sky.diffuse, "module_temp_c": heat, "ambient_temp_c": sky.air_c,
        "controller_temp_c": box, "low_level_probe_wet": wet * 1.0, "tank_float_up": got["full"] * 1.0, "motor_running": got["run"] * 1.0,
        "fault_code": np.where(trips, 7.0, 0.0), "switched_on": np.where(got["asked"] & ("switched-off" in odd), 0.0, 1.0),
    }  # fmt: skip
    steps = {"pv_voltage_v": 0.1, "pv_current_a": 0.01, "input_power_w": 1, "motor_current_a": 0.05, "motor_speed_rpm": 1, "irradiance_w_m2": 1,
             "discharge_pressure_bar": 0.01, "water_level_m": 0.02, "module_temp_c": 0.1, "ambient_temp_c": 0.1, "controller_temp_c": 0.5}  # fmt: skip
    frame = {"time": times}
    lie = by.get("sensor-fault")
    for name in site["channels"]:
        x = np.asarray(true[name], float)
        if name in steps:
            x = x * rng.normal(1, 0.007) * (1 + 0.003 * rng.standard_normal(count))
        if lie is not None and lie["channel"] == name:
            x = _lie(rng, x, lie, name, day)
        step = site["step"] if name == "volume_m3" else steps.get(name)
        if step:
            x = np.floor(x / step + (0 if name == "volume_m3" else 0.5)) * step
        frame[name] = np.where(rng.random(count) < 0.0005, np.nan, x)
    keep = rng.random(count) > 0.004
    for _ in range(rng.poisson(1.0)):
        gap = rng.uniform(5, day[-1])
        keep &= ~((day > gap) & (day < gap + 0.06))
    if "silent" in by:
        keep &= ~by["silent"]["on"]
    return pd.DataFrame(frame)[keep].reset_index(drop=True)


def _lie(rng, x: np.ndarray, lie: dict, name: str, day: np.ndarray) -> np.ndarray:
    on = lie["on"]
    if name == "low_level_probe_wet":
        return np.where(on, 0.0, x)
    if name == "volume_m3" or rng.random() < 0.5:
        return np.where(on, x[int(np.argmax(on))], x)  # stuck; the register goes on from where it hung
    return np.where(on, x * (1 + 0.3 * lie["much"] * np.clip((day - lie["begin"]) / 10, 0, 1)), x)
