"""What is written on a picture: a page brings its own language, a file is in English.

Flow: HERE -> curve_svg.py, day_svg.py, course_svg.py, plotted.py. The keys are those of the pages' catalogues.
"""

from collections.abc import Callable

Words = Callable[..., str]
"""A key and what its wording leaves open, by name."""

ENGLISH = {
    "language.decimal": ".",
    "finding.flow_picture": "Flow against power",
    "finding.flow_picture_says": "Marks: the water that came, by power into the controller. Line and band: what this pump should lift.",
    "finding.flow_x": "power into the controller, W",
    "finding.flow_y": "flow, m³/h",
    "finding.sun_picture": "Power against sun",
    "finding.sun_picture_says": "Marks: the power that came, by sun on the panels. Line and band: what these panels should give.",
    "finding.sun_x": "sun on the panels, W/m²",
    "finding.sun_y": "power, W",
    "finding.day_picture": "Water by day",
    "finding.day_picture_says": "Bars: the water of each day. Boxes: what that day's sun should have given. Dotted line: where it began.",
    "finding.axis_water": "water, m³",
    "finding.course_picture": "The hours around it",
    "finding.course_picture_says": "Above: the water that came, and what should have. Below it power, and the reading that tells of the cause where there is one. Dotted: began; dashed: flagged.",
    "finding.course_x": "hour of the site's clock",
    "finding.legend_before": "before",
    "finding.legend_after": "since it began",
    "finding.legend_expected": "expected",
    "finding.legend_came": "came",
    "finding.legend_band": "normal range",
    "finding.legend_scaled": "expected, as it was here: datasheet × {scale}",
    "finding.legend_band_days": "a normal day",
    "finding.legend_day": "expected, with its range",
    "finding.legend_began": "began",
    "finding.legend_flagged": "flagged",
    "finding.legend_limit": "rating",
    "finding.legend_no_readings": "no readings",
    "finding.sun_x_clear": "sun of a clear sky on the panels, W/m²",
    "finding.array_share_picture": "Array power against expected",
    "finding.array_share_picture_says": "Above by day, below by hour of the sun's way: power, of what the panels' datasheet gives under that sun. A string out takes the same share at all hours, a shade some hours. Whiskers: the middle half; where no sensor reads the sun, only the best readings count. The axis does not begin at 0.",
    "finding.array_share_y": "of the expected power, %",
    "finding.flow_share_picture": "Flow against expected",
    "finding.flow_share_picture_says": "Above by day, below by power: flow, of what the pump's datasheet gives at the power that it took. Whiskers: the middle half. The axis does not begin at 0.",
    "finding.flow_share_y": "of the expected flow, %",
    "finding.share_x_hour": "hours from the sun's noon",
    "finding.share_x_power": "power into the controller",
    "channel.pv_voltage_v": "voltage of the panels",
    "channel.pv_current_a": "current of the panels",
    "channel.motor_current_a": "motor current",
    "channel.motor_speed_rpm": "motor speed",
    "channel.discharge_pressure_bar": "pressure at the wellhead",
    "channel.water_level_m": "depth to the water in the well",
    "channel.irradiance_w_m2": "sun sensor",
    "channel.module_temp_c": "panel temperature",
    "channel.ambient_temp_c": "air temperature",
    "channel.controller_temp_c": "controller temperature",
    "channel.low_level_probe_wet": "low-level probe, 1 = wet",
    "channel.tank_float_up": "tank float, 1 = full",
    "channel.motor_running": "running signal, 1 = runs",
    "channel.fault_code": "fault code",
    "channel.motor_voltage_v": "motor voltage",
    "channel.drive_frequency_hz": "drive frequency",
    "channel.speed_setting_pct": "speed setting",
    "channel.switched_on": "switch, 1 = on",
    "channel.tank_level_m": "tank level",
    "finding.power_low": "low",
    "finding.power_middle": "middle",
    "finding.power_high": "high",
}


def english(key: str, **values: str) -> str:
    """A wording with its places filled; KeyError: a key that no picture has."""
    return ENGLISH[key].format(**values)
