"""What this installation does along its own system curve, tabulated over power: flow, head and their uncertainty.

Flow: site facts, pump model, factors -> HERE (once per set of factors) -> expected.py
Solved for all nodes at once; slopes by the implicit function, so that covariance travels (GUM 5.2.2).
Never: rows, sky.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.factors import NAMES, Factors
from analysis.physics.grid import Line
from analysis.physics.invert import falls_to_zero
from analysis.physics.pump_lookup import PumpLookup
from analysis.physics.pump_model import PumpModel
from analysis.physics.system_curve import SystemCurve
from analysis.uncertainty import SENSOR_STD
from logger.record.site_facts import SiteFacts

Floats = NDArray[np.float64]

NODES = 257
CLOSE = 1e-11
WITHIN = 0.998
"""Of the highest power: the tables interpolate, so its very edge may lie outside."""
FLOW_REACH = 1.6
"""Losses are tabulated up to this multiple of the pump's largest flow in its table."""
LEVEL_STD_M, PRESSURE_STD_M = SENSOR_STD["water_level_m"][1], SENSOR_STD["discharge_pressure_bar"][1] * 10.2

(FLOW, FLOW_STD, HEAD, HEAD_STD, DRAWDOWN, RISER, BEYOND, FLOW_STD_HEAD_KNOWN, HEAD_STD_KNOWN, FLOW_PER_M_AT_SPEED,
 POWER_PER_M_AT_SPEED, FLOW_PER_W) = range(12)  # fmt: skip
"""Columns of `OperatingLine.line`: [m3/h], [m], [m3/h per m], [W per m], [m3/h per W]. RISER: friction up to the wellhead;
BEYOND: friction behind it; ..._KNOWN: with the pumping level measured."""


@dataclass(frozen=True)
class Hydraulics:
    """What does not change with factors: the pump, its tables and limits; `losses`: drawdown, riser, beyond [m] over flow."""

    facts: SiteFacts
    pump: PumpModel
    lookup: PumpLookup
    curve: SystemCurve
    losses: Line
    power_end_w: float
    top: Line
    capped: Line

    @property
    def base_m(self) -> float:
        """Lift at no flow: resting level to outlet."""
        return self.facts.well.static_level_m + self.facts.delivery.outlet_height_m


def hydraulics(facts: SiteFacts, pump: PumpModel, curve: SystemCurve) -> Hydraulics:
    """Prepare one site. `top`: highest power that the pump model is good for, by head; `capped`: at the speed limit."""
    low, high = pump.head_limits_m
    heads = np.linspace(low, high, 129)
    core = pump.core
    fastest = np.minimum(core.run_out_speed(heads), pump.speed_top)
    rated = facts.motor.rated_speed_rpm
    limit = facts.controller.speed_limit_pct / 100.0
    limit *= rated / core.reference_rpm if rated and pump.speed_known else 1.0
    strongest = core.power_at_head(fastest, heads)
    limited = core.power_at_head(np.minimum(fastest, limit), heads)
    step = (high - low) / 128
    end = 1.05 * max(float(np.nanmax(strongest)), facts.controller.max_power_w)
    flow = np.linspace(0.0, FLOW_REACH * pump.flow_max_m3_h, NODES)
    losses = np.stack([curve.drawdown_m(flow), curve.riser_loss_m(flow), curve.pipe_loss_m(flow)], axis=-1)
    return Hydraulics(
        facts, pump, pump.lookup(), curve, Line(0.0, flow[1], losses), end,
        Line(low, step, strongest[:, None]), Line(low, step, limited[:, None]),
    )  # fmt: skip


@dataclass(frozen=True)
class Solved:
    """One line: over the power nodes, flow, head and the slopes of both along the named factors and power."""

    power_w: Floats
    flow: Floats
    head: Floats
    flow_slopes: Floats
    head_slopes: Floats
    flow_per_w: Floats


def solve(site: Hydraulics, factors: Factors, strongest: Line) -> Solved:
    """The operating point at every power node.

    Parameters
    ----------
    site : Hydraulics
    factors : Factors
    strongest : Line
        Power over head that the pump is not given more of (`site.top` or `site.capped`): more counts as that. [W]

    Returns
    -------
    Solved
        NaN where the head lies off the pump's table.

    Notes
    -----
    What the pump lifts falls with head and the head rises with flow, so there is one crossing, found to 1e-11 of the pump's
    largest flow.
    """
    power = np.linspace(0.0, site.power_end_w, NODES)
    flow = falls_to_zero(
        lambda at: np.nan_to_num(_lifted(site, factors, strongest, power, _head(site, factors, at))) - at,
        np.zeros(NODES),
        np.full(NODES, FLOW_REACH * site.pump.flow_max_m3_h),
        CLOSE * site.pump.flow_max_m3_h,
    )
    flow[flow < 1e-8 * site.pump.flow_max_m3_h] = 0.0
    head = _head(site, factors, flow)
    lifted = _lifted(site, factors, strongest, power, head)
    tight = np.abs(lifted - flow) < 1e-3 * site.pump.flow_max_m3_h + 1e-6
    flow, head = np.where(tight, flow, np.nan), np.where(tight, head, np.nan)
    return Solved(power, flow, head, *_slopes(site, factors, strongest, power, flow, head))


def _head(site: Hydraulics, factors: Factors, flow: Floats) -> Floats:
    drawdown, riser, beyond = site.losses(flow)
    return site.base_m + factors.level_offset_m + factors.drawdown * drawdown + factors.friction * (riser + beyond)


