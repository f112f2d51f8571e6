"""Whether the power goes with the light: then the array gives all it has, whatever its voltage says.

Flow: look.py -> HERE -> electric.py.
Modules better or cooler than their datasheet, a warm day, a tracker that stands beside the maximum: all raise the voltage over what is
supposed of maximum power, and a string out or dust lowers the power, so that by both figures the array would seem to be held back. But
what holds a pump back, a speed, heat, a limit, does not know the light; an array that gives all it has does nothing but follow it.
Never: an hour without a sensor of the sun; judgement.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.steady import Hours
from analysis.estimates.sums import Sums
from analysis.look import Columns

LEAST_H = 0.4  # of an hour
LEAST_ROWS = 8  # of an hour: fewer follow anything by chance
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
    found[asked] = share > own.ravel()[bins] - AS_FOLLOWS
    return found
