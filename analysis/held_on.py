"""Whether a pump is held back today and was on most of the last days, so that it is worth weighing why; and what that hides of the array.

Flow: recent day vectors, learning.py -> HERE -> slow_life.py.
Never: causes, rows.
"""

import numpy as np

from analysis.diagnosis import SAME_SPEED, UNEXPLAINED
from analysis.estimates.effects import IS_FLOW
from analysis.estimates.vector import PLACE, SIZE
from analysis.learning import Learnt
from analysis.lying import array_unknown
from analysis.memory import Case, Memory
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.tried import FULL

HELD_TODAY = 0.06  # log of power
HELD_DAYS, OF_DAYS = 3, 5  # that tell; a day or two may be a hand's, or a cloud's
WITHIN_DAYS = 14
FALLS = 0.05  # log of power, through a day: heat's (a guess)
TAKEN_ABOVE = 0.35  # likewise, in another hour of a day on which it does not fall: no limit was there then
LOAD = np.array([PLACE[f"{name}{band}"] for name in "ti" for band in range(3)])
HEAVIER = 0.08  # log of power, or of current, at the same speed: more than drift and season (scatter.py)


def held_on(learnt: Learnt, recent: Floats, amount: float, array_lost: float) -> bool:
    """Held back today, and on most of the last days: those of a limit that is gone, mixed with today's, would pass for another.

    Not where the array is known to give less by as much, nor at the usual speed, where the load asks for less; nor where the same speed
    takes clearly more current or power: a drive at its motor's limit then stands at a lower speed, and the load is to blame.

    recent : float64[days, SIZE]
    amount, array_lost
        Logs of power: held back, and known to be lost by the array.
    """
    known = recent[-WITHIN_DAYS:]
    newest = known[~np.isnan(known[:, PLACE["cap"]])][-OF_DAYS:]  # under cloud nothing has to be held back
    if not len(newest) or np.isnan(recent[-1, PLACE["cap"]]):
        return False
    with np.errstate(invalid="ignore"):
        lower = newest[:, PLACE["cap"]] < learnt.mean[PLACE["cap"]] - HELD_TODAY
        lower &= ~(newest[:, PLACE["cn"]] > learnt.mean[PLACE["cn"]] - SAME_SPEED)
        flat = ~(newest[:, PLACE["cv"]] < learnt.mean[PLACE["cv"]] - FALLS)
        lower &= ~(flat & (newest[:, PLACE["top"]] > newest[:, PLACE["cap"]] + TAKEN_ABOVE))
        heavier = (newest[:, LOAD] - learnt.mean[LOAD] > HEAVIER).any(axis=1)
    if not lower[-1] or int(lower.sum()) < HELD_DAYS:
        return False
    return amount > array_lost and int(heavier.sum()) < HELD_DAYS


HIDES = "slow-held"
HOT_AGAIN = {"controller-derating": 30}
"""Days within which the same cause again is the same fault going on: cooler weeks in between mend no fan (common practice, no source)."""


def hides(plant: Plant, group: str) -> bool:
    """Whether a controller that holds back hides what the array gives: where no sensor tells the sun, a low figure may be either's."""
    return group == "electric" and "irradiance_w_m2" not in plant.has


def hidden(plant: Plant, memory: Memory, group: str) -> bool:
    """Likewise, whether one does today."""
    return hides(plant, group) and any(case.family == HIDES and case.ended_ms is None for case in memory.cases)


def untellable(plant: Plant, memory: Memory, group: str, open_now: list[Case]) -> bool:
    """Figures of the group that say nothing new: a riddle's form is a guess, and cannot be taken away; or something else hides them."""
    riddle = any(case.cause == UNEXPLAINED for case in open_now)
    return riddle or array_unknown(memory, group) or hidden(plant, memory, group)


def sizing(direction: Floats, group: str) -> Floats:
    """The part of a form's direction (SIZE,) that says how bad it is, and since when.

    Of a limit how low it stands, not how it falls through the day; of a hole the flow, for a column runs dry through a small one as well.
    """
    if group == "held":
        return direction * (np.arange(SIZE) == PLACE["cap"])
    return direction * ~FULL if (direction[IS_FLOW] != 0.0).any() else direction
