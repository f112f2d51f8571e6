"""Silence: no readings arrive in daylight."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, beware, register
from analysis.memory import Memory
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class SilentLimits:
    """`after_h` of daylight: the most of a day. A link that is slow, or a board whose small panel wakes it late, leaves out hours often
    enough, and nobody drives out for an afternoon without readings (common practice, no source). `morning_h`: of the next day's light at
    least, however much of the day before was missing already."""

    after_h: float = 8.0
    morning_h: float = 1.0
    sun_up_h: float = 0.5  # after sunrise: a board fed by a panel of its own wakes late


LIMITS = SilentLimits()
TOLD_APART_H = 1.0


def watch(view: DayView) -> list[Episode]:
    """Gaps of the rows that cover more than `after_h` of daylight, this day's and, where it began then, that of the day before.

    Judged when: the clock says that event time is complete (`until`). Shows as: nothing at all.
    """
    opens, closes = view.days.daylight_ms(view.day, round(LIMITS.sun_up_h * HOUR_MS))
    closes = min(closes, view.until_ms)
    heard = view.heard_ms[(view.heard_ms > opens) & (view.heard_ms <= closes)]
    wait = round(LIMITS.after_h * HOUR_MS)
    opens = max(opens, view.first_ms)
    lasts = silence_lasts(view.memory) and not _heard_since(view, opens)
    wait_first = max(wait - _light_before(view, opens), round(LIMITS.morning_h * HOUR_MS))
    if closes - opens < (0 if lasts else wait_first):
        return []
    edges = np.concatenate([[opens], heard, [closes]])
    waits = np.full(len(edges) - 1, wait)
    waits[0] = wait_first
    long = np.diff(edges) >= waits
    long[0] |= lasts  # the morning on which it speaks again
    found = []
    for place in np.flatnonzero(long):
        start, end = int(edges[place]), int(edges[place + 1])
        began = view.last_before(start)
        found.append(
            Episode(
                "silent",
                began_ms=began,
                flag_ms=up_to_minute(min(start + int(waits[place]), end)),
                seen_ms=end,
                hours=_daylight_h(
                    view, view.last_before(start) if place or not lasts else start, end, place == 0 and lasts
                ),
                at_flag={"gap_h": LIMITS.after_h},
                whole={"gap_h": (end - start) / HOUR_MS},
                cause="silent",
                over=end < closes or bool((view.heard_ms > end).any()),
            )
        )
    return found


def silence_lasts(memory: Memory) -> bool:
    """Whether nothing had been heard up to yesterday's close for long enough to have been told."""
    return any(case.cause == "silent" and case.ended_ms is None for case in memory.cases)


def _light_before(view: DayView, opens_ms: int) -> int:
    """How much of yesterday's daylight, up to its end, had passed without a reading when today opens. [ms]"""
    opened, closed = view.days.daylight_ms(view.day - 1, round(LIMITS.sun_up_h * HOUR_MS))
    return max(closed - max(view.last_before(opens_ms), opened), 0)


def _heard_since(view: DayView, opens_ms: int) -> bool:
    """Whether a reading came in the night before: then the silence ended with it."""
    told = max(case.seen_ms for case in view.memory.cases if case.cause == "silent" and case.ended_ms is None)
    return view.last_before(opens_ms) > told


def _daylight_h(view: DayView, start_ms: int, end_ms: int, goes_on: bool) -> float:
    """Hours of light between the instants; where the silence goes on, of this day alone."""
    first = view.day if goes_on else int(view.days.day_of(start_ms))
    hours = 0.0
    for day in range(max(first, view.day - 1), view.day + 1):
        opens, closes = view.days.daylight_ms(day, 0)
        begins = opens if goes_on else max(opens, start_ms)
        ends = (
            closes
            if day < view.day or end_ms >= view.days.daylight_ms(day, round(LIMITS.sun_up_h * HOUR_MS))[1]
            else end_ms
        )
        hours += max(min(ends, closes) - begins, 0) / HOUR_MS
    return hours


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    light_h = figures.get("hours", figures.get("gap_h", 0.0))
    lasted_h = max(24.0 * figures.get("days", 0.0), light_h)
    if lasted_h < light_h + TOLD_APART_H:
        return f"No reading arrived for {lasted_h:.1f} h of daylight."
    return f"No reading arrived for {lasted_h:.0f} h, {light_h:.0f} h of them in daylight."


register(
    CauseFile(
        "silent",
        per_year=1.5,
        judged="minute",
        check="See whether the logger's lamp is lit and whether a telephone has signal at the pump; "
        "the pump itself may be running well.",
        advice=Advice(
            own=(
                "See whether the pump runs: silence says nothing about the water.",
                "Look at the logger's lamp and at its small panel: clean it, clear what shades it.",
                "See whether a telephone on the same network has signal at the pump.",
            ),
            technician=(
                "Measure the logger's battery and its charging; read the logger's own journal for the link.",
                "Check SIM, data credit, aerial and its plug.",
            ),
            cautions=(
                beware(
                    "Do not open the pump controller's box: the array keeps it at a dangerous voltage by day.",
                    "licensed",
                ),
            ),
        ),
        evidence=evidence,
        watch=watch,
        limits=LIMITS,
    )
)
