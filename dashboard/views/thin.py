"""Many readings to as many as a picture can show.

Flow: Rows -> HERE -> routes/api_readings.py.
Never: fills a gap; an interval without readings is left out, one without a value is null.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.rows import Rows
from dashboard.views.figures import iso
from logger.record.channels import EXTREMES, channel_of

Column = list[float | None]


def thinned(rows: Rows, from_ms: int, to_ms: int, points: int) -> dict[str, Any]:
    """`rows` (how many there were), `every_s`, `time`, `channels`; rows are by time and lie in the span."""
    if len(rows) <= points:
        return {
            "rows": len(rows),
            "every_s": None,
            "time": [iso_exact(int(at)) for at in rows.time_ms],
            "channels": {name: _listed(rows[name]) for name in rows.values},
        }
    every_s = max(1, -(-(to_ms - from_ms) // (1000 * points)))
    bucket = (rows.time_ms - from_ms) // (1000 * every_s)
    starts = np.flatnonzero(np.diff(bucket, prepend=-1))
    channels: dict[str, Column] = {}
    for name in rows.values:
        channels |= _reduced(name, rows, starts)
    return {
        "rows": len(rows),
        "every_s": every_s,
        "time": [iso(from_ms + 1000 * every_s * int(which)) for which in bucket[starts]],
        "channels": channels,
    }


def iso_exact(time_ms: int) -> str:
    """With milliseconds where there are any."""
    return iso(time_ms) if time_ms % 1000 == 0 else f"{iso(time_ms)[:-1]}.{time_ms % 1000:03d}Z"


def _reduced(name: str, rows: Rows, starts: NDArray[np.intp]) -> dict[str, Column]:
    """Mean, lowest and highest of a measure; the last known one of a counter, flag or code."""
    column, channel = rows[name], channel_of(name)
    if name.endswith(EXTREMES):
        widest = np.fmin if name.endswith("_min") else np.fmax
        return {name: _listed(widest.reduceat(widest(column, rows[channel.name]), starts))}
    if channel.kind != "measure":
        return {name: _listed(_last_known(column, starts))}
    known = np.isfinite(column)
    count = np.add.reduceat(known.astype(float), starts)
    total = np.add.reduceat(np.where(known, column, 0.0), starts)
    mean = np.divide(total, count, out=np.full(len(starts), np.nan), where=count > 0)
    lowest, highest = np.fmin.reduceat(column, starts), np.fmax.reduceat(column, starts)
    return {name: _listed(mean), f"{name}_min": _listed(lowest), f"{name}_max": _listed(highest)}


def _last_known(column: NDArray[np.float64], starts: NDArray[np.intp]) -> NDArray[np.float64]:
    place = np.where(np.isfinite(column), np.arange(len(column)), -1)
    last = np.maximum.reduceat(place, starts)
    return np.where(last >= starts, column[last], np.nan)


def _listed(column: NDArray[np.float64]) -> Column:
    return [float(value) if np.isfinite(value) else None for value in column]
