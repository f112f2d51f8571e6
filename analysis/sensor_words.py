"""What a lying sensor did, in one sentence with its channel and unit, for whoever stands before it.

Flow: figures of a case -> HERE -> causes/sensor_fault.py.
Never: judgement.
"""

import numpy as np

from logger.record.channels import CHANNELS

THING = {
    "volume_m3": "the water meter",
    "flow_m3_h": "the flow meter",
    "discharge_pressure_bar": "the pressure gauge at the wellhead",
    "water_level_m": "the water level sensor",
    "irradiance_w_m2": "the sensor of the sun",
    "module_temp_c": "the module's thermometer",
    "ambient_temp_c": "the air's thermometer",
    "controller_temp_c": "the thermometer in the controller's box",
    "motor_current_a": "the reading of the motor's current",
    "motor_speed_rpm": "the reading of the motor's speed",
    "drive_frequency_hz": "the reading of the drive's frequency",
    "tank_level_m": "the sensor of the tank's level",
    "pv_voltage_v": "the reading of the array's voltage",
    "pv_current_a": "the reading of the array's current",
    "input_power_w": "the reading of the input power",
    "low_level_probe_wet": "the low-level probe",
    "tank_float_up": "the tank's float",
    "motor_running": "the controller's word that it runs",
    "fault_code": "the controller's fault code",
}
DENIED = {
    "said_stands": "said for {hours:.1f} h that the pump stands while it took power and brought water",
    "said_runs": "said for {hours:.1f} h that the pump runs while the sun was down and it took no power",
    "said_full": "said for {hours:.1f} h that the tank is full while the pump went on bringing water",
    "dry_at_rest": "said dry for {hours:.1f} h after a night without pumping, in which a well fills again to its resting level",
    "said_faulty": "stood at {count:.0f} for {hours:.1f} h in which the pump took power and brought water, as it does with no fault",
    "flips": "went from wet to dry {count:.0f} times in a day while the pump stood or ran on, as no level does",
}
"""By figure, what a word of yes and no said against the plant's own figures (said_falsely.py)."""
SHOWN_BY: dict[str, tuple[tuple[str, float], ...]] = {
    "volume_m3": (("n", 1.0), ("q", 1.0)),
    "flow_m3_h": (("n", 1.0), ("q", 1.0)),
    "discharge_pressure_bar": (("p", 1.0),),
    "water_level_m": (("l", 1.0), ("rest", 1.0)),
    "irradiance_w_m2": (("gc", 1.0), ("s", -1.0)),
    "motor_current_a": (("i", 1.0),),
    "motor_speed_rpm": (("t", -1.0), ("n", -1.0)),
    "pv_voltage_v": (("av", 1.0),),
    "pv_current_a": (("pw", -1.0), ("t", 1.0), ("q", -1.0)),
    "input_power_w": (("pw", 1.0), ("t", 1.0), ("q", -1.0)),
}
"""Entries of the days' vector in which a channel that is off shows, and which way it is off where they rise; the first that says anything."""
METRES = {
    "water_level_m": (1.0, "m", "too deep", "too high"),
    "discharge_pressure_bar": (0.0980665, "bar", "too much", "too little"),
}
"""Channels whose amounts are metres of water: into the channel's unit, and words for either way."""
SAYS = 0.02  # log, or m: less says nothing of the way
WITHIN = 0.01  # log: less is told as nothing
MOST_M = 39.9  # what a drift is followed up to (causes/sensor_fault.py)


def named(channel: str | None) -> str:
    """The thing with its channel, to begin a sentence with."""
    if channel is None:
        return "One channel"
    thing = THING.get(channel, channel)
    return f"{thing[0].upper()}{thing[1:]} ({channel})" if thing != channel else channel


def load_of(figures: dict[str, float]) -> str:
    """How the load stands beside that of a pump that lifts."""
    return f" {100 * np.exp(figures['torque']):.0f} % of" if "torque" in figures else ""


def sentence(figures: dict[str, float], channel: str | None, load: str) -> str:
    """What the channel did, for how long, and by how much in its own unit; without a channel, as far as the figures go."""
    who, hours = named(channel), figures.get("hours", 0.0)
    unit = CHANNELS[channel].unit if channel in CHANNELS else ""
    if "stuck" in figures:
        return f"{who} stood still at {figures['stuck']:g}{' ' + unit if unit else ''} for {hours:.1f} h while everything else moved."
    if "by_night" in figures:
        return (
            f"{who} read {figures['by_night']:.4g}{' ' + unit if unit else ''} in the dark, while the pump was at rest."
        )
    if "dead" in figures:
        return f"{who} gave no value for {hours:.1f} h while the others were read."
    if "never" in figures:
        return f"{who} has given no value since the first reading, though the site file says that it is fitted and the others were read."
    if "gaps" in figures:
        return f"{who} gave no value, or none that can be, in {100 * figures['gaps']:.0f} % of the readings in which the others were read."
    if "jumps" in figures:
        return f"{who} sprang to and fro in {100 * figures['jumps']:.0f} % of the readings between which nothing that moves it had changed."
    for key, said in DENIED.items():
        if key in figures:
            return f"{who} {said.format(hours=hours, count=figures[key])}."
    if "probe_dry" in figures:
        return f"{who} said dry for {hours:.1f} h while water came or the level stood above it."
    if "probe_wet" in figures:
        return f"{who} said wet for {hours:.1f} h while the level stood below it and the pump lifted too little."
    if "amount" in figures and channel not in METRES and figures["amount"] < WITHIN:
        return f"{who} has been off, and is within 1 % again of what all the others agree on."
    if "amount" in figures:
        return f"{who} reads {_off(figures, channel)} against what all the others agree on."
    meter = "The meter" if channel is None else who
    return f"{meter} counts {100 * figures.get('flow', 0.0):.0f} % of the expected flow while the load is{load} that of a pump that lifts."


def _off(figures: dict[str, float], channel: str | None) -> str:
    amount, way = figures["amount"], _way(figures, channel)
    if channel in METRES:
        factor, unit, above, below = METRES[channel]
        size = f"{amount * factor:.2g} {unit}" + (" or more" if amount >= MOST_M else "")
        return f"about {size} {above if way > 0 else below if way < 0 else 'off'}"
    if way == 0:
        return f"about {100 * amount:.0f} % off"
    return f"about {100 * abs(np.expm1(way * amount)):.0f} % too {'much' if way > 0 else 'little'}"


def _way(figures: dict[str, float], channel: str | None) -> float:
    """1 where it reads too much, -1 too little, 0 where the figures do not tell."""
    for entry, sign in SHOWN_BY.get(channel or "", ()):
        told = [
            value
            for name, value in figures.items()
            if name.startswith("shift_")
            and name.removeprefix("shift_").rstrip("0123456789") == entry
            and np.isfinite(value)
        ]
        if told and abs(float(np.mean(told))) > SAYS:
            return float(np.sign(np.mean(told))) * sign
    return 0.0
