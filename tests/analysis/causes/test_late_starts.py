"""A pump that stood through hours of light and starts at once on the whole of a clear sky could have started long before."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.diagnosis import NOTHING, weigh_levels
from analysis.late_starts import FORTNIGHT, LATE_BEGAN, LATE_DAYS, LATE_LAST, LIMITS, again, late_day, since, sprang
from analysis.life import RARE_MS, REOPENED_MS, _same, with_episodes
from analysis.memory import Memory
from analysis.not_turning import not_turning
from analysis.symptoms import Episode
from analysis.untold import untold
from tests.analysis.causes.test_standing_rules import DAY_MS, MINUTE_MS, Sized, case_of, seen_of, view_of
from tests.analysis.causes.test_stopped_with_a_code import FACTS, PLANT

STOOD = 240
SUN_W = 2.0 * PLANT.full_power_w


def late(share: float, ran: int = 60, measured: bool = False, numbers: dict[str, float] | None = None) -> Any:
    """The view of a morning: it stands for four hours under a sky that is supposed to be clear, then runs for so many minutes at this share of full power."""
    n = STOOD + ran
    turning = np.arange(n) >= STOOD
    seen = seen_of(
        n, SUN_W, measured=measured, turning=turning, pv_voltage_v=np.where(turning, 100.0, 125.0),
        motor_speed_rpm=np.where(turning, 2000.0, 0.0), fault_code=0.0, motor_current_a=np.where(turning, 3.0, 0.0),
    )  # fmt: skip
    seen.power_w = np.where(turning, share * PLANT.full_power_w, 1.0)
    seen.driven, seen.moved_m3 = turning, np.where(turning, 0.1, 0.0)
    seen.expected.flow_of_sun_m3_h, seen.expected.poa_w_m2 = np.ones(n), np.zeros(n)
    days: Any = SimpleNamespace(open_ms=lambda day: day * DAY_MS)
    memory = Memory(numbers=numbers or {})
    view: Any = SimpleNamespace(
        facts=FACTS,
        columns=Sized(**seen.__dict__),
        memory=memory,
        day=20,
        until_ms=n * MINUTE_MS,
        days=days,
        running=None,
        raw=None,
        lies=frozenset(),
    )
    return view


def shares(view: Any, episode: Episode) -> dict[str, float]:
    return weigh_levels("not-turning", "helical-rotor", episode.at_flag, untold(view, episode)).shares


def test_a_start_on_the_whole_of_a_clear_sky_tells_of_the_hours_before() -> None:
    view = late(0.95)
    first, second = not_turning(view)
    assert not first.judged_again
    assert "sprang" not in first.at_flag, "as long as it stood nobody knew"
    assert second.judged_again
    assert second.at_flag["sprang"] == pytest.approx(0.95)
    assert second.flag_ms == (STOOD + 12) * MINUTE_MS
    assert (second.began_ms, second.seen_ms) == (first.began_ms, first.seen_ms)
    assert shares(view, second)["failed-start"] > shares(view, first)["failed-start"]
    assert shares(view, second)["failed-start"] > 0.5


def test_a_start_in_light_that_grows_out_of_cloud_is_cloud() -> None:
    view = late(0.3)
    first, second = not_turning(view)
    assert shares(view, second)[NOTHING] > shares(view, first)[NOTHING] > 0.5


def test_a_run_too_short_to_tell_and_a_sun_that_is_read_say_nothing_more() -> None:
    assert len(not_turning(late(0.95, ran=11))) == 1
    assert len(not_turning(late(0.95, ran=13))) == 2
    assert not any(episode.judged_again for episode in not_turning(late(0.95, measured=True)))
    view = late(0.95)
    view.columns.turning[STOOD + 5] = False
    assert sprang(PLANT, view.columns, view.columns.turning, np.arange(STOOD), 1.0)[0] == -1, "it hardly runs yet"


def test_what_is_told_once_it_started_does_not_change_with_later_rows() -> None:
    found = [not_turning(late(0.95, ran=ran))[1] for ran in (13, 30, 200)]
    assert len({(one.flag_ms, one.began_ms, tuple(sorted(one.at_flag.items()))) for one in found}) == 1


def test_of_an_array_that_lost_strings_the_rest_is_the_whole_sky() -> None:
    view = late(0.95)
    view.columns.expected.mpp_power_w[:] = PLANT.full_power_w
    view.columns.power_w[STOOD:] = 0.5 * PLANT.full_power_w
    told = sprang(PLANT, view.columns, view.columns.turning, np.arange(STOOD), 0.5)
    assert told == (STOOD + 12, pytest.approx(1.0))


def test_several_such_days_are_no_hand_and_no_tank_and_one_fault_since_the_first() -> None:
    view = late(0.95)
    first, told = not_turning(view)
    assert again(view) == {}, "none before says nothing"
    numbers = late_day(view, [first, told])
    assert numbers == {LATE_DAYS: 1.0, LATE_LAST: 20.0, LATE_BEGAN: pytest.approx(max(told.began_ms, 6 * DAY_MS))}
    next_day = late(0.95, numbers=numbers)
    next_day.day = 22
    second = not_turning(next_day)[1]
    assert second.at_flag["again"] == pytest.approx(np.log(2.0))
    assert second.began_ms == since(next_day, 0) == int(numbers[LATE_BEGAN])
    assert shares(next_day, second)["failed-start"] > shares(view, told)["failed-start"]
    assert late_day(next_day, [second])[LATE_DAYS] == 0b101
    forgotten = late(0.95, numbers=numbers)
    forgotten.day = 21 + FORTNIGHT
    assert again(forgotten) == {}


def test_a_day_after_it_was_stopped_while_it_ran_or_of_cloud_is_not_counted() -> None:
    of_tank = Episode("not-turning", 0, 0, 0, 1.0, whole={"sprang": 0.95, "onset": 0.0}, judged_again=True)
    of_cloud = Episode(
        "not-turning", 0, 0, 0, 1.0, whole={"sprang": LIMITS.strong - 0.1, "onset": 1.0}, judged_again=True
    )
    assert late_day(view_of(), [of_tank, of_cloud]) == {}


def test_what_shows_now_and_then_is_the_same_fault_for_three_weeks() -> None:
    case = case_of("not-turning", "failed-start")
    case.ended_ms = case.seen_ms
    began_ms = case.seen_ms + (REOPENED_MS + RARE_MS) // 2
    standing = Episode("not-turning", began_ms, began_ms, began_ms, 1.0)
    assert _same([case], "not-turning", standing) is None
    known = Episode("not-turning", began_ms, began_ms, began_ms, 1.0, whole={"sprang": 0.9, "onset": 1.0})
    assert _same([case], "not-turning", known) is case


def test_a_stretch_that_was_told_of_while_it_stood_is_not_counted_twice() -> None:
    view = late(0.95)
    view.columns.expected.flow_m3_h = np.ones(len(view.columns))
    first, told = not_turning(view)
    view.memory.cases = [case_of("not-turning", "failed-start", seen_day=0.0)]
    once, twice = (with_episodes(view, found)[0].hours for found in ([first], [first, told]))
    assert once == twice
