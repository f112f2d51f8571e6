"""Cases for the diagnosis: a site that nobody chose, a plant within its tolerances, faults at times nobody chose.

Flow: a seed -> site facts (sizing.py), plant, faults, readings, truth -> the diagnosis bench.
Never: what the analysis expects.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from typing import Any, Literal

import numpy as np
import pandas as pd

from logger.record.site_facts import PumpKind, SiteFacts, Visit
from samples.dirt import Dirt
from samples.faults import Fault
from samples.plant.array import Horizon
from samples.plant.drawn import Likeness
from samples.plant.streams import stream
from samples.season import live_season
from samples.sizing import FIT_OUTS, Recipe, size_site
from samples.truth import Truth

SEASON_START = datetime(2025, 9, 1, tzinfo=timezone.utc)
FIT_SHARES = {"full": 0.4, "middle": 0.35, "lean": 0.15, "lean-power": 0.10}
CAUSE_SHARES = {
    "dry-running": 6, "clogging": 9, "closed-delivery": 4, "worn-pump": 8, "broken-shaft": 4, "riser-leak": 8,
    "falling-water-level": 7, "panel-soiling": 9, "shading": 5, "string-out": 7, "controller-derating": 5, "cable-fault": 6,
    "reverse-rotation": 3, "failed-start": 5, "stalled-motor": 4, "over-voltage": 3, "controller-trip": 5,
    "short-cycling": 4, "sensor-fault": 9, "silent": 5, "unexplained": 3,
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One case. `truths` hold real faults only; `harmless`, what merely looks like one."""

    seed: int
    facts: SiteFacts
    frame: pd.DataFrame
    truths: list[Truth]
    harmless: list[Truth]
    faults: list[Fault]
    fit: str


def draw_case(
    seed: int,
    kind: PumpKind | None = None,
    fit: str | None = None,
    days: int = 212,
    step_s: int | None = None,
    causes: tuple[str, ...] | None = None,
    healthy: bool | None = None,
    dirty: bool = True,
) -> Case:
    """The case of `seed`; what is given is not drawn. About a third of the cases have no fault.

    fit
        of samples.sizing.FIT_OUTS.
    causes
        the faults to draw, in this order, instead of one or two of any kind.
    """  # fmt: skip
    rng = stream(seed, "case")
    kind = kind or ("helical-rotor", "multistage-centrifugal")[int(rng.integers(2))]
    fit = fit or str(rng.choice(list(FIT_SHARES), p=list(FIT_SHARES.values())))
    facts = draw_site(seed, kind, fit)
    step = step_s or int(rng.choice([60, 60, 60, 60, 30, 120, 300, 600, 900]))
    end = SEASON_START + timedelta(days=days)
    named = causes if causes is not None else _draw_causes(rng, healthy)
    faults = [draw_fault(rng, cause, facts, SEASON_START, end) for cause in named]
    faults = _apart(faults) + _draw_harmless(rng, SEASON_START, end)
    facts = _with_visits(facts, faults)
    season = live_season(
        facts, faults, SEASON_START, end, step, seed, likeness=_likeness(rng), dirt=_dirt(rng) if dirty else Dirt()
    )
    real = [truth for truth in season.truths if not truth.harmless]
    return Case(seed, facts, season.frame, real, [t for t in season.truths if t.harmless], faults, fit)


def draw_site(seed: int, kind: PumpKind, fit: str) -> SiteFacts:
    """An installation that nobody chose: flow, lift, place, motor, layout and sensors drawn, parts fitting together.

    ValueError: thirty draws in a row found no array for the pump.
    """
    for attempt in range(30):
        rng = stream(seed, f"site {attempt}")
        south = rng.random() < 0.6
        motor = "permanent-magnet" if kind == "helical-rotor" or rng.random() < 0.5 else "induction"
        recipe = Recipe(
            f"case-{seed}", f"Case {seed}", kind, round(float(np.exp(rng.uniform(np.log(1.2), np.log(9.0)))), 2),
            round(float(rng.uniform(14, 90)), 1), round(float(rng.uniform(2, 18)), 1), fit,
            round(float(rng.uniform(-32, -18) if south else rng.uniform(9, 17)), 3), round(float(rng.uniform(-8, 30)), 3),
            float(round(rng.uniform(150, 1500))), "Africa/Johannesburg" if south else "Africa/Niamey", motor,
            float(rng.choice([5, 10, 20, 30, 50])), None, float(rng.choice([0.001, 0.01, 0.01, 0.1])) if fit == "full"
            else float(rng.choice([0.01, 0.01, 0.1])),
        )  # fmt: skip
        try:
            return size_site(recipe, seed * 31 + attempt)
        except ValueError:
            continue
    raise ValueError(f"seed {seed}: no array fits the pump drawn")


def _draw_causes(rng: np.random.Generator, healthy: bool | None) -> tuple[str, ...]:
    none = rng.random() < 0.35 if healthy is None else healthy
    count = 0 if none else int(rng.choice([1, 1, 1, 2]))
    shares = np.array(list(CAUSE_SHARES.values()), float)
    return tuple(str(c) for c in rng.choice(list(CAUSE_SHARES), size=count, replace=False, p=shares / shares.sum()))


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


