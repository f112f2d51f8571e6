"""Array and controller from a day: current and voltage side at maximum power, by hour of the sun's way, and power held back.

Flow: look.py -> HERE (held.py) -> vector.py.
Without an irradiance sensor only hours whose own signal is as smooth as a clear sky speak of the array's current.
Never: rows off maximum power taken for the array's.
"""

from dataclasses import replace

import numpy as np

from analysis.estimates.at_rest import Shadow, shadows, with_shadows
from analysis.estimates.between_clouds import between_clouds
from analysis.estimates.held import fill_held, held_rows
from analysis.estimates.own_light import current_at_maximum, sides_apart, voltage_at_maximum
from analysis.estimates.steady import Hours, hunting_rows, steady_rows
from analysis.estimates.sums import Sums, log_ratio
from analysis.estimates.told_sky import told_hours, under_told_sky
from analysis.estimates.vector import HOURS, PLACE
from analysis.estimates.with_the_light import over_own_cells
from analysis.look import AT_MAX_BAND, Columns
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.solar_days import DAY_MS, HOUR_MS

LEAST_H = 0.2  # at maximum power within an hour of the sun's way
SMOOTH_WHOLE = (
    0.06  # likewise of power over what sun and pump allow, held back or not: the bend between the two is in it
)
LEAST_SHARE = 0.4  # of a clear sky: below, cloud and shade leave a voltage that no model knows well
WHOLE_HOUR = 0.75  # of its running time: else only the cloudy part of an hour would speak
ALL_HOUR = 0.95  # likewise: a horizon that took the rest would take more tomorrow
LEAST_HIGH_H = 0.5  # for the day's low-sun and high-sun figures
LOW_SUN_W_M2, HIGH_SUN_W_M2 = 150.0, 550.0
SMOOTH_SHARE = 0.035  # of its mean: an hour that scatters less is free of broken cloud (common practice, no source)
AGREEING_HOURS, AGREE_WITHIN = 3, 0.05  # log of power: a clear day's hours (common practice, no source)
AGREE_AT_LOW_SUN = (
    0.12  # likewise where hours of low sun are among them: there clear-sky models err by a tenth (from memory)
)
DIM, OVERCAST = (
    -0.35,
    -0.8,
)  # log: even thin cloud, an even overcast leave less of a clear sky (common practice, no source)
SUNNY = 0.75  # of a clear sky's light: the sun itself gives nine tenths of it (common practice, no source)
IN_THE_SUN = 0.65  # likewise through an hour: the sun shone for more than half of it, for an overcast sky leaves a quarter (common practice, no source)
SUNNIEST = 0.93  # likewise, of the day's own best hour: no thin cloud either
LONG_ROW_H = 0.05  # clouds, and gaps in them, pass in minutes (common practice, no source)
PASSED_BY, NO_RESISTANCE = 0.06, 0.25  # logs of voltage: a module in ten or so; a joint that takes a quarter would burn
TRACKED_W_M2 = 300.0  # in dimmer light trackers stand beside the maximum (common practice, no source)
AS_MUCH = 0.8  # of an hour's current, in the hour that it is held against
FAR_BELOW = 1.25  # expected maximum over taken power: what is held back by less tells of the light nearly right
NEAR_LIMIT = 0.96  # of the day's most power: readings scatter by a percent, and a load moves with its well (common practice, no source)
OFFERS_SPREAD, LIMITED_H = 0.04, 1.0
"""Standard deviation of the log of what the sun offered while the power stood so near its most, and for how long: the power of an array at its
maximum goes with the light, and leaves a third of that."""
MORE_OFFERED = 1.05  # over the power taken: else limit and maximum are one
HELD_LEVEL = 0.045  # log of voltage over that of maximum power: above, the array is held back


