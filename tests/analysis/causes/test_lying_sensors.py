"""A lying sensor told from the plant that it reads: what else hangs on its channel, what a mean says of a step, and the words of it."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.at_the_limit import Beside
from analysis.causes.registry import all_causes
from analysis.diagnosis import NOTHING, weigh_levels, weigh_shift
from analysis.estimates import hydraulic
from analysis.estimates.bench import bench_of
from analysis.estimates.day import figures_of
from analysis.estimates.effects import Effect
from analysis.estimates.scatter import GROUPS, misread_turns
from analysis.estimates.sums import Sums
from analysis.estimates.vector import HOURS, PLACE, SIZE
from analysis.learning import beginning
from analysis.life import REOPENED_MS, _drifted
from analysis.look import _running, look
from analysis.lying import LIGHT, POWERS, array_unknown, places_fed, stand_still, told_already, without_stuck
from analysis.memory import Case, Memory
from analysis.meter import metered
from analysis.no_water import water_came
from analysis.plant import Plant, plant_of
from analysis.resolution import reading_step
from analysis.rows import Rows
from analysis.sensor_words import sentence
from analysis.slow import Shift, best_alarm, slow_bench
from analysis.solar_days import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.symptoms import Episode
from analysis.water_missed import _let_go
from analysis.what_moves import moved_by, volts_swung
from tests.analysis.causes.test_thresholds import FACTS, Sized, day_of_columns, view_of, watched
from tests.cases.recorded import HERE, read_case

CENTRIFUGAL = "multistage-centrifugal"
S = slice(PLACE["s0"], PLACE["s0"] + HOURS)


@cache
def recorded(name: str = "closed-delivery/centrifugal_full") -> tuple[Plant, Rows]:
    facts, rows, _ = read_case(HERE / name)
    return plant_of(facts), rows


def forms(channel: str, kind: str = "closed-delivery/centrifugal_full") -> list[Effect]:
    """The slow forms of one channel: it reads too much, then too little."""
    effect = all_causes()["sensor-fault"].effect
    assert effect is not None
    return [one for one in effect(recorded(kind)[0]) if one.channel == channel]


def test_a_load_that_was_seen_to_let_go_is_no_dead_meter() -> None:
    reads = {
        "flow": 0.0, "lead": 0.0, "sun": -0.39, "spare": -0.02, "onset": 1.0, "before": 1.04, "revived": 0.0, "ran": 6.6,
    }  # fmt: skip
    assert weigh_levels("no-water", CENTRIFUGAL, reads).cause == "sensor-fault"
    assert weigh_levels("no-water", CENTRIFUGAL, reads | {"let_go": 1.0}).cause == "closed-delivery"


@pytest.mark.parametrize(("unloaded", "told"), [(1, {}), (12, {}), (40, {"let_go": 1.0}), (100, {"let_go": 1.0})])
def test_an_odd_row_under_a_cloud_is_no_load_that_let_go(unloaded: int, told: dict[str, float]) -> None:
    seen: Any = SimpleNamespace(dt_h=np.full(100, 1 / 60), unloaded=np.arange(100) < unloaded)
    assert _let_go(seen, np.arange(100)) == told


def test_a_meter_that_goes_on_counting_wrongly_is_rarer_than_what_costs_water_and_counts_too_little() -> None:
    over, under = forms("flow_m3_h")
    assert over.direction[PLACE["n1"]] > 0 > under.direction[PLACE["n1"]]
    assert over.rate < under.rate < 0.1


def test_what_lies_on_a_sensor_of_the_sun_makes_it_read_too_little() -> None:
    over, under = forms(LIGHT)
    assert over.direction[PLACE["gc"]] > 0 > under.direction[PLACE["gc"]]
    assert over.rate < 0.5 * under.rate
    assert over.loose < 0.2, "as much beside a clear sky as beside the array"


def test_a_level_sensor_that_drifts_drifts_at_rest_too() -> None:
    for one in forms("water_level_m"):
        assert one.direction[PLACE["rest"]] == one.direction[PLACE["l1"]]


@pytest.mark.parametrize("array_too", [0.0, 0.16])
def test_a_reading_of_the_power_that_is_off_is_off_at_the_array_too(array_too: float) -> None:
    """More power at the same speed, flow and motor current: a resistance in the motor's cable, unless the array seems to give more as well."""
    plant, _ = recorded()
    bench = slow_bench(plant)
    places = GROUPS["hydraulic"]
    mean = np.zeros(SIZE)
    mean[[PLACE["t1"], PLACE["t2"]]] = 0.16
    seen = np.array(
        [place for place in places if place in {PLACE[name] for name in ("n1", "n2", "t1", "t2", "i1", "i2")}]
    )
    moved = Shift("hydraulic", seen, mean[seen], np.diag(np.full(len(seen), 0.015**2)), 5)
    volts = {PLACE["av0"], PLACE["av1"]}
    array = np.array([place for place in GROUPS["electric"] if S.start <= place < S.stop or place in volts])
    told = np.where(np.isin(array, list(volts)), 0.0, array_too)
    beside = Shift("electric", array, told, np.diag(np.full(len(array), 0.03**2)) + 0.02**2, 5)
    alone, both = weigh_shift(bench, moved), weigh_shift(bench, moved, beside=Beside(beside, None))
    assert alone.shares["sensor-fault"] > 0.02
    if array_too:
        assert both.shares["sensor-fault"] > max(alone.shares["sensor-fault"], 0.9)
    else:
        assert both.shares["sensor-fault"] < 0.2 * alone.shares["sensor-fault"]


