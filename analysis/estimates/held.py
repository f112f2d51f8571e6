"""Power held back: rows in which the pump stands below what its array could give, and the day's figures of it.

Flow: electric.py -> HERE -> vector.py.
Where a sensor reads the sun, the array's voltage and the light that is left say it. Where none does, three witnesses are heard: a voltage
above that of maximum power of the day's own cells; likewise by less, in hours as still as no cloud is; and the course of the day by
itself, for what holds a pump back keeps or lowers its power while the sun goes on rising, and gives way to the sun at both ends.
Never: judgement.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.kept import CUBED, power_kept
from analysis.estimates.own_light import sides_apart
from analysis.estimates.steady import Hours, steady_rows
from analysis.estimates.sums import Sums, log_ratio
from analysis.estimates.vector import HOURS, PLACE
from analysis.estimates.with_the_light import on_one_curve, with_the_light
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats, or_zero

Flags = NDArray[np.bool_]

LEAST_H = 0.4  # held back within an hour, to speak of its level
LEAST_DAY_H = 0.5  # in a day
LIFTS_SHARE = 0.15  # of the expected flow: a pump that lifts nothing stands low for its own reasons
PLENTY = 1.12  # expected maximum over taken power: the array is not what limits
HELD_BY_OWN_CELLS = (
    1.05  # sun not measured: over the voltage at maximum power that this day's own cells and light gave;
)
# beyond, the point itself says that a tenth and more is left (single-diode model), whatever the sky
HELD_STILL = 1.03
"""Likewise of an hour that is `STILL`: of 6,000 hours of drawn seasons whose light cloud dimmed, read as light of their own, hardly one in
twenty stood 2.7 % above, and those that were held back half-way by 4 to 6 %."""
STILL = 0.01  # scatter of power about the hour's line: even a sheet of cloud leaves two or three times as much (common practice, no source)
HELD_AT_ALL = 1.005  # likewise, below which the array's own voltage denies it
DEEPER = 0.15  # log of the share of the sky supposed: more than haze and the sun's angle change within a day (common practice, no source)
EVEN = 0.06  # scatter of power about its line in the hours beside which a limit shows: the sun climbs fast there
TURNED = 0.08  # log of power, lower at noon than before and after: haze and the cells' heat together take less (common practice, no source)
COURSE_HOURS = 3  # of a day, to tell a limit by its course alone
LEVEL_HOURS, SAME_LEVEL = (
    4,
    0.015,
)  # log of power: the well draws down, and readings scatter (common practice, no source)
OFFERED = 0.25  # log of power that the sun offered meanwhile (common practice, no source)
HELD_SURELY = (
    1.10  # sun measured: over this day's own cells; no cell's warmth, no tracker beside the maximum makes as much
)
HELD_SCATTER = 0.04  # about the hour's own line: heat holds back more and more within it, cloud jumps
HELD_HOUR_H = 0.6  # of an hour that counts: less is a gap in cloud
ALIKE = 0.03  # log of what the sun offers (common practice, no source)
SET_ANEW, SET_SHARE = (
    0.2,
    0.7,
)  # log of power, and the share of it in one step: heat takes hours (common practice, no source)
SET_LEAST, SET_EVEN, SET_HOURS = 0.05, 0.15, 5
"""Likewise of a day with so many hours that tell: even before and after, up to that share of the step."""
HELD_HOURS = (
    2  # of a day, where no sensor tells the sun: one by itself may be even cloud, or a pump near its least speed
)
SETTING_PCT = 1.0  # read so well
HELD_PLACES = np.array([PLACE["cap"], PLACE["cv"], PLACE["cn"], PLACE["kept"]])
WHOLE = 0.9  # of the held rows of an hour


def fill_held(
    vector: Floats, plant: Plant, seen: Columns, held: Flags, over: Floats, days: range, hours: Hours
) -> None:
    """Write what holds the pump back on `days` into `vector` (days, SIZE); `held`: of `held_rows`, which has `over` too."""
    sums = Sums(held, seen.day - days.start, (len(days),), rising=True)
    total_h = sums.hours(seen.dt_h)
    vector[:, PLACE["cap"]] = log_ratio(
        sums.of(seen.power_w * seen.dt_h), total_h * plant.ceiling_w, total_h >= LEAST_DAY_H
    )
    _held_speed(vector, plant, seen, held, days)
    vector[:, PLACE["kept"]] = power_kept(plant, seen, held, hours)
    _top(vector, plant, seen, hours)
    by_hour = Sums(held, hours.bins, hours.shape, rising=True)
    weight = by_hour.hours(seen.dt_h)
    enough = weight >= LEAST_H
    level = log_ratio(by_hour.of(seen.power_w * seen.dt_h), weight, enough)
    several = (enough.sum(axis=1) >= 2) & (total_h > 0)
    sun_w = by_hour.of(or_zero(seen.expected.mpp_power_w) * seen.dt_h)
    told = _by_speed(plant, seen, held, hours, level)
    fall = _fall(told, log_ratio(sun_w, weight, enough))
    with np.errstate(invalid="ignore"):
        sure_h = Sums(held & (over > HELD_SURELY), hours.bins, hours.shape, rising=True).hours(seen.dt_h)
    moved = _span(
        np.where(sure_h >= WHOLE * weight, told, np.nan)
    )  # no tracker beside the maximum: any course is the limit's
    vector[:, PLACE["cv"]] = np.where(several, -np.maximum(fall, moved), np.nan)
    calm = steady_rows(held, hours, or_zero(seen.power_w), HELD_HOUR_H, HELD_SCATTER)
    kept = ~_set_anew(np.where(Sums(calm, hours.bins, hours.shape, rising=True).count() > 0, level, np.nan))
    if "irradiance_w_m2" not in plant.has:
        kept &= enough.sum(axis=1) >= HELD_HOURS
    vector[np.ix_(np.flatnonzero(~kept), HELD_PLACES)] = np.nan


def held_rows(plant: Plant, seen: Columns, over: Floats, hours: Hours) -> Flags:
    """Rows of hours in which the array could give clearly more than the pump takes, and the pump takes it evenly. bool[n]

    over
        Voltage over that of maximum power of the day's own cells, NaN where not known. float64[n]
    """
    expected = seen.expected
    with np.errstate(invalid="ignore"):
        asked = seen.settled & seen.asked & (seen.power_w > 0) & (expected.mpp_power_w > 0)
        asked &= np.isnan(seen.flow_m3_h) | (seen.flow_m3_h > LIFTS_SHARE * seen.should_m3_h)
        # a setting that is read tells who holds it
        asked &= ~(seen.rows["speed_setting_pct"] < plant.facts.controller.speed_limit_pct - SETTING_PCT)
        free = asked & (expected.mpp_power_w > PLENTY * seen.power_w)
        surely = expected.poa_measured & (over > HELD_SURELY) & sides_apart(plant)
        held = free & np.where(expected.poa_measured, seen.held, over > HELD_BY_OWN_CELLS)
    held &= surely | ~with_the_light(seen, hours)
    power = or_zero(seen.power_w)
    calm = steady_rows(held, hours, power, HELD_HOUR_H, HELD_SCATTER)
    held = calm | on_one_curve(plant, seen, hours, held & ~calm)
    unmeasured = asked & ~expected.poa_measured
    if not (free & unmeasured).any():
        return held
    still = steady_rows(unmeasured, hours, power, HELD_HOUR_H, STILL)
    told = still & free & np.isfinite(over)
    sums = Sums(told, hours.bins, hours.shape, rising=True)
    above = log_ratio(sums.of(or_zero(over) * seen.dt_h), sums.hours(seen.dt_h), sums.hours(seen.dt_h) > 0)
    with np.errstate(invalid="ignore"):
        by_course, by_heat = _by_course(seen, unmeasured, still, hours) & ~(above < np.log(HELD_AT_ALL))
        held |= still & free & ((above > np.log(HELD_STILL)) | by_course).ravel()[hours.bins]
        even = steady_rows(unmeasured, hours, power, HELD_HOUR_H, HELD_SCATTER)
        by_level = _by_level(seen, even, hours) & ~(above < np.log(HELD_AT_ALL))
        return held | (even & free & (by_heat | by_level).ravel()[hours.bins])


def _by_course(seen: Columns, asked: Flags, still: Flags, hours: Hours) -> Flags:
    """Still hours with a smaller share of what the sky supposed would give than others of the day at lower sun, before and after.
    Likewise even ones of a day on which the power itself turned: less came in the best sun than before and after it. bool[2, days, HOURS]

    Dust, haze, a string out or a plane not as the file says take one share of all hours, or more and more towards one end of the day; a
    limit takes most at noon. One that heat sets falls and rises again with sun and air, so that no hour is quite still.
    """
    power = or_zero(seen.power_w)
    even = steady_rows(asked, hours, power, LEAST_H, EVEN)
    sums, sums_still = (Sums(which, hours.bins, hours.shape, rising=True) for which in (even, still))
    weight = sums.hours(seen.dt_h)
    offered = sums.of(or_zero(seen.expected.mpp_power_w) * seen.dt_h)
    share = log_ratio(sums.of(power * seen.dt_h), offered, weight >= LEAST_H)
    with np.errstate(divide="ignore", invalid="ignore"):
        sun = offered / weight
        lower = np.isfinite(share)[:, None, :] & (sun[:, None, :] < sun[:, :, None])
        more = np.where(lower, share[:, None, :], -np.inf)
        hour = np.arange(HOURS)
        before, after = (
            np.where(side, more, -np.inf).max(axis=2)
            for side in (hour[None, :] < hour[:, None], hour[None, :] > hour[:, None])
        )
        low = np.asarray(share < np.minimum(before, after) - DEEPER)
        by_still = low & (sums_still.hours(seen.dt_h) >= HELD_HOUR_H)
    found = np.stack([by_still, low & _turned(share, sun)])
    return np.asarray(found & (found.sum(axis=2, keepdims=True) >= COURSE_HOURS))


def _by_level(seen: Columns, even: Flags, hours: Hours) -> Flags:
    """Hours at the day's most power, where that is one and the same through `LEVEL_HOURS` of them whatever the sky supposed would give.
    bool[days, HOURS]

    Readings may scatter from row to row more than a still hour does: the mean of an hour does not, and no cloud follows the sun so closely
    that the same is left of it for hours.
    """
    sums = Sums(even, hours.bins, hours.shape, rising=True)
    weight = sums.hours(seen.dt_h)
    known = weight >= HELD_HOUR_H
    level = log_ratio(sums.of(or_zero(seen.power_w) * seen.dt_h), weight, known)
    offered = log_ratio(sums.of(or_zero(seen.expected.mpp_power_w) * seen.dt_h), weight, known)
    with np.errstate(invalid="ignore"):
        top = known & (level > np.where(known, level, -np.inf).max(axis=1, keepdims=True) - SAME_LEVEL)
    kept = (top.sum(axis=1) >= LEVEL_HOURS) & (_span(np.where(top, offered, np.nan)) > OFFERED)
    return top & kept[:, None]


def _turned(share: Floats, sun: Floats) -> Flags:
    """Days on which less power came in the best sun than in clearly lower sun before and after. bool[days, 1]

    share, sun
        By hour, log of what came over what the sky supposed would give, NaN where not known; and that, in W. (days, HOURS)
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        known = np.where(np.isfinite(share), np.log(sun), -np.inf)
        noon = known.argmax(axis=1)[:, None]
        level = share + known
        lower = np.isfinite(share) & (known < np.take_along_axis(known, noon, axis=1) - ALIKE)
        hour = np.arange(HOURS)[None, :]
        before, after = (np.where(lower & side, level, -np.inf).max(axis=1) for side in (hour < noon, hour > noon))
        return np.asarray(np.take_along_axis(level, noon, axis=1)[:, 0] < np.minimum(before, after) - TURNED)[:, None]


