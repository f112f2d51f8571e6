"""What the meter has told of the water by a row: a register that counts in steps says what came during a step only when the step ends.

Flow: look.py (columns, whose flow is shared out over steps) -> HERE -> causes/sensor_fault.py, no_water.py.
So that what is told at a row hangs on no later row. Never: judgement.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.look import Columns
from analysis.meter import NANO, register_step_m3
from analysis.rows import Floats
from logger.record.site_facts import SiteFacts

WITHIN_STEPS = 2.5  # expected steps since the register moved: water comes


def step_n(facts: SiteFacts) -> float:
    """What the register counts in. [1e-9 m3]"""
    return register_step_m3(facts) * NANO


def told_rows(seen: Columns) -> np.ndarray:
    """Rows at which the flow of all rows up to them is known. bool[n]"""
    counts = np.logical_or.accumulate(~np.isnan(seen.rows["volume_m3"]))
    return ~counts | (seen.moved_m3 > 0) | ~np.isnan(seen.rows["flow_m3_h"])


def late_rows(facts: SiteFacts, seen: Columns) -> np.ndarray:
    """Rows at which a register, where nothing finer is read, has missed more than two steps. bool[n]"""
    return (seen.since_n >= WITHIN_STEPS * step_n(facts)) & np.isnan(seen.rows["flow_m3_h"])


def known_h(facts: SiteFacts, seen: Columns, lack: np.ndarray) -> np.ndarray:
    """By row, how long water was lacking (`lack`, late rows among it) up to there, as far as it is known there. [h]"""
    held, late = (np.cumsum(np.where(rows, seen.dt_h, 0.0)) for rows in (lack, lack & late_rows(facts, seen)))
    last = np.maximum.accumulate(np.where(told_rows(seen), np.arange(len(seen)), -1))
    return np.where(last >= 0, held[last] - late[last], 0.0) + late


def gasps_in(seen: Columns, should: Floats, share: float) -> NDArray[np.bool_]:
    """What comes is the little that the well gives: by the row's own flow, or by how late the register moved. share: of what should come; less is little."""
    since = np.concatenate([[-1], seen.since_n[:-1]])[: len(seen)]
    missed = since + should * seen.dt_h * NANO
    with np.errstate(invalid="ignore"):
        slow = (seen.moved_m3 > 0) & (since >= 0) & (seen.moved_m3 * NANO < share * missed)
        return np.where(np.isnan(seen.flow_now_m3_h), slow, seen.flow_now_m3_h < share * should)