def fill(vector: Floats, plant: Plant, seen: Columns, days: range, hours_of_sun: Hours) -> Floats:
    """Write the array's parameters of `days` into `vector`. Gives `_in_sunshine`."""
    seen = under_told_sky(seen)
    expected = seen.expected
    sun_measured = "irradiance_w_m2" in plant.has
    bins, shape = hours_of_sun.bins, hours_of_sun.shape
    with np.errstate(invalid="ignore"):
        lit = seen.turning & (expected.poa_w_m2 > LOW_SUN_W_M2) & (seen.power_w > 0) & (expected.mpp_power_w > 0)
    if sun_measured:
        lit &= expected.poa_measured
    lit &= seen.settled | (seen.dt_h <= LONG_ROW_H)  # a mean over a start is half of the sun's
    at_maximum_v = voltage_at_maximum(plant, seen, lit)
    seen = _but_at_its_limit(_with_modules_out(seen, lit, at_maximum_v, hours_of_sun), lit, days)
    bright = lit & seen.at_max
    if sides_apart(plant):
        got, bright, over = current_at_maximum(plant, seen, lit, at_maximum_v, days)
        should = expected.mpp_current_a
        if not sun_measured:
            over = over_own_cells(seen, lit, at_maximum_v, hours_of_sun)
    else:
        got, should = np.where(bright, seen.power_w, np.nan), expected.mpp_power_w
        over = seen.rows["pv_voltage_v"] / expected.mpp_voltage_v
    held = held_rows(plant, seen, over, hours_of_sun)
    with np.errstate(invalid="ignore"):
        deep = held & (expected.mpp_power_w > FAR_BELOW * seen.power_w) & ~expected.poa_measured
    bright = bright & ~deep  # so near the maximum that the point by itself would pass for it under less light
    passed_by = _passed_by(plant, seen, lit, at_maximum_v, hours_of_sun) if sides_apart(plant) else np.zeros(shape)
    in_shade = (passed_by < 0.0).ravel()[bins]
    if sun_measured:
        bright = bright | (lit & in_shade)  # the array works there, without some of its modules
    tells = lit & ~np.isnan(got)
    tells &= ~(deep & seen.at_max)
    hours = Sums(tells, bins, shape, rising=True).hours(seen.dt_h)
    usable = tells & bright  # beside a sensor, rows held back add more of the cells' warmth than they tell
    if sun_measured:
        usable &= ~_mixed(plant, seen, days, bins) & in_direct_sun(seen, lit, hours_of_sun)
    if not sun_measured:
        with np.errstate(divide="ignore", invalid="ignore"):
            taken = np.where(lit, seen.power_w / np.minimum(expected.mpp_power_w, plant.ceiling_w), 0.0)
            usable = _smooth(tells, lit, hours_of_sun, got / should, taken)
            if sides_apart(plant):
                usable &= (hours >= WHOLE_HOUR * Sums(lit, bins, shape, rising=True).hours(seen.dt_h)).ravel()[bins]
    sums = Sums(usable, bins, shape, rising=True)
    enough = sums.hours(seen.dt_h) >= LEAST_H
    by_hour = log_ratio(sums.of(got * seen.dt_h), sums.of(should * seen.dt_h), enough)
    if not sun_measured:
        unsure = ~_clear_by_power(by_hour)[:, None] & ~told_hours(seen, usable, hours_of_sun, LEAST_H)
        by_hour[unsure] = np.nan
        if sides_apart(plant):  # power alone may stand at a limit, and for no cloud
            between = between_clouds(lit, tells & bright, hours_of_sun, got, should)
            by_hour = np.where(np.isnan(by_hour), between, by_hour)
    shadow = shadows(plant, seen, lit, at_maximum_v, days, hours_of_sun)
    by_hour = with_shadows(by_hour, shadow, sun_measured)
    vector[:, PLACE["s0"] : PLACE["s0"] + HOURS] = by_hour + passed_by
    bright = bright & ~in_shade
    _day_figures(vector, plant, seen, usable & bright, bright, at_maximum_v, days, hours_of_sun)
    fill_held(vector, plant, seen, held, over, days, hours_of_sun)
    return _in_sunshine(seen, lit, hours, bins, shape, shadow)


EVENLY_LOW = 0.04  # of the voltage, within an hour (common practice, no source)
HARDLY = 0.2  # of the time of such hours


