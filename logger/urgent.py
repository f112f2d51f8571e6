"""What harms pump or well within hours, judged on the board itself, without server or internet.

A verdict is made from the last samples and a few facts; it is pure, so that the same samples give the same verdict.
True = it is so, and has been for HOLD_S; False = the figures show that it is not so; not in the answer = nobody can tell.
Same names as logger/record/causes.py, same sense as the server's: a cause is named only where a reading tells it from
its rivals; the rivals that the sensors here cannot tell apart are said in the evidence.
Flow: running.py -> HERE -> alerts.py. Never: a stop (the logger cannot), history, learning.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from logger.running import Sample, driven_since_s, expected_at_speed, expected_now, expected_volume_m3, power_w
from logger.settings_tables import PumpFacts

HOLD_S = 45.0
"""So long it must hold: with samples every few seconds a verdict falls within 60 s of the start delay's end."""
SAMPLES_MIN = 3
STEPS_MIN = 3
NO_FLOW_SHARE, WATER_SHARE = 0.05, 0.2
NO_FLOW_M3_H, DUE_M3_H = 0.02, 0.1
"""Up to the first, a meter's creep and no water; above the second, water is due (common practice, no source)."""
LIGHT_SHARE, HEAVY_SHARE, PRESSURE_SHARE = 0.65, 1.25, 1.5
"""Of the healthy motor current (else power at this speed), and of the healthy pressure. A dry pump keeps half of its load or less (common
practice, no source), so the first lies midway to 0.8: healthy less the datasheet's tolerance of 9 % (ISO 9906:2012, grade 3B; from
memory) and a tenth for the water level. The second is healthy plus both; the third lies above what a season's flow does to friction.
Simulated plants are held against them in tests/logger/test_urgent_plants.py; no field data was."""

UNCOUPLED_SHARE, SHUT_SHARE = 0.15, 0.4
"""A motor that turns nothing keeps a tenth of its load or less; an impeller pump keeps about half against a shut valve and a quarter when
dry (common practice, no source; simulated plants: 0.03 to 0.08, 0.5, 0.2 to 0.25). A dry displacement pump keeps a third or more."""


@dataclass(frozen=True)
class Verdict:
    """Of one cause. `evidence` with the figures; `check` what to do first, safely."""

    cause: str
    is_so: bool
    evidence: str = ""
    check: str = ""
    channel: str | None = None


STOP = "Switch the pump off at its own switch: the logger cannot stop it."
WIRING = "Leave the wiring to licensed people."
CHECKS = {
    "dry-running": f"{STOP} Then dip the water level. {WIRING}",
    "closed-delivery": f"{STOP} Then look for a shut valve or a frozen or pinched pipe before it is started again.",
    "broken-shaft": f"{STOP} Do not start it again; shaft or riser needs the lifting crew.",
    "stalled-motor": f"{STOP} Do not start it again and again. {WIRING}",
    "over-voltage": f"Array voltage is above the controller's rating. {WIRING} {STOP}",
    "controller-trip": f"Write down the controller's code and look it up in its manual. {WIRING}",
    "sensor-fault": f"Trust no reading of this sensor. Its terminals may stand at array voltage. {WIRING}",
    "silent": f"Look at the cable and at the device's own lamp. {WIRING}",
}


def judge(samples: Sequence[Sample], facts: PumpFacts) -> list[Verdict]:
    """At the newest sample. `samples` oldest first, the last ten minutes at least where a coarse meter tells the flow."""
    if not samples:
        return []
    recent = _held(samples)
    settled = _settled(samples, facts)
    return [
        *_water(settled, facts),
        *_pressure(recent, facts),
        *_voltage(recent, facts),
        *_stalled(settled),
        *_fault_code(recent, facts),
    ]


def _settled(samples: Sequence[Sample], facts: PumpFacts) -> Sequence[Sample]:
    """The samples of the present run after its start delay; empty: not driven, or not long enough."""
    since = driven_since_s(samples, facts)
    if since is None:
        return []
    return [one for one in samples if one.at_s >= since + facts.start_delay_s]


def _held(samples: Sequence[Sample]) -> Sequence[Sample]:
    """The last HOLD_S of them, SAMPLES_MIN at least; empty where they do not reach so far back."""
    if len(samples) < SAMPLES_MIN or samples[-1].at_s - samples[0].at_s < HOLD_S:
        return []
    within = [one for one in samples if one.at_s >= samples[-1].at_s - HOLD_S]
    return within if len(within) >= SAMPLES_MIN else list(samples)[-SAMPLES_MIN:]


