"""What a plant remembers from one step to the next.

Flow: run.py and controller.py change it -> HERE -> season.py and live.py hand it on from day to day.
Every field has one value a lane; a lane is one day of a season, or the one day that runs live.
Never: what can be worked out from the sky.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass
class State:
    """`wells`: drawdown of each reservoir, (reservoirs, lanes). The times are seconds still to run, or run so far."""

    wells: Floats
    tank_m3: Floats
    empty_m3: Floats  # missing in the riser
    running: Floats  # 1 = drives the motor
    sunny_s: Floats  # sun enough and asked to run, so far
    hold_s: Floats  # waits after the probe ran dry
    lock_s: Floats  # waits after a trip
    full: Floats  # 1 = float up
    float_s: Floats  # waits after the float went down
    box_c: Floats  # controller above ambient
    heat: Floats  # of a stator that runs dry
    tried_s: Floats  # since a stalled motor was first fed
    flow: Floats  # of the last step, m3/h
    code: Floats

    def take(self, lanes: NDArray[np.int64]) -> "State":
        """A copy of some lanes."""
        return State(**{f.name: getattr(self, f.name)[..., lanes].copy() for f in fields(self)})

    def put(self, lanes: NDArray[np.int64], other: "State") -> None:
        """Write lanes back."""
        for f in fields(self):
            getattr(self, f.name)[..., lanes] = getattr(other, f.name)

    def moved(self, other: "State", lanes: NDArray[np.int64], tolerance: float) -> NDArray[np.bool_]:
        """Which lanes differ from `other`'s in what outlives a night."""
        wells = np.abs(self.wells[:, lanes] - other.wells[:, lanes]).max(axis=0)
        rest = [np.abs(getattr(self, n)[lanes] - getattr(other, n)[lanes]) for n in ("tank_m3", "empty_m3", "full")]
        return (wells > tolerance) | (rest[0] > tolerance) | (rest[1] > 0.1 * tolerance) | (rest[2] > 0.5)

    def after_night(self) -> "State":
        """The timers that a night ends, ended."""
        none = np.zeros_like(self.running)
        return replace(
            self, running=none.copy(), sunny_s=none.copy(), hold_s=none.copy(), lock_s=none.copy(), float_s=none.copy(),
            tried_s=none.copy(), heat=none.copy(), flow=none.copy(), code=none.copy(),
        )  # fmt: skip


def fresh(lanes: int, reservoirs: int, tank_m3: float) -> State:
    """At rest, recovered, with some water in the tank."""
    none = np.zeros(lanes)
    names = [f.name for f in fields(State) if f.name not in ("wells", "tank_m3")]
    return State(np.zeros((reservoirs, lanes)), np.full(lanes, tank_m3), **{n: none.copy() for n in names})
