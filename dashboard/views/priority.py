"""What needs doing first.

Flow: findings and the present of a site -> HERE -> views/sign.py, views/fleet.py.
The order: harm to people or pump, then water at stake times certainty, then silence, then what is only to be looked at.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

from analysis.summary import SiteNow
from dashboard.views.figures import ms_of
from logger.record.causes import CAUSES
from logger.record.finding import Finding

HARMS_PEOPLE = {"cable-fault"}
"""A wet splice may put the wellhead under voltage."""
HARM_CONFIDENCE_MIN = 0.5
"""Below it, harm is likelier not to be there: such a finding is looked at in its turn, not first."""
QUIET_MS = 30 * 60_000
"""Boards send each minute or so; half an hour without news is more than a poor link's pause (our choice)."""
DAY_MS = 86_400_000


class Level(IntEnum):
    """How urgent a site is; lower comes first."""

    ACT = 0
    LOOK = 1
    UNKNOWN = 2
    REST = 3
    GOOD = 4


LevelName = Literal["act", "look", "unknown", "rest", "good"]
LEVEL_NAMES: dict[Level, LevelName] = {
    Level.ACT: "act",
    Level.LOOK: "look",
    Level.UNKNOWN: "unknown",
    Level.REST: "rest",
    Level.GOOD: "good",
}


@dataclass(frozen=True)
class SiteSeen:
    """All that a row or a page says of one site.

    `findings`: the open ones, in any order. `sun_measured`: False where what is expected rests on a clear sky.
    `pump_kind`: what can hurt depends on it. `channels`: what is fitted there.
    """

    id: str
    name: str
    timezone: str
    now: SiteNow | None
    pump_kind: str
    findings: tuple[Finding, ...] = ()
    sun_measured: bool = True
    channels: frozenset[str] = frozenset()


def harms(finding: Finding) -> bool:
    """People or pump come to harm if nobody acts."""
    dangerous = finding.cause in HARMS_PEOPLE or CAUSES[finding.cause].urgent or _guard_is_lost(finding)
    return dangerous and finding.confidence >= HARM_CONFIDENCE_MIN


def _guard_is_lost(finding: Finding) -> bool:
    return finding.cause == "sensor-fault" and finding.channel == "low_level_probe_wet"


def at_stake_m3_d(finding: Finding, now_ms: int) -> float:
    """Water lost a day so far, times how sure we are. 0 where the loss is not known."""
    days = max(1.0, (now_ms - ms_of(finding.began)) / DAY_MS)
    return finding.confidence * (finding.water_lost_m3 or 0.0) / days


def by_need(findings: tuple[Finding, ...], now_ms: int) -> list[Finding]:
    """The findings of one site, what needs doing first at the front."""

    def key(one: Finding) -> tuple:
        silent = one.cause == "silent"
        return (not harms(one), silent, -at_stake_m3_d(one, now_ms), -one.confidence, one.began, one.id)

    return sorted(findings, key=key)


def is_quiet(site: SiteSeen, now_ms: int) -> bool:
    """Nothing was heard for so long that what we show is the past."""
    heard = site.now.last_heard_ms if site.now else None
    return heard is None or now_ms - heard > QUIET_MS


def level(site: SiteSeen, now_ms: int) -> Level:
    """The sign of a site."""
    if any(harms(one) for one in site.findings):
        return Level.ACT
    if any(one.cause != "silent" for one in site.findings):
        return Level.LOOK
    if site.findings or is_quiet(site, now_ms) or site.now is None or site.now.doing in ("silent", "unknown"):
        return Level.UNKNOWN
    if site.now.doing == "stopped-by-fault":
        return Level.LOOK
    return Level.GOOD if site.now.doing in ("pumping", "starting", "held-back") else Level.REST


def order(site: SiteSeen, now_ms: int) -> tuple:
    """Sorts sites: level, then water at stake, then how sure, then name."""
    first = by_need(site.findings, now_ms)[:1]
    stake = sum(at_stake_m3_d(one, now_ms) for one in site.findings)
    sure = first[0].confidence if first else 0.0
    return (level(site, now_ms), -stake, -sure, site.name.casefold(), site.id)


def present_ms(clock_ms: int, sites: list[SiteSeen]) -> int:
    """The instant to measure ages by: the clock, or the newest site's time where a replay runs ahead of the clock."""
    return max([clock_ms, *(site.now.time_ms for site in sites if site.now)])
