"""A flow that is a count of coarse pulses over each row's interval: nothing, nothing, six times the pump's flow, nothing.

Flow: rows -> HERE -> look.py (as a register), units_by_look.py and site_beyond.py (as hourly means).
Such a reading says of a single row next to nothing; of hours it says as much as the register that it was counted from.
Never: a change to a flow that is read finely, or whose steps the site file does not tell.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.rows import Floats, Rows
from analysis.solar_days import HOUR_MS
from logger.record.site_facts import SiteFacts

COARSE = 0.25  # of what full flow brings in a row's interval: a pulse that large says nothing of the row (common practice, no source)
USUAL_ROW_H = (
    1.0 / 60.0
)  # after a gap nobody knows over what the flow was counted: no shorter, as a rule (common practice, no source)
RESTART_M3 = 1024.0
MOSTLY = 0.8  # of the rows that bring water: some stand for longer than the others
WHOLE = 0.05  # of a pulse: the flow is printed with few digits, and its interval was not quite the row's


def as_register(facts: SiteFacts, day: NDArray[np.int64], dt_h: Floats, rows: Rows) -> Rows:
    """The rows with such a flow as the register it was counted from, `volume_m3`, where none is read; elsewhere as they are.

    Parameters
    ----------
    day : int64[n]
        Solar day of each row, rising. The register begins each day at 0, so that it is the same however the days were cut.
    dt_h : float64[n]
        What the row stands for, 0 after a gap. [h]
    rows
        Merged. From the first flow of a day on that is no whole number of pulses the day's flow is left alone.
    """
    flow, step_m3 = rows.values.get("flow_m3_h"), facts.sensors.meter_step_m3
    if flow is None or step_m3 is None:
        return rows
    coarse = (step_m3 > COARSE * facts.pump.largest_flow_m3_h * np.maximum(dt_h, USUAL_ROW_H)) & ~np.isnan(flow)
    if not coarse.any():
        return rows
    pulses = np.where(coarse, flow * dt_h / step_m3, 0.0)
    fine = (pulses > 0.0) & ~_whole(pulses)
    left_alone = np.maximum.accumulate(np.where(fine, day, np.iinfo(np.int64).min)) == day
    counted = coarse & ~left_alone
    total = np.cumsum(np.where(counted, np.maximum(np.rint(pulses), 0.0), 0.0).astype(np.int64))
    missed = np.cumsum(np.concatenate([[False], np.isnan(flow[:-1])]) & counted)
    opens = np.flatnonzero(np.concatenate([[True], day[1:] != day[:-1]]))
    risen, broken = _of_day(total, opens) * step_m3, _of_day(missed, opens)
    risen -= RESTART_M3 * broken  # what was not read is not known: a register that falls was replaced
    register = rows["volume_m3"]
    known = np.isnan(register) & counted
    return Rows(
        rows.time_ms,
        {**rows.values, "flow_m3_h": np.where(counted, np.nan, flow), "volume_m3": np.where(known, risen, register)},
        rows.seq,
        rows.trusted,
    )


def _whole(pulses: Floats) -> NDArray[np.bool_]:
    """Which are whole numbers; some water is one pulse or more."""
    return np.asarray(np.abs(pulses - np.maximum(np.rint(pulses), 1.0)) <= WHOLE)


def _of_day(total: NDArray[np.int64], opens: NDArray[np.intp]) -> NDArray[np.int64]:
    """A running total since each day's first row, `opens`, that row's own part in it."""
    before = np.concatenate([[0], total])[opens]
    return np.asarray(total - np.repeat(before, np.diff(np.append(opens, len(total)))), np.int64)


def hourly(facts: SiteFacts, rows: Rows) -> Rows:
    """The rows, in any order, with a flow that may be so counted as the mean of its UTC hour, for looks at how large it is."""
    flow, step_m3 = rows.values.get("flow_m3_h"), facts.sensors.meter_step_m3
    if flow is None or step_m3 is None or len(rows) < 2:
        return rows
    apart_h = float(np.median(np.diff(np.sort(rows.time_ms)))) / HOUR_MS
    if not step_m3 > COARSE * facts.pump.largest_flow_m3_h * apart_h:
        return rows
    pulses = flow[flow > 0.0] * apart_h / step_m3
    if not np.count_nonzero(_whole(pulses)) > MOSTLY * len(pulses):
        return rows
    _, hour = np.unique(rows.time_ms // HOUR_MS, return_inverse=True)
    known = np.isfinite(flow)
    with np.errstate(invalid="ignore"):
        mean = np.bincount(hour[known], flow[known], hour.max() + 1) / np.bincount(
            hour[known], minlength=hour.max() + 1
        )
    return Rows(rows.time_ms, {**rows.values, "flow_m3_h": np.where(known, mean[hour], np.nan)}, rows.seq, rows.trusted)
