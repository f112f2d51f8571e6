"""What moves a channel, and whether it has moved: a reading that stood still through that is stuck.

Flow: causes/sensor_fault.py -> HERE.
"""

from dataclasses import dataclass

import numpy as np

from analysis.look import Columns
from analysis.meter import NANO, register_step_m3
from analysis.other_power import power_without
from analysis.plant import Plant, plant_of
from analysis.resolution import reading_step
from analysis.rows import Floats, or_zero
from analysis.solar_days import HOUR_MS
from analysis.symptoms import DayView


@dataclass(frozen=True)
class Moves:
    """How far what moves a channel must have swung. Common practice, no source."""

    moving: float = 0.25  # how much the power must have swung meanwhile, of full power
    drawn_h: float = 0.5  # for so long, before a sound well's level must have followed
    drawn_m: float = 0.3  # of drawdown and of friction that must have come and gone: a coarse sensor does not see less
    pressed_bar: float = 0.15
    counted_steps: float = 3.0  # of the register, and hours of the pump's full flow, that the other meter counted
    counted_h: float = 1.0
    tank: float = 0.1  # of its capacity: people and beasts draw from it meanwhile, but never just as much
    fine_steps: float = 2.5  # of a gauge that reads finely: it need not have moved as far as a coarse one
    fine_bar: float = 0.05
    lacks: float = 0.5  # of the flow expected: less, and it is the flow that is metered which moves the level
    steps: float = 2.0  # of what it reads in must have come and gone: a coarse channel stands still over less


MOVES = Moves()
COARSE = ("water_level_m", "discharge_pressure_bar", "flow_m3_h")
"""Channels told in steps so coarse that a sound one may stand still through much of what moves it."""


def swung(seen: Columns, channel: str, drive: np.ndarray, part: np.ndarray, swing: float) -> np.ndarray:
    """By row of a stretch, up to it: what moves the channel has swung so far, or is not known at all. bool

    A water level needs more than a gust of flow: a well's storage is drawn for a while before the level has gone where that flow takes it.
    """
    moves = drive[part]
    known = ~np.isnan(moves)
    if not known.any():
        return np.ones(len(part), bool)
    least = np.fmin.accumulate(moves)
    if channel != "water_level_m":
        return np.fmax.accumulate(moves) - least >= swing
    return np.cumsum(np.where(known & (moves - least >= swing), seen.dt_h[part], 0.0)) >= MOVES.drawn_h


def moved_by(view: DayView, seen: Columns, channel: str) -> list[np.ndarray]:
    """What moves a channel, by row, each way it is known: drawdown [m], friction [bar], water counted [m3], else power [W].

    All of them must have swung. The flow expected scatters with every reading it is drawn from while a pump at its speed's limit gives
    the same water for hours, and its level stands then; a meter in coarse steps scatters where the flow expected does not.
    """
    plant = plant_of(view.facts)
    with np.errstate(
        invalid="ignore"
    ):  # where no water comes neither moves; a coarse meter's own scatter moves nothing
        came = np.where(seen.flow_m3_h < MOVES.lacks * seen.should_m3_h, seen.flow_m3_h, seen.should_m3_h)
    known = (came, seen.flow_m3_h)
    if channel == "water_level_m":
        return [plant.system.drawdown_m(_lasting(seen, flow)) for flow in known]
    if channel == "volume_m3":
        return [_counted_m3(seen, seen.rows["flow_m3_h"])]
    if channel == "tank_level_m":
        return [_counted_m3(seen, seen.flow_m3_h)]
    if channel == "discharge_pressure_bar":
        return [plant.wellhead_head_m(flow) / plant.metres_a_bar for flow in known]
    return [power_without(plant, seen, channel)]


def _lasting(seen: Columns, flow: np.ndarray) -> np.ndarray:
    """The mean flow of the half hour up to each row, as a well's storage smooths it; NaN where none is known. [m3/h]"""
    known = ~np.isnan(flow) & (seen.dt_h > 0)
    water, hours = (np.cumsum(np.where(known, of, 0.0)) for of in (flow * seen.dt_h, seen.dt_h))
    before = np.searchsorted(seen.time_ms, seen.time_ms - round(MOVES.drawn_h * HOUR_MS), "right") - 1
    water, hours = (of - np.where(before >= 0, of[before], 0.0) for of in (water, hours))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(known, water / hours, np.nan)


def volts_swung(seen: Columns, part: np.ndarray, read: np.ndarray) -> np.ndarray:
    """By row of a stretch, up to it: the array's voltage at its maximum, which hardly goes with the light, has swung by steps of its reading. bool

    read: as of `swing_asked`.
    """
    step = reading_step(read)
    volts = np.where(seen.turning[part], seen.expected.mpp_voltage_v[part], np.nan)
    if not step or np.isnan(volts).all():
        return np.ones(len(part), bool)
    return np.asarray(np.fmax.accumulate(volts) - np.fmin.accumulate(volts) >= MOVES.steps * step)


def _counted_m3(seen: Columns, flow_m3_h: Floats) -> Floats:
    """By row, the water that a flow has brought up to it, in whole nano m3 so that no order of sums matters. [m3]"""
    return np.cumsum(np.rint(or_zero(flow_m3_h) * seen.dt_h * NANO).astype(np.int64)) / NANO


def swing_asked(plant: Plant, channel: str, read: np.ndarray) -> float:
    """By how much that must have swung. `read`: what the channel read until it stood still, for a later reading is not known yet."""
    step = reading_step(read) if channel in COARSE else 0.0
    coarse = MOVES.steps * step
    if channel == "water_level_m":
        return max(MOVES.drawn_m, coarse)
    if channel == "volume_m3":
        counts = register_step_m3(plant.facts)
        return max(MOVES.counted_steps * counts, MOVES.counted_h * plant.full_flow_m3_h)
    if channel == "tank_level_m":
        return max(MOVES.tank * plant.facts.tank.capacity_m3, MOVES.counted_h * plant.full_flow_m3_h)
    if channel == "discharge_pressure_bar":
        fine = max(MOVES.fine_steps * step, MOVES.fine_bar) if step else MOVES.pressed_bar
        return max(min(MOVES.pressed_bar, fine), coarse)
    return max(MOVES.moving, coarse / plant.full_flow_m3_h) * plant.full_power_w
