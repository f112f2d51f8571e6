"""Two kinds of pump with motor and drive: what they lift, take and draw at a speed and a head."""

from dataclasses import dataclass, replace

import numpy as np

RHO_G = 9790.0


@dataclass(frozen=True)
class Helical:
    """Displacement against a slip; friction and pressure make the torque; a permanent-magnet motor's current follows it."""

    litre_rev: float
    slip_m3_h: float  # at 100 m
    friction_nm: float
    kt: float
    ohm: float
    rpm_max: float
    gap: float = 1.0  # slip against new
    kind: str = "helical-rotor"

    def flow(self, rpm, head):
        return np.maximum(
            self.litre_rev * rpm * 0.06 - self.gap * self.slip_m3_h * (np.maximum(head, 0) / 100) ** 0.85, 0
        )

    def torque(self, rpm, head):
        rub = self.friction_nm * (1 + 0.35 * rpm / self.rpm_max) / self.gap**0.1
        return rub + self.litre_rev * 1e-3 / (2 * np.pi) * RHO_G * np.maximum(head, 0)

    def shaft_w(self, rpm, head):
        return self.torque(rpm, head) * rpm * np.pi / 30

    def draw(self, rpm, head):
        """Electrical power at the drive's input, and motor current."""
        amps = self.torque(rpm, head) / self.kt
        return (self.shaft_w(rpm, head) + 1.5 * self.ohm * amps**2 + 0.008 * rpm) / 0.965 + 8, amps


@dataclass(frozen=True)
class Centrifugal:
    """Stages in affinity form; worn rings leak inside; an induction motor's current has a magnetising part."""

    stages: int
    h0: float
    q_run: float  # m3/h where one stage lifts nothing, at 2900
    watts: float  # shaft, one stage at q_run/2, 2900
    volts: float
    rpm_max: float = 2900.0
    gap: float = 0.0  # share of flow that slips back at full head
    kind: str = "multistage-centrifugal"

    def flow(self, rpm, head):
        x = np.maximum(rpm, 1) / 2900
        rest = 1 - head / (self.stages * self.h0 * (1 - 0.25 * self.gap) * x**2)
        through = self.q_run * x * np.clip(rest, 0, None) ** 0.55
        return np.maximum(
            through - self.gap * self.q_run * 0.5 * np.sqrt(np.maximum(head, 0) / (self.stages * self.h0)), 0
        ) * (rest > 0)

    def shaft_w(self, rpm, head):
        x = np.maximum(rpm, 1) / 2900
        q = (self.flow(rpm, head) + self.gap * self.q_run * 0.5) / (self.q_run * x)
        return self.stages * self.watts * x**3 * (0.52 + 1.25 * q - 0.62 * q**2)

    def torque(self, rpm, head):
        return self.shaft_w(rpm, head) / (np.maximum(rpm, 1) * np.pi / 30)

    def draw(self, rpm, head):
        shaft = self.shaft_w(rpm, head)
        rated = self.stages * self.watts
        motor = shaft / (0.80 * (shaft + 1) / (shaft + 1 + 0.07 * rated))
        amps = np.hypot(0.4 * rated, motor) / (1.732 * self.volts * np.maximum(rpm / 2900, 0.3) * 0.85)
        return motor / 0.96 + 12, amps


def worn(pump, amount):
    """Wear: `amount` 0 new; 1 = slip doubled (helical) or a fifth slipping back (centrifugal)."""
    if isinstance(pump, Helical):
        return replace(pump, gap=pump.gap + amount)
    return replace(pump, gap=pump.gap + 0.2 * amount)


def scaled(pump, factor):
    """As built: a few per cent off its datasheet in what it moves."""
    if isinstance(pump, Helical):
        return replace(pump, litre_rev=pump.litre_rev * factor, friction_nm=pump.friction_nm * (2 - factor) ** 2)
    return replace(pump, q_run=pump.q_run * factor, h0=pump.h0 * (1 + 0.4 * (factor - 1)))
