"""Standing and stopping that have a reason of their own: dusk, a hold after a stop with a code, heat, trips, a shut valve; and tries in vain."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np

from analysis.causes.controller_trip import _brief
from analysis.causes.registry import all_causes
from analysis.causes.short_cycling import LIMITS as CYCLING
from analysis.causes.short_cycling import _bright, _explained, _free, _heated, _windows
from analysis.diagnosis import weigh_levels
from analysis.life import RARE_MS, REOPENED_MS, _same, as_finding
from analysis.memory import Case, Memory
from analysis.no_water import LIMITS as NO_WATER
from analysis.no_water import _well_above_lift
from analysis.not_turning import (
    LIMITS,
    _dusk,
    _in_vain,
    _waits,
    _without_water,
    fed_rows,
    not_turning,
    pressed_rows,
    sun_certain,
)
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.stood import LIMITS as STOOD
from analysis.stood import STARTS_W, idle, own_start, turned_off
from analysis.summary import DaySummary
from analysis.symptoms import Episode
from analysis.unread_trips import LIMITS as UNREAD
from analysis.unread_trips import WEEK, days_before, tallied
from analysis.untold import SWITCHED_OFF, TANK_FULL, TANK_SHUT, untold
from logger.record.site_facts import Visit
from tests.cases.recorded import HERE, read_case

FACTS = read_case(HERE / "none" / "helical_middle")[0]
PLANT = plant_of(FACTS)
MINUTE_MS, DAY_MS = 60_000, 86_400_000


def seen_of(n: int, offer_w: Any = 0.0, measured: Any = True, **columns: Any) -> Any:
    """Rows a minute apart at an array whose maximum power lies at 100 V."""
    time_ms = np.arange(n, dtype=np.int64) * MINUTE_MS
    power = np.full(n, columns.pop("power_w", 0.0))
    turning = np.broadcast_to(np.asarray(columns.pop("turning", False)), n).copy()
    held = np.full(n, columns.pop("held", False))
    rows = {name: np.broadcast_to(np.asarray(value, float), n).copy() for name, value in columns.items()}
    expected = SimpleNamespace(
        mpp_power_w=np.full(n, offer_w),
        mpp_voltage_v=np.full(n, 100.0),
        poa_measured=np.full(n, measured),
        power_at_speed_w=np.full(n, np.nan),
    )
    return SimpleNamespace(
        rows=Rows(time_ms, rows), time_ms=time_ms, turning=turning, driven=power > 0, power_w=power, held=held, expected=expected,
        dt_h=np.full(n, 1 / 60), asked=np.full(n, True), sun_enough=np.full(n, True), unread=np.full(n, False), unloaded=np.full(n, False),
        speed_rpm=np.full(n, columns.get("motor_speed_rpm", np.nan)), settled=turning, day=np.zeros(n, np.int64), flow_m3_h=np.zeros(n), should_m3_h=np.ones(n), moved_m3=np.full(n, np.nan),
    )  # fmt: skip


def view_of(*cases: Case, **more: Any) -> Any:
    numbers = more.pop("numbers", {})
    more = {"day": 10, "days": SimpleNamespace(open_ms=lambda day: day * DAY_MS), "running": None} | more
    return SimpleNamespace(facts=FACTS, memory=Memory(cases=list(cases), numbers=numbers), until_ms=10 * DAY_MS, **more)


def case_of(family: str, cause: str, seen_day: float = 9.5) -> Case:
    return Case(family, cause, cause, 0, 1, 0, round(seen_day * DAY_MS))


def test_an_open_array_hardly_above_its_maximum_power_voltage_stands_in_dusk() -> None:
    assert _dusk(PLANT, seen_of(1, pv_voltage_v=101.0)).all()
    assert not _dusk(PLANT, seen_of(1, pv_voltage_v=120.0)).any()
    assert not _dusk(PLANT, seen_of(1, pv_voltage_v=1.0)).any(), "cut off, which says nothing of the light"
    assert not _dusk(PLANT, seen_of(1, pv_voltage_v=101.0, power_w=50.0)).any()


def test_a_stop_with_a_code_may_be_a_low_levels_until_its_hold_is_over() -> None:
    hold = round(FACTS.controller.low_level_hold_min)
    assert FACTS.well.probe_depth_m is not None
    n = 3 * hold
    turning = np.arange(n) < 10
    waits = _waits(view_of(), seen_of(n, turning=turning, fault_code=np.where(turning, 0, 3)))
    assert waits[10 : 10 + hold].all()
    assert not waits[round(10 + LIMITS.hold_room * hold) + 4 :].any()
    assert not _waits(view_of(), seen_of(n, turning=turning, fault_code=np.zeros(n))).any()
    tripping = view_of(case_of("controller-trip", "controller-trip"))
    assert _waits(tripping, seen_of(n, turning=turning, fault_code=np.where(turning, 0, 3)))[10:].all()


def test_a_pump_that_pressed_against_a_shut_valve_yesterday_and_stalls_is_not_told_twice() -> None:
    assert _without_water(view_of(case_of("no-water", "closed-delivery")))
    assert not _without_water(view_of(case_of("no-water", "closed-delivery", seen_day=7.0)))
    later = view_of(case_of("no-water", "closed-delivery", seen_day=8.3))
    later.until_ms += DAY_MS - 1
    assert _without_water(later), "all day, or a flag would come hours after its time"
    assert _without_water(view_of(case_of("no-water", "reverse-rotation"))), "however it was named"
    assert _without_water(view_of(case_of("no-water", "broken-shaft")))
    assert not _without_water(view_of(case_of("no-water", "sensor-fault")))


def test_what_this_pump_starts_at_is_learnt_and_no_more_than_a_sound_one_needs() -> None:
    n, offer = 90, 0.74 * PLANT.full_power_w
    turning = np.arange(n) > 40
    (own_w,) = own_start(view_of(columns=seen_of(n, offer, turning=turning))).values()
    assert own_w == offer
    most = STOOD.own_most * PLANT.full_power_w
    assert own_start(view_of(columns=seen_of(n, 2 * PLANT.full_power_w, turning=turning))) == {STARTS_W: most}
    assert own_start(view_of(columns=seen_of(n, offer, measured=False, turning=turning))) == {}
    brief = (np.arange(n) > 40) & (np.arange(n) < 50)
    assert own_start(view_of(columns=seen_of(n, offer, turning=brief))) == {}, "a try is no start"
    known = view_of(columns=seen_of(n, offer, turning=turning), numbers={STARTS_W: 1.2 * offer})
    assert offer < own_start(known)[STARTS_W] < 1.2 * offer
    plant: Any = SimpleNamespace(start_power_w=100.0, full_power_w=1000.0, array_stc_w=1000.0)
    assert sun_certain(plant, seen_of(1, 525.0)).all()
    assert not sun_certain(plant, seen_of(1, 525.0), 500.0).any()


def test_tries_are_in_vain_only_while_the_array_has_more_to_give() -> None:
    fed = 0.2 * PLANT.full_power_w
    assert _in_vain(PLANT, seen_of(1, measured=False, power_w=fed, turning=True, held=True, pv_voltage_v=120.0)).all()
    assert not _in_vain(PLANT, seen_of(1, measured=False, power_w=fed, turning=True, pv_voltage_v=100.0)).any(), "cloud"
    assert not _in_vain(PLANT, seen_of(1, power_w=1.0, pv_voltage_v=120.0)).any(), "not fed"


def test_a_hot_controller_that_holds_power_far_down_explains_its_stops() -> None:
    low, full = 0.3 * PLANT.full_power_w, PLANT.full_power_w
    hot = {"controller_temp_c": CYCLING.hot_c + 5.0}
    assert _heated(PLANT, seen_of(3, 2 * full, power_w=low, turning=True, held=True, **hot)).all()
    assert not _heated(PLANT, seen_of(3, 2 * full, power_w=full, turning=True, held=True, **hot)).any()
    assert not _heated(PLANT, seen_of(3, 2 * full, power_w=low, turning=True, held=True, controller_temp_c=40.0)).any()


def test_trips_and_running_without_water_explain_many_stops_and_a_dead_meter_does_not() -> None:
    assert _explained(view_of(case_of("controller-trip", "controller-trip")))
    assert _explained(view_of(case_of("no-water", "closed-delivery")))
    assert not _explained(view_of(case_of("no-water", "sensor-fault")))
    ended = case_of("no-water", "closed-delivery")
    ended.ended_ms = 0
    assert not _explained(view_of(ended))


def test_a_passing_cloud_at_a_centrifugal_pump_is_not_judged_by_its_load() -> None:
    """At maximum power, little above the power at which lifting begins, a speed says nothing of the flow."""
    plant = plant_of(read_case(HERE / "riser-leak" / "centrifugal_middle")[0])
    watts = 0.9 * NO_WATER.above_lift_power * plant.lift_power_w
    fast = {"motor_speed_rpm": 2.0 * np.nan_to_num(plant.lift_speed_rpm, nan=3000.0)}
    assert not _well_above_lift(plant, seen_of(1, power_w=watts, pv_voltage_v=100.0, **fast)).any()
    assert _well_above_lift(plant, seen_of(1, power_w=watts, pv_voltage_v=125.0, held=True, **fast)).all()
    assert _well_above_lift(plant, seen_of(1, power_w=1.3 * watts, pv_voltage_v=100.0, **fast)).all()


def test_short_tries_with_a_code_are_a_motor_that_does_not_turn() -> None:
    measures = {"attempts": 0.03, "fed": 0.02, "push": 0.04, "code": 0.93, "volts": 1.3, "onset": 0.0, "stood": 0.0}
    assert weigh_levels("not-turning", "helical-rotor", measures).cause == "stalled-motor"
    assert (
        weigh_levels("not-turning", "helical-rotor", measures | {"code": 0.0, "attempts": 0.0}).cause == "failed-start"
    )


def test_tries_near_full_power_without_a_speed_read_are_a_rotor_against_a_shut_valve() -> None:
    measures = {"attempts": 0.17, "fed": 0.1, "push": 0.65, "room": 1.15, "volts": 1.21, "onset": 0.0, "stood": 0.0}
    assert weigh_levels("not-turning", "helical-rotor", measures).cause == "closed-delivery"
    for spun, cause in ((0.0, "stalled-motor"), (1.0, "closed-delivery")):
        read = measures | {"still": 1.0, "spun": spun}
        assert weigh_levels("not-turning", "helical-rotor", read).cause == cause, "where a speed is read, it tells"


def stopping(
    days: int, clouds: float = 0.0, stops: int = UNREAD.stops, full: float = 1.0, odd: int = 3, stood: Any = (15,)
) -> tuple[Memory, Any]:
    """The memory after so many days of stops from full power, and one day more; `clouds`: share of a run's rows that are weak, `odd`:
    times as long as the others is every other run, `stood`: minutes, in turn."""
    ran = np.full(20, full * LEAN.full_power_w)
    ran[5 : 5 + round(20 * clouds)] = 0.3 * LEAN.full_power_w
    more = np.concatenate([np.full(20 * (odd - 1), full * LEAN.full_power_w), ran])
    runs = [(more if run % 2 else ran, np.zeros(stood[run % len(stood)])) for run in range(stops + 1)]
    power = np.concatenate([part for run in runs for part in run])
    n = len(power)
    seen = seen_of(n, 1.5 * LEAN.full_power_w, measured=False, turning=power > 0, pv_voltage_v=125.0)
    seen.power_w = power
    columns = Sized(**seen.__dict__)
    memory = Memory(first_ms=0)
    for day in range(days + 1):
        view: Any = SimpleNamespace(
            facts=LEAN.facts,
            memory=memory,
            day=day,
            columns=columns,
            until_ms=n * MINUTE_MS,
            days=OVER,
            once=lambda _, work: work(),
        )
        if day < days:
            memory.numbers |= tallied(view)
    return memory, view


class Sized(SimpleNamespace):
    """Columns that know their length."""

    def __len__(self) -> int:
        return len(self.time_ms)


LEAN = plant_of(read_case(HERE / "none" / "helical_lean")[0])
OVER: Any = SimpleNamespace(daylight_ms=lambda _day, _margin: (0, MINUTE_MS))


def test_stops_from_full_power_on_several_days_are_trips_whose_code_nobody_reads() -> None:
    watch = all_causes()["controller-trip"].watch
    assert watch is not None
    assert "fault_code" not in LEAN.has
    (told,) = watch(stopping(UNREAD.days - 1)[1])
    assert told.size == UNREAD.stops
    assert told.began_ms == 35 * MINUTE_MS, "the first stop of the first such day"
    assert watch(stopping(UNREAD.days - 2)[1]) == [], "one day too few"
    assert watch(stopping(UNREAD.days - 1, stops=UNREAD.stops - 1)[1]) == []
    assert watch(stopping(UNREAD.days - 1, clouds=0.2)[1]) == [], "clouds that also passed without stopping it"
    assert watch(stopping(UNREAD.days - 1, full=0.4)[1]) == [], "it was the sun that failed"
    assert watch(stopping(UNREAD.days - 1, odd=1)[1]) == [], "a float fills by one and the same volume"
    assert watch(stopping(UNREAD.days - 1, stood=(4, 4, 35))[1]) == [], "clouds keep it still for as long as it happens"
    assert watch(stopping(UNREAD.days - 1, stood=(45,))[1]) == [], "a tank is drawn down"
    hold = round(LEAN.facts.controller.low_level_hold_min)
    assert UNREAD.hold_min < hold < UNREAD.stood_ms / MINUTE_MS
    assert watch(stopping(UNREAD.days - 1, stood=(hold + 1,))[1]) == [], "the hold after a low level"
    open_day = stopping(UNREAD.days - 1)[1]
    open_day.until_ms = 0
    assert watch(open_day) == [], "all stops of a day together tell"


def test_trips_that_nothing_reads_are_not_looked_up_in_a_manual() -> None:
    case = case_of("controller-trip", "controller-trip")
    assert "code up in" in as_finding(LEAN.facts, case).check
    case.figures = {"unread": 1.0}
    assert "code up in" not in as_finding(LEAN.facts, case).check


def test_stops_within_minutes_and_without_water_are_not_soon_called_trips() -> None:
    """Such a controller may guard a pump that lifts nothing."""
    turning = np.array([0, 1, 1, 0, 0, 1, 1, 1, 0, 0] + [1] * 30 + [0])
    starts, moved = np.array([3, 8, 40]), np.zeros(41)
    seen = seen_of(41, turning=turning > 0, flow_m3_h=np.zeros(41))
    seen.moved_m3 = moved
    assert _brief(seen, starts).tolist() == [True, True, False]
    moved[6] = 0.01
    assert _brief(seen, starts).tolist() == [True, False, False]


def test_tries_while_the_array_has_more_to_give_are_neither_a_full_tank_nor_a_hand_on_the_switch() -> None:
    tries = {
        "attempts": 0.05,
        "fed": 0.01,
        "push": 0.16,
        "room": 1.25,
        "volts": 1.27,
        "onset": 0.0,
        "stood": 1.1,
        "vain": 1.0,
    }
    for quiet in (TANK_FULL, SWITCHED_OFF):
        assert weigh_levels("not-turning", "helical-rotor", tries, (quiet,)).shares["nothing"] < 0.05
        still = tries | {"attempts": 0.0, "vain": 0.0, "fed": 0.0, "push": 0.03}
        assert weigh_levels("not-turning", "helical-rotor", still, (TANK_FULL,)).shares["nothing"] > 0.5


def test_power_that_fell_as_the_water_stopped_is_no_dead_meter() -> None:
    """Where nothing but power and meter is read: an impeller at a shut valve takes a third less from one minute to the next."""
    seen = {"flow": 0.0, "onset": 1.0, "before": 1.0}
    assert weigh_levels("no-water", "multistage-centrifugal", seen | {"fell": -0.4}).shares["sensor-fault"] < 0.05
    assert weigh_levels("no-water", "multistage-centrifugal", seen | {"fell": 0.0}).cause == "sensor-fault"


def test_days_of_stops_are_forgotten_after_a_week() -> None:
    memory, view = stopping(UNREAD.days - 1)
    later: Any = SimpleNamespace(facts=LEAN.facts, memory=memory, day=view.day + WEEK, columns=view.columns, until_ms=0)
    assert days_before(view) == UNREAD.days - 1
    assert days_before(later) == 0


def note_view(note: str, ran_days_ago: int = 3, visited_days_ago: int = 3) -> Any:
    """A day on which it stands, some days after it last ran, and a visit with a note."""
    days = [SimpleNamespace(pumping_h=5.0 if back >= ran_days_ago else 0.0) for back in range(10, 0, -1)]
    visit = SimpleNamespace(date=100 - visited_days_ago, note=note)
    return SimpleNamespace(
        facts=SimpleNamespace(visits=[visit]), day=100, memory=SimpleNamespace(days=days),
        days=SimpleNamespace(day_of_date=lambda date: date),
    )  # fmt: skip


def test_a_visit_whose_note_says_that_it_was_switched_off_speaks_before_a_failed_start() -> None:
    for note in ("switched off, herd away", "Turned the pump off", "shut down for the winter", "pump off"):
        assert turned_off(note_view(note), ran_today=False), note
    for note in (
        "new meter", "speed turned to 80 %", "switched off and on again", "took off the leaves", "pump not switched off",
        "turned the valve off", "shut off by itself, error 12", "found pump off, will not start", "switched off and on, still dead",
    ):  # fmt: skip
        assert not turned_off(note_view(note), ran_today=False), note
    assert not turned_off(note_view("switched off", visited_days_ago=5), ran_today=False), "it has run since"
    assert turned_off(note_view("switched off", visited_days_ago=0), ran_today=True)
    assert not turned_off(note_view("switched off"), ran_today=True)


def test_days_on_which_a_float_or_a_switch_told_it_to_stand_are_not_days_of_cloud() -> None:
    day = DaySummary("a", "2026-01-01", 0.0, 20.0, 18.0, 22.0, 0.0, 8.0, None, None, 1.0)
    assert idle(day)
    assert not idle(replace(day, lost_m3={"tank-full": 12.0}))
    assert not idle(replace(day, lost_m3={"switched-off": 20.0}))
    assert idle(replace(day, lost_m3={"tank-full": 1.0}))


def test_pressure_that_stays_locked_in_between_the_tries_is_a_shut_pipe_and_no_stalled_motor() -> None:
    tries = {"attempts": 0.05, "fed": 0.02, "push": 0.09, "still": 1.0, "room": 1.2, "vain": 1.0, "current": 0.34, "code": 0.82, "volts": 1.21, "onset": 0.0, "stood": 0.7}  # fmt: skip
    assert weigh_levels("not-turning", "helical-rotor", tries | {"pressed": 0.0, "spun": 0.0}).cause == "stalled-motor"
    assert (
        weigh_levels("not-turning", "helical-rotor", tries | {"pressed": 1.0, "spun": 1.0}).cause == "closed-delivery"
    )
    plant = plant_of(read_case(HERE / "riser-leak" / "helical_full")[0])
    outlet_bar = plant.outlet_m / plant.metres_a_bar
    seen = seen_of(2, discharge_pressure_bar=np.array([outlet_bar, 4.0 * outlet_bar + 3.0]))
    assert pressed_rows(plant, seen).tolist() == [False, True]


def standing_for(minutes: int, bar: float, note: str = "", tried_at: int | None = None) -> list[Any]:
    """It ran for an hour, and has stood under full sun since, its gauge at so many times the outlet's height.

    `note` of a visit on that day; the motor is fed for the two minutes from `tried_at` on.
    """
    facts = read_case(HERE / "riser-leak" / "helical_full")[0]
    plant = plant_of(facts)
    n = 60 + minutes
    turning = np.arange(n) < 60
    seen = seen_of(
        n, 2.0 * plant.full_power_w, turning=turning, motor_speed_rpm=np.where(turning, 2000.0, 0.0), flow_m3_h=turning,
        discharge_pressure_bar=bar * plant.outlet_m / plant.metres_a_bar,
    )  # fmt: skip
    seen.power_w = np.where(turning, plant.full_power_w, 1.0)
    if tried_at is not None:
        seen.power_w[tried_at : tried_at + 2] = 0.3 * plant.full_power_w
    seen.driven, seen.settled, seen.moved_m3 = turning, turning, np.zeros(n)
    seen.unread = np.full(n, False)
    seen.expected.poa_w_m2, seen.expected.cell_temp_c = np.full(n, 900.0), np.full(n, 45.0)
    seen.expected.flow_of_sun_m3_h = np.ones(n)
    view: Any = SimpleNamespace(
        facts=replace(facts, visits=(Visit(date(2026, 1, 1), "other", note),) if note else ()),
        columns=Sized(**seen.__dict__), memory=Memory(), day=1, until_ms=n * MINUTE_MS,
        days=SimpleNamespace(day_of_date=lambda _date: 1),
    )  # fmt: skip
    return not_turning(view)


def test_a_try_after_it_was_switched_off_tells_nothing_of_the_hours_before() -> None:
    """The same finding for all rows up to any minute: a flag needs nothing later than itself."""
    assert len(standing_for(100, 1.0)) == 1
    assert standing_for(100, 1.0, "switched off") == []
    until = [standing_for(minutes, 1.0, "switched off", tried_at=180) for minutes in range(100, 260, 20)]
    first = next(told for told in until if told)[0]
    assert first.began_ms >= 178 * MINUTE_MS
    for minutes, told in zip(range(100, 260, 20), until, strict=True):
        assert bool(told) == (first.flag_ms < (60 + minutes) * MINUTE_MS), minutes
        assert all((one.flag_ms, one.began_ms) == (first.flag_ms, first.began_ms) for one in told)


def test_a_shut_pipe_is_told_within_a_quarter_of_an_hour_after_the_controller_gave_up() -> None:
    assert standing_for(15, 1.0) == []
    (told,) = standing_for(15, 6.0)
    assert told.flag_ms <= 72 * MINUTE_MS
    assert told.at_flag["pressed"] == 1.0


def test_a_row_whose_mean_holds_a_try_was_fed_though_the_controller_says_at_its_end_that_it_rests() -> None:
    seen = seen_of(4, turning=np.array([True, False, False, False]))
    seen.power_w = PLANT.full_power_w * np.array([0.8, 0.3, 0.1, 0.001])
    seen.driven = np.array([True, False, False, False])
    assert fed_rows(PLANT, seen).tolist() == [True, False, True, False], "the row after a run holds its end"


def test_tries_with_more_power_than_starts_it_are_no_cloud() -> None:
    facts = LEAN.facts
    assert not {"irradiance_w_m2", "tank_float_up"} & set(facts.sensors.channels)
    view: Any = SimpleNamespace(facts=facts, memory=SimpleNamespace(days=[]))
    start = LEAN.start_power_w / LEAN.full_power_w
    told = {
        push: untold(view, SimpleNamespace(symptom="not-turning", at_flag={"push": push * start, "today": 1.0}))  # type: ignore[arg-type]
        for push in (0.5, 2.0)
    }
    assert len(told[0.5]) == len(told[2.0]) + 2


def test_tries_that_take_the_same_each_time_are_no_cloud() -> None:
    view: Any = SimpleNamespace(facts=LEAN.facts, memory=SimpleNamespace(days=[]))
    start = LEAN.start_power_w / LEAN.full_power_w
    told = {
        alike: untold(
            view, SimpleNamespace(symptom="not-turning", at_flag={"push": 0.5 * start, "alike": alike, "today": 1.0})
        )  # type: ignore[arg-type]
        for alike in (0.01, 0.2)
    }
    assert len(told[0.2]) == len(told[0.01]) + 2


def test_where_a_gauge_but_no_float_is_read_a_valve_at_a_full_tank_may_keep_the_pressure_locked_in() -> None:
    def kept(*channels: str) -> bool:
        facts = replace(LEAN.facts, sensors=replace(LEAN.facts.sensors, channels=channels))
        view: Any = SimpleNamespace(facts=facts, memory=SimpleNamespace(days=[]))
        return TANK_SHUT in untold(view, SimpleNamespace(symptom="not-turning", at_flag={}))  # type: ignore[arg-type]

    assert kept("discharge_pressure_bar", "irradiance_w_m2")
    assert not kept("irradiance_w_m2")
    assert not kept("discharge_pressure_bar", "tank_float_up", "irradiance_w_m2")
    locked = standing_for(15, 6.0)[0].at_flag
    alone = weigh_levels("not-turning", "helical-rotor", locked)
    beside = weigh_levels("not-turning", "helical-rotor", locked, (TANK_FULL, TANK_SHUT))
    assert alone.shares["closed-delivery"] > 0.8 > beside.shares.get("closed-delivery", 0.0)


def test_a_sky_only_supposed_does_not_say_that_a_pump_that_runs_had_too_little_sun() -> None:
    def free(**more: Any) -> bool:
        seen = seen_of(1, **more)
        seen.asked, seen.sun_enough, seen.unread = np.zeros(1, bool), np.zeros(1, bool), np.zeros(1, bool)
        return bool(_free(seen)[0])

    assert free(measured=False)
    assert not free(measured=True)
    assert not free(measured=False, tank_float_up=1.0)
    assert not free(measured=False, switched_on=0.0)
    assert not free(measured=False, low_level_probe_wet=0.0)


def test_where_no_voltage_is_read_none_says_that_it_is_dark() -> None:
    assert _bright(seen_of(1)).all()
    assert _bright(seen_of(1, pv_voltage_v=125.0)).all()
    assert not _bright(seen_of(1, pv_voltage_v=101.0)).any()


def test_trips_on_another_day_within_three_weeks_are_the_same_trips() -> None:
    def again(cause: str, days: float) -> bool:
        case = case_of(cause, cause, seen_day=0.0)
        case.ended_ms = 0
        began = round(days * DAY_MS)
        return _same([case], cause, Episode(cause, began, began, began, 1.0, cause=cause)) is case

    assert REOPENED_MS < 15 * DAY_MS < RARE_MS
    assert again("controller-trip", 15)
    assert again("short-cycling", 15)
    assert not again("silent", 15)
    assert not again("controller-trip", 22)


def test_without_a_voltage_more_starts_are_asked_for() -> None:
    def told(runs: int, **more: Any) -> bool:
        turning = np.tile([True] * 6 + [False] * 4, runs + 1)
        seen = seen_of(len(turning), LEAN.full_power_w, measured=False, turning=turning, **more)
        seen.power_w = np.where(turning, LEAN.full_power_w, 0.0)
        starts = np.flatnonzero(turning[1:] & ~turning[:-1]) + 1
        assert len(starts) == runs
        view: Any = SimpleNamespace(facts=LEAN.facts)
        return _windows(view, Sized(**seen.__dict__), starts, ~seen.turning) is not None

    assert CYCLING.unmeasured_starts < CYCLING.blind_starts
    assert told(CYCLING.unmeasured_starts, pv_voltage_v=125.0)
    assert not told(CYCLING.unmeasured_starts)
    assert told(CYCLING.blind_starts)
