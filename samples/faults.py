"""Faults, and what only looks like one: what happens to the plant, from when to when, how badly.

Flow: scenario.py, cases.py, live.py say what goes wrong -> HERE (effects on the plant) -> plant/simulate.py.
Never: how a fault is recognised.
"""

# ruff: noqa: ARG001  all ways to go wrong have one signature, needed or not

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from logger.record.causes import CAUSES
from samples.plant.array import Horizon
from samples.plant.drawn import Plant
from samples.plant.effects import HEALTHY, Effects
from samples.plant.sky import Sky

Floats = NDArray[np.float64]
Shape = Literal["step", "ramp", "intermittent"]
HARMLESS = (
    "tank-full", "speed-turned-down", "switched-off", "thirsty-herd",
)  # fmt: skip
"""What people do that is no fault: nobody draws water, the speed knob, the switch, more animals than usual."""
GREATEST = {
    "blocked",
    "cycling",
    "trip",
    "phase_lost",
    "stalled",
    "reversed",
    "uncoupled",
    "drains",
    "probe_says",
    "float_says",
}
PRODUCT = {"use", "speed_setting", "switched_on", "probe_heeded"}
SHUT = 5e6  # m per (m3/h)^2: a shut valve


@dataclass(frozen=True)
class Fault:
    """One fault. `severity` is in the cause's own terms, see SEVERITY; `options` where a cause has several ways.

    shape
        `step`: all at once; `ramp`: grows over `options["ramp_days"]`, or else until it ends; `intermittent`: comes and
        goes for an hour or several.
    """

    cause: str
    begins: datetime
    ends: datetime | None = None
    severity: float = 0.2
    part: str | None = None
    channel: str | None = None
    shape: Shape = "step"
    options: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.cause not in CAUSES and self.cause not in HARMLESS:
            raise ValueError(f"no cause is called {self.cause!r}")
        if self.begins.tzinfo is None or (self.ends is not None and self.ends.tzinfo is None):
            raise ValueError(f"{self.cause}: begins and ends need a time zone")

    @property
    def harmless(self) -> bool:
        return self.cause in HARMLESS


SEVERITY = {
    "dry-running": "1 = nothing reaches the intake, 0.7 = 10 % of the rated flow gasps in",
    "clogging": "flow lost at rated flow and the same power, share",
    "closed-delivery": "of no account",
    "worn-pump": "share of the rated flow that slips back at rated head",
    "broken-shaft": "of no account",
    "riser-leak": "share of the rated flow lost through the wall; check-valve: how fast it drains, 0 to 1",
    "falling-water-level": "m of extra lift (drawdown: at rated flow)",
    "panel-soiling": "share of light lost in the end",
    "shading": "share of the strings hidden; options from_deg, to_deg, height_deg",
    "string-out": "strings out; options modules: modules bypassed instead, 1/3 = one diode",
    "controller-derating": "deg C that the box is too warm at full power",
    "cable-fault": "share of the rated power lost; options mode: joint, phase, leak",
    "reverse-rotation": "of no account",
    "failed-start": "of no account",
    "stalled-motor": "of no account",
    "over-voltage": "modules too many in every string",
    "controller-trip": "trips in an hour of running",
    "short-cycling": "starts in an hour",
    "sensor-fault": "by mode: drift per day, share under-read; options mode",
    "silent": "of no account",
    "unexplained": "options mode: drag (share of rated torque), surge (share of speed)",
    "tank-full": "share of the usual draw that is left", "speed-turned-down": "share of the speed limit",
    "switched-off": "of no account", "thirsty-herd": "times the usual draw",
}  # fmt: skip


def epoch(when: datetime | None) -> float:
    """Seconds since 1970; for ever if None."""
    return np.inf if when is None else when.timestamp()


