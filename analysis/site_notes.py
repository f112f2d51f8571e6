"""What most days of the readings make doubtful in the file, the clock or the wiring, and no fault forbids: said beside a review, refusing nothing.

Flow: review_files.py (merged rows of one site, rising in time, and site facts) -> HERE -> notes.
Never: refusing; a finding.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from analysis.physics.hydraulic_power import hydraulic_power_w
from analysis.rows import Rows
from analysis.site_fits import CLEAR_DAYS_MIN, full_w, hours_late, level_note, mostly
from analysis.units_by_others import DAYS_MIN, WATER_LEAST, WH_PER_M3_M, Days
from logger.record.site_facts import SiteFacts

LATE_H, NEAR_ZONE_H = 1.2, 0.5
"""How far noon must be off before it is asked about, and how near to the zone's own distance from UTC, or to the middle day, the days must be: a
slanting plane, a hill and clouds move the middle of a clear day by less than the first (common practice, no source)."""
RUNS, RUNS_H, HARDLY = (
    0.3,
    1.0,
    0.05,
)  # of full power; hours a day; share of these hours in which the tank is not said to be full
SLIPS = ((0.1, "a tenth"), (0.01, "a hundredth"))
TEN = float(np.log(10.0))
NEAR = 0.4  # log: water for its energy, beside the table's best row; a middling day gives somewhat less (common practice, no source)
USUAL = 0.8  # of the best row's efficiency, through a day


def notes_of(facts: SiteFacts, rows: Rows) -> list[str]:
    """A sentence, without its full stop, for each thing to look at."""
    days = Days(rows)
    found = [level_note(facts, rows), _clock(facts, rows)]
    if days.count >= DAYS_MIN and not np.isnan(days.power).all():
        found += [_float(facts, rows, days), _meter(facts, rows, days)]
    return [note for note in found if note is not None]


def _clock(facts: SiteFacts, rows: Rows) -> str | None:
    """Local times that were marked as UTC are off by what the zone is."""
    what, late_h, plane_h = hours_late(facts, rows)
    if len(late_h) < CLEAR_DAYS_MIN:
        return None
    late, zone = float(np.median(late_h)), _zone_h(facts, int(rows.time_ms[0]))
    off = (np.abs(late_h - late) < NEAR_ZONE_H) & (np.abs(late_h) > LATE_H) & (np.abs(plane_h) > LATE_H)
    if not mostly(off):
        return None
    local = f"and {facts.site.timezone} is {abs(zone):g} h {'ahead of' if zone > 0 else 'behind'} UTC: are the times local ones, marked as UTC"
    asked = (
        local
        if abs(late - zone) < NEAR_ZONE_H and zone
        else f"at {facts.site.longitude_deg:g} deg east: is the logger's clock right, or the longitude"
    )
    return (
        f"on most clear days the middle of {what} is {abs(late):.1f} h {'after' if late > 0 else 'before'} solar noon, {asked}? "
        "What hangs on the hour (shade, soiling, a late start) cannot be trusted until then"
    )


def _zone_h(facts: SiteFacts, time_ms: int) -> float:
    offset = datetime.fromtimestamp(time_ms // 1000, UTC).astimezone(ZoneInfo(facts.site.timezone)).utcoffset()
    return (offset or timedelta()).total_seconds() / 3600.0


def _float(facts: SiteFacts, rows: Rows, days: Days) -> str | None:
    """A pump that runs while the tank is said to be full, and hardly ever while it is not."""
    says = rows["tank_float_up"][days.order]
    runs = (days.power > RUNS * full_w(facts)) & np.isfinite(says)
    full, other = (days.sums(np.where(runs & which, days.hours, 0.0)) for which in (says > 0.5, says <= 0.5))
    told = (full + other) > RUNS_H
    if told.sum() < DAYS_MIN or not mostly(other[told] < HARDLY * full[told]):
        return None
    return (
        "on most days the pump runs only while tank_float_up says that the tank is full: is the float wired the other way round "
        "(1 = full), or stuck? Standing still and a full tank are told apart by it: what is said below of a pump that did not start may be no more than that"
    )


def _meter(facts: SiteFacts, rows: Rows, days: Days) -> str | None:
    """Water that is off by tens beside the energy that lifted it, from the first days on: a pulse value that was set wrongly."""
    taken_wh, water = days.sums(np.maximum(days.power, 0.0) * days.hours), days.water_m3(rows)
    lift_m = facts.well.static_level_m + facts.delivery.outlet_height_m
    best = max(
        (float(hydraulic_power_w(r.flow_m3_h, r.head_m) / r.power_w) for r in facts.pump.curve if r.power_w > 0),
        default=0.0,
    )
    told = (taken_wh > WH_PER_M3_M * max(lift_m, 0.0) * WATER_LEAST) & (water > 0)
    if told.sum() < DAYS_MIN or lift_m <= 0 or best <= 0:
        return None
    logs = np.log(WH_PER_M3_M * lift_m * water[told] / taken_wh[told] / (USUAL * best))
    for share, words in SLIPS:
        if mostly(np.abs(logs - np.log(share)) < NEAR):
            return (
                f"on most days, from the first on, the meter counts about {words} of the water that the power should lift: is its pulse value right "
                "(litres a pulse, m3 a pulse)? Time a bucket at the tank"
            )
    return _meter_since(np.flatnonzero(told) + int(days.day[0]), logs)


def _meter_since(day: np.ndarray, logs: np.ndarray) -> str | None:
    """Likewise from some day on, too much by whole decimal points on all days since: too little may be a hole, and the findings weigh that."""
    points = np.round(logs / TEN)
    points[np.abs(logs - TEN * points) >= NEAR] = np.nan  # a day that tells of none
    told = np.isfinite(points)
    day, points = day[told], points[told]
    changed = np.flatnonzero(np.diff(points) != 0)
    if (
        len(changed) != 1
        or points[0] != 0
        or points[-1] < 0
        or min(changed[0] + 1, len(points) - changed[0] - 1) < DAYS_MIN
    ):
        return None
    since = np.datetime64(int(day[changed[0] + 1]), "D")
    return (
        f"since {since} the meter counts about {10.0 ** points[-1]:g} times the water that the power should lift: was it, or its pulse value, "
        "changed? Time a bucket at the tank"
    )
