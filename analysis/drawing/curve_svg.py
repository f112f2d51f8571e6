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
    """Either picture by neutral names. x, expected, low, high are float64[k]; `scale` times the site file's; `x_words`: key of the label."""

    x: Floats
    expected: Floats
    low: Floats
    high: Floats
    before: Points
    after: Points
    scale: float
    x_words: str


def curve_of(picture: FlowPicture | ArrayPicture) -> Curve:
    """A picture by neutral names."""
    if isinstance(picture, FlowPicture):
        x, expected, x_words = picture.power_w, picture.expected_m3_h, "finding.flow_x"
    else:
        x, expected = picture.sun_w_m2, picture.expected_w
        x_words = "finding.sun_x" if picture.sun_measured else "finding.sun_x_clear"
    return Curve(x, expected, picture.low, picture.high, picture.before, picture.after, picture.scale, x_words)


def expected_words(curve: Curve, words: Words) -> str:
    """What the line is: the site file's, or that times what this site showed before."""
    if curve.scale == 1.0:
        return words("finding.legend_expected")
    return words("finding.legend_scaled", scale=f"{curve.scale:.2f}".replace(".", words("language.decimal")))


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
    legend, top = svg.legend(_legend(curve, bool(drawn.any()), words))
    highest = svg.round_up(_top([curve.high[drawn], *(points.high for points in marks)]))
    y = svg.Scale(0.0, highest, svg.HEIGHT - svg.BOTTOM, top)
    decimal = words("language.decimal")
    inside = [legend, svg.grid_y(y, decimal), svg.labels_x(x, decimal)]
    if drawn.any():
        inside += _expected(curve, drawn, x, y)
    inside += [_marks(curve.before, "before", x, y), _marks(curve.after, "after", x, y)]
    title = words(f"finding.{kind}_picture_says")
    return svg.frame(title, "".join(inside), words(curve.x_words), words(f"finding.{kind}_y"), top=top)


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
    shapes = rings(pixels) if kind == "before" else diamonds(pixels)
    return (f'<path class="{kind} whisker" d="{whiskers}"/>' if whiskers else "") + shapes


def rings(pixels: list[tuple[float, float]]) -> str:
    """Marks of what came before, about these pixels."""
    drawn = "".join(f"M{px - 4:g} {py:g}a4 4 0 1 0 8 0 4 4 0 1 0-8 0" for px, py in pixels)
    return f'<path class="before" d="{drawn}"/>' if drawn else ""


def diamonds(pixels: list[tuple[float, float]]) -> str:
    """Marks of what came since."""
    drawn = "".join(f"M{px:g} {py - 5:g}l5 5-5 5-5-5z" for px, py in pixels)
    return f'<path class="after" d="{drawn}"/>' if drawn else ""


def _legend(curve: Curve, drawn: bool, words: Words) -> list[tuple[str, str]]:
    """Only what the picture has."""
    items = [
        (shape([(0.0, 0.0)]), words(f"finding.legend_{kind}"))
        for shape, kind, points in ((rings, "before", curve.before), (diamonds, "after", curve.after))
        if len(points.x)
    ]
    if drawn:
        items += [
            (svg.stroke("curve"), expected_words(curve, words)),
            (svg.swatch("normal"), words("finding.legend_band")),
        ]
    return items
