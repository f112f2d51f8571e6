"""The pump's working points at low, middle and high power, and how flow, power and current answer there.

Flow: plant.py -> HERE -> causes (effect).
Numeric slopes of the fitted pump at its own operating points, so that the signature of a cause is this site's own. Never: rows.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.estimates.vector import BANDS
from analysis.physics.invert import settled
from analysis.plant import PLANTS_KEPT, Plant
from analysis.rows import Floats

POWER_SHARES = (0.38, 0.62, 0.92)  # middles of the bands, as shares of full power
HEAD_STEP_M = 1.0
POWER_STEP = 0.03
SOLVE_ROUNDS = 40
CLOSE = 1e-12  # of full flow
POWERS_SOLVED = 49  # lines between them lie within a thousandth of the flow
SAME_FLOW = 1e-6  # what rounding makes of it
WITHIN_TABLE = np.linspace(1.0, 0.6, 21)
"""Of a band's power: the first of these at which the pump's table answers, for a table may end below the array's full power."""
DAY_SHARE = np.array([0.15, 0.25, 0.60])
"""Of the day's water that each band gives on a sunny day."""
MOST_LOST = 0.97  # of a day's water: what little is left then tells nothing of the whole
LOST_AT_FULL = 0.9  # the middle of the day loses less than the day as a whole


@dataclass(frozen=True)
class Bench:
    """By band, shape (3,). Slopes are of logs.

    flow_per_head, power_per_head: at given speed, 1/m. flow_per_head_at_power: at given power, 1/m. flow_per_power: at given head.
    """

    power_w: Floats
    head_m: Floats
    flow_m3_h: Floats
    flow_per_head: Floats
    power_per_head: Floats
    flow_per_head_at_power: Floats
    flow_per_power: Floats
    drawdown_m: Floats

    def relative_flow(self) -> Floats:
        """Flow over that of the high band."""
        return self.flow_m3_h / self.flow_m3_h[-1]

    def constant_loss(self) -> Floats:
        """Change of each band's flow, as a share of its own, per share of the day's flow that goes at a constant rate."""
        return -1.0 / self.relative_flow() * LOST_AT_FULL


@lru_cache(maxsize=PLANTS_KEPT)
def bench_of(plant: Plant) -> Bench:
    """The three working points of a site, solved once."""
    power = np.array(POWER_SHARES) * plant.full_power_w
    pump, system = plant.pump, plant.system
    power, flow, head = _answered(plant, power)
    flow = np.maximum(flow, 0.02 * plant.full_flow_m3_h)
    at_power = _slope(lambda h: pump.flow_of_power(power, h), head, HEAD_STEP_M)
    per_power = _slope(lambda x: pump.flow_of_power(power * (1 + x), head), np.zeros(3), POWER_STEP)
    at_speed, power_slope = _slopes_at_speed(plant, power, head)
    fallback = -1.0 / head
    return Bench(
        power, head, flow,
        _known(at_speed, 0.3 * fallback), _known(power_slope, -0.8 * fallback),
        _known(at_power, fallback), _known(per_power, np.ones(3), 10.0),
        system.drawdown_m(flow),
    )  # fmt: skip


def water_lost_with(plant: Plant, lost: Floats) -> float:
    """Share of a sunny day's water that is lost where each band loses that much of its power (log, negative, (3,)).

    By the pump at the power that is left, in its own installation: half of the power costs more than half of the flow, for a rotor's slip
    stays, and impellers must first reach the head. Beyond the table flow goes in a line with the power from where lifting begins.
    """
    return float((1.0 - flow_left(plant, lost)) @ DAY_SHARE)


