"""A float that chatters tells of no full tank; trips at random are none the less trips for being many; what no other cause competes with comes again too."""

from types import SimpleNamespace
from typing import Any

import numpy as np

from analysis.causes.registry import all_causes
from analysis.causes.short_cycling import LIMITS, chatters
from analysis.come_again import ANOTHER, SHOWS_AGAIN, YEAR_MS, come_again
from analysis.symptoms import Episode
from analysis.unread_trips import unread_stops
from tests.analysis.causes.test_standing_rules import DAY_MS, LEAN, MINUTE_MS, OVER, PLANT, Sized, case_of, seen_of

MOVES_MIN = 60.0 * LIMITS.float_share * PLANT.facts.tank.capacity_m3 / PLANT.full_flow_m3_h
"""How long the pump fills the tank from one switching point of a float to the other."""


def by_float(ran: float, up: float, **more: float) -> np.ndarray:
    """Of a run and a stand with the float up, each so many times as long as filling takes, and a run after it: the stand's rows that are a chattering float's."""
    minutes = [max(round(part * MOVES_MIN), 2) for part in (ran, up)]
    turning = np.repeat([False, True, False, True], [3, *minutes, 3])
    seen = seen_of(len(turning), turning=turning, tank_float_up=np.where(turning, 0.0, 1.0), **more)
    seen.rows.values["tank_float_up"][:3] = 0.0
    rows = chatters(PLANT, seen)
    assert not rows[turning].any()
    return rows[3 + minutes[0] : -3]


def test_a_float_that_falls_again_before_the_tank_could_is_no_full_tank() -> None:
    assert MOVES_MIN > 4
    assert by_float(ran=5.0, up=0.4).all(), "nobody draws so fast"
    assert by_float(ran=0.5, up=5.0).all(), "so short a run fills no tank"
    assert not by_float(ran=5.0, up=5.0).any()
    assert not by_float(ran=5.0, up=0.4, switched_on=0.0).any()


def test_a_float_that_is_still_up_says_nothing_yet() -> None:
    turning = np.arange(20) < 10
    seen = seen_of(20, turning=turning, tank_float_up=np.where(turning, 0.0, 1.0))
    assert not chatters(PLANT, seen).any()
    assert not chatters(PLANT, seen_of(20, turning=turning)).any()


def often_stopped(runs: np.ndarray) -> int:
    """How many stops a day counts whose runs last so many minutes, four minutes apart, in full sun."""
    power = np.concatenate([np.repeat([LEAN.full_power_w, 0.0], [run, 4]) for run in runs])
    seen = seen_of(len(power), 1.5 * LEAN.full_power_w, measured=False, turning=power > 0, pv_voltage_v=125.0)
    seen.power_w = power
    view: Any = SimpleNamespace(
        facts=LEAN.facts, columns=Sized(**seen.__dict__), until_ms=len(power) * MINUTE_MS, day=0, days=OVER, once=lambda _, work: work(),
    )  # fmt: skip
    return len(unread_stops(view))


def test_many_stops_a_day_are_trips_where_they_come_at_random_and_cycling_where_they_do_not() -> None:
    chance = np.random.default_rng(7)
    assert often_stopped(1 + chance.exponential(12.0, 40).astype(int)) > 20
    assert often_stopped(chance.integers(6, 18, 30)) == 0


def test_a_float_that_nobody_reads_fills_by_one_volume_whatever_run_is_left_out() -> None:
    assert often_stopped(np.array([8, 8, 8, 6, 8, 44, 6, 8, 8])) == 0
    assert often_stopped(np.array([40, 8, 20, 6, 60, 44, 3, 80, 8])) > 0


DAYS = SimpleNamespace(day_of=lambda ms: ms // DAY_MS, day_of_date=lambda day: day.toordinal())


def test_what_no_other_cause_competes_with_is_the_same_before_another_is_to_be_expected() -> None:
    def again(cause: str, days: float) -> bool:
        case = case_of(cause, cause, seen_day=0.0)
        case.ended_ms = 0
        began = round(days * DAY_MS)
        view: Any = SimpleNamespace(facts=LEAN.facts, memory=SimpleNamespace(days=[], numbers={}, cases=[]), days=DAYS)
        return come_again(view, [case], Episode(cause, began, began, began, 1.0, cause=cause)) is case

    for cause in SHOWS_AGAIN:
        within = ANOTHER / all_causes()[cause].per_year * YEAR_MS / DAY_MS
        assert again(cause, 0.9 * within)
        assert not again(cause, 1.1 * within)
    assert not again("silent", 1.0)
