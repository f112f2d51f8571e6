"""How flow and power answer to wear, lift, friction and a leak: what a diagnosis estimates these from.

Flow: PumpModel, SystemCurve, conditions -> HERE -> estimates/. Derivatives about the healthy operating point, with the
installation's answer (less flow means less friction and drawdown) in them. Never: I/O, pandas.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.pump_lookup import PumpLookup
from analysis.physics.system_curve import SystemCurve

Floats = NDArray[np.float64]

HEAD_STEP = 0.005  # of the head, for numeric slopes


@dataclass(frozen=True)
class Sensitivities:
    """Change of delivered flow [m3/h] and, at given speed, of power [W], for a unit change of each parameter.

    wear
        Share of the reference flow that leaks back in the pump (PumpModel).
    lift_m
        Metres that the resting level is lower.
    friction
        Factor on friction and fittings, about 1.
    leak
        Share of the pumped flow lost between pump and meter, taken at the wellhead.
    """

    flow_wear: Floats
    flow_lift_m: Floats
    flow_friction: Floats
    flow_leak: Floats
    power_wear: Floats
    power_lift_m: Floats
    power_friction: Floats
    power_leak: Floats


def at_power(lookup: PumpLookup, system: SystemCurve, power_w: ArrayLike, flow_m3_h: ArrayLike) -> Sensitivities:
    """Sensitivities at given power: the flow answers, the power stays.

    Parameters
    ----------
    lookup : PumpLookup
        The pump.
    system : SystemCurve
        The installation.
    power_w : float or ndarray, shape (n,)
        Power taken in. [W]
    flow_m3_h : float or ndarray, shape (n,)
        Healthy flow there, from OperatingPoint. [m3/h]

    Returns
    -------
    Sensitivities
        Powers all 0; NaN outside the pump's validity. [m3/h] and [W] for each unit of the parameter.

    References
    ----------
    .. [1] Implicit function theorem on Q = pump(P, H(Q)).
    """
    power, flow = np.broadcast_arrays(np.asarray(power_w, float), np.asarray(flow_m3_h, float))
    head = system.head_m(flow)
    slope = _slope(lambda h: lookup.flow_of_power(power, h), head)
    parts = _flow_parts(lookup, system, flow, head, slope)
    return Sensitivities(*parts, *(0.0 * part for part in parts))


def at_speed(lookup: PumpLookup, system: SystemCurve, speed_rpm: ArrayLike, flow_m3_h: ArrayLike) -> Sensitivities:
    """Sensitivities at given speed: flow and power both answer.

    Parameters
    ----------
    lookup : PumpLookup
        The pump, with speeds.
    system : SystemCurve
        The installation.
    speed_rpm : float or ndarray, shape (n,)
        Speed. [1/min]
    flow_m3_h : float or ndarray, shape (n,)
        Healthy flow there, from OperatingPoint. [m3/h]

    Returns
    -------
    Sensitivities
        NaN outside the pump's validity. [m3/h] and [W] for each unit of the parameter.

    References
    ----------
    .. [1] Implicit function theorem on Q = pump(n, H(Q)).
    """
    speed, flow = np.broadcast_arrays(np.asarray(speed_rpm, float), np.asarray(flow_m3_h, float))
    head = system.head_m(flow)
    slope = _slope(lambda h: lookup.flow(speed, h), head)
    power_slope = _slope(lambda h: lookup.power_of_speed(speed, h), head)
    parts = _flow_parts(lookup, system, flow, head, slope)
    rises, losses, pipe_rise = _system_parts(system, flow)
    # head changes by the parameter itself and by the flow that it changes; a leak's pumped flow is delivered + lost
    wear, lift, friction, leak = parts
    heads = (rises * wear, 1 + rises * lift, losses + rises * friction, rises * (leak + flow) - pipe_rise * flow)
    return Sensitivities(*parts, *(power_slope * change for change in heads))


def _slope(function, head: Floats) -> Floats:
    step = HEAD_STEP * head
    return (function(head + step) - function(head - step)) / (2 * step)


def _system_parts(system: SystemCurve, flow: Floats) -> tuple[Floats, Floats, Floats]:
    """Slope of head over flow, head lost to friction, slope of the loss beyond the wellhead."""
    step = 1e-3 * np.maximum(flow, 0.1)
    pipe_rise = (system.pipe_loss_m(flow + step) - system.pipe_loss_m(flow - step)) / (2 * step)
    return system.slope_m_per_m3_h(flow), system.riser_loss_m(flow) + system.pipe_loss_m(flow), pipe_rise


def _flow_parts(
    lookup: PumpLookup, system: SystemCurve, flow: Floats, head: Floats, slope: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    rises, losses, pipe_rise = _system_parts(system, flow)
    answer = 1 / (1 - slope * rises)  # what is left of a change once the installation has answered
    wear = -answer * lookup.model.core.leak_m3_h(head)
    lift, friction = answer * slope, answer * slope * losses
    # pumped flow changes by answer * slope * (pipe_rise * -flow); delivered is that less the share lost
    leak = -flow - answer * slope * pipe_rise * flow
    return wear, lift, friction, leak
