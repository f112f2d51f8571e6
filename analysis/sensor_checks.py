"""How to look after a sensor that may lie: by its channel, by hand, and safely.

Flow: a channel -> HERE -> causes/sensor_fault.py.
Never: judgement.
"""

from analysis.causes.registry import NO_CLIMBING, Advice, beware

BY_METER = "With a licensed person, compare {thing} with a meter's of theirs while the pump runs; open no box for it. See from outside whether its cable is whole."
THERMOMETER = "Hold a thermometer of your own beside the sensor, in its shade or on its panel, and see that it still sits where it was put."
CHECKS = {
    "volume_m3": "Time a bucket of known volume at the tank and compare it with what the meter counts meanwhile.",
    "flow_m3_h": "Time a bucket of known volume at the tank and compare it with what the meter shows.",
    "discharge_pressure_bar": "Compare the sensor with the dial gauge at the wellhead, or have one fitted while the pump is off and the pressure let down; at rest "
    "with an open pipe it must show the tank's height and no more.",
    "water_level_m": "Have the level dipped by hand through its tube, with a clean tape, and compare it with the reading of that minute.",
    "irradiance_w_m2": "See that the sun's sensor is clean, lies as the panels do and that nothing shades it; wipe it and compare the day after.",
    "module_temp_c": THERMOMETER + " It must still be stuck to the back of a panel.",
    "ambient_temp_c": THERMOMETER + " The sun must not shine on it.",
    "controller_temp_c": "Compare it with what the controller's display says. The box stays shut.",
    "motor_current_a": BY_METER.format(thing="the motor's current"),
    "pv_current_a": BY_METER.format(thing="the array's current"),
    "pv_voltage_v": BY_METER.format(thing="the array's voltage"),
    "motor_voltage_v": BY_METER.format(thing="the motor's voltage"),
    "input_power_w": BY_METER.format(thing="the input power"),
    "motor_speed_rpm": "Read the speed on the controller's display and compare it with the reading of that minute.",
    "drive_frequency_hz": "Read the frequency on the controller's display and compare it with the reading of that minute.",
    "speed_setting_pct": "Read the setting on the controller's display and compare it with the reading of that minute.",
    "low_level_probe_wet": "Until the probe is proved, the pump has no guard against running dry: do not leave it to run while the well is low. Have a licensed "
    "person lift the probe out of the water: the controller must stop, and start again once it is back in.",
    "tank_float_up": "Look from outside whether the tank is full, and whether the float hangs free and says the same; nobody climbs in.",
    "tank_level_m": "Measure how deep the water in the tank stands, from outside, and compare it with the reading of that minute.",
    "motor_running": "Stand at the pump and hear whether it runs while the reading says that it does.",
    "switched_on": "See how the pump's own switch stands, and compare it with the reading of that minute.",
    "fault_code": "Read the code on the controller's display and compare it with the reading of that minute.",
}
"""By channel."""
ANY = "Compare the sensor named with an instrument held beside it, and see whether its cable and plug are whole."
ADVICE = Advice(
    own=(
        "Look at the sensor and its cable for bites, water and loose plugs, without opening a box.",
        "Time a bucket at the tank to test the meter; wipe the sun's sensor clean.",
    ),
    technician=(
        "Test the low-level probe in a bucket of clean water: it is the pump's only guard against running dry.",
        "Compare with a calibrated instrument; renew the sensor or its surge protection.",
    ),
    cautions=(
        beware("Probe and float terminals may stand at array voltage: licensed people only.", "licensed"),
        beware("What goes into a well that people drink from is clean, and the well is covered again.", "water"),
        NO_CLIMBING,
    ),
)


def check_of_channel(channel: str | None) -> str:
    """What to look at first where this channel may lie; None: nobody knows which."""
    return CHECKS.get(channel or "", ANY)
