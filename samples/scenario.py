"""The invented landscape: its sites, what went wrong at each in the months before, and what can be switched on live.

Flow: sites/*.toml -> HERE -> history.py (the season before), live.py (what follows), the demo.
All times hang on the instant at which the live run starts. Never: analysis.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

from logger.record.site_facts import SiteFacts, Visit
from logger.record.site_file import load_site
from samples.faults import Fault
from samples.plant.array import Horizon
from samples.plant.drawn import Likeness

SITES = Path(__file__).parent / "sites"
HISTORY_DAYS = 150
SOUTH, NORTH = 4021, 4022  # landscapes: those of one share their days' weather
Speaks = Literal["modbus", "text", "none"]


@dataclass(frozen=True)
class SampleSite:
    """One site of the scenario.

    `speaks`: how its controller answers when live; none = history only. `expected`: the cause that a reviewer should find
    open at the end of the history, None at a healthy site. `live_fault`: what the demo switches on, None = nothing.
    `facts`: as in the file, with commissioning and visits set to the story's dates.
    """

    id: str
    facts: SiteFacts
    fit: str
    seed: int
    likeness: Likeness
    faults: tuple[Fault, ...]
    speaks: Speaks
    live_fault: str | None
    expected: str | None


def scenario(live_start: datetime, history_days: int = HISTORY_DAYS) -> list[SampleSite]:
    """All sites, for a live run that starts at `live_start` (with time zone) after `history_days` of history."""
    ago = _Ago(live_start, history_days)
    return [
        _site("ochre-pan", "full", 11, ago, Likeness(flow=0.95), speaks="modbus", live_fault="dry-running"),
        _site("kestrel-ridge", "full", 12, ago, Likeness(flow=1.03), speaks="modbus", live_fault="closed-delivery"),
        _site(
            "thornwell", "middle", 13, ago, Likeness(), (Fault("dry-running", ago(1.3), None, 1.0, options={"probe": "wet"}),),
            "modbus", None, "dry-running",
        ),
        _site(
            "mica-hollow", "middle", 14, ago, Likeness(),
            (Fault("clogging", ago(48), None, 0.42, "intake", shape="ramp", options={"ramp_days": 30}),),
            "modbus", None, "clogging",
        ),
        _site(
            "dustmill", "full", 15, ago, Likeness(),
            (Fault("panel-soiling", ago(100), ago(62), 0.14, shape="ramp"),
             Fault("panel-soiling", ago(50), None, 0.22, shape="ramp", options={"ramp_days": 45})),
            "modbus", None, "panel-soiling", (("panels-washed", 62),),
        ),
        _site(
            "cistern-hill", "middle", 16, ago, Likeness(demand_m3_day=26.0), (Fault("tank-full", ago(45), ago(17), 0.02),),
            "modbus",
        ),
        _site("twin-aloes", "lean", 17, ago, Likeness(demand_m3_day=24.0), (Fault("string-out", ago(21), None, 1.0),),
              "modbus", None, "string-out"),
        _site(
            "grindstone", "full", 18, ago, Likeness(),
            (Fault("worn-pump", ago(110), None, 0.2, shape="ramp", options={"ramp_days": 90}),), "text", None, "worn-pump",
        ),
        _site("far-gate", "lean-power", 19, ago, Likeness(horizon=(Horizon(70, 105, 14, 0.8),)), speaks="modbus"),
        _site(
            "lantern-hill", "full", 20, ago, Likeness(landscape_seed=NORTH),
            (Fault("falling-water-level", ago(80), None, 6.0, "resting", shape="ramp", options={"ramp_days": 70}),),
            "modbus", None, "falling-water-level",
        ),
        _site(
            "quiet-fold", "middle", 21, ago, Likeness(),
            (Fault("silent", ago(33), ago(29.6)), Fault("speed-turned-down", ago(20), ago(8), 0.7)), "text", "stalled-motor",
        ),
    ]  # fmt: skip


@dataclass(frozen=True)
class _Ago:
    """Instants counted back from the live start, in days; none before the history begins."""

    live_start: datetime
    history_days: int

    def __call__(self, days: float) -> datetime:
        return self.live_start - timedelta(days=min(days, self.history_days - 30.0) if days > 10 else days)


def _site(
    name: str, fit: str, seed: int, ago: _Ago, likeness: Likeness, faults: tuple[Fault, ...] = (), speaks: Speaks = "none",
    live_fault: str | None = None, expected: str | None = None, visits: tuple[tuple[str, float], ...] = (),
) -> SampleSite:  # fmt: skip
    facts = load_site(SITES / f"{name}.toml")
    began = (ago.live_start - timedelta(days=ago.history_days)).date()
    told = tuple(Visit(ago(days).date(), kind) for kind, days in visits)  # type: ignore[arg-type]
    facts = replace(facts, sensors=replace(facts.sensors, commissioned=began), visits=told)
    if likeness.landscape_seed is None:
        likeness = replace(likeness, landscape_seed=SOUTH if facts.site.latitude_deg < 0 else NORTH)
    if likeness.demand_m3_day is None:
        likeness = replace(likeness, demand_m3_day=7.5 * max(row.flow_m3_h for row in facts.pump.curve))
    return SampleSite(name, facts, fit, seed, likeness, faults, speaks, live_fault, expected)
