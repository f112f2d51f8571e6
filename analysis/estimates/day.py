"""The vectors and the water of whole days, from their columns.

Flow: look.py -> HERE (hydraulic.py, electric.py, morning.py) -> close.py.
Never: anything learnt, or carried from day to day.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import electric, hydraulic, morning
from analysis.estimates.steady import hours_of
from analysis.estimates.sums import Sums
from analysis.estimates.taken import taken_by_hour
from analysis.estimates.told_sky import told_hours
from analysis.estimates.vector import BANDS, HOURS, PLACE, empty
from analysis.look import Columns, told_off
from analysis.plant import Plant
from analysis.rows import Floats, or_zero

NIGHT_W_M2 = 60.0
NIGHT_SHARE = 0.03
TOLD_H = 0.2  # of an hour's running, as much as an hour's own figure needs
DUE = 1 + BANDS  # columns of `DayFigures.water` that say what was due


@dataclass(frozen=True)
class DayFigures:
    """One day: its vector (SIZE,), settled hours by band (3,), share of each hour told of in sunshine (2, HOURS), hours whose sky
    neighbours told of (HOURS,), what was taken by hour (4, HOURS; taken.py), and its sums; NaN where not known.

    water: of metered rows that turn, what the site file's pump would lift at their power, below the bands and in each of them; then
    what came (DUE + 1,). [m3]
    """

    vector: Floats
    weight_h: Floats
    sunny: Floats
    told: NDArray[np.bool_]
    water: Floats
    taken: Floats
    water_m3: float
    expected_m3: float
    expected_std_m3: float
    on_power_m3: float
    pumping_h: float
    sunny_h: float
    heard_h: float
    energy_wh: float
    insolation_wh_m2: float
    tank_full_m3: float
    switched_off_m3: float
    held_m3: float


def figures_of(plant: Plant, seen: Columns, days: range) -> list[DayFigures]:
    """Figures of every day of `days`, in order."""
    count = len(days)
    vectors, weight_h = empty(count), np.zeros((count, BANDS))
    hours = hours_of(electric.hour_bins(plant, seen, days), (count, HOURS), seen.dt_h)
    hydraulic.fill(vectors, weight_h, plant, seen, days, hours)
    sunny = electric.fill(vectors, plant, seen, days, hours)
    morning.fill(vectors, plant, seen, days)
    if not plant.helical:
        vectors[~(weight_h >= hydraulic.LEAST_H).any(axis=1), PLACE["first"]] = np.nan
    sums = _sums(seen, days)
    by_day = zip(*(column.tolist() for column in sums), strict=True)
    told = told_hours(seen, seen.turning, hours, TOLD_H)
    water, taken = _water(plant, seen, days), taken_by_hour(plant, seen, hours)
    return [
        DayFigures(vectors[k], weight_h[k], sunny[k], told[k], water[k], taken[k], *figures)
        for k, figures in enumerate(by_day)
    ]


def _water(plant: Plant, seen: Columns, days: range) -> Floats:
    """`DayFigures.water` of every day. (days, DUE + 1) [m3]"""
    due = seen.expected.flow_m3_h
    metered = (seen.turning & ~np.isnan(seen.flow_m3_h) & ~np.isnan(due)).nonzero()[0]
    edges_w = np.array([hydraulic.LEAST_POWER_SHARE * plant.full_power_w, *plant.band_edges_w])
    day, power_w, dt_h = seen.day.take(metered) - days.start, seen.power_w.take(metered), seen.dt_h.take(metered)
    band = (power_w >= edges_w[0]).astype(np.int64) + (power_w >= edges_w[1]) + (power_w >= edges_w[2])
    found = np.empty((len(days), DUE + 1))
    found[:, :DUE] = Sums(None, day * DUE + band, (len(days), DUE)).of(due.take(metered) * dt_h)
    found[:, DUE] = Sums(None, day, (len(days),), rising=True).of(seen.flow_m3_h.take(metered) * dt_h)
    return found


def _sums(seen: Columns, days: range) -> list[Floats]:
    bins, shape = seen.day - days.start, (len(days),)
    every = Sums(None, bins, shape, rising=True)
    dt, expected = seen.dt_h, seen.expected
    of_sun = or_zero(expected.flow_of_sun_m3_h) * dt
    metered, came = ~np.isnan(seen.moved_m3), or_zero(seen.moved_m3)
    known = metered
    if "flow_m3_h" in seen.rows.values:
        read = ~np.isnan(seen.rows["flow_m3_h"])
        known, came = metered | read, np.where(~metered & read, seen.flow_m3_h * dt, came)
    water, known = every.of(came), every.of(known.astype(float)) > 0
    full = seen.rows["tank_float_up"] > 0.5
    off = told_off(seen.rows)
    standing = ~seen.turning
    held = seen.held & seen.settled

    def where(which: NDArray[np.bool_], column: Floats) -> Floats:
        return every.of(np.where(which, column, 0.0)) if which.any() else np.zeros(shape)

    return [
        np.where(known, water, np.nan),
        every.of(of_sun),
        every.of(or_zero(expected.flow_of_sun_m3_h_std) * dt),
        every.of(np.where(seen.turning, or_zero(expected.flow_m3_h), 0.0) * dt),
        *(
            Sums(rows, bins, shape, rising=True).hours(dt)
            for rows in (seen.turning, seen.sun_enough, expected.daylight)
        ),
        every.in_turn(or_zero(seen.power_w) * dt),  # told to a tenth of a mWh, where readings in steps lie half-way
        every.of(np.where(expected.poa_measured, or_zero(expected.poa_w_m2), 0.0) * dt),
        where(standing & full, of_sun),
        where(standing & off & ~full, of_sun),
        where(held, np.maximum(of_sun - or_zero(expected.flow_m3_h) * dt, 0.0)),
    ]
