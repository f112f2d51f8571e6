"""Where a day's missing water went: shared out once, among findings, states that are no fault, and what neither explains.

Flow: life.py, slow_life.py (what each case claims of the day), estimates/day.py (sums) -> HERE -> close.py; names: pipeline.py.
A cubic metre goes missing once: claims give way to one another, and none goes beyond what the day's sun should have given.
What is known best comes first: hours in which nothing came, then hours that tank or switch took, then losses of a share.
Never: judgement; rows kept.
"""

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache

import numpy as np

from analysis.estimates.day import DayFigures
from analysis.memory import Case
from analysis.rows import Floats, or_zero
from analysis.summary import DaySummary
from analysis.symptoms import DayView, Episode

MARK = "#"
"""Before the key of a case in a day that the memory keeps: its cause may be revised, and the day with it."""
OTHER = "other"
NOT_COUNTED = "not-counted"
"""In the days' table, in place of sensor-fault: a meter that lies loses no water."""
LEAST_M3 = 0.001
LITTLE = 0.2  # of what should have come: a day that brought more was no day of standing (common practice, no source)
NO_WATER = frozenset({"no-water", "not-turning", "controller-trip", "short-cycling", "over-voltage"})
"""Families of cases in which the pump stands or lifts nothing."""


def key_of(case: Case) -> str:
    """The part of a finding's `id` that is the case's own."""
    return _key(case.flagged_ms, case.number)


@lru_cache(maxsize=4096)
def _key(flagged_ms: int, number: int) -> str:
    """Kept, for each close asks for it and to write a time costs as much as to weigh an array."""
    return f"{datetime.fromtimestamp(flagged_ms // 1000, UTC):%Y%m%dT%H%MZ}-{number}"


def came_m3(moved_m3: Floats, flow_m3_h: Floats, dt_h: Floats) -> Floats:
    """What each row brought: by the register where it counts, else by its own flow; 0 where neither is read. [m3]"""
    return np.where(np.isnan(moved_m3), np.nan_to_num(flow_m3_h) * dt_h, moved_m3)


def missing_m3(view: DayView) -> float:
    """What the day's sun should have brought more than came, up to the view's end; of a day without a meter all of it. [m3]"""
    seen = view.columns
    if seen is None:
        return 0.0
    expected = float((or_zero(seen.expected.flow_of_sun_m3_h) * seen.dt_h).sum())
    return max(expected - float(came_m3(seen.moved_m3, seen.rows["flow_m3_h"], seen.dt_h).sum()), 0.0)


def within_the_day(view: DayView, claims: Iterable[tuple[Case, Episode]]) -> None:
    """Add what each stretch lost to its case, all together no more than the day is short of."""
    claims = list(claims)
    whole = sum(episode.lost_m3 for _, episode in claims)
    share = min(missing_m3(view) / whole, 1.0) if whole > 0.0 else 1.0
    for case, episode in claims:
        case.water_lost_m3 = (case.water_lost_m3 or 0.0) + share * episode.lost_m3


def share_out(before: list[Case], cases: list[Case], figures: DayFigures) -> tuple[float, dict[str, float]]:
    """What should have come on the day, and what is missing of it by key or reason. Changes the cases' own sums where they claim too much.

    A loss of a share is held against what this pump gives, which may be more than its table's: up to the table's band of 95 % what
    came and what is known to be lost are together what should have come.

    Parameters
    ----------
    before, cases
        The cases at the close before, and now: what they have lost since is their claim on the day.
    figures
        The day's sums; `water_m3` NaN where no meter is read. [m3]

    Returns
    -------
    Expected water, and shares that with what came add up to it, none negative; without a meter the claims alone. [m3]
    """
    had = {key_of(case): case.water_lost_m3 or 0.0 for case in before}
    claims = [(case, (case.water_lost_m3 or 0.0) - had.get(key_of(case), 0.0)) for case in cases]
    claims = [(case, max(claim, 0.0)) for case, claim in claims if claim != 0.0]
    metered, expected = math.isfinite(figures.water_m3), _known(figures.expected_m3)
    came = figures.water_m3 if metered else 0.0
    most = expected + 1.96 * _known(figures.expected_std_m3)
    lost: dict[str, float] = {}

    def take(name: str, claim: float, room: float) -> float:
        if claim <= 0.0:
            return 0.0
        took = min(max(claim, 0.0), max(room - came - sum(lost.values()), 0.0))
        lost[name] = lost.get(name, 0.0) + took
        return took

    def take_all(some: list[tuple[Case, float]], room: float) -> None:
        whole = sum(claim for _, claim in some)
        left = max(room - came - sum(lost.values()), 0.0)
        for case, claim in some:
            took = take(MARK + key_of(case), claim * min(left / whole, 1.0) if whole > 0.0 else 0.0, room)
            case.water_lost_m3 = had.get(key_of(case), 0.0) + took

    take_all([one for one in claims if not one[0].family.startswith("slow")], expected)
    take("tank-full", figures.tank_full_m3, expected)
    take("switched-off", figures.switched_off_m3, expected)
    if slow := [one for one in claims if one[0].family.startswith("slow")]:
        take_all(slow, most)
        known = sum(lost.values())
        if metered and came < most:
            expected = max(expected, min(came + known, most))
    take("held-back", figures.held_m3, expected)
    if metered:
        rest = max(expected - came - sum(lost.values()), 0.0)
        for case in _stood_all_day(before, cases) if came < LITTLE * expected else ():
            case.water_lost_m3 = (case.water_lost_m3 or 0.0) + take(MARK + key_of(case), rest, expected)
        take(OTHER, expected, expected)
    return expected, {name: round(value, 4) for name, value in lost.items() if value > LEAST_M3}


def _known(value: float) -> float:
    return 0.0 if math.isnan(value) else value


def _stood_all_day(before: list[Case], cases: list[Case]) -> list[Case]:
    """The case, one at most, that kept water away before and after the day and was seen on it.

    Between its tries a controller that gives up against a shut pipe waits for hours: what the sun would have brought then is missing
    for the same reason, though no row of it shows the fault. So with one whose input stands above its rating.
    """
    seen_ms = {key_of(case): case.seen_ms for case in before if case.ended_ms is None}
    found = [
        case
        for case in cases
        if case.ended_ms is None and case.family in NO_WATER and case.seen_ms > seen_ms.get(key_of(case), case.seen_ms)
    ]
    return found[-1:]


def named(days: Iterable[DaySummary], causes: dict[str, str]) -> tuple[DaySummary, ...]:
    """The days with each case's key (`causes`) under its cause as it is called now."""
    return tuple(_named(day, causes) for day in days)


def renamed(days: list[DaySummary], was: str, now: str) -> list[DaySummary]:
    """The days with what one case had lost under its new key."""

    def of(name: str) -> str:
        return MARK + now if name == MARK + was else name

    return [replace(day, lost_m3={of(name): value for name, value in day.lost_m3.items()}) for day in days]


def _named(day: DaySummary, causes: dict[str, str]) -> DaySummary:
    if not any(name.startswith(MARK) for name in day.lost_m3):
        return day
    lost: dict[str, float] = {}
    for name, value in day.lost_m3.items():
        if name.startswith(MARK):
            name = causes.get(name.removeprefix(MARK), OTHER)
            name = NOT_COUNTED if name == "sensor-fault" else name
        lost[name] = round(lost.get(name, 0.0) + value, 4)
    return replace(day, lost_m3=lost)
