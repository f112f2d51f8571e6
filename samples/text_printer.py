"""A simulated controller that prints a line of text: `KEY=value;...*checksum`.

Flow: live_plant.py's values -> HERE -> bytes on a line.
Never: listening.
"""

KEYS = {  # channel: key, how many of the printed unit make one of the channel's, decimals
    "pv_voltage_v": ("UPV", 1.0, 1), "pv_current_a": ("IPV", 1.0, 2), "input_power_w": ("P", 1.0, 0),
    "motor_current_a": ("IM", 1.0, 2), "motor_speed_rpm": ("N", 1.0, 0), "controller_temp_c": ("T", 1.0, 0),
    "fault_code": ("ERR", 1.0, 0), "volume_m3": ("VOL", 1.0, 2), "flow_m3_h": ("Q", 1.0, 3),
    "discharge_pressure_bar": ("PW", 1.0, 2), "water_level_m": ("L", 1.0, 2), "irradiance_w_m2": ("G", 1.0, 0),
    "module_temp_c": ("TM", 1.0, 1), "ambient_temp_c": ("TA", 1.0, 1),
}  # fmt: skip
STATES = {
    "motor_running": ("RUN", "ON", "OFF"),
    "low_level_probe_wet": ("PROBE", "WET", "DRY"),
    "tank_float_up": ("TANK", "FULL", "OK"),
}
"""channel: key, word for 1, word for 0."""


def line_of(values: dict[str, float | None]) -> bytes:
    """One line, its check (XOR of all before the star, two hex digits) and its end. A missing value prints `--`."""
    parts = []
    for channel, (key, per, decimals) in KEYS.items():
        if channel in values:
            value = values[channel]
            parts.append(f"{key}=--" if value is None else f"{key}={value * per:.{decimals}f}")
    for channel, (key, on, off) in STATES.items():
        if channel in values:
            value = values[channel]
            parts.append(f"{key}=--" if value is None else f"{key}={on if value >= 0.5 else off}")
    body = ";".join(parts).encode("ascii")
    check = 0
    for byte in body:
        check ^= byte
    return body + f"*{check:02X}\r\n".encode("ascii")