def _span(level: Floats) -> Floats:
    """Of logs by hour, the highest less the lowest; 0 where none is known. (days, HOURS) -> (days,)"""
    known = np.isfinite(level)
    low, high = np.where(known, level, np.inf).min(axis=1), np.where(known, level, -np.inf).max(axis=1)
    return np.where(known.any(axis=1), high, 0.0) - np.where(known.any(axis=1), low, 0.0)


def _fall(level: Floats, sun: Floats) -> Floats:
    """By how much the limit stands lower in an hour of as much sun or more: heat takes then, an array that is followed gives then. (days,)"""
    with np.errstate(invalid="ignore"):
        no_less = sun[:, None, :] > sun[:, :, None] - ALIKE
        fallen = np.where(no_less, level[:, :, None] - level[:, None, :], 0.0)
    return np.asarray(np.nan_to_num(fallen).max(axis=(1, 2)), np.float64)


def _by_speed(plant: Plant, seen: Columns, held: Flags, hours: Hours, level: Floats) -> Floats:
    """Logs of power by hour, told by the speed where that is read: at one speed a well drawn down and water that warms move the power."""
    known = held & (seen.speed_rpm > 0)
    if not known.any():
        return level
    sums = Sums(known, hours.bins, hours.shape, rising=True)
    weight = sums.hours(seen.dt_h)
    speed = log_ratio(sums.of(or_zero(seen.speed_rpm) * seen.dt_h), weight, weight >= WHOLE * LEAST_H)
    whole = np.asarray((np.isfinite(speed) | np.isnan(level)).all(axis=1))
    by_speed = np.where(np.isnan(level), np.nan, speed * (1.0 if plant.helical else CUBED))
    return np.where(whole[:, None], by_speed, level)