def test_a_speed_that_reads_on_without_any_power_is_no_pump_that_turns() -> None:
    plant, _ = recorded()
    speed, power = np.array([2800.0, 2800.0, 2800.0]), np.array([0.0, 0.5 * plant.full_power_w, np.nan])
    rows = Rows(np.arange(3), {"motor_speed_rpm": speed})
    assert _running(plant, rows, power, speed)[1].tolist() == [False, True, True]


def day_of(rows: Rows, plant: Plant) -> np.ndarray:
    """The vector of the rows' third day."""
    day = int(plant.days.day_of(int(rows.time_ms[0]))) + 3
    some = rows.take(plant.days.day_of(rows.time_ms) == day)
    return figures_of(plant, look(plant, some, range(day, day + 1)), range(day, day + 1))[0].vector


def test_a_speed_stuck_at_nothing_moves_no_resting_level() -> None:
    plant, rows = recorded()
    stuck = Rows(rows.time_ms, rows.values | {"motor_speed_rpm": np.zeros(len(rows))})
    assert day_of(stuck, plant)[PLACE["rest"]] == pytest.approx(day_of(rows, plant)[PLACE["rest"]], abs=0.15)


def test_a_register_of_whole_cubic_metres_says_nothing_of_the_first_water() -> None:
    plant, rows = recorded("none/helical")
    assert np.isfinite(day_of(rows, plant)[PLACE["first"]])
    step = 5.0 * plant.riser_m3
    coarse = Rows(rows.time_ms, rows.values | {"volume_m3": np.floor(rows["volume_m3"] / step) * step})
    told = replace(plant.facts, sensors=replace(plant.facts.sensors, meter_step_m3=step))
    assert np.isnan(day_of(coarse, plant_of(told))[PLACE["first"]])


def test_the_level_is_asked_once_a_step_of_a_pumping_test_has_passed() -> None:
    turning = np.array([0, 1, 1, 1, 0, 1, 1, 1], bool)
    time_ms = np.arange(8, dtype=np.int64) * 30 * MINUTE_MS
    seen: Any = Sized(turning=turning, day=np.zeros(8, np.int64), time_ms=time_ms)
    assert hydraulic._well_settled(seen).tolist() == [False, False, True, True, False, False, True, True]


@pytest.mark.parametrize(("step_h", "swing_m", "told"), [(0.25, 0.3, True), (0.25, 8.0, False), (1 / 60, 8.0, True)])
def test_a_head_that_scatters_about_long_rows_says_nothing(step_h: float, swing_m: float, told: bool) -> None:
    """Level and gauge are judged at a metered flow that is the row's mean; under broken cloud the reading at its end is of another."""
    n = round(3.0 / step_h)
    away = 1.0 + swing_m * (np.arange(n) % 2)
    seen: Any = Sized(dt_h=np.full(n, step_h), time_ms=np.arange(n))
    found = hydraulic._sure_mean(seen, Sums(np.ones(n, bool), np.zeros(n, np.int64), (1, 1)), away)[0, 0]
    assert np.isfinite(found) == told


