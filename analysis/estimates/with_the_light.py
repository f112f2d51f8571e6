"""Whether the power goes with the light: then the array gives all it has, whatever its voltage says.

Flow: look.py -> HERE -> electric.py.
Modules better or cooler than their datasheet, a warm day, a tracker that stands beside the maximum: all raise the voltage over what is
supposed of maximum power, and a string out or dust lowers the power, so that by both figures the array would seem to be held back. But
what holds a pump back, a speed, heat, a limit, does not know the light; an array that gives all it has does nothing but follow it.
Never: an hour without a sensor of the sun; judgement.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.steady import Hours, steady_rows
from analysis.estimates.sums import Sums
from analysis.look import Columns
from analysis.plant import Plant
from analysis.rows import Floats

LEAST_H = 0.4  # of an hour
LEAST_ROWS = 8  # of an hour: fewer follow anything by chance
ALONG = 0.9  # of power's log over the light's, through such a day: what is cut off at noon goes along with less
LONG_SWINGS = 0.15  # log of power through a day of such long rows: the sun's own course, or cloud
SWINGS = 0.012  # log of power: three times a fine power reading's own noise (common practice, no source)
LEFT = 0.6  # of that swing, when the light's is taken out of it: two thirds of its variance are the light's
AS_FOLLOWS = 0.05  # log: an hour whose power is as large a share of the light's as where it follows, follows it too
BY_CHANCE = (
    0.25  # log, below the day's best such hour: a limit of heat that falls with the afternoon's sun, not the array
)


def with_the_light(seen: Columns, hours: Hours) -> NDArray[np.bool_]:
    """Rows above the voltage supposed of maximum power that take what the day's own array makes of the light.

    bool[n]

    By hour the logs of power and of the maximum expected under the measured light are compared: where power swings, and hardly swings
    against the light, it follows it. So do hours with as large a share of the
    expected maximum as the day's best such hour: at noon neither moves.
    """
    expected = seen.expected
    with np.errstate(invalid="ignore"):
        asked = np.flatnonzero(
            seen.settled & seen.held & expected.poa_measured & (seen.power_w > 0) & (expected.mpp_power_w > 0)
        )
    found = np.zeros(len(seen), bool)
    if not len(asked):
        return found
    dt_h, power = seen.dt_h[asked], np.log(seen.power_w[asked])
    share = power - np.log(expected.mpp_power_w[asked])
    bins = hours.bins[asked]
    sums = Sums(None, bins, hours.shape, rising=True)
    weight, rows = sums.in_turn(dt_h), sums.count()
    with np.errstate(divide="ignore", invalid="ignore"):
        level = sums.of(share * dt_h) / weight
        left, swing = (
            np.sqrt(np.maximum(sums.of(x**2 * dt_h) / weight - (sums.of(x * dt_h) / weight) ** 2, 0.0))
            for x in (share, power)
        )
        follows = (weight >= LEAST_H) & (rows >= LEAST_ROWS) & (swing > SWINGS) & (left < LEFT * swing)
    best = np.where(follows, level, -np.inf).max(axis=1, keepdims=True)
    own = np.where(follows & (level > best - BY_CHANCE), level, np.where(np.isfinite(best), best, np.inf))
    found[asked] = (share > own.ravel()[bins] - AS_FOLLOWS) | _all_day(share, power, dt_h, bins, rows, hours.shape)
    return found


def _all_day(
    share: Floats, power: Floats, dt_h: Floats, bins: NDArray[np.int64], rows: Floats, shape: tuple[int, int]
) -> NDArray[np.bool_]:
    """Likewise rows too long for an hour to tell: the day's together follow the light, or do not. bool[n]"""
    long = (rows < LEAST_ROWS).ravel()[bins]
    days = bins // shape[1]
    sums = Sums(long, days, (shape[0],), rising=True)
    weight, count = sums.in_turn(dt_h), sums.count()
    light = power - share
    with np.errstate(divide="ignore", invalid="ignore"):
        of_power, of_light, of_share = (
            sums.of(x**2 * dt_h) / weight - (sums.of(x * dt_h) / weight) ** 2 for x in (power, light, share)
        )
        slope = 0.5 * (of_power + of_light - of_share) / of_light
        follows = (count >= LEAST_ROWS) & (of_power > LONG_SWINGS**2) & (of_share < LEFT**2 * of_power)
        follows &= slope > ALONG
    return np.asarray(long & follows[days])


