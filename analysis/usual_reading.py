"""What a channel should read by what the others read, as it did in the days before: what one that lies is shown against.

Flow: look.py (columns) -> HERE -> course.py.
Never: the channel itself among the others; judgement; a band where nothing came before.
"""

from dataclasses import dataclass

import numpy as np

from analysis.look import Columns
from analysis.rows import Floats

BINS = 16
LEAST_ROWS = 12  # before, in a bin: the outermost fortieth of fewer is one row
MIDDLE, LOW, HIGH = 0.5, 0.025, 0.975
WITHIN = 0.01  # of the reading: sensors repeat no better, however alike a few days were (common practice, no source)
LIFTED = (
    "motor_current_a",
    "motor_speed_rpm",
    "discharge_pressure_bar",
    "water_level_m",
    "drive_frequency_hz",
    "motor_voltage_v",
)
"""What goes with the power that the pump takes."""
OF_THE_SUN = ("pv_current_a", "pv_voltage_v", "input_power_w", "module_temp_c")
"""What goes with the light; where none is read, the power of the array with the motor's speed."""


@dataclass(frozen=True)
class Usual:
    """float64[n] each, in the channel's unit: the middle of what it read before where the others read the same, and 95 % of it."""

    middle: Floats
    low: Floats
    high: Floats


def usual_reading(seen: Columns, channel: str | None, before_ms: int) -> Usual | None:
    """Of each row, from the rows before `before_ms`; None where nothing else that is read moves the channel, or nothing came before."""
    drive = None if channel is None else _drive(seen, channel)
    if channel is None or drive is None:
        return None
    told = seen.rows[channel]
    runs = seen.settled if channel in LIFTED else seen.turning
    with np.errstate(invalid="ignore"):
        known = runs & np.isfinite(drive) & (drive > 0.0)
    learnt = known & np.isfinite(told) & (seen.time_ms < before_ms)
    if np.count_nonzero(learnt) < 2 * LEAST_ROWS:
        return None
    edges = np.linspace(float(drive[learnt].min()), float(drive[learnt].max()), BINS + 1)
    place = np.clip(np.digitize(drive[learnt], edges) - 1, 0, BINS - 1)
    rows = []
    for one in range(BINS):
        values = told[learnt][place == one]
        if len(values) >= LEAST_ROWS:
            at = float(drive[learnt][place == one].mean())
            rows.append((at, *np.quantile(values, [MIDDLE, LOW, HIGH])))
    if len(rows) < 2:
        return None
    at, middle, low, high = np.array(rows).T
    spare = WITHIN * np.abs(middle)
    asked = known & (drive >= edges[0]) & (drive <= edges[-1])
    return Usual(
        *(
            np.where(asked, np.interp(np.nan_to_num(drive), at, curve), np.nan)
            for curve in (middle, np.minimum(low, middle - spare), np.maximum(high, middle + spare))
        )
    )


def _drive(seen: Columns, channel: str) -> Floats | None:
    """What is read beside it and moves it; None where nothing does."""
    read = seen.rows.values
    if channel in LIFTED:
        return seen.power_w if np.isfinite(seen.power_w).any() else None
    if channel == "irradiance_w_m2":
        at_max = np.where(seen.at_max, seen.power_w, np.nan)
        return at_max if np.isfinite(at_max).any() else None
    if channel not in OF_THE_SUN:
        return None
    for name in ("irradiance_w_m2", "motor_speed_rpm"):
        if name in read and np.isfinite(read[name]).any():
            return read[name]
    return None
