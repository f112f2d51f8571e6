"""The hours around a finding over the site's own clock: water with its band, power, and the reading that tells of the cause.

Flow: analysis.course -> HERE -> SVG text.
"""

from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from analysis.course import Course, whole_lines
from analysis.drawing import svg
from analysis.drawing.words import Words
from analysis.rows import Floats
from logger.record.channels import channel_of

PANEL, GAP = 92.0, 28.0
HOUR_MS = 3_600_000
HOURS_A_LABEL = ((18, 2), (48, 6), (1000, 12))
"""Up to so many hours in all: a label every so many."""
NOT_FROM_ZERO = frozenset(
    {"water_level_m", "module_temp_c", "ambient_temp_c", "controller_temp_c", "tank_level_m", "irradiance_w_m2"}
)
"""What changes by little of what it is."""
LEAST_SPAN = 1.0  # of such a channel, in its unit: less is its own noise


def course_svg(
    course: Course,
    began_ms: int,
    flagged_ms: int,
    timezone: str,
    words: Words,
    silent_until_ms: int | None = None,
    said: Callable[[str], str] = str,
) -> str:
    """The drawing. `began_ms`, `flagged_ms`: drawn where they lie within it; `silent_until_ms`: from when it began to then nothing came."""
    x = svg.Scale(*ends_of(course, silent_until_ms is not None), svg.LEFT, svg.WIDTH - svg.RIGHT)
    legend, top = svg.legend(_legend(course, words, silent_until_ms is not None))
    panels = 2 if course.channel is None else 3
    height = top + panels * PANEL + (panels - 1) * GAP + svg.BOTTOM
    tops = [top + place * (PANEL + GAP) for place in range(panels)]
    scales = [svg.Scale(low, high, at + PANEL, at) for (low, high), at in zip(_spans(course), tops, strict=True)]
    decimal = words("language.decimal")
    inside = [legend]
    if silent_until_ms is not None:
        wide = x(silent_until_ms) - x(began_ms)
        inside.append(
            f'<rect class="nothing" x="{x(began_ms)}" y="{top}" width="{wide:.1f}" height="{height - svg.BOTTOM - top:.1f}"/>'
        )
    inside += [_grid(y, decimal) for y in scales]
    for low, high, y in _bands(course, scales):
        inside += [_band(course, (low, high), part, x, y) for part in whole_lines(course.time_ms, high)]
    for column, kind, y in _lines(course, scales):
        parts = whole_lines(course.time_ms, column)
        inside += [svg.polyline(_pixels(course, column, part, x, y), kind) for part in parts]
    if course.limit is not None:
        inside.append(f'<path class="limit" d="M{svg.LEFT} {scales[-1](course.limit)}H{svg.WIDTH - svg.RIGHT}"/>')
    for at_ms, kind in ((began_ms, "began"), (flagged_ms, "flagged")):
        if x.low <= at_ms <= x.high:
            inside.append(f'<path class="{kind}" d="M{x(at_ms)} {top}V{height - svg.BOTTOM}"/>')
    inside += _hours(timezone, x, height - svg.BOTTOM + 17)
    labels = [words("finding.sun_y")] + ([channel_words(course.channel, words)] if course.channel else [])
    inside += [
        svg.text(svg.WIDTH - svg.RIGHT, at - 8, label, "end") for at, label in zip(tops[1:], labels, strict=True)
    ]
    says = words("finding.course_picture_says")
    x_label = f"{words('finding.course_x')}, {dates_of(x.low, x.high, timezone, said)}"
    return svg.frame(says, "".join(inside), x_label, words("finding.flow_y"), height, top)


def ends_of(course: Course, whole: bool) -> tuple[float, float]:
    """What the axis spans: where there are rows, or `whole` all that was looked at. [ms]"""
    first, last = course.span_ms if whole else (int(course.time_ms[0]), int(course.time_ms[-1]))
    return first, max(last, first + 1)


def channel_words(channel: str, words: Words) -> str:
    """A channel with its unit; a flag or code has none."""
    known = channel_of(channel)
    unit = {"deg C": "°C", "m3/h": "m³/h", "W/m2": "W/m²"}.get(known.unit, known.unit)
    return f"{words(f'channel.{channel}')}, {unit}" if known.kind == "measure" else words(f"channel.{channel}")


