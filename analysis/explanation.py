"""What led to a finding: its figures and pictures, as data and drawn.

Flow: rows, days, finding -> HERE -> explain_files.py, notebooks, dashboard/evidence.py.
Never: reading files or the store; judgement.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from analysis.advice_words import advice_told
from analysis.causes.registry import Advice, all_causes
from analysis.course import Course, course_of, course_span
from analysis.departures import departures
from analysis.drawing import svg
from analysis.drawing.course_svg import course_svg
from analysis.drawing.curve_svg import array_svg, flow_svg
from analysis.drawing.day_svg import day_svg
from analysis.drawing.share_svg import share_svg
from analysis.drawing.words import Words, english
from analysis.picture_frames import frame_of
from analysis.pictures import ArrayPicture, FlowPicture, array_picture_of, columns_of, flow_picture_of
from analysis.rows import Rows, joined
from analysis.shares import Shares, shares_of
from analysis.summary import DaySummary
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts

if TYPE_CHECKING:
    import pandas as pd

DAY_MS = 86_400_000
WEEK_MS = 7 * DAY_MS
"""On each side: a week holds all of the sun's range, and is read in a moment."""
DAYS_BEFORE, DAYS_AFTER = 14, 106
"""Four months in all: a season's slow fault is seen whole, and a bar is still wide enough for a phone."""
OF_THE_ARRAY = frozenset(
    {"panel-soiling", "shading", "string-out", "controller-derating", "over-voltage", "cable-fault"}
)
OF_ONE_CHANNEL = frozenset({"unexplained", "sensor-fault"})
"""Which channel left the others is the whole matter there."""
OF_AN_HOUR = frozenset(
    {
        "dry-running", "closed-delivery", "broken-shaft", "failed-start", "stalled-motor", "over-voltage", "controller-trip",
        "short-cycling", "silent", "reverse-rotation",
    }
)  # fmt: skip
"""What happens within minutes, and is seen in the hours around."""
TITLES = {
    "hours-around": "course", "array-share": "array_share", "power-against-sun": "sun", "flow-share": "flow_share",
    "flow-against-power": "flow", "water-by-day": "day",
}  # fmt: skip
Picture = FlowPicture | ArrayPicture | Shares | Course | tuple[DaySummary, ...]


@dataclass(frozen=True)
class Explanation:
    """One finding with what led to it. `pictures`: by name (TITLES), what speaks most of this cause first.

    `departed`: where no named cause or a sensor is blamed, how far each channel left what the others say of it (departures.py).
    """

    facts: SiteFacts
    finding: Finding
    pictures: dict[str, Picture]
    departed: dict[str, float] = field(default_factory=dict)

    @property
    def advice(self) -> Advice:
        """What to do about its cause at this pump and motor, for whom, and what can hurt."""
        return all_causes()[self.finding.cause].advice_at(self.facts.pump.kind, self.facts.motor.kind)

    def frame(self, name: str) -> "pd.DataFrame":
        """A picture's figures as a table; its columns say their units. KeyError: this finding has no such picture."""
        return frame_of(self.pictures[name])

    def as_dict(self) -> dict[str, Any]:
        """The finding, its page of advice, and every picture's table column by column; what is not known is null."""
        tables = {name: _plain(self.frame(name)) for name in self.pictures}
        told = {"departed": {name: round(away, 2) for name, away in self.departed.items()}} if self.departed else {}
        return {
            "site": self.facts.site.id,
            "finding": self.finding.as_dict(),
            "advice": advice_told(self.advice),
            "pictures": tables,
            **told,
        }

    def title(self, name: str) -> str:
        """Heading of a picture."""
        said = english(f"finding.{TITLES[name]}_picture")
        return f"{self.facts.site.name}: {self.finding.cause}. {said}"

    def drawing(self, name: str, words: Words = english, said: Callable[[str], str] = str) -> str:
        """A picture as SVG within a page, in the page's words. `said`: a date (ISO 8601) as the reader writes it. KeyError: none of that name."""
        picture, finding, zone = self.pictures[name], self.finding, self.facts.site.timezone
        if isinstance(picture, FlowPicture):
            return flow_svg(picture, words)
        if isinstance(picture, ArrayPicture):
            return array_svg(picture, words)
        if isinstance(picture, Shares):
            return share_svg(picture, ms_of(finding.began), zone, words, said)
        if isinstance(picture, Course):
            return course_svg(
                picture, ms_of(finding.began), ms_of(finding.flagged), zone, words, self.silent_until_ms(picture), said
            )
        began = datetime.fromisoformat(finding.began).astimezone(ZoneInfo(zone)).date().isoformat()
        return day_svg(list(picture), began, words, said)

    def silent_until_ms(self, course: Course) -> int | None:
        """Until when nothing came, as far as the picture reaches; None for what is no silence. [ms]"""
        if self.finding.cause != "silent":
            return None
        return min(ms_of(self.finding.ended), course.span_ms[1]) if self.finding.ended else course.span_ms[1]

    def svg(self, name: str) -> str:
        """A picture as an SVG document. KeyError: this finding has no such picture."""
        return svg.standalone(self.drawing(name), self.title(name), english(f"finding.{TITLES[name]}_picture_says"))


