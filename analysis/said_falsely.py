"""Words of yes and no that the plant's own figures deny: a pump that is said to stand and lifts, a tank said to be full, a probe that is
dry in a well at rest, a fault that stops nothing.

Flow: look.py (columns) -> HERE -> causes/sensor_fault.py.
Every sum runs up to its row alone, so that a flag never hangs on later rows. Never: a word that no figure can deny.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.look import AT_REST_W, Columns
from analysis.meter import register_step_m3
from analysis.plant import Plant
from analysis.rows import or_zero
from logger.record.site_facts import SiteFacts

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class SaidLimits:
    """Common practice, no source."""

    runs: float = 0.25  # of full power: it lifts
    lifts: float = 0.1  # of the full flow, over those hours
    steps: float = 3.0  # of the register
    runs_h: float = 1.0  # told to stand
    full_h: float = 2.0  # told that the tank is full: an overflow takes time to be noticed
    most: float = 0.5  # of the hours in which the figures tell it, and no less: the rows of starts and stops hold both
    dark_h: float = 0.75  # told to run with the sun down
    rest_dry_h: float = 3.0  # of light, after a night's rest, without a wet moment
    room_m: float = 3.0  # of water that rests above the probe by the site file, beyond the season
    coded_h: float = 2.0  # of lifting under one and the same code
    row_h: float = 0.09  # a trip and its hold take longer
    runs_on: float = 0.85  # of what it should lift: no stop of minutes lies in a row of a quarter of an hour
    coded: float = 0.9  # of all its lifting from then on
    flips: int = 6  # from wet to dry in a day while the pump stands: a level at rest rises once
    flips_running: int = 20


LIMITS = SaidLimits()
LIGHT_W_M2 = 150.0


@dataclass(frozen=True)
class Denied:
    """A channel, the rows that deny it, the first at which they are enough, and what it said; `key` names the figure."""

    channel: str
    rows: NDArray[np.int64]
    enough: int
    key: str
    value: float = 1.0


def denied(plant: Plant, seen: Columns) -> Iterator[Denied]:
    """All words of a day that its figures deny."""
    for found in (
        _stands(plant, seen),
        _dark(seen),
        _full(plant, seen),
        _dry_at_rest(plant, seen),
        _flips(seen),
        _coded(plant, seen),
    ):
        if found is not None:
            yield found


def may_be_denied(plant: Plant, seen: Columns) -> list[tuple[Flags, float]]:
    """Rows (bool[n]), and for how many hours a day has to hold them, more than none, for `denied` to find anything by them. [h]"""
    found, rows = [], seen.rows.values
    with np.errstate(invalid="ignore"):
        loaded = seen.power_w > LIMITS.runs * plant.full_power_w
        if "motor_running" in rows:
            found.append((loaded & (rows["motor_running"] < 0.5), LIMITS.runs_h))
            found.append((~seen.expected.daylight & (rows["motor_running"] > 0.5), LIMITS.dark_h))
        if "tank_float_up" in rows:
            found.append((loaded & (rows["tank_float_up"] > 0.5), LIMITS.full_h))
        if "low_level_probe_wet" in rows:
            found.append((rows["low_level_probe_wet"] < 0.5, 0.0))
        if "fault_code" in rows:
            found.append((loaded & (rows["fault_code"] > 0), LIMITS.coded_h))
    return found


def _lifting(plant: Plant, seen: Columns) -> Flags:
    """Rows that take the power of a pump that lifts; where its speed is read, it turns. bool[n]"""
    with np.errstate(invalid="ignore"):
        loaded = (seen.power_w > LIMITS.runs * plant.full_power_w) & (seen.dt_h > 0)
        return loaded & ~(seen.speed_rpm == 0.0)


def _water(plant: Plant, seen: Columns, rows: Flags) -> Flags:
    """By row, whether the water told in these rows up to there is that of a pump that lifts. bool[n]"""
    step = register_step_m3(plant.facts)
    read = seen.rows["flow_m3_h"]
    came = np.where(np.isnan(read), _register_m3(plant, seen), or_zero(read) * seen.dt_h)
    hours = np.cumsum(np.where(rows, seen.dt_h, 0.0))
    water = np.cumsum(np.where(rows, came, 0.0))
    return (water > LIMITS.steps * step) & (water > LIMITS.lifts * plant.full_flow_m3_h * hours)


def _register_m3(plant: Plant, seen: Columns) -> NDArray[np.float64]:
    """By row, what the register rose by as the rows tell it, whoever is said to run; 0 where it fell or leapt. [m3]"""
    register = seen.rows["volume_m3"]
    known = np.flatnonzero(~np.isnan(register))
    risen = np.zeros(len(seen))
    if len(known) > 1:
        steps = np.diff(register[known])
        most = 2.0 * plant.full_flow_m3_h * np.diff(seen.time_ms[known]) / 3.6e6 + register_step_m3(plant.facts)
        risen[known[1:]] = np.where((steps > 0) & (steps <= most), steps, 0.0)
    return risen


def _first(channel: str, rows: Flags, enough: Flags, key: str, value: float = 1.0) -> Denied | None:
    at = np.flatnonzero(enough & rows)
    return Denied(channel, np.flatnonzero(rows), int(at[0]), key, value) if len(at) else None


def _stands(plant: Plant, seen: Columns) -> Denied | None:
    """Said to stand while it takes the power, and brings the water, of a pump that lifts."""
    if "motor_running" not in seen.rows.values:
        return None
    lifts = _lifting(plant, seen)
    with np.errstate(invalid="ignore"):
        rows = lifts & (seen.rows["motor_running"] < 0.5)
    if not rows.any():
        return None
    held, every = (np.cumsum(np.where(which, seen.dt_h, 0.0)) for which in (rows, lifts))
    enough = (held >= LIMITS.runs_h) & (held > LIMITS.most * every) & _water(plant, seen, rows)
    return _first("motor_running", rows, enough, "said_stands")


def _dark(seen: Columns) -> Denied | None:
    """Said to run while the sun is down and it takes no power."""
    if "motor_running" not in seen.rows.values:
        return None
    with np.errstate(invalid="ignore"):
        dark = ~seen.expected.daylight & (seen.dt_h > 0) & (seen.power_w <= AT_REST_W) & ~(seen.speed_rpm > 0.0)
        rows = dark & (seen.rows["motor_running"] > 0.5)
    held, every = (np.cumsum(np.where(which, seen.dt_h, 0.0)) for which in (rows, dark))
    return _first("motor_running", rows, (held >= LIMITS.dark_h) & (held > LIMITS.most * every), "said_runs")


def _full(plant: Plant, seen: Columns) -> Denied | None:
    """A tank said to be full while the pump goes on bringing water, which a float is there to stop."""
    if "tank_float_up" not in seen.rows.values:
        return None
    lifts = _lifting(plant, seen)
    with np.errstate(invalid="ignore"):
        rows = lifts & (seen.rows["tank_float_up"] > 0.5)
    if not rows.any():
        return None
    held, every = (np.cumsum(np.where(which, seen.dt_h, 0.0)) for which in (rows, lifts))
    enough = (held >= LIMITS.full_h) & (held > LIMITS.most * every) & _water(plant, seen, rows)
    return _first("tank_float_up", rows, enough, "said_full")


def room_m(facts: SiteFacts) -> float:
    """Water above the probe in a well at rest, by the site file, at the season's lowest; NaN where no probe's depth is told. [m]"""
    depth = facts.well.probe_depth_m
    return np.nan if depth is None else depth - facts.well.static_level_m - 0.5 * (facts.well.seasonal_range_m or 0.0)


def _dry_at_rest(plant: Plant, seen: Columns) -> Denied | None:
    """Dry from dawn on after a night without pumping: a well that gives out is dry while it is drawn, and wet again when it has rested."""
    probe = seen.rows.values.get("low_level_probe_wet")
    if probe is None or not room_m(plant.facts) >= LIMITS.room_m:
        return None
    with np.errstate(invalid="ignore"):
        wet = np.logical_or.accumulate((probe > 0.5) | seen.turning | (seen.power_w > LIMITS.runs * plant.full_power_w))
        level = seen.rows["water_level_m"]
        rows = (probe < 0.5) & ~wet & (seen.expected.clear_poa_w_m2 > LIGHT_W_M2) & (seen.dt_h > 0)
        rows &= ~(level > (plant.facts.well.probe_depth_m or np.inf))
    return _first(
        "low_level_probe_wet", rows, np.cumsum(np.where(rows, seen.dt_h, 0.0)) >= LIMITS.rest_dry_h, "dry_at_rest"
    )


def _flips(seen: Columns) -> Denied | None:
    """Wet and dry by turns while the pump stands, or over and over while it runs on: no level moves like that."""
    probe = seen.rows.values.get("low_level_probe_wet")
    if probe is None:
        return None
    fell = np.zeros(len(seen), bool)
    with np.errstate(invalid="ignore"):
        fell[1:] = (probe[1:] < 0.5) & (probe[:-1] > 0.5) & (seen.dt_h[1:] > 0)
    stands = fell & ~seen.driven
    stands[1:] &= ~seen.driven[:-1]
    runs = fell & seen.turning
    runs[1:] &= seen.turning[:-1]
    runs[:-1] &= seen.turning[1:]  # it did not stop for it
    told = np.zeros(len(seen), bool)
    told[1:] = runs[:-1]  # known with the row after
    enough = (np.cumsum(stands) >= LIMITS.flips) | (np.cumsum(told) >= LIMITS.flips_running)
    return _first("low_level_probe_wet", stands | told, enough, "flips", float(np.count_nonzero(fell)))


def _coded(plant: Plant, seen: Columns) -> Denied | None:
    """One and the same fault, said while the pump stands and while it goes on lifting: a controller that has a fault stops for it.

    A warning, of heat for instance, goes when what it warns of goes, and a trip's code with the next start. A long row may hold a trip
    and the next start: then the water of the minutes between is missing.
    """
    code = seen.rows.values.get("fault_code")
    if code is None:
        return None
    with np.errstate(invalid="ignore"):
        runs_on = (seen.dt_h < LIMITS.row_h) | (seen.flow_m3_h > LIMITS.runs_on * seen.should_m3_h)
        lifts = _lifting(plant, seen) & seen.settled & runs_on
        said = lifts & (code > 0)
    if not said.any():
        return None
    same = code == code[np.argmax(said)]
    rows = said & same
    first = np.logical_or.accumulate(rows)
    held, every = (np.cumsum(np.where(which, seen.dt_h, 0.0)) for which in (rows, lifts & first))
    stands = np.logical_or.accumulate(same & ~seen.driven & (seen.dt_h > 0))
    enough = (held >= LIMITS.coded_h) & (held > LIMITS.coded * every) & stands & _water(plant, seen, rows)
    at = np.flatnonzero(enough & same)
    value = float(code[np.argmax(said)])
    return Denied("fault_code", np.flatnonzero(rows), int(at[0]), "said_faulty", value) if len(at) else None