def _water(settled: Sequence[Sample], facts: PumpFacts) -> list[Verdict]:
    """Motor driven, and does water come? What makes it stay away, as far as the sensors here tell."""
    flowing, told = _flowing(settled, facts)
    if flowing is None:
        return []
    values = settled[-1].values
    wet = values.get("low_level_probe_wet")
    if flowing:
        agrees = _probe_disagrees(_held(settled))
        found = [Verdict(cause, False) for cause in ("dry-running", "closed-delivery", "broken-shaft")]
        if agrees is not None:
            evidence = f"The low-level probe says dry while {told}: it or its cable is wrong, and it guards the pump."
            found.append(Verdict("sensor-fault", agrees, evidence, CHECKS["sensor-fault"], "low_level_probe_wet"))
        return found
    cause, why = _why_no_water(values, facts, wet)
    return [Verdict(cause, True, f"The motor is driven, but {told}. {why}", CHECKS[cause])]


def _flowing(settled: Sequence[Sample], facts: PumpFacts) -> tuple[bool | None, str]:
    """Does water come, and in which words; None: the sensors cannot say (yet)."""
    held = _held(settled)
    flows = [(one, flow) for one in held if (flow := one.values.get("flow_m3_h")) is not None]
    if len(flows) >= SAMPLES_MIN:
        shares = [(flow, expected_now(one.values, facts, "flow_m3_h")) for one, flow in flows]
        newest = f"{flows[-1][1]:g} m3/h comes"
        if all(flow >= (WATER_SHARE * healthy if healthy else NO_FLOW_M3_H) for flow, healthy in shares):
            return True, newest
        if all(_should_flow(one, healthy, facts) for (one, _), (_, healthy) in zip(flows, shares, strict=True)) and all(
            flow <= NO_FLOW_SHARE * (healthy or 0.0) + NO_FLOW_M3_H for flow, healthy in shares
        ):
            return False, f"only {newest}" if flows[-1][1] else "no water comes"
        return None, ""
    return _stepping(settled, facts)


def _should_flow(sample: Sample, healthy: float | None, facts: PumpFacts) -> bool:
    """Is water due? By the pump's figures; below what they reach only a pressure that no healthy flow makes says so, or a dry probe.

    At dawn and dusk many a healthy pump turns too slowly to lift, which is no fault.
    """
    if healthy is not None:
        return healthy > DUE_M3_H
    pressure, highest = sample.values.get("discharge_pressure_bar"), _highest_bar(facts)
    if pressure is not None and highest is not None and pressure > PRESSURE_SHARE * highest:
        return True
    return sample.values.get("low_level_probe_wet") == 0


def _highest_bar(facts: PumpFacts) -> float | None:
    return max((bar for row in facts.expected if (bar := row.discharge_pressure_bar) is not None), default=None)


def _stepping(settled: Sequence[Sample], facts: PumpFacts) -> tuple[bool | None, str]:
    """As `_flowing`, where only a coarse register tells: no step while three were due."""
    read = [one for one in settled if one.values.get("volume_m3") is not None]
    if facts.meter_step_m3 is None or len(read) < SAMPLES_MIN:
        return None, ""
    newest = read[-1].values["volume_m3"]
    since_step = [read[-1]]
    for one in reversed(read[:-1]):
        if one.values["volume_m3"] != newest:
            break
        since_step.insert(0, one)
    told = _told(since_step, facts)
    due, lasted_s = expected_volume_m3(told, facts) or 0.0, told[-1].at_s - told[0].at_s if told else 0.0
    if due >= STEPS_MIN * facts.meter_step_m3 and lasted_s >= HOLD_S:
        minutes = lasted_s / 60
        return False, f"the meter stood still for {minutes:.0f} min, in which {due * 1000:.0f} L should have come"
    return (True, "the meter turns") if len(since_step) < len(read) else (None, "")


def _told(samples: Sequence[Sample], facts: PumpFacts) -> Sequence[Sample]:
    """The newest of them without a break at which something is due: a dim minute before says nothing of the bright one after."""
    first = len(samples)
    while first and expected_now(samples[first - 1].values, facts, "flow_m3_h") is not None:
        first -= 1
    return samples[first:]


def _load(values: dict[str, float | None], facts: PumpFacts) -> tuple[float | None, str]:
    """Share of the healthy load, and the words for it: by motor current, else by the power at this speed."""
    current, healthy_a = values.get("motor_current_a"), expected_now(values, facts, "motor_current_a")
    if current is not None and healthy_a:
        return current / healthy_a, f" Motor current {current:g} A, healthy {healthy_a:.1f} A."
    power, healthy_w = power_w(values), expected_at_speed(values, facts, "input_power_w")
    if power is not None and healthy_w:
        return power / healthy_w, f" Power {power:.0f} W, healthy at this speed {healthy_w:.0f} W."
    return None, ""


