"""The hours around a finding: water, what should have come, and power, by time.

Flow: look.py -> HERE -> explanation.py -> drawing.
Never: drawing, words; a value where none was measured.
"""

from dataclasses import dataclass

import numpy as np

from analysis.look import GAP_MS, Columns
from analysis.pictures import flow_seen
from analysis.plant import Plant
from analysis.rows import Floats, Times

HOUR_MS = 3_600_000
BEFORE_MS, AFTER_MS = 2 * HOUR_MS, 4 * HOUR_MS
LONGEST_MS = 14 * HOUR_MS
"""From dawn to dusk: what went on for longer shows its last hours before it was flagged."""
SLOTS = 480


@dataclass(frozen=True)
class Course:
    """k instants, rising. Floats are NaN where not measured or not known; a step of more than `GAP_MS` is a gap.

    time_ms : int64[k]
    flow_m3_h, expected_m3_h, low, high : float64[k]
        Measured; what a sound pump would lift then, and its 95 % band; 0 where the pump stands. [m3/h]
    power_w, offered_w : float64[k]
        Taken by the controller; what the healthy array could give (clear sky's where there is no sensor). [W]
    """

    time_ms: Times
    flow_m3_h: Floats
    expected_m3_h: Floats
    low: Floats
    high: Floats
    power_w: Floats
    offered_w: Floats


def course_span(began_ms: int, flagged_ms: int, ended_ms: int | None) -> tuple[int, int]:
    """From when to when the hours around a finding run. [ms]"""
    start = max(began_ms - BEFORE_MS, flagged_ms - LONGEST_MS)
    return start, min(flagged_ms + AFTER_MS, (ended_ms or flagged_ms + AFTER_MS) + AFTER_MS)


def course_of(plant: Plant, seen: Columns, span: tuple[int, int]) -> Course | None:
    """The rows of `span`, averaged in at most `SLOTS` slots. None: there are none in daylight."""
    which = slice(*(int(at) for at in np.searchsorted(seen.time_ms, span)))
    part, flow = seen.take(which), flow_seen(plant, seen)[which]
    if not len(part):
        return None
    slot_ms = max(1, -(-(span[1] - span[0]) // SLOTS))
    slot = (part.time_ms - span[0]) // slot_ms
    starts = np.flatnonzero(np.concatenate([[True], np.diff(slot) > 0]))
    should, surely = part.should_m3_h, part.surely_m3_h
    return Course(
        part.time_ms[starts],
        *(
            _means(column, starts)
            for column in (flow, should, surely, 2 * should - surely, part.power_w, part.expected.mpp_power_w)
        ),
    )


def whole_lines(time_ms: Times, column: Floats) -> list[np.ndarray]:
    """Indices of each stretch without hole or gap: what may be joined by a line."""
    known = np.flatnonzero(np.isfinite(column))
    if not len(known):
        return []
    breaks = (np.diff(known) > 1) | (np.diff(time_ms[known]) > GAP_MS)
    return np.split(known, np.flatnonzero(breaks) + 1)


def _means(column: Floats, starts: np.ndarray) -> Floats:
    known = np.isfinite(column)
    count = np.add.reduceat(known.astype(float), starts)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, np.add.reduceat(np.where(known, column, 0.0), starts) / count, np.nan)