def dates_of(first_ms: float, last_ms: float, timezone: str, said: Callable[[str], str] = str) -> str:
    """The site's date, or first and last, of what the axis spans. `said`: a date (ISO 8601) as the reader writes it."""
    first, last = (
        said(datetime.fromtimestamp(at / 1000, ZoneInfo(timezone)).date().isoformat()) for at in (first_ms, last_ms)
    )
    return first if first == last else f"{first} – {last}"


def told_span(course: Course) -> tuple[float, float]:
    """What the axis of the telling channel spans: from 0, but for what changes by little of what it is."""
    every = np.concatenate([course.told, course.usual_low, course.usual_high])
    known = every[np.isfinite(every)]
    if course.channel not in NOT_FROM_ZERO or not len(known):
        return min(0.0, float(known.min(initial=0.0))), _top(every, np.array([course.limit or 0.0]))
    low, high = float(known.min()), float(known.max())
    spare = max(0.1 * (high - low), 0.5 * (LEAST_SPAN - (high - low)))
    return low - spare, high + spare


def _legend(course: Course, words: Words, silent: bool) -> list[tuple[str, str]]:
    items = [
        (svg.stroke("after line"), words("finding.legend_came")),
        (svg.stroke("curve"), words("finding.legend_expected")),
        (svg.swatch("normal"), words("finding.legend_band")),
        (svg.stroke("began"), words("finding.legend_began")),
        (svg.stroke("flagged"), words("finding.legend_flagged")),
    ]
    if course.limit is not None:
        items.append((svg.stroke("limit"), words("finding.legend_limit")))
    return [*items, (svg.swatch("nothing"), words("finding.legend_no_readings"))] if silent else items


def _lines(course: Course, scales: list[svg.Scale]) -> list[tuple[Floats, str, svg.Scale]]:
    water, power = scales[:2]
    lines = [
        (course.expected_m3_h, "curve", water), (course.flow_m3_h, "after line", water),
        (course.offered_w, "curve", power), (course.power_w, "after line", power),
    ]  # fmt: skip
    return (
        lines
        if course.channel is None
        else [*lines, (course.usual, "curve", scales[2]), (course.told, "after line", scales[2])]
    )


def _spans(course: Course) -> list[tuple[float, float]]:
    spans = [(0.0, _top(course.flow_m3_h, course.high)), (0.0, _top(course.power_w, course.offered_w))]
    return spans if course.channel is None else [*spans, told_span(course)]


def _top(*columns: Floats) -> float:
    known = [column[np.isfinite(column)] for column in columns]
    highest = max((float(column.max()) for column in known if len(column)), default=0.0)
    return svg.round_up(highest, 3) if highest > 0 else 1.0


def _grid(y: svg.Scale, decimal: str) -> str:
    return svg.grid_y(y, decimal, wanted=3) if y.low == 0.0 else svg.grid_between(y, decimal, wanted=3)


def _pixels(course: Course, column: Floats, part: np.ndarray, x: svg.Scale, y: svg.Scale) -> list[tuple[float, float]]:
    times, values = course.time_ms[part], column[part]
    return [(x(float(at)), y(float(value))) for at, value in zip(times, values, strict=True)]


def _bands(course: Course, scales: list[svg.Scale]) -> list[tuple[Floats, Floats, svg.Scale]]:
    """Of the water, and of the channel where it is known what it should read."""
    bands = [(course.low, course.high, scales[0])]
    return bands if course.channel is None else [*bands, (course.usual_low, course.usual_high, scales[2])]


def _band(course: Course, band: tuple[Floats, Floats], part: np.ndarray, x: svg.Scale, y: svg.Scale) -> str:
    low, high = band
    edge = _pixels(course, high, part, x, y) + _pixels(course, low, part, x, y)[::-1]
    return svg.polyline(edge, "normal")


def _hours(timezone: str, x: svg.Scale, y: float) -> list[str]:
    zone, whole_h = ZoneInfo(timezone), (x.high - x.low) / HOUR_MS
    every = next(step for most, step in HOURS_A_LABEL if whole_h <= most)
    drawn = []
    for at_ms in range(-(-int(x.low) // HOUR_MS) * HOUR_MS, int(x.high) + 1, HOUR_MS):
        there = datetime.fromtimestamp(at_ms / 1000, zone)
        if there.hour % every == 0 and there.minute == 0:
            drawn.append(svg.text(x(at_ms), y, f"{there.hour}", "middle"))
    return drawn
