"""The symptom `not-turning`: sun enough, nothing told it to stand, and the pump does not run.

Flow: symptoms.DayView -> HERE -> watchers.py; the causes that compete for it give `levels`.
Never: weighing.
"""

from dataclasses import dataclass

import numpy as np

from analysis.look import Columns
from analysis.plant import Plant, plant_of
from analysis.solar_days import HOUR_MS, MINUTE_MS, up_to_minute
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class NotTurningLimits:
    """Common practice, no source."""

    measured_ms: int = 40 * MINUTE_MS  # sun measured: longer than any restart delay of a float or a low level
    driven_ms: int = 10 * MINUTE_MS  # fed and not turning harms a motor
    unmeasured_ms: int = 3 * HOUR_MS  # a clear sky is only supposed: cloud may keep a pump still for hours
    float_unread_ms: int = 6 * HOUR_MS  # and the whole day without running: else the tank may simply be full
    stopped_ms: int = 16 * MINUTE_MS  # a row apart, at most a quarter of an hour
    ran_h: float = 0.1
    sunny_h: float = 2.0
    morning_share: float = 2.0  # times the power that starts it


LIMITS = NotTurningLimits()


def not_turning(view: DayView) -> list[Episode]:
    """Stretches in which it should have run and did not."""
    seen = view.columns
    if seen is None:
        return []
    plant = plant_of(view.facts)
    sun = sun_certain(plant, seen)
    stands = seen.asked & ~seen.turning & sun & (seen.dt_h > 0)
    runs = seen.turning & (seen.dt_h > 0)
    told = np.flatnonzero(stands | runs)
    if not stands.any():
        return []
    state = stands[told]
    breaks = np.flatnonzero(np.concatenate([[True], state[1:] != state[:-1]]))
    ends = np.append(breaks[1:], len(told))
    found = []
    for start, stop in zip(breaks, ends, strict=True):
        if state[start]:
            stood = _stood(view)
            onset = (
                np.nan
                if stood
                else float(not (_ran_into(seen, told[start:stop]) or _still_halted(view, seen, told[start])))
            )
            episode = _episode(plant, seen, told[start:stop], {"stood": float(stood), "onset": onset})
            if episode is not None:
                found.append(episode)
    return found


def sun_certain(plant: Plant, seen: Columns) -> np.ndarray:
    """The array could surely start the pump: by its sensor, or by a clear sky and its own open-circuit voltage."""
    with np.errstate(invalid="ignore"):
        return seen.sun_enough & (seen.expected.mpp_power_w > LIMITS.morning_share * plant.start_power_w)


def _stood(view: DayView) -> int:
    """Sunny days in a row, up to yesterday, on which it never ran: what is switched off for the day is switched on again."""
    count = 0
    for day in reversed(view.memory.days):
        if day.pumping_h > LIMITS.ran_h or day.sunny_h < LIMITS.sunny_h:
            break
        count += 1
    return count


def _ran_into(seen: Columns, rows: np.ndarray) -> bool:
    """It turned up to the very row before: it did not fail to start, it was stopped."""
    before = seen.turning & (seen.time_ms < seen.time_ms[rows[0]])
    last = np.flatnonzero(before)
    return bool(len(last)) and int(seen.time_ms[rows[0]] - seen.time_ms[last[-1]]) <= LIMITS.stopped_ms


def _still_halted(view: DayView, seen: Columns, row: int) -> bool:
    """It was stopped yesterday while it ran, and has not turned since."""
    return view.memory.numbers.get(HALTED) == view.day - 1 and not seen.turning[:row].any()


def halted(view: DayView) -> bool:
    """At the day's end it stands, under sun enough, since it was stopped while it ran: today, or before."""
    seen = view.columns
    if seen is None:
        return False
    stands = seen.asked & ~seen.turning & sun_certain(plant_of(view.facts), seen) & (seen.dt_h > 0)
    if not stands.any():
        return False
    turned = np.flatnonzero(seen.turning)
    since = np.flatnonzero(stands & (np.arange(len(seen)) > (turned[-1] if len(turned) else -1)))
    if not len(since):
        return False
    return _ran_into(seen, since) if len(turned) else _still_halted(view, seen, int(since[0]))


HALTED = "halted_day"
"""In the memory's numbers: the last day that ended so."""


def _episode(plant: Plant, seen: Columns, rows: np.ndarray, of_day: dict[str, float]) -> Episode | None:
    dt_ms = np.rint(seen.dt_h[rows] * HOUR_MS).astype(np.int64)
    driven = np.cumsum(np.where(seen.driven[rows], dt_ms, 0))
    sure = np.logical_and.accumulate(seen.expected.poa_measured[rows])
    lasted = np.cumsum(dt_ms)
    wait = np.where(sure, LIMITS.measured_ms, LIMITS.unmeasured_ms)
    if "tank_float_up" not in plant.has:
        wait = np.full(len(rows), LIMITS.float_unread_ms)
        if (seen.turning & (seen.time_ms < seen.time_ms[rows[0]])).any():
            return None
    enough = np.flatnonzero((lasted >= wait) | (driven >= LIMITS.driven_ms))
    if not len(enough):
        return None
    flag = int(enough[0])
    should = np.nan_to_num(seen.expected.flow_of_sun_m3_h[rows]) * seen.dt_h[rows]
    return Episode(
        "not-turning",
        began_ms=int(seen.time_ms[rows[0]] - dt_ms[0]),
        flag_ms=up_to_minute(int(seen.time_ms[rows[flag]])),
        seen_ms=int(seen.time_ms[rows[-1]]),
        hours=float(seen.dt_h[rows].sum()),
        at_flag=_levels(plant, seen, rows[: flag + 1]) | of_day,
        whole=_levels(plant, seen, rows) | of_day,
        lost_m3=float(should.sum()),
    )


def _levels(plant: Plant, seen: Columns, rows: np.ndarray) -> dict[str, float]:
    """What tells the causes apart: current without speed, power taken, a code, attempts."""
    levels = {"attempts": float(seen.driven[rows].mean()), "fed": _mean(seen.power_w[rows] / plant.full_power_w)}
    current, code = seen.rows["motor_current_a"][rows], seen.rows["fault_code"][rows]
    rated = plant.facts.motor.rated_current_a
    if rated and not np.isnan(current).all():
        levels["current"] = float(np.nanmax(current) / rated)
    if not np.isnan(code).all():
        levels["code"] = _mean((code > 0).astype(float))
    volts = seen.rows["pv_voltage_v"][rows] / seen.expected.mpp_voltage_v[rows]
    if not np.isnan(volts).all():
        levels["volts"] = _mean(volts)
    return levels


def _mean(values: np.ndarray) -> float:
    known = values[~np.isnan(values)]
    return float(known.sum() / len(known)) if len(known) else np.nan
