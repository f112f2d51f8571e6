"""The frame that charts are drawn in: scales, ticks, axes.

Flow: curve_svg.py, day_svg.py, course_svg.py -> HERE -> SVG text.
Colours and sizes of text are the style sheet's (classes): the page's own, or that of `standalone`; data's text is escaped here.
"""

from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10
from textwrap import wrap

WIDTH, HEIGHT = 420.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 22.0, 30.0, 44.0
"""Small enough that the text is still read where a phone shows it at 330 pixels."""
SYMBOL_WIDE, LETTER_WIDE, LINE_HIGH = 20.0, 7.6, 16.0
"""Of a legend: a mark with its distance, a letter of the widest fonts that a page may meet, a row."""


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


def round_up(value: float, wanted: int = 5) -> float:
    """The next figure that ticks well, at or above `value` (which is above 0)."""
    step = tick_step(value, wanted)
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


def grid_y(y: Scale, decimal: str, wanted: int = 5) -> str:
    """Lines and labels to the left."""
    step, drawn = tick_step(y.high, wanted), []
    for count in range(floor(y.high / step + 1e-9) + 1):
        at = y(count * step)
        drawn.append(f'<path class="grid" d="M{LEFT} {at}H{WIDTH - RIGHT}"/>')
        drawn.append(text(LEFT - 6, at + 4, tick_text(count * step, step, decimal), "end"))
    return "".join(drawn)


def grid_between(y: Scale, decimal: str, wanted: int = 4, factor: float = 1.0) -> str:
    """Likewise of an axis that does not begin at 0; labels are `factor` times the values."""
    step, drawn = tick_step(factor * (y.high - y.low), wanted), []
    for count in range(ceil(factor * y.low / step - 1e-9), floor(factor * y.high / step + 1e-9) + 1):
        at = y(count * step / factor)
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


def frame(title: str, inside: str, x_label: str, y_label: str, height: float = HEIGHT, top: float = TOP) -> str:
    """The whole picture; `title` is what a screen reader says of it. `top`: where the upper end of the axis lies."""
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" aria-label="{escape(title, quote=True)}">'
        f"{inside}"
        f'<path class="axis" d="M{LEFT} {top}V{height - BOTTOM}H{WIDTH - RIGHT}"/>'
        f"{text(LEFT - 38, TOP - 13, y_label)}{text(WIDTH - RIGHT, height - 8, x_label, 'end')}</svg>"
    )


def legend(items: list[tuple[str, str]]) -> tuple[str, float]:
    """Marks and their words in rows below the label of the upright axis, and where the picture may begin below them.

    items : list of (mark, word)
        A mark is drawn about 0, 0 and up to 8 to each side, 5 up and down.
    """
    x, y, drawn = LEFT + 2.0, TOP + 4.0, []
    for mark, word in items:
        wide = SYMBOL_WIDE + LETTER_WIDE * len(word)
        if x + wide > WIDTH and x > LEFT + 2.0:
            x, y = LEFT + 2.0, y + LINE_HIGH
        drawn.append(f'<g transform="translate({x + 8:g} {y - 4:g})">{mark}</g>{text(x + 20, y, word)}')
        x += wide + 10.0
    return "".join(drawn), y + 12.0


def swatch(kind: str) -> str:
    """A mark of the legend: an area."""
    return f'<rect class="{kind} key" x="-8" y="-5" width="16" height="10"/>'


def stroke(kind: str) -> str:
    """Likewise: a line across."""
    return f'<path class="{kind}" d="M-8 0h16"/>'


def polyline(points: list[tuple[float, float]], kind: str) -> str:
    """A line through pixels."""
    return f'<path class="{kind}" d="M{"L".join(f"{px:g} {py:g}" for px, py in points)}"/>'


STYLE = (
    "text{fill:#1d2b33;font:13px sans-serif}.title{font-size:14px;font-weight:bold}.says{font-size:10.5px;fill:#4c5b64}"
    ".grid{stroke:#d9dfe3}.axis{stroke:#4c5b64;stroke-width:1.2;fill:none}.normal{fill:#1b6ca8;opacity:.2}"
    ".curve{stroke:#1b6ca8;stroke-width:2.2;fill:none}.before{fill:#fff;stroke:#4c5b64;stroke-width:2}"
    ".after{fill:#b3420c;stroke:none}.whisker{fill:none;stroke:#4c5b64;stroke-width:1.5}.after.whisker{stroke:#b3420c}"
    ".after.line{fill:none;stroke:#b3420c;stroke-width:1.4}.came{fill:#1b6ca8}.should{fill:#8a6d1a;opacity:.25}"
    ".should-line{stroke:#8a6d1a;stroke-width:2}.began{stroke:#b3420c;stroke-width:2;stroke-dasharray:2 4}"
    ".flagged{stroke:#b3420c;stroke-width:2;stroke-dasharray:8 4}.before.line{fill:none;stroke:#4c5b64;stroke-width:1.4}"
    ".limit{stroke:#1d2b33;stroke-width:1.6;stroke-dasharray:12 3 2 3}.nothing{fill:#4c5b64;opacity:.15}"
)
"""Dark on white, for paper as well; shapes and dashes tell apart what colours do."""
HEAD = 44.0


def standalone(drawing: str, title: str, says: str) -> str:
    """A drawing of `frame` as a file of its own: heading and sentence above, white ground, style within."""
    heads, lines = wrap(title, 50), wrap(says, 78)
    below = 17.0 * (len(heads) - 1)
    head = HEAD + below + 13.0 * (len(lines) - 1)
    high = float(drawing.split('viewBox="0 0 ', 1)[1].split('"', 1)[0].split()[1])
    inner = drawing.replace('<svg class="chart"', f'<svg y="{head:.0f}" width="{WIDTH:.0f}" height="{high:.0f}"', 1)
    said = "".join(
        f'<text class="says" x="10" y="{38 + below + 13 * place:g}">{escape(line)}</text>'
        for place, line in enumerate(lines)
    )
    titled = "".join(
        f'<text class="title" x="10" y="{21 + 17 * place}">{escape(line)}</text>' for place, line in enumerate(heads)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {high + head:.0f}" '
        f'width="{2 * WIDTH:.0f}" height="{2 * (high + head):.0f}"><style>{STYLE}</style>'
        f'<rect width="100%" height="100%" fill="#fff"/>'
        f"{titled}{said}{inner}</svg>\n"
    )
