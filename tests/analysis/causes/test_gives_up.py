"""Tries: a start that gives up, a rotor that is held, and what short runs without water say; a code that stands from the first light."""

from typing import Any

import numpy as np
import pytest

from analysis.diagnosis import weigh_levels
from analysis.not_turning import LIMITS, _morning_ms, _of_day
from analysis.running import LIMITS as RUNNING
from analysis.running import tries_of
from analysis.solar_days import MINUTE_MS
from analysis.stood import idle
from analysis.summary import DaySummary
from tests.analysis.causes.test_contract_of_causes import KINDS
from tests.analysis.causes.test_standing_rules import PLANT, seen_of, view_of

TRIES = {
    "attempts": 0.1,
    "still": 1.0,
    "room": 1.25,
    "volts": 1.25,
    "vain": 1.0,
    "spun": 0.0,
    "onset": 0.5,
    "stood": 0.7,
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_held_rotor_takes_all_that_the_drive_lets_through_and_a_start_that_gives_up_takes_less_than_rated(
    kind: str,
) -> None:
    gives_up = weigh_levels("not-turning", kind, TRIES | {"current": 0.85, "push": 0.09, "fed": 0.009})
    held = weigh_levels("not-turning", kind, TRIES | {"current": 1.6, "push": 0.25, "fed": 0.025})
    assert gives_up.cause == "failed-start"
    assert held.shares["stalled-motor"] > 0.9


@pytest.mark.parametrize("kind", KINDS)
def test_without_a_current_tries_remain_a_motor_that_does_not_turn(kind: str) -> None:
    assert weigh_levels("not-turning", kind, TRIES | {"push": 0.2, "fed": 0.02}).cause == "stalled-motor"


def short_runs(minutes: int, should_m3_h: float) -> Any:
    """A run of so many minutes in an hour, of which the last row has settled; nothing comes, and no speed is read."""
    turning = (np.arange(60) >= 20) & (np.arange(60) < 20 + minutes)
    seen = seen_of(60, turning=turning, flow_m3_h=0.0)
    seen.settled = turning & (np.arange(60) == 19 + minutes)
    seen.moved_m3, seen.should_m3_h = np.zeros(60), np.where(turning, should_m3_h, 0.0)
    return seen


def test_a_run_of_minutes_on_less_than_lifts_water_is_a_try() -> None:
    assert tries_of(short_runs(3, 0.0)).sum() == 3
    assert not tries_of(short_runs(3, 1.0)).any(), "water was owed"
    assert not tries_of(short_runs(2 * RUNNING.brief_ms // MINUTE_MS, 0.0)).any(), "so long it turned"


def test_a_day_of_tries_is_no_day_of_pumping() -> None:
    tried, ran = (
        DaySummary("site", "2025-01-01", 0.0, 20.0, None, None, hours, 8.0, None, None, 1.0) for hours in (3.0, 5.0)
    )
    assert idle(tried)
    assert not idle(ran)


def test_no_shade_makes_a_controller_say_that_it_cannot_start() -> None:
    coded = seen_of(10, fault_code=np.where(np.arange(10) < 6, 12.0, 0.0))
    waits = _morning_ms(PLANT, coded, np.arange(10))
    assert (waits[:6] < LIMITS.morning_ms).all()
    assert (waits[:6] >= PLANT.facts.controller.low_level_hold_min * MINUTE_MS).all()
    assert (waits[6:] == LIMITS.morning_ms).all()


@pytest.mark.parametrize(("share", "onset"), [(1.5, 0.0), (1.05, 1.0)])
def test_a_run_that_the_light_did_not_end_was_stopped_though_more_light_came_later(share: float, onset: float) -> None:
    turns = np.arange(90) < 30
    seen = seen_of(90, turning=turns)
    seen.power_w = np.where(turns, share * PLANT.start_power_w, 0.0)
    rows = np.arange(70, 90)
    told = _of_day(view_of(), seen, turns, rows, np.zeros(len(rows), bool))
    assert told == {"onset": onset, "stood": 0.0, "today": 1.0}
