"""What one sound day tells of an installation's factors: a few numbers with their slopes.

Flow: day_observations.py or the estimates -> HERE -> baseline.py
Never: rows, learning.
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Observation:
    """One number that a day's sound running tells.

    kind
        "flow", "flow_at_speed", "power_at_speed", "motor_current", "level", "pressure", "array_power", "array_voltage",
        "array_current", "clear_sky": what was compared.
    value
        Measured less expected at HEALTHY: the logarithm of the ratio for shares, metres for levels and pressures.
    std
        Its standard uncertainty without that of the factors: noise, model misfit.
    slopes
        Change of `value` for a unit of each factor, by name; absent = 0.
    """

    kind: str
    value: float
    std: float
    slopes: Mapping[str, float]


@dataclass(frozen=True)
class DayEstimate:
    """One closed solar day. `date`: ISO 8601, local. `running_h`: hours of sound running behind the observations."""

    date: str
    observations: tuple[Observation, ...]
    running_h: float
