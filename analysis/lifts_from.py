"""From which speed on this impeller was seen to lift: what it does every morning tells more than a table of another pump.

Flow: symptoms.DayView -> HERE -> close.py (memory's numbers); no_water.py asks of it.
Below that speed a sound pump lifts nothing: a cloud that slows it makes a load that is light for so little water, and no fault.
Never: judgement of rows.
"""

from dataclasses import dataclass

import numpy as np

from analysis.plant import plant_of
from analysis.symptoms import DayView, worked_on


@dataclass(frozen=True)
class LiftsFromLimits:
    """Common practice, no source."""

    flows: float = 0.1  # of full flow
    least_h: float = 1.0  # of such running on a day
    slowest: float = 0.05  # of it: the slowest that lifted, without a meter's late steps
    spread: float = 0.9  # of the fastest of that day: one that always turns at one speed tells nothing
    rises: float = 1.005  # a day: a level that falls with the season
    above: float = 1.05  # 10 % of head: a resting level that moves, drawdown, a drive's slip


LIMITS = LiftsFromLimits()
LIFTS_RPM = "lifts_rpm"


def slow_for_it(view: DayView) -> float:
    """Speed up to which water is not to be expected, 0 where none was learnt. [1/min]"""
    return LIMITS.above * view.memory.numbers.get(LIFTS_RPM, 0.0)


def own_lift(view: DayView) -> dict[str, float]:
    """For the memory's numbers, at the day's end: the slowest speed at which water came. [1/min]"""
    seen, plant = view.columns, plant_of(view.facts)
    if seen is None or plant.helical or not plant.has & {"motor_speed_rpm", "drive_frequency_hz"}:
        return {}
    with np.errstate(invalid="ignore"):
        lifts = seen.settled & (seen.flow_m3_h > LIMITS.flows * plant.full_flow_m3_h) & (seen.speed_rpm > 0.0)
    if seen.dt_h[lifts].sum() < LIMITS.least_h:
        return {}
    speed = np.sort(seen.speed_rpm[lifts])
    slowest = float(speed[int(LIMITS.slowest * len(speed))])
    if slowest > LIMITS.spread * float(speed[int((1.0 - LIMITS.slowest) * (len(speed) - 1))]):
        return {}
    known = view.memory.numbers.get(LIFTS_RPM, slowest)
    if worked_on(view.facts, view.days, range(view.day, view.day + 1)):
        known = slowest  # another pump, or a drive that tells its speed otherwise
    return {LIFTS_RPM: min(slowest, LIMITS.rises * known)}