def flow_left(plant: Plant, lost: Floats) -> Floats:
    """Share of each band's flow that is left with so much less power, log, (..., 3); as `water_lost_with`."""
    bench = bench_of(plant)
    power = bench.power_w * np.exp(lost)
    powers, flows = _flow_by_power(plant)
    flow = np.interp(power, powers, flows, left=np.nan, right=np.nan) if len(powers) else np.full(power.shape, np.nan)
    answered = flow <= bench.flow_m3_h * (1.0 + SAME_FLOW)
    over = np.maximum(power - plant.start_power_w, 0.0) / np.maximum(bench.power_w - plant.start_power_w, 1.0)
    left = np.where(answered, flow / bench.flow_m3_h, np.minimum(over, 1.0))
    return np.clip(left, 0.0, 1.0)


@lru_cache(maxsize=PLANTS_KEPT)
def _flow_by_power(plant: Plant) -> tuple[Floats, Floats]:
    """Powers up to the high band's at which the pump answers, in order, and its flow in the installation at each: solved once, asked every day."""
    bench = bench_of(plant)
    power = np.union1d(np.linspace(0.0, bench.power_w.max(), POWERS_SOLVED), bench.power_w)
    flow, head = _working_points(plant, power)
    answers = np.isfinite(plant.pump.flow_of_power(power, head))
    return power[answers], flow[answers]


def times_left(lost: float) -> float:
    """A lost share as a multiple of what is left of the whole."""
    return lost / (1.0 - min(lost, MOST_LOST))


def _slopes_at_speed(plant: Plant, power: Floats, head: Floats) -> tuple[Floats, Floats]:
    """Of flow and power over head at given speed, 1/m; along the speeds that the table hides where a rating sets their scale."""
    pump = plant.pump
    if pump.speed_known:
        rpm = pump.speed_of_power(power, head)
        return (
            _slope(lambda h: pump.flow_of_speed(rpm, h), head, HEAD_STEP_M),
            _slope(lambda h: pump.power_of_speed(rpm, h), head, HEAD_STEP_M),
        )
    if not plant.turns_by_rating:
        return np.full(BANDS, np.nan), np.full(BANDS, np.nan)
    speed, core = pump.relative_speed_of_power(power, head), pump.core
    return (
        _slope(lambda h: core.flow(speed, h), head, HEAD_STEP_M),
        _slope(lambda h: core.power_at_head(speed, h), head, HEAD_STEP_M),
    )


def _answered(plant: Plant, power: Floats) -> tuple[Floats, Floats, Floats]:
    """(power, flow, head) of each band: its own power, or the next lower one that the pump's table holds."""
    for levels in (WITHIN_TABLE[:1], WITHIN_TABLE):  # nearly always the first level answers, and is enough
        tried = (levels[:, None] * power).ravel()
        flow, head = _working_points(plant, tried)
        answers = np.isfinite(plant.pump.flow_of_power(tried * (1.0 + POWER_STEP), head)).reshape(-1, len(power))
        if answers.any(axis=0).all():
            break
    row = np.where(answers.any(axis=0), np.argmax(answers, axis=0), 0)
    place = row * len(power) + np.arange(len(power))
    return tried[place], flow[place], head[place]


def _working_points(plant: Plant, power: Floats) -> tuple[Floats, Floats]:
    """Flow and head at which pump and installation agree, by secants; full flow where the pump gives no answer.

    From full flow down: there the head is highest, and power that is too much for a low head may still be right.
    """
    most = plant.full_flow_m3_h
    flow = settled(
        lambda at: plant.pump.flow_of_power(power, plant.system.head_m(at)),
        np.full(len(power), most),
        CLOSE * most,
        SOLVE_ROUNDS,
    )
    return flow, plant.system.head_m(flow)


def _slope(function, at: Floats, step: float) -> Floats:
    """d log(function) / d argument, by a central difference."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return (np.log(function(at + step)) - np.log(function(at - step))) / (2 * step)


def _known(values: Floats, fallback: Floats, largest: float = 1.0) -> Floats:
    """Where the pump gives no slope (lifts nothing there), a plain one."""
    bad = ~np.isfinite(values) | (np.abs(values) > largest)
    good = values[~bad]
    return np.where(bad, good[0] if len(good) else fallback, values)
