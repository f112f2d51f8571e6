"""Light on the array while nothing is drawn from it: its voltage with no load falls with the log of the light, and says a shade.

Flow: look.py -> HERE -> electric.py, not_turning.py.
A pump stops in a shade, so that the hours that are lost most have no working point; a tank that is full stops it too. The voltage
at rest tells the two apart, and says where the sun shone on an array that nobody drew from.
Never: a sensor of the sun; judgement.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.steady import Hours, steady_rows
from analysis.estimates.sums import Sums
from analysis.look import AT_MAX_BAND, Columns
from analysis.physics.array_power import OPEN_CIRCUIT_V
from analysis.plant import Plant
from analysis.rows import Floats

LEAST_W_M2 = 150.0  # on the measured plane
LEAST_SUPPOSED_W_M2 = 400.0  # of a supposed clear sky: below, haze and horizon take as much as a shade
LOG_LIGHT = 0.05
"""Of voltage with no load over the log of light: an ideality of 1.2 times 26 mV over a cell's 0.62 V (single-diode model)."""
SHADED, SHADED_UNMEASURED = -0.045, -0.07
"""Log of voltage: 0.4 of the light and less, 0.25 where the air is only supposed: a cell warmer by 6 K takes 0.02."""
MOST_LOST = 0.6  # of an hour's light: beyond, a log tells of what little light is left, not of the shade
DARK, UNREAD = -0.07, -0.35  # likewise by the datasheet alone; below, a sensor that is not fed, or an isolator
SUNLIT = -0.03  # likewise: more than half of it
DIFFUSE = (0.05, 0.6)  # of the light, left in a shade
TRACKED_H = 0.3  # at maximum power in a day, to know its cells
VOLTS_LOST = (
    -0.05
)  # log of voltage at maximum power, all day: cells, joints or a sensor take it, and at rest it says nothing of light
LEAST_H = 0.15  # in the shade within an hour
WHOLE = 0.95  # of an hour's light: a horizon that took the rest would take more tomorrow
EVEN = 0.012  # of voltage about the hour's line: a shade that stands still; under broken cloud it jumps
BYPASSED = -0.2  # log of voltage while it runs: more than a joint that does not burn takes (electric.py)
BESIDE_H = 2  # hours about it, one of which the sun was seen in


@dataclass(frozen=True)
class Shadow:
    """By hour of the sun's way, (days, HOURS).

    lost : float64
        Share of the hour's light taken while the array lay in a shade; 0 where too little of it did.
    sunlit : bool
        Most of the hour the array stood, with the sun on it.
    """

    lost: Floats
    sunlit: NDArray[np.bool_]


def at_rest(seen: Columns) -> NDArray[np.bool_]:
    """Rows in which nothing is drawn, nor in those beside them, so that a mean holds no running. bool[n]"""
    still = _after_rest(seen)
    still[:-1] &= _resting(seen)[1:]
    return still


def _after_rest(seen: Columns) -> NDArray[np.bool_]:
    """Likewise, by the rows up to each alone. bool[n]"""
    rest = _resting(seen)
    still = rest.copy()
    still[1:] &= rest[:-1]
    return still


def _resting(seen: Columns) -> NDArray[np.bool_]:
    return ~seen.turning & ~seen.driven & (seen.dt_h > 0)


