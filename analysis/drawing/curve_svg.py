"""The pictures that convince: what should come as a line with its band, what came before and since, as marks.

Flow: analysis.pictures (FlowPicture, ArrayPicture) -> HERE -> SVG text.
Before and after differ by shape (rings, diamonds), not by colour alone; a mark's whisker spans the middle half of its readings.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.drawing import svg
from analysis.drawing.words import Words
from analysis.pictures import ArrayPicture, FlowPicture, Points

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Curve:
    """Either picture by neutral names. x, expected, low, high are float64[k]."""

    x: Floats
    expected: Floats
    low: Floats
    high: Floats
    before: Points
    after: Points


def curve_of(picture: FlowPicture | ArrayPicture) -> Curve:
    """A picture by neutral names."""
    if isinstance(picture, FlowPicture):
        x, expected = picture.power_w, picture.expected_m3_h
    else:
        x, expected = picture.sun_w_m2, picture.expected_w
    return Curve(x, expected, picture.low, picture.high, picture.before, picture.after)


def flow_svg(picture: FlowPicture, words: Words) -> str:
    """Flow against power; empty where there are no readings to show."""
    return curve_svg(curve_of(picture), "flow", words)


def array_svg(picture: ArrayPicture, words: Words) -> str:
    """Power against sun; empty where there are no readings to show."""
    return curve_svg(curve_of(picture), "sun", words)


def curve_svg(curve: Curve, kind: str, words: Words) -> str:
    """The drawing; `kind` names its words, `finding.<kind>_picture_says`, `_x` and `_y`."""
    if not len(curve.before.x) + len(curve.after.x):
        return ""
    drawn = np.isfinite(curve.expected) & np.isfinite(curve.low) & np.isfinite(curve.high)
    marks = (curve.before, curve.after)
    x = svg.across(svg.round_up(_top([curve.x[drawn], *(points.x for points in marks)])))
    y = svg.upward(svg.round_up(_top([curve.high[drawn], *(points.high for points in marks)])))
    decimal = words("language.decimal")
    inside = [svg.grid_y(y, decimal), svg.labels_x(x, decimal)]
    if drawn.any():
        inside += _expected(curve, drawn, x, y)
    inside += [_marks(curve.before, "before", x, y), _marks(curve.after, "after", x, y), _legend(words)]
    title = words(f"finding.{kind}_picture_says")
    return svg.frame(title, "".join(inside), words(f"finding.{kind}_x"), words(f"finding.{kind}_y"))


def _expected(curve: Curve, drawn: NDArray[np.bool_], x: svg.Scale, y: svg.Scale) -> list[str]:
    def pixels(column: Floats) -> list[tuple[float, float]]:
        return [(x(float(at)), y(float(value))) for at, value in zip(curve.x[drawn], column[drawn], strict=True)]

    edge = pixels(curve.high) + pixels(curve.low)[::-1]
    return [svg.polyline(edge, "normal"), svg.polyline(pixels(curve.expected), "curve")]


def _top(columns: list[Floats]) -> float:
    highest = max((float(column.max()) for column in columns if len(column)), default=0.0)
    return highest if highest > 0 else 1.0


def _marks(points: Points, kind: str, x: svg.Scale, y: svg.Scale) -> str:
    pixels = [(x(float(at)), y(float(value))) for at, value in zip(points.x, points.y, strict=True)]
    whiskers = "".join(
        f"M{px:g} {y(float(low)):g}V{y(float(high)):g}"
        for (px, _), low, high in zip(pixels, points.low, points.high, strict=True)
    )
    shapes = _rings(pixels) if kind == "before" else _diamonds(pixels)
    return (f'<path class="{kind} whisker" d="{whiskers}"/>' if whiskers else "") + shapes


def _rings(pixels: list[tuple[float, float]]) -> str:
    drawn = "".join(f"M{px - 4:g} {py:g}a4 4 0 1 0 8 0 4 4 0 1 0-8 0" for px, py in pixels)
    return f'<path class="before" d="{drawn}"/>' if drawn else ""


def _diamonds(pixels: list[tuple[float, float]]) -> str:
    drawn = "".join(f"M{px:g} {py - 5:g}l5 5-5 5-5-5z" for px, py in pixels)
    return f'<path class="after" d="{drawn}"/>' if drawn else ""


def _legend(words: Words) -> str:
    left, top = svg.LEFT + 12, svg.TOP + 12
    return (
        _rings([(left + 4, top - 4)])
        + svg.text(left + 18, top, words("finding.legend_before"))
        + _diamonds([(left + 4, top + 14)])
        + svg.text(left + 18, top + 18, words("finding.legend_after"))
        + f'<path class="curve" d="M{left - 5} {top + 32}h17"/>'
        + svg.text(left + 18, top + 36, words("finding.legend_expected"))
        + f'<rect class="normal" x="{left - 5}" y="{top + 43}" width="17" height="13"/>'
        + svg.text(left + 18, top + 54, words("finding.legend_band"))
    )