def weight(fault: Fault, time_s: Floats) -> Floats:
    """How much of the fault is there, 0 to 1, at each instant."""
    begins, ends = epoch(fault.begins), epoch(fault.ends)
    within = ((time_s >= begins) & (time_s < ends)).astype(float)
    if fault.shape == "ramp":
        days = fault.options.get("ramp_days")
        length = 86400.0 * days if days else (ends - begins if np.isfinite(ends) else 60 * 86400.0)
        length = max(length, 1.0)  # one that ends as it begins is never there
        return within * np.clip((time_s - begins) / length, 0.0, 1.0)
    if fault.shape == "intermittent":
        block = np.floor_divide(time_s, 1800.0 * float(fault.options.get("half_hours", 3)))
        mixed = np.sin(block * 12.9898 + begins * 1e-3) * 43758.5453
        return within * ((mixed - np.floor(mixed)) < fault.options.get("share", 0.5))
    return within


def effects_of(faults: list[Fault]):
    """A function (plant, sky) -> Effects of all these faults together."""

    def build(plant: Plant, sky: Sky) -> Effects:
        held: dict[str, Any] = {}
        for fault in faults:
            share = weight(fault, sky.unix_s)
            if not share.any():
                continue
            for name, value in _changes(fault, plant, sky, share).items():
                held[name] = _together(name, held.get(name, HEALTHY[name]), value)
        return Effects(**held)

    return build


def _together(name: str, first: Any, second: Any) -> Any:
    if name in GREATEST:
        return np.maximum(first, second)
    if name in PRODUCT:
        return np.asarray(first) * second
    if name == "inflow_m3_h":
        return np.minimum(first, second)
    return np.asarray(first) + second


