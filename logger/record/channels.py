"""Each measured quantity once: name, unit, range, meaning, and how SenML writes it.

Flow: everything that names a quantity reads it HERE.
Never: I/O, third-party imports.
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["measure", "counter", "flag", "code"]


@dataclass(frozen=True)
class Channel:
    """One quantity.

    `lowest` and `highest` bound what an instrument can honestly say: a value outside is
    refused as unreadable, not clipped. `step` is the resolution kept on the wire.
    SenML value = `senml_factor` * value + `senml_offset`, in `senml_unit`; the factor is held as
    a ratio of integers so that the way back is exact at the resolution kept.
    """

    name: str
    unit: str
    kind: Kind
    lowest: float
    highest: float
    step: float
    meaning: str
    senml_unit: str
    senml_numerator: int = 1
    senml_denominator: int = 1
    senml_offset: float = 0.0


def _measure(name, unit, lowest, highest, step, meaning, senml_unit, num=1, den=1, offset=0.0):
    return Channel(name, unit, "measure", lowest, highest, step, meaning, senml_unit, num, den, offset)


def _flag(name, meaning):
    return Channel(name, "0/1", "flag", 0, 1, 1, meaning, "/")


_ALL = (
    _measure("pv_voltage_v", "V", 0, 2000, 0.1, "array voltage at the controller's input", "V"),
    _measure("pv_current_a", "A", -5, 500, 0.01, "array current at the controller's input", "A"),
    _measure("motor_current_a", "A", 0, 500, 0.01, "motor current (phase RMS, or DC)", "A"),
    _measure(
        "motor_speed_rpm",
        "1/min",
        -10000,
        10000,
        1,
        "motor speed as the controller reports it; below 0 = backwards",
        "1/min",
    ),
    _measure(
        "flow_m3_h",
        "m3/h",
        -100,
        1000,
        0.001,
        "flow to the tank, mean over the interval that ends at the reading",
        "m3/s",
        1,
        3600,
    ),
    Channel(
        "volume_m3",
        "m3",
        "counter",
        0,
        1e9,
        0.001,
        "the meter's register: rises only, may roll over or restart at 0; coarse",
        "m3",
    ),
    _measure("discharge_pressure_bar", "bar", -1, 250, 0.001, "gauge pressure at the wellhead", "Pa", 100000, 1),
    _measure(
        "water_level_m",
        "m",
        -5,
        1000,
        0.01,
        "depth from the wellhead datum down to the water; larger = lower",
        "m",
    ),
    _measure(
        "irradiance_w_m2",
        "W/m2",
        -20,
        2000,
        0.1,
        "in the plane of the array, from a reference cell or pyranometer",
        "W/m2",
    ),
    _measure("module_temp_c", "deg C", -60, 150, 0.1, "module temperature", "Cel"),
    _measure("ambient_temp_c", "deg C", -60, 80, 0.1, "air temperature", "Cel"),
    _measure("controller_temp_c", "deg C", -60, 150, 0.1, "controller temperature", "Cel"),
    _flag("low_level_probe_wet", "low-level probe above the pump: 1 = under water"),
    _flag("tank_float_up", "tank float: 1 = tank full"),
    _flag("motor_running", "the controller says that it drives the motor"),
    Channel(
        "fault_code",
        "integer",
        "code",
        0,
        4294967295,
        1,
        "the controller's own code, kept as read; 0 = none",
        "/",
    ),
    _measure("input_power_w", "W", -100, 1e6, 0.1, "power at the controller's input", "W"),
    _measure("motor_voltage_v", "V", 0, 2000, 0.1, "motor voltage (phase to phase RMS, or DC)", "V"),
    _measure("drive_frequency_hz", "Hz", -500, 500, 0.01, "frequency that drives the motor", "Hz"),
    _measure("speed_setting_pct", "%", 0, 100, 0.1, "where the speed control is set", "/", 1, 100),
    _flag("switched_on", "the pump's own switch: 1 = on"),
    _measure("tank_level_m", "m", -1, 100, 0.001, "water in the tank above its floor", "m"),
)

CHANNELS: dict[str, Channel] = {channel.name: channel for channel in _ALL}
"""By name, in the order in which tables and files list them."""

EXTREMES = ("_min", "_max")
"""Suffixes of the lowest and highest value within the interval that a mean stands for."""


_RANGES = {channel.name + suffix: (channel.lowest, channel.highest) for channel in _ALL for suffix in ("", *EXTREMES)}


def channel_of(name: str) -> Channel:
    """The channel that a column speaks of; `<channel>_min` and `<channel>_max` share their channel's.

    KeyError: no such channel.
    """
    for suffix in EXTREMES:
        if name.endswith(suffix) and name.removesuffix(suffix) in CHANNELS:
            return CHANNELS[name.removesuffix(suffix)]
    return CHANNELS[name]


def honest(name: str, value: float | None) -> float | None:
    """`value` if the channel can honestly read so, else None: NaN, infinite or out of range."""
    lowest, highest = _RANGES[name]
    if value is None or not lowest <= value <= highest:
        return None
    return value
