"""Starts that the pump itself gives up: it is fed, finds too much load, stops within the row, waits, tries again, and no water comes.

Flow: look.py -> HERE -> not_turning.py, screen.py, causes/controller_trip.py, causes/short_cycling.py.
A dim array gives up as well. It is told by its own voltage: under cloud a small load pulls it far down, in sun it hardly moves; what takes all
that the array has stopped for want of light; and a cloud takes speed and power together, while a shut pipe, or a rotor that stands, takes
power without speed.
A try is known as such by the row after it, and nothing later is used. Never: weighing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.look import IDLE_SHARE, IDLE_W, Columns, told_to_stand
from analysis.no_water import pressed
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.solar_days import MINUTE_MS
from analysis.tried_light import LEAST_SAG, way_and_steepness

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class GivesUpLimits:
    """Common practice, no source."""

    heavy: float = 1.6  # power over that of this speed: means over running and rest leave the load a third or so
    fed_share: float = 0.05  # of full power: less is a start's own current, and says nothing
    bright: float = 1.5  # times the power that starts it, given by the array at the least
    spare: float = 0.85  # of what the array gives: a mean over a try and the rest after it, and the sensor's error
    row_ms: int = 2 * MINUTE_MS  # longer rows hold several tries, or a try and a run
    apart_ms: int = 30 * MINUTE_MS  # no controller waits longer before it tries again
    flows: float = 0.02  # of full flow
    tries: int = 3
    pressed: int = 2  # where the wellhead's gauge shows it as well: no reading errs twice like that


LIMITS = GivesUpLimits()


@dataclass(frozen=True)
class GivenUp:
    """By row. tries: it gave up. over: the row after, by which that is known. shut: likewise, and the gauge shows a shut pipe.

    stands: rows of such tries, and at rest since the last one.
    """

    tries: Flags
    over: Flags
    shut: Flags
    stands: Flags


def gives_up(plant: Plant, seen: Columns) -> GivenUp:
    """Of whole days. Where no speed and no gauge at the wellhead is read, none."""
    count = len(seen.time_ms)
    none = np.zeros(count, bool)
    if count < LIMITS.tries or not plant.has & {"motor_speed_rpm", "discharge_pressure_bar"}:
        return GivenUp(none, none, none, none)
    with np.errstate(invalid="ignore"):
        fed = seen.driven | (seen.power_w > max(IDLE_W, IDLE_SHARE * plant.full_power_w))
        came = (seen.moved_m3 > 0) | (seen.rows["flow_m3_h"] > LIMITS.flows * plant.full_flow_m3_h)
    close = (seen.dt_h > 0) & (seen.dt_h * 60 * MINUTE_MS <= LIMITS.row_ms)
    ends = none.copy()
    ends[:-1] = fed[:-1] & ~fed[1:] & ~seen.unread[1:] & close[1:] & close[:-1] & ~came[:-1] & ~came[1:]
    if not ends.any():
        return GivenUp(none, none, none, none)
    ends &= _bright(plant, seen)
    shut = ends & pressed(plant, seen, fed)
    tries = shut | (ends & _heavy(plant, seen))
    over, over_shut = none.copy(), none.copy()
    over[1:], over_shut[1:] = tries[:-1], shut[:-1]
    places = np.arange(count)
    last = np.maximum.accumulate(np.where(fed | came, places, -1))
    stands = (last >= 0) & tries[last] & (seen.time_ms - seen.time_ms[last] <= LIMITS.apart_ms)
    stands &= (seen.day == seen.day[last]) & ~told_to_stand(seen.rows) & ~seen.unread
    return GivenUp(tries, over, over_shut, stands)


def enough_given_up(gave: GivenUp, rows: NDArray[np.int64]) -> Flags:
    """Of the rows of one stretch, from which on so many tries were given up that no chance made them. bool[len(rows)]"""
    return (np.cumsum(gave.over[rows]) >= LIMITS.tries) | (np.cumsum(gave.shut[rows]) >= LIMITS.pressed)


def shut_share(gave: GivenUp, rows: NDArray[np.int64]) -> float:
    """Of the tries given up within these rows, the share at which the gauge showed a shut pipe: one that leaks back holds nothing between them. NaN where too few were."""
    over, shut = gave.over[rows].sum(), gave.shut[rows].sum()
    return float(shut / over) if shut >= LIMITS.pressed else float("nan")


def _heavy(plant: Plant, seen: Columns) -> Flags:
    """It takes far more than this speed needs. Only of a rotor: a start's surge makes an impeller's mean load look heavy."""
    if not plant.helical:
        return np.zeros(len(seen.time_ms), bool)
    with np.errstate(invalid="ignore"):
        needs = np.where(seen.speed_rpm > 0, seen.expected.power_at_speed_w, 0.0 * seen.speed_rpm)
        return (seen.power_w > LIMITS.fed_share * plant.full_power_w) & (seen.power_w > LIMITS.heavy * needs)


def _bright(plant: Plant, seen: Columns) -> Flags:
    """The array had more to give than a start asks for, and than it took: by its sensor, or by how little the try pulled its voltage down."""
    least_w = LIMITS.bright * plant.start_power_w
    way, steep = way_and_steepness(plant)
    volts: Floats = seen.rows["pv_voltage_v"]
    open_v = np.append(volts[1:], np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        sag = np.maximum((open_v - volts) / (way * open_v), LEAST_SAG)
        gives_w = np.where(seen.expected.poa_measured, seen.expected.mpp_power_w, seen.power_w / (sag * steep))
        return (gives_w > least_w) & (seen.power_w < LIMITS.spare * gives_w)
