"""The few named numbers in which one installation may differ from its datasheets, and their covariance.

Flow: uncertainty.py (what tolerance allows) and baseline.py (the named view of what was learnt) -> HERE -> expected.py
Never: learning, tables.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Factors:
    """One installation against its datasheets. The defaults are a flawless one.

    flow
        Flow that the pump lifts, at given speed (or power) and head, over the table's. Wear lowers it. [-]
    power
        Power (and torque) that it takes for a given speed and head, over the table's. [-]
    array_current
        Light that reaches the cells and strings that work, over the datasheet's: soiling, string out. [-]
    array_voltage
        Cells in series that work, over the datasheet's. [-]
    level_offset_m
        Resting water level below the site file's; larger = deeper. [m]
    drawdown
        Drawdown at a given flow, over the driller's. [-]
    friction
        Friction in riser and pipe at a given flow, over the calculated. [-]
    motor_current
        Motor current at given torque, over the rated. [-]
    meter
        What the flow meter shows over what passes. [-]
    clear_sky
        Clear-sky irradiance over the model's: the local air. [-]
    covariance
        Of the above in this order, float tuples of 10 by 10; None = what the tolerances allow.
    """

    flow: float = 1.0
    power: float = 1.0
    array_current: float = 1.0
    array_voltage: float = 1.0
    level_offset_m: float = 0.0
    drawdown: float = 1.0
    friction: float = 1.0
    motor_current: float = 1.0
    meter: float = 1.0
    clear_sky: float = 1.0
    covariance: tuple[tuple[float, ...], ...] | None = None

    def vector(self) -> Floats:
        """The values in the order of NAMES."""
        return np.array([getattr(self, name) for name in NAMES])

    def with_vector(self, values: Floats, covariance: Floats | None = None) -> "Factors":
        """The same with other values, and another covariance where given."""
        named = {name: float(value) for name, value in zip(NAMES, values, strict=True)}
        kept = self.covariance if covariance is None else tuple(map(tuple, np.asarray(covariance, float).tolist()))
        return replace(self, **named, covariance=kept)

    def std(self, name: str) -> float:
        """Standard uncertainty of one of them; NaN while the covariance is not stated. KeyError: no such name."""
        if name not in NAMES:
            raise KeyError(name)
        if self.covariance is None:
            return float("nan")
        place = NAMES.index(name)
        return float(np.sqrt(self.covariance[place][place]))


NAMES: tuple[str, ...] = tuple(field.name for field in fields(Factors) if field.name != "covariance")
HEALTHY = Factors()
"""A flawless installation, with the uncertainty that the tolerances of its datasheets leave."""
