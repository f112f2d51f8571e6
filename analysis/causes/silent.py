"""Silence: no readings arrive in daylight."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, register
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class SilentLimits:
    """`after_h` of daylight: a mobile link is down for hours often enough (common practice, no source)."""

    after_h: float = 5.0
    sun_up_h: float = 0.5  # after sunrise: a board fed by a panel of its own wakes late


LIMITS = SilentLimits()


def watch(view: DayView) -> list[Episode]:
    """Gaps of the day's rows that cover more than `after_h` of its daylight, counted over the night before.

    Judged when: the clock says that event time is complete (`until`). Shows as: nothing at all.
    """
    opens, closes = view.days.daylight_ms(view.day, round(LIMITS.sun_up_h * HOUR_MS))
    closes = min(closes, view.until_ms)
    heard = view.heard_ms[(view.heard_ms > opens) & (view.heard_ms <= closes)]
    wait = round(LIMITS.after_h * HOUR_MS)
    opens = max(opens, view.first_ms)
    if closes - opens < wait:
        return []
    edges = np.concatenate([[opens], heard, [closes]])
    found = []
    for place in np.flatnonzero(np.diff(edges) >= wait):
        start, end = int(edges[place]), int(edges[place + 1])
        began = view.last_before(start)
        found.append(
            Episode(
                "silent",
                began_ms=began,
                flag_ms=up_to_minute(start + wait),
                seen_ms=end,
                hours=(end - start) / HOUR_MS,
                at_flag={"gap_h": LIMITS.after_h},
                whole={"gap_h": (end - start) / HOUR_MS},
                cause="silent",
                over=end < closes,
            )
        )
    return found


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return f"No reading arrived for {figures.get('hours', figures.get('gap_h', 0.0)):.1f} h of daylight."


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
            cautions=("Do not open the pump controller's box: the array keeps it at a dangerous voltage by day.",),
        ),
        evidence=evidence,
        watch=watch,
        limits=LIMITS,
    )
)
