"""What was really wrong and how bad, in the contract's own measures, against the healthy twin.

Flow: a lived season and its faults -> HERE -> truth.json, the diagnosis bench.
The twin of a fault is the same plant under the same sky with every fault but this one.
Never: readings.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from logger.record.causes import CAUSES
from samples.faults import Fault, effects_of, epoch, weight
from samples.plant.array import supply
from samples.plant.run import blank
from samples.plant.simulate import Lived, live_day

Floats = NDArray[np.float64]
HOUR_S = 3600.0


@dataclass(frozen=True)
class Truth:
    """A fault as it was. `size` in the cause's measure over the fault's days, None where it has none or nothing ran.

    `size_last`: the same over its last three days, for faults that grow. `hours`: from beginning to end, by the clock.
    `water_lost_m3` against the twin at the same input power, where water was lost.
    """

    cause: str
    part: str | None
    channel: str | None
    began: datetime
    ended: datetime | None
    size: float | None
    size_last: float | None
    hours: float
    water_lost_m3: float | None
    harmless: bool = False


def truths(lived: Lived, faults: list[Fault], start_s: float, end_s: float) -> list[Truth]:
    """One Truth for each fault that fell between `start_s` and `end_s` and came to anything; harmless ones are marked."""
    found = []
    for fault in faults:
        begins, ends = max(epoch(fault.begins), start_s), min(epoch(fault.ends), end_s)
        if ends <= begins:
            continue
        time_s = lived.sky.unix_s
        there = (weight(fault, time_s) > 0) & (time_s > start_s) & (time_s <= end_s)
        last = there & (time_s > ends - 3 * 86400.0)
        size, water = (None, None) if fault.harmless else _measure(lived, faults, fault, there)
        if not fault.harmless and not _showed(fault, size):
            continue
        size_last, _ = (None, None) if size is None else _measure(lived, faults, fault, last)
        lasting = epoch(fault.ends) > end_s
        found.append(
            Truth(
                fault.cause, fault.part, fault.channel, _utc(begins), None if lasting else _utc(ends), size, size_last,
                (ends - begins) / HOUR_S, water, fault.harmless,
            )
        )  # fmt: skip
    return found


def _showed(fault: Fault, size: float | None) -> bool:
    """Whether the fault came to anything at all: one that falls into a still night is nobody's to find."""
    quantity = CAUSES[fault.cause].quantity
    return quantity not in ("duration", "volts above rating", "trips per day", "starts per hour") or (size or 0.0) > 0.0


