"""Pump, pipes and well from a day of running: flow at given power and speed, torque, current, pressure, level.

Flow: look.py -> HERE -> vector.py.
Never: rows without water (symptoms judge them), rows before the pump has settled.
"""

import numpy as np

from analysis.estimates.steady import LINE, Hours, steady_rows
from analysis.estimates.sums import Sums, log_ratio, mean
from analysis.estimates.vector import BANDS, PLACE
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats, or_zero
from analysis.solar_days import HOUR_MS

LEAST_POWER_SHARE = 0.3  # of full power: below it table and sensors are at their worst
LEAST_H = 0.6  # of settled running in a band: less is no test (common practice, no source)
LEAST_ROWS = 7  # a row each quarter of an hour says little by itself: meter and load are not of one instant
LONG_ROW_H = 0.05  # clouds come and go within minutes (common practice, no source)
WELL_SETTLES_MS = HOUR_MS  # steps of a pumping test last an hour or more (ISO 14686, from memory)
HEAD_SURE_M = 0.6  # twice what a usual day's own scatter is (scatter.py): a coarse meter's steps alone make half of it
SURE_WITHIN = 0.025  # of the flow that should come: half as much again as a usual day's own scatter (scatter.py)
ALIKE = 1e-6  # of their product: the expected flow never moved, and no line through it can be drawn
LEAST_STEADY_H = 0.3
STEADY_SHARE = 0.07  # about a straight line through the hour (common practice, no source)
NO_WATER_SHARE = 0.12  # of the expected flow: below it the pump gives nothing, which fast causes judge
LEAST_FLOW_SHARE = {"helical-rotor": 0.06, "multistage-centrifugal": 0.3}
"""Of full flow: below it a ratio says little. A centrifugal pump near where lifting begins answers a metre of head with a multiple of flow."""


def fill(vector: Floats, weight_h: Floats, plant: Plant, seen: Columns, days: range, hours_of_sun: Hours) -> None:
    """Write q, n, t, i, p, l, pw of `days` into `vector` (days, SIZE), hours of running by band into `weight_h` (days, BANDS)."""
    expected = seen.expected
    low, high = plant.band_edges_w
    band = BANDS - 1 - (seen.power_w < high).astype(np.int64) - (seen.power_w < low)
    bins = (seen.day - days.start) * BANDS + band
    shape = (len(days), BANDS)
    good = _good(plant, seen)
    good = steady_rows(good, hours_of_sun, or_zero(seen.power_w), LEAST_STEADY_H, STEADY_SHARE, by_itself=False)
    dt, flow = seen.dt_h, seen.flow_m3_h
    sums = Sums(good, bins, shape)
    sure = _sure(seen, sums, flow, expected.flow_m3_h)
    hours = np.where((sums.count() >= LEAST_ROWS) & sure, sums.hours(dt), 0.0)
    weight_h[:] = hours
    _put(vector, "q", log_ratio(sums.of(flow * dt), sums.of(expected.flow_m3_h * dt), hours >= LEAST_H))
    _put(vector, "l", _level(plant, seen, good, bins, shape))
    _put(vector, "p", _pressure(plant, seen, good, bins, shape))
    by_turns, taken = _by_turns(plant, seen, good)
    with np.errstate(invalid="ignore"):
        has_speed = good & (by_turns > LEAST_FLOW_SHARE[plant.facts.pump.kind] * plant.full_flow_m3_h)
    if has_speed.any():
        sums = Sums(has_speed, bins, shape)
        enough = (sums.hours(dt) >= LEAST_H) & (sums.count() >= LEAST_ROWS)
        told = enough & _sure(seen, sums, flow, by_turns)
        _put(vector, "n", log_ratio(sums.of(flow * dt), sums.of(by_turns * dt), told))
        _put(
            vector,
            "t",
            log_ratio(sums.of(seen.power_w * dt), sums.of(taken * dt), enough & _sure(seen, sums, seen.power_w, taken)),
        )
    _put_current(vector, plant, seen, taken, good, bins, shape)
    _put_power(vector, seen, good, days)


