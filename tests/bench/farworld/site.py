"""A drawn site: what was bought, what stands there, and the site file, which is never exactly right.

Never: imports of the analysis or of another plant.
"""

import numpy as np

from tests.bench.farworld.pump import WATER, Load, Machine, colebrook, work

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


def plain_load(lift: np.ndarray) -> Load:
    """A sound plant."""
    zero = np.zeros_like(lift)
    return Load(lift, zero, zero, zero, zero, zero)


def draw_site(rng: np.random.Generator, fitout: str) -> tuple[dict, Machine, str]:
    """The true site, its machine, and the site file's text."""
    lat, lon, zone, mean = PLACES[rng.integers(len(PLACES))]
    kind = "helical-rotor" if rng.random() < 0.5 else "multistage-centrifugal"
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
    top = 2900.0 if kind[0] == "m" else float(rng.choice([1500.0, 3000.0]))
    power = 1.75 if kind[0] == "h" else 2.0
    shaft = WATER * rated * head / (0.58 if kind[0] == "m" else 0.78)
    torque = shaft / (top * np.pi / 30)
    rated_a = rng.uniform(4, 9)
    slip = 0.06 * rated / head**1.2
    machine = Machine(
        kind, top, (rated + slip * head**1.2) / top, slip, 0.18 * shaft / top, 1.45 * head, (1.45 * head - lift) / rated**2 - loss / rated**2,
        shaft, rated, 0.80, 25.0, rated_a / torque * 0.97, rated_a * 0.2, loss / rated ** (1.85 if kind[0] == "h" else 2), 0.0178 * setting * 1.15 / 4,
    )  # fmt: skip
    full_w = float(work(machine, np.array([top]), plain_load(np.array([lift])))[3][0])
    v_mp, i_mp = rng.uniform(30, 38), rng.uniform(4.5, 9)
    series = int(rng.integers(4, 8))
    strings = max(1, round(full_w * rng.uniform(1.15, 1.5) / (v_mp * i_mp * series)))
    i_mp = max(full_w * rng.uniform(1.15, 1.45) / (v_mp * series * strings), 1.5)
    sheet = {"v_mp": v_mp, "i_mp": i_mp, "v_oc": v_mp * 1.22, "i_sc": i_mp * 1.065}
    step = float(rng.choice([0.001, 0.01, 0.01, 0.1]))
    channels = fitted(rng, fitout)
    site = {
        "lat": lat, "lon": lon, "alt": 700.0, "tilt": abs(lat) * 0.9 + 6, "azimuth": 0 if lat < 0 else 180, "mean_c": mean,
        "rain": rng.uniform(0.02, 0.12), "static": static, "up": up, "linear": linear, "square": square, "setting": setting,
        "probe": setting - 2.0, "series": series, "strings": strings, "sheet": sheet, "tank": rng.uniform(8, 30) * rated / 3,
        "step": step, "channels": channels, "gain": rng.uniform(0.965, 1.02), "delay_s": float(rng.choice([20, 40, 90])), "full_w": full_w,
        "v_max": 1.13 * 1.22 * v_mp * series, "hold_s": 1800.0, "bore": bore,
    }  # fmt: skip
    rows = []
    flow_off, power_off = rng.normal(1.0, 0.02), rng.normal(1.0, 0.015)  # within ISO 9906 grade 2
    for h in (0.8 * lift, lift, 1.15 * lift):
        for share in (0.72, 0.82, 0.91, 1.0):
            machine_at = Machine(**{**machine.__dict__, "pipe": 1e-9, "fall": machine.fall})
            q, _, _, p, _ = work(machine_at, np.array([top * share]), plain_load(np.array([h])))
            if q[0] > 0.12 * rated:
                rows.append(f"  {{ head_m = {h:.1f}, power_w = {p[0] * power_off:.0f}, flow_m3_h = {q[0] * flow_off:.3f}, speed_rpm = {top * share:.0f} }},")
    listed = ", ".join(f'"{c}"' for c in channels)
    text = f"""
[site]
id = "far-site"
name = "Far site"
latitude_deg = {lat}
longitude_deg = {lon}
altitude_m = 700
timezone = "{zone}"
[array]
modules_in_series = {series}
strings = {strings}
tilt_deg = {site["tilt"]:.1f}
azimuth_deg = {site["azimuth"]}
[array.module]
p_mp_w = {v_mp * i_mp:.1f}
v_mp_v = {v_mp:.2f}
i_mp_a = {i_mp:.3f}
v_oc_v = {sheet["v_oc"]:.2f}
i_sc_a = {sheet["i_sc"]:.3f}
temp_coeff_p_mp_pct_c = -0.40
temp_coeff_v_oc_pct_c = -0.30
temp_coeff_i_sc_pct_c = 0.05
noct_c = 45
[controller]
max_input_voltage_v = {site["v_max"]:.0f}
min_input_voltage_v = {0.5 * v_mp * series:.0f}
max_power_w = {power * full_w:.0f}
start_delay_s = {site["delay_s"]:.0f}
low_level_hold_min = 30
speed_limit_pct = 100
[cable]
length_m = {setting * 1.15:.0f}
conductor_mm2 = 4
[motor]
kind = "{"permanent-magnet" if kind[0] == "h" else "induction"}"
rated_current_a = {rated_a:.1f}
rated_speed_rpm = {top:.0f}
[pump]
kind = "{kind}"
setting_depth_m = {setting:.1f}
curve_power_at = "controller-input"
curve = [
{chr(10).join(rows)}
]
[well]
static_level_m = {static + rng.normal(0, 0.4):.1f}
drawdown_linear_m_per_m3_h = {linear * rng.normal(1, 0.08):.2f}
drawdown_quadratic_m_per_m3_h2 = {square:.3f}
tested_yield_m3_h = {rated * 1.1:.1f}
probe_depth_m = {site["probe"]:.1f}
seasonal_range_m = 1.5
[delivery]
riser_length_m = {setting:.0f}
riser_inner_diameter_mm = {bore}
pipe_length_m = {length - setting:.0f}
pipe_inner_diameter_mm = {bore}
roughness_mm = 0.02
minor_loss_coefficient = 6.0
outlet_height_m = {up:.1f}
[tank]
capacity_m3 = {site["tank"]:.1f}
[sensors]
channels = [{listed}]
meter_step_m3 = {step}
commissioned = 2025-03-01
"""
    return site, machine, text
