"""The frame that charts are drawn in: scales, ticks, axes.

Flow: curve_svg.py, day_svg.py, course_svg.py -> HERE -> SVG text.
Colours and sizes of text are the style sheet's (classes): the page's own, or that of `standalone`; data's text is escaped here.
"""

from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10

WIDTH, HEIGHT = 420.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 22.0, 30.0, 44.0
"""Small enough that the text is still read where a phone shows it at 330 pixels."""


@dataclass(frozen=True)
class Scale:
    """A straight line from data to pixels."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Where `value` lies; outside the data's range it is held at the edge."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + (self.end - self.start) * min(1.0, max(0.0, share)), 1)


def across(high: float, low: float = 0.0) -> Scale:
    """Left to right."""
    return Scale(low, high, LEFT, WIDTH - RIGHT)


def upward(high: float) -> Scale:
    """Bottom to top, from 0."""
    return Scale(0.0, high, HEIGHT - BOTTOM, TOP)


def round_up(value: float) -> float:
    """The next figure that ticks well, at or above `value` (which is above 0)."""
    step = tick_step(value)
    return ceil(value / step - 1e-9) * step


def tick_step(high: float, wanted: int = 5) -> float:
    """1, 2 or 5 times a power of ten, so that about `wanted` ticks fit."""
    rough = high / wanted
    power = 10.0 ** floor(log10(rough))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)


def tick_text(value: float, step: float, decimal: str) -> str:
    """A tick's label with as many decimals as its step needs."""
    decimals = max(0, -floor(log10(step)))
    return f"{value:,.{decimals}f}".replace(",", "\u202f").replace(".", decimal)


def grid_y(y: Scale, decimal: str) -> str:
    """Lines and labels to the left."""
    step, drawn = tick_step(y.high), []
    for count in range(floor(y.high / step + 1e-9) + 1):
        at = y(count * step)
        drawn.append(f'<path class="grid" d="M{LEFT} {at}H{WIDTH - RIGHT}"/>')
        drawn.append(text(LEFT - 6, at + 4, tick_text(count * step, step, decimal), "end"))
    return "".join(drawn)


def labels_x(x: Scale, decimal: str) -> str:
    """Labels below, evenly spaced."""
    step = tick_step(x.high)
    return "".join(
        text(x(count * step), HEIGHT - BOTTOM + 17, tick_text(count * step, step, decimal), "middle")
        for count in range(floor(x.high / step + 1e-9) + 1)
    )


def text(x: float, y: float, said: str, anchor: str = "start") -> str:
    """A label; `said` is escaped."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(said)}</text>'


def frame(title: str, inside: str, x_label: str, y_label: str) -> str:
    """The whole picture; `title` is what a screen reader says of it."""
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img" aria-label="{escape(title, quote=True)}">'
        f"{inside}"
        f'<path class="axis" d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}H{WIDTH - RIGHT}"/>'
        f"{text(LEFT - 38, TOP - 13, y_label)}{text(WIDTH - RIGHT, HEIGHT - 8, x_label, 'end')}</svg>"
    )


def polyline(points: list[tuple[float, float]], kind: str) -> str:
    """A line through pixels."""
    return f'<path class="{kind}" d="M{"L".join(f"{px:g} {py:g}" for px, py in points)}"/>'
