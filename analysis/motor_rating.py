"""Motor current from the power that the pump takes and its speed, anchored at the motor's plate.

Flow: site facts, fitted pump -> HERE -> row_physics.py.
Never: rows' channels, I/O.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.physics.cable import WATER_COOLED_C, dc_drop_v, three_phase_loss_w
from analysis.physics.pump_model import PumpModel
from logger.record.site_facts import SiteFacts

Floats = NDArray[np.float64]

COPPER_SHARE = 0.08
"""Of the power at rating, lost in the copper of a small borehole motor's winding: half of what its efficiency of 0.80 to 0.88 leaves (common
practice, no source)."""


@dataclass(frozen=True)
class MotorRating:
    """Where the motor draws its rated current, all at the controller's input. [A], [W], [1/min], [-]

    `copper`: the share of that power which winding and cable turn to heat. Power is what the shaft and its drag take, in proportion to
    current and speed, and what copper loses, in proportion to the current's square; in shares of the rating p = (1 - copper) n i + copper i^2.
    So copper's loss belongs to power and not to torque: at a kept torque it is the same at any speed, and power over speed grows
    towards slow speeds where current does not.
    """

    current_a: float
    power_w: float
    speed_rpm: float
    copper: float

    def current(self, speed_rpm: Floats, power_w: Floats) -> tuple[Floats, Floats]:
        """Current at a power and a speed, and its slope over power. NaN through. [A], [A/W]"""
        turned = (1.0 - self.copper) / self.speed_rpm * speed_rpm
        root = np.sqrt(turned * turned + 4.0 * self.copper / self.power_w * power_w)
        return self.current_a / (2.0 * self.copper) * (root - turned), self.current_a / self.power_w / root


def motor_rating(facts: SiteFacts, pump: PumpModel) -> MotorRating | None:
    """The rated current belongs to that row of the datasheet's table which takes most power.

    None where the motor's current does not follow torque, or nothing is known of it.
    """
    motor, cable = facts.motor, facts.cable
    rows = [row for row in facts.pump.curve if row.speed_rpm]
    if (
        motor.kind not in ("permanent-magnet", "brushed-dc")
        or not motor.rated_current_a
        or not (rows and pump.speed_known)
    ):
        return None
    speed, head = np.array([(row.speed_rpm, row.head_m) for row in rows], float).T
    power = pump.power_of_speed(speed, head)
    most = int(np.nanargmax(power))
    wire = (motor.rated_current_a, cable.length_m, cable.conductor_mm2, WATER_COOLED_C)
    by_phases = motor.kind != "brushed-dc"
    in_cable = float(three_phase_loss_w(*wire) if by_phases else motor.rated_current_a * dc_drop_v(*wire))
    copper = COPPER_SHARE + in_cable / float(power[most])
    return MotorRating(motor.rated_current_a, float(power[most]), float(speed[most]), copper)