def test_a_current_that_does_not_go_with_the_speed_from_row_to_row_says_nothing() -> None:
    n = 24
    seen: Any = Sized(dt_h=np.full(n, 1 / 6), time_ms=np.arange(n))
    sums = Sums(np.ones(n, bool), np.zeros(n, np.int64), (1, 1))
    should = 5.0 + 2.0 * np.sin(np.arange(n) / 3.0)
    assert hydraulic._sure(seen, sums, 1.1 * should, should)[0, 0]
    assert not hydraulic._sure(seen, sums, should * (1.0 + 0.6 * (np.arange(n) % 2)), should)[0, 0]


def case(family: str, cause: str, channel: str | None, ended_ms: int | None = None) -> Case:
    return Case(family, cause, cause, 0, 1, 0, 10 * DAY_MS, ended_ms=ended_ms, channel=channel)


def test_a_stuck_channel_is_told_once_and_its_figures_are_left_out() -> None:
    plant, _ = recorded()
    memory = Memory()
    memory.cases.append(case("sensor-fault", "sensor-fault", LIGHT))
    memory.cases[0].began_ms = plant.days.open_ms(100)
    assert stand_still(memory) == {LIGHT}
    assert array_unknown(memory, "electric")
    bench = slow_bench(plant)
    form = next(k for k, one in enumerate(bench.effects) if one.channel == LIGHT)
    other = next(k for k, one in enumerate(bench.effects) if one.channel == "flow_m3_h")
    assert told_already(bench, memory, "sensor-fault", form)
    assert not told_already(bench, memory, "sensor-fault", other)
    recent = np.ones((4, SIZE))
    left = without_stuck(plant, memory, recent, 101)
    assert np.isfinite(left[:2]).all()
    assert np.isnan(left[2:, S]).all()
    assert np.isfinite(left[:, PLACE["n1"]]).all()
    assert np.isfinite(recent).all(), "the days themselves stay as they were"


def test_a_power_known_to_lie_says_nothing_of_the_array() -> None:
    memory = Memory()
    memory.cases.append(case("slow-hydraulic", "sensor-fault", POWERS[0]))
    assert array_unknown(memory, "electric")
    assert not array_unknown(memory, "hydraulic")
    memory.cases[0].ended_ms = 1
    assert not array_unknown(memory, "electric")


def test_a_drift_that_is_seen_to_stand_still_goes_on_as_one_finding() -> None:
    drifting = case("slow-hydraulic", "sensor-fault", "discharge_pressure_bar", ended_ms=5 * DAY_MS)
    began = 5 * DAY_MS + REOPENED_MS - HOUR_MS
    stuck = Episode(
        "sensor-fault", began_ms=began, flag_ms=began + HOUR_MS, seen_ms=began + 4 * HOUR_MS, hours=4.0, at_flag={"stuck": 1.0}, whole={"stuck": 1.0},
        cause="sensor-fault", channel="discharge_pressure_bar",
    )  # fmt: skip
    assert _drifted([drifting], stuck) is drifting
    assert drifting.family == "sensor-fault"
    assert drifting.ended_ms is None
    assert _drifted([case("slow-hydraulic", "sensor-fault", "water_level_m")], stuck) is None
    assert _drifted([case("slow-hydraulic", "worn-pump", "discharge_pressure_bar")], stuck) is None


def counting(register: np.ndarray, with_flow: bool = True) -> Any:
    """Five hours of running at one m3/h, and what the register says."""
    n = len(register)
    channels = {"volume_m3": register, "motor_running": np.ones(n)} | ({"flow_m3_h": np.ones(n)} if with_flow else {})
    seen = view_of(**channels).columns
    seen.settled = seen.driven = seen.turning
    seen.power_w = np.full(n, 0.5 * plant_of(FACTS).full_power_w)
    seen.expected.daylight, seen.expected.clear_poa_w_m2 = np.ones(n, bool), np.full(n, 800.0)
    seen.should_m3_h = seen.flow_m3_h = seen.flow_now_m3_h = np.ones(n)
    seen.since_n, seen.moved_m3 = np.zeros(n, np.int64), np.diff(register, prepend=register[0])
    return day_of_columns(Sized(**seen.__dict__))


