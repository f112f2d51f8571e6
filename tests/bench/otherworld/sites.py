"""Draws a site that a careful installer could have built: array, pump and well that fit each other, and its site file."""

import numpy as np
from numpy.random import Generator

from .pumps import Centrifugal, Helical

MODULE = {"p_mp_w": 330, "v_mp_v": 37.8, "i_mp_a": 8.73, "v_oc_v": 46.1, "i_sc_a": 9.24}
FITOUTS = {
    "full": [
        "pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "volume_m3", "discharge_pressure_bar", "water_level_m",
        "irradiance_w_m2", "module_temp_c", "ambient_temp_c", "controller_temp_c", "low_level_probe_wet", "tank_float_up", "motor_running", "fault_code",
    ],
    "middle": ["pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "volume_m3", "low_level_probe_wet", "tank_float_up", "motor_running", "fault_code"],
    "lean": ["pv_voltage_v", "pv_current_a", "volume_m3"],
}  # fmt: skip


def draw_site(rng: Generator, kind: str, fitout: str) -> tuple[dict, object]:
    """Facts (as the site file will say, plus what only nature knows) and the pump as its datasheet says."""
    static = rng.uniform(15, 60)
    outlet = rng.uniform(4, 15)
    flow = rng.uniform(2.0, 5.0) if kind == "helical-rotor" else rng.uniform(3.5, 9.0)
    linear, square = rng.uniform(0.4, 1.2), rng.uniform(0.0, 0.05)
    lift = static + linear * flow + square * flow**2 + outlet
    diameter = 40 if flow < 3.5 else 50 if flow < 6 else 63
    head = lift * 1.06 + 2
    if kind == "helical-rotor":
        litre = flow / (0.06 * 2700) / 0.93
        torque = litre * 1e-3 / 6.283 * 9790 * head
        pump = Helical(
            litre,
            0.07 * flow * (100 / head) ** 0.85,
            0.22 * torque,
            torque * 1.2 / rng.uniform(5, 9),
            rng.uniform(0.5, 1.2),
            3000.0,
        )
        top_rpm = 3000
    else:
        stages = int(np.ceil(head / 5.4))
        pump = Centrifugal(stages, rng.uniform(7.6, 8.4), flow / 0.55, flow * 5.4 * 2.72 / 0.62, 200.0)
        top_rpm = 2900
    need = float(pump.draw(top_rpm, head)[0])
    series = int(np.clip(np.ceil(np.sqrt(need * 1.45 / MODULE["p_mp_w"]) * 2), 6, 14))
    strings = max(1, int(np.ceil(need * 1.45 / MODULE["p_mp_w"] / series)))
    south = rng.random() < 0.6
    facts = {
        "latitude_deg": round(rng.uniform(-32, -8) if south else rng.uniform(6, 18), 3), "longitude_deg": round(rng.uniform(-10, 38), 3),
        "altitude_m": round(rng.uniform(50, 1500)), "tilt_deg": 20.0, "azimuth_deg": 0.0 if south else 180.0, "mean_c": rng.uniform(18, 28),
        "series": series, "strings": strings, "static": static, "linear": linear, "square": square, "outlet": outlet, "diameter": diameter,
        "flow": flow, "kind": kind, "fitout": fitout, "setting": static + linear * flow * 1.3 + square * flow**2 + 14, "cap_w": round(need * 1.25, -1),
        "top_rpm": top_rpm, "step": 0.01 if fitout == "full" else float(rng.choice([0.01, 0.1])), "motor_kind": "permanent-magnet" if kind == "helical-rotor" else "induction",
        "tank": round(flow * 6 * rng.uniform(0.8, 1.5)), "rated_a": round(float(pump.draw(top_rpm, head)[1]) * 1.1, 1), "seasonal": round(rng.uniform(0.5, 2.5), 1),
    }  # fmt: skip
    return facts, pump


def table(pump, facts: dict) -> list[dict]:
    """The datasheet: a coarse, rounded table as a maker would print it."""
    rows = []
    lift = facts["static"] + facts["outlet"]
    for head in np.round(np.array([0.6, 1.0, 1.35, 1.7]) * lift, -1 if lift > 40 else 0):
        for rpm in np.linspace(0.35, 1, 6) * facts["top_rpm"]:
            flow = float(pump.flow(rpm, head))
            if flow > 0.02 * facts["flow"]:
                rows.append(
                    {
                        "head_m": float(head),
                        "power_w": round(float(pump.draw(rpm, head)[0])),
                        "flow_m3_h": round(flow, 2),
                        "speed_rpm": round(rpm),
                    }
                )
    return rows


def site_toml(facts: dict, pump, name: str, visits: list[tuple[str, str]]) -> str:
    """The site file's text."""
    f = facts
    curve = "\n".join(
        "  { " + ", ".join(f"{key} = {value}" for key, value in row.items()) + " }," for row in table(pump, facts)
    )
    channels = ", ".join(f'"{channel}"' for channel in f["channels"])
    module = "\n".join(f"{key} = {value}" for key, value in MODULE.items())
    shown = "\n".join(f'[[visit]]\ndate = {date}\nkind = "{kind}"\n' for date, kind in visits)
    return f"""
[site]
id = "{name}"
name = "{name}"
latitude_deg = {f["latitude_deg"]}
longitude_deg = {f["longitude_deg"]}
altitude_m = {f["altitude_m"]}
timezone = "UTC"
[array]
modules_in_series = {f["series"]}
strings = {f["strings"]}
tilt_deg = {f["tilt_deg"]}
azimuth_deg = {f["azimuth_deg"]}
[array.module]
{module}
temp_coeff_p_mp_pct_c = -0.36
temp_coeff_v_oc_pct_c = -0.29
temp_coeff_i_sc_pct_c = 0.05
noct_c = 45
[controller]
max_input_voltage_v = {round(f["series"] * 46.1 * f.get("rating_share", 1.22))}
min_input_voltage_v = {round(f["series"] * 37.8 * 0.45)}
max_power_w = {f["cap_w"]}
start_delay_s = 60
low_level_hold_min = 30
speed_limit_pct = 100
[cable]
length_m = {round(f["setting"] + 15)}
conductor_mm2 = 4
[motor]
kind = "{f["motor_kind"]}"
rated_current_a = {f["rated_a"]}
rated_speed_rpm = {f["top_rpm"]}
[pump]
kind = "{f["kind"]}"
setting_depth_m = {f["setting"]:.1f}
curve_power_at = "controller-input"
curve = [
{curve}
]
[well]
static_level_m = {f["static"]:.1f}
drawdown_linear_m_per_m3_h = {f["linear"]:.2f}
drawdown_quadratic_m_per_m3_h2 = {f["square"]:.3f}
tested_yield_m3_h = {f["flow"] * 1.3:.1f}
probe_depth_m = {f["setting"] - 1.5:.1f}
seasonal_range_m = {f["seasonal"]}
[delivery]
riser_length_m = {f["setting"]:.0f}
riser_inner_diameter_mm = {f["diameter"]}
pipe_length_m = 60
pipe_inner_diameter_mm = {f["diameter"]}
roughness_mm = 0.01
minor_loss_coefficient = 5.0
outlet_height_m = {f["outlet"]:.1f}
[tank]
capacity_m3 = {f["tank"]}
[sensors]
channels = [{channels}]
meter_step_m3 = {f["step"]}
{shown}"""
