"""Readings that the night denies: a sun, a current or a speed that stands through the dark as it stood by day.

Flow: look.py (columns) -> HERE -> causes/sensor_fault.py, screen.py, life.py.
What stands still is told by day only after hours in which everything else moved; in the dark, before the pump is asked to run, minutes
tell it. Every sum runs up to its row alone. Nor is it seen to mend by day, for a reading with a wrong zero goes up and down with the rest;
only a night in which it reads none does. Never: a plant of which nothing else says that it rests, for a gateway may repeat all it last heard.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.look import FED_SHARE, IDLE_SHARE, IDLE_W, TURNING_SHARE, Columns
from analysis.other_power import FLOWS
from analysis.plant import Plant

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class NightLimits:
    """Common practice, no source."""

    held_h: float = 0.3  # of the same reading, with the sun down
    least_rows: int = 2
    light_w_m2: float = 100.0  # a sensor's own zero is a tenth of it


LIMITS = NightLimits()
RATED_HZ = 50.0
OTHERS = (
    "pv_voltage_v",
    "pv_current_a",
    "input_power_w",
    "motor_current_a",
    "motor_speed_rpm",
    "motor_running",
    "irradiance_w_m2",
)
"""Channels of which one at least must say that the plant rests, or still moves."""


def least_of(plant: Plant, channel: str) -> float:
    """Above it a reading is none that a plant at rest in the dark can have, in the channel's unit; infinite where nobody knows."""
    fastest = max((row.speed_rpm or 0.0 for row in plant.facts.pump.curve), default=0.0)
    return {
        "irradiance_w_m2": LIMITS.light_w_m2,
        "pv_current_a": FED_SHARE * plant.rated_current_a,
        "motor_current_a": FED_SHARE * (plant.facts.motor.rated_current_a or np.inf),
        "motor_speed_rpm": TURNING_SHARE * (fastest or plant.facts.motor.rated_speed_rpm or np.inf),
        "drive_frequency_hz": TURNING_SHARE * RATED_HZ,
    }[channel]


FIGURE = "by_night"
"""Names the figure of what is told here."""
CHANNELS = ("irradiance_w_m2", "pv_current_a", "motor_current_a", "motor_speed_rpm", "drive_frequency_hz")
BY_REST = ("motor_current_a", "motor_speed_rpm", "drive_frequency_hz")
"""A generator may drive a motor by night: these are denied only where no power is taken."""


def night_rows(plant: Plant, seen: Columns, channel: str) -> Flags:
    """Rows with the sun down in which a channel reads what it cannot, and no water comes. bool[n]"""
    column = seen.rows.values.get(channel)
    if column is None:
        return np.zeros(len(seen), bool)
    with np.errstate(invalid="ignore"):
        rows = ~seen.expected.daylight & (seen.dt_h > 0) & (np.abs(column) > least_of(plant, channel))
        rows &= ~(seen.moved_m3 > 0) & ~(seen.rows["flow_m3_h"] > 0)
        if channel in BY_REST and rows.any():
            none = (seen.rows["pv_voltage_v"] == 0.0) | (seen.rows["pv_current_a"] <= FLOWS * plant.rated_current_a)
            rows &= (seen.power_w <= max(IDLE_W, IDLE_SHARE * plant.full_power_w)) | (np.isnan(seen.power_w) & none)
    return rows


def rests_again(plant: Plant, seen: Columns, channel: str, time_ms: int) -> bool:
    """Whether a channel that read what it cannot by night has since read, with the sun down and for as long, what it can."""
    column = seen.rows.values.get(channel)
    if column is None:
        return False
    with np.errstate(invalid="ignore"):
        well = ~seen.expected.daylight & (seen.time_ms > time_ms) & (np.abs(column) <= least_of(plant, channel))
    return float(seen.dt_h[well].sum()) >= LIMITS.held_h


def may_stand(plant: Plant, seen: Columns) -> Flags:
    """Rows of which a day needs at least one, for `standing` to find anything. bool[n]"""
    found = np.zeros(len(seen), bool)
    for channel in CHANNELS:
        found |= night_rows(plant, seen, channel)
    return found


def standing(plant: Plant, seen: Columns) -> Iterator[tuple[str, NDArray[np.int64], int, float]]:
    """By channel that stands through the dark: the rows of the day in which it reads the same on end, the place among them at which it is told, and what it reads."""
    for channel in CHANNELS:
        dark = night_rows(plant, seen, channel)
        if not dark.any():
            continue
        column = seen.rows[channel]
        known = np.flatnonzero(~np.isnan(column))
        run = np.cumsum(np.concatenate([[0], np.diff(column[known]) != 0]))
        for one in np.unique(run[dark[known]]):
            rows = known[run == one]
            held = np.cumsum(np.where(dark[rows], seen.dt_h[rows], 0.0))
            enough = (held >= LIMITS.held_h) & (np.cumsum(dark[rows]) >= LIMITS.least_rows)
            enough &= np.logical_or.accumulate(_rests(plant, seen, channel, rows) & dark[rows])
            if enough.any():
                yield channel, rows, int(np.flatnonzero(enough)[0]), float(column[rows[0]])
                break


def _rests(plant: Plant, seen: Columns, channel: str, rows: NDArray[np.int64]) -> Flags:
    """By row of a stretch: another channel reads rest, or reads otherwise than the row before. bool"""
    found = np.zeros(len(rows), bool)
    for name in OTHERS:
        column = seen.rows.values.get(name)
        if name == channel or column is None:
            continue
        with np.errstate(invalid="ignore"):
            found |= np.abs(column[rows]) <= _at_rest(plant, name)
            found[1:] |= np.abs(np.diff(column[rows])) > 0.0
    return found


def _at_rest(plant: Plant, channel: str) -> float:
    return (
        least_of(plant, channel)
        if channel in CHANNELS
        else {"input_power_w": IDLE_W, "motor_running": 0.5}.get(channel, 0.0)
    )
