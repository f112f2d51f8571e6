"""A drawn site: what was bought, what stands there, and the site file, which is never exactly right.

Never: imports of the analysis or of another plant.
"""

from dataclasses import replace

import numpy as np

from tests.bench.farworld.pump import WATER, Machine, colebrook, sound, work
from tests.bench.farworld.sky import Module

PLACES = [(-30.1, 25.2, "Africa/Johannesburg", 17), (15.3, -1.2, "Africa/Bamako", 28), (-1.9, 37.3, "Africa/Nairobi", 22),
          (24.5, 71.0, "Asia/Kolkata", 26), (36.9, -3.9, "Europe/Madrid", 17), (-24.2, 18.0, "Africa/Windhoek", 20)]  # fmt: skip
FULL = ["pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "volume_m3", "discharge_pressure_bar", "water_level_m",
        "irradiance_w_m2", "module_temp_c", "ambient_temp_c", "controller_temp_c", "low_level_probe_wet", "tank_float_up",
        "motor_running", "fault_code"]  # fmt: skip
MIDDLE = ["pv_voltage_v", "pv_current_a", "motor_speed_rpm", "motor_current_a", "volume_m3", "low_level_probe_wet",
          "tank_float_up", "motor_running"]  # fmt: skip


def fitted(rng: np.random.Generator, fitout: str) -> list[str]:
    """The channels of a fit-out."""
    if fitout == "full":
        return FULL + (["switched_on"] if rng.random() < 0.5 else [])
    if fitout == "middle":
        return list(MIDDLE)
    lean = ["pv_voltage_v", "pv_current_a"] if rng.random() < 0.5 else ["input_power_w"]
    return [*lean, "volume_m3"] + (["tank_float_up"] if rng.random() < 0.5 else [])


def draw_site(rng: np.random.Generator, fitout: str) -> tuple[dict, Machine]:
    """The true site and its machine."""
    lat, lon, zone, mean = PLACES[rng.integers(len(PLACES))]
    kind = "helical-rotor" if rng.random() < 0.5 else "multistage-centrifugal"
    helical = kind == "helical-rotor"
    static, up = rng.uniform(18, 60), rng.uniform(2, 12)
    rated = rng.uniform(2.5, 6.0)
    linear, square = rng.uniform(0.5, 1.6), rng.uniform(0.01, 0.06)
    fallen = linear * rated + square * rated**2
    setting = static + fallen + rng.uniform(9, 18)
    bore = 40 if rated < 4.5 else 50
    length = setting + rng.uniform(40, 150)
    loss = colebrook(rated, bore, length, 0.02) * 1.05
    lift = static + up + fallen
    head = lift + loss
    top = float(rng.choice([1500.0, 3000.0])) if helical else 2900.0
    shaft = WATER * rated * head / (0.78 if helical else 0.58)
    torque = shaft / (top * np.pi / 30)
    rated_a = shaft / 0.8 / rng.choice([110, 160, 220]) / 1.73 / 0.85
    slip = 0.06 * rated / head**1.2
    # Copper as fitters choose it: the least cross-section that keeps the loss at rated current to 3 % (common practice, no source).
    metres = round(setting * 1.15)
    copper = next(
        (mm2 for mm2 in (1.5, 2.5, 4, 6, 10, 16) if 3 * rated_a**2 * 0.0178 * metres / mm2 < 0.03 * shaft / 0.8), 25
    )
    machine = Machine(
        kind, top, (rated + slip * head**1.2) / top, slip, 0.18 * shaft / top, 1.45 * head, (1.45 * head - head) / rated**2,
        shaft, rated, head, 0.80, 25.0, rated_a / torque * 0.97, rated_a * 0.2, loss / rated ** (1.85 if helical else 2),
        0.0178 * metres / copper,
    )  # fmt: skip
    full_w = float(work(machine, np.array([top]), sound(np.array([lift])))[3][0])
    # Controllers keep a least speed, under which they rather stand (common practice, no source).
    least = float(work(machine, np.array([top * (0.12 if helical else 0.6)]), sound(np.array([static + up])))[3][0])
    v_mp, modules_w = rng.uniform(30, 38), full_w * rng.uniform(1.15, 1.5)
    series = int(rng.integers(4, 8))
    strings = max(1, round(modules_w / (v_mp * rng.uniform(2.5, 8) * series)))
    i_mp = modules_w / (v_mp * series * strings)
    sheet = {
        "v_mp": v_mp,
        "i_mp": i_mp,
        "v_oc": v_mp * rng.uniform(1.2, 1.24),
        "i_sc": i_mp * rng.uniform(1.055, 1.075),
    }
    site = {
        "lat": lat, "lon": lon, "zone": zone, "alt": 700.0, "tilt": abs(lat) * 0.9 + 6, "azimuth": 0 if lat < 0 else 180, "mean_c": mean,
        "rain": rng.uniform(0.02, 0.12), "cloud": rng.uniform(0.03, 0.12), "static": static, "up": up, "linear": linear, "square": square,
        "setting": setting, "probe": setting - 2.0, "series": series, "strings": strings, "sheet": sheet,
        "tank": rng.uniform(3, 10) * rated, "step": float(rng.choice([0.001, 0.01, 0.01, 0.1])), "channels": fitted(rng, fitout),
        "gain": rng.uniform(0.965, 1.02), "delay_s": float(rng.choice([20, 40, 90])), "full_w": full_w, "least_w": max(least, 0.08 * full_w), "pause_s": float(rng.choice([120, 240, 360])), "hold_s": 1800.0, "bore": bore,
        "length": length, "head": head, "lift": lift, "hole": static, "gives_s": 3600.0, "metres": metres, "copper": copper, "rated_a": rated_a,
        "v_max": 1.13 * sheet["v_oc"] * series, "under": 1.0, "visits": [], "listed": _as_bought(rng, machine, lift),
        "said": (static + rng.normal(0, 0.4), linear * rng.normal(1, 0.08)),
    }  # fmt: skip
    return site, machine


