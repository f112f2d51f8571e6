"""What the instruments say: noise, steps, class errors, and the lies of a broken one."""

import numpy as np
import pandas as pd

DAY = 86400


def readings(site, sky, columns, wrongs, rng, step_s):
    """The frame of the channels fitted, each `step_s`, with a few per cent lost on the way."""
    n = len(sky.time_s)

    def noisy(values, share, floor):
        return values * (1 + rng.normal(0, 0.004)) + rng.normal(0, 1, n) * (share * np.abs(values) + floor)

    running = columns["running"]
    all_of = {
        "pv_voltage_v": np.round(np.maximum(noisy(columns["volts"], 0.004, 0.2), 0), 1),
        "pv_current_a": np.round(np.maximum(noisy(columns["pv_amps"], 0.006, 0.01), 0), 2),
        "motor_current_a": np.round(np.where(running, np.maximum(noisy(columns["amps"], 0.01, 0.02), 0), 0), 2),
        "motor_speed_rpm": np.round(np.where(running, columns["rpm"] * (1 + rng.normal(0, 0.002, n)), 0)),
        "volume_m3": 1000 * rng.random() + np.cumsum(columns["got_flow"]) / 60 * (1 + rng.normal(0, 0.008)),
        "discharge_pressure_bar": np.round(
            np.maximum(noisy(np.where(running, columns["above"], site["outlet"]) / 10.21, 0.002, 0.01), 0), 2
        ),
        "water_level_m": np.round(columns["level"] + rng.normal(0, 0.1) + rng.normal(0, 0.03, n), 2),
        "irradiance_w_m2": np.round(np.maximum(noisy(sky.poa, 0.006, 1.0), 0), 1),
        "module_temp_c": np.round(columns["cell"] - 1.5 + rng.normal(0, 0.6, n), 1),
        "ambient_temp_c": np.round(sky.ambient + rng.normal(0, 0.3, n), 1),
        "controller_temp_c": np.round(columns["heat"] + rng.normal(0, 0.5, n)),
        "low_level_probe_wet": np.where(columns["state"] == 1, 0.0, 1.0),
        "tank_float_up": columns["float"],
        "motor_running": running.astype(float),
        "fault_code": columns["codes"],
        "switched_on": columns["switch"],
    }
    for wrong in wrongs:
        _broken(all_of, wrong, sky.time_s, columns, site)
    all_of["volume_m3"] = np.round(np.floor(all_of["volume_m3"] / site["step"]) * site["step"], 3)
    frame = pd.DataFrame({name: all_of[name] for name in site["channels"]})
    frame.insert(0, "time", pd.to_datetime(sky.time_s, unit="s", utc=True))
    keep = rng.random(n) > 0.004
    for _ in range(rng.integers(0, 4)):
        at = rng.integers(0, n)
        keep[at : at + rng.integers(5, 90)] = False
    for wrong in wrongs:
        if wrong.cause == "silent":
            keep &= ~((sky.time_s >= wrong.begins) & (sky.time_s < wrong.ends))
    frame = frame[keep]
    return frame.iloc[:: max(1, step_s // 60)].reset_index(drop=True)


def _broken(all_of, wrong, time_s, columns, site):
    during = (time_s >= wrong.begins) & (time_s < wrong.ends)
    if wrong.cause == "stalled-motor":
        tries = during & (columns["best"] > 0.25 * site["cap_w"]) & ((time_s // 60) % 5 == 0)
        all_of["motor_current_a"] = np.where(tries, site["rated_a"] * 2.2, all_of["motor_current_a"])
        all_of["motor_running"] = np.where(tries, 1.0, all_of["motor_running"])
        all_of["pv_current_a"] = np.where(tries, np.round(0.12 * site["strings"] * 8.7, 2), all_of["pv_current_a"])
    if wrong.cause == "dry-running" and wrong.much > 0.6:  # the guard failed: the probe goes on saying wet
        all_of["low_level_probe_wet"] = np.where(during, 1.0, all_of["low_level_probe_wet"])
    if wrong.cause != "sensor-fault":
        return
    values = all_of[wrong.channel]
    match wrong.channel:
        case "low_level_probe_wet":
            values = np.where(during, 0.0, values)
        case "volume_m3":
            flow = np.diff(values, prepend=values[0])
            values = values[0] + np.cumsum(np.where(during, flow * (0.0 if wrong.much > 0.65 else 0.75), flow))
        case "irradiance_w_m2":
            values = np.where(during, values * (1 - 0.25 * wrong.much), values)
        case _ if wrong.much > 0.65:
            values = np.where(during, values[np.argmax(during)], values)
        case _:
            values = values + np.where(
                during, 0.12 * wrong.much * values.mean() * np.minimum((time_s - wrong.begins) / (20 * DAY), 1), 0
            )
    all_of[wrong.channel] = values
