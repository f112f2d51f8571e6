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
from analysis.drawing.course_svg import channel_words, dates_of, ends_of, told_span
from analysis.drawing.curve_svg import Curve, curve_of, expected_words
from analysis.drawing.share_svg import POWERS, level_words, span_of
from analysis.drawing.words import english
from analysis.pictures import ArrayPicture, FlowPicture
from analysis.shares import Shares

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
        _course(figure.subplots(2 if picture.channel is None else 3, 1, sharex=True), picture, explanation)
    elif isinstance(picture, Shares):
        _shares(figure.subplots(2, 1), picture, explanation)
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
    axes.plot(curve.x[drawn], curve.expected[drawn], color=WATER, lw=2, label=expected_words(curve, english))
    for points, mark, colour, fill, word in (
        (curve.before, "o", INK, "white", "before"), (curve.after, "D", AFTER, AFTER, "after"),
    ):  # fmt: skip
        if len(points.x):
            axes.vlines(points.x, points.low, points.high, color=colour, lw=1.2)
            axes.plot(points.x, points.y, mark, color=colour, mfc=fill, ms=6, label=english(f"finding.legend_{word}"))
    axes.set(xlabel=english(curve.x_words), ylabel=english(f"finding.{kind}_y"), xlim=(0, None), ylim=(0, None))
    axes.legend(frameon=False, fontsize=9)


def _shares(panels: Any, shares: Shares, explanation: "Explanation") -> None:
    zone = ZoneInfo(explanation.facts.site.timezone)
    began = datetime.fromisoformat(explanation.finding.began).astimezone(zone).replace(tzinfo=None)
    upper, lower = panels

    def there(at_ms: Any) -> list[datetime]:
        return [datetime.fromtimestamp(at / 1000, zone).replace(tzinfo=None) for at in at_ms]

    words = level_words(shares, english)
    for axes, before, after, place in (
        (upper, shares.before_by_day, shares.after_by_day, there),
        (lower, shares.before_by_part, shares.after_by_part, list),
    ):
        if np.isfinite(shares.usual_low):
            band = [100 * shares.usual_low, 100 * shares.usual_high]
            axes.axhspan(*band, color=WATER, alpha=0.2, lw=0, label=english("finding.legend_band_days"))
        for points, mark, colour, fill, word, level in (
            (before, "o", INK, "white", words[0], shares.usual), (after, "D", AFTER, AFTER, words[1], shares.now),
        ):  # fmt: skip
            if len(points.x):
                at = place(points.x)
                axes.vlines(at, 100 * points.low, 100 * points.high, color=colour, lw=1.2)
                axes.plot(at, 100 * points.y, mark, color=colour, mfc=fill, ms=6, label=word)
                if axes is upper:
                    ends = [at[0], began] if word == words[0] else [began, at[-1]]
                    axes.plot(sorted(ends), [100 * level] * 2, color=colour, lw=1.2)
        axes.set(ylim=tuple(100 * end for end in span_of(shares)))
        axes.grid(axis="y", color="#d9dfe3")
    if upper.get_xlim()[0] <= _number(began) <= upper.get_xlim()[1]:
        upper.axvline(began, color=AFTER, ls=":", label=english("finding.legend_began"))
    upper.legend(frameon=False, fontsize=9, ncols=4, loc="lower left", bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2)
    upper.set_ylabel(english(f"finding.{shares.of}_share_y"))
    _date_axis(upper)
    if shares.of == "array":
        lower.set(xlabel=english("finding.share_x_hour"), xlim=(-6, 6), xticks=range(-6, 7, 2))
    else:
        names = [english(f"finding.power_{name}") for name in POWERS]
        lower.set(xlabel=english("finding.share_x_power"), xlim=(-0.5, 2.5), xticks=range(3), xticklabels=names)


def _number(at: datetime) -> float:
    from matplotlib.dates import date2num

    return float(date2num(at))


def _date_axis(axes: Any) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator = AutoDateLocator(minticks=3, maxticks=6)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, formats=["%Y", "%d %b", "%d %b", "%H:%M", "%H:%M", "%S"], zero_formats=["", "%d %b", "%d %b", "%d %b", "%H:%M", "%H:%M"]))  # fmt: skip


