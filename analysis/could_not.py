"""What readings are too few, or lack a channel, to tell of: said beside a review, so that "nothing wrong" is not read as "all is well".

Flow: review_files.py (rows of one site, site facts) -> HERE -> notes.
Never: judgement of the plant.
"""

import numpy as np

from analysis.physics.sun import sun_position
from analysis.rows import Rows
from analysis.solar_days import DAY_MS, HOUR_MS
from logger.record.site_facts import SiteFacts

ROWS_MIN = 20
SPAN_MIN_MS = 22 * HOUR_MS  # a day's readings end a step before the next day
LEARNT_DAYS = 7  # days that sound running is learnt from, and a slow loss has to last (common practice, no source)
SOME = 0.02  # of the rows: a channel with a value in fewer tells nothing
LONG_STEP_MS = HOUR_MS // 3
HIGH_SUN_DEG = 15.0  # with the sun so high an array gives current, if only under cloud
HALF = 0.5  # of what a channel tells by night: less by day, and its daylight values were lost

POWER = "the array's power (input_power_w, or pv_voltage_v with pv_current_a)"
WATER = "the water (volume_m3 or flow_m3_h)"


def not_judged(rows: Rows, facts: SiteFacts | None = None) -> list[str]:
    """A sentence, without its full stop, for each thing that these rows cannot tell of, and for want of what. None where all can.

    facts
        Where given, fitted channels are also asked for their values by day.
    """
    time_ms = np.sort(rows.time_ms)
    span_ms = int(time_ms[-1] - time_ms[0]) if len(time_ms) else 0
    few = len(time_ms) < ROWS_MIN or span_ms < SPAN_MIN_MS
    found = []
    if few:
        held = "one row" if len(time_ms) == 1 else f"{len(time_ms)} rows over {span_ms / HOUR_MS:.3g} hours"
        found.append(
            f"next to nothing could be judged: {held}; it takes a whole day to judge anything, and {LEARNT_DAYS} sunny ones for slow losses"
        )
    elif np.median(np.diff(time_ms)) > LONG_STEP_MS:
        found.append(
            "rows more than 20 minutes apart: nothing that happens within a day could be judged; it takes rows each quarter of an hour"
        )
    has_power = _told(rows, "input_power_w") or (_told(rows, "pv_voltage_v") and _told(rows, "pv_current_a"))
    has_water = _told(rows, "volume_m3") or _told(rows, "flow_m3_h")
    if not has_power and not has_water:
        found.append(f"next to nothing could be judged: neither {POWER} nor {WATER} is read")
    elif not has_power:
        found.append(
            f"not judged, for want of {POWER}: panels, strings, cables, the controller, and whether the water that came was enough"
        )
    elif not has_water:
        found.append(
            f"not judged, for want of {WATER}: wear, leaks, clogging, a shut valve and whatever else costs water"
        )
    if not few and span_ms < LEARNT_DAYS * DAY_MS:
        found.append(
            f"slow losses were hardly judged: {span_ms / DAY_MS:.2g} days, and it takes {LEARNT_DAYS} sunny ones to tell them from this pump's own way"
        )
    return found + ([] if facts is None else _null_by_day(rows, facts))


def _null_by_day(rows: Rows, facts: SiteFacts) -> list[str]:
    """Fitted channels that have values at night and next to none by day: what the pump does cannot be seen in them."""
    sun = sun_position(rows.time_ms, facts.site.latitude_deg, facts.site.longitude_deg)
    high, night = sun.elevation_deg > HIGH_SUN_DEG, sun.elevation_deg < 0.0
    names = []
    for name in facts.sensors.channels:
        column = rows.values.get(name)
        if column is None or high.sum() < ROWS_MIN or not night.any():
            continue
        by_day, by_night = (float(np.isfinite(column[which]).mean()) for which in (high, night))
        if by_day < HALF * by_night:
            names.append(f"{name} ({by_day:.0%})")
    if not names:
        return []
    return [
        f"fitted, and mostly without a value by day: {', '.join(names)}; what can only be seen there was not judged "
        "(another unit, or a sensor turned round, looks so)"
    ]


def _told(rows: Rows, channel: str) -> bool:
    column = rows.values.get(channel)
    return column is not None and bool(np.isfinite(column).mean() > SOME)
