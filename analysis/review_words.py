"""A review in plain words for the terminal: what, since when, how bad, how sure, water lost, what to check first, what to beware of.

Flow: season.Review -> HERE -> rich.
Never: figures of its own.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

from rich.console import Group
from rich.padding import Padding
from rich.text import Text

from analysis.causes.registry import all_causes
from analysis.season import Review
from logger.record.causes import CAUSES
from logger.record.finding import Finding, Size

SURE = ((0.9, "almost certain"), (0.7, "likely"), (0.5, "more likely than not"), (0.0, "possible"))


def summary_of(review: Review) -> Group:
    """Everything a person needs of one site's review."""
    zone = ZoneInfo(review.facts.site.timezone)
    first, last = (datetime.fromtimestamp(ms / 1000, zone) for ms in (review.from_ms, review.to_ms))
    lines: list = [Text(f"{review.facts.site.name} ({review.facts.site.id})", style="bold")]
    coverage = "" if review.coverage is None else f", readings for {review.coverage:.0%} of the daylight"
    lines.append(Text(f"{first:%Y-%m-%d} to {last:%Y-%m-%d}: {review.rows:,} row{'s' * (review.rows != 1)}{coverage}."))
    lines += [Text(line) for line in _dropped(review)]
    lines += [Text(f"Note: {note}.") for note in review.notes]
    lines += [Text(f"Warning: {said}.", style="bold") for said in review.not_judged]
    if not review.findings:
        lines.append(
            Text(
                "Nothing wrong was found in what could be judged." if review.not_judged else "Nothing wrong was found."
            )
        )
    for finding in sorted(review.findings, key=lambda one: (one.ended is not None, one.began)):
        lines.append(Padding(Group(_of(finding, zone), _beware(finding, review)), (1, 0, 0, 2)))
    return Group(*lines, Text(""))


def _dropped(review: Review) -> list[str]:
    said = {
        "duplicate": "came twice",
        "conflicting": "contradicted another row of the same time",
        "unreadable": "could not be read",
    }
    parts = [f"{review.dropped[name]:,} {words}" for name, words in said.items() if review.dropped.get(name)]
    return [f"Rows left out: {'; '.join(parts)}."] if parts else []


def _beware(finding: Finding, review: Review) -> Text:
    """The nearest danger of going there to look, before those of licensed work, and where the whole page is."""
    facts = review.facts
    cautions = all_causes()[finding.cause].advice_at(facts.pump.kind, facts.motor.kind).cautions
    nearest = sorted(cautions, key=lambda one: one.dangers == ("licensed",))[0]
    return Text(f"  beware: {nearest.said} The whole page: wellhand explain --finding {finding.id}")


def finding_words(finding: Finding, timezone: str) -> Group:
    """One finding in words; its times by the clock of the time zone."""
    return _of(finding, ZoneInfo(timezone))


def _of(finding: Finding, zone: ZoneInfo) -> Group:
    part = f" ({finding.part or finding.channel})" if finding.part or finding.channel else ""
    over = f"; over since {_day(finding.ended, zone)}" if finding.ended else "; still so"
    lines = [
        Text(f"{finding.cause}{part}: {CAUSES[finding.cause].meaning}", style="" if finding.ended else "bold"),
        Text(f"  since {_day(finding.began, zone)}, noticed {_day(finding.flagged, zone)}{over}"),
    ]
    how = [_size(finding.size)] if finding.size else []
    how += [f"about {finding.water_lost_m3:.1f} m3 of water lost"] if finding.water_lost_m3 else []
    if how:
        lines.append(Text(f"  how bad: {'; '.join(how)}"))
    rivals = ", ".join(f"{one.cause} {one.confidence:.0%}" for one in finding.also_possible)
    sure = next(words for least, words in SURE if finding.confidence >= least)
    lines.append(Text(f"  how sure: {sure} ({finding.confidence:.0%})" + (f"; else {rivals}" if rivals else "")))
    lines.append(Text(f"  why: {finding.evidence}"))
    lines.append(Text(f"  check first: {finding.check}"))
    return Group(*lines)


def _size(size: Size) -> str:
    if size.unit == "fraction":
        return f"{size.quantity} {size.value:.0%} (between {size.low:.0%} and {size.high:.0%})"
    return f"{size.quantity} {size.value:.3g} {size.unit} (between {size.low:.3g} and {size.high:.3g})"


def _day(text: str | None, zone: ZoneInfo) -> str:
    return datetime.fromisoformat(text).astimezone(zone).strftime("%Y-%m-%d %H:%M %Z") if text else "?"
