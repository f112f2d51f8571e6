"""Water by day: what came, and what that day's sun should have given.

Flow: list of DaySummary -> HERE -> SVG text.
"""

from collections.abc import Callable
from datetime import date

from analysis.drawing import svg
from analysis.drawing.words import Words
from analysis.summary import DaySummary

DAYS_MAX = 122


def day_svg(days: list[DaySummary], began_date: str | None, words: Words, said: Callable[[str], str]) -> str:
    """The picture; empty where no day has water. Days are by date, oldest first; a day not known leaves a gap.

    `said`: a date (ISO 8601) as the reader writes it.
    """
    days = [day for day in days if day.water_m3 is not None or day.expected_m3 is not None][-DAYS_MAX:]
    if not days:
        return ""
    first = date.fromisoformat(days[0].date)
    span = (date.fromisoformat(days[-1].date) - first).days + 1
    x = svg.across(float(span))
    legend, top = svg.legend(_legend(days, words))
    highest = max(max(d.water_m3 or 0, d.expected_high_m3 or 0, d.expected_m3 or 0) for d in days) or 1
    y = svg.Scale(0.0, svg.round_up(highest), svg.HEIGHT - svg.BOTTOM, top)
    inside = [legend, svg.grid_y(y, words("language.decimal"))]
    inside += [_day(day, (date.fromisoformat(day.date) - first).days, x, y) for day in days]
    if began_date is not None and days[0].date <= began_date <= days[-1].date:
        at = x((date.fromisoformat(began_date) - first).days)
        inside.append(f'<path class="began" d="M{at} {top}V{svg.HEIGHT - svg.BOTTOM}"/>')
    inside.append(svg.text(svg.LEFT, svg.HEIGHT - svg.BOTTOM + 17, said(days[0].date)))
    if span > 1:
        inside.append(svg.text(svg.WIDTH - svg.RIGHT, svg.HEIGHT - svg.BOTTOM + 17, said(days[-1].date), "end"))
    return svg.frame(words("finding.day_picture_says"), "".join(inside), "", words("finding.axis_water"), top=top)


def _legend(days: list[DaySummary], words: Words) -> list[tuple[str, str]]:
    """Only what the picture has."""
    items = [(svg.swatch("came"), words("finding.legend_came"))]
    if any(day.expected_m3 is not None for day in days):
        items.append((svg.swatch("should") + svg.stroke("should-line"), words("finding.legend_day")))
    return items


def _day(day: DaySummary, place: int, x: svg.Scale, y: svg.Scale) -> str:
    left, right = x(place + 0.12), x(place + 0.88)
    wide = max(0.5, right - left)
    drawn = ""
    if day.water_m3 is not None:
        top = y(day.water_m3)
        drawn += f'<rect class="came" x="{left:g}" y="{top:g}" width="{wide:.1f}" height="{y(0) - top:.1f}"/>'
    if day.expected_m3 is not None:
        low = y(day.expected_m3 if day.expected_low_m3 is None else day.expected_low_m3)
        high = y(day.expected_m3 if day.expected_high_m3 is None else day.expected_high_m3)
        drawn += f'<rect class="should" x="{left:g}" y="{high:g}" width="{wide:.1f}" height="{low - high:.1f}"/>'
        drawn += f'<path class="should-line" d="M{left:g} {y(day.expected_m3):g}h{wide:.1f}"/>'
    return drawn