def test_a_register_that_stands_while_another_meter_counts_is_stuck() -> None:
    stands = np.full(600, 70.0)
    (told,) = [one for one in watched("sensor-fault", counting(stands)) if one.channel == "volume_m3"]
    assert told.whole == {"stuck": 70.0}
    assert [
        one for one in watched("sensor-fault", counting(stands, with_flow=False)) if one.channel == "volume_m3"
    ] == []
    counts = 70.0 + np.floor(np.arange(600) / 60.0 / 0.1) * 0.1
    assert [one for one in watched("sensor-fault", counting(counts)) if one.channel == "volume_m3"] == []


def test_a_tanks_level_that_stands_while_water_comes_is_stuck_where_a_float_says_that_it_is_not_full() -> None:
    def told(level: np.ndarray, **more: np.ndarray) -> list[Any]:
        view = counting(70.0 + np.arange(600) / 60.0)
        view.columns.rows.values.update({"tank_level_m": level, **more})
        return [one for one in watched("sensor-fault", view) if one.channel == "tank_level_m"]

    low, stands = np.zeros(600), np.full(600, 1.25)
    (one,) = told(stands, tank_float_up=low)
    assert one.whole == {"stuck": 1.25}
    assert told(stands) == [], "it may be full"
    assert told(0.1 * stands, tank_float_up=low) == [], "drawn empty: what comes goes at once"
    assert told(stands + 0.01 * (np.arange(600) % 7), tank_float_up=low) == []


@pytest.mark.parametrize(
    ("channel", "figures", "words"),
    [
        (LIGHT, {"stuck": 662.0, "hours": 419.1}, "The sensor of the sun (irradiance_w_m2) stood still at 662 W/m2 for 419.1 h"),
        ("volume_m3", {"amount": 0.2, "shift_n1": -0.2}, "The water meter (volume_m3) reads about 18 % too little"),
        ("water_level_m", {"amount": 3.83, "shift_l1": 3.7}, "The water level sensor (water_level_m) reads about 3.8 m too deep"),
        ("water_level_m", {"amount": 40.0, "shift_rest": -60.0}, "reads about 40 m or more too high"),
        ("discharge_pressure_bar", {"amount": 2.7, "shift_p1": -1.9}, "reads about 0.26 bar too little"),
        ("pv_current_a", {"amount": 0.15, "shift_pw": -0.15}, "reads about 16 % too much"),
        ("motor_current_a", {"amount": 0.2}, "reads about 20 % off"),
        ("volume_m3", {"flow": 0.0, "torque": 0.0}, "The water meter (volume_m3) counts 0 % of the expected flow"),
    ],
)  # fmt: skip
def test_the_sentence_names_channel_way_and_unit(channel: str, figures: dict[str, float], words: str) -> None:
    assert words in all_causes()["sensor-fault"].sentence(figures, channel)
    assert sentence(figures, channel, "").endswith(".")


@pytest.mark.parametrize(
    ("values", "step"),
    [([45.0, 46.0], 1.0), ([45.5, 46.0], 0.5), ([45.37], 0.01), ([45.3, 45.7], 0.1), ([45.123], 0.0), ([np.nan], 0.0), ([0.0, np.nan], 0.0), ([40.0], 1.0), ([211.37, 843.11], 0.01)],
)  # fmt: skip
def test_values_tell_in_what_steps_they_are_read(values: list[float], step: float) -> None:
    assert reading_step(np.array(values)) == step
    assert reading_step(np.array(values, np.float32).astype(float)) == step, "kept as 32-bit numbers"


@pytest.mark.parametrize(
    ("level_m", "swing_m", "told"),
    [(45.0, 0.8, False), (45.5, 0.8, False), (45.37, 0.8, True), (45.5, 1.2, True), (45.0, 2.4, True)],
)
def test_a_level_read_in_whole_metres_stands_still_through_less_than_two_of_them(
    level_m: float, swing_m: float, told: bool
) -> None:
    plant, n = plant_of(FACTS), 600
    seen = counting(np.cumsum(np.full(n, 1 / 60.0)), with_flow=False)
    flows = np.linspace(0.0, 4.0 * plant.full_flow_m3_h, 400)
    most = float(np.interp(swing_m, plant.system.drawdown_m(flows), flows))
    seen.columns.rows.values["water_level_m"] = np.full(n, level_m)
    seen.columns.should_m3_h = seen.columns.flow_m3_h = most * (0.5 + 0.5 * np.cos(np.arange(n) / 60.0))
    found = [one for one in watched("sensor-fault", seen) if one.channel == "water_level_m"]
    assert bool(found) == told


