"""Draws one fault of each cause: when, how long, how bad, in which of its ways.

Flow: a random stream, site facts -> HERE -> cases.py.
Never: effects on the plant (faults.py).
"""

# ruff: noqa: ARG001  all drawers have one signature, needed or not

from datetime import datetime, timedelta
from typing import Any, Literal

import numpy as np

from logger.record.site_facts import SiteFacts
from samples.faults import Fault

CAUSE_SHARES = {
    "dry-running": 6, "clogging": 9, "closed-delivery": 4, "worn-pump": 8, "broken-shaft": 4, "riser-leak": 8,
    "falling-water-level": 7, "panel-soiling": 9, "shading": 5, "string-out": 7, "controller-derating": 5, "cable-fault": 6,
    "reverse-rotation": 3, "failed-start": 5, "stalled-motor": 4, "over-voltage": 3, "controller-trip": 5,
    "short-cycling": 4, "sensor-fault": 9, "silent": 5, "unexplained": 3,
}  # fmt: skip


def draw_fault(rng: np.random.Generator, cause: str, facts: SiteFacts, start: datetime, end: datetime) -> Fault:
    """A fault of this cause, somewhere between the fourth week and the last days, as bad as comes up."""
    span = (end - start).total_seconds() / 86400.0
    begins = start + timedelta(days=float(rng.uniform(min(28, 0.3 * span), 0.75 * span)))
    length, severity, part, channel, shape, options = _DRAWS[cause](rng, facts)
    ends = None if length is None else begins + timedelta(days=length)
    if ends is not None and ends > end:
        ends = None
    return Fault(cause, begins, ends, severity, part, channel, shape, options)


Drawn = tuple[float | None, float, str | None, str | None, Literal["step", "ramp", "intermittent"], dict[str, Any]]


def _pick(rng: np.random.Generator, *choices: Any) -> Any:
    return choices[int(rng.integers(len(choices)))]