BELOW = 0.9  # of the day's highest power: a pump at its ceiling is held back, if only a little
BRIGHTEST = (
    0.8  # of the largest share of its current that an hour of the day gave: in the others something may hold it back
)
CELLS_H = 0.3  # in a day


def over_own_cells(seen: Columns, lit: NDArray[np.bool_], at_maximum_v: Floats, hours: Hours) -> Floats:
    """Voltage over that of maximum power of this day's own cells, told where the array gave most of what the sky of the day sent.

    float64[n], NaN on days without such an hour. Warmer and colder cells than supposed, and a datasheet's tolerance, drop out.

    at_maximum_v
        Expected, under the light that the array's own current tells. [V]
    """
    volts, amperes = seen.rows["pv_voltage_v"], seen.rows["pv_current_a"]
    days, count = hours.bins // hours.shape[1], hours.shape[0]
    with np.errstate(invalid="ignore"):
        known = lit & (volts > 0) & (amperes > 0) & (at_maximum_v > 0)
    highest = Sums(known, days, (count,), rising=True).most(seen.power_w)
    with np.errstate(invalid="ignore"):
        tracked = known & seen.at_max & (seen.power_w < BELOW * highest[days])
    sums = Sums(tracked, hours.bins, hours.shape, rising=True)
    weight = sums.hours(seen.dt_h)
    is_v, should_v = sums.of(np.where(tracked, volts, 0.0) * seen.dt_h), sums.of(at_maximum_v * seen.dt_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = sums.of(np.where(tracked, amperes / seen.expected.mpp_current_a, 0.0) * seen.dt_h) / weight
        share = np.where(weight >= LEAST_H / 2, share, -np.inf)
        best = share > BRIGHTEST * share.max(axis=1, keepdims=True)
        cells = np.where(best, is_v, 0.0).sum(axis=1) / np.where(best, should_v, 0.0).sum(axis=1)
        cells[np.where(best, weight, 0.0).sum(axis=1) < CELLS_H] = np.nan
        return np.asarray(volts / (cells[days] * at_maximum_v), np.float64)


CURVE_H = 0.6  # of an hour
ONE_LIGHT = 0.05  # of its mean: what noise of a volt in four hundred and a datasheet's curve leave of one light (single-diode model)
CURVE_LEFT = 0.4  # of the power's own scatter: most of it was movement along the curve


def on_one_curve(plant: Plant, seen: Columns, hours: Hours, asked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows of hours whose working points, however their power jumps, all lie on the curve of one light: the controller hunts, not the sky.

    bool[n]

    Where no sensor tells the sun. Under passing cloud the current falls while the voltage hardly moves; a controller that lets go and
    takes again moves along the array's curve, less current at more voltage.
    """
    asked = asked & ~seen.expected.poa_measured
    rows = np.flatnonzero(asked & (seen.rows["pv_current_a"] > 0) & (seen.rows["pv_voltage_v"] > 0))
    found = np.zeros(len(seen), bool)
    if not len(rows):
        return found
    light = np.full(len(seen), np.nan)
    light[rows] = plant.model.array.light_of(
        seen.rows["pv_voltage_v"][rows], seen.rows["pv_current_a"][rows], seen.expected.cell_temp_c[rows]
    )
    known = np.isfinite(light) & (light > 0)
    light, power = np.where(known, light, 0.0), np.where(known, seen.power_w, 0.0)
    one = steady_rows(known, hours, light, CURVE_H, ONE_LIGHT)
    if not one.any():
        return found
    left, swing = (_scatter(one, hours, value) for value in (light, power))
    with np.errstate(invalid="ignore"):
        return one & (left < CURVE_LEFT * swing)[hours.bins]


def _scatter(which: NDArray[np.bool_], hours: Hours, value: Floats) -> Floats:
    """By hour, standard deviation over mean; NaN where there is none. (bins,)"""
    picked = np.flatnonzero(which)
    weight, value = hours.dt_h[picked], value[picked]
    sums = Sums(None, hours.bins[picked], hours.shape, rising=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = sums.of(weight * value) / sums.in_turn(weight)
        square = sums.of(weight * value**2) / sums.in_turn(weight)
        return np.asarray(np.sqrt(np.maximum(square - mean**2, 0.0)) / mean).ravel()
