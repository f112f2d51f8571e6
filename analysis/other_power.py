"""How the power goes by all channels but one: what a reading of it that may stand still is held against.

Flow: look.py (columns) -> HERE -> causes/sensor_fault.py.
Never: judgement.
"""

import numpy as np

from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats

FLOWS = 0.01  # of the array's rated current: more than a sensor's zero, while the motor is driven (common practice, no source)


def power_without(plant: Plant, seen: Columns, channel: str) -> Floats:
    """The power by row, or what of its course is told without `channel` where power is nothing but voltage times current. [W]"""
    if channel not in ("pv_voltage_v", "pv_current_a") or "input_power_w" in seen.rows.values:
        return np.nan_to_num(seen.power_w)
    motor = plant.facts.motor.rated_current_a or np.inf
    others = {
        "pv_current_a": (seen.rows["motor_current_a"] / motor, seen.flow_m3_h / plant.full_flow_m3_h),
        "pv_voltage_v": (_fed(seen, seen.rows["pv_current_a"] / plant.rated_current_a),),
    }[channel]
    for share in others:
        known = ~np.isnan(share)
        if (share[known] > 0).any():
            return np.nan_to_num(share) * plant.full_power_w
    return np.zeros(len(seen))


def _fed(seen: Columns, share: Floats) -> Floats:
    """The array's current as a share of its rating; each row more in which it drives the motor at no voltage at all, as none can."""
    with np.errstate(invalid="ignore"):
        impossible = (seen.rows["pv_voltage_v"] == 0.0) & (share > FLOWS) & seen.driven
    return share + np.cumsum(impossible)
