"""What readings show that no fault of this site could do: the file then describes another one.

Flow: review_files.py (rows of one site, site facts) -> HERE -> refusals, each with file, key, what the readings say, what would be right.
A worn, clogged or leaking pump gives less than its table, never far more; light never outlasts the day; a pump lifts nothing from
below its intake. Most days must say so, in the first half of the readings as in the second, as in site_fits.py.
Never: converting by guess; refusing for what a fault can do.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from analysis.counted_flow import hourly
from analysis.physics.sun import declination_and_equation_of_time
from analysis.rows import Rows
from analysis.site_check.pump_rows import OFF, other_kind
from analysis.site_fits import FIRST_DAYS, LONGEST_STEP_MS, SHALLOWEST, TOP, by_day, level_spare_m, mostly, problem_of
from analysis.solar_days import DAY_MS, HOUR_MS
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FASTER = 1.3  # than the table's fastest row: below its lowest head a pump turns somewhat faster still (common practice, no source)
ONE_SPEED = 0.05  # of the fastest: no further apart, and a table was taken at one speed
MORE_WATER = 2.0  # than any row lifts: a meter whose pulse value is wrong by less is a fault that this pump may have
FAR_SPARE, FAR_M, FALLEN_M = 4.0, 20.0, 35.0
"""How far above the driller's a resting level may lie before it is another well's, or another datum's: so many times what a log leaves open, and
metres; and how far below it, for an aquifer may have fallen since, which is a finding (common practice, no source)."""
UNFED_M = 0.5  # a level of nothing is a sensor that is not fed
BELOW_PUMP_M = 2.0  # a level sensor's own error
LEAST_LATITUDE_DEG, MOST_LATITUDE_DEG = (
    8.0,
    60.0,
)  # nearer the equator both hemispheres' days are alike; beyond, twilight is long
APART_H = 1.0  # between the days of the two hemispheres: less tells nothing
LONGER_H = 0.8  # than the day: twilight on an unloaded array makes half an hour (common practice, no source)
NEAR_H = 0.9  # of the other hemisphere's day: a horizon and the edge of what is called light take so much
LIGHT_W_M2, LIGHT_SHARE = 10.0, 0.5  # of a sensor; of a day's highest voltage
EDGE_MS = HOUR_MS // 3  # rows further apart do not tell when it dawned
LEAST_DAYS, DAYS_MIN = 3, 5
TREND_H, AGAINST = 0.7, -0.5
"""Days that are shorter than they should be, as under a horizon, must also grow where they should shrink: over so many hours of change, by
so much for each hour."""


def judge_beyond(facts: SiteFacts, rows: Rows) -> list[Problem]:
    """A problem for each fact of the site file that no fault could set against most days of the readings."""
    return [
        *_kind(facts),
        *_speed(facts, rows),
        *_water(facts, rows),
        *_level(facts, rows),
        *_hemisphere(facts, rows),
    ]


def _most_days(says: Flags) -> bool:
    """Most of `LEAST_DAYS` or more: a spark on one day is no other file."""
    return len(says) >= LEAST_DAYS and mostly(says)


def _kind(facts: SiteFacts) -> Iterator[Problem]:
    found = other_kind(facts.pump)
    if found is not None and found.own > OFF:  # less is for `check` to doubt: a coarse table is no other pump
        wrong = f"the file says {facts.pump.kind}, which misses its own table by up to {found.own:.0%}; a {found.kind} pump misses it by {found.theirs:.1%}"
        fix = (
            f'is it "{found.kind}"? The flow of a helical rotor hardly falls with head, that of a centrifugal pump does'
        )
        yield problem_of(facts, "pump.kind", wrong, fix)


def _speed(facts: SiteFacts, rows: Rows) -> Iterator[Problem]:
    """A table of several speeds goes up to the fastest; one of a single speed may be typed at any, and only the motor's own tells the most."""
    rows_rpm = [row.speed_rpm for row in facts.pump.curve if row.speed_rpm]
    fastest = facts.motor.rated_speed_rpm or 0.0
    if rows_rpm and min(rows_rpm) < (1.0 - ONE_SPEED) * max(rows_rpm):
        fastest = max(fastest, *rows_rpm)
    if not fastest:
        return
    speed = np.abs(rows["motor_speed_rpm"])
    tops = by_day(facts, rows.time_ms, np.where(speed > 0, speed, np.nan), TOP, speed)
    if _most_days(tops > FASTER * fastest):
        wrong = f"table and motor turn at {fastest:.0f} 1/min at most, and on most days motor_speed_rpm reaches {np.median(tops):.0f}"
        fix = (
            "is it another pump's table, or does the controller tell the electrical speed, turns times pairs of poles?"
        )
        yield problem_of(facts, "pump.curve", wrong, fix)


