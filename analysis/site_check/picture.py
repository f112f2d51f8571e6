"""The expected day as a picture: sun, water, power, head and efficiency by hour for each season. SVG of our own, or any format of Matplotlib's.

Flow: clear_day.py -> HERE -> a file
Never: numbers of its own.
"""

from collections.abc import Callable
from html import escape
from math import isnan
from pathlib import Path

from analysis.site_check.clear_day import ClearDay, Hour

WIDTH, LEFT, TOP, PANEL, GAP, FOOT = 760, 64, 52, 130, 50, 30
PANELS: tuple[tuple[str, Callable[[Hour], float]], ...] = (
    ("sun through the modules' glass, W/m2", lambda h: h.poa_w_m2),
    ("water, m3/h", lambda h: h.flow_m3_h),
    ("power taken, W", lambda h: h.power_w),
    ("head, m", lambda h: h.head_m),
    ("efficiency, power to water, %", lambda h: 100.0 * h.efficiency),
)
COLOURS = ("#1b6ca8", "#c1440e", "#4a7c2c", "#6b4c9a")
DASHES = ("", "8 4", "2 3", "10 3 2 3")
"""Seasons differ by dash as well as by colour, for print and for eyes that tell few colours."""


def svg(name: str, days: tuple[ClearDay, ...]) -> str:
    """A panel for each quantity, one below the other, over the hour of the day; a self-contained SVG document."""
    height = TOP + len(PANELS) * (PANEL + GAP) + FOOT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="sans-serif" font-size="12">',
        f'<rect width="{WIDTH}" height="{height}" fill="white"/>',
        f'<text x="{LEFT}" y="22" font-size="16">{escape(name)}: what a clear day should give</text>',
    ]
    for place, (title, value) in enumerate(PANELS):
        values = [[value(hour) for hour in day.hours] for day in days]
        parts += _panel(TOP + place * (PANEL + GAP), PANEL, title, values, days)
    for place, day in enumerate(days):
        y = height - 14
        x = LEFT + place * 170
        parts.append(_line([(x, y - 4), (x + 28, y - 4)], place))
        parts.append(f'<text x="{x + 34}" y="{y}">{day.date:%d %B}: {day.water_m3:.1f} m3</text>')
    return "\n".join([*parts, "</svg>", ""])


def _panel(top: float, height: float, title: str, values: list[list[float]], days: tuple[ClearDay, ...]) -> list[str]:
    known = [v for row in values for v in row if not isnan(v)]
    most = max(known, default=0.0) or 1.0
    least = min(known, default=0.0)
    least = 0.9 * least if least > 0.5 * most else 0.0  # a head that hardly moves is looked at closely
    right, bottom = WIDTH - 20, top + height
    parts = [f'<text x="{LEFT}" y="{top - 8:.0f}">{title}</text>']
    for hour in range(4, 22, 2):
        x = _x(hour)
        parts.append(f'<line x1="{x:.1f}" y1="{top:.1f}" x2="{x:.1f}" y2="{bottom:.1f}" stroke="#ddd"/>')
        parts.append(f'<text x="{x:.1f}" y="{bottom + 16:.1f}" text-anchor="middle">{hour} h</text>')
    for share in (0.0, 0.5, 1.0):
        y = bottom - share * height
        parts.append(f'<line x1="{LEFT}" y1="{y:.1f}" x2="{right}" y2="{y:.1f}" stroke="#bbb"/>')
        parts.append(
            f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{_figure(least + share * (most - least))}</text>'
        )
    for place, (row, day) in enumerate(zip(values, days, strict=True)):
        points = [
            (_x(h.hour + 0.5), bottom - (v - least) / (most - least) * height)
            for h, v in zip(day.hours, row, strict=True)
            if not isnan(v)
        ]
        parts.append(_line(points, place))
    return parts


def _figure(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def _x(hour: float) -> float:
    return LEFT + (hour - 3.0) / 19.0 * (WIDTH - 20 - LEFT)


def _line(points: list[tuple[float, float]], place: int) -> str:
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    colour, dash = COLOURS[place % len(COLOURS)], DASHES[place % len(DASHES)]
    return f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2" stroke-dasharray="{dash}"/>'


def save(path: Path, name: str, days: tuple[ClearDay, ...]) -> None:
    """Write the picture.

    Raises
    ------
    ValueError
        An ending other than .svg where Matplotlib is not installed, or one that it does not know; words for people.
    OSError
        The file cannot be written.
    """
    if path.suffix.lower() == ".svg":
        path.write_text(svg(name, days), encoding="utf-8")
        return
    try:
        import matplotlib
    except ModuleNotFoundError:
        raise ValueError(f"{path.name}: pictures other than .svg need Matplotlib (pip install matplotlib)") from None
    matplotlib.use("Agg")
    _drawn(name, days, path)


def _drawn(name: str, days: tuple[ClearDay, ...], path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 11), layout="constrained")
    if path.suffix.lower().lstrip(".") not in figure.canvas.get_supported_filetypes():
        known = ", ".join(sorted(figure.canvas.get_supported_filetypes()))
        raise ValueError(f"{path.name}: cannot draw '{path.suffix}'; known endings: {known}")
    axes = figure.subplots(len(PANELS), 1, sharex=True)
    styles = ("-", "--", ":", "-.")
    for axis, (title, value) in zip(axes, PANELS, strict=True):
        axis.set_ylabel(title.replace(", ", ",\n"))
        for place, day in enumerate(days):
            label = f"{day.date:%d %B}: {day.water_m3:.1f} m3"
            hours = [h.hour + 0.5 for h in day.hours]
            look = {"color": COLOURS[place], "linestyle": styles[place], "label": label}
            axis.plot(hours, [value(h) for h in day.hours], **look)
    axes[0].set_title(f"{name}: what a clear day should give")
    axes[-1].set_xlabel("hour")
    axes[1].legend()
    figure.savefig(path)
