"""The list of what to do next over all sites.

Flow: list of SiteSeen -> HERE -> templates/_rows.html.
"""

from dataclasses import dataclass

from dashboard.languages import Words
from dashboard.views import advice
from dashboard.views.figures import Moment, age, cubic, moment, percent, since, size_text, sureness
from dashboard.views.priority import Level, SiteSeen, by_need, is_quiet, level, order
from dashboard.views.sign import Sign, sign

ROWS_MAX = 100
"""A page; the rest is a click away, so that a phone never loads a whole country."""


@dataclass(frozen=True)
class Row:
    """One site. Texts are empty where there is nothing to say."""

    id: str
    name: str
    sign: Sign
    what: str
    finding_id: str | None
    more: str
    since: Moment | None
    size: str
    sure: str
    lost: str
    heard: Moment | None
    quiet: str


@dataclass(frozen=True)
class Fleet:
    """The list. `first` and `last` count from 1; `total` is after the filter."""

    rows: list[Row]
    summary: str
    first: int
    last: int
    total: int
    any_site: bool


def fleet(sites: list[SiteSeen], now_ms: int, words: Words, asked: str = "", start: int = 0) -> Fleet:
    """Rows in the order of what needs doing; `asked`: words that a row must all have."""
    ordered = sorted(sites, key=lambda site: order(site, now_ms))
    wanted = asked.casefold().split()
    fitting = [site for site in ordered if not wanted or _has(site, now_ms, words, wanted)]
    shown = fitting[start : start + ROWS_MAX]
    return Fleet(
        rows=[_row(site, now_ms, words) for site in shown],
        summary=_summary(sites, now_ms, words),
        first=start + 1 if shown else 0,
        last=start + len(shown),
        total=len(fitting),
        any_site=bool(sites),
    )


def _has(site: SiteSeen, now_ms: int, words: Words, wanted: list[str]) -> bool:
    said = [site.id, site.name, sign(site, now_ms, words).word, *(advice.name(one, words) for one in site.findings)]
    text = " ".join([*said, *(one.cause for one in site.findings)]).casefold()
    return all(word in text for word in wanted)


def _summary(sites: list[SiteSeen], now_ms: int, words: Words) -> str:
    levels = [level(site, now_ms) for site in sites]
    return words(
        "fleet.summary",
        act=levels.count(Level.ACT),
        look=levels.count(Level.LOOK),
        unknown=levels.count(Level.UNKNOWN),
        good=levels.count(Level.GOOD) + levels.count(Level.REST),
    )


def _row(site: SiteSeen, now_ms: int, words: Words) -> Row:
    ranked = by_need(site.findings, now_ms)
    first = ranked[0] if ranked else None
    heard_ms = site.now.last_heard_ms if site.now else None
    quiet = is_quiet(site, now_ms)
    doing = words(f"doing.{'silent' if quiet else site.now.doing}") if site.now else words("heard.never")
    lost = [one.water_lost_m3 for one in site.findings if one.water_lost_m3]
    return Row(
        id=site.id,
        name=site.name,
        sign=sign(site, now_ms, words),
        what=advice.name(first, words) if first else doing,
        finding_id=first.id if first else None,
        more=words("fleet.also", count=len(ranked) - 1) if len(ranked) > 1 else "",
        since=since(first, site.timezone, words, now_ms) if first else None,
        size=size_text(first.size, words) if first else "",
        sure=f"{words('sure.' + sureness(first.confidence))}, {percent(first.confidence, words)}" if first else "",
        lost=cubic(sum(lost), words) if lost else "",
        heard=moment(heard_ms, site.timezone, words, now_ms) if heard_ms is not None else None,
        quiet=words("fleet.stale", age=age(now_ms - heard_ms, words)) if quiet and heard_ms is not None else "",
    )