def _course(panels: Any, course: Course, explanation: "Explanation") -> None:
    from matplotlib.dates import AutoDateLocator, DateFormatter

    zone = ZoneInfo(explanation.facts.site.timezone)
    times = np.array([datetime.fromtimestamp(at / 1000, zone).replace(tzinfo=None) for at in course.time_ms])
    water, power = panels[:2]
    silent_until = explanation.silent_until_ms(course)
    for part in whole_lines(course.time_ms, course.high):
        water.fill_between(
            times[part], np.maximum(course.low[part], 0.0), course.high[part], color=WATER, alpha=0.2, lw=0
        )
    water.fill_between([], [], [], color=WATER, alpha=0.2, lw=0, label=english("finding.legend_band"))
    lines = [
        (water, course.expected_m3_h, WATER, "expected"), (water, course.flow_m3_h, AFTER, "came"),
        (power, course.offered_w, WATER, "expected"), (power, course.power_w, AFTER, "came"),
    ]  # fmt: skip
    if course.channel is not None:
        lines += [(panels[2], course.usual, WATER, "expected"), (panels[2], course.told, AFTER, "came")]
        for part in whole_lines(
            course.time_ms, course.usual_high
        ):  # what it read before where the others read the same
            panels[2].fill_between(
                times[part], course.usual_low[part], course.usual_high[part], color=WATER, alpha=0.2, lw=0
            )
    for axes, column, colour, word in lines:
        for part in whole_lines(course.time_ms, column):
            axes.plot(times[part], column[part], color=colour, lw=1.4)
        if axes is water:
            axes.plot([], [], color=colour, lw=1.4, label=english(f"finding.legend_{word}"))
    ends = [
        datetime.fromtimestamp(at / 1000, zone).replace(tzinfo=None) for at in ends_of(course, silent_until is not None)
    ]
    for axes in panels:
        for text, style, word in (
            (explanation.finding.began, ":", "began"),
            (explanation.finding.flagged, "--", "flagged"),
        ):
            at = datetime.fromisoformat(text).astimezone(zone).replace(tzinfo=None)
            if ends[0] <= at <= ends[1]:
                axes.axvline(at, color=AFTER, ls=style, label=english(f"finding.legend_{word}"))
        if silent_until is not None:
            began = datetime.fromisoformat(explanation.finding.began).astimezone(zone).replace(tzinfo=None)
            until = datetime.fromtimestamp(silent_until / 1000, zone).replace(tzinfo=None)
            axes.axvspan(began, until, color=INK, alpha=0.15, lw=0, label=english("finding.legend_no_readings"))
        axes.set_ylim(0, None)
    if course.channel is not None:
        panels[2].set(ylim=told_span(course))
        panels[2].set_title(channel_words(course.channel, english), loc="right", fontsize=9, pad=3)
        if course.limit is not None:
            panels[2].axhline(course.limit, color="#1d2b33", ls="-.", lw=1.3, label=english("finding.legend_limit"))
            panels[2].legend(handles=panels[2].lines[-1:], frameon=False, fontsize=9)
    water.set_ylabel(english("finding.flow_y"))
    water.legend(frameon=False, fontsize=9, ncols=5, loc="lower left", bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2)
    power.set_ylabel(english("finding.sun_y"))
    panels[-1].set_xlim(*ends)
    panels[-1].xaxis.set_major_locator(AutoDateLocator(minticks=3, maxticks=8))
    panels[-1].xaxis.set_major_formatter(DateFormatter("%H:%M"))
    first_ms, last_ms = ends_of(course, silent_until is not None)
    panels[-1].set_xlabel(f"{english('finding.course_x')}, {dates_of(first_ms, last_ms, str(zone))}")


def _days(axes: Any, days: Any, explanation: "Explanation") -> None:
    known = [day for day in days if day.water_m3 is not None or day.expected_m3 is not None]
    at = [date.fromisoformat(day.date) for day in known]
    water = [np.nan if day.water_m3 is None else day.water_m3 for day in known]
    axes.bar(at, water, color=WATER, width=0.8, label=english("finding.legend_came"))
    due = [(when, day) for when, day in zip(at, known, strict=True) if day.expected_m3 is not None]
    when = [one for one, _ in due]
    middle = np.array([day.expected_m3 for _, day in due], float)
    low = np.array([day.expected_m3 if day.expected_low_m3 is None else day.expected_low_m3 for _, day in due], float)
    high = np.array(
        [day.expected_m3 if day.expected_high_m3 is None else day.expected_high_m3 for _, day in due], float
    )
    if due:
        axes.bar(when, high - low, bottom=low, color=BAND, alpha=0.3, width=0.8, label=english("finding.legend_band"))
        axes.hlines(middle, _number_of(when) - 0.4, _number_of(when) + 0.4, color=BAND, lw=1.5, label=english("finding.legend_expected"))  # fmt: skip
    zone = ZoneInfo(explanation.facts.site.timezone)
    began = datetime.fromisoformat(explanation.finding.began).astimezone(zone).date()
    axes.axvline(began, color=AFTER, ls=":", label=english("finding.legend_began"))
    axes.legend(frameon=False, fontsize=9, ncols=4, loc="lower left", bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2)
    axes.set(ylabel=english("finding.axis_water"), ylim=(0, None))
    _date_axis(axes)


def _number_of(days: list[date]) -> np.ndarray:
    from matplotlib.dates import date2num

    return np.asarray(date2num(days), float)
