"""The objects of the API, so that its description names every field.

Flow: rows of the store -> HERE -> JSON. Times are ISO 8601 in UTC; names carry their unit.
"""

from dataclasses import asdict
from typing import Any

from pydantic import BaseModel, Field

from analysis.summary import DaySummary, Doing, SiteNow
from dashboard.views.figures import iso
from dashboard.views.priority import LevelName
from logger.record.finding import Finding


class SiteOut(BaseModel):
    """One site in a list."""

    id: str
    name: str
    timezone: str
    level: LevelName = Field(description="how urgent: act now, look at it, no news, resting, all well")
    open_findings: int


class NowOut(BaseModel):
    """What a site does now. Expected = what today's sun should have given so far, with a 95 % interval."""

    site: str
    time: str
    last_heard: str | None
    doing: Doing
    level: LevelName
    water_today_m3: float | None
    expected_today_m3: float | None
    expected_low_m3: float | None
    expected_high_m3: float | None
    flow_m3_h: float | None
    expected_flow_m3_h: float | None
    input_power_w: float | None
    tank_float_up: bool | None
    tank_level_m: float | None


class SizeOut(BaseModel):
    """How bad, with its 95 % interval."""

    quantity: str
    value: float
    low: float
    high: float
    unit: str


class RivalOut(BaseModel):
    """Another cause that the same figures allow."""

    cause: str
    confidence: float


class FindingOut(BaseModel):
    """One thing wrong at one site."""

    site: str
    id: str
    revision: int
    cause: str
    first_cause: str
    part: str | None
    channel: str | None
    began: str
    flagged: str
    ended: str | None
    confidence: float
    also_possible: list[RivalOut]
    size: SizeOut | None
    water_lost_m3: float | None
    evidence: str
    check: str
    withdrawn: str | None = None
    raised: str | None = None
    outside: dict[str, Any] | None = None


class DayOut(BaseModel):
    """One solar day by its local date. `lost_m3`: water missing, by cause or reason."""

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
    lost_m3: dict[str, float]


class ReadingsOut(BaseModel):
    """Readings as columns of equal length; null = not measured or not readable.

    Where `every_s` is set, the rows are thinned: a measure is the mean over that many seconds, with its lowest and highest
    as `<channel>_min` and `<channel>_max`; a counter, flag or code is the last one. `time` is then the start of the interval.
    """

    site: str
    rows: int = Field(description="readings that there are in the span, before thinning")
    every_s: int | None
    time: list[str]
    channels: dict[str, list[float | None]]


class BoardOut(BaseModel):
    """What the board last said of itself, and what the server refused of it."""

    presence: dict[str, Any] | None
    health: dict[str, Any] | None
    refused: list[dict[str, Any]]


class PointsOut(BaseModel):
    """Binned readings: mean x and y of each bin, the middle half of its y, and its weight in hours."""

    x: list[float]
    y: list[float]
    low: list[float]
    high: list[float]
    hours: list[float]


class FlowPictureOut(BaseModel):
    """Flow against power: the expected curve with its 95 % band, and the readings before and after.

    `scale`: what the datasheet's curve was multiplied by, from what came before.
    """

    power_w: list[float]
    expected_m3_h: list[float | None]
    low: list[float | None]
    high: list[float | None]
    before: PointsOut
    after: PointsOut
    scale: float


class ArrayPictureOut(BaseModel):
    """The array's power at its maximum against the sun: likewise, in W over W/m2. `sun_measured`: else it is a clear sky's."""

    sun_w_m2: list[float]
    expected_w: list[float | None]
    low: list[float | None]
    high: list[float | None]
    before: PointsOut
    after: PointsOut
    scale: float
    sun_measured: bool


class WhoOut(BaseModel):
    """Who is signed in. `sites` null = every site."""

    name: str
    role: str
    sites: list[str] | None


def now_out(now: SiteNow, level: LevelName) -> NowOut:
    """The store's row as an object of the API."""
    known = asdict(now)
    heard = now.last_heard_ms
    return NowOut(
        **{key: known[key] for key in known if key not in ("time_ms", "last_heard_ms")},
        time=iso(now.time_ms),
        last_heard=None if heard is None else iso(heard),
        level=level,
    )


def finding_out(site: str, finding: Finding) -> FindingOut:
    """A finding with its site."""
    return FindingOut(site=site, **finding.as_dict())


def day_out(day: DaySummary) -> DayOut:
    """A day."""
    return DayOut(**asdict(day))
