"""A pump that stops out of a strong run and whose code stands; and what must not be taken for a pump that does not start, or lifts nothing."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.causes.short_cycling import LIMITS as CYCLING
from analysis.causes.short_cycling import _of_open_array, _starts, paused_rows
from analysis.diagnosis import NOTHING, weigh_levels
from analysis.lifts_from import LIFTS_RPM, LIMITS, own_lift, slow_for_it
from analysis.look import stopped_within
from analysis.memory import Case, Memory
from analysis.not_turning import LIMITS as STILL
from analysis.not_turning import not_turning, pressed_rows, sun_certain
from analysis.plant import plant_of
from analysis.stood import array_lost
from analysis.symptoms import Episode
from analysis.tried_light import tried_light
from analysis.untold import _as_dark, untold
from tests.analysis.causes.test_standing_rules import MINUTE_MS, Sized, case_of, seen_of, view_of
from tests.cases.recorded import HERE, read_case

HELICAL = read_case(HERE / "none" / "helical_middle")[0]
FACTS = replace(HELICAL, sensors=replace(HELICAL.sensors, channels=(*HELICAL.sensors.channels, "tank_float_up")))
PLANT = plant_of(FACTS)
RAN = 60


def stopped(
    minutes: int, code: float = 13.0, last_share: float = 1.0, until: int = 10**6, tripped_at: int = -1, known: str = ""
) -> list[Episode]:
    """It ran for an hour and has stood since, no sensor reading the sun; the code stands up to the minute `until` of the stop.

    `tripped_at`: a minute before, in which it showed for once; `known`: what has been told of before.
    """
    n = RAN + minutes
    turning = np.arange(n) < RAN
    stands = (~turning & (np.arange(n) < RAN + until)) | (np.arange(n) == tripped_at)
    seen = seen_of(
        n, 2.0 * PLANT.full_power_w, measured=False, turning=turning, pv_voltage_v=np.where(turning, 100.0, 125.0),
        motor_speed_rpm=np.where(turning, 2000.0, 0.0), fault_code=np.where(stands, code, 0.0), motor_current_a=np.where(turning, 3.0, 0.0),
    )  # fmt: skip
    seen.power_w = np.where(turning, last_share * PLANT.start_power_w, 1.0)
    seen.driven, seen.settled, seen.moved_m3 = turning, turning, np.zeros(n)
    seen.expected.flow_of_sun_m3_h, seen.expected.poa_w_m2 = np.ones(n), np.zeros(n)
    view: Any = SimpleNamespace(
        facts=FACTS, columns=Sized(**seen.__dict__), memory=Memory(cases=[case_of(known, known)] if known else []), day=1,
        until_ms=n * MINUTE_MS, days=None,
    )  # fmt: skip
    return not_turning(view)


def test_a_code_that_stands_since_a_strong_run_stopped_is_told_within_the_hour_though_no_sensor_reads_the_sun() -> None:
    assert stopped(35, last_share=1.6) == []
    (told,) = stopped(70, last_share=1.6)
    assert told.flag_ms <= (RAN + 60) * MINUTE_MS
    assert told.flag_ms >= RAN * MINUTE_MS + STILL.measured_ms - MINUTE_MS
    assert told.began_ms == (RAN - 1) * MINUTE_MS, "it began when it stopped, not when the hold of a low level was over"
    assert told.at_flag["onset"] == 0.0
    again = [stopped(minutes, last_share=1.6) for minutes in (61, 90, 170)]
    assert {(one[0].flag_ms, one[0].began_ms) for one in again} == {(told.flag_ms, told.began_ms)}


def test_without_a_code_or_out_of_a_weak_run_cloud_may_keep_it_still_for_hours() -> None:
    assert stopped(170, code=0.0, last_share=1.6) == []
    assert stopped(170, last_share=1.05) == [], "it was the sun that failed"
    assert stopped(170, last_share=1.6, until=30) == [], "a code that goes is no code that stands"
    assert stopped(170, last_share=1.6, tripped_at=20) == [], "it came and went before"
    assert stopped(250, last_share=1.6, known="over-voltage") == [], "the code of a voltage too high"


def test_clouds_raise_no_code_and_one_that_stands_alone_is_a_motor_locked_out_or_a_start_that_fails() -> None:
    (told,) = stopped(70, last_share=1.6)
    view = view_of()
    view.facts = FACTS
    verdict = weigh_levels("not-turning", "helical-rotor", told.at_flag, untold(view, told))
    assert verdict.cause == "failed-start", "a motor is locked out after tries, and they show"
    assert verdict.shares["stalled-motor"] > 0.05
    assert verdict.shares.get(NOTHING, 0.0) < 0.5
    assert verdict.confidence < 0.7, "no try is seen, so nobody can be sure"


def test_a_row_that_turns_on_average_and_ends_at_rest_is_a_mean_over_both() -> None:
    day = np.array([1, 1, 1, 1, 2, 2])
    turning = np.array([True, True, True, False, True, True])
    driven = np.array([False, True, False, False, False, False])
    assert stopped_within(turning, driven, day).tolist() == [False, False, True, False, False, False], "day 2: no word"


def test_a_gauge_that_stood_above_the_open_pipe_while_the_water_came_says_nothing_of_a_shut_one() -> None:
    plant = plant_of(read_case(HERE / "riser-leak" / "helical_full")[0])
    high = 4.0 * plant.outlet_m / plant.metres_a_bar + 3.0
    for came, told in ((1.0, [False, False]), (0.2, [True, True])):
        seen = seen_of(2, discharge_pressure_bar=np.full(2, high))
        seen.settled, seen.should_m3_h = np.array([True, False]), np.array([1.0, 0.0])
        seen.flow_m3_h, seen.moved_m3 = np.array([came, 0.0]), np.full(2, np.nan)
        assert pressed_rows(plant, seen).tolist() == told


def test_what_a_register_tells_hours_later_takes_nothing_from_a_gauge_before() -> None:
    """Whether water came over rows 0 and 1 is known when the step ends, at row 3; what is said of rows 0 to 2 stays as it was."""
    plant = plant_of(read_case(HERE / "riser-leak" / "helical_full")[0])
    high = 4.0 * plant.outlet_m / plant.metres_a_bar + 3.0
    register = np.array([0.0, 0.0, 0.0, 5.0, 5.0])
    for kept in (3, 5):
        seen = seen_of(kept, discharge_pressure_bar=np.full(kept, high), volume_m3=register[:kept])
        seen.settled, seen.should_m3_h = np.arange(kept) < 2, np.ones(kept)
        seen.flow_m3_h = np.full(kept, np.nan if kept < 4 else 1.0)
        seen.moved_m3 = np.diff(register[:kept], prepend=0.0)
        assert pressed_rows(plant, seen).tolist() == [True, True, True, False, False][:kept]


def test_what_is_known_to_be_missing_from_the_array_does_not_start_a_pump() -> None:
    case = case_of("slow-electric", "string-out")
    case.size = [0.5, 0.4, 0.6]
    assert array_lost(view_of(case)) == 0.5
    case.ended_ms = 0
    assert array_lost(view_of(case)) == 0.0
    assert (
        array_lost(view_of(Case("slow-hydraulic", "worn-pump", "worn-pump", 0, 1, 0, 0, size=[0.3, 0.2, 0.4]))) == 0.0
    )
    enough: Any = SimpleNamespace(start_power_w=100.0, full_power_w=1000.0, array_stc_w=1000.0)
    assert sun_certain(enough, seen_of(1, 600.0)).all()
    assert not sun_certain(enough, seen_of(1, 600.0), left=0.25).any()
    assert sun_certain(enough, seen_of(1, 600.0), own_w=100.0, left=0.25).all(), (
        "so little has started it with as much missing"
    )
    assert not sun_certain(enough, seen_of(1, 600.0), own_w=140.0, left=0.25).any()


def lifted(rpm: np.ndarray, flow: Any, known: float | None = None) -> dict[str, float]:
    facts = read_case(HERE / "riser-leak" / "centrifugal_middle")[0]
    seen = seen_of(len(rpm), motor_speed_rpm=rpm)
    seen.settled, seen.flow_m3_h = np.full(len(rpm), True), np.broadcast_to(flow, len(rpm))
    seen.speed_rpm = rpm
    numbers = {} if known is None else {LIFTS_RPM: known}
    view: Any = SimpleNamespace(
        facts=facts, columns=Sized(**seen.__dict__), running=None, memory=Memory(numbers=numbers), day=1, days=None
    )
    return own_lift(view)


def test_below_the_speed_at_which_an_impeller_lifts_no_water_is_asked_for() -> None:
    rpm = np.linspace(2000.0, 3000.0, 201)
    full = plant_of(read_case(HERE / "riser-leak" / "centrifugal_middle")[0]).full_flow_m3_h
    (slowest,) = lifted(rpm, np.where(rpm > 2500.0, full, 0.0)).values()
    assert slowest == pytest.approx(2530.0, abs=15.0)
    assert lifted(rpm, np.where(rpm > 2500.0, full, 0.0), known=2300.0) == {LIFTS_RPM: LIMITS.rises * 2300.0}
    assert lifted(np.full(201, 2900.0), full) == {}, "it always turns at one speed, which may be any above"
    assert lifted(rpm, 0.0) == {}
    view: Any = SimpleNamespace(memory=Memory(numbers={LIFTS_RPM: slowest}))
    assert slow_for_it(view) == LIMITS.above * slowest
    assert slow_for_it(SimpleNamespace(memory=Memory())) == 0.0  # type: ignore[arg-type]


def tried(volts: float, power_w: float) -> float:
    """Three tries, each of one row, of a pump that stands beside an array whose voltage is at rest 125 V and that a try pulls down to `volts`."""
    n = 30
    fed = np.arange(n) % 10 == 5
    seen = seen_of(n, measured=False, pv_voltage_v=np.where(fed, volts, 125.0))
    seen.power_w = np.where(fed, power_w, 1.0)
    return tried_light(PLANT, seen, np.arange(n), fed)


def test_a_try_tells_the_light_by_how_far_it_pulls_the_voltage_down() -> None:
    start = PLANT.start_power_w
    assert tried(123.0, 0.5 * start) > 0.2, "half of the power that starts it, and the array hardly feels it"
    assert tried(105.0, 0.5 * start) < -0.7, "all that there was"
    assert tried(123.0, 0.5 * start) == pytest.approx(tried(121.0, start), abs=0.01)
    assert np.isnan(tried_light(PLANT, seen_of(3, pv_voltage_v=100.0), np.arange(3), np.full(3, True))), "never at rest"


def test_tries_that_hardly_pull_the_voltage_down_are_no_cloud() -> None:
    assert _as_dark(np.nan) == 1.0
    assert _as_dark(0.7) < 0.05 < 1.0 < _as_dark(-1.0)
    tries = {
        "attempts": 0.11,
        "fed": 0.01,
        "push": 0.09,
        "room": 1.31,
        "vain": 1.0,
        "volts": 1.31,
        "onset": 0.0,
        "stood": 0.0,
        "today": 1.0,
    }
    view: Any = SimpleNamespace(facts=HELICAL, memory=SimpleNamespace(days=[]))
    shares = {}
    for light in (-1.0, 0.7):
        at_flag = tries | {"light": light}
        nothing = untold(view, SimpleNamespace(symptom="not-turning", at_flag=at_flag))  # type: ignore[arg-type]
        shares[light] = weigh_levels("not-turning", "helical-rotor", at_flag, nothing).shares[NOTHING]
    assert shares[0.7] < 0.5 < shares[-1.0]


def test_stops_shorter_than_a_row_are_starts_all_the_same() -> None:
    """Rows apart two minutes; each stop lasts one: no row is at rest, but power falls while the voltage rises."""
    n = 12
    dips = np.arange(n) % 4 == 2
    seen = seen_of(n, turning=True, pv_voltage_v=np.where(dips, 115.0, 105.0))
    seen.power_w, seen.driven = np.where(dips, 250.0, 600.0), np.full(n, True)
    assert paused_rows(seen).tolist() == dips.tolist()
    seen.rows.values["pv_voltage_v"] = np.where(dips, 95.0, 105.0)
    assert not paused_rows(seen).any(), "a cloud"
    seen.rows.values["pv_voltage_v"], seen.speed_rpm = np.where(dips, 115.0, 105.0), np.full(n, 2900.0)
    assert not paused_rows(seen).any(), "a pump that gasps"
    seen.driven = ~dips
    assert paused_rows(seen).tolist() == dips.tolist(), "the controller says so"


def test_a_tank_is_not_drawn_down_within_a_minute() -> None:
    facts = replace(HELICAL, sensors=replace(HELICAL.sensors, channels=("pv_voltage_v", "pv_current_a", "volume_m3")))
    plant = plant_of(facts)
    run = round(60 * 2.0 * CYCLING.float_share * facts.tank.capacity_m3 / plant.full_flow_m3_h)
    draw = round(30 * 2.0 * CYCLING.float_share * facts.tank.capacity_m3 / plant.full_flow_m3_h)
    for stood, counted in ((1, 3), (draw + 2, 0)):
        turning = np.concatenate([np.arange(run + stood) < run] * 4)
        n = len(turning)
        seen = seen_of(
            n, 2.0 * plant.full_power_w, turning=turning, power_w=0.0, pv_voltage_v=np.where(turning, 105.0, 125.0)
        )
        seen.power_w = np.where(turning, plant.full_power_w, 0.0)
        seen.driven, seen.moved_m3 = turning, np.zeros(n)
        view: Any = SimpleNamespace(facts=facts, once=lambda _, work: work())
        assert len(_starts(view, Sized(**seen.__dict__))[0]) == counted, stood


def test_the_open_array_tells_clouds_from_a_loose_contact() -> None:
    """Six stops of three minutes each; under clouds the open voltage falls, and climbs as the cells cool."""
    turning = np.tile(np.arange(10) < 6, 6)
    n = len(turning)
    for rests, told in (([125.0, 125.2, 124.8, 125.1], (True, False)), ([118.0, 122.0, 127.0, 131.0], (False, True))):
        volts = np.tile(np.concatenate([np.full(6, 105.0), rests]), 6)
        seen = seen_of(n, turning=turning, pv_voltage_v=volts)
        steady, moved = _of_open_array(seen, np.array([0]), np.array([n - 1]))
        assert (bool(steady[0]), bool(moved[0])) == told
    unread = _of_open_array(seen_of(n, turning=turning), np.array([0]), np.array([n - 1]))
    assert not unread[0].any()
    assert not unread[1].any()


def test_the_code_of_a_voltage_too_high_is_its_own_also_when_the_voltage_has_gone_down() -> None:
    from analysis.causes.controller_trip import _said_when_high

    code = np.array([3.0, 0.0, 11.0, 11.0, 0.0, 11.0, 3.0])
    high = np.array([False, False, True, False, False, False, False])
    assert _said_when_high(code, high).tolist() == [False, False, True, True, False, True, False]
    assert not _said_when_high(code, np.zeros(7, bool)).any()
