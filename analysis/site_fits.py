"""Do the readings come from the site that the file describes? Asked before the engine explains a wrong file by faults.

Flow: review_files.py (rows of one site, site facts) -> HERE -> refusals, and a note about the resting level.
Days are asked one by one and most of them must agree, in the first half of the readings as in the second: a fault begins some
day, a wrong file is wrong from the first. A day on which a channel stands still says nothing.
Never: converting by guess; refusing for what a fault can do.
"""

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from analysis.physics.sun import declination_and_equation_of_time, sun_position
from analysis.rows import Rows
from analysis.solar_days import DAY_MS, HOUR_MS, SolarDays
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Shape = Callable[[Floats, NDArray[np.int64]], tuple[Flags, Floats]]

ROWS_ENOUGH = 100_000  # of a season by the second every so-many-th is asked
LONGEST_STEP_MS = HOUR_MS  # rows further apart say nothing of what came between them
VALUES_MIN = 6  # a day: hourly readings of a short day
TOP = 0.95  # of a day's values above zero: of those by daylight about the upper tenth, and a spark stays above
VOLTAGE_OVER, VOLTAGE_UNDER, CURRENT_OVER = 1.1, 0.5, 1.4
ONE_OUT = 1.15  # modules: one of two may be passed by, on warm cells, for a whole season
DEAD = 0.02  # of what the file promises: below it the sensor is dead, not the file wrong
FLOWS = 0.05  # of what the array is rated for
COLDEST_C = -10.0  # where nobody wrote down the coldest morning
NOON_OFF_H = 2.5
AGREE_H = 1.5  # a wrong place or zone is as wrong every day; clouds and a slanting plane do less
CLEAR_DAYS_MIN = 5
CLEAR_H = 7.0  # of light above LIT: what is cut short by a full tank or a gap has no centre
LIT, STEP = (
    0.1,
    0.45,
)  # of the day's top; half an hour brings 0.13 of it by the sun, a stop at full power 0.5 or more in a slot or the next
DIFFUSE = 0.15  # of the light, from the whole sky: common practice, no source
SLOT_MS = HOUR_MS // 2
SLOTS = DAY_MS // SLOT_MS
FIRST_DAYS = 5
LEVEL_TOLERANCE_M, LEVEL_TOLERANCE = 2.0, 0.05  # of the driller's tape, of the datum and of the sensor; no source
SHALLOWEST = 0.05
FOOT_M = 0.3048