def _why_no_water(values: dict[str, float | None], facts: PumpFacts, wet: float | None) -> tuple[str, str]:
    share, load = _load(values, facts)
    pressure = values.get("discharge_pressure_bar")
    healthy_bar = expected_now(values, facts, "discharge_pressure_bar") or _highest_bar(facts)
    light = share is not None and share < LIGHT_SHARE
    if pressure is not None and healthy_bar and pressure > PRESSURE_SHARE * healthy_bar:
        return "closed-delivery", f"Pressure at the wellhead is {pressure:g} bar, healthy {healthy_bar:.1f} bar.{load}"
    if wet == 0:
        return "dry-running", f"The low-level probe says dry.{load}"
    if share is not None and facts.kind is not None:
        return _by_load(share, load, facts.kind, wet)
    if light and wet == 1:
        return (
            "broken-shaft",
            f"The probe says wet and the motor turns light.{load} A dry pump with a false probe looks alike.",
        )
    if light:
        return "dry-running", f"The motor turns light.{load} A broken shaft looks alike."
    if share is not None and share > HEAVY_SHARE:
        return "closed-delivery", f"The motor works hard.{load}"
    return "dry-running", f"A shut valve, a broken shaft or a dead meter would look alike here.{load}"


def _by_load(share: float, load: str, kind: str, wet: float | None) -> tuple[str, str]:
    """Where the kind of pump is known, the load alone tells the three apart."""
    false_probe = " The low-level probe says wet: then it is wrong." if wet == 1 else ""
    if share < UNCOUPLED_SHARE:
        return "broken-shaft", f"The motor turns next to nothing.{load}"
    if kind == "multistage-centrifugal" and share >= SHUT_SHARE:
        return "closed-delivery", f"The load is that of impellers that push against a shut pipe.{load}"
    if share < LIGHT_SHARE:
        return "dry-running", f"The motor turns light.{load}{false_probe}"
    if share > HEAVY_SHARE:
        return "closed-delivery", f"The motor works hard.{load}"
    return "dry-running", f"A riser that came apart, a shut valve or a dead meter would look alike here.{load}"


def _probe_disagrees(held: Sequence[Sample]) -> bool | None:
    said = [wet for one in held if (wet := one.values.get("low_level_probe_wet")) is not None]
    if len(said) < SAMPLES_MIN or len(set(said)) > 1:
        return None
    return said[0] == 0


def _pressure(recent: Sequence[Sample], facts: PumpFacts) -> list[Verdict]:
    read = [bar for one in recent if (bar := one.values.get("discharge_pressure_bar")) is not None]
    if facts.pressure_max_bar is None or len(read) < SAMPLES_MIN or min(read) < facts.pressure_max_bar:
        return []  # that it is not too high says nothing of a shut valve behind the gauge
    evidence = f"Pressure at the wellhead is {read[-1]:g} bar; it should stay below {facts.pressure_max_bar:g} bar."
    return [Verdict("closed-delivery", True, evidence, CHECKS["closed-delivery"])]


def _voltage(recent: Sequence[Sample], facts: PumpFacts) -> list[Verdict]:
    read = [volts for one in recent if (volts := one.values.get("pv_voltage_v")) is not None]
    if facts.voltage_max_v is None or len(read) < SAMPLES_MIN:
        return []
    evidence = f"The array stands at {read[-1]:g} V; the controller is rated for {facts.voltage_max_v:g} V."
    if min(read) > facts.voltage_max_v:
        return [Verdict("over-voltage", True, evidence, CHECKS["over-voltage"])]
    return [Verdict("over-voltage", False)] if max(read) <= facts.voltage_max_v else []


def _stalled(settled: Sequence[Sample]) -> list[Verdict]:
    held = _held(settled)
    read = [
        (speed, amps)
        for one in held
        if (speed := one.values.get("motor_speed_rpm")) is not None
        and (amps := one.values.get("motor_current_a")) is not None
    ]
    if len(read) < SAMPLES_MIN:
        return []
    if all(speed == 0 and amps > 0 for speed, amps in read):
        evidence = f"The motor is fed with {read[-1][1]:g} A and does not turn."
        return [Verdict("stalled-motor", True, evidence, CHECKS["stalled-motor"])]
    return [Verdict("stalled-motor", False)] if all(speed != 0 for speed, _ in read) else []


def _fault_code(recent: Sequence[Sample], facts: PumpFacts) -> list[Verdict]:
    read = [round(code) for one in recent if (code := one.values.get("fault_code")) is not None]
    if len(read) < SAMPLES_MIN:
        return []
    bad = [code for code in read if code and code not in facts.fault_codes_ignored]
    if len(bad) == len(read):
        evidence = f"The controller shows fault code {bad[-1]}."
        return [Verdict("controller-trip", True, evidence, CHECKS["controller-trip"], "fault_code")]
    return [Verdict("controller-trip", False)] if not bad else []
