"""What a site is doing at this instant, for pages.

Flow: pipeline.py -> HERE -> summary.SiteNow.
Never: judgement of causes.
"""

from typing import Any

import numpy as np

from analysis.look import Columns
from analysis.memory import Case
from analysis.plant import Plant
from analysis.rows import Rows, or_zero
from analysis.solar_days import HOUR_MS
from analysis.summary import Doing, SiteNow
from analysis.symptoms import DayView

STALE_MS = 2 * HOUR_MS
STOPPING = frozenset(
    {
        "dry-running",
        "closed-delivery",
        "broken-shaft",
        "stalled-motor",
        "failed-start",
        "controller-trip",
        "reverse-rotation",
    }
)


def site_now(plant: Plant, view: DayView, rows: Rows, cases: list[Case]) -> SiteNow:
    """The state at `view.until_ms`. `rows`: the open day's, merged."""
    last = int(rows.time_ms[-1]) if len(rows) else view.memory.last_heard_ms
    seen = view.columns
    common: dict[str, Any] = {"site": plant.facts.site.id, "time_ms": view.until_ms, "last_heard_ms": last}
    dark = not _is_day(plant, view)
    if seen is None or not len(seen):
        quiet = last is None or view.until_ms - last > STALE_MS
        doing: Doing = "silent" if quiet and not dark else ("night" if dark else "unknown")
        return SiteNow(**common, doing=doing)
    expected = seen.expected
    of_sun = float((or_zero(expected.flow_of_sun_m3_h) * seen.dt_h).sum())
    spread = 1.96 * float((or_zero(expected.flow_of_sun_m3_h_std) * seen.dt_h).sum())
    metered = seen.moved_m3[~np.isnan(seen.moved_m3)]
    direct = ~np.isnan(seen.rows["flow_m3_h"])
    water = (
        float(metered.sum())
        if len(metered)
        else (float((seen.flow_m3_h * seen.dt_h)[direct].sum()) if direct.any() else None)
    )
    return SiteNow(
        **common,
        doing=_doing(seen, view, cases, dark),
        water_today_m3=water,
        expected_today_m3=of_sun,
        expected_low_m3=max(of_sun - spread, 0.0),
        expected_high_m3=of_sun + spread,
        flow_m3_h=_last(seen.flow_m3_h),
        expected_flow_m3_h=_last(expected.flow_m3_h),
        input_power_w=_last(seen.power_w),
        tank_float_up=_flag(rows["tank_float_up"]),
        tank_level_m=_last(rows["tank_level_m"]),
    )


def _is_day(plant: Plant, view: DayView) -> bool:
    start, end = plant.days.daylight_ms(view.day)
    return start <= view.until_ms <= end


def _last(column: np.ndarray) -> float | None:
    return float(column[-1]) if len(column) and np.isfinite(column[-1]) else None


def _flag(column: np.ndarray) -> bool | None:
    value = _last(column)
    return None if value is None else value > 0.5


def _doing(seen: Columns, view: DayView, cases: list[Case], dark: bool) -> Doing:
    rows = seen.rows
    if view.until_ms - int(seen.time_ms[-1]) > STALE_MS:
        return "night" if dark else "silent"
    if any(case.ended_ms is None and case.cause in STOPPING for case in cases) and not seen.settled[-1]:
        return "stopped-by-fault"
    if seen.turning[-1]:
        if not seen.settled[-1]:
            return "starting"
        return "held-back" if seen.held[-1] else "pumping"
    if _flag(rows["switched_on"]) is False:
        return "switched-off"
    if _flag(rows["tank_float_up"]):
        return "tank-full"
    if _flag(rows["low_level_probe_wet"]) is False:
        return "well-recovering"
    if dark:
        return "night"
    if seen.unread[-1]:
        return "unknown"
    return "starting" if seen.asked[-1] else "too-little-sun"
