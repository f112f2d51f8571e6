"""Drive, cable and motor: torque and speed at the shaft -> current, and power at the controller's input.

Flow: site facts -> `motor_of` -> run.py, electric.py.
Never: the pump.
"""

from dataclasses import dataclass

import numpy as np

from logger.record.site_facts import SiteFacts

PHASES = {"permanent-magnet": 3, "induction": 3, "brushed-dc": 2}
COPPER_SHARE = {"permanent-magnet": 0.06, "induction": 0.085, "brushed-dc": 0.08}
MAGNETISING_SHARE = {"permanent-magnet": 0.0, "induction": 0.48, "brushed-dc": 0.0}
SHAFT_SHARE = {"permanent-magnet": 0.865, "induction": 0.78, "brushed-dc": 0.76}
COPPER_OHM_MM2_M = 0.0178
MOST_CURRENT = 1.45  # of rated, where the drive stops pushing


@dataclass(frozen=True)
class Motor:
    """`newton_metre_per_a`: torque per ampere of working current. Losses at rated point in W."""

    kind: str
    rated_w: float
    rated_rpm: float
    rated_a: float
    rated_nm: float
    newton_metre_per_a: float
    magnetising_a: float
    phases: int
    no_load_nm: float
    ohm: float
    cable_ohm: float
    iron_w: float
    drive_loss: float
    idle_w: float

    def current_a(self, torque_nm, fx):
        """Current in each lead (RMS, or DC) while it is fed; bearings and iron take some without load. Broadcasts. [A]"""
        working = (np.abs(torque_nm) + self.no_load_nm) / self.newton_metre_per_a
        working = working * (1.0 + 0.62 * fx["phase_lost"])
        return np.sqrt(working**2 + self.magnetising_a**2)

    def input_w(self, torque_nm, rpm, fx, at_terminals: bool = False):
        """Power that the controller takes from the array. [W]"""
        amps = self.current_a(torque_nm, fx)
        share = rpm / self.rated_rpm
        wires = self.ohm if at_terminals else self.ohm + self.cable_ohm + fx["motor_ohm"]
        electric = torque_nm * rpm * (np.pi / 30.0) + self.phases * amps**2 * wires + self.iron_w * share**1.4
        if at_terminals:
            return electric
        return electric * (1 + self.drive_loss) + self.idle_w + fx["leak_w"]


def motor_of(facts: SiteFacts, losses: float = 1.0) -> Motor:
    """A motor and drive that fit the site file, with `losses` times the usual losses."""
    kind = facts.motor.kind or "permanent-magnet"
    rated_w = max(row.power_w for row in facts.pump.curve)
    speeds = [row.speed_rpm for row in facts.pump.curve if row.speed_rpm]
    rated_rpm = facts.motor.rated_speed_rpm or (max(speeds) if speeds else 2900.0)
    phases = PHASES[kind]
    usual_v = 0.55 * facts.array.modules_in_series * facts.array.module.v_mp_v
    rated_a = facts.motor.rated_current_a or rated_w / (1.6 * usual_v)
    rated_nm = SHAFT_SHARE[kind] * rated_w / (rated_rpm * np.pi / 30.0)
    magnetising = MAGNETISING_SHARE[kind] * rated_a
    cable = COPPER_OHM_MM2_M * facts.cable.length_m / facts.cable.conductor_mm2
    return Motor(
        kind, rated_w, rated_rpm, rated_a, rated_nm, 1.06 * rated_nm / np.sqrt(rated_a**2 - magnetising**2), magnetising,
        phases, 0.06 * rated_nm,
        losses * COPPER_SHARE[kind] * rated_w / (phases * rated_a**2), cable, losses * 0.022 * rated_w,
        losses * 0.03, 4.0 + 0.003 * rated_w,
    )  # fmt: skip
