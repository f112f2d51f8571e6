"""A multistage centrifugal pump by the affinity laws: one head curve and one power curve at rated speed.

Flow: pump_fit.py finds the parameters; run.py asks for flow and torque at many speeds at once.
Never: the motor.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Centrifugal:
    """Head h0 - h1 Q - h2 Q^2 [m, m3/h], shaft power p0 + p1 Q + p2 Q^2 [W], both at `rated_rpm`."""

    h0: float
    h1: float
    h2: float
    p0: float
    p1: float
    p2: float
    rated_rpm: float
    rated_flow: float

    def work(self, rpm, lift_m, obstruction, fx, wet, heat):
        """Flow through the pump [m3/h], head across it [m] and shaft torque [N m]; shapes broadcast.

        `heat` is of no account here: the argument keeps both pumps alike.
        """
        del heat
        speed = np.maximum(rpm / self.rated_rpm, 1e-4)
        backwards = fx["reversed"]
        most = self.h0 * (1 - 0.45 * backwards) * (1 - 0.12 * fx["wear"]) * speed**2
        back = fx["wear"] * self.rated_flow * speed
        falls = self.h1 * speed * (1 + 0.8 * backwards)
        bend = self.h2 * (1 + 0.8 * backwards) + obstruction
        spare = most - lift_m - obstruction * back**2
        linear = falls - 2 * obstruction * back
        inside = np.sqrt(np.maximum(linear**2 + 4 * bend * np.maximum(spare, 0.0), 1e-12))
        through = np.where(spare > 0, 2 * np.maximum(spare, 0.0) / np.maximum(linear + inside, 1e-9), back)
        flow = np.maximum(through - back, 0.0)
        turns = 1 - fx["uncoupled"]
        power = self.p0 * speed**3 + self.p1 * speed**2 * through + self.p2 * speed * through**2
        light = 0.38 * self.p0 * speed**3
        power = (light + (power * (1 + 0.18 * backwards) - light) * wet) * turns + 0.05 * self.p0 * speed**2 * fx[
            "uncoupled"
        ]
        head = np.where(flow > 0, lift_m + obstruction * flow**2, most)
        return flow * wet * turns, head * turns * wet, power / (rpm * np.pi / 30.0 + 1e-9)
