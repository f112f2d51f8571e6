"""Where uncertainty comes from, and how it travels: tolerances, sensor classes, site facts, propagation.

Flow: site facts -> HERE -> expected.py, baseline.py.
A tolerance is read as the half-width that 19 of 20 keep: standard uncertainty = half of it (coverage factor 2).
References: JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM), 5.1.2, 5.2.2, G.
Never: learning, I/O.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.factors import NAMES, Factors
from analysis.physics.pump_tolerance import tolerance
from logger.record.site_facts import SiteFacts

Floats = NDArray[np.float64]

COVERAGE = 2.0


SENSOR_STD: dict[str, tuple[float, float]] = {
    "pv_voltage_v": (0.005, 0.3),
    "pv_current_a": (0.010, 0.02),
    "input_power_w": (0.012, 2.0),
    "irradiance_w_m2": (0.025, 3.0),
    "module_temp_c": (0.0, 1.5),
    "ambient_temp_c": (0.0, 1.0),
    "water_level_m": (0.002, 0.05),
    "discharge_pressure_bar": (0.0, 0.03),
    "motor_speed_rpm": (0.002, 3.0),
    "motor_current_a": (0.02, 0.03),
    "flow_m3_h": (0.02, 0.01),
    "volume_m3": (0.02, 0.0),
}
"""Standard uncertainty of a usual instrument, as a share of the reading and as an amount: common practice, no source."""

MODULE_POWER_TOLERANCE = 0.03
"""Nameplate power: +-3 % on most datasheets. IEC 61215 allows what the nameplate states."""
USUAL_LOSS_TOLERANCE = 0.03
"""Mismatch, degradation and tracking about their usual sum (`array_power.LIGHT_SHARE`): common practice, no source."""
FRICTION_TOLERANCE = 0.30
"""Friction from nominal diameters and roughness, fittings counted by eye: common practice, no source."""
DRAWDOWN_TOLERANCE = 0.30
"""A driller's step test against the well as it is used: common practice, no source."""
LEVEL_TOLERANCE_M = 2.0
"""A resting level as noted in the driller's log, another season and another datum: common practice, no source."""
METER_TOLERANCE = 0.04
"""Twice the +-2 % that ISO 4064 class 2 meters keep in their upper flow zone, for age and installation (from memory)."""
MOTOR_CURRENT_TOLERANCE = 0.30
"""A plate's current is that of the motor's rated torque, which its maker rounds and chooses above the duty: by up to a frame size, and as often
below the heaviest row of the pump's table, where that lists heads beyond the duty (common practice, no source)."""
CLEAR_SKY_TOLERANCE = 0.10
POWER_TOLERANCE = 0.12
"""Power of a small pump, motor and controller for a given speed and head: between the +-8 % of ISO 9906's grades and the 12 to
17 % that its clause 4.4.2 leaves to the efficiency of small pumps; see `physics.pump_tolerance`."""


def tolerances(facts: SiteFacts) -> dict[str, float]:
    """Half-width that 19 of 20 installations keep, by name of the factor."""
    fastest = max(row.power_w for row in facts.pump.curve)
    flow = tolerance(fastest).flow_pct[1] / 100.0
    season = (facts.well.seasonal_range_m or 0.0) / 2.0
    return {
        "flow": flow,
        "power": POWER_TOLERANCE,
        "array_current": MODULE_POWER_TOLERANCE + USUAL_LOSS_TOLERANCE,
        "array_voltage": MODULE_POWER_TOLERANCE,
        "level_offset_m": float(np.hypot(LEVEL_TOLERANCE_M, season)),
        "drawdown": DRAWDOWN_TOLERANCE,
        "friction": FRICTION_TOLERANCE,
        "motor_current": MOTOR_CURRENT_TOLERANCE,
        "meter": METER_TOLERANCE,
        "clear_sky": CLEAR_SKY_TOLERANCE,
    }


def head_share(facts: SiteFacts) -> float:
    """How far an impeller's own head may be off where its flow is off by 1: both at a kept speed, as shares. 0 of a helical rotor, whose flow
    hardly asks for the head.

    A curve is as sold where it meets the ellipse of the tolerances of flow and of head (ISO 9906:1999, from memory), so that its flow at a head
    may be off by both. Near shut-off, where flow is steep in head, the second is nearly all.
    """
    if facts.pump.kind != "multistage-centrifugal":
        return 0.0
    allowed = tolerance(max(row.power_w for row in facts.pump.curve))
    return allowed.head_pct[1] / allowed.flow_pct[1]


def prior(facts: SiteFacts) -> Factors:
    """A flawless installation with the covariance that its tolerances leave. The factors are independent before learning."""
    allowed = tolerances(facts)
    return Factors().with_vector(Factors().vector(), np.diag([(allowed[name] / COVERAGE) ** 2 for name in NAMES]))


def sensor_std(channel: str, value: ArrayLike) -> Floats:
    """Standard uncertainty of a reading, in the channel's unit. NaN in, NaN out. KeyError: no class is known for it."""
    share, amount = SENSOR_STD[channel]
    return np.hypot(share * np.asarray(value, float), amount)


def propagate(
    function: Callable[[Floats], Floats], at: Floats, covariance: Floats, steps: Floats
) -> tuple[Floats, Floats]:
    """A function's value and standard uncertainty by its slopes: the GUM's law of propagation.

    Parameters
    ----------
    function : callable
        From float64[k] to an array of any shape.
    at, steps : float64[k]
        Where, and how far to step each input for its slope (about its standard uncertainty: the slope then spans what matters).
    covariance : float64[k, k]

    Returns
    -------
    value, std : float64 of the function's shape

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2 and 5.2.2.
    """
    value = function(at)
    slopes = []
    for place, step in enumerate(steps):
        if step == 0.0 or covariance[place, place] == 0.0:
            slopes.append(np.zeros_like(value))
            continue
        up, down = at.copy(), at.copy()
        up[place] += step
        down[place] -= step
        slopes.append((function(up) - function(down)) / (2.0 * step))
    stacked = np.stack(slopes, axis=-1)
    variance = np.einsum("...i,ij,...j->...", stacked, covariance, stacked)
    return value, np.sqrt(np.maximum(variance, 0.0))