def over_sunlit(plant: Plant, seen: Columns, rows: NDArray[np.int64]) -> Floats:
    """Log of the voltage over that with no load under the expected light; float64[k], by `rows`. NaN where not known."""
    expected = seen.expected
    open_v = plant.model.array.table(expected.poa_w_m2[rows], expected.cell_temp_c[rows], (OPEN_CIRCUIT_V,))[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(seen.rows["pv_voltage_v"][rows] > 0, np.log(seen.rows["pv_voltage_v"][rows] / open_v), np.nan)


def in_the_dark(plant: Plant, seen: Columns) -> NDArray[np.bool_]:
    """Rows at rest whose voltage says that the array itself has little of the light that is measured or supposed: nothing would start. bool[n]

    Of no row after it. Likewise those after a run that ended with the array's voltage pressed down to what its bypass diodes leave: a part of
    it lies in a shade, which at rest hardly shows.
    """
    found = _after_bypass(seen)
    rows = np.flatnonzero(_after_rest(seen) & (seen.expected.poa_w_m2 > LEAST_W_M2) & (seen.rows["pv_voltage_v"] > 0))
    if len(rows):
        over = over_sunlit(plant, seen, rows)
        found[rows] |= ((over < DARK) | (over < SHADED + _sunlit_before(over))) & (over > UNREAD)
    return found


def _sunlit_before(over: Floats) -> Floats:
    """The best so far of a day's rows at rest, never above the datasheet's own: the array's own cells with the light on them. float64[k]"""
    best = np.fmax.accumulate(over) if len(over) else over
    return np.minimum(np.where(np.isnan(best), -np.inf, best), 0.0)


def _after_bypass(seen: Columns) -> NDArray[np.bool_]:
    """Rows at rest since a steady run whose last row drew the array far below its maximum, in light. bool[n]"""
    with np.errstate(divide="ignore", invalid="ignore"):
        over = seen.rows["pv_voltage_v"] / seen.expected.mpp_voltage_v
        low = (over < AT_MAX_BAND[0]) & (over > 0.0) & (seen.expected.poa_w_m2 > LEAST_W_M2)
    steady = seen.settled & seen.turning
    last = np.maximum.accumulate(np.where(steady, np.arange(len(seen)), -1))
    return _after_rest(seen) & (last >= 0) & (low & steady)[last]


def shadows(
    plant: Plant, seen: Columns, lit: NDArray[np.bool_], at_maximum_v: Floats, days: range, hours: Hours
) -> Shadow:
    """What the array's voltage tells of a shade, at rest, and where no sensor tells the sun, of modules passed by while it runs.

    lit : bool[n]
        Rows that run in light enough.
    at_maximum_v : float64[n]
        Expected at maximum power under its own light. [V]
    """
    expected, shape = seen.expected, hours.shape
    volts = seen.rows["pv_voltage_v"]
    none = Shadow(np.zeros(shape), np.zeros(shape, bool))
    dim = np.where(expected.poa_measured, LEAST_W_M2, LEAST_SUPPOSED_W_M2)
    with np.errstate(divide="ignore", invalid="ignore"):
        rest = np.flatnonzero(at_rest(seen) & (expected.poa_w_m2 > dim) & (volts > 0))
        running = np.where(lit & (volts > 0), np.log(volts / at_maximum_v), np.nan)
    if not len(rest) and not (running < BYPASSED).any():
        return none
    tracked = lit & seen.at_max & np.isfinite(running)
    day = seen.day - days.start
    sums = Sums(tracked, day, (len(days),), rising=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        cells = sums.of(np.where(tracked, running, 0.0) * seen.dt_h) / sums.hours(seen.dt_h)
    untold = (sums.hours(seen.dt_h) < TRACKED_H)[day]
    cells = np.where((sums.hours(seen.dt_h) >= TRACKED_H) & (cells > VOLTS_LOST), cells, np.nan)[day]
    over = np.full(len(seen), np.nan)
    over[rest] = over_sunlit(plant, seen, rest)
    beside = over - cells  # datasheets err with no load otherwise than at maximum power
    least = np.minimum(over, beside)
    if untold.any():  # held back all day: its best hour at rest tells of its cells, if never that the sun is on them
        best = Sums(np.isfinite(over), day, (len(days),), rising=True).most(np.where(np.isfinite(over), over, -np.inf))
        beside = np.where(untold, over - best[day], beside)
    over = np.maximum(over, beside)
    with np.errstate(invalid="ignore"):
        dark, bright = over < np.where(expected.poa_measured, SHADED, SHADED_UNMEASURED), least > SUNLIT
        bypassed = ~expected.poa_measured & (running - cells < BYPASSED) & (expected.poa_w_m2 > dim)
    dark = steady_rows(dark, hours, np.exp(np.where(dark, over, 0.0)), LEAST_H, EVEN)
    left = np.where(dark, np.clip(np.exp(np.where(dark, over, 0.0) / LOG_LIGHT), *DIFFUSE), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(bypassed, np.clip(seen.power_w / expected.mpp_power_w, 0.0, 1.0), left)
    shaded = dark | bypassed
    light = expected.poa_w_m2 * seen.dt_h
    every = Sums((lit | dark | bright | bypassed) & np.isfinite(light), hours.bins, shape, rising=True).of(light)
    in_shade = Sums(shaded, hours.bins, shape, rising=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = in_shade.of((1.0 - left) * light) / every
        shone = Sums(bright, hours.bins, shape, rising=True).of(light) / every
    enough = in_shade.hours(seen.dt_h) >= LEAST_H
    return Shadow(np.where(enough, np.minimum(lost, MOST_LOST), 0.0), np.nan_to_num(shone) > WHOLE)


def with_shadows(by_hour: Floats, shadow: Shadow, sun_measured: bool) -> Floats:
    """Hours of which a part lay in a shade: what the day's other hours give, less that part. (days, HOURS)

    Without a sensor, only beside an hour in which the sun was seen.
    """
    known = np.isfinite(by_hour) & (shadow.lost == 0)
    found = by_hour.copy()
    for day, hour in np.argwhere(shadow.lost > 0):
        near = slice(max(hour - BESIDE_H, 0), hour + BESIDE_H + 1)
        if not sun_measured and not (known[day, near] | shadow.sunlit[day, near]).any():
            continue
        if not sun_measured and not known[day].any():
            continue
        level = by_hour[day][known[day]]
        found[day, hour] = (np.sort(level)[len(level) // 2] if len(level) else 0.0) + np.log1p(-shadow.lost[day, hour])
    return found