@pytest.mark.parametrize("own_power", [True, False])
def test_what_hangs_on_a_stuck_current_is_left_out_where_the_power_is_made_of_it(own_power: bool) -> None:
    plant, _ = recorded()
    channels = [name for name in plant.facts.sensors.channels if name != "input_power_w"]
    sensors = replace(plant.facts.sensors, channels=(*channels, "input_power_w") if own_power else tuple(channels))
    fed = set(places_fed(plant_of(replace(plant.facts, sensors=sensors)), "pv_current_a").tolist())
    assert {PLACE["ai1"], PLACE["s5"], PLACE["pw"]} <= fed
    assert ({PLACE["q1"], PLACE["t1"], PLACE["cap"]} <= fed) == (not own_power)
    assert not {PLACE["rest"], PLACE["stand"], PLACE["gc"]} & fed


def test_what_hangs_on_a_stuck_flow_is_left_out() -> None:
    plant, _ = recorded()
    fed = set(places_fed(plant, "flow_m3_h").tolist())
    assert {PLACE["q0"], PLACE["n2"], PLACE["l1"], PLACE["p1"]} <= fed
    assert not {PLACE["t1"], PLACE["i1"], PLACE["rest"]} & fed


@pytest.mark.parametrize(("kind", "told"), [("induction", False), ("permanent-magnet", True)])
def test_a_field_that_runs_ahead_of_its_rotor_is_no_fault_of_the_first_day(kind: Any, told: bool) -> None:
    """The drive tells the shaft's speed, the datasheet the field's: six per cent apart, and a quarter of the flow by the affinity laws."""
    facts = recorded()[0].facts
    plant = plant_of(replace(facts, motor=replace(facts.motor, kind=kind)))
    bench = slow_bench(plant)
    day = np.full(SIZE, np.nan)
    shaft = [PLACE[name] for name in ("n1", "n2", "t1", "t2")]
    day[[PLACE["q1"], PLACE["q2"]]] = 0.0
    day[shaft] = 0.06 * misread_turns(plant, bench_of(plant))[shaft]
    alarm = best_alarm(bench, beginning(bench.scatter), np.tile(day, (5, 1)), "hydraulic", [], set())
    assert (alarm is not None) == told


def test_a_fine_gauge_that_reads_running_what_it_read_at_rest_is_stuck_though_the_pipe_is_smooth() -> None:
    """Half a tenth of a bar between rest and running, and a gauge of hundredths that never stirs; a coarse one need not."""
    plant, n = plant_of(FACTS), 600
    flows = np.linspace(0.0, 4.0 * plant.full_flow_m3_h, 2000)
    pressed = plant.wellhead_head_m(flows) / plant.metres_a_bar
    most = float(np.interp(pressed[0] + 0.056, pressed, flows))
    for value, told in ((0.56, True), (0.6, False)):
        seen = counting(np.cumsum(np.full(n, 1 / 60.0)), with_flow=False)
        seen.columns.rows.values["discharge_pressure_bar"] = np.full(n, value)
        seen.columns.should_m3_h = seen.columns.flow_m3_h = np.where(np.arange(n) < 200, 0.0, most)
        seen.columns.settled = seen.columns.turning = np.arange(n) >= 200
        found = [one for one in watched("sensor-fault", seen) if one.channel == "discharge_pressure_bar"]
        assert bool(found) == told


@pytest.mark.parametrize("kept", [439, 440, 441, 600])
def test_a_stuck_level_is_flagged_when_the_step_has_ended_that_shows_that_water_came(kept: int) -> None:
    """A register of five cubic metres: that water came all through the hours before is known when it counts, and not before."""
    n, plant = 600, plant_of(FACTS)
    register = 70.0 + 5.0 * (np.arange(n) >= 440)
    seen = counting(register[:kept], with_flow=False)
    columns, running = seen.columns, np.arange(kept) >= 200
    columns.rows.values["water_level_m"] = np.full(kept, 43.21)
    columns.should_m3_h = np.where(running, plant.full_flow_m3_h, 0.0)
    whole = metered(np.zeros(kept, np.int64), columns.dt_h, register[:kept], columns.should_m3_h, 2.0, 5.0)
    columns.flow_m3_h, columns.since_n, columns.moved_m3 = whole.flow_m3_h, whole.since_n, whole.moved_m3
    columns.settled = columns.turning = running
    found = [one for one in watched("sensor-fault", seen) if one.channel == "water_level_m"]
    assert [one.flag_ms for one in found] == ([] if kept < 441 else [440 * MINUTE_MS])


