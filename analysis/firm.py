"""Rows of which two readings that have nothing to do with each other say that nothing is lifted: then two such rows are enough.

Flow: look.py, loads.py -> HERE -> no_water.py.
One reading errs now and then, and two rows of it may be one error. That power over speed and current, or the load and the flow, or the
level and the probe, err alike in two rows one after the other is no chance. Never: weighing.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.look import Columns
from analysis.plant import Plant
from analysis.protected import at_intake
from analysis.rows import Floats
from analysis.solar_days import MINUTE_MS

Flags = NDArray[np.bool_]

ROWS, LEAST_MS = 2, MINUTE_MS  # a minute of running: rows seconds apart hold one gasp (common practice, no source)


def drained(plant: Plant, seen: Columns) -> Flags:
    """The level stands at the intake, the probe above it is dry, and no water comes. bool[n]"""
    with np.errstate(invalid="ignore"):
        dry = at_intake(plant, seen) & (seen.rows["low_level_probe_wet"] < 0.5)
        return seen.settled & dry & ~(seen.moved_m3 > 0) & ~(seen.rows["flow_m3_h"] > 0)


def firm_rows(
    plant: Plant,
    seen: Columns,
    measures: dict[str, Floats],
    light: tuple[float, float],
    heavy: tuple[float, float],
    gone_share: float,
) -> Flags:
    """By row. light, heavy: beyond which logs of power over speed, and of current. gone_share: of what should come, by the row's own flow."""
    torque, current, should = measures["torque"], measures["current"], seen.should_m3_h * measures["factor"]
    with np.errstate(invalid="ignore"):
        eased, eased_too = torque < light[0], current < light[1]
        piled, piled_too = torque > heavy[0], current > heavy[1]
        gone = (seen.flow_now_m3_h < gone_share * should) & ~(seen.moved_m3 > 0)
    by_two = (eased & eased_too) | (piled & piled_too)
    by_flow = gone & (eased | eased_too | piled | piled_too)
    return (seen.settled & (by_two | by_flow)) | drained(plant, seen)


def firmly(firm: Flags, lasted_ms: Floats | NDArray[np.int64]) -> Flags:
    """From which of an episode's rows on it is sure."""
    return (np.cumsum(firm) >= ROWS) & (lasted_ms >= LEAST_MS)
