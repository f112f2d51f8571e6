"""Tries that the controller's own protection cuts short: it starts, finds the load wrong, stops with a code, waits, tries again.

Flow: look.py -> HERE -> no_water.py (what the tries tell), causes/controller_trip.py (they are not trips for no reason).
Booleans of rows up to now, so that a flag never depends on what comes later. Never: weighing.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.look import Columns
from analysis.plant import Plant
from analysis.solar_days import MINUTE_MS

Flags = NDArray[np.bool_]

TRY_MS = 5 * MINUTE_MS  # of running, in which a controller finds the load wrong (common practice, no source)
AT_INTAKE_M = 1.0  # water over the intake, less than which a level gauge's error and a vortex leave none (common practice, no source)


def has_codes(seen: Columns) -> bool:
    """Did the controller say any code of its own that day?"""
    return "fault_code" in seen.rows.values and bool((seen.rows["fault_code"] > 0).any())


def cut_short(seen: Columns) -> Flags:
    """Rows that turn while the controller says a code, or shortly after a start that followed a stop with one; no probe reads dry. bool[n]

    Whether a later row stops it again is not asked: a flag must need nothing later.
    """
    if not len(seen.turning):
        return np.zeros(0, bool)
    again = np.concatenate([[False], waiting(seen)[:-1]]) & seen.turning
    times = seen.rows.time_ms
    begun = np.maximum.accumulate(np.where(again, np.arange(len(times)), -1))
    stood = np.maximum.accumulate(np.where(seen.turning & (seen.dt_h > 0), -1, np.arange(len(times))))
    soon = (begun > stood) & (times - times[np.maximum(begun, 0)] <= TRY_MS)
    dry = seen.rows["low_level_probe_wet"] < 0.5
    return seen.turning & ((seen.rows["fault_code"] > 0) | again | soon) & ~dry & (seen.dt_h > 0)


def whole_rows(seen: Columns) -> Flags:
    """Rows through which it turned, as far as rows up to them tell: not a run's first, nor the one within which a code came up. bool[n]

    Means over running and rest say nothing of a load: speed, power and current fall by different shares.
    """
    code = seen.rows["fault_code"] > 0
    turned = np.concatenate([[False], seen.turning[:-1]])
    return seen.turning & turned & ~(code & ~np.concatenate([[False], code[:-1]]))


def waiting(seen: Columns) -> Flags:
    """Rows that stand since a stop with a code: they say nothing of the water. bool[n]"""
    if not len(seen.turning):
        return np.zeros(0, bool)
    places = np.arange(len(seen.turning))
    turned = np.maximum.accumulate(np.where(seen.turning | (seen.dt_h == 0), places, -1))
    code = np.maximum.accumulate(np.where((seen.rows["fault_code"] > 0) & ~seen.turning, places, -1))
    tried = np.maximum.accumulate(np.where(seen.turning & (seen.rows["fault_code"] > 0), places, -1))
    return ~seen.turning & ((code > turned) | ((tried >= 0) & (tried == turned)))


def at_intake(plant: Plant, seen: Columns) -> Flags:
    """The level stands at the pump's intake: it draws air. bool[n], False where no level is read."""
    with np.errstate(invalid="ignore"):
        return plant.facts.pump.setting_depth_m - seen.rows["water_level_m"] < AT_INTAKE_M
