"""Channels known to lie: what is then left of the days' figures, and what is said of them already.

Flow: memory (open cases) -> HERE -> slow_life.py.
Never: finding out that a channel lies (causes/sensor_fault.py does); rows.
"""

import numpy as np

from analysis.at_the_limit import Beside, limit_of
from analysis.diagnosis import Verdict
from analysis.estimates.vector import PLACE
from analysis.learning import Learnt
from analysis.memory import Case, Memory
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.slow import Shift, SlowBench, shift_of

LIGHT, VOLTS = "irradiance_w_m2", "pv_voltage_v"
OF_THE_HEAD = ("q", "n", "t", "i")
BY_POWER = ("q", "n", "t", "i", "p", "l", "pw", "s", "ai", "av", "ap", "cap", "cv", "cn", "top")
"""What is asked in bands of the power that the array gives, or of that power itself."""
FED = {
    "discharge_pressure_bar": ("p", "stand", *OF_THE_HEAD),
    "water_level_m": ("l", "rest", *OF_THE_HEAD),
    "motor_current_a": ("i",),
    "motor_speed_rpm": ("n", "t", "i"),
    LIGHT: ("s", "gc"),
    "pv_voltage_v": ("av", "s", "pw", "ap", "cap", "cv"),
    "pv_current_a": ("ai", "s", "pw", "ap"),
    "flow_m3_h": ("q", "n", "l", "p", "first"),
}
"""Entries of the day's vector, banded or single, that hang on a channel: gauge and level make the head that a flow is expected at,
and a metered flow says how far the well should be drawn down and the pipe press."""
OF_THE_POWER = ("pv_voltage_v", "pv_current_a")
"""Where nothing reads the input power itself, it is their product."""
POWERS = ("input_power_w", "pv_current_a", "pv_voltage_v")


def stand_still(memory: Memory) -> set[str | None]:
    """Channels known to be stuck or dead."""
    return {case.channel for case in memory.cases if case.family == "sensor-fault" and case.ended_ms is None}


def without_stuck(plant: Plant, memory: Memory, recent: Floats, day: int) -> Floats:
    """The days' vectors (days, SIZE), the last of them `day`'s, without what a stuck or dead channel says in them."""
    for case in memory.cases:
        if case.family == "sensor-fault" and case.ended_ms is None and case.channel in FED:
            recent = recent.copy()
            since = max(len(recent) - 1 - (day - int(plant.days.day_of(case.began_ms + 1))), 0)
            recent[since:, places_fed(plant, case.channel)] = np.nan
    return recent


def places_fed(plant: Plant, channel: str) -> np.ndarray:
    """Places of the vector that hang on a channel; none where it is not among `FED`."""
    entries = FED.get(channel, ())
    if channel in OF_THE_POWER and "input_power_w" not in plant.has:
        entries += BY_POWER
    return np.array([place for name, place in PLACE.items() if name.rstrip("0123456789") in entries], np.int64)


def told_already(bench: SlowBench, memory: Memory, cause: str, form: int) -> bool:
    """A channel that is stuck moves away from the others too: one finding, not two. Nor is a voltage too high that is told of as the array's own;
    nor what a controller leaves in the hours in which it refuses that voltage."""
    if cause == "shading":
        return too_high_volts(memory)
    if cause != "sensor-fault":
        return False
    effect = bench.effects[form]
    if effect.channel in stand_still(memory):
        return True
    too_high = effect.channel == VOLTS and effect.direction[PLACE["av1"]] > 0
    return too_high and too_high_volts(memory)


def too_high_volts(memory: Memory) -> bool:
    """Whether the array stands above the controller's rating, day after day at the same hours."""
    return any(case.cause == "over-voltage" and case.ended_ms is None for case in memory.cases)


def told_by_another(bench: SlowBench, memory: Memory, case: Case, verdict: Verdict) -> bool:
    """What a case is weighed to be by now is what another open one, told of before it, says already: the same thing on the same channel."""
    channel = None if verdict.form is None else bench.effects[verdict.form].channel
    others = (
        one for one in memory.cases if one is not case and one.ended_ms is None and one.flagged_ms <= case.flagged_ms
    )
    return channel is not None and any((one.cause, one.channel) == (verdict.cause, channel) for one in others)


def array_unknown(memory: Memory, group: str) -> bool:
    """Of the array's own group of figures: the sun's sensor stands still, or the power's own is off, and what it says of the array is off as much."""
    if group != "electric":
        return False
    known = [case for case in memory.cases if case.ended_ms is None]
    return any(
        case.channel == LIGHT if case.family == "sensor-fault" else case.channel in POWERS
        for case in known
        if case.family in ("sensor-fault", "slow-hydraulic")
    )


def said_beside(
    plant: Plant, bench: SlowBench, memory: Memory, learnt: Learnt, recent: Floats, group: str, days: int
) -> Beside | None:
    """What the same days say of the array and of the pump's limit; None where that tells nothing of the causes of `group`."""
    if group != "hydraulic":
        return None
    held = any(case.family == "slow-held" and case.ended_ms is None for case in memory.cases)
    limit = None if held else limit_of(plant, learnt, recent, days)
    return Beside(of_the_array(bench, memory, learnt, recent, group, days), limit)


def of_the_array(
    bench: SlowBench, memory: Memory, learnt: Learnt, recent: Floats, group: str, days: int
) -> Shift | None:
    """What the same days say of the array, its own open faults left free; None where that tells nothing of the sensors of `group`."""
    if group != "hydraulic" or LIGHT in stand_still(memory):
        return None
    open_ = (case for case in memory.cases if case.family == "slow-electric" and case.ended_ms is None)
    known = [(int(case.weighed["form"]), case.weighed.get("amount", 0.0)) for case in open_]
    return shift_of(bench, learnt, recent, "electric", days, known)
