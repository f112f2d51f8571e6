"""Where on the array's curve the controller holds it: at maximum power, held back, starved, or not drawing at all.

Flow: voltage and current at the controller's input, cell temperature -> HERE -> estimates, causes
Never: why (speed limit, heat, tank, starting): that takes other channels.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.array_power import ArrayModel

Floats = NDArray[np.float64]


class OnCurve(IntEnum):
    """One code a row."""

    UNKNOWN = 0
    IDLE = 1  # no current drawn to speak of: the array stands near open circuit
    HELD_BACK = 2  # right of the maximum: more power is there than is taken (speed limit, heat, tank, starting)
    AT_MAXIMUM = 3
    STARVED = 4  # left of the maximum: dragged down (starting torque, a mis-tracked maximum, bypassed modules)


HELD_BACK_FROM, STARVED_BELOW = 1.035, 0.90
"""Voltage over that of maximum power. A tracker keeps within 1 to 2 %, cell temperature is known to 4 deg C or 1.6 %."""
IDLE_SHARE = 0.02
"""Of the datasheet's current at maximum."""


def on_curve(
    array: ArrayModel, voltage_v: ArrayLike, current_a: ArrayLike, cell_c: ArrayLike, rated_current_a: float
) -> tuple[NDArray[np.uint8], Floats, Floats]:
    """Operating point recognised without an irradiance sensor: the point itself tells the light that made it.

    Parameters
    ----------
    array : ArrayModel
        Tables of `array_power.array_model`. [W], [V], [A]
    voltage_v, current_a : float or ndarray, any shape
        At the controller's input. [V], [A]
    cell_c : float or ndarray that broadcasts
        [deg C]
    rated_current_a : float
        The whole array's current at maximum, from the datasheet. [A]

    Returns
    -------
    state : uint8, OnCurve codes
        UNKNOWN where an input is NaN.
    voltage_ratio : float64
        Voltage over that of maximum power in this light. NaN where idle or unknown.
    light_w_m2 : float64
        Effective irradiance told by the operating point: what reaches the cells through dust. NaN near open circuit.

    Raises
    ------
    ValueError
        `rated_current_a` not above 0.

    Notes
    -----
    With fewer strings at work the same light gives less current: the light found is then low by the strings missing. The
    ratio hardly feels it: the voltage of maximum power moves by 1 % when the light halves.

    References
    ----------
    .. [1] Single-diode circuit as in `single_diode.py`; the reading of states from it is our own.
    """
    if not rated_current_a > 0:
        raise ValueError(f"rated_current_a must be above 0, got {rated_current_a!r}")
    volts, amperes, cell = np.broadcast_arrays(
        np.asarray(voltage_v, float), np.asarray(current_a, float), np.asarray(cell_c, float)
    )
    light = array.light_of(volts, amperes, cell)
    flat_light, flat_cell = np.ravel(light), np.ravel(cell)
    best = array.held_maximum(flat_light, flat_cell)[1].reshape(volts.shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = volts / best
    idle = amperes < IDLE_SHARE * rated_current_a
    near_open = np.isnan(light) & ~np.isnan(volts + amperes + cell)
    state = np.full(volts.shape, OnCurve.AT_MAXIMUM, np.uint8)
    state[(ratio >= HELD_BACK_FROM) | near_open] = OnCurve.HELD_BACK
    state[ratio < STARVED_BELOW] = OnCurve.STARVED
    state[idle] = OnCurve.IDLE
    state[np.isnan(volts + amperes + cell)] = OnCurve.UNKNOWN
    return state, np.where(idle, np.nan, ratio), light
