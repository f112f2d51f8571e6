"""What the last samples say of the pump: is it driven, since when, how much water, against what it should be.

Flow: agent's samples -> HERE -> urgent.py. A channel that is absent or null tells nothing: None, never a guess.
Never: a judgement.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from logger.settings_tables import Expected, PumpFacts

Values = dict[str, float | None]


@dataclass(frozen=True)
class Sample:
    """What was read at one instant, s on the clock that never jumps."""

    at_s: float
    values: Values


def power_w(values: Values) -> float | None:
    """At the controller's input, measured or V x I."""
    measured = values.get("input_power_w")
    if measured is not None:
        return measured
    voltage, current = values.get("pv_voltage_v"), values.get("pv_current_a")
    return None if voltage is None or current is None else voltage * current


def driven(values: Values, facts: PumpFacts) -> bool | None:
    """Is the motor driven? By the controller's word, else by current, else by power; None: nothing tells."""
    said = values.get("motor_running")
    if said is not None:
        return said == 1
    current = values.get("motor_current_a")
    if current is not None:
        return current >= facts.running_current_a
    power = power_w(values)
    return None if power is None else power >= facts.running_power_w


def driven_since_s(samples: Sequence[Sample], facts: PumpFacts) -> float | None:
    """Start of the unbroken run that the newest sample is in; samples that tell nothing do not break it. None: not driven."""
    since = None
    for sample in reversed(samples):
        is_driven = driven(sample.values, facts)
        if is_driven is False:
            break
        if is_driven:
            since = sample.at_s
        elif since is None:
            return None
    return since


def expected_at(power: float | None, facts: PumpFacts, name: str) -> float | None:
    """A healthy value at this input power, on the line between the table's rows; None outside it or where unknown."""
    return _along(power, facts, "input_power_w", name)


def expected_at_speed(values: Values, facts: PumpFacts, name: str) -> float | None:
    """A healthy value at the speed that is read; None where speed or table do not tell."""
    return _along(values.get("motor_speed_rpm"), facts, "motor_speed_rpm", name)


def expected_now(values: Values, facts: PumpFacts, name: str) -> float | None:
    """A healthy value at what is read now: at this speed where speed and table tell it, else at this power.

    Speed comes first because it holds when the load goes: a dry pump draws little and turns as fast as before.
    """
    by_speed = expected_at_speed(values, facts, name)
    return by_speed if by_speed is not None else expected_at(power_w(values), facts, name)


def expected_volume_m3(samples: Sequence[Sample], facts: PumpFacts) -> float | None:
    """What the healthy pump would have delivered over these samples; None where a part of them tells nothing."""
    total = 0.0
    for earlier, later in zip(samples, samples[1:], strict=False):
        flow = expected_now(later.values, facts, "flow_m3_h")
        if flow is None:
            return None
        total += flow * (later.at_s - earlier.at_s) / 3600
    return total


def _along(at: float | None, facts: PumpFacts, of: str, name: str) -> float | None:
    known = sorted(
        (where, value)
        for row in facts.expected
        if (where := _of(row, of)) is not None and (value := _of(row, name)) is not None
    )
    if at is None or len(known) < 2 or at < known[0][0]:
        return None
    place = min(max(1, bisect_left([point[0] for point in known], at)), len(known) - 1)
    (low_at, low), (high_at, high) = known[place - 1], known[place]
    return low + (high - low) * min(1.0, (at - low_at) / (high_at - low_at))


def _of(row: Expected, name: str) -> float | None:
    return getattr(row, name)
