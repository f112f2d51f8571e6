"""Numbers, volumes, times and ages as people read them.

Flow: every view takes its figures from HERE.
A thin space parts thousands, in every language; the decimal mark is the language's.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from math import floor, isfinite, log10
from zoneinfo import ZoneInfo

from dashboard.languages import Words
from logger.record.causes import CAUSES
from logger.record.finding import Finding, Size

LITRES_BELOW_M3 = 100
"""A farmer reads litres; from here on the figure would be too long for a phone."""
THIN_SPACE = "\u202f"


@dataclass(frozen=True)
class Moment:
    """An instant to show: `iso` for machines, `text` in the site's own time."""

    iso: str
    text: str


def rounded(value: float, significant: int = 2) -> float:
    """`value` to so many digits: a page must not look surer than the figure is."""
    if value == 0 or not isfinite(value):
        return value
    return round(value, significant - 1 - floor(log10(abs(value))))


def number(value: float, words: Words, significant: int = 2) -> str:
    """`1 234,5` in the language's way, to so many significant digits."""
    shown = rounded(value, significant)
    decimals = 0 if shown == 0 else max(0, significant - 1 - floor(log10(abs(shown))))
    text = f"{shown:,.{decimals}f}".replace(",", THIN_SPACE)
    return text.replace(".", words("language.decimal"))


def water(value_m3: float, words: Words, significant: int = 2) -> str:
    """A volume for farmers: litres, or m3 where there are many."""
    if abs(value_m3) < LITRES_BELOW_M3:
        litres = rounded(value_m3 * 1000, significant)
        return words("water.litres", value=f"{litres:,.0f}".replace(",", THIN_SPACE))
    return words("water.cubic", value=number(value_m3, words, significant))


def cubic(value_m3: float, words: Words) -> str:
    """A volume for the service: m3."""
    return words("water.cubic", value=number(value_m3, words))


def moment(time_ms: int, timezone: str, words: Words, now_ms: int) -> Moment:
    """The site's own clock time, with the date where it is not today, and the year where it is not this one's."""
    zone = ZoneInfo(timezone)
    there, today = datetime.fromtimestamp(time_ms / 1000, zone), datetime.fromtimestamp(now_ms / 1000, zone)
    text = f"{there:%H:%M}"
    if there.date() != today.date():
        text = f"{date_text(there, words)} {text}" if there.year == today.year else date_text(there, words, year=True)
    return Moment(iso(time_ms), text)


def date_text(there: datetime, words: Words, year: bool = False) -> str:
    """`12 Nov`, or `12 Nov 2025`."""
    month = words.list("language.months")[there.month - 1]
    return f"{there.day} {month}" + (f" {there.year}" if year else "")


def day_of(time_ms: int, timezone: str, words: Words, now_ms: int) -> Moment:
    """The date alone, for what nobody knows to the minute."""
    zone = ZoneInfo(timezone)
    there, today = datetime.fromtimestamp(time_ms / 1000, zone), datetime.fromtimestamp(now_ms / 1000, zone)
    return Moment(iso(time_ms), date_text(there, words, year=there.year != today.year))


def iso(time_ms: int) -> str:
    """ISO 8601 in UTC, ending in Z."""
    return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def ms_of(text: str) -> int:
    """Milliseconds of an ISO 8601 time."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def age(age_ms: int, words: Words) -> str:
    """How old, coarse on purpose: 20 minutes, 5 hours, 3 days."""
    minutes = max(0, age_ms) // 60_000
    if minutes < 120:
        return words("age.minutes", count=minutes)
    if minutes < 48 * 60:
        return words("age.hours", count=minutes // 60)
    return words("age.days", count=minutes // 1440)


def size_text(size: Size | None, words: Words, interval: bool = False) -> str:
    """`30 % of the water lost`, with the 95 % interval behind it where asked; empty where the cause has no size."""
    if size is None:
        return ""

    def said(figure: float) -> str:
        if size.unit == "h":
            return age(3_600_000 * round(figure) if figure >= 2 else round(figure * 3_600_000), words)
        factor = 100 if size.unit == "fraction" else 1
        return f"{number(factor * figure, words)}{THIN_SPACE}{words('unit.' + size.unit)}".rstrip(THIN_SPACE)

    shown = words(f"quantity.{size.quantity.replace(' ', '-')}", value=said(size.value))
    if not interval or said(size.low) == said(size.high):
        return shown
    return words("finding.range", value=shown, low=said(size.low), high=said(size.high))


def since(finding: Finding, timezone: str, words: Words, now_ms: int) -> Moment:
    """When it began: to the minute where it comes on in minutes, else the day."""
    cause = CAUSES[finding.cause]
    to_the_minute = cause.urgent or cause.unit == "h"
    return (moment if to_the_minute else day_of)(ms_of(finding.began), timezone, words, now_ms)


def sureness(confidence: float) -> str:
    """The word for a confidence; its wording is `sure.<word>`."""
    for least, word in ((0.9, "nearly-certain"), (0.7, "likely"), (0.4, "possible")):
        if confidence >= least:
            return word
    return "unsure"


def percent(share: float, words: Words) -> str:
    """`93 %`; never 100, for nothing here is certain."""
    return f"{min(99, round(100 * share))}{THIN_SPACE}{words('unit.fraction')}"