def _as_bought(rng: np.random.Generator, machine: Machine, lift: float) -> list[tuple[float, float, float, float]]:
    """Rows of the datasheet: head, power at the controller with a short cable, flow, speed; off by what ISO 9906 grade 2 allows."""
    flow_off, power_off = np.clip(rng.normal(1.0, 0.02), 0.96, 1.04), np.clip(rng.normal(1.0, 0.015), 0.97, 1.03)
    bare = replace(machine, pipe=1e-9, cable_ohm=0.0)
    rows = []
    for head in (0.6 * lift, 0.8 * lift, lift, 1.2 * lift):
        for share in (0.4, 0.55, 0.7, 0.85, 1.0):
            flow, _, _, power, _ = work(bare, np.array([machine.top_rpm * share]), sound(np.array([head])))
            if flow[0] > 0.12 * machine.rated_m3_h:
                rows.append((head, power[0] * power_off, flow[0] * flow_off, machine.top_rpm * share))
    return rows


def site_text(site: dict, m: Machine) -> str:
    """The site file, visits and all."""
    sheet, series = site["sheet"], site["series"]
    one = Module(sheet, round(sheet["v_oc"] / 0.62))
    warm = {k: float(one.sheet_at(k, 1000.0, 50.0) / one.sheet_at(k, 1000.0, 25.0) - 1) * 4 for k in ("p_mp", "v_oc")}
    rows = "\n".join(
        f"  {{ head_m = {h:.1f}, power_w = {p:.0f}, flow_m3_h = {q * site['under']:.3f}, speed_rpm = {n:.0f} }},"
        for h, p, q, n in site["listed"]
    )
    listed = ", ".join(f'"{c}"' for c in site["channels"])
    visits = "".join(f'[[visit]]\ndate = {date}\nkind = "{kind}"\n' for date, kind in site["visits"])
    return f"""
[site]
id = "far-site"
name = "Far site"
latitude_deg = {site["lat"]}
longitude_deg = {site["lon"]}
altitude_m = 700
timezone = "{site["zone"]}"
[array]
modules_in_series = {series}
strings = {site["strings"]}
tilt_deg = {site["tilt"]:.1f}
azimuth_deg = {site["azimuth"]}
[array.module]
p_mp_w = {sheet["v_mp"] * sheet["i_mp"]:.1f}
v_mp_v = {sheet["v_mp"]:.2f}
i_mp_a = {sheet["i_mp"]:.3f}
v_oc_v = {sheet["v_oc"]:.2f}
i_sc_a = {sheet["i_sc"]:.3f}
temp_coeff_p_mp_pct_c = {warm["p_mp"]:.2f}
temp_coeff_v_oc_pct_c = {warm["v_oc"]:.2f}
temp_coeff_i_sc_pct_c = 0.05
noct_c = 45
[controller]
max_input_voltage_v = {site["v_max"]:.0f}
min_input_voltage_v = {0.5 * sheet["v_mp"] * series:.0f}
max_power_w = {1.75 * site["full_w"]:.0f}
start_delay_s = {site["delay_s"]:.0f}
low_level_hold_min = 30
speed_limit_pct = 100
[cable]
length_m = {site["metres"]}
conductor_mm2 = {site["copper"]}
[motor]
kind = "{"permanent-magnet" if m.helical else "induction"}"
rated_current_a = {site["rated_a"]:.1f}
rated_speed_rpm = {m.top_rpm:.0f}
[pump]
kind = "{m.kind}"
setting_depth_m = {site["setting"]:.1f}
curve_power_at = "controller-input"
curve = [
{rows}
]
[well]
static_level_m = {site["said"][0]:.1f}
drawdown_linear_m_per_m3_h = {site["said"][1]:.2f}
drawdown_quadratic_m_per_m3_h2 = {site["square"]:.3f}
tested_yield_m3_h = {m.rated_m3_h * 1.1:.1f}
probe_depth_m = {site["probe"]:.1f}
seasonal_range_m = 1.5
[delivery]
riser_length_m = {site["setting"]:.0f}
riser_inner_diameter_mm = {site["bore"]}
pipe_length_m = {site["length"] - site["setting"]:.0f}
pipe_inner_diameter_mm = {site["bore"]}
roughness_mm = 0.02
minor_loss_coefficient = 6.0
outlet_height_m = {site["up"]:.1f}
[tank]
capacity_m3 = {site["tank"]:.1f}
[sensors]
channels = [{listed}]
meter_step_m3 = {site["step"]}
commissioned = 2025-03-01
{visits}"""