def judge_fit(facts: SiteFacts, rows: Rows) -> list[Problem]:
    """A problem for each fact of the site file that most days of the readings contradict."""
    rows = rows.take(slice(None, None, max(len(rows) // ROWS_ENOUGH, 1)))
    return [*_voltage(facts, rows), *_current(facts, rows), *_noon(facts, rows)]


def level_spare_m(facts: SiteFacts) -> float:
    """How far the resting level may be from the file's before one of the two is wrong. [m]"""
    well = facts.well
    return (well.seasonal_range_m or 0.0) + LEVEL_TOLERANCE_M + LEVEL_TOLERANCE * abs(well.static_level_m)


def level_note(facts: SiteFacts, rows: Rows) -> str | None:
    """What to say where the resting level was another from the first day than the file's; None where it fits."""
    level, stated = rows["water_level_m"], facts.well.static_level_m
    daily = by_day(facts, rows.time_ms, level, SHALLOWEST)[:FIRST_DAYS]
    if not len(daily):
        return None
    rest = float(np.median(daily))
    spare = level_spare_m(facts)
    if abs(rest - stated) <= spare:
        return None
    feet = f" ({rest:.3g} feet are {FOOT_M * rest:.3g} m)" if abs(FOOT_M * rest - stated) <= spare else ""
    return (
        f"the water rested at {rest:.3g} m in the first days, and the site file says well.static_level_m = {stated:g}{feet}: "
        "correct whichever is wrong, the file or the level sensor; findings about the water level hang on it"
    )


def _voltage(facts: SiteFacts, rows: Rows) -> Iterator[Problem]:
    array, module = facts.array, facts.array.module
    volts, key = rows["pv_voltage_v"], "array.modules_in_series"
    lowest = facts.site.lowest_ambient_c
    coldest = min(COLDEST_C if lowest is None else lowest, 25.0)
    one = module.v_oc_v * (1.0 + module.temp_coeff_v_oc_pct_c / 100.0 * (coldest - 25.0))
    most, series = array.modules_in_series * one, array.modules_in_series
    tops = by_day(facts, rows.time_ms, np.where(volts > 0, volts, np.nan), TOP, volts)
    if mostly(tops > VOLTAGE_OVER * most):
        top = float(np.median(tops))
        wrong = f"{series} in series give {most:.0f} V at most, on the coldest morning, and on most days pv_voltage_v reaches {top:.0f} V"
        fix = f"such readings need at least {int(np.ceil(top / one))} in series; or does this site file belong to other readings?"
        yield problem_of(facts, key, wrong, fix)
        return
    usual = series * module.v_mp_v
    tops = by_day(facts, rows.time_ms, np.where((volts > 0) & _power_flows(facts, rows), volts, np.nan), TOP, volts)
    under = min(VOLTAGE_UNDER, (1.0 - ONE_OUT / series))
    if mostly((tops < under * usual) & (tops > DEAD * usual)):
        top = float(np.median(tops))
        wrong = f"{series} in series work at some {usual:.0f} V, and on most days pv_voltage_v stays below {top:.0f} V while power flows"
        point = "is a decimal point lost? Or " if under * usual < 10.0 * top < most else ""
        fix = f"{point}such readings come from about {max(round(top / module.v_mp_v), 1)} in series; or does this site file belong to other readings?"
        yield problem_of(facts, key, wrong, fix)


def _power_flows(facts: SiteFacts, rows: Rows) -> Flags:
    array, module = facts.array, facts.array.module
    amperes, watts = array.strings * module.i_sc_a, array_w(facts)
    return (
        (rows["pv_current_a"] > FLOWS * amperes) | (rows["input_power_w"] > FLOWS * watts) | (rows["motor_running"] > 0)
    )


def _current(facts: SiteFacts, rows: Rows) -> Iterator[Problem]:
    strings, one = facts.array.strings, facts.array.module.i_sc_a
    amperes = rows["pv_current_a"]
    tops = by_day(facts, rows.time_ms, np.where(amperes > 0, amperes, np.nan), TOP, amperes)
    if mostly(tops > CURRENT_OVER * strings * one):
        top = float(np.median(tops))
        wrong = f"{strings} in parallel give {strings * one:.3g} A in full sun, and on most days pv_current_a reaches {top:.3g} A"
        fix = f"such readings need about {int(np.ceil(top / one))} strings; or does this site file belong to other readings?"
        yield problem_of(facts, "array.strings", wrong, fix)


def _noon(facts: SiteFacts, rows: Rows) -> Iterator[Problem]:
    what, late_h, plane_h = hours_late(facts, rows)
    if len(late_h) < CLEAR_DAYS_MIN:
        return
    off = (np.abs(late_h) > NOON_OFF_H) & (np.abs(plane_h) > NOON_OFF_H)
    late = float(np.angle(np.exp(2j * np.pi * late_h / 24.0).mean()) * 12.0 / np.pi)
    if not mostly(off & (np.abs(_around(late_h - late)) < AGREE_H)):
        return
    east = facts.site.longitude_deg - 15.0 * late
    wrong = (
        f"on most clear days the middle of {what} is {abs(late):.1f} h {'after' if late > 0 else 'before'} solar noon "
        f"at {facts.site.longitude_deg:g} deg east"
    )
    fix = (
        f"the longitude is wrong (about {(east + 180.0) % 360.0 - 180.0:.0f} would fit; east is positive), or the clock or "
        "time zone of the readings' times"
    )
    yield problem_of(facts, "site.longitude_deg", wrong, fix)


def hours_late(facts: SiteFacts, rows: Rows) -> tuple[str, Floats, Floats]:
    """What told the middle of each clear day, and how long after solar noon, and after the middle of the plane's own light, it lay. [h]"""
    what, days, centre_h = _middles(rows)
    if not len(days):
        return what, centre_h, centre_h
    noon_h, plane_h = _expected_h(facts, days)
    return what, _around(centre_h - noon_h), _around(centre_h - plane_h)


def array_w(facts: SiteFacts) -> float:
    """What the array gives at its rating. [W]"""
    return facts.array.strings * facts.array.modules_in_series * facts.array.module.p_mp_w


def full_w(facts: SiteFacts) -> float:
    """The most that the pump can take: its table's, or the array's where that is less. [W]"""
    return min(max(row.power_w for row in facts.pump.curve), array_w(facts))


def power_of(rows: Rows) -> Floats:
    """What the controller takes, read or worked out of the array's voltage and current. [W]"""
    worked_out = rows["pv_voltage_v"] * rows["pv_current_a"]
    return np.where(np.isnan(rows["input_power_w"]), worked_out, rows["input_power_w"])


def _middles(rows: Rows) -> tuple[str, NDArray[np.int64], Floats]:
    """What tells the middle of the day, the UTC days on which it does, and the hours [UTC]; the first channel with enough days."""
    what, days, hours = "", np.empty(0, np.int64), np.empty(0)
    for name, light, shape in (
        ("irradiance_w_m2", rows["irradiance_w_m2"], _clear),
        ("the array's power", power_of(rows), _clear),
        ("the hours with pv_voltage_v", rows["pv_voltage_v"], _awake),
    ):
        if np.isfinite(light).any():
            what, (days, hours) = name, _centres(rows.time_ms, light, shape)
        if len(days) >= CLEAR_DAYS_MIN:
            break
    return what, days, hours


def _centres(time_ms: NDArray[np.int64], light: Floats, shape: Shape) -> tuple[NDArray[np.int64], Floats]:
    """UTC days of the right shape, and the hour [UTC] about which their light lies; days begin in the readings' darkest hours."""
    known = np.isfinite(light)
    time_ms, light = time_ms[known], np.maximum(light[known], 0.0)
    of_day = time_ms // SLOT_MS % SLOTS
    hours = np.bincount(of_day, light, SLOTS) / np.maximum(np.bincount(of_day, minlength=SLOTS), 1)
    turn = 2.0 * np.pi * (np.arange(SLOTS) + 0.5) / SLOTS
    middle = np.mod(np.arctan2(hours @ np.sin(turn), hours @ np.cos(turn)) / (2.0 * np.pi), 1.0) * DAY_MS
    begins = round(float(middle)) - DAY_MS // 2
    day = (time_ms - begins) // DAY_MS
    first, count = int(day.min()), int(day.max() - day.min()) + 1
    slot = (day - first) * SLOTS + (time_ms - begins) % DAY_MS // SLOT_MS
    number = np.bincount(slot, minlength=count * SLOTS).reshape(count, SLOTS)
    mean = np.bincount(slot, light, count * SLOTS).reshape(count, SLOTS) / np.maximum(number, 1)
    told, weight = shape(mean, number)
    centre_ms = begins + (weight[told] @ (np.arange(SLOTS) + 0.5)) / weight[told].sum(axis=1) * SLOT_MS
    return np.flatnonzero(told) + first, centre_ms / HOUR_MS


def _clear(mean: Floats, _number: NDArray[np.int64]) -> tuple[Flags, Floats]:
    """Days that rise and fall smoothly, by their light: a gap, a cloud and a full tank are steps."""
    top = mean.max(axis=1)
    lit = mean > LIT * np.maximum(top, 1e-9)[:, None]
    smooth = np.abs(np.diff(mean, axis=1, prepend=0.0, append=0.0)).max(axis=1) < STEP * top
    return smooth & (lit.sum(axis=1) * SLOT_MS >= CLEAR_H * HOUR_MS) & (top > 0.5 * np.quantile(top, TOP)), mean


def _awake(mean: Floats, number: NDArray[np.int64]) -> tuple[Flags, Floats]:
    """Days whose array wakes and sleeps before the logger's eyes, one span without a gap: so it does whether the pump runs or not."""
    top = mean.max(axis=1)
    lit = mean > 0.5 * np.maximum(top, 1e-9)[:, None]
    edges = np.diff(lit.astype(int), axis=1)
    once = ((edges > 0).sum(axis=1) == 1) & ((edges < 0).sum(axis=1) == 1) & ~lit[:, 0] & ~lit[:, -1]
    eyes = number[:, :-1] * number[:, 1:] > 0
    seen = ~((edges != 0) & ~eyes).any(axis=1)
    return once & seen & (lit.sum(axis=1) * SLOT_MS >= CLEAR_H * HOUR_MS), lit.astype(float)


def _expected_h(facts: SiteFacts, days: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Hour of solar noon, and of the middle of a clear day's light on the array's plane, which looks east or west perhaps. [UTC h]"""
    site, tilt = facts.site, np.radians(facts.array.tilt_deg)
    noon_h = 12.0 - site.longitude_deg / 15.0 - declination_and_equation_of_time(days + 0.5)[1] / 60.0
    around_h = (np.arange(SLOTS) + 0.5) * SLOT_MS / HOUR_MS - 12.0
    when_ms = days[:, None] * DAY_MS + (noon_h[:, None] + around_h) * HOUR_MS
    sun = sun_position(when_ms, site.latitude_deg, site.longitude_deg)
    up, away = np.radians(sun.elevation_deg), np.radians(sun.azimuth_deg - facts.array.azimuth_deg)
    beam = np.maximum(np.sin(up) * np.cos(tilt) + np.cos(up) * np.sin(tilt) * np.cos(away), 0.0)
    seen = np.where(up > 0, (1.0 - DIFFUSE) * beam + DIFFUSE * np.sin(up), 0.0)
    whole = seen.sum(axis=1)
    return noon_h, noon_h + np.where(whole > 0, seen @ around_h / np.maximum(whole, 1e-9), 0.0)


def _around(hours: Floats) -> Floats:
    """-12 to 12."""
    return np.mod(hours + 12.0, 24.0) - 12.0


def by_day(
    facts: SiteFacts, time_ms: NDArray[np.int64], values: Floats, quantile: float, whole: Floats | None = None
) -> Floats:
    """The quantile of the values of each day that has enough of them and on which `whole` (else they) moved at all; days in order."""
    known = np.isfinite(values)
    if not known.any():
        return np.empty(0)
    site = facts.site
    day = SolarDays(site.latitude_deg, site.longitude_deg, site.timezone).day_of(time_ms)
    whole = values if whole is None else whole
    seen = np.isfinite(whole)
    first, count = int(day[seen].min()), int(day[seen].max() - day[seen].min()) + 1
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(least, day[seen] - first, whole[seen])
    np.maximum.at(most, day[seen] - first, whole[seen])
    own, own_values = day[known] - first, values[known]
    order = np.lexsort((own_values, own))
    number = np.bincount(own, minlength=count)
    start = np.cumsum(number) - number
    asked = (number >= VALUES_MIN) & (most > least)
    place = start[asked] + (quantile * (number[asked] - 1)).astype(int)
    return own_values[order][place]


def mostly(says: Flags) -> bool:
    """Most days say so, of the first half as of the second."""
    count = len(says)
    if not count:
        return False
    return bool(says[: (count + 1) // 2].mean() > 0.5 and says[count // 2 :].mean() > 0.5)


def problem_of(facts: SiteFacts, key: str, wrong: str, fix: str) -> Problem:
    return Problem(f"site file of {facts.site.id}", key, wrong, fix)
