"""The same pictures through Matplotlib, for PNG.

Flow: explanation.py -> HERE -> a file. Needs Matplotlib, which the server's install does not bring.
Never: figures of its own; a window.
"""

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from analysis.course import Course, whole_lines
from analysis.drawing.curve_svg import Curve, curve_of
from analysis.drawing.words import english
from analysis.pictures import ArrayPicture, FlowPicture

if TYPE_CHECKING:
    from analysis.explanation import Explanation

INK, WATER, AFTER, BAND = "#4c5b64", "#1b6ca8", "#b3420c", "#8a6d1a"
SIZE_INCH, DOTS_AN_INCH = (7.0, 5.0), 120


def save_png(path: Path, explanation: "Explanation", name: str) -> None:
    """Draw one picture. KeyError: the finding has no such picture; OSError: it cannot be written."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_INCH, layout="constrained")
    FigureCanvasAgg(figure)
    picture = explanation.pictures[name]
    if isinstance(picture, FlowPicture | ArrayPicture):
        kind = "flow" if isinstance(picture, FlowPicture) else "sun"
        _curve(figure.subplots(), curve_of(picture), kind)
    elif isinstance(picture, Course):
        _course(figure.subplots(2, 1, sharex=True), picture, explanation)
    else:
        _days(figure.subplots(), picture, explanation)
    figure.suptitle(explanation.title(name), fontsize=11, fontweight="bold")
    figure.savefig(path, dpi=DOTS_AN_INCH)


def _curve(axes: Any, curve: Curve, kind: str) -> None:
    drawn = np.isfinite(curve.expected) & np.isfinite(curve.low) & np.isfinite(curve.high)
    axes.fill_between(
        curve.x[drawn],
        curve.low[drawn],
        curve.high[drawn],
        color=WATER,
        alpha=0.2,
        lw=0,
        label=english("finding.legend_band"),
    )
    axes.plot(curve.x[drawn], curve.expected[drawn], color=WATER, lw=2, label=english("finding.legend_expected"))
    for points, mark, colour, fill, word in (
        (curve.before, "o", INK, "white", "before"), (curve.after, "D", AFTER, AFTER, "after"),
    ):  # fmt: skip
        if len(points.x):
            axes.vlines(points.x, points.low, points.high, color=colour, lw=1.2)
            axes.plot(points.x, points.y, mark, color=colour, mfc=fill, ms=6, label=english(f"finding.legend_{word}"))
    axes.set(xlabel=english(f"finding.{kind}_x"), ylabel=english(f"finding.{kind}_y"), xlim=(0, None), ylim=(0, None))
    axes.legend(frameon=False, fontsize=9)


def _course(panels: Any, course: Course, explanation: "Explanation") -> None:
    from matplotlib.dates import DateFormatter

    zone = ZoneInfo(explanation.facts.site.timezone)
    times = np.array([datetime.fromtimestamp(at / 1000, zone).replace(tzinfo=None) for at in course.time_ms])
    water, power = panels
    for part in whole_lines(course.time_ms, course.high):
        water.fill_between(
            times[part], np.maximum(course.low[part], 0.0), course.high[part], color=WATER, alpha=0.2, lw=0
        )
    for axes, expected, came in (
        (water, course.expected_m3_h, course.flow_m3_h), (power, course.offered_w, course.power_w),
    ):  # fmt: skip
        for column, colour, word in ((expected, WATER, "expected"), (came, AFTER, "came")):
            for place, part in enumerate(whole_lines(course.time_ms, column)):
                label = english(f"finding.legend_{word}") if not place else None
                axes.plot(times[part], column[part], color=colour, lw=1.4, label=label)
        for text, style in ((explanation.finding.began, ":"), (explanation.finding.flagged, "--")):
            at = datetime.fromisoformat(text).astimezone(zone).replace(tzinfo=None)
            if times[0] <= at <= times[-1]:
                axes.axvline(at, color=AFTER, ls=style)
        axes.set_ylim(0, None)
    water.set_ylabel(english("finding.flow_y"))
    water.legend(frameon=False, fontsize=9)
    power.xaxis.set_major_formatter(DateFormatter("%H:%M"))
    power.set(ylabel=english("finding.sun_y"), xlabel=english("finding.course_x"))


def _days(axes: Any, days: Any, explanation: "Explanation") -> None:
    known = [day for day in days if day.water_m3 is not None or day.expected_m3 is not None]
    at = [date.fromisoformat(day.date) for day in known]
    axes.bar(at, [np.nan if day.water_m3 is None else day.water_m3 for day in known], color=WATER, width=0.8)
    for when, day in zip(at, known, strict=True):
        if day.expected_m3 is None:
            continue
        low = day.expected_m3 if day.expected_low_m3 is None else day.expected_low_m3
        high = day.expected_m3 if day.expected_high_m3 is None else day.expected_high_m3
        axes.bar([when], [high - low], bottom=[low], color=BAND, alpha=0.3, width=0.8)
        axes.bar([when], [0], bottom=[day.expected_m3], edgecolor=BAND, width=0.8, lw=1.5)
    zone = ZoneInfo(explanation.facts.site.timezone)
    axes.axvline(datetime.fromisoformat(explanation.finding.began).astimezone(zone).date(), color=AFTER, ls=":")
    axes.tick_params(axis="x", rotation=30)
    axes.set(ylabel=english("finding.axis_water"), ylim=(0, None))
