"""What the array could give while the pump stood, as its own tries tell: how far a load pulled the voltage down.

Flow: not_turning.py's rows -> HERE -> its measures.
Each try is a load test of the array. Under cloud a small load pulls the voltage far down; in sun it hardly moves. On the way from the
open array to maximum power the power rises at least in proportion to the sag, and at first by `steep` times that (one diode).
Never: weighing.
"""

import numpy as np

from analysis.look import Columns
from analysis.plant import Plant

LEAST_SAG = 0.03  # of the way from the open array to its maximum: less is not read
APART = 3  # rows to the next one at rest, at most


def tried_light(plant: Plant, seen: Columns, rows: np.ndarray, fed: np.ndarray) -> float:
    """Log of the power that the array could give over the power that starts the pump, at the least; NaN where no try tells.

    rows: places in the day's columns, rising; fed: bool[len(rows)], of them.
    """
    volts, power = seen.rows["pv_voltage_v"], seen.power_w
    way, steep = way_and_steepness(plant)
    rests = np.flatnonzero(~fed & ~np.isnan(volts[rows]))
    tries = np.flatnonzero(fed & (power[rows] > 0.0) & ~np.isnan(volts[rows]))
    if not len(tries) or not len(rests):
        return np.nan
    place = np.searchsorted(rests, tries)
    before, after = rests[np.maximum(place - 1, 0)], rests[np.minimum(place, len(rests) - 1)]
    near = (place > 0) & (tries - before <= APART)
    near |= (place < len(rests)) & (after - tries <= APART)
    if not near.any():
        return np.nan
    open_v = np.where((place > 0) & (tries - before <= APART), volts[rows[before]], volts[rows[after]])
    sag = (open_v - volts[rows[tries]]) / (way * open_v)
    taken, sagged = float(power[rows[tries[near]]].mean()), float(sag[near].mean())
    return float(np.log(max(taken, 1.0) / max(sagged, LEAST_SAG) / steep / plant.start_power_w))


def way_and_steepness(plant: Plant) -> tuple[float, float]:
    """From the open array to its maximum power, as a share of the open voltage; and how much steeper than in proportion power rises at first."""
    module = plant.facts.array.module
    knee_v = (module.v_oc_v - module.v_mp_v) / -np.log(1.0 - module.i_mp_a / module.i_sc_a)
    steep = module.v_oc_v * module.i_sc_a / knee_v * (module.v_oc_v - module.v_mp_v) / (module.v_mp_v * module.i_mp_a)
    return 1.0 - module.v_mp_v / module.v_oc_v, float(steep)