def _with_modules_out(seen: Columns, lit: np.ndarray, at_maximum_v: Floats, hours: Hours) -> Columns:
    """With hours at maximum power whose voltage lies evenly far below it: a module less of two or three, whose diodes pass it by."""
    with np.errstate(divide="ignore", invalid="ignore"):
        over = seen.rows["pv_voltage_v"] / at_maximum_v
        low = lit & ~seen.at_max & (over > 0.0) & (over < AT_MAX_BAND[0])
    if not low.any():
        return seen
    evenly = steady_rows(low, hours, np.where(low, over, 0.0), 2 * LEAST_H, EVENLY_LOW)
    usual_h, low_h = (
        Sums(which, hours.bins // HOURS, (hours.shape[0],), rising=True).hours(seen.dt_h)
        for which in (lit & seen.at_max, evenly)
    )
    evenly &= (usual_h < HARDLY * low_h)[hours.bins // HOURS]  # for some hours of a day it is a shade
    return replace(seen, at_max=seen.at_max | evenly) if evenly.any() else seen


def _but_at_its_limit(seen: Columns, lit: np.ndarray, days: range) -> Columns:
    """Without rows whose voltage is that of maximum power, but whose power is a limit of the pump's, kept on that day whatever the sun offered.

    A joint or modules that take voltage move the point at which it is held back down to where maximum power would be: the current is
    then the load's, and speaks of no light lost.
    """
    expected, shape, day = seen.expected, (len(days),), seen.day - days.start
    with np.errstate(invalid="ignore", divide="ignore"):
        told = lit & seen.settled & expected.poa_measured
        most_w = Sums(told, day, shape, rising=True).most(seen.power_w)[day]
        top = told & (seen.power_w >= NEAR_LIMIT * most_w)
        offered = np.where(top, np.log(expected.mpp_power_w), 0.0)
    sums = Sums(top, day, shape, rising=True)
    hours = np.maximum(sums.hours(seen.dt_h), 1e-9)
    spread = np.sqrt(
        np.maximum(sums.of(offered**2 * seen.dt_h) / hours - (sums.of(offered * seen.dt_h) / hours) ** 2, 0.0)
    )
    limited = (spread > OFFERS_SPREAD) & (hours > LIMITED_H)
    with np.errstate(invalid="ignore"):
        at_limit = top & limited[day] & seen.at_max & (expected.mpp_power_w > MORE_OFFERED * seen.power_w)
    return replace(seen, at_max=seen.at_max & ~at_limit) if at_limit.any() else seen


def _passed_by(plant: Plant, seen: Columns, lit: np.ndarray, at_maximum_v: Floats, hours: Hours) -> Floats:
    """By hour, log of the voltage lost to modules in the shade, which their diodes pass by; 0 where none. float64[days, HOURS]

    The current of the others goes on, so that only the voltage tells. What hours of the same day with as much current keep, no
    resistance takes; more than any resistance takes is told by any other hour. A pump that takes less than there is stands higher on
    the array's curve, and is held against that.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        over = seen.rows["pv_voltage_v"] / at_maximum_v
        spare = lit & seen.expected.poa_measured & ~seen.at_max & (over > AT_MAX_BAND[0])
        volts = np.log(np.where(spare, over / _on_the_curve(plant, seen), over))
        known = lit & np.isfinite(volts) & (seen.rows["pv_current_a"] > 0) & (seen.expected.poa_w_m2 > TRACKED_W_M2)
    sums = Sums(known, hours.bins, hours.shape, rising=True)
    weight = sums.hours(seen.dt_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        level = np.where(weight >= LEAST_H, sums.of(np.where(known, volts, 0.0) * seen.dt_h) / weight, np.nan)
        amperes = sums.of(np.where(known, seen.rows["pv_current_a"], 0.0) * seen.dt_h) / weight
        whole = np.minimum(np.where(np.isnan(level), -np.inf, level), HELD_LEVEL)
        as_much = amperes[:, None, :] >= AS_MUCH * amperes[:, :, None]
        beside = level - np.where(as_much, whole[:, None, :], -np.inf).max(axis=2)
        at_all = level - whole.max(axis=1)[:, None]
        return np.where(at_all < -NO_RESISTANCE, at_all, np.where(beside < -PASSED_BY, beside, 0.0))


def _on_the_curve(plant: Plant, seen: Columns) -> Floats:
    """Voltage at the current that is taken over that of maximum power, by one diode through the datasheet's points; 1 at maximum power. float64[n]"""
    module = plant.facts.array.module
    full = module.i_mp_a / module.i_sc_a
    knee_v = (module.v_oc_v - module.v_mp_v) / -np.log(1.0 - full)
    with np.errstate(divide="ignore", invalid="ignore"):
        taken = np.clip(seen.rows["pv_current_a"] / seen.expected.mpp_current_a, 0.0, 1.0)
    return np.asarray((module.v_oc_v + knee_v * np.log(1.0 - full * taken)) / module.v_mp_v)


def _in_sunshine(
    seen: Columns, lit: np.ndarray, told_h: Floats, bins: np.ndarray, shape: tuple[int, int], shadow: Shadow
) -> Floats:
    """By hour: share of its running time that tells of the array, 0 under cloud, where nothing throws a shadow; likewise 0 under thin cloud too.

    Likewise 1 where the array was held back through the hour: the sun gave more than the pump takes. float64[days, 3, HOURS]
    """
    sums = Sums(lit, bins, shape, rising=True)
    running_h = sums.hours(seen.dt_h)
    light, clear = (sums.of(x * seen.dt_h) for x in (seen.expected.poa_w_m2, seen.expected.clear_poa_w_m2))
    of_clear = np.where(clear > 0, light / np.maximum(clear, 1e-9), 0.0)
    told = np.where(of_clear >= SUNNY, told_h / np.maximum(running_h, 1e-9), 0.0)
    low = clear < HIGH_SUN_W_M2 * running_h
    least = np.where(low, SUNNIEST - AGREE_AT_LOW_SUN, SUNNIEST) * of_clear.max(axis=1, keepdims=True)
    told = np.where(shadow.lost > 0, 1.0, told)
    held_h = Sums(lit & seen.held, bins, shape, rising=True).hours(seen.dt_h)
    held = (of_clear >= SUNNY) & (held_h > ALL_HOUR * running_h) | shadow.sunlit
    return np.stack([told, np.where(of_clear >= least, told, 0.0), held], axis=1)


def _clear_days(by_hour: Floats, within: float = AGREE_WITHIN, hours: int = AGREEING_HOURS) -> np.ndarray:
    """Days whose best hours agree: under a clear sky they do, under cloud each hour is another. bool[days]"""
    best = np.sort(np.where(np.isnan(by_hour), -np.inf, by_hour), axis=1)[:, ::-1][:, :hours]
    with np.errstate(invalid="ignore"):
        return np.isfinite(best).all(axis=1) & (best[:, 0] - best[:, -1] < within)


def _clear_by_power(by_hour: Floats) -> np.ndarray:
    """Likewise, told by the array itself: two hours of low sun are enough where they are near what a clear sky gives. bool[days]"""
    best = np.nan_to_num(by_hour, nan=-np.inf).max(axis=1)
    some, few = _clear_days(by_hour, AGREE_AT_LOW_SUN), _clear_days(by_hour, AGREE_AT_LOW_SUN, 2)
    return (some & (best > OVERCAST)) | (few & (best > DIM))


def hour_bins(plant: Plant, seen: Columns, days: range) -> np.ndarray:
    """By row, the hour of the sun's way within its day; first and last hour take what lies beyond. int64[n], rising

    By where each hour begins among the rows: to divide every row's time costs twenty times as much.
    """
    begins = np.searchsorted(seen.day, np.arange(days.start, days.stop + 1))
    noon_ms = plant.days.noon_ms(days.start) + np.arange(len(days)) * DAY_MS
    hours = np.searchsorted(seen.time_ms, noon_ms[:, None] + (np.arange(HOURS) - HOURS // 2) * HOUR_MS)
    hours = np.minimum(np.maximum(hours, begins[:-1, None]), begins[1:, None])
    hours[:, 0] = begins[:-1]
    return np.repeat(np.arange(hours.size), np.diff(hours.ravel(), append=begins[-1]))


def _smooth(
    tells: np.ndarray,
    lit: np.ndarray,
    hours: Hours,
    ratio: Floats,
    taken: Floats,
) -> np.ndarray:
    """Without a sensor: rows of hours as smooth as a clear sky, also where the array was held back.

    An hour that is held back under a clear sky is at maximum power only under cloud: its rows would speak of the cloud.
    """
    ratio = np.where(tells, ratio, 0.0)
    calm = steady_rows(lit, hours, taken, 2 * LEAST_H, SMOOTH_WHOLE) | hunting_rows(lit, hours, taken)
    tells = tells & calm
    return steady_rows(tells, hours, ratio, 2 * LEAST_H, SMOOTH_SHARE) | hunting_rows(tells, hours, ratio)


def _day_figures(
    vector: Floats,
    plant: Plant,
    seen: Columns,
    usable: np.ndarray,
    bright: np.ndarray,
    at_maximum_v: Floats,
    days: range,
    hours: Hours,
) -> None:
    expected, dt = seen.expected, seen.dt_h
    sun_measured, apart = "irradiance_w_m2" in plant.has, sides_apart(plant)
    with np.errstate(invalid="ignore"):
        light = expected.poa_w_m2
        if not sun_measured and apart:  # what flows, not what a clear sky would send: a resistance takes volts by it
            light = 1000.0 * seen.rows["pv_current_a"] / plant.rated_current_a
            bright = bright & (light > LOW_SUN_W_M2) & (light > LEAST_SHARE * expected.poa_w_m2)
        high = (light > HIGH_SUN_W_M2).astype(np.int64)
    bins, shape = (seen.day - days.start) * 2 + high, (len(days), 2)
    sums = Sums(usable, bins, shape)
    total_h = sums.hours(dt).sum(axis=1)
    power = sums.of(seen.power_w * dt).sum(axis=1), sums.of(expected.mpp_power_w * dt).sum(axis=1)
    vector[:, PLACE["ap"]] = log_ratio(*power, total_h >= LEAST_HIGH_H)
    current, voltage = seen.rows["pv_current_a"], seen.rows["pv_voltage_v"]
    for name, column, should, which in (
        ("ai", current, expected.mpp_current_a, usable),
        ("av", voltage, at_maximum_v, bright),
    ):
        known = which & ~np.isnan(column) & ~np.isnan(should)
        if known.any():
            sums = Sums(known, bins, shape)
            vector[:, PLACE[f"{name}0"] : PLACE[f"{name}0"] + 2] = log_ratio(
                sums.of(column * dt), sums.of(should * dt), sums.hours(dt) >= LEAST_HIGH_H
            )
    clear = _smooth_sun(seen, hours)
    if clear.any():
        sums = Sums(clear, hours.bins, hours.shape, rising=True)
        enough = sums.hours(dt) >= 2 * LEAST_H
        by_hour = log_ratio(sums.of(expected.poa_w_m2 * dt), sums.of(expected.clear_poa_w_m2 * dt), enough)
        best = np.sort(np.where(np.isnan(by_hour), -np.inf, by_hour), axis=1)[:, -AGREEING_HOURS:]
        vector[:, PLACE["gc"]] = np.where(_clear_days(by_hour), best[:, 0], np.nan)


def in_direct_sun(seen: Columns, lit: np.ndarray, hours: Hours) -> np.ndarray:
    """Rows of hours in which a sensor read the sun itself, or followed a clear sky's course at a level of its own. bool[n]

    Under cloud array and sensor part by several percent, either way: glass and cell take light from all the sky, of another colour and as
    dim as no datasheet tells, otherwise than what the sensor is made of. A sunny week after a dull one is no dust.
    """
    expected = seen.expected
    light, clear = (np.where(lit, of, 0.0) for of in (expected.poa_w_m2, expected.clear_poa_w_m2))
    sums = Sums(lit, hours.bins, hours.shape, rising=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (sums.of(light * seen.dt_h) / sums.of(clear * seen.dt_h)).ravel()[hours.bins]
        ratio = np.where(lit & (clear > 0), light / clear, 0.0)
        own_level = (share >= LEAST_SHARE) & steady_rows(lit, hours, ratio, 2 * LEAST_H, SMOOTH_SHARE)
        return np.asarray((share >= IN_THE_SUN) | own_level)


EVEN_SHARE = 3 * SMOOTH_SHARE  # over an hour of long rows the sun's own course and a meter's steps add to it


def _mixed(plant: Plant, seen: Columns, days: range, bins: np.ndarray) -> np.ndarray:
    """Long rows in which the array may have been held back for a part: gaps in cloud give more than the pump takes. bool[n]

    Where a reading is the mean over its interval, mean light lies below the limit and mean voltage near maximum power, and the
    light that was left unused looks lost. A light that follows its course had no gaps in it.
    """
    expected = seen.expected
    mixed = seen.dt_h > LONG_ROW_H
    if not mixed.any():
        return mixed
    least = np.full(len(days), plant.ceiling_w)
    held = seen.held & (seen.power_w > 0)
    np.minimum.at(least, (seen.day - days.start)[held], seen.power_w[held])
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(mixed & expected.poa_measured, expected.poa_w_m2 / expected.clear_poa_w_m2, np.nan)
    known = np.isfinite(ratio)
    sums = Sums(known, bins, (len(days) * HOURS,), rising=True)
    hours, rows = sums.hours(seen.dt_h), sums.count()
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = sums.of(ratio * seen.dt_h) / hours
        spread = np.maximum(sums.of(ratio**2 * seen.dt_h) / hours - mean**2, 0.0) * rows / (rows - 1.0)
        even = (rows > 1) & (np.sqrt(spread) < EVEN_SHARE * mean)
        mixed &= expected.mpp_power_w > np.maximum(ratio, LEAST_SHARE) * least[seen.day - days.start]
    return mixed & ~even[bins]


def _smooth_sun(seen: Columns, hours: Hours) -> np.ndarray:
    """Rows of hours in which the sensor follows a clear sky's course, high sun: it may be compared with one."""
    expected = seen.expected
    with np.errstate(divide="ignore", invalid="ignore"):
        high = expected.poa_measured & (expected.clear_poa_w_m2 > HIGH_SUN_W_M2)
        ratio = np.where(high, expected.poa_w_m2 / expected.clear_poa_w_m2, 0.0)
    return steady_rows(high, hours, ratio, 2 * LEAST_H, SMOOTH_SHARE)
