"""What a site is doing now and what each of its days gave: small facts for pages, made by the pipeline.

Flow: pipeline.py -> HERE -> store -> dashboard.
Never: judgement; wording for people.
"""

from dataclasses import dataclass, field
from typing import Literal

Doing = Literal[
    "pumping",
    "starting",
    "night",
    "too-little-sun",
    "tank-full",
    "well-recovering",
    "switched-off",
    "held-back",
    "stopped-by-fault",
    "silent",
    "unknown",
]


@dataclass(frozen=True)
class SiteNow:
    """One site at the instant `time_ms`. Water in m3; expected = what today's sun should have given so far.

    `low` and `high` bound the expected water with 95 %. None = not known with the sensors fitted.
    """

    site: str
    time_ms: int
    last_heard_ms: int | None
    doing: Doing
    water_today_m3: float | None = None
    expected_today_m3: float | None = None
    expected_low_m3: float | None = None
    expected_high_m3: float | None = None
    flow_m3_h: float | None = None
    expected_flow_m3_h: float | None = None
    input_power_w: float | None = None
    tank_float_up: bool | None = None
    tank_level_m: float | None = None


@dataclass(frozen=True)
class DaySummary:
    """One solar day of one site, by its local date (ISO 8601).

    `lost_m3` shares the missing water out, so that with `water_m3` it comes to `expected_m3` where no more came than that: by cause as
    the findings name it now, `tank-full`, `held-back`, `switched-off` for what is no fault, `not-counted` for what a lying meter missed,
    and `other` for what none of these explains, which a datasheet's tolerance and the sky make on any day.
    """

    site: str
    date: str
    water_m3: float | None
    expected_m3: float | None
    expected_low_m3: float | None
    expected_high_m3: float | None
    pumping_h: float
    sunny_h: float
    energy_wh: float | None
    insolation_wh_m2: float | None
    coverage: float
    lost_m3: dict[str, float] = field(default_factory=dict)