def _utc(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


def _measure(
    lived: Lived, faults: list[Fault], fault: Fault, there: NDArray[np.bool_]
) -> tuple[float | None, float | None]:
    quantity = CAUSES[fault.cause].quantity
    if quantity == "flow lost":
        return flow_lost(lived, faults, fault, there)
    if quantity in ("array power lost", "daily energy lost", "energy lost", "power lost"):
        return _power(lived, faults, fault, there), None
    hours = lived.scene.step_s / HOUR_S
    run = lived.run
    if quantity == "extra lift":
        return _extra_lift(lived, faults, fault, there), None
    if quantity == "volts above rating":
        seen = np.where(there & (run.driven_s <= 0), lived.offer.open_v, 0.0)  # a loaded array stands far lower
        return float(np.max(seen)) - lived.plant.facts.controller.max_input_voltage_v, None
    if quantity in ("trips per day", "starts per hour"):
        return _rate(lived, there, quantity), None
    if quantity is None or not there.any():
        return None, None
    wanted = run.wanted_w > lived.plant.control.start_w
    state = {
        "failed-start": wanted & (run.driven_s <= 0), "silent": lived.sky.elevation_deg > 0,
        "stalled-motor": wanted & (run.rpm <= 0), "closed-delivery": wanted,
    }.get(fault.cause, run.rpm > 0)  # fmt: skip
    return float((there & state).sum() * hours), None


def flow_lost(
    lived: Lived, faults: list[Fault], fault: Fault, there: NDArray[np.bool_]
) -> tuple[float | None, float | None]:
    """(1 - delivered / what the twin delivers from the same input power and resting level, m3 lost) where running.

    Hours held back are left out unless nothing else is there.
    """
    run, scene = lived.run, lived.scene
    others = [other for other in faults if other is not fault]
    twin_effects = effects_of(others)(lived.plant, lived.sky)
    twin_scene = replace(scene, effects=twin_effects, forced_w=np.where(run.rpm > 0, run.input_w, 0.0))
    twin = blank(run.flow.shape)
    live_day(twin_scene, lived.begins, twin, np.arange(run.flow.shape[1]))
    running = there & (run.rpm > 0)
    free = running & (run.input_w > 0.96 * lived.plant.control.mppt_share * lived.offer.power_w)
    used = free if free.sum() > 0.05 * running.sum() else running
    healthy = float(twin.flow[used].sum())
    if healthy <= 0:
        return None, None
    lost = 1.0 - float(run.flow[used].sum()) / healthy
    water = float((twin.flow - run.flow)[running].sum() * scene.step_s / HOUR_S)
    return lost, water


def _power(lived: Lived, faults: list[Fault], fault: Fault, there: NDArray[np.bool_]) -> float | None:
    """Share of power or energy lost under the same sky, over the daylight of the days in which the fault was there."""
    others = [other for other in faults if other is not fault]
    quantity = CAUSES[fault.cause].quantity
    whole = np.broadcast_to(there.any(axis=0), there.shape) if quantity == "daily energy lost" else there
    if fault.cause == "cable-fault" and fault.part != "array":
        return _motor_cable(lived, there)
    if fault.cause == "controller-derating":
        limit = lived.plant.facts.controller.max_power_w
        healthy = np.minimum(lived.offer.power_w * lived.plant.control.mppt_share, limit)
        used = there & (lived.run.rpm > 0)
        total = float(healthy[used].sum())
        return None if total <= 0 else 1.0 - float(lived.run.wanted_w[used].sum()) / total
    clean = supply(lived.plant.panels, lived.sky, effects_of(others)(lived.plant, lived.sky))
    used = whole & (clean.power_w > 20.0)
    total = float(clean.power_w[used].sum())
    return None if total <= 0 else 1.0 - float(lived.offer.power_w[used].sum()) / total


def _motor_cable(lived: Lived, there: NDArray[np.bool_]) -> float | None:
    """Share of the input power that the joint, the lost phase or the splice takes."""
    run, motor, fx = lived.run, lived.plant.motor, lived.scene.effects
    used = there & (run.rpm > 0)
    if not used.any():
        return None
    lead = {name: np.asarray(fx[name]) for name in ("phase_lost", "motor_ohm", "leak_w")}
    with_fault = motor.input_w(run.torque_nm, run.rpm, lead)
    without = motor.input_w(run.torque_nm, run.rpm, {"phase_lost": 0.0, "motor_ohm": 0.0, "leak_w": 0.0})
    return 1.0 - float(without[used].sum() / with_fault[used].sum())


def _extra_lift(lived: Lived, faults: list[Fault], fault: Fault, there: NDArray[np.bool_]) -> float | None:
    """m that the level stands lower than without the fault, at the flow that was pumped, where running (resting: always)."""
    others = effects_of([other for other in faults if other is not fault])(lived.plant, lived.sky)
    deeper = np.broadcast_to(np.asarray(lived.scene.effects["static_m"]) - np.asarray(others["static_m"]), there.shape)
    if fault.part == "drawdown":
        harder = np.asarray(lived.scene.effects["drawdown"])
        drawn = lived.run.level_m - lived.scene.resting_m - np.asarray(lived.scene.effects["static_m"])
        used = there & (lived.run.rpm > 0)
        return float((drawn * harder / (1 + harder))[used].mean()) if used.any() else None
    return float(deeper[there].mean()) if there.any() else None


def _rate(lived: Lived, there: NDArray[np.bool_], quantity: str) -> float | None:
    run = lived.run
    sunny = there & (run.wanted_w > lived.plant.control.start_w)
    if quantity == "trips per day":
        starts = (run.code >= 12) & (run.code <= 14) & there
        begins = starts & ~np.vstack([np.zeros_like(starts[:1]), starts[:-1]])
        days = max(1.0, float(there.any(axis=0).sum()))
        return float(begins.sum()) / days
    on = run.running > 0.5
    begins = on & ~np.vstack([np.zeros_like(on[:1]), on[:-1]]) & there
    hours = float(sunny.sum()) * lived.scene.step_s / HOUR_S
    return float(begins.sum()) / hours if hours > 0 else None
