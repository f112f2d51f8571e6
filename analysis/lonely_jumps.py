"""Channels that jump from row to row while the plant does not: a loose plug, a screen that lost its earth.

Flow: look.py (columns) -> HERE -> causes/sensor_fault.py, screen.py.
A well's level and a body's temperature lag behind all that moves them, and so does the water in a tank; a motor's current, its power and the
pressure of its water go with its speed, and what it takes with the array's volts and light: no plant, sound or not, makes one of them spring
to and fro while all the others keep still and the pump runs on. Light alone can. A jump is how far a row lies from the middle between its neighbours. Sums run up
to a row and the row after it alone, so that a flag never hangs on later ones. Never: a channel that may jump of itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.look import Columns
from analysis.plant import PLANTS_KEPT, Plant
from analysis.rows import Floats

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class JumpLimits:
    """Common practice, no source."""

    jump: float = 0.08  # of `_usual`
    still: float = 0.02  # of what moves it, likewise
    share: float = 0.1  # of the rows in which that keeps still
    quick_share: float = (
        1 / 3
    )  # likewise of what has neither weight nor warmth: one wild reading shows in both its neighbours too, a meter's own noise seldom
    least_rows: int = 12
    quick_rows: int = 30  # likewise
    asked_rows: int = 40
    least_bar: float = 0.15  # a coarse gauge, and air in the pipe
    row_h: float = 0.09  # clouds come and go within longer rows, and warmth with them


LIMITS = JumpLimits()
MOVED_BY: dict[str, tuple[str, ...]] = {
    "water_level_m": ("motor_speed_rpm", "motor_current_a", "pv_voltage_v", "pv_current_a"),
    "module_temp_c": ("irradiance_w_m2", "pv_voltage_v", "pv_current_a"),
    "ambient_temp_c": ("irradiance_w_m2", "pv_voltage_v", "pv_current_a"),
    "motor_current_a": ("motor_speed_rpm", "pv_voltage_v", "pv_current_a"),
    "pv_current_a": ("irradiance_w_m2", "motor_speed_rpm", "motor_current_a", "pv_voltage_v"),
    "discharge_pressure_bar": ("motor_speed_rpm", "motor_current_a", "pv_voltage_v", "pv_current_a"),
    "tank_level_m": ("motor_speed_rpm", "pv_voltage_v", "pv_current_a"),
    "controller_temp_c": ("irradiance_w_m2", "motor_speed_rpm", "pv_voltage_v", "pv_current_a"),
}
"""By channel what moves it; all of it that is fitted must be read, and keep still."""
QUICK = {
    "motor_current_a": "motor_speed_rpm",
    "pv_current_a": "motor_speed_rpm",
    "discharge_pressure_bar": "motor_speed_rpm",
}
"""Channels that follow at once what moves them, and what must be known of that: volts hardly go with the light, so that they prove nothing."""
TEMPERATURE_C = 40.0
TANK_M = 1.5  # how deep a tank's water stands (common practice, no source)


def jumping(plant: Plant, seen: Columns) -> Iterator[tuple[str, NDArray[np.int64], int, float]]:
    """By channel of a day that jumps: the rows that do, the row at which they are enough, and the share that they are."""
    for channel in MOVED_BY:
        found = _of_channel(plant, seen, channel)
        if found is None:
            continue
        asked, wild = found
        quick = channel in QUICK
        share, least = (LIMITS.quick_share, LIMITS.quick_rows) if quick else (LIMITS.share, LIMITS.least_rows)
        asked_n, wild_n = np.cumsum(asked), np.cumsum(wild)
        enough = (wild_n >= least) & (asked_n >= LIMITS.asked_rows) & (wild_n >= share * asked_n)
        at = np.flatnonzero(enough[:-1] & wild[:-1])  # known with the row after
        if len(at):
            yield channel, np.flatnonzero(wild), int(at[0]) + 1, float(wild_n[-1] / asked_n[-1])


def may_jump(plant: Plant, seen: Columns) -> Flags:
    """Rows of which a day needs `least_rows` for `jumping` to find anything. bool[n]"""
    found = np.zeros(len(seen), bool)
    for channel in MOVED_BY:
        if (one := _of_channel(plant, seen, channel)) is not None:
            found |= one[1]
    return found


def _of_channel(plant: Plant, seen: Columns, channel: str) -> tuple[Flags, Flags] | None:
    """Rows in which a channel and what moves it are read and that keeps still, and those of them in which it jumps. bool[n] each"""
    if (
        channel not in seen.rows.values
        or len(seen) < LIMITS.asked_rows
        or QUICK.get(channel, channel) not in seen.rows.values
    ):
        return None
    own = _jump(plant, seen, channel)
    with np.errstate(invalid="ignore"):
        wild = own > LIMITS.jump
    movers = [name for name in MOVED_BY[channel] if name in seen.rows.values or name in plant.has]
    if not movers or np.count_nonzero(wild) < LIMITS.least_rows:
        return None
    still = _steady_rows(seen)
    for name in movers:
        with np.errstate(invalid="ignore"):
            still &= _jump(plant, seen, name) < LIMITS.still  # what is not read is not known to keep still
    return still & ~np.isnan(own), still & wild


def _steady_rows(seen: Columns) -> Flags:
    """Settled rows between two others. bool[n]"""
    found = seen.settled & (seen.dt_h > 0) & (seen.dt_h < LIMITS.row_h)
    inner = found.copy()
    inner[1:] &= found[:-1]
    inner[:-1] &= found[1:]
    inner[:1], inner[-1:] = False, False
    return inner


def _jump(plant: Plant, seen: Columns, channel: str) -> Floats:
    """How far each row lies from the middle between its neighbours, of what the channel usually reads; NaN at either end."""
    column = seen.rows[channel]
    found = np.full(len(column), np.nan)
    off = found[1:-1]  # in place: of whole seasons each new array costs more than what is worked out in it
    np.add(column[2:], column[:-2], out=off)
    off *= 0.5
    np.subtract(column[1:-1], off, out=off)
    np.abs(off, out=off)
    off /= _usual(plant, channel)
    return found


@lru_cache(maxsize=8 * PLANTS_KEPT)
def _usual(plant: Plant, channel: str) -> float:
    """What a channel reads about full power, by the site file, in its unit; of temperatures, what a warm day makes."""
    facts = plant.facts
    module, motor = facts.array.module, facts.motor
    fastest = max((row.speed_rpm or 0.0 for row in facts.pump.curve), default=0.0)
    volts = facts.array.modules_in_series * module.v_mp_v
    known = {
        "motor_speed_rpm": fastest or motor.rated_speed_rpm or 3000.0,
        "motor_current_a": motor.rated_current_a or plant.rated_current_a,
        "pv_voltage_v": volts,
        "pv_current_a": plant.full_power_w / volts,
        "irradiance_w_m2": 1000.0,
        "water_level_m": max(facts.well.static_level_m, 10.0),
        "tank_level_m": TANK_M,
        "discharge_pressure_bar": max(
            float(plant.wellhead_head_m(np.array([plant.full_flow_m3_h]))[0]) / plant.metres_a_bar,
            LIMITS.least_bar / LIMITS.jump,
        ),
    }
    return known.get(channel, TEMPERATURE_C)
