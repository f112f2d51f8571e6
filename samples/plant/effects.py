"""What a fault, a person or a season changes in the plant, instant by instant.

Flow: faults.py writes -> HERE -> array.py, run.py, sensors.py read.
An effect is one number, or an array (steps, days). Never: what a cause is called.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HEALTHY: dict[str, float] = {
    # array
    "soil_lost": 0.0,  # share of light lost beyond the natural dust
    "shade": 0.0,  # share of the strings without beam, beyond what has always been so
    "strings_lost": 0.0,  # number of strings out, may be a fraction
    "modules_lost": 0.0,  # modules bypassed in one string, may be a third
    "modules_added": 0.0,  # modules too many in every string
    "array_ohm": 0.0,  # joint between array and controller
    # controller
    "hot_c": 0.0,  # the box warmer than it should be at full power
    "blocked": 0.0,  # 1 = does not start
    "cycling": 0.0,  # 1 = made to stop for now
    "trip": 0.0,  # a fault code that it stops with for now
    "switched_on": 1.0,
    "speed_setting": 1.0,  # factor on the speed limit
    # motor and cable
    "motor_ohm": 0.0,  # a joint in each phase
    "phase_lost": 0.0,  # 1 = one phase open
    "leak_w": 0.0,  # through a wet splice to earth, at full voltage
    "stalled": 0.0,  # 1 = held fast
    "reversed": 0.0,
    "uncoupled": 0.0,  # 1 = shaft broken
    "drag": 0.0,  # extra friction torque, share of rated torque
    "surge": 0.0,  # share by which the speed swings to and fro
    # pump and pipes, obstruction in m per (m3/h)^2
    "wear": 0.0,  # share of rated flow that slips back at rated head
    "clog_intake": 0.0,
    "clog_pump": 0.0,
    "clog_delivery": 0.0,
    "leak": 0.0,  # m3/h through the hole per root of m of water above it
    "drains": 0.0,  # 1 = the column empties at rest
    # well
    "static_m": 0.0,  # resting level lower by
    "drawdown": 0.0,  # drawdown greater by this share
    "inflow_m3_h": 1e9,  # all that the well still gives at the intake
    # tank
    "use": 1.0,  # factor on what is drawn from the tank
    # the low-level probe as controller and logger see it: -1 = true
    "probe_says": -1.0,
    "float_says": -1.0,
    "probe_heeded": 1.0,  # 0 = bridged at the controller
}


class Effects:
    """All effects over one stretch of time. Unnamed ones are healthy.

    Never holds a name that HEALTHY does not know: KeyError.
    """

    def __init__(self, **changed: Any) -> None:
        self._held: dict[str, Any] = dict(HEALTHY)
        self._changing: set[str] = set()
        for name, value in changed.items():
            self.put(name, value)

    def put(self, name: str, value: Any) -> None:
        """Set an effect."""
        if name not in HEALTHY:
            raise KeyError(f"no effect is called {name!r}")
        self._held[name] = float(value) if np.ndim(value) == 0 else np.asarray(value, float)
        (self._changing.discard if np.ndim(value) == 0 else self._changing.add)(name)

    def __getitem__(self, name: str) -> Any:
        return self._held[name]

    def active(self, name: str) -> bool:
        """Whether the effect ever leaves its healthy value."""
        return bool(np.any(self._held[name] != HEALTHY[name]))

    def at(self, step: int, days: NDArray | slice) -> dict[str, Any]:
        """Every effect at one step of the day, for the days asked for."""
        return {**self._held, **{name: self._held[name][step, days] for name in self._changing}}

    def without(self, *names: str) -> "Effects":
        """The same with the named effects healthy again."""
        return Effects(**{name: v for name, v in self._held.items() if name not in names})

    def sliced(self, place: int, steps: int) -> "Effects":
        """The same over one step of a day only."""
        return Effects(
            **{n: v if np.ndim(v) == 0 or v.shape[0] != steps else v[place : place + 1] for n, v in self._held.items()}
        )