def test_a_probe_that_says_wet_is_flagged_by_what_is_known_by_then() -> None:
    """The pump lifts half: a register of whole cubic metres tells so step by step; a step that is overdue tells by itself."""
    n = 900
    due = np.ones(n)
    register = np.floor(np.minimum(np.arange(n), 500) / 120.0)
    told = []
    for kept in range(60, n, 20):
        seen = counting(register[:kept], with_flow=False)
        columns = seen.columns
        columns.rows.values["low_level_probe_wet"] = np.ones(kept)
        columns.rows.values["water_level_m"] = (FACTS.well.probe_depth_m or 0.0) + 3.0 + 0.01 * (np.arange(kept) % 7)
        whole = metered(np.zeros(kept, np.int64), columns.dt_h, register[:kept], due[:kept], 2.0, 1.0)
        columns.flow_m3_h, columns.since_n, columns.moved_m3 = whole.flow_m3_h, whole.since_n, whole.moved_m3
        seen.facts = replace(FACTS, sensors=replace(FACTS.sensors, meter_step_m3=1.0))
        told.append([one.flag_ms for one in watched("sensor-fault", seen) if one.channel == "low_level_probe_wet"])
    flags = {flag for found in told for flag in found}
    assert len(flags) == 1, "the same in every prefix"
    (flag,) = flags
    for kept, found in zip(range(60, n, 20), told, strict=True):
        assert bool(found) == ((kept - 1) * MINUTE_MS >= flag)


def test_a_flow_that_drifts_is_told_of_the_flow_meter_where_it_makes_the_days_flow() -> None:
    plant, _ = recorded()
    assert {"flow_m3_h", "volume_m3"} <= plant.has
    assert forms("flow_m3_h")
    assert not forms("volume_m3")


def with_a_level(amounts: dict[str, float]) -> Shift:
    """Five days of a pump whose level and speed are read; entries by name, each known to a small part."""
    names = ("n1", "n2", "t1", "t2", "i1", "i2", "l1", "l2", "rest")
    places = np.array([place for place in GROUPS["hydraulic"] if place in {PLACE[name] for name in names}])
    mean = np.zeros(SIZE)
    for name, amount in amounts.items():
        mean[PLACE[name]] = amount
    std = np.where(np.isin(places, [PLACE[name] for name in ("l1", "l2", "rest")]), 0.3, 0.01)
    return Shift("hydraulic", places, mean[places], np.diag(std**2), 5)


def test_a_well_that_rises_after_rain_is_no_lying_level_sensor() -> None:
    """The pump feels the level: a sensor that reads three metres too high makes it seem to turn heavier than it should."""
    plant = recorded("riser-leak/helical_full")[0]
    assert "water_level_m" in plant.has
    bench = slow_bench(plant)
    risen = {"l1": -3.0, "l2": -3.0, "rest": -3.0}
    assert weigh_shift(bench, with_a_level(risen)).shares[NOTHING] > 0.5
    form = next(k for k, e in enumerate(bench.effects) if e.channel == "water_level_m" and e.direction[PLACE["l1"]] < 0)
    lying = {name: 3.0 * float(bench.directions[form][PLACE[name]]) for name in ("n1", "n2", "t1", "t2", "i1", "i2", "l1", "l2", "rest")}  # fmt: skip
    told = weigh_shift(bench, with_a_level(lying))
    assert told.cause == "sensor-fault"
    assert told.shares[NOTHING] < 0.3
    fallen = weigh_shift(bench, with_a_level({"l1": 4.0, "l2": 4.0, "rest": 4.0}))
    assert fallen.cause == "falling-water-level"
    assert fallen.shares[NOTHING] < 0.1


def test_a_voltage_too_high_is_told_once_where_the_array_itself_is_too_high() -> None:
    plant, _ = recorded()
    bench = slow_bench(plant)
    high, low = (
        next(k for k, e in enumerate(bench.effects) if e.channel == "pv_voltage_v" and sign * e.direction[PLACE["av1"]] > 0)
        for sign in (1, -1)
    )  # fmt: skip
    memory = Memory()
    assert not told_already(bench, memory, "sensor-fault", high)
    memory.cases.append(case("over-voltage", "over-voltage", None))
    assert told_already(bench, memory, "sensor-fault", high)
    assert not told_already(bench, memory, "sensor-fault", low)
    memory.cases[0].ended_ms = 1
    assert not told_already(bench, memory, "sensor-fault", high)


