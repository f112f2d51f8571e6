"""From which speed on this impeller was seen to lift: what it does every morning tells more than a table of another pump.

Flow: running.py, symptoms.DayView -> HERE -> close.py (memory's numbers); no_water.py asks of it.
Below that speed a sound pump lifts nothing: a cloud that slows it makes a load that is light for so little water, and no fault.
Never: judgement of rows.
"""

from dataclasses import dataclass

from analysis.running import running_in
from analysis.symptoms import DayView, worked_on


@dataclass(frozen=True)
class LiftsFromLimits:
    """Common practice, no source."""

    rises: float = 1.005  # a day: a level that falls with the season
    above: float = 1.05  # 10 % of head: a resting level that moves, drawdown, a drive's slip


LIMITS = LiftsFromLimits()
LIFTS_RPM = "lifts_rpm"


def slow_for_it(view: DayView) -> float:
    """Speed up to which water is not to be expected, 0 where none was learnt. [1/min]"""
    return LIMITS.above * view.memory.numbers.get(LIFTS_RPM, 0.0)


def own_lift(view: DayView) -> dict[str, float]:
    """For the memory's numbers, at the day's end: the slowest speed at which water came. [1/min]"""
    slowest = running_in(view).slowest_rpm
    if slowest is None:
        return {}
    known = view.memory.numbers.get(LIFTS_RPM, slowest)
    if worked_on(view.facts, view.days, range(view.day, view.day + 1)):
        known = slowest  # another pump, or a drive that tells its speed otherwise
    return {LIFTS_RPM: min(slowest, LIMITS.rises * known)}