def _sure(seen: Columns, sums: Sums, measured: Floats, should: Floats) -> np.ndarray:
    """Days and bands whose measured over expected is known within `SURE_WITHIN`, by the scatter of their own rows. bool[days, BANDS]

    A meter counts through the whole of a long row, and the power is read at its end: under broken cloud the two do not belong
    together, no more than the means of current, speed and power are a working point; and what is left of that in a day's sum shows in
    the scatter from row to row, about a share of what is expected and a part that is always there.
    """
    rows, dt = sums.count(), seen.dt_h
    short = sums.hours(dt) < LONG_ROW_H * rows
    if (short | (rows == 0)).all():
        return short
    came, due = measured * dt, should * dt
    with_due, with_time = sums.of(came * due), sums.of(came * dt)
    due_due, due_time, time_time = sums.of(due**2), sums.of(due * dt), sums.of(dt**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = due_due * time_time - due_time**2
        line = (with_due**2 * time_time - 2.0 * with_due * with_time * due_time + with_time**2 * due_due) / apart
        rest = sums.of(came**2) - np.where(apart > ALIKE * due_due * time_time, line, with_due**2 / due_due)
        error = np.sqrt(np.maximum(rest, 0.0) * rows / (rows - LINE))
        return short | ((rows > LINE) & (error < SURE_WITHIN * sums.of(due)))


def _by_turns(plant: Plant, seen: Columns, good: np.ndarray) -> tuple[Floats, Floats]:
    """Flow and power at the measured speed; NaN where not known. [m3/h], [W]

    A datasheet without speeds hides them: a displacement pump moves a volume a turn, an impeller's flow, head and power go along the
    affinity laws. The rated speed sets their scale, and the first days correct it.
    """
    expected = seen.expected
    if not plant.turns_by_rating:
        return expected.flow_at_speed_m3_h, expected.power_at_speed_w
    flow, taken = np.full(len(seen), np.nan), np.full(len(seen), np.nan)
    rows = np.flatnonzero(good & (seen.speed_rpm > 0) & np.isfinite(expected.head_m))
    core = plant.pump.core
    turns, head = seen.speed_rpm[rows] / core.reference_rpm, expected.head_m[rows]
    flow[rows], taken[rows] = core.flow(turns, head), core.power_at_head(turns, head)
    return flow, taken


def _put_current(
    vector: Floats,
    plant: Plant,
    seen: Columns,
    taken: Floats,
    good: np.ndarray,
    bins: np.ndarray,
    shape: tuple[int, int],
) -> None:
    """Write i. Where no plate tells the amperes of a torque, against the torque itself: the first days tell the scale."""
    dt, current, should = seen.dt_h, seen.rows["motor_current_a"], seen.expected.motor_current_a
    if not plant.current_known:
        rated = plant.facts.motor.rated_current_a or plant.rated_current_a
        with np.errstate(divide="ignore", invalid="ignore"):
            torque = taken / plant.full_power_w * plant.pump.core.reference_rpm / seen.speed_rpm
        should = rated * torque
    has_current = good & np.isfinite(current) & np.isfinite(should)
    if has_current.any():
        sums = Sums(has_current, bins, shape)
        enough = (sums.hours(dt) >= LEAST_H) & (sums.count() >= LEAST_ROWS)
        _put(
            vector,
            "i",
            log_ratio(sums.of(current * dt), sums.of(should * dt), enough & _sure(seen, sums, current, should)),
        )


def _put_power(vector: Floats, seen: Columns, good: np.ndarray, days: range) -> None:
    """Write pw: two readings of one power, over the day's steady running."""
    volts, amperes, power = (seen.rows[name] for name in ("pv_voltage_v", "pv_current_a", "input_power_w"))
    product = volts * amperes
    has = good & ~np.isnan(product) & ~np.isnan(power)
    if has.any():
        sums = Sums(has, seen.day - days.start, (len(days),))
        enough = (sums.hours(seen.dt_h) >= LEAST_H) & (sums.count() >= LEAST_ROWS)
        vector[:, PLACE["pw"]] = log_ratio(sums.of(power * seen.dt_h), sums.of(product * seen.dt_h), enough)


def _good(plant: Plant, seen: Columns) -> np.ndarray:
    """Settled rows that lift water and whose expected flow is known."""
    with np.errstate(invalid="ignore"):
        should = seen.expected.flow_m3_h
        return (
            seen.settled
            & (should > LEAST_FLOW_SHARE[plant.facts.pump.kind] * plant.full_flow_m3_h)
            & (seen.flow_m3_h > NO_WATER_SHARE * should)
            & (seen.power_w > LEAST_POWER_SHARE * plant.full_power_w)
        )


def _put(vector: Floats, name: str, values: Floats) -> None:
    first = PLACE[f"{name}0"]
    vector[:, first : first + BANDS] = values


def _level(plant: Plant, seen: Columns, good: np.ndarray, bins: np.ndarray, shape: tuple[int, int]) -> Floats:
    """The level below what the metered flow should draw it down to. [m]"""
    level = seen.rows["water_level_m"]
    if np.isnan(level).all():
        return np.full(shape, np.nan)
    has = good & ~np.isnan(level) & _well_settled(seen)
    if not has.any():
        return np.full(shape, np.nan)
    well, flow = plant.facts.well, seen.flow_m3_h
    should = (
        well.static_level_m + well.drawdown_linear_m_per_m3_h * flow + well.drawdown_quadratic_m_per_m3_h2 * flow**2
    )
    return _sure_mean(seen, Sums(has, bins, shape), level - should)


def _sure_mean(seen: Columns, sums: Sums, away_m: Floats) -> Floats:
    """By day and band the mean of what a head is away, NaN where too short, or where long rows scatter too much about it. [m]

    The flow that it is judged at is a long row's mean, the reading its end's: under broken cloud they do not belong together.
    """
    rows, dt = sums.count(), seen.dt_h
    hours = sums.hours(dt)
    found = mean(sums.of(away_m * dt), hours, hours >= LEAST_H)
    short = hours < LONG_ROW_H * rows
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.sqrt(np.maximum(sums.of(away_m**2 * dt) / hours - found**2, 0.0) / np.maximum(rows - 1, 1))
        return np.where(short | (error < HEAD_SURE_M), found, np.nan)


def _well_settled(seen: Columns) -> np.ndarray:
    """Rows of a pump that has run for as long as a step of a pumping test lasts: before, the level still falls. bool[n]"""
    if not len(seen):
        return np.zeros(0, bool)
    stands = ~seen.turning
    stands[0] = True
    stands[1:] |= seen.day[1:] != seen.day[:-1]
    last = np.maximum.accumulate(np.where(stands, seen.time_ms, seen.time_ms[0]))
    return np.asarray(seen.time_ms - last >= WELL_SETTLES_MS)


def _pressure(plant: Plant, seen: Columns, good: np.ndarray, bins: np.ndarray, shape: tuple[int, int]) -> Floats:
    """The wellhead's head over what the metered flow should press. [m]"""
    pressure = seen.rows["discharge_pressure_bar"]
    has = good & ~np.isnan(pressure)
    if not has.any():
        return np.full(shape, np.nan)
    residual = pressure * plant.metres_a_bar - plant.wellhead_head_m(seen.flow_m3_h)
    return _sure_mean(seen, Sums(has, bins, shape), residual)
