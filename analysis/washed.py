"""Rain, or a cleaning: how much dust had taken is known best on the day after it.

Flow: close.py (hours of each day), estimates/recovery.py -> HERE -> memory.py.
A soiling that was told of is sized again by what came back.
Never: rows; a site whose sun no sensor reads; a soiling that nothing told of before, for a sensor of the sun that reads less, a string that was
mended and another controller give as much at once.
"""

import numpy as np

from analysis.causes.registry import all_causes
from analysis.estimates.bench import DAY_SHARE
from analysis.estimates.days_before import SUN
from analysis.estimates.effects import Effect
from analysis.estimates.recovery import Gain, largest_gain
from analysis.lying import array_unknown
from analysis.memory import Case, Memory
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.slow import Shift, SlowBench, named, slow_bench
from analysis.slow_life import USUALLY_OPEN
from analysis.soiling import ENOUGH, SOILING, SUNS
from analysis.solar_days import DAY_MS

FAMILY = "slow-electric"
SAME_END = 3  # days: telling days may lie so far apart


DIM = 0.5
"""Of the brightest day's light. Under an overcast sky cells, a sensor of the sun and a tracker are each another few percent off than in the
sun: such days say nothing of a washing (common practice, no source)."""


def after_washing(plant: Plant, memory: Memory, day: int, light_wh_m2: float) -> None:
    """At the close of `day`: size a soiling that has just gone by what came back. Changes `memory.cases`.

    light_wh_m2
        Of the day; those of the days before stand in `memory.days`.
    """
    hours = memory.arrays.get(SUNS)
    if hours is None or "irradiance_w_m2" not in plant.has:
        return
    if not any(_was_there(one) for one in memory.cases) or array_unknown(memory, "electric"):
        return  # nothing that a gain could size: on most days of most sites, and it costs as much as a quarter of a close
    hours = of_bright_days(memory, hours, light_wh_m2)
    gain = largest_gain(hours, ENOUGH)
    if gain is None:
        return
    bench, since_ms = slow_bench(plant), plant.days.open_ms(day - gain.ago)
    gone = [one for one in memory.cases if _was_there(one) and _ends_at(one, since_ms)]
    if gone:
        _sized_by(bench, gone[-1], gain)


def of_bright_days(memory: Memory, hours: Floats, light_wh_m2: float) -> Floats:
    """The hours (days, HOURS) of days with light enough; where a day's light is not known, its hours too."""
    before = [one.insolation_wh_m2 for one in memory.days[-len(hours) :]]
    known = [*(np.nan if one is None else one for one in before), light_wh_m2][-len(hours) :]
    light = np.full(len(hours), np.nan)
    light[len(hours) - len(known) :] = known
    if np.isnan(light).all():
        return hours
    return np.where((light < DIM * np.nanmax(light))[:, None], np.nan, hours)


def _was_there(case: Case) -> bool:
    """A soiling in band, for good or for a day so far."""
    return case.family == FAMILY and case.cause == SOILING and (case.ended_ms is not None or case.healthy > 0)


def _ends_at(case: Case, since_ms: int) -> bool:
    """In band since about then."""
    ended_ms = case.ended_ms if case.ended_ms is not None else case.weighed.get("healed_ms", np.inf)
    return abs(ended_ms - since_ms) <= SAME_END * DAY_MS


def _moved(gain: Gain) -> Shift:
    told = np.flatnonzero(~np.isnan(gain.lost))
    covariance = np.full((len(told), len(told)), gain.variance) + np.diag(gain.own[told])
    return Shift("electric", SUN[told], gain.lost[told], covariance, gain.days)


def _sized_by(bench: SlowBench, case: Case, gain: Gain) -> None:
    """No more came back than was lost: dust that stays after rain is not seen."""
    effect: Effect = bench.effects[int(case.weighed["form"])]
    amount = min(max(gain.gain, case.weighed.get("amount", 0.0)), effect.most)
    std = float(np.hypot(np.sqrt(gain.variance), USUALLY_OPEN * amount))
    amounts = np.array([amount, max(amount - 1.96 * std, 0.0), amount + 1.96 * std])
    size, low, high = effect.share_lost(amounts, DAY_SHARE).tolist()
    if case.size is not None and case.size[0] >= size:
        return
    case.weighed["amount"] = amount
    case.size = [size, low, high]
    case.figures = {**named(_moved(gain)), "amount": amount, "size": size, "came_back": 1.0}
    case.evidence = all_causes()[SOILING].sentence(case.figures, None)
    case.revision += 1
