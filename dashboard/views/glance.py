"""The farmer's page of one site: one sign, water today, what is wrong, what to do.

Flow: SiteSeen -> HERE -> templates/_glance.html.
What is older than `QUIET_MS` is shown as the past, with its age.
"""

from dataclasses import dataclass
from html import escape

from analysis.summary import SiteNow
from dashboard.languages import Words
from dashboard.views import advice
from dashboard.views.bar import water_bar
from dashboard.views.figures import Moment, age, moment, number, since, water
from dashboard.views.priority import SiteSeen, by_need, is_quiet
from dashboard.views.sign import Sign, sign

NOTHING_M3 = 0.001
METERS, OF_THE_TANK = {"volume_m3", "flow_m3_h"}, {"tank_float_up", "tank_level_m"}
_LESS = {"tank-full": "less_tank", "switched-off": "less_switched_off"}
"""Less water for a reason that is no fault is not said to be wrong."""


@dataclass(frozen=True)
class Wrong:
    """One finding for the farmer."""

    id: str
    said: str
    since: Moment
    steps: list[str]
    cautions: list[str]


@dataclass(frozen=True)
class WaterToday:
    """`bar` is safe SVG, empty where there is nothing to compare."""

    value: str
    lines: list[str]
    bar: str


@dataclass(frozen=True)
class Glance:
    """The page. `past` is the age in words where the figures are old; `aloud` is what a screen reader is told;
    `all_known`: we hear enough to say that nothing is wrong."""

    id: str
    name: str
    sign: Sign
    doing: str
    past: str | None
    wrong: list[Wrong]
    water: WaterToday
    tank: str
    heard: Moment | None
    aloud: str
    all_known: bool


def glance(site: SiteSeen, now_ms: int, words: Words) -> Glance:
    """All that the page says at `now_ms`."""
    quiet = is_quiet(site, now_ms)
    now = site.now
    shown = sign(site, now_ms, words)
    doing = words(f"doing.{'silent' if quiet else now.doing if now else 'unknown'}")
    wrong = [_wrong(one, site, now_ms, words) for one in by_need(site.findings, now_ms)]
    heard_ms = now.last_heard_ms if now else None
    return Glance(
        id=site.id,
        name=site.name,
        sign=shown,
        doing=doing,
        past=words("was.age", age=age(now_ms - heard_ms, words)) if quiet and heard_ms is not None else None,
        wrong=wrong,
        water=water_known(site, now_ms, words) if quiet else water_today(site, words),
        tank=tank(site, words),
        heard=moment(heard_ms, site.timezone, words, now_ms) if heard_ms is not None else None,
        aloud=" ".join([f"{site.name}: {shown.word}.", doing, *(one.said for one in wrong[:1])]),
        all_known=not quiet and now is not None and now.doing not in ("silent", "unknown"),
    )


def _wrong(finding, site: SiteSeen, now_ms: int, words: Words) -> Wrong:
    return Wrong(
        finding.id,
        advice.hedged_name(finding, words),
        since(finding, site.timezone, words, now_ms),
        advice.steps(finding, words),
        advice.cautions(finding, site.pump_kind, words),
    )


def _no_water(site: SiteSeen, words: Words) -> WaterToday:
    """Nothing came of a meter that is there, or there is none."""
    return WaterToday(words("water.not_heard" if site.channels & METERS else "water.not_measured"), [], "")


def water_known(site: SiteSeen, now_ms: int, words: Words) -> WaterToday:
    """The same of a site that is not heard: what was known, and no judgement, for nobody knows what came since."""
    now = site.now
    if now is None or now.water_today_m3 is None or now.last_heard_ms is None:
        return _no_water(site, words)
    heard = moment(now.last_heard_ms, site.timezone, words, now_ms)
    return WaterToday(water(now.water_today_m3, words, 3), [words("water.until", time=heard.text)], "")


def water_today(site: SiteSeen, words: Words) -> WaterToday:
    """The day's water against what the day's sun, or a clear sky where nobody measures it, should have given by now."""
    now = site.now
    if now is None or now.water_today_m3 is None:
        return _no_water(site, words)
    came = water(now.water_today_m3, words, 3)
    if now.expected_today_m3 is None:
        return WaterToday(came, [], "")
    expected = now.expected_today_m3
    low = max(0.0, expected if now.expected_low_m3 is None else now.expected_low_m3)
    high = expected if now.expected_high_m3 is None else now.expected_high_m3
    if max(expected, high, now.water_today_m3) < NOTHING_M3:
        return WaterToday(came, [words("water.nothing_yet")], "")
    said = {"expected": water(expected, words), "low": water(low, words), "high": water(high, words)}
    lines = [words(f"water.{key}", **said) for key in _judged(site, now, low, high)]
    label = escape(words("water.picture", water=came, **said), quote=True)
    return WaterToday(came, lines, water_bar(now.water_today_m3, expected, low, high, label))


def _judged(site: SiteSeen, now: SiteNow, low: float, high: float) -> list[str]:
    """The sentences to say. Less water is called wrong only where the sun is measured and a fault is known."""
    came = now.water_today_m3 or 0.0
    if came > high:
        verdict = "more"
    elif came >= low:
        verdict = "as_it_should"
    else:
        verdict = _LESS.get(now.doing, "less" if site.findings else "less_no_fault")
    if site.sun_measured:
        return [verdict, "of", "between"]
    return ["of_clear"] if verdict == "less" else [verdict, "of_clear"]


def tank(site: SiteSeen, words: Words) -> str:
    """What is known of the tank."""
    now, unknown = site.now, words("tank.not_heard" if site.channels & OF_THE_TANK else "tank.not_measured")
    if now is None:
        return unknown
    level = None if now.tank_level_m is None else words("tank.level", level=number(now.tank_level_m, words))
    if now.tank_float_up is None:
        return level or unknown
    full = words("tank.full" if now.tank_float_up else "tank.not_full")
    return f"{full}, {level}" if level else full
