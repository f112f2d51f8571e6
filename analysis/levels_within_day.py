"""A level that one side of the array keeps within the day: of even stretches, and of the sunny minutes under a broken sky.

Flow: look.py, causes/string_out.py (logs of current and voltage over what was learnt) -> HERE -> causes/string_out.py.
Where no sensor tells the light, clouds leave no hour even. But whenever the sun is out an array that lost a string gives one level, with nothing above it and little beside it,
from cells as warm as ever. A sheet of thin cloud below which others pass gives such a level too, but from cooler cells: their voltage tells.
Never: days before; what is learnt.
"""

from dataclasses import dataclass

import numpy as np

from analysis.look import Columns
from analysis.rows import Floats, middle


@dataclass(frozen=True)
class Level:
    """What to look for: a loss (log) of current, how near to it counts, for how many minutes of sun, how even; how far the voltage may move."""

    lost: float
    off: float
    hold_min: float
    ragged: float
    stays: float


BRIGHTER = 0.5  # of the loss: more current than half-way up, and the string was there; edges of clouds throw less (from memory)
ABOVE, BELOW = 0.12, 0.4  # of the time at the level: brighter, and a little dimmer (a guess)
LIGHT_W_M2 = 400.0  # of a clear sky: at lower sun its models err by a tenth (from memory)


def first_between_clouds(
    seen: Columns, rows: np.ndarray, moved: Floats, volts: Floats, level: Level
) -> tuple[int, int] | None:
    """The first of `rows` up to which the current was that much lower whenever the sun was out, and the first since which; None where none is.

    moved, volts : float64[len(rows)]
        Logs of current and of voltage over what was learnt of them under a clear sky.
    """
    every, time_ms = np.arange(len(rows)), seen.time_ms[rows]
    high = seen.expected.poa_w_m2[rows] > LIGHT_W_M2
    with np.errstate(invalid="ignore"):
        near = high & (np.abs(moved + level.lost) < level.off)
        above = high & (moved > level.off - level.lost)
        below = high & (moved < -level.lost - level.off) & (moved > -level.lost - 3.0 * level.off)
        start = np.maximum.accumulate(np.where(high & (moved > -BRIGHTER * level.lost), every + 1, 0))
    held_ms = seen.time_ms[seen.held & seen.settled]  # then there was power to spare
    if len(held_ms):
        last = np.searchsorted(held_ms, time_ms)
        after = np.searchsorted(time_ms, held_ms[np.maximum(last - 1, 0)], "right")
        start = np.maximum(start, np.where(last > 0, after, 0))
    start = np.minimum(start, every)

    def since(value: Floats) -> Floats:
        total = np.concatenate([[0.0], np.cumsum(value)])
        return np.asarray(total[1:] - total[start])

    dt_h = seen.dt_h[rows]
    hours = since(near * dt_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean, square, other = (since(np.where(near, x * dt_h, 0.0)) / hours for x in (moved, moved**2, volts))
        found = hours >= level.hold_min / 60.0
        found &= (since(above * dt_h) < ABOVE * hours) & (since(below * dt_h) < BELOW * hours)
        found &= square - mean**2 < level.ragged**2
        found &= np.abs(other) < level.stays
    flag = int(np.argmax(found)) if found.any() else -1
    return None if flag < 0 else (flag, int(start[flag]))


def running(values: Floats, start: np.ndarray) -> tuple[Floats, Floats]:
    """Mean and standard deviation from row `start` to each row; NaN where any value is. float64[n] twice"""
    clean, bad = np.nan_to_num(values), np.concatenate([[0], np.cumsum(np.isnan(values))])
    count = np.maximum(np.arange(len(values)) + 1 - start, 1)
    sums = [np.concatenate([[0.0], np.cumsum(x)]) for x in (clean, clean**2)]
    mean, square = ((total[1:] - total[start]) / count for total in sums)
    spread = np.sqrt(np.maximum(square - mean**2, 0.0))
    known = bad[1:] == bad[start]
    return np.where(known, mean, np.nan), np.where(known, spread, np.nan)


def no_resistance(volts: Floats, amperes: Floats, lost: float, found: np.ndarray) -> np.ndarray:
    """Rows by which the loss, since it was first seen, is known not to grow with the current as a bad joint's does. bool[n]

    volts, amperes: float64[n], logs; lost: of the voltage. A joint's loss is proportional to the current, a module's is the same at any: the line of loss over log of current tells, once
    its slope is known well enough.
    """
    low = np.abs(volts + lost) < 0.5 * lost
    first = np.full(len(volts), int(np.argmax(low)))
    both = [running(x, first) for x in (volts, amperes, volts + amperes)]
    (_, std_v), (_, std_a), (_, std_sum) = both
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = 0.5 * (std_sum**2 - std_v**2 - std_a**2) / std_a**2
        unsure = std_v / (std_a * np.sqrt(np.maximum(np.arange(len(volts)) + 1 - first, 1)))
        return found & (slope > -HALF_WAY * lost) & (unsure < SLOPE_KNOWN * lost)


HALF_WAY = 0.5  # between a module's slope and a joint's
SLOPE_KNOWN = 0.2  # standard error of that slope: two and a half of it lie between it and either


LEAST_KNOWN = 3  # hours, to say what those between them give


def between_known(current: Floats) -> Floats:
    """With the hours between known ones, which as long as the array is whole are held back in the sun: beside a sensor all give nearly the same share."""
    known = np.flatnonzero(~np.isnan(current))
    if len(known) < LEAST_KNOWN:
        return current
    found = current.copy()
    inside = slice(known[0], known[-1] + 1)
    found[inside] = np.where(np.isnan(current[inside]), middle(current), current[inside])
    return found
