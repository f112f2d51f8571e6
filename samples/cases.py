"""Cases for the diagnosis: a site that nobody chose, a plant within its tolerances, faults at times nobody chose.

Flow: a seed -> site facts (sizing.py), plant, faults, readings, truth -> the diagnosis bench.
Never: what the analysis expects.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd

from logger.record.site_facts import MotorKind, PumpKind, SiteFacts, Visit
from samples.dirt import Dirt
from samples.draws import CAUSE_SHARES, days_between, draw_fault
from samples.faults import Fault
from samples.plant.array import Horizon
from samples.plant.drawn import Likeness, latitude_climate
from samples.plant.streams import stream
from samples.season import live_season
from samples.sizing import Recipe, size_site
from samples.truth import Truth

SEASON_START = datetime(2025, 9, 1, tzinfo=UTC)
FIT_SHARES = {"full": 0.4, "middle": 0.35, "lean": 0.15, "lean-power": 0.10}


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
    facts = _with_switch(_with_visits(facts, faults), faults)
    season = live_season(
        facts,
        faults,
        SEASON_START,
        end,
        step,
        seed,
        likeness=_likeness(rng, facts),
        dirt=_dirt(rng) if dirty else Dirt(),
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
        motor: MotorKind = "permanent-magnet" if kind == "helical-rotor" or rng.random() < 0.5 else "induction"
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
            found.append(Fault(cause, begins, begins + timedelta(days=days_between(rng, low, high)), severity))
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


def _with_switch(facts: SiteFacts, faults: list[Fault]) -> SiteFacts:
    """Where someone switches it off by hand the switch is read: nothing else tells that from a pump that will not start."""
    if not any(fault.cause == "switched-off" for fault in faults) or "switched_on" in facts.sensors.channels:
        return facts
    return replace(facts, sensors=replace(facts.sensors, channels=(*facts.sensors.channels, "switched_on")))


def _likeness(rng: np.random.Generator, facts: SiteFacts) -> Likeness:
    horizon: tuple[Horizon, ...] = ()
    if rng.random() < 0.2:
        begin = float(rng.uniform(50, 110) if rng.random() < 0.5 else rng.uniform(240, 290))
        horizon = (
            Horizon(begin, begin + float(rng.uniform(15, 50)), float(rng.uniform(8, 22)), float(rng.uniform(0.4, 1.0))),
        )
    usual = latitude_climate(facts.site.latitude_deg, facts.site.altitude_m)
    climate = replace(
        usual, cloud_mean=float(rng.uniform(0.14, 0.42)), cloud_season=float(rng.uniform(0.05, 0.3)),
        dust_per_day=float(rng.uniform(0.0002, 0.0015)), dust_most=float(rng.uniform(0.005, 0.027)),
        mean_c=usual.mean_c + float(rng.normal(0, 2)), wind_m_s=float(rng.uniform(1.5, 4.0)),
    )  # fmt: skip
    return Likeness(horizon=horizon, climate=climate)


def _dirt(rng: np.random.Generator) -> Dirt:
    if rng.random() < 0.3:
        return Dirt()
    return Dirt(
        dropped_share=float(rng.choice([0, 0.001, 0.01, 0.05])), null_share=float(rng.choice([0, 0, 0.002, 0.01])),
        doubled_share=float(rng.choice([0, 0.002])), shuffled_rows=int(rng.choice([0, 0, 30])),
        short_gaps=float(rng.choice([0, 0.2, 1.0])), clock_drift_ppm=float(rng.choice([0, 0, 40.0, -60.0])),
        register_restart=bool(rng.random() < 0.1), jitter_s=float(rng.choice([0, 0, 0.4])),
    )  # fmt: skip
