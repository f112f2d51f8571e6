"""What came of what should have: above by day, below by hour of the sun's way or by power. Its axis does not begin at 0.

Flow: analysis.shares -> HERE -> SVG text.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from analysis.drawing import svg
from analysis.drawing.curve_svg import diamonds, rings
from analysis.drawing.words import Words
from analysis.pictures import Points
from analysis.shares import Shares

HEIGHT, GAP = 380.0, 38.0
LEAST_SPAN, ROOM = 0.12, 0.1
"""The least that the axis spans, so that chance does not look like a fault; and what it leaves free above and below, of what it spans."""
DAY_MS = 86_400_000
POWERS = ("low", "middle", "high")


@dataclass(frozen=True)
class _Panel:
    """Where a panel lies: its scales, and a line for each middle."""

    x: svg.Scale
    y: svg.Scale

    def marks(self, before: Points, after: Points) -> str:
        return self._some(before, "before", rings) + self._some(after, "after", diamonds)

    def level(self, value: float, kind: str, start: float, end: float) -> str:
        return (
            f'<path class="{kind} line" d="M{self.x(start)} {self.y(value)}H{self.x(end)}"/>' if value == value else ""
        )

    def band(self, low: float, high: float) -> str:
        left, right = self.x(self.x.low), self.x(self.x.high)
        top, bottom = self.y(high), self.y(low)
        return f'<rect class="normal" x="{left}" y="{top}" width="{right - left:.1f}" height="{bottom - top:.1f}"/>'

    def _some(self, points: Points, kind: str, shape: Callable[[list[tuple[float, float]]], str]) -> str:
        whiskers = "".join(
            f"M{self.x(at):g} {self.y(low):g}V{self.y(high):g}"
            for at, low, high in zip(points.x, points.low, points.high, strict=True)
        )
        pixels = [(self.x(float(at)), self.y(float(value))) for at, value in zip(points.x, points.y, strict=True)]
        return (f'<path class="{kind} whisker" d="{whiskers}"/>' if whiskers else "") + shape(pixels)


def share_svg(shares: Shares, began_ms: int, timezone: str, words: Words, said: Callable[[str], str]) -> str:
    """The drawing. `said`: a date (ISO 8601) as the reader writes it."""
    legend, top = svg.legend(_legend(shares, words))
    bottom = HEIGHT - svg.BOTTOM
    middle = 0.5 * (top + bottom)
    low, high = span_of(shares)
    upper = _Panel(_times(shares), svg.Scale(low, high, middle - 0.5 * GAP, top))
    lower = _Panel(_parts(shares), svg.Scale(low, high, bottom, middle + 0.5 * GAP))
    inside = [legend, *(svg.grid_between(panel.y, words("language.decimal"), factor=100.0) for panel in (upper, lower))]
    if shares.usual_low == shares.usual_low:
        inside += [panel.band(shares.usual_low, shares.usual_high) for panel in (upper, lower)]
    if upper.x.low <= began_ms <= upper.x.high:
        inside.append(f'<path class="began" d="M{upper.x(began_ms)} {top}V{middle - 0.5 * GAP}"/>')
    inside += [
        upper.level(shares.usual, "before", upper.x.low, min(max(began_ms, upper.x.low), upper.x.high)),
        upper.level(shares.now, "after", max(min(began_ms, upper.x.high), upper.x.low), upper.x.high),
        upper.marks(shares.before_by_day, shares.after_by_day),
        lower.marks(shares.before_by_part, shares.after_by_part),
        *_dates(upper.x, timezone, middle - 0.5 * GAP + 15, said),
        *_part_labels(shares, lower.x, bottom + 15, words),
    ]
    kind = f"{shares.of}_share"
    x_label = words("finding.share_x_hour" if shares.of == "array" else "finding.share_x_power")
    return svg.frame(
        words(f"finding.{kind}_picture_says"), "".join(inside), x_label, words(f"finding.{kind}_y"), HEIGHT, top
    )


def span_of(shares: Shares) -> tuple[float, float]:
    """What the upright axis spans: every mark, the band and a little room."""
    points = (shares.before_by_day, shares.after_by_day, shares.before_by_part, shares.after_by_part)
    values = np.concatenate([*(one.y for one in points), [shares.usual_low, shares.usual_high]])
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    spare = max(0.5 * (LEAST_SPAN - (high - low)), ROOM * (high - low))
    return max(low - spare, 0.0), high + spare


def level_words(shares: Shares, words: Words) -> tuple[str, str]:
    """Before and since, each with its middle where it has one."""
    decimal = words("language.decimal")
    before, after = (
        word if level != level else f"{word}: {100 * level:.1f}\u202f%".replace(".", decimal)
        for word, level in (
            (words("finding.legend_before"), shares.usual),
            (words("finding.legend_after"), shares.now),
        )  # fmt: skip
    )
    return before, after


def _legend(shares: Shares, words: Words) -> list[tuple[str, str]]:
    before, after = level_words(shares, words)
    items = [(rings([(0.0, 0.0)]), before), (diamonds([(0.0, 0.0)]), after)]
    if shares.usual_low == shares.usual_low:
        items.append((svg.swatch("normal"), words("finding.legend_band_days")))
    return items


def _times(shares: Shares) -> svg.Scale:
    at = np.concatenate([shares.before_by_day.x, shares.after_by_day.x])
    return svg.across(float(at.max()) + 0.5 * DAY_MS, float(at.min()) - 0.5 * DAY_MS)


def _parts(shares: Shares) -> svg.Scale:
    return svg.across(6.0, -6.0) if shares.of == "array" else svg.across(2.5, -0.5)


def _dates(x: svg.Scale, timezone: str, y: float, said: Callable[[str], str]) -> list[str]:
    first, last = (
        datetime.fromtimestamp(at / 1000, ZoneInfo(timezone)).date().isoformat()
        for at in (x.low + 0.5 * DAY_MS, x.high - 0.5 * DAY_MS)
    )
    return [svg.text(svg.LEFT, y, said(first))] + (
        [svg.text(svg.WIDTH - svg.RIGHT, y, said(last), "end")] if last != first else []
    )


def _part_labels(shares: Shares, x: svg.Scale, y: float, words: Words) -> list[str]:
    if shares.of == "array":
        return [
            svg.text(x(at), y, f"{at:+d}".replace("-", "\u2212").replace("+0", "0"), "middle") for at in range(-6, 7, 2)
        ]
    return [svg.text(x(at), y, words(f"finding.power_{name}"), "middle") for at, name in enumerate(POWERS)]
