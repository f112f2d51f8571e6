"""The hours around a finding: water, what should have come, power, and the channel that tells of the cause, by time.

Flow: look.py -> HERE -> explanation.py -> drawing.
Never: drawing, words; a value where none was measured.
"""

from dataclasses import dataclass

import numpy as np

from analysis.look import GAP_MS, Columns
from analysis.pictures import flow_seen
from analysis.plant import Plant
from analysis.rows import Floats, Times
from analysis.usual_reading import usual_reading

HOUR_MS = 3_600_000
BEFORE_MS, AFTER_MS = 2 * HOUR_MS, 4 * HOUR_MS
LONGEST_MS = 14 * HOUR_MS
"""From dawn to dusk: what went on for longer shows its last hours before it was flagged."""
LONGEST_SILENCE_MS = 72 * HOUR_MS
"""Nothing is drawn in it: that it lasts is seen in three days."""
SLOTS = 480
TELLING: dict[str, tuple[str, ...]] = {
    "over-voltage": ("pv_voltage_v",),
    "controller-trip": ("fault_code", "pv_voltage_v"),
    "stalled-motor": ("motor_current_a", "motor_speed_rpm"),
    "failed-start": ("motor_speed_rpm", "motor_current_a", "pv_voltage_v"),
    "closed-delivery": ("discharge_pressure_bar", "motor_current_a"),
    "dry-running": ("water_level_m", "motor_current_a", "low_level_probe_wet"),
    "broken-shaft": ("motor_current_a", "motor_speed_rpm"),
    "reverse-rotation": ("motor_speed_rpm", "motor_current_a"),
    "short-cycling": ("motor_speed_rpm",),
    "controller-derating": ("controller_temp_c", "motor_speed_rpm"),
    "falling-water-level": ("water_level_m",),
    "riser-leak": ("discharge_pressure_bar",),
    "cable-fault": ("motor_current_a", "pv_voltage_v"),
    "string-out": ("pv_current_a", "pv_voltage_v"),
}
"""By cause, what an engineer would look at beside water and power: the first that is read is shown."""
SHOWN_ANYWAY = ("volume_m3", "flow_m3_h", "input_power_w")


@dataclass(frozen=True)
class Course:
    """k instants, rising. Floats are NaN where not measured or not known; a step of more than `GAP_MS` is a gap.

    time_ms : int64[k]
    flow_m3_h, expected_m3_h, low, high : float64[k]
        Measured; what a sound pump would lift then, and its 95 % band. Where it stands although the sun would run it and nothing
        told it to: what this sun should bring. Else 0 where it stands. [m3/h]
    power_w, offered_w : float64[k]
        Taken by the controller; what the healthy array could give (clear sky's where there is no sensor). [W]
    channel : str or None
        Which channel tells of the cause, where one is read that does; its unit is in `logger.record.channels`.
    told : float64[k]
        Its highest reading within each slot, in its unit.
    limit : float or None
        The rating that it is held against, in the same unit.
    usual, usual_low, usual_high : float64[k]
        What it read in the days before where the others read the same, and 95 % of that; NaN where that is not known.
    span_ms : (int, int)
        From when to when was looked. [ms]
    """

    time_ms: Times
    flow_m3_h: Floats
    expected_m3_h: Floats
    low: Floats
    high: Floats
    power_w: Floats
    offered_w: Floats
    channel: str | None
    told: Floats
    limit: float | None
    span_ms: tuple[int, int]
    usual: Floats
    usual_low: Floats
    usual_high: Floats


def course_span(began_ms: int, flagged_ms: int, ended_ms: int | None, cause: str = "") -> tuple[int, int]:
    """From when to when the hours around a finding run. [ms] A silence is seen between what came before and after it."""
    if cause == "silent":
        return began_ms - AFTER_MS, min(ended_ms or flagged_ms, began_ms + LONGEST_SILENCE_MS) + AFTER_MS
    start = max(began_ms - BEFORE_MS, flagged_ms - LONGEST_MS)
    return start, min(flagged_ms + AFTER_MS, (ended_ms or flagged_ms + AFTER_MS) + AFTER_MS)


def course_of(
    plant: Plant,
    seen: Columns,
    span: tuple[int, int],
    cause: str = "",
    channel: str | None = None,
    began_ms: int | None = None,
) -> Course | None:
    """The rows of `span`, averaged in at most `SLOTS` slots. None: there are none in daylight.

    cause, channel : what was found, and of which channel; they choose the channel that is shown.
    began_ms : when; what a channel that is blamed read before is shown beside it.
    """
    which = slice(*(int(at) for at in np.searchsorted(seen.time_ms, span)))
    part, flow = seen.take(which), flow_seen(plant, seen)[which]
    if not len(part):
        return None
    slot_ms = max(1, -(-(span[1] - span[0]) // SLOTS))
    slot = (part.time_ms - span[0]) // slot_ms
    starts = np.flatnonzero(np.concatenate([[True], np.diff(slot) > 0]))
    should, surely = _with_standstill(part)
    shown = telling(part, cause, channel)
    told = part.rows[shown] if shown else np.full(len(part), np.nan)
    water, due, low, high, power, offered = (
        _means(column, starts)
        for column in (flow, should, surely, 2 * should - surely, part.power_w, part.expected.mpp_power_w)
    )
    blamed = shown is not None and shown == channel and began_ms is not None
    usual = usual_reading(seen, shown, began_ms or 0) if blamed else None
    none = np.full(len(starts), np.nan)
    band = (
        [none] * 3 if usual is None else [_means(one[which], starts) for one in (usual.middle, usual.low, usual.high)]
    )
    return Course(
        part.time_ms[starts], water, due, low, high, power, offered,
        shown, np.fmax.reduceat(told, starts), _limit(plant, shown), span, *band,
    )  # fmt: skip


def telling(seen: Columns, cause: str, channel: str | None) -> str | None:
    """Of the channels read in these rows, the one that tells of a cause. None: no channel does, or none that is read."""
    for name in (channel, *TELLING.get(cause, ())):
        if (
            name is not None
            and name not in SHOWN_ANYWAY
            and name in seen.rows.values
            and np.isfinite(seen.rows[name]).any()
        ):
            return name
    return None


def _with_standstill(seen: Columns) -> tuple[Floats, Floats]:
    """What should have come, and less two standard uncertainties: also where it stands and should not."""
    due, std = seen.expected.flow_of_sun_m3_h, seen.expected.flow_of_sun_m3_h_std
    stands = ~seen.turning & seen.asked & np.isfinite(due)
    return (
        np.where(stands, due, seen.should_m3_h),
        np.where(stands, np.maximum(due - 2 * np.nan_to_num(std), 0.0), seen.surely_m3_h),
    )


def _limit(plant: Plant, channel: str | None) -> float | None:
    if channel == "pv_voltage_v":
        return plant.facts.controller.max_input_voltage_v
    return plant.facts.motor.rated_current_a if channel == "motor_current_a" else None


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
