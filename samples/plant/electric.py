"""What the wires carry: volts and amps at the controller and the motor, from what the plant did.

Flow: simulate.py -> HERE -> sensors.py.
Never: instruments.
"""

import numpy as np
from numpy.typing import NDArray

from samples.plant.array import volts_at_power
from samples.plant.simulate import Lived

Floats = NDArray[np.float64]
STANDBY_W = 3.0


def electric(lived: Lived) -> dict[str, Floats]:
    """By channel name, (steps, days): exact values of volts, amps, watts, hertz and revolutions."""
    run, offer, motor = lived.run, lived.offer, lived.plant.motor
    power = run.input_w
    taken = np.where(power > 0, power, np.where(offer.power_w > 2 * STANDBY_W, STANDBY_W, 0.0))
    found = lived.plant.control.mppt_share
    at_best = power >= 0.999 * found * offer.power_w
    aside = (offer.power_w > 2 * STANDBY_W) & ~at_best
    volts, amps = offer.voltage_v * 1.0, offer.current_a * found
    amps[~aside & (power <= 0)] = 0.0
    volts[aside], amps[aside] = volts_at_power(
        lived.plant.panels, offer, aside, np.minimum(taken[aside], offer.power_w[aside])
    )
    dark = offer.power_w <= 2 * STANDBY_W
    volts[dark] = 0.85 * offer.open_v[dark]
    fx = lived.scene.effects
    loaded = (run.rpm > 0) | (run.fed_still > 0)
    lead = {name: np.asarray(fx[name]) for name in ("phase_lost", "motor_ohm", "leak_w")}
    current = np.where(loaded, motor.current_a(run.torque_nm, lead), 0.0)
    hertz = run.rpm / 60.0 * (1.0 if motor.kind != "induction" else 1.0 + 0.04 * run.torque_nm / motor.rated_nm)
    phase = np.where(current > 0, _motor_volts(lived, power, current, run.torque_nm), 0.0)
    return {
        "pv_voltage_v": volts, "pv_current_a": amps, "input_power_w": volts * amps, "motor_current_a": current,
        "motor_speed_rpm": run.rpm, "drive_frequency_hz": hertz, "motor_voltage_v": phase,
    }  # fmt: skip


def _motor_volts(lived: Lived, power: Floats, current: Floats, torque: Floats) -> Floats:
    motor = lived.plant.motor
    out = np.maximum(power - motor.idle_w, 0.0) / (1 + motor.drive_loss)
    if motor.phases == 2:
        return out / np.maximum(current, 1e-6)
    factor = 0.92 if motor.kind == "permanent-magnet" else 0.45 + 0.38 * np.clip(torque / motor.rated_nm, 0, 1)
    return out / np.maximum(np.sqrt(3.0) * current * factor, 1e-6)
