"""Flow from a register that counts in coarse steps, restarts, rolls over, or was replaced.

Flow: rows -> HERE -> look.py.
Days are judged apart: nothing is carried over midnight. Sums are of whole numbers (1e-9 m3), so that they are the same
however the rows were cut. Never: a flow invented where the register says nothing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.rows import Floats, or_zero, rises
from logger.record.site_facts import SiteFacts

METERS = ("volume_m3", "flow_m3_h")
FINE_M3 = 0.01  # where the site file does not say
NANO = 1e9
FASTEST = 3.0  # times the pump's largest flow: no register moves faster, so it was replaced or set
JUMP_M3, JUMP_STEPS = 0.2, 1.5  # that a register may move at once beside it: it counts in whole steps
IDLE_SHARE = 1e-3  # of the largest flow: how water is shared out where none was expected


def register_step_m3(facts: SiteFacts) -> float:
    """What the meter's register counts in. [m3]"""
    return facts.sensors.meter_step_m3 or FINE_M3


@dataclass(frozen=True)
class Metered:
    """By row, float64[n] or int64[n].

    flow_m3_h
        Mean flow over the step of the register that the row lies in, shared out as the expected flow is; NaN = not known.
    since_n
        Expected volume since the register last moved, 1e-9 m3; 0 on rows where it moved, -1 before the first reading.
    moved_m3
        What the register moved at the row; 0 or more, NaN where it was not read.
    """

    flow_m3_h: Floats
    since_n: NDArray[np.int64]
    moved_m3: Floats


def metered(
    day: NDArray[np.int64], dt_h: Floats, volume_m3: Floats, expected_m3_h: Floats, largest_m3_h: float, step_m3: float = 0.0
) -> Metered:  # fmt: skip
    """Read the register against what should have come.

    Parameters
    ----------
    day : int64[n]
        Solar day of each row, rising.
    dt_h : float64[n]
        What the row stands for. [h]
    volume_m3 : float64[n]
        The register; NaN = not read.
    expected_m3_h : float64[n]
        0 where the pump stands. [m3/h]
    largest_m3_h : float
        The largest honest flow. [m3/h]
    step_m3 : float
        What the register counts in; 0 = not known. [m3]
    """
    n = len(day)
    due = or_zero(expected_m3_h)
    share = np.rint(due * dt_h * NANO).astype(np.int64)
    floor = np.rint(IDLE_SHARE * largest_m3_h * dt_h * NANO).astype(np.int64)
    total, total_floor = np.cumsum(share), np.cumsum(floor)
    flow, moved = np.full(n, np.nan), np.full(n, np.nan)
    known = ~np.isnan(volume_m3)
    read = np.flatnonzero(known)
    if len(read) < 2:
        return Metered(flow, np.full(n, -1, np.int64), moved)
    seconds = np.rint(dt_h * 3600.0).astype(np.int64)
    if len(read) == n:
        step, apart_h, same_day = rises(volume_m3), seconds[1:] / 3600.0, day[1:] == day[:-1]
    else:
        step, apart_h = rises(volume_m3[read]), rises(np.cumsum(seconds)[read]) / 3600.0
        same_day = rises(day[read]) == 0
    at_once = max(JUMP_M3, JUMP_STEPS * step_m3)
    honest = same_day & (step >= 0) & (step <= FASTEST * largest_m3_h * np.maximum(apart_h, 1 / 60) + at_once)
    gained = np.where(honest, step, np.nan)
    if len(read) == n:
        moved[1:] = gained
    else:
        moved[read[1:]] = gained
    # a mark is where an interval ends: the register moved, or its count broke off
    ends = np.flatnonzero((step > 0) | ~honest)
    marks = read[np.concatenate([[0], ends + 1])]
    want = rises(total[marks])
    idle = rises(total_floor[marks])
    by_floor = want < idle
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = gained[ends] * NANO / np.where(by_floor, idle, want)
    is_mark = np.zeros(n - int(marks[0]), np.int64)
    is_mark[marks - marks[0]] = 1
    last = is_mark.cumsum() - 1  # of each row from the first mark on, the last one
    inside = slice(int(marks[0]) + 1, int(marks[-1]) + 1)
    interval = last[: inside.stop - inside.start]
    base = np.where(by_floor[interval], IDLE_SHARE * largest_m3_h, due[inside])
    shared = np.where(np.isfinite(ratio), ratio, np.nan)[interval] * base
    flow[inside] = np.where(np.isfinite(shared), shared, np.nan)
    since = np.full(n, -1, np.int64)
    after = slice(int(marks[0]), n)
    due_since = total[after] - total[marks].take(last)
    # where each row was read, each day's first is a mark
    since[after] = due_since if len(read) == n else np.where(day[marks][last] == day[after], due_since, -1)
    return Metered(flow, since, moved)