def _lifted(site: Hydraulics, factors: Factors, strongest: Line, power: Floats, head: Floats) -> Floats:
    given = np.minimum(power / factors.power, strongest(head)[0] * WITHIN)
    return factors.flow * site.lookup.flow_of_power(given, head)


def _slopes(
    site: Hydraulics, factors: Factors, strongest: Line, power: Floats, flow: Floats, head: Floats
) -> tuple[Floats, Floats, Floats]:
    """Of flow and head along the factors, and of flow along power: implicit function theorem at the solution."""
    step_w, step_m = site.power_end_w / (NODES - 1), 0.2
    q_power = _difference(lambda x: _lifted(site, factors, strongest, x, head), power, step_w)
    q_head = np.minimum(_difference(lambda x: _lifted(site, factors, strongest, power, x), head, step_m), 0.0)
    step_q = 0.01 * site.pump.flow_max_m3_h
    head_flow = _difference(lambda x: _head(site, factors, x), np.maximum(flow, step_q), step_q)
    stiffness = 1.0 - q_head * head_flow
    direct = np.zeros((NODES, len(NAMES)))
    drawdown, riser, beyond = site.losses(flow)
    along_head = {"level_offset_m": np.ones(NODES), "drawdown": drawdown, "friction": riser + beyond}
    direct[:, NAMES.index("flow")] = flow / factors.flow
    direct[:, NAMES.index("power")] = -q_power * power / factors.power
    for name, moved in along_head.items():
        direct[:, NAMES.index(name)] = q_head * moved
    flow_slopes = direct / stiffness[:, None]
    head_slopes = head_flow[:, None] * flow_slopes
    for name, moved in along_head.items():
        head_slopes[:, NAMES.index(name)] += moved
    return flow_slopes, head_slopes, q_power / stiffness


def _difference(function, at: Floats, step: float) -> Floats:
    """Central difference; one-sided where the other side is off the table; 0 where both are."""
    below = np.maximum(at - step, 0.0)
    up, middle, down = function(np.stack([at + step, at, below]))
    both = (up - down) / (at + step - below)
    one = np.where(np.isnan(up), (middle - down) / step, (up - middle) / step)
    return np.nan_to_num(np.where(np.isnan(both), one, both))


def slope_line(site: Hydraulics) -> Line:
    """Flow, and the slopes of flow and head along each factor at HEALTHY, as a table over power: 1 + 2 len(NAMES) columns."""
    solved = solve(site, Factors(), site.top)
    columns = np.concatenate([solved.flow[:, None], solved.flow_slopes, solved.head_slopes], axis=1)
    return Line(0.0, site.power_end_w / (NODES - 1), np.ascontiguousarray(columns))


def operating_line(site: Hydraulics, factors: Factors, covariance: Floats, strongest: Line) -> Line:
    """The solved line with uncertainties, as a table over power."""
    solved = solve(site, factors, strongest)
    pump, power, flow = site.pump, solved.power_w, solved.flow
    share, amount = SENSOR_STD["input_power_w"]
    by_power = solved.flow_per_w * np.hypot(share * power, amount)
    fit = pump.spread.flow_of_power_m3_h
    meter = factors.meter * flow * np.sqrt(covariance[NAMES.index("meter"), NAMES.index("meter")])
    flow_std = np.sqrt(_variance(solved.flow_slopes, covariance) + by_power**2 + fit**2 + meter**2)
    head_std = np.sqrt(_variance(solved.head_slopes, covariance))
    known = covariance.copy()
    for name in ("level_offset_m", "drawdown"):
        known[NAMES.index(name), :] = known[:, NAMES.index(name)] = 0.0
    instrument = LEVEL_STD_M + SENSOR_STD["water_level_m"][0] * site.facts.well.static_level_m
    q_head = solved.flow_slopes[:, NAMES.index("level_offset_m")]
    known_flow = _variance(solved.flow_slopes, known) + by_power**2 + fit**2 + meter**2 + (q_head * instrument) ** 2
    known_head = np.sqrt(_variance(solved.head_slopes, known) + instrument**2)
    drawdown, riser, beyond = site.losses(flow)
    at_speed = _slopes_at_speed(site, factors, power, solved.head)
    columns = [
        flow, flow_std, solved.head, head_std,
        factors.drawdown * drawdown, factors.friction * riser, factors.friction * beyond, np.sqrt(known_flow), known_head, *at_speed, solved.flow_per_w,
    ]  # fmt: skip
    return Line(0.0, site.power_end_w / (NODES - 1), np.ascontiguousarray(np.stack(columns, axis=-1)))


def _variance(slopes: Floats, covariance: Floats) -> Floats:
    return np.einsum("ni,ij,nj->n", slopes, covariance, slopes)


def _slopes_at_speed(site: Hydraulics, factors: Factors, power: Floats, head: Floats) -> tuple[Floats, Floats]:
    """How flow and power change with head at the speed of each node; 0 where the table has no speeds."""
    if not site.pump.speed_known:
        return np.zeros(NODES), np.zeros(NODES)
    speed = site.pump.speed_of_power(np.minimum(power / factors.power, site.top(head)[0] * WITHIN), head)
    flow = _difference(lambda x: factors.flow * site.lookup.flow(speed, x), head, 0.2)
    taken = _difference(lambda x: factors.power * site.lookup.power_of_speed(speed, x), head, 0.2)
    return flow, taken