def _set_anew(level: Floats) -> Flags:
    """Days on which the limit went over from one hour to the next: someone set it, or it only began. bool[days]

    level
        Logs of power, of the hours that are even: an hour in which it was set is not, and hides the step. (days, HOURS)
    """
    span = _span(level)
    filled = level.copy()
    for hour in range(1, HOURS):
        filled[:, hour] = np.where(np.isnan(level[:, hour]), filled[:, hour - 1], level[:, hour])
    with np.errstate(invalid="ignore"):
        largest = np.nan_to_num(np.abs(np.diff(filled, axis=1))).max(axis=1)
        found = (span > SET_ANEW) & (largest > SET_SHARE * span)
    for day in np.flatnonzero((span > SET_LEAST) & (np.isfinite(level).sum(axis=1) >= SET_HOURS)):
        found[day] |= _two_levels(level[day][np.isfinite(level[day])], float(span[day]))
    return found


def _two_levels(level: Floats, span: float) -> bool:
    """Even before one hour, which may hold the step itself, and even after."""
    for first in range(1, len(level)):
        for after in (level[first:], level[first + 1 :]):
            if len(after) and max(np.ptp(level[:first]), np.ptp(after)) < SET_EVEN * span:
                return True
    return False


def _held_speed(vector: Floats, plant: Plant, seen: Columns, held: Flags, days: range) -> None:
    """The speed at which it stands held back."""
    fastest = max((row.speed_rpm or 0.0 for row in plant.facts.pump.curve), default=0.0)
    fastest = fastest or plant.facts.motor.rated_speed_rpm or 0.0
    known = held & (seen.speed_rpm > 0)
    if not fastest or not known.any():
        return
    sums = Sums(known, seen.day - days.start, (len(days),), rising=True)
    total_h = sums.hours(seen.dt_h)
    vector[:, PLACE["cn"]] = log_ratio(sums.of(seen.speed_rpm * seen.dt_h), total_h * fastest, total_h >= LEAST_DAY_H)


def _top(vector: Floats, plant: Plant, seen: Columns, hours: Hours) -> None:
    """The best hour's power: no limit stands below what has been taken."""
    sums = Sums(seen.settled & (seen.power_w > 0), hours.bins, hours.shape, rising=True)
    weight = sums.hours(seen.dt_h)
    level = log_ratio(sums.of(seen.power_w * seen.dt_h), weight * plant.ceiling_w, weight >= HELD_HOUR_H)
    best = np.where(np.isnan(level), -np.inf, level).max(axis=1)
    vector[:, PLACE["top"]] = np.where(np.isfinite(best), best, np.nan)
