"""How bad a fault was, in its own measure, against the same plant in order; and whether it left a mark worth asking for.

Never: imports of the analysis or of another plant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.bench.farworld.array import Power
from tests.bench.farworld.faults import Fault
from tests.bench.farworld.pump import Load, sound, speed_for, work
from tests.bench.farworld.season import Got

if TYPE_CHECKING:
    from tests.bench.farworld.case import Season

HELD = {"failed-start", "stalled-motor"}
LIGHT = {"dry-running", "closed-delivery", "broken-shaft"}
FLOW = {"clogging", "worn-pump", "riser-leak", "reverse-rotation"}
ARRAY = {"panel-soiling", "string-out", "shading", "controller-derating"}


def size_of(s: Season, fault: Fault, power: Power, got: Got, volts: np.ndarray, load: Load, top: np.ndarray) -> float:
    """In the contract's measure of the cause; NaN where it has none or nothing ran."""
    on, run, hour = fault.on, fault.on & got.run, s.step_s / 3600
    cause = fault.cause
    if cause in HELD:
        return float((on & got.wanted).sum() * hour)
    if cause == "silent":
        return float((on & (power.sun > 50)).sum() * hour)
    if cause == "over-voltage":
        return float(volts.max() - s.site["v_max"])
    if cause == "dry-running":
        return float((run & (got.nearing >= 1.0)).sum() * hour)
    if cause in LIGHT:
        return float(run.sum() * hour)
    if cause == "panel-soiling" or cause == "string-out" or cause == "shading":
        lit = on & (power.healthy_w > 30)
        return float(1 - power.best_w[lit].sum() / max(power.healthy_w[lit].sum(), 1e-9)) if lit.any() else float("nan")
    if not run.any():
        return float("nan")
    if cause == "riser-leak" and fault.part == "check-valve":
        return float(got.lost_m3_h[run].sum() / max((got.lost_m3_h + got.flow)[run].sum(), 1e-9))
    if cause in FLOW and any((f.on & on).any() for f in s.faults.values() if f.cause in FLOW and f is not fault):
        return float("nan")  # two take water at once: what each took alone was not worked out
    if cause in FLOW:
        return _flow_lost(s, run, got, load, top)
    if cause == "falling-water-level":
        more = (
            got.draw * (1 - 1 / (1 + fault.at * _span(s) / _fallen(s)))
            if fault.part == "drawdown"
            else fault.at * _span(s)
        )
        return float(more[run].mean())
    if cause == "controller-derating":
        taken = np.minimum(got.power, power.tracked_w)
        can = np.minimum(power.tracked_w, s.site["full_w"])
        return float(np.clip(1 - taken[run].sum() / max(can[run].sum(), 1e-9), 0, 1))
    if cause == "cable-fault" and fault.part == "motor":
        return float((3 * got.amps**2 * load.ohm)[run].sum() / got.power[run].sum())
    if cause == "cable-fault":
        amps = got.power / np.maximum(volts, 5.0)
        return float((amps**2 * power.joint_ohm)[run].sum() / (got.power + amps**2 * power.joint_ohm)[run].sum())
    if cause == "controller-trip":
        starts = np.diff(((s.site[cause]) & got.wanted).astype(int), prepend=0) == 1
        return float((starts & on).sum() / max(on.sum() * s.step_s / 86400, 1e-9))
    if cause == "short-cycling":
        starts = np.diff(got.run.astype(int), prepend=0) == 1
        return float((starts & on).sum() / max((on & got.wanted).sum() * hour, 1e-9))
    return float("nan")


def _fallen(s: Season) -> float:
    rated = s.machine.rated_m3_h
    return s.site["linear"] * rated + s.site["square"] * rated**2


def _span(s: Season) -> float:
    return s.site["setting"] - s.site["static"] - _fallen(s) - 3.0


def _flow_lost(s: Season, run: np.ndarray, got: Got, load: Load, top: np.ndarray) -> float:
    """1 - delivered / what the plant in order delivers for the same power at the same resting level."""
    at = np.flatnonzero(run)[::5]
    lift = load.lift_m[at]
    drawn = s.site["linear"] * got.pumped[at] + s.site["square"] * got.pumped[at] ** 2
    more = got.draw[at]
    flow = got.flow[at]
    for _ in range(4):
        order = sound(np.maximum(lift + more, 0))
        flow = work(s.machine, speed_for(s.machine, got.power[at], top[at], order), order)[1]
        steady = s.site["linear"] * flow + s.site["square"] * flow**2
        more = 0.5 * more + 0.5 * (got.draw[at] + steady - drawn)
    return float(1 - got.flow[at].sum() / max(flow.sum(), 1e-9))


def slight_of(s: Season, fault: Fault, power: Power, got: Got, size: float) -> bool:
    """Whether nobody could ask for it: too short for the rows, never at full power, or a reading that stayed within its class."""
    on, cause, hour = fault.on, fault.cause, s.step_s / 3600
    least_h = max(0.5, 4 * s.spacing_s / 3600)
    if cause in HELD | LIGHT | {"silent", "dry-running"}:
        return not size >= (2.0 if cause == "silent" else least_h)
    if not (on & got.run).any() and cause not in ("sensor-fault", "over-voltage", "silent"):
        return True
    if cause in ARRAY or (cause == "cable-fault" and fault.part == "array"):
        # the array is seen only where it is the limit
        limited = on & got.run & (got.power > 0.95 * power.limit_w) & (power.best_w > 0.3 * s.site["full_w"])
        return bool(limited.sum() * hour < 5.0)
    if cause == "over-voltage":
        return bool(((fault.on) & (power.sun > 0)).sum() == 0)
    if cause in ("controller-trip", "short-cycling"):
        return s.spacing_s > 60 or not size > (1.0 if cause == "controller-trip" else 2.0)
    if cause == "sensor-fault":
        return (
            fault.kind in ("wet", "down")
            or (fault.kind == "up" and not (on & got.run).any())
            or (on & (power.sun > 50)).sum() * hour < 10
        )
    return cause == "riser-leak" and fault.part == "check-valve" and not size >= 0.05