def _water(facts: SiteFacts, rows: Rows) -> Iterator[Problem]:
    most = facts.pump.largest_flow_m3_h
    flow, channel = hourly(facts, rows)["flow_m3_h"], "flow_m3_h"
    if np.isnan(flow).all():
        flow, channel = _hourly(rows), "volume_m3"
    tops = by_day(facts, rows.time_ms, np.where(flow > 0, flow, np.nan), TOP, flow)
    if _most_days(tops > MORE_WATER * most):
        wrong = f"no row of the table lifts more than {most:.3g} m3/h, and on most days {channel} shows {np.median(tops):.3g} m3/h"
        fix = f"is it another pump's table, or {channel} in another unit, or its pulse value wrong?"
        yield problem_of(facts, "pump.curve", wrong, fix)


def _hourly(rows: Rows) -> Floats:
    """What the register rose by in the UTC hour of each row, at the hour's last row, elsewhere NaN; `rows` merged, rising in time. [m3/h]"""
    flow = np.full(len(rows), np.nan)
    known = np.flatnonzero(np.isfinite(rows["volume_m3"]))
    if len(known) < 2:
        return flow
    time_ms, register = rows.time_ms[known], rows["volume_m3"][known]
    steps = np.diff(register)
    steps[(steps < 0) | (np.diff(time_ms) > LONGEST_STEP_MS)] = 0.0
    hour = time_ms[1:] // HOUR_MS
    came = np.bincount(hour - hour[0], steps)
    last = np.flatnonzero(np.append(np.diff(hour) > 0, True))
    flow[known[1:][last]] = came[hour[last] - hour[0]]
    return flow


def _level(facts: SiteFacts, rows: Rows) -> Iterator[Problem]:
    level, well = rows["water_level_m"], facts.well
    rests = by_day(facts, rows.time_ms, level, SHALLOWEST)
    if not len(rests):
        return
    rest = float(np.median(rests[:FIRST_DAYS]))
    setting = facts.pump.setting_depth_m
    if _lifts(rows) and _most_days(rests > setting + BELOW_PUMP_M):
        wrong = f"the pump hangs at {setting:g} m, and on most days the water rests at {float(np.median(rests)):.3g} m, below it"
        fix = (
            "correct the depth of the pump, or water_level_m: both are metres below the datum at the wellhead. "
            "If the sensor is broken, leave its column out"
        )
        yield problem_of(facts, "pump.setting_depth_m", wrong, fix)
        return
    far_m = np.where(rests < well.static_level_m, FAR_M, FALLEN_M)
    far = np.abs(rests - well.static_level_m) > np.maximum(FAR_SPARE * level_spare_m(facts), far_m)
    if _most_days(far & (rests > UNFED_M)):
        wrong = f"the file says {well.static_level_m:g} m, and from the first days on the water rests at {rest:.3g} m"
        fix = (
            f"write {rest:.3g} if the sensor reads metres below the wellhead; or does this site file belong to other readings? "
            "If the sensor is broken, leave its column out"
        )
        yield problem_of(facts, "well.static_level_m", wrong, fix)


