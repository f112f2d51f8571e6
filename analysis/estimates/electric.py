"""Array and controller from a day: current and voltage side at maximum power, by hour of the sun's way, and power held back.

Flow: look.py -> HERE -> vector.py.
Without an irradiance sensor only hours whose own signal is as smooth as a clear sky speak of the array's current.
Never: rows off maximum power taken for the array's.
"""

import numpy as np

from analysis.estimates.steady import steady_rows
from analysis.estimates.sums import Sums, log_ratio
from analysis.estimates.vector import HOURS, PLACE
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.solar_days import DAY_MS, HOUR_MS

LEAST_H = 0.2  # at maximum power within an hour of the sun's way
LEAST_HIGH_H = 0.5  # for the day's low-sun and high-sun figures
LOW_SUN_W_M2, HIGH_SUN_W_M2 = 150.0, 550.0
SMOOTH_SHARE = 0.035  # of its mean: an hour that scatters less is free of broken cloud (common practice, no source)
AGREEING_HOURS, AGREE_WITHIN = 3, 0.05  # log of power: a clear day's hours (common practice, no source)
LIFTS_SHARE = 0.15  # of the expected flow: a pump that lifts nothing stands low for its own reasons
HELD_AGAINST_CLEAR = (
    1.12  # sun not measured: over the voltage of a clear sky's warm cells, which cloud alone does not reach
)
HELD_MEASURED = 0.1  # sun measured: heat may hold it back more and more within the hour
HELD_SCATTER = 0.03  # a ceiling is flat; a controller that still follows the sun is not held
PLENTY = 1.12  # expected maximum over taken power: the array is not what limits


def fill(vector: Floats, clear_h: Floats, plant: Plant, seen: Columns, days: range) -> None:
    """Write the array's parameters of `days` into `vector`; hours used per day into `clear_h` (days,)."""
    expected = seen.expected
    bins = hour_bins(plant, seen, days)
    shape = (len(days), HOURS)
    with np.errstate(invalid="ignore"):
        bright = seen.at_max & (expected.poa_w_m2 > LOW_SUN_W_M2) & (seen.power_w > 0) & (expected.mpp_power_w > 0)
    usable, hours = _usable(seen, bright, bins, shape)
    sums = Sums(usable, bins, shape)
    enough = sums.of(seen.dt_h) >= LEAST_H
    put = sums.of(seen.power_w * seen.dt_h), sums.of(expected.mpp_power_w * seen.dt_h)
    by_hour = log_ratio(*put, enough)
    if not expected.poa_measured.all():
        by_hour[~_clear_days(by_hour)] = np.nan
    vector[:, PLACE["s0"] : PLACE["s0"] + HOURS] = by_hour
    clear_h[:] = (enough * hours).sum(axis=1)
    _day_figures(vector, seen, usable, bright, days, bins)
    _held(vector, plant, seen, days)


def _clear_days(by_hour: Floats) -> np.ndarray:
    """Days whose best hours agree: under a clear sky they do, under cloud each hour is another. bool[days]"""
    best = np.sort(np.where(np.isnan(by_hour), -np.inf, by_hour), axis=1)[:, ::-1][:, :AGREEING_HOURS]
    with np.errstate(invalid="ignore"):
        return np.isfinite(best).all(axis=1) & (best[:, 0] - best[:, -1] < AGREE_WITHIN)


def hour_bins(plant: Plant, seen: Columns, days: range) -> np.ndarray:
    """By row, the hour of the sun's way within its day; first and last hour take what lies beyond. int64[n]"""
    hour = (seen.time_ms - _noon(plant, seen, days)) // HOUR_MS + HOURS // 2
    return (seen.day - days.start) * HOURS + np.clip(hour, 0, HOURS - 1)


def _noon(plant: Plant, seen: Columns, days: range) -> np.ndarray:
    return seen.day * DAY_MS + (plant.days.noon_ms(days.start) - days.start * DAY_MS)


def _usable(seen: Columns, bright: np.ndarray, bins: np.ndarray, shape: tuple[int, int]) -> tuple[np.ndarray, Floats]:
    """Rows that speak of the array's current: all bright ones with a sensor, else those of smooth hours."""
    hours = Sums(bright, bins, shape).of(seen.dt_h)
    if seen.expected.poa_measured.all():
        return bright, hours
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(bright, seen.power_w / seen.expected.mpp_power_w, 0.0)
    return steady_rows(bright, bins, shape, ratio, seen.dt_h, 2 * LEAST_H, SMOOTH_SHARE), hours


