"""Flow against power: the curve that this pump should keep, its band, and the readings before and after.

Flow: analysis.pictures.FlowPicture -> HERE -> SVG text.
Before and after differ by shape (rings, diamonds), not by colour alone.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dashboard.languages import Words
from dashboard.views import svg

if TYPE_CHECKING:
    from analysis.pictures import FlowPicture

MARKS_MAX = 250
"""Of each kind; more only blacken the page and weigh on the line."""


def flow_svg(picture: "FlowPicture", words: Words) -> str:
    """The picture as SVG; empty where there are no readings to show."""
    before, after = thinned_marks(picture.before), thinned_marks(picture.after)
    power, expected, low, high = (
        np.asarray(column, float) for column in (picture.power_w, picture.expected_m3_h, picture.low, picture.high)
    )
    drawn = np.isfinite(expected) & np.isfinite(low) & np.isfinite(high)
    marks = np.concatenate([before, after])
    if not len(marks):
        return ""
    x = svg.across(svg.round_up(_top([marks[:, 0], power[drawn]])))
    y = svg.upward(svg.round_up(_top([marks[:, 1], high[drawn]])))
    inside = [svg.grid_y(y, words("language.decimal")), svg.labels_x(x, words("language.decimal"))]
    if drawn.any():
        edge = [(x(w), y(h)) for w, h in zip(power[drawn], high[drawn], strict=True)]
        edge += [(x(w), y(h)) for w, h in zip(power[drawn][::-1], low[drawn][::-1], strict=True)]
        inside.append(svg.polyline(edge, "normal"))
        inside.append(svg.polyline([(x(w), y(h)) for w, h in zip(power[drawn], expected[drawn], strict=True)], "curve"))
    inside.append(_rings([(x(w), y(h)) for w, h in before]))
    inside.append(_diamonds([(x(w), y(h)) for w, h in after]))
    inside.append(_legend(words))
    title = words("finding.flow_picture_says")
    return svg.frame(title, "".join(inside), words("finding.axis_power"), words("finding.axis_flow"))


def thinned_marks(pairs: object) -> NDArray[np.float64]:
    """(n, 2) power and flow, finite, evenly thinned."""
    points = np.asarray(pairs, float).reshape(-1, 2)
    points = points[np.isfinite(points).all(axis=1)]
    if len(points) > MARKS_MAX:
        points = points[np.linspace(0, len(points) - 1, MARKS_MAX).astype(int)]
    return points


def _top(columns: list[NDArray[np.float64]]) -> float:
    highest = max((float(column.max()) for column in columns if len(column)), default=0.0)
    return highest if highest > 0 else 1.0


def _rings(pixels: list[tuple[float, float]]) -> str:
    return f'<path class="before" d="{"".join(f"M{px - 2.5:g} {py:g}a2.5 2.5 0 1 0 5 0 2.5 2.5 0 1 0-5 0" for px, py in pixels)}"/>'


def _diamonds(pixels: list[tuple[float, float]]) -> str:
    return f'<path class="after" d="{"".join(f"M{px:g} {py - 3.5:g}l3.5 3.5-3.5 3.5-3.5-3.5z" for px, py in pixels)}"/>'


def _legend(words: Words) -> str:
    left, top = svg.LEFT + 10, svg.TOP + 12
    return (
        _rings([(left + 5, top - 4)])
        + svg.text(left + 18, top, words("finding.legend_before"))
        + _diamonds([(left + 5, top + 14)])
        + svg.text(left + 18, top + 18, words("finding.legend_after"))
        + f'<path class="curve" d="M{left - 4} {top + 32}h17"/>'
        + svg.text(left + 18, top + 36, words("finding.legend_expected"))
        + f'<rect class="normal" x="{left - 4}" y="{top + 43}" width="17" height="13"/>'
        + svg.text(left + 18, top + 54, words("finding.legend_band"))
    )