def days_between(rng: np.random.Generator, low: float, high: float) -> float:
    """Days, as likely between 2 and 4 as between 20 and 40."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _plain(
    low: float,
    high: float,
    worst: float = 0.0,
    mild: float = 0.0,
    ramps: bool = False,
    parts: tuple = (None,),
    options=None,
):
    """A drawer: lasts `low` to `high` days (or, one time in three, to the end); severity between `mild` and `worst`."""

    def draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
        lasting = ramps and rng.random() < 0.33
        shape: Any = "ramp" if ramps and rng.random() < 0.6 else "step"
        more = dict(options(rng, facts)) if options else {}
        if shape == "ramp":
            more["ramp_days"] = days_between(rng, 8, 60)
        return (
            None if lasting else days_between(rng, low, high),
            float(rng.uniform(mild, worst)),
            _pick(rng, *parts),
            None,
            shape,
            more,
        )

    return draw


def _shade_options(rng: np.random.Generator, facts: SiteFacts) -> dict[str, Any]:
    morning = rng.random() < 0.5
    middle = 82.0 if morning else 278.0
    return {
        "from_deg": middle - rng.uniform(18, 40),
        "to_deg": middle + rng.uniform(18, 40),
        "height_deg": rng.uniform(25, 50),
    }


def _string_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    strings = facts.array.strings
    if strings < 2 or rng.random() < 0.25:
        return days_between(rng, 8, 50), 1.0, None, None, "step", {"modules": _pick(rng, 1 / 3, 1 / 3, 1.0)}
    return days_between(rng, 4, 50), 1.0, None, None, _pick(rng, "step", "step", "intermittent"), {}


def _cable_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    part = _pick(rng, "array", "motor")
    mode = "joint" if part == "array" else _pick(rng, "joint", "joint", "leak", "phase")
    shape: Literal["step", "ramp"] = _pick(rng, "step", "ramp") if mode != "phase" else "step"
    return (
        days_between(rng, 8, 60),
        float(rng.uniform(0.07, 0.2)),
        part,
        None,
        shape,
        {"mode": mode, "ramp_days": days_between(rng, 4, 20)},
    )


def _level_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    spare = facts.pump.setting_depth_m - facts.well.static_level_m
    return None, float(rng.uniform(0.12, 0.45) * spare), _pick(rng, "resting", "resting", "drawdown"), None, "ramp", {
        "ramp_days": days_between(rng, 15, 70)
    }  # fmt: skip


def _over_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    array, module = facts.array, facts.array.module
    mild = float(rng.uniform(34, 50))  # deg C at full light: as many volts as a bright morning's 16 to 32 deg C
    volts = module.v_oc_v * (1 + module.temp_coeff_v_oc_pct_c / 100 * (mild - 25))
    more = facts.controller.max_input_voltage_v / volts - array.modules_in_series
    return days_between(rng, 10, 60), more, None, None, "step", {}


def _sensor_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    ways = {
        "low_level_probe_wet": [("dry", 0.0), ("wet", 0.0)], "tank_float_up": [("down", 0.0), ("up", 0.0)],
        "water_level_m": [("drift", 0.15), ("stuck", 0.0)], "irradiance_w_m2": [("stuck", 0.0), ("drift", 2.0), ("dirty", 0.2)],
        "volume_m3": [("dead", 0.0), ("under-reading", 0.3)], "discharge_pressure_bar": [("stuck", 0.0), ("drift", 0.03)],
        "module_temp_c": [("stuck", 0.0), ("drift", 0.5)], "motor_current_a": [("stuck", 0.0), ("missing", 0.0)],
        "ambient_temp_c": [("stuck", 0.0)], "pv_current_a": [("under-reading", 0.2)],
    }  # fmt: skip
    fitted = [
        name
        for name in ways
        if name in facts.sensors.channels and not (name == "low_level_probe_wet" and rng.random() < 0.3)
    ]
    channel = _pick(rng, *fitted)
    mode, severity = _pick(rng, *ways[channel])
    return days_between(rng, 6, 60), severity * float(rng.uniform(0.8, 1.4)), None, channel, "step", {"mode": mode}


def _dry_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    probe = "wet" if rng.random() < 0.7 else "true"
    return (
        days_between(rng, 0.3, 5),
        float(rng.uniform(0.8, 1.0)),
        None,
        None,
        _pick(rng, "step", "step", "intermittent"),
        {"probe": probe},
    )


def _odd_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    mode = _pick(rng, "drag", "surge")
    return days_between(rng, 8, 60), float(rng.uniform(0.2, 0.4)), None, None, "step", {"mode": mode}


_DRAWS = {
    "dry-running": _dry_draw, "clogging": _plain(8, 60, 0.5, 0.15, True, ("intake", "pump", "delivery")),
    "closed-delivery": _plain(0.15, 2), "worn-pump": _plain(40, 150, 0.35, 0.1, True),
    "broken-shaft": _plain(1, 12), "riser-leak": _plain(10, 70, 0.5, 0.12, True, ("wall", "wall", "check-valve")),
    "falling-water-level": _level_draw, "panel-soiling": _plain(15, 80, 0.3, 0.08, True),
    "shading": _plain(20, 90, 1.0, 0.5, options=_shade_options), "string-out": _string_draw,
    "controller-derating": _plain(8, 60, 60, 38), "cable-fault": _cable_draw, "reverse-rotation": _plain(2, 15),
    "failed-start": _plain(0.8, 10), "stalled-motor": _plain(0.5, 10), "over-voltage": _over_draw,
    "controller-trip": _plain(3, 20, 4, 0.6), "short-cycling": _plain(3, 20, 20, 8), "sensor-fault": _sensor_draw,
    "silent": _plain(0.6, 6), "unexplained": _odd_draw,
}  # fmt: skip
assert set(_DRAWS) == set(CAUSE_SHARES)