def _changes(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    """Effects of one fault, by effect name; `share` is its weight at each instant."""
    return _WAYS[fault.cause](fault, plant, sky, share)


def _rated(plant: Plant) -> tuple[float, float]:
    """Rated flow [m3/h] and the head that goes with it [m]."""
    well = plant.facts.well
    flow = min(plant.pump.rated_flow, well.tested_yield_m3_h)
    down = well.drawdown_linear_m_per_m3_h * flow + well.drawdown_quadratic_m_per_m3_h2 * flow**2
    return flow, well.static_level_m + down + plant.facts.delivery.outlet_height_m + 3.0


def _dry(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    flow, _ = _rated(plant)
    left = (1.0 - fault.severity) * 0.33 * flow
    sunk = plant.facts.pump.setting_depth_m - plant.well.resting_m(sky.unix_s) - 0.3
    says = 1.0 if fault.options.get("probe", "wet") == "wet" else -1.0
    return {
        "static_m": share * sunk, "inflow_m3_h": np.where(share > 0, left, 1e9),
        "probe_says": np.where(share > 0, says, -1.0), "probe_heeded": np.where(share > 0, 0.0, 1.0),
    }  # fmt: skip


def _clogging(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    flow, head = _rated(plant)
    lost = np.minimum(fault.severity * share, 0.9)
    kept = 1.0 - lost
    obstruction = head * (1.0 / kept - 1.0) / (kept * flow) ** 2
    return {f"clog_{fault.part or 'pump'}": obstruction}


def _leak(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    if fault.part == "check-valve":
        return {"drains": share * fault.severity}
    flow, head = _rated(plant)
    lift = 0.6 * plant.well.static_m + max(plant.facts.delivery.outlet_height_m, 0.0)
    return {"leak": share * fault.severity * flow / np.sqrt(lift), "drains": share * 0.4}


def _falling(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    if fault.part == "drawdown":
        flow, _ = _rated(plant)
        usual = float(plant.well.share_m_per_m3_h.sum()) * flow + plant.well.quadratic * flow**2
        return {"drawdown": share * fault.severity / usual}
    return {"static_m": share * fault.severity}


def _shading(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    o = fault.options
    thing = Horizon(o.get("from_deg", 60.0), o.get("to_deg", 110.0), o.get("height_deg", 35.0), fault.severity)
    return {"shade": thing.hides(sky) * share}


def _cable(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    motor, mode = plant.motor, fault.options.get("mode", "joint")
    if fault.part == "array":
        module, strings = plant.facts.array.module, plant.facts.array.strings
        volts, amps = plant.facts.array.modules_in_series * module.v_mp_v, strings * module.i_mp_a
        return {"array_ohm": share * fault.severity * volts / amps}
    if mode == "phase":
        return {"phase_lost": share}
    if mode == "leak":
        return {"leak_w": share * fault.severity * motor.rated_w}
    return {"motor_ohm": share * fault.severity * motor.rated_w / (motor.phases * motor.rated_a**2)}


def _trips(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    lasts_s, hour_s = 60.0 * fault.options.get("wait_min", 6.0), 3600.0
    slot = np.floor_divide(sky.unix_s, lasts_s)
    mixed = np.sin(slot * 78.233 + plant.seed) * 24634.6345
    chance = np.minimum(fault.severity * lasts_s / hour_s, 0.7)
    return {"trip": share * ((mixed - np.floor(mixed)) < chance)}


def _cycling(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    period = 3600.0 / max(fault.severity, 0.5)
    wobble = 0.15 * period * np.sin(sky.unix_s / (3.7 * period))
    place = np.mod(sky.unix_s + wobble, period) / period
    return {"cycling": share * (place > fault.options.get("on_share", 0.6))}


def _unexplained(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    return {("surge" if fault.options.get("mode") == "surge" else "drag"): share * fault.severity}


def _sick_probe(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    """A contact that lies misleads the controller too; other instruments mislead only the record (season.py)."""
    says = {"wet": 1.0, "up": 1.0, "dry": 0.0, "down": 0.0}.get(str(fault.options.get("mode")), -1.0)
    if fault.channel == "low_level_probe_wet":
        return {"probe_says": np.where(share > 0, says, -1.0)}
    if fault.channel == "tank_float_up":
        return {"float_says": np.where(share > 0, says, -1.0)}
    return {}


def _string(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
    if "modules" in fault.options:
        return {"modules_lost": share * fault.options["modules"]}
    return {"strings_lost": share * fault.severity}


def _simple(**effects: Any):
    """A cause whose effects are its severity, or a given value, times its weight."""

    def changes(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
        return {name: share * (fault.severity if value is None else value) for name, value in effects.items()}

    return changes


def _factor(name: str, off: bool = False):
    """A cause that multiplies an effect by its severity, or by nothing."""

    def changes(fault: Fault, plant: Plant, sky: Sky, share: Floats) -> dict[str, Any]:
        return {name: 1.0 - share * (1.0 - (0.0 if off else fault.severity))}

    return changes


_WAYS = {
    "dry-running": _dry, "clogging": _clogging, "closed-delivery": _simple(clog_delivery=SHUT),
    "worn-pump": _simple(wear=None), "broken-shaft": _simple(uncoupled=1.0), "riser-leak": _leak,
    "falling-water-level": _falling, "panel-soiling": _simple(soil_lost=None), "shading": _shading, "string-out": _string,
    "controller-derating": _simple(hot_c=None), "cable-fault": _cable, "reverse-rotation": _simple(reversed=1.0),
    "failed-start": _simple(blocked=1.0), "stalled-motor": _simple(stalled=1.0),
    "over-voltage": _simple(modules_added=None), "controller-trip": _trips, "short-cycling": _cycling,
    "sensor-fault": _sick_probe, "silent": _simple(), "unexplained": _unexplained,
    "tank-full": _factor("use"), "speed-turned-down": _factor("speed_setting"),
    "switched-off": _factor("switched_on", off=True), "thirsty-herd": _factor("use"),
}  # fmt: skip
assert set(_WAYS) == set(CAUSES) | set(HARMLESS) == set(SEVERITY)
