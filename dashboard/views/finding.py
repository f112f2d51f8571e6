"""The page of one finding: the figures that led to it, and the pictures.

Flow: finding, its site, days and flow picture -> HERE -> templates/finding.html.
`evidence`, `check` and `advice` are the engine's own sentences, in English, for technicians.
"""

from dataclasses import dataclass
from datetime import datetime

from analysis.causes.registry import Advice
from analysis.explanation import OF_THE_ARRAY, TITLES, Explanation
from analysis.summary import DaySummary
from dashboard.languages import Words
from dashboard.views import advice
from dashboard.views.figures import cubic, date_text, day_of, moment, ms_of, number, percent, since, size_text, sureness
from dashboard.views.priority import SiteSeen
from logger.record.finding import Finding

RIVALS_MAX, RIVAL_LEAST = 3, 0.05
"""Beyond that a rival says nothing that anybody would act on."""

Headed = tuple[str, list[str]]
"""A heading and its sentences."""


@dataclass(frozen=True)
class DayRow:
    """One row of the table under the picture."""

    date: str
    water: str
    expected: str
    lost: str


@dataclass(frozen=True)
class Drawing:
    """One picture: its heading, the sentence below it, and safe SVG; without `svg`, `says` tells why there is none."""

    title: str
    says: str
    svg: str


@dataclass(frozen=True)
class FindingPage:
    """What the template prints. `facts`: pairs of label and text. `advice`: two columns of pairs of heading and sentences."""

    site_id: str
    site_name: str
    name: str
    state: str
    facts: list[tuple[str, str]]
    evidence: str
    check: str
    cautions: list[str]
    advice: list[list[Headed]]
    drawings: list[Drawing]
    days: list[DayRow]


def finding_page(
    site: SiteSeen, explained: Explanation, days: list[DaySummary], now_ms: int, words: Words
) -> FindingPage:
    """All that the page says of one finding."""
    finding = explained.finding
    return FindingPage(
        site_id=site.id,
        site_name=site.name,
        name=advice.name(finding, words),
        state=_state(finding, site, now_ms, words),
        facts=_facts(finding, site, now_ms, words),
        evidence=finding.evidence,
        check=finding.check,
        cautions=advice.cautions(finding, site.pump_kind, words),
        advice=_advice(explained.advice, words),
        drawings=_drawings(explained, words),
        days=[_day(day, words) for day in reversed(days)],
    )


def _advice(page: Advice, words: Words) -> list[list[Headed]]:
    """The engine's page for this cause at this pump and motor: for those who live with it, and for the technician with what hurts at
    licensed work; all other dangers stand above in the page's language."""
    at_work = [one.said for one in page.cautions if advice.LICENSED in one.dangers]
    for_technician = [(words("finding.technician"), list(page.technician))]
    if at_work:
        for_technician.append((words("finding.cautions_at_work"), at_work))
    return [[(words("finding.own"), list(page.own))], for_technician]


def _drawings(explained: Explanation, words: Words) -> list[Drawing]:
    """The picture that speaks most of this cause first; of those that every finding should have, why there is none."""

    def said(date: str) -> str:
        return date_text(datetime.fromisoformat(date), words)

    shown = {name: explained.drawing(name, words, said) for name in explained.pictures}
    wanted = [name for name, drawn in shown.items() if drawn]
    curve = "power-against-sun" if explained.finding.cause in OF_THE_ARRAY else "flow-against-power"
    wanted += [name for name in (curve, "water-by-day") if name not in wanted]
    return [
        Drawing(
            words(f"finding.{TITLES[name]}_picture"),
            words(f"finding.{TITLES[name]}_{'picture_says' if shown.get(name) else 'none'}"),
            shown.get(name, ""),
        )
        for name in wanted
    ]


def _state(finding: Finding, site: SiteSeen, now_ms: int, words: Words) -> str:
    if finding.withdrawn:
        said = words("finding.withdrawn", reason=finding.withdrawn)
    elif finding.ended:
        said = words("finding.over", time=day_of(ms_of(finding.ended), site.timezone, words, now_ms).text)
    else:
        said = words("finding.still")
    said = said[0].upper() + said[1:]
    return f"{said}. {words('finding.revision', count=finding.revision)}" if finding.revision > 1 else f"{said}."


def _facts(finding: Finding, site: SiteSeen, now_ms: int, words: Words) -> list[tuple[str, str]]:
    def day(iso: str) -> str:
        return day_of(ms_of(iso), site.timezone, words, now_ms).text

    rivals = [
        f"{words(f'cause.{one.cause}.name')}, {percent(one.confidence, words)}"
        for one in finding.also_possible[:RIVALS_MAX]
        if one.confidence >= RIVAL_LEAST
    ]
    sure = f"{words('sure.' + sureness(finding.confidence))}, {percent(finding.confidence, words)}"
    pairs = [
        ("began", since(finding, site.timezone, words, now_ms).text),
        ("flagged", moment(ms_of(finding.flagged), site.timezone, words, now_ms).text),
        ("ended", day(finding.ended) if finding.ended else ""),
        ("size", size_text(finding.size, words, interval=True)),
        ("sure", sure),
        ("lost", cubic(finding.water_lost_m3, words) if finding.water_lost_m3 is not None else ""),
        ("part", words(f"part.{finding.part}") if finding.part else ""),
        ("channel", _channel(finding.channel, words)),
        ("also_possible", "; ".join(rivals)),
    ]
    return [(words(f"finding.{key}"), said) for key, said in pairs if said]


def _channel(channel: str | None, words: Words) -> str:
    if channel is None:
        return ""
    return words(f"channel.{channel}") if words.has(f"channel.{channel}") else channel


def _day(day: DaySummary, words: Words) -> DayRow:
    lost = [
        f"{_lost_to(name, words)} {number(amount, words)}"
        for name, amount in sorted(day.lost_m3.items(), key=lambda pair: -pair[1])
        if amount > 0
    ]
    return DayRow(
        day.date,
        "" if day.water_m3 is None else number(day.water_m3, words),
        "" if day.expected_m3 is None else number(day.expected_m3, words),
        "; ".join(lost),
    )


def _lost_to(name: str, words: Words) -> str:
    for key in (f"cause.{name}.name", f"lost.{name}"):
        if words.has(key):
            return words(key)
    return name