def explain(
    site: SiteFacts,
    readings: "Rows | pd.DataFrame",
    finding: Finding,
    days: Iterable[DaySummary] = (),
    with_departures: bool = True,
) -> Explanation:
    """The figures and pictures that led to a finding.

    Parameters
    ----------
    site : SiteFacts
    readings : Rows or DataFrame
        Of the weeks around it, in any order; more does no harm. Frames as `review_season` takes them.
    finding : Finding
    days : iterable of DaySummary
        Of the review or the store; those around the finding are shown.
    with_departures : bool
        Without them no time is spent on `departed`, which takes seconds: a page is wanted at once.

    Returns
    -------
    Explanation
        `.advice`, `.pictures`, `.frame(name)`, `.svg(name)`, `.as_dict()`. A picture that no reading speaks of is left out.
    """
    from analysis.season import rows_of_frame

    rows = readings if isinstance(readings, Rows) else rows_of_frame(readings)
    end_ms = int(rows.time_ms.max()) if len(rows) else ms_of(finding.flagged)
    spans = spans_around(finding, end_ms)
    rows = joined([rows.take((rows.time_ms >= start) & (rows.time_ms < end)) for start, end in spans])
    plant, seen = columns_of(site, rows)
    began_ms, ended_ms = ms_of(finding.began), ms_of(finding.ended) if finding.ended else None
    flow, array = flow_picture_of(plant, seen, began_ms), array_picture_of(plant, seen, began_ms)
    span = course_span(began_ms, ms_of(finding.flagged), ended_ms, finding.cause)
    of_array, of_one = finding.cause in OF_THE_ARRAY, finding.cause in OF_ONE_CHANNEL
    found: dict[str, Picture | None] = {
        "flow-share": None if of_array else shares_of(plant, seen, began_ms, "flow"),
        "flow-against-power": flow if has_marks(flow) else None,
        "water-by-day": days_around(days, finding, end_ms) or None,
        "hours-around": course_of(plant, seen, span, finding.cause, finding.channel, began_ms),
        "array-share": (
            shares_of(plant, seen, began_ms, "array", finding.cause == "controller-derating")
            if of_array or of_one
            else None
        ),
        "power-against-sun": array if has_marks(array) else None,
    }
    kept = {name: picture for name in _order(finding.cause, list(found)) if (picture := found[name]) is not None}
    return Explanation(site, finding, kept, departures(seen, began_ms) if of_one and with_departures else {})


def _order(cause: str, names: list[str]) -> list[str]:
    """What speaks most of this cause first."""
    first = ["hours-around"] if cause in OF_AN_HOUR or cause == "sensor-fault" else []
    first += ["array-share", "power-against-sun"] if cause in OF_THE_ARRAY else []
    return first + [name for name in names if name not in first]


def spans_around(finding: Finding, end_ms: int) -> list[tuple[int, int]]:
    """Which readings the pictures need, without overlap: the week before it began, the hours around, the week up to where it was
    flagged, which led to it, and its last week.

    `end_ms`: now, or the last reading, where it still lasts. Each from and up to but without. [ms]
    """
    began, flagged = ms_of(finding.began), ms_of(finding.flagged)
    ended = ms_of(finding.ended) if finding.ended else end_ms
    hours = course_span(began, flagged, ms_of(finding.ended) if finding.ended else None, finding.cause)
    merged: list[tuple[int, int]] = []
    led = (max(began, flagged - WEEK_MS), flagged + 1)
    last = (max(began, ended - WEEK_MS), ended + 1)
    for start, stop in sorted([(began - WEEK_MS, began), hours, led, last]):
        if merged and start <= merged[-1][1]:
            merged[-1] = merged[-1][0], max(merged[-1][1], stop)
        elif start < stop:
            merged.append((start, stop))
    return merged


def dates_around(finding: Finding, end_ms: int) -> tuple[str, str]:
    """First and last local date (one day of margin for time zones) from two weeks before it to its end or now, at most
    `DAYS_AFTER` after its beginning."""
    began = datetime.fromtimestamp(ms_of(finding.began) / 1000, UTC)
    last = datetime.fromtimestamp((ms_of(finding.ended) if finding.ended else end_ms) / 1000, UTC)
    last = min(last, began + timedelta(days=DAYS_AFTER)) + timedelta(days=1)
    return (began - timedelta(days=DAYS_BEFORE)).date().isoformat(), last.date().isoformat()


def days_around(days: Iterable[DaySummary], finding: Finding, end_ms: int) -> tuple[DaySummary, ...]:
    """Of all days those to show, where any has water."""
    first, last = dates_around(finding, end_ms)
    shown = tuple(day for day in days if first <= day.date <= last)
    return shown if any(day.water_m3 is not None or day.expected_m3 is not None for day in shown) else ()


def has_marks(picture: FlowPicture | ArrayPicture) -> bool:
    """Does any reading speak?"""
    return bool(len(picture.before.x) + len(picture.after.x))


def ms_of(text: str) -> int:
    """ISO 8601 to milliseconds since the epoch."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def _plain(frame: "pd.DataFrame") -> dict[str, list]:
    return {
        str(name): [None if isinstance(value, float) and not np.isfinite(value) else value for value in column.tolist()]
        for name, column in frame.items()
    }
