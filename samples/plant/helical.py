"""A helical-rotor (progressive cavity) pump: a volume each turn, less what slips back between rotor and stator.

Flow: pump_fit.py finds the parameters; run.py asks for flow and torque at many speeds at once.
Never: the motor.
"""

from dataclasses import dataclass

import numpy as np

RHO_G = 997.0 * 9.80665
HOUR_S = 3600.0


@dataclass(frozen=True)
class Helical:
    """`litre`: displacement of a turn. Above `tight_m` of head `slip` m3/h per m escape. Friction torque `rub` + `drag` n."""

    litre: float
    slip: float
    tight_m: float
    rub_nm: float
    drag_nm_per_krpm: float
    rated_flow: float
    rated_head: float
    lifts_at_m: float
    stick: float = 1.9

    def work(self, rpm, lift_m, obstruction, fx, wet, heat):
        """Flow through the pump [m3/h], head across it [m] and shaft torque [N m]; shapes broadcast.

        `obstruction`: m per (m3/h)^2 in series with the pump. `wet`: share of water in what it swallows.
        """
        swept = 0.06 * self.litre * rpm
        leaky = fx["wear"] * self.rated_flow / max(self.rated_head - 0.6 * self.tight_m, 5.0)
        slip = self.slip + leaky
        tight = self.tight_m * (1 - 0.4 * np.minimum(np.asarray(fx["wear"]) / 0.1, 1.0))
        left = np.maximum(swept - slip * np.maximum(lift_m - tight, 0.0), 0.0)
        flow = 2 * left / (1 + np.sqrt(1 + 4 * slip * obstruction * left))
        head = np.where(left > 0, lift_m + obstruction * flow**2, tight + swept / np.maximum(slip, 1e-6))
        beyond = np.maximum(head - self.lifts_at_m, 0.0)
        head = np.maximum(head - 0.97 * beyond, 0.0)
        turns = (1 - fx["uncoupled"]) * (1 - fx["reversed"])
        flow = flow * wet * turns
        rub = (self.rub_nm * (1 + heat - 0.25 * fx["wear"]) + self.drag_nm_per_krpm * rpm / 1000.0) * (
            1 - fx["uncoupled"]
        )
        push = self.litre / 1000.0 * RHO_G * head / (2 * np.pi) * turns * wet
        return flow, head * turns * wet, push + rub
