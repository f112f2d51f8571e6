"""The hours around a finding: water with its band above, power below, over the site's own clock.

Flow: analysis.course -> HERE -> SVG text.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from analysis.course import Course, whole_lines
from analysis.drawing import svg
from analysis.drawing.words import Words
from analysis.rows import Floats

MIDDLE, GAP = 156.0, 26.0
HOURS_A_LABEL = 2


def course_svg(course: Course, began_ms: int, flagged_ms: int, timezone: str, words: Words) -> str:
    """The drawing. `began_ms`, `flagged_ms`: drawn where they lie within it."""
    first, last = int(course.time_ms[0]), int(course.time_ms[-1])
    x = svg.Scale(first, max(last, first + 1), svg.LEFT, svg.WIDTH - svg.RIGHT)
    water = svg.Scale(0.0, _top(course.flow_m3_h, course.high), MIDDLE, svg.TOP)
    power = svg.Scale(0.0, _top(course.power_w, course.offered_w), svg.HEIGHT - svg.BOTTOM, MIDDLE + GAP)
    decimal = words("language.decimal")
    inside = [svg.grid_y(water, decimal, wanted=3), svg.grid_y(power, decimal, wanted=3)]
    inside += [_band(course, part, x, water) for part in whole_lines(course.time_ms, course.high)]
    for column, kind, y in (
        (course.expected_m3_h, "curve", water), (course.flow_m3_h, "after line", water),
        (course.offered_w, "curve", power), (course.power_w, "after line", power),
    ):  # fmt: skip
        parts = whole_lines(course.time_ms, column)
        inside += [svg.polyline(_pixels(course, column, part, x, y), kind) for part in parts]
    for at_ms, kind in ((began_ms, "began"), (flagged_ms, "flagged")):
        if first <= at_ms <= last:
            inside.append(f'<path class="{kind}" d="M{x(at_ms)} {svg.TOP}V{svg.HEIGHT - svg.BOTTOM}"/>')
    inside += _hours(first, last, timezone, x)
    inside.append(svg.text(svg.WIDTH - svg.RIGHT, MIDDLE + GAP - 7, words("finding.sun_y"), "end"))
    says = words("finding.course_picture_says")
    return svg.frame(says, "".join(inside), words("finding.course_x"), words("finding.flow_y"))


def _top(*columns: Floats) -> float:
    known = [column[np.isfinite(column)] for column in columns]
    highest = max((float(column.max()) for column in known if len(column)), default=0.0)
    return svg.round_up(highest, 3) if highest > 0 else 1.0


def _pixels(course: Course, column: Floats, part: np.ndarray, x: svg.Scale, y: svg.Scale) -> list[tuple[float, float]]:
    times, values = course.time_ms[part], column[part]
    return [(x(float(at)), y(float(value))) for at, value in zip(times, values, strict=True)]


def _band(course: Course, part: np.ndarray, x: svg.Scale, y: svg.Scale) -> str:
    edge = _pixels(course, course.high, part, x, y) + _pixels(course, course.low, part, x, y)[::-1]
    return svg.polyline(edge, "normal")


def _hours(first: int, last: int, timezone: str, x: svg.Scale) -> list[str]:
    zone = ZoneInfo(timezone)
    drawn = []
    for at_ms in range(-(-first // 3_600_000) * 3_600_000, last + 1, 3_600_000):
        there = datetime.fromtimestamp(at_ms / 1000, zone)
        if there.hour % HOURS_A_LABEL == 0 and there.minute == 0:
            drawn.append(svg.text(x(at_ms), svg.HEIGHT - svg.BOTTOM + 17, f"{there.hour}", "middle"))
    return drawn