def _days(rng: np.random.Generator, low: float, high: float) -> float:
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
            more["ramp_days"] = _days(rng, 8, 60)
        return (
            None if lasting else _days(rng, low, high),
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
        return _days(rng, 8, 50), 1.0, None, None, "step", {"modules": _pick(rng, 1 / 3, 1 / 3, 1.0)}
    return _days(rng, 4, 50), 1.0, None, None, _pick(rng, "step", "step", "intermittent"), {}


def _cable_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    part = _pick(rng, "array", "motor")
    mode = "joint" if part == "array" else _pick(rng, "joint", "joint", "leak", "phase")
    shape = _pick(rng, "step", "ramp") if mode != "phase" else "step"
    return (
        _days(rng, 8, 60),
        float(rng.uniform(0.07, 0.2)),
        part,
        None,
        shape,
        {"mode": mode, "ramp_days": _days(rng, 4, 20)},
    )


def _level_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    spare = facts.pump.setting_depth_m - facts.well.static_level_m
    return None, float(rng.uniform(0.12, 0.45) * spare), _pick(rng, "resting", "resting", "drawdown"), None, "ramp", {
        "ramp_days": _days(rng, 15, 70)
    }  # fmt: skip


def _over_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    array, module = facts.array, facts.array.module
    cold = 1 + module.temp_coeff_v_oc_pct_c / 100 * (8 - 25)
    spare = facts.controller.max_input_voltage_v / (module.v_oc_v * cold) - array.modules_in_series
    return _days(rng, 10, 60), float(np.floor(max(spare, 0)) + 1), None, None, "step", {}


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
    return _days(rng, 6, 60), severity * float(rng.uniform(0.8, 1.4)), None, channel, "step", {"mode": mode}


def _dry_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    probe = "wet" if rng.random() < 0.7 else "true"
    return (
        _days(rng, 0.3, 5),
        float(rng.uniform(0.8, 1.0)),
        None,
        None,
        _pick(rng, "step", "step", "intermittent"),
        {"probe": probe},
    )


def _odd_draw(rng: np.random.Generator, facts: SiteFacts) -> Drawn:
    mode = _pick(rng, "drag", "surge")
    return _days(rng, 8, 60), float(rng.uniform(0.2, 0.4)), None, None, "step", {"mode": mode}


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


def _apart(faults: list[Fault]) -> list[Fault]:
    """No more of a kind than one; what stops the pump altogether does not last over what needs it to run."""
    stops = {
        "broken-shaft",
        "failed-start",
        "stalled-motor",
        "closed-delivery",
        "reverse-rotation",
        "dry-running",
        "silent",
    }
    if len(faults) < 2 or not any(fault.cause in stops for fault in faults):
        return faults
    return sorted(
        (replace(f, ends=min(f.ends or f.begins + timedelta(days=4), f.begins + timedelta(days=4))) if f.cause in stops else f
         for f in faults), key=lambda fault: fault.begins,
    )  # fmt: skip


def _draw_harmless(rng: np.random.Generator, start: datetime, end: datetime) -> list[Fault]:
    found = []
    span = (end - start).total_seconds() / 86400
    for cause, chance, severity, low, high in (
        ("tank-full", 0.25, 0.03, 8, 30), ("speed-turned-down", 0.12, 0.7, 5, 60), ("switched-off", 0.2, 0.0, 0.2, 3),
        ("thirsty-herd", 0.15, 2.0, 5, 40),
    ):  # fmt: skip
        if rng.random() < chance:
            begins = start + timedelta(days=float(rng.uniform(0, 0.8 * span)))
            found.append(Fault(cause, begins, begins + timedelta(days=_days(rng, low, high)), severity))
    return found


def _with_visits(facts: SiteFacts, faults: list[Fault]) -> SiteFacts:
    """What people would have written down: the repair that ended a fault, the lead work that began one."""
    kinds = {
        "panel-soiling": "panels-washed",
        "worn-pump": "pump-lifted",
        "clogging": "pump-lifted",
        "broken-shaft": "pump-lifted",
    }
    visits = []
    for fault in faults:
        if fault.cause in kinds and fault.ends is not None:
            visits.append(Visit(fault.ends.date(), kinds[fault.cause]))  # type: ignore[arg-type]
        if fault.cause == "reverse-rotation":
            visits.append(Visit(fault.begins.date(), "leads-moved"))
    return replace(facts, visits=tuple(sorted(visits, key=lambda visit: visit.date)))


def _likeness(rng: np.random.Generator) -> Likeness:
    horizon: tuple[Horizon, ...] = ()
    if rng.random() < 0.2:
        begin = float(rng.uniform(50, 110) if rng.random() < 0.5 else rng.uniform(240, 290))
        horizon = (
            Horizon(begin, begin + float(rng.uniform(15, 50)), float(rng.uniform(8, 22)), float(rng.uniform(0.4, 1.0))),
        )
    return Likeness(horizon=horizon)


def _dirt(rng: np.random.Generator) -> Dirt:
    if rng.random() < 0.3:
        return Dirt()
    return Dirt(
        dropped_share=float(rng.choice([0, 0.001, 0.01, 0.05])), null_share=float(rng.choice([0, 0, 0.002, 0.01])),
        doubled_share=float(rng.choice([0, 0.002])), shuffled_rows=int(rng.choice([0, 0, 30])),
        short_gaps=float(rng.choice([0, 0.2, 1.0])), clock_drift_ppm=float(rng.choice([0, 0, 40.0, -60.0])),
        register_restart=bool(rng.random() < 0.1), jitter_s=float(rng.choice([0, 0, 0.4])),
    )  # fmt: skip


assert set(_DRAWS) == set(CAUSE_SHARES) and set(FIT_SHARES) == set(FIT_OUTS)
