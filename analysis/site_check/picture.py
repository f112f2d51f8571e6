"""The expected day as a picture: water and power by hour for each season. SVG of our own, or any format of Matplotlib's.

Flow: clear_day.py -> HERE -> a file
Never: numbers of its own.
"""

from html import escape
from pathlib import Path

from analysis.site_check.clear_day import ClearDay

WIDTH, HEIGHT, LEFT, TOP, GAP = 760, 560, 64, 48, 56
COLOURS = ("#1b6ca8", "#c1440e", "#4a7c2c", "#6b4c9a")
DASHES = ("", "8 4", "2 3", "10 3 2 3")
"""Seasons differ by dash as well as by colour, for print and for eyes that tell few colours."""


def svg(name: str, days: tuple[ClearDay, ...]) -> str:
    """Two panels, water above and power below, over the hour of the day; a self-contained SVG document."""
    panel = (HEIGHT - TOP - 2 * GAP) / 2
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="12">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
        f'<text x="{LEFT}" y="22" font-size="16">{escape(name)}: what a clear day should give</text>',
    ]
    for place, (title, values) in enumerate(
        (
            ("water, m3/h", [[h.flow_m3_h for h in d.hours] for d in days]),
            ("power taken, W", [[h.power_w for h in d.hours] for d in days]),
        )
    ):
        parts += _panel(TOP + place * (panel + GAP), panel, title, values, days)
    for place, day in enumerate(days):
        y = HEIGHT - 14
        x = LEFT + place * 170
        parts.append(_line([(x, y - 4), (x + 28, y - 4)], place))
        parts.append(f'<text x="{x + 34}" y="{y}">{day.date:%d %B}: {day.water_m3:.1f} m3</text>')
    return "\n".join([*parts, "</svg>", ""])


def _panel(top: float, height: float, title: str, values: list[list[float]], days: tuple[ClearDay, ...]) -> list[str]:
    most = max((v for row in values for v in row), default=0.0) or 1.0
    right, bottom = WIDTH - 20, top + height
    parts = [f'<text x="{LEFT}" y="{top - 8:.0f}">{title}</text>']
    for hour in range(4, 22, 2):
        x = _x(hour)
        parts.append(f'<line x1="{x:.1f}" y1="{top:.1f}" x2="{x:.1f}" y2="{bottom:.1f}" stroke="#ddd"/>')
        parts.append(f'<text x="{x:.1f}" y="{bottom + 16:.1f}" text-anchor="middle">{hour} h</text>')
    for share in (0.0, 0.5, 1.0):
        y = bottom - share * height
        parts.append(f'<line x1="{LEFT}" y1="{y:.1f}" x2="{right}" y2="{y:.1f}" stroke="#bbb"/>')
        parts.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{share * most:.3g}</text>')
    for place, (row, day) in enumerate(zip(values, days, strict=True)):
        points = [(_x(h.hour + 0.5), bottom - v / most * height) for h, v in zip(day.hours, row, strict=True)]
        parts.append(_line(points, place))
    return parts


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

    figure = Figure(figsize=(8, 6), layout="constrained")
    if path.suffix.lower().lstrip(".") not in figure.canvas.get_supported_filetypes():
        known = ", ".join(sorted(figure.canvas.get_supported_filetypes()))
        raise ValueError(f"{path.name}: cannot draw '{path.suffix}'; known endings: {known}")
    water, power = figure.subplots(2, 1, sharex=True)
    styles = ("-", "--", ":", "-.")
    for place, day in enumerate(days):
        hours = [h.hour + 0.5 for h in day.hours]
        look = {"color": COLOURS[place], "linestyle": styles[place]}
        water.plot(hours, [h.flow_m3_h for h in day.hours], label=f"{day.date:%d %B}: {day.water_m3:.1f} m3", **look)
        power.plot(hours, [h.power_w for h in day.hours], **look)
    water.set(title=f"{name}: what a clear day should give", ylabel="water, m3/h")
    power.set(xlabel="hour", ylabel="power taken, W")
    water.legend()
    figure.savefig(path)