def test_a_coarse_meters_own_scatter_moves_no_level() -> None:
    """A step of the register more or less in a row is no flow that came and went; one that falls away is."""
    plant, n = plant_of(FACTS), 400
    seen = counting(np.cumsum(np.full(n, 1 / 60.0)), with_flow=False)
    full = plant.full_flow_m3_h
    seen.columns.should_m3_h = np.full(n, full)
    seen.columns.flow_m3_h = full * np.where(np.arange(n) % 2, 0.7, 1.3)
    came = moved_by(seen, seen.columns, "water_level_m")[0]
    assert np.ptp(came) < 1e-9
    seen.columns.flow_m3_h = np.where(np.arange(n) < 200, full, 0.0)
    assert np.ptp(moved_by(seen, seen.columns, "water_level_m")[0]) > 0.5 * plant.system.drawdown_m(np.array([full]))[0]


@pytest.mark.parametrize(("read", "told"), [(69.0, False), (69.3, True)])
def test_an_arrays_voltage_read_in_whole_volts_stands_through_less_than_two_of_them(read: float, told: bool) -> None:
    n = 300
    seen: Any = SimpleNamespace(
        turning=np.ones(n, bool), expected=SimpleNamespace(mpp_voltage_v=69.0 + 0.7 * np.cos(np.arange(n) / 40.0))
    )
    assert bool(volts_swung(seen, np.arange(n), np.full(5, read)).any()) == told
    assert volts_swung(seen, np.arange(n), np.zeros(5)).all(), "none at all while the pump turns"


def test_a_probe_that_is_dry_under_a_level_that_is_deeper_says_what_is_so() -> None:
    n = 400
    seen = counting(np.cumsum(np.full(n, 1 / 60.0)))
    seen.columns.rows.values["low_level_probe_wet"] = np.zeros(n)
    probe = FACTS.well.probe_depth_m or 0.0
    for level, lies in ((probe + 1.0, False), (probe - 5.0, True), (np.nan, True)):
        seen.columns.rows.values["water_level_m"] = level + 0.01 * (np.arange(n) % 7)
        told = [one for one in watched("sensor-fault", seen) if one.channel == "low_level_probe_wet"]
        assert bool(told) == lies


def test_water_that_is_counted_is_not_missing() -> None:
    due = np.ones(5)
    assert not water_came(np.zeros(5), due).any()
    assert water_came(np.array([0.0, 1.0, 0.0, 0.0, 0.0]), due).tolist() == [False, True, False, False, False]
    assert water_came(np.full(5, 0.9), due).all()


@pytest.mark.parametrize(("torque", "current", "cause"), [(0.06, 0.144, "cable-fault"), (0.0, 0.144, "sensor-fault")])
def test_a_motor_on_two_of_its_phases_is_no_lying_current(torque: float, current: float, cause: str) -> None:
    """One channel departs where one lies; two windings that do the work of three lose more as well."""
    plant, _ = recorded("none/centrifugal")
    three = plant_of(replace(plant.facts, motor=replace(plant.facts.motor, kind="permanent-magnet")))
    places = [PLACE[f"{name}{band}"] for name in "nti" for band in (1, 2)]
    seen = np.array([place for place in GROUPS["hydraulic"] if place in places])
    mean = np.zeros(SIZE)
    mean[[PLACE["t1"], PLACE["t2"]]] = torque
    mean[[PLACE["i1"], PLACE["i2"]]] = current
    moved = Shift("hydraulic", seen, mean[seen], np.diag(np.full(len(seen), 0.012**2)), 5)
    assert weigh_shift(slow_bench(three), moved).cause == cause


def test_a_motor_with_two_leads_loses_no_phase() -> None:
    plant, _ = recorded("none/centrifugal")
    count = {}
    for kind in ("permanent-magnet", "brushed-dc"):
        of_kind = plant_of(replace(plant.facts, motor=replace(plant.facts.motor, kind=kind)))
        count[kind] = len([one for one in all_causes()["cable-fault"].effect(of_kind) if one.part == "motor"])  # type: ignore[misc]
    assert count == {"permanent-magnet": 3, "brushed-dc": 2}