def _lifts(rows: Rows) -> bool:
    """Water came at some time: a well that stands below its pump gives none."""
    register = rows["volume_m3"]
    return bool((rows["flow_m3_h"] > 0).any() or (np.diff(register[np.isfinite(register)]) > 0).any())


def _hemisphere(facts: SiteFacts, rows: Rows) -> Iterator[Problem]:
    latitude = facts.site.latitude_deg
    if not LEAST_LATITUDE_DEG < abs(latitude) < MOST_LATITUDE_DEG:
        return
    days, seen_h = _light_h(facts, rows)
    here_h, there_h = (_day_h(days, degrees) for degrees in (latitude, -latitude))
    told = np.abs(here_h - there_h) > APART_H
    if told.sum() < DAYS_MIN:
        return
    seen_h, here_h, there_h = (column[told] for column in (seen_h, here_h, there_h))
    there = np.abs(seen_h - there_h) < NEAR_H
    longer = seen_h > here_h + LONGER_H
    if not mostly(there & (longer | _grows_against(here_h, seen_h))):
        return
    wrong = (
        f"on most days there is light for {np.median(seen_h):.1f} h where the sun is up for {np.median(here_h):.1f} h "
        f"at {latitude:g} deg; at {-latitude:g} deg it is up for {np.median(there_h):.1f} h"
    )
    yield problem_of(facts, "site.latitude_deg", wrong, "is the sign wrong? North is positive, south negative")


def _grows_against(here_h: Floats, seen_h: Floats) -> bool:
    """The seen days grow while those of the file's latitude shrink, or the other way round."""
    away = here_h - here_h.mean()
    return bool(np.ptp(here_h) > TREND_H and away @ seen_h < AGAINST * (away @ away))


def _day_h(days: NDArray[np.int64], latitude_deg: float) -> Floats:
    """How long the sun's middle is above the horizon. [h]"""
    declination = np.radians(declination_and_equation_of_time(days + 0.5)[0])
    return (
        np.degrees(np.arccos(np.clip(-np.tan(np.radians(latitude_deg)) * np.tan(declination), -1.0, 1.0))) * 2.0 / 15.0
    )


def _light_h(facts: SiteFacts, rows: Rows) -> tuple[NDArray[np.int64], Floats]:
    """Days (from midnight to midnight by the sun), and hours from the first light to the last on each that tells; `rows` merged, rising in time."""
    light, sensed = rows["irradiance_w_m2"], True
    if np.isnan(light).all():
        light, sensed = rows["pv_voltage_v"], False
    known = np.flatnonzero(np.isfinite(light))
    if len(known) < 2:
        return np.empty(0, np.int64), np.empty(0)
    time_ms, light = rows.time_ms[known] + round(facts.site.longitude_deg * 240_000), light[known]
    day = time_ms // DAY_MS
    first, count = int(day[0]), int(day[-1] - day[0]) + 1
    top = np.zeros(count)
    np.maximum.at(top, day - first, light)
    lit = np.flatnonzero(light > (LIGHT_W_M2 if sensed else LIGHT_SHARE * top[day - first]))
    lit = lit[top[day[lit] - first] > 0]
    inner = lit[(lit > 0) & (lit < len(day) - 1)]
    begins = inner[np.append(True, np.diff(day[inner]) > 0)] if len(inner) else inner
    ends = inner[np.append(np.diff(day[inner]) > 0, True)] if len(inner) else inner
    near = (time_ms[begins] - time_ms[begins - 1] < EDGE_MS) & (time_ms[ends + 1] - time_ms[ends] < EDGE_MS)
    whole = near & (day[begins - 1] == day[begins]) & (day[ends + 1] == day[ends])
    return day[begins][whole], (time_ms[ends] - time_ms[begins])[whole] / HOUR_MS