def _day_figures(
    vector: Floats, seen: Columns, usable: np.ndarray, bright: np.ndarray, days: range, hours_bin: np.ndarray
) -> None:
    expected, dt = seen.expected, seen.dt_h
    with np.errstate(invalid="ignore"):
        high = (expected.poa_w_m2 > HIGH_SUN_W_M2).astype(np.int64)
    bins, shape = (seen.day - days.start) * 2 + high, (len(days), 2)
    sums = Sums(usable, bins, shape)
    total_h = sums.of(dt).sum(axis=1)
    power = sums.of(seen.power_w * dt).sum(axis=1), sums.of(expected.mpp_power_w * dt).sum(axis=1)
    vector[:, PLACE["ap"]] = log_ratio(*power, total_h >= LEAST_HIGH_H)
    current, voltage = seen.rows["pv_current_a"], seen.rows["pv_voltage_v"]
    for name, column, should, which in (
        ("ai", current, expected.mpp_current_a, usable),
        ("av", voltage, expected.mpp_voltage_v, bright),
    ):
        known = which & ~np.isnan(column) & ~np.isnan(should)
        if known.any():
            sums = Sums(known, bins, shape)
            vector[:, PLACE[f"{name}0"] : PLACE[f"{name}0"] + 2] = log_ratio(
                sums.of(column * dt), sums.of(should * dt), sums.of(dt) >= LEAST_HIGH_H
            )
    clear = _smooth_sun(seen, hours_bin, days)
    if clear.any():
        sums = Sums(clear, hours_bin, (len(days), HOURS))
        enough = sums.of(dt) >= 2 * LEAST_H
        by_hour = log_ratio(sums.of(expected.poa_w_m2 * dt), sums.of(expected.clear_poa_w_m2 * dt), enough)
        best = np.sort(np.where(np.isnan(by_hour), -np.inf, by_hour), axis=1)[:, -AGREEING_HOURS:]
        vector[:, PLACE["gc"]] = np.where(_clear_days(by_hour), best[:, 0], np.nan)


def _smooth_sun(seen: Columns, bins: np.ndarray, days: range) -> np.ndarray:
    """Rows of hours in which the sensor follows a clear sky's course, high sun: it may be compared with one."""
    expected = seen.expected
    with np.errstate(divide="ignore", invalid="ignore"):
        high = expected.poa_measured & (expected.clear_poa_w_m2 > HIGH_SUN_W_M2)
        ratio = np.where(high, expected.poa_w_m2 / expected.clear_poa_w_m2, 0.0)
    return steady_rows(high, bins, (len(days), HOURS), ratio, seen.dt_h, 2 * LEAST_H, SMOOTH_SHARE)


def _flat_days(seen: Columns, held: np.ndarray, bins: np.ndarray, days: int) -> np.ndarray:
    """Days on which some hours stand at one and the same power: a ceiling; cloud never does. bool[days]"""
    sums = Sums(held, bins, (days, HOURS))
    hours = sums.of(seen.dt_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        level = np.where(hours >= 2 * LEAST_H, sums.of(seen.power_w * seen.dt_h) / hours, -np.inf)
    best = np.sort(level, axis=1)[:, ::-1][:, :AGREEING_HOURS]
    with np.errstate(invalid="ignore"):
        return np.isfinite(best).all(axis=1) & (best[:, -1] > (1.0 - AGREE_WITHIN) * best[:, 0])


def _held(vector: Floats, plant: Plant, seen: Columns, days: range) -> None:
    """The power at which the pump stands while the array could give clearly more."""
    with np.errstate(invalid="ignore"):
        held = seen.settled & seen.asked & seen.held & (seen.expected.mpp_power_w > PLENTY * seen.power_w)
        held &= np.isnan(seen.flow_m3_h) | (seen.flow_m3_h > LIFTS_SHARE * seen.should_m3_h)
        warm = seen.rows["pv_voltage_v"] / seen.expected.mpp_voltage_v > HELD_AGAINST_CLEAR
    held &= warm | seen.expected.poa_measured
    power = np.nan_to_num(seen.power_w)
    held = steady_rows(
        held,
        hour_bins(plant, seen, days),
        (len(days), HOURS),
        power,
        seen.dt_h,
        LEAST_H,
        HELD_MEASURED if seen.expected.poa_measured.all() else HELD_SCATTER,
    )
    sums = Sums(held, seen.day - days.start, (len(days),))
    hours = sums.of(seen.dt_h)
    if not seen.expected.poa_measured.all():
        hours = np.where(_flat_days(seen, held, hour_bins(plant, seen, days), len(days)), hours, 0.0)
    vector[:, PLACE["cap"]] = log_ratio(
        sums.of(seen.power_w * seen.dt_h), hours * plant.ceiling_w, hours >= LEAST_HIGH_H
    )
    by_hour = Sums(held, hour_bins(plant, seen, days), (len(days), HOURS))
    weight = by_hour.of(seen.dt_h)
    enough = weight >= 2 * LEAST_H
    level = log_ratio(by_hour.of(seen.power_w * seen.dt_h), weight, enough)
    low, high = np.where(enough, level, np.inf).min(axis=1), np.where(enough, level, -np.inf).max(axis=1)
    vector[:, PLACE["cv"]] = np.where(
        (enough.sum(axis=1) >= 2) & (hours > 0),
        np.subtract(low, high, where=np.isfinite(low) & np.isfinite(high), out=np.zeros(len(days))),
        np.nan,
    )
