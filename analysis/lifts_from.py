"""From which speed on this impeller was seen to lift: what it does every morning tells more than a table of another pump.

Flow: running.py, symptoms.DayView -> HERE -> close.py (memory's numbers); no_water.py asks of it.
Below that speed a sound pump lifts nothing: a cloud that slows it makes a load that is light for so little water, and no fault.
Never: judgement of rows.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.rows import Floats
from analysis.running import running_in
from analysis.symptoms import DayView, worked_on


@dataclass(frozen=True)
class LiftsFromLimits:
    """Common practice, no source."""

    rises: float = 1.005  # a day: a level that falls with the season
    above: float = 1.05  # 10 % of head: a resting level that moves, drawdown, a drive's slip
    surely: float = 1.1  # 20 % of head: there water comes, whatever the table leaves open


LIMITS = LiftsFromLimits()
LIFTS_RPM = "lifts_rpm"


def slow_for_it(view: DayView) -> float:
    """Speed up to which water is not to be expected, 0 where none was learnt. [1/min]"""
    return LIMITS.above * view.memory.numbers.get(LIFTS_RPM, 0.0)


def surely_lifts(view: DayView, speed_rpm: Floats) -> NDArray[np.bool_]:
    """Rows so fast that this impeller has always lifted; none where that was not learnt. bool[n]"""
    known = view.memory.numbers.get(LIFTS_RPM, 0.0)
    with np.errstate(invalid="ignore"):
        return np.asarray((known > 0.0) & (speed_rpm > LIMITS.surely * known))


def own_lift(view: DayView) -> dict[str, float]:
    """For the memory's numbers, at the day's end: the slowest speed at which water came. [1/min]"""
    slowest = running_in(view).slowest_rpm
    if slowest is None:
        return {}
    known = view.memory.numbers.get(LIFTS_RPM, slowest)
    if worked_on(view.facts, view.days, range(view.day, view.day + 1)):
        known = slowest  # another pump, or a drive that tells its speed otherwise
    return {LIFTS_RPM: min(slowest, LIMITS.rises * known)}
