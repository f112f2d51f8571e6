"""What keeps causes quiet: weak sun, a sky only supposed, coarse readings, the code of a low level, a speed set by hand, an older state."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.causes.controller_trip import LIMITS as TRIPS
from analysis.causes.controller_trip import _low_level
from analysis.causes.sensor_fault import ANSWERS, _frozen, alive_rows, drowned_rows
from analysis.causes.short_cycling import _clouded
from analysis.diagnosis import NOTHING, _at_usual_speed, _set_by_hand, weigh_shift
from analysis.estimates.horizon import BINS, NEVER, without_horizon
from analysis.estimates.vector import HOURS, PLACE, SIZE
from analysis.full_power import own_full, strong_rows
from analysis.not_turning import LIMITS as STILL
from analysis.not_turning import sun_certain
from analysis.other_power import power_without
from analysis.pipeline import advance, begin
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.slow import Shift, slow_bench
from analysis.slow_life import SETTING_READ, _setting_unread
from tests.cases.recorded import HERE, read_case

STC_W = 2000.0


def certain(offer_w: float, start_w: float, measured: bool, full_w: float = 1000.0, lit: bool = True) -> bool:
    """Whether so much light surely starts a pump that needs `start_w`, its array rated 2 kW."""
    plant = SimpleNamespace(start_power_w=start_w, full_power_w=full_w, array_stc_w=STC_W)
    expected = SimpleNamespace(mpp_power_w=np.array([offer_w]), poa_measured=np.array([measured]))
    return bool(sun_certain(plant, SimpleNamespace(sun_enough=np.array([lit]), expected=expected))[0])


@pytest.mark.parametrize("measured", [True, False])
def test_weak_sun_is_never_sure_to_start_a_pump(measured: bool) -> None:
    """Below 400 W/m2, however little the datasheet says that it needs."""
    assert not certain(0.99 * STILL.bright_share * STC_W, 50.0, measured)
    assert certain(1.01 * STILL.bright_share * STC_W, 50.0, measured)


def test_a_sky_only_supposed_must_offer_twice_what_starts_it_and_a_measured_one_less() -> None:
    """Broken cloud where nothing reads the sun takes half of what a clear sky would give."""
    start_w = 500.0
    between = 0.5 * (STILL.half_full * 1000.0 + STILL.morning_share * start_w)
    assert certain(between, start_w, True)
    assert not certain(between, start_w, False)
    assert certain(1.01 * STILL.morning_share * start_w, start_w, False)
    assert not certain(between, start_w, True, lit=False)


def cycled(ran_w: list[float], measured: bool = False) -> tuple[bool, bool]:
    """Runs of so many watts a minute, five minutes stood after each: whether the last stop came at full strength, and whether clouds were about."""
    facts, _, _ = read_case(HERE / "none" / "helical_middle")
    full_w = plant_of(facts).full_power_w
    run = np.array([*ran_w, 0.0, 0.0, 0.0, 0.0, 0.0]) * full_w
    power = np.tile(run, 6)
    n = len(power)
    expected = SimpleNamespace(
        mpp_power_w=np.full(n, 1.5 * full_w), poa_measured=np.full(n, measured), mpp_voltage_v=np.full(n, 100.0)
    )
    seen = SimpleNamespace(
        turning=power > 0,
        driven=power > 0,
        day=np.zeros(n, np.int64),
        speed_rpm=np.full(n, np.nan),
        power_w=power,
        expected=expected,
        dt_h=np.full(n, 1 / 60),
        rows=Rows(np.arange(n) * 60_000, {}),
    )
    view = SimpleNamespace(facts=facts)
    last = np.flatnonzero(seen.turning)[-1:]
    return bool(strong_rows(seen, own_full(plant_of(facts), seen))[last][0]), bool(
        _clouded(view, seen, np.array([0]), last)[0]
    )


def test_broken_cloud_is_known_without_a_sensor_by_power_that_went_and_came() -> None:
    assert cycled([1.0] * 10) == (True, False), "a loose contact"
    assert cycled([1.0, 1.0, 0.3, 0.2, 0.3, 0.9, 1.0, 0.3, 0.9, 1.0]) == (True, True), (
        "clouds that also passed without stopping it"
    )
    assert not cycled([1.0, 1.0, 1.0, 0.8, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1])[0], "a cloud runs it down first"
    assert cycled([0.5] * 10) == (True, False), "all that it takes today: a string may be out"
    assert cycled([0.5, 0.5, 0.15, 0.1, 0.15, 0.45, 0.5, 0.15, 0.45, 0.5])[1], "clouds about half an array"


def frozen(channel: str, values: list[float], turning: list[int]) -> bool:
    """Whether the running rows of one and the same value count as a channel that no longer answers."""
    column = np.array(values)
    seen = SimpleNamespace(
        rows={channel: column}, turning=np.array(turning) > 0, dt_h=np.full(len(values), 1 / 6)
    )  # fmt: skip
    part = np.flatnonzero(seen.turning & (column == column[np.argmax(seen.turning)]))
    return bool(_frozen(seen, channel, part)[-1])


@pytest.mark.parametrize("channel", sorted(ANSWERS))
def test_a_coarse_reading_that_answers_when_the_pump_stops_is_not_stuck(channel: str) -> None:
    turning = [0, 0, 1, 1, 1, 0, 0, 1, 1, 1]
    assert not frozen(channel, [3.0, 3.0, 4.0, 4.0, 4.0, 3.0, 3.0, 4.0, 4.0, 4.0], turning)
    assert frozen(channel, [4.0] * 10, turning)


@pytest.mark.parametrize("channel", sorted(ANSWERS))
def test_one_that_stood_at_its_value_at_dawn_and_left_it_at_noon_is_not_stuck(channel: str) -> None:
    turning = [0, 1, 1, 1, 0, 0, 1, 1]
    assert frozen(channel, [4.0] * 8, turning)
    assert not frozen(channel, [4.0, 4.0, 4.0, 4.0, 3.0, 3.0, 4.0, 4.0], turning)


def lifting(says: dict[str, float], flow_m3_h: float = 1.0) -> bool:
    """Whether a row counts as one of a pump of 2 m3/h that runs: no power, but water; `says`: the other channels."""
    plant = SimpleNamespace(full_flow_m3_h=2.0)
    yes, no = np.ones(1, bool), np.zeros(1, bool)
    rows = Rows(np.zeros(1, np.int64), {name: np.array([value]) for name, value in says.items()})
    expected = SimpleNamespace(daylight=yes, clear_poa_w_m2=np.array([800.0]))
    driven = np.array([says.get("motor_running", 0.0) > 0.5])
    seen = SimpleNamespace(
        settled=no, flow_m3_h=np.full(1, flow_m3_h), dt_h=np.ones(1), driven=driven, rows=rows, expected=expected
    )
    return bool(alive_rows(plant, seen)["lifting"][0])


def test_water_that_comes_is_a_pump_that_runs_unless_a_channel_says_that_it_stands() -> None:
    assert lifting({"pv_current_a": 0.0})
    assert lifting({"pv_current_a": 0.0, "motor_running": 1.0})
    assert not lifting({"pv_current_a": 0.0}, 0.006), "a meter's last step, shared out over a rest"
    assert not lifting({"motor_running": 0.0})
    assert not lifting({"motor_speed_rpm": 0.0})


def test_power_that_is_voltage_times_a_stuck_current_says_nothing_of_that_current() -> None:
    facts, _, _ = read_case(HERE / "none" / "helical_middle")
    plant = plant_of(facts)
    swing, still = np.array([0.2, 0.9, 0.4]), np.full(3, 0.5)
    rows = {"pv_voltage_v": 100.0 * still, "pv_current_a": plant.rated_current_a * swing}
    seen = SimpleNamespace(
        rows=Rows(np.arange(3), rows), power_w=plant.full_power_w * still, flow_m3_h=plant.full_flow_m3_h * swing,
        driven=np.ones(3, bool),
    )  # fmt: skip
    for channel in rows:
        assert np.allclose(power_without(plant, seen, channel), plant.full_power_w * swing)
    assert np.allclose(power_without(plant, seen, "motor_speed_rpm"), plant.full_power_w * still)
    rows |= {"pv_voltage_v": np.zeros(3), "pv_current_a": 0.05 * plant.rated_current_a * np.ones(3)}
    dead = power_without(plant, seen, "pv_voltage_v")
    assert np.ptp(dead) > plant.full_power_w, "a current that drives the motor at no voltage"
    seen.driven = np.zeros(3, bool)
    assert np.ptp(power_without(plant, seen, "pv_voltage_v")) == 0.0


@pytest.mark.parametrize(
    ("level_m", "flow", "told"), [(62.0, 0.5, True), (61.0, 0.5, False), (62.0, 0.9, False), (50.0, 0.5, False)]
)
def test_a_probe_that_says_wet_lies_where_the_level_is_below_it_and_the_pump_starves(
    level_m: float, flow: float, told: bool
) -> None:
    class Seen(SimpleNamespace):
        def __len__(self) -> int:
            return 1

    rows = Rows(np.zeros(1, np.int64), {"low_level_probe_wet": np.ones(1), "water_level_m": np.array([level_m])})
    seen = Seen(
        rows=rows, turning=np.ones(1, bool), flow_m3_h=np.array([flow]), should_m3_h=np.ones(1), since_n=np.zeros(1)
    )
    assert bool(drowned_rows(view_of().facts, seen)[0]) == told


def view_of(**site: float) -> SimpleNamespace:
    """A well with its probe at 60 m and a hold of half an hour."""
    facts = SimpleNamespace(
        well=SimpleNamespace(probe_depth_m=site.get("probe", 60.0)),
        controller=SimpleNamespace(low_level_hold_min=site.get("hold", 30.0), start_delay_s=30.0),
        sensors=SimpleNamespace(meter_step_m3=0.01),
    )
    return SimpleNamespace(facts=facts)


def low(code_minutes: int, **columns: float) -> bool:
    """Whether a code that stands for so many minutes is a low level's; `columns`: what is read from its first minute on."""
    n = code_minutes + 40
    coded = np.zeros(n, bool)
    coded[20 : 20 + code_minutes] = True
    rows = {name: np.full(n, value) for name, value in columns.items()}
    rows.setdefault("low_level_probe_wet", np.full(n, np.nan))
    rows.setdefault("water_level_m", np.full(n, np.nan))
    if "dry_at" in columns:
        rows["low_level_probe_wet"] = np.where(np.arange(n) == columns["dry_at"], 0.0, 1.0)
    seen = SimpleNamespace(rows=Rows(np.arange(n) * 60_000, rows), dt_h=np.full(n, 1 / 60))
    return bool(_low_level(view_of(), seen, coded)[20 + code_minutes // 2])


def test_a_code_beside_a_dry_probe_is_the_wells_business() -> None:
    assert low(5, dry_at=19)
    assert low(5, dry_at=22)
    assert not low(5, dry_at=10)


def test_a_code_as_long_as_the_hold_is_a_low_level_unless_the_water_stands_well_above() -> None:
    assert low(30)
    assert low(30, water_level_m=60.0)
    assert not low(30, water_level_m=60.0 - TRIPS.above_m - 1.0)
    assert not low(5)
    assert not low(120)


def held_at(share: float, told: float = 0.01) -> Shift:
    """Power held at so great a share of the datasheet's fastest speed."""
    places = np.array([PLACE["cap"], PLACE["cn"]])
    mean = np.array([3.0 * np.log(share), np.log(share)])
    return Shift("held", places, mean, np.diag([0.03**2, told**2]), 5)


def test_a_speed_that_people_set_is_a_round_share_of_the_whole() -> None:
    assert _set_by_hand(held_at(0.80)) > 5.0 * _set_by_hand(held_at(0.773))
    assert _set_by_hand(held_at(0.80)) > 1.0 > _set_by_hand(held_at(0.773))
    assert _set_by_hand(held_at(0.87)) > 1.0, "a keypad's whole percent"
    assert _set_by_hand(held_at(1.0)) < 1.0, "nobody turns it down to the whole"
    assert _set_by_hand(held_at(0.80, told=1.0)) == 1.0, "where the whole was never learnt nothing is round"


def test_a_lighter_load_at_the_usual_speed_is_not_held_back() -> None:
    assert _at_usual_speed(held_at(1.0))
    assert not _at_usual_speed(held_at(0.9))


@pytest.mark.parametrize("site", ["none/helical_middle", "string-out/centrifugal_full"])
def test_a_speed_set_by_hand_is_more_likely_nothing_than_one_that_is_not_round(site: str) -> None:
    facts, _, _ = read_case(HERE / site)
    bench = replace(slow_bench(plant_of(facts)), setting_read=False)
    by_hand, other = (weigh_shift(bench, held_at(share)).shares[NOTHING] for share in (0.80, 0.773))
    assert by_hand > 0.8
    assert by_hand / (1.0 - by_hand) > 5.0 * other / (1.0 - other)


@pytest.mark.parametrize("site", ["none/helical_middle", "string-out/centrifugal_full"])
def test_a_limit_that_began_with_a_visit_is_more_likely_the_visitors(site: str) -> None:
    facts, _, _ = read_case(HERE / site)
    bench = replace(slow_bench(plant_of(facts)), setting_read=False)
    alone, beside = (weigh_shift(bench, held_at(0.773), visited=there).shares[NOTHING] for there in (False, True))
    assert beside / (1.0 - beside) > 5.0 * alone / (1.0 - alone)


def test_nineteen_twentieths_is_a_setting_too() -> None:
    assert _set_by_hand(held_at(0.95)) > 1.0 > _set_by_hand(held_at(0.963))


def test_where_the_setting_is_read_and_stands_a_low_limit_is_the_controllers() -> None:
    """A flat limit, as a hand's: but the hand's own channel says that nobody touched it."""
    facts, _, _ = read_case(HERE / "none/helical_middle")
    bench = slow_bench(plant_of(facts))
    low = Shift("held", np.array([PLACE["cap"]]), np.array([-0.6]), np.array([[0.03**2]]), 5)
    unread, read = (weigh_shift(replace(bench, setting_read=told), low) for told in (False, True))
    assert unread.shares[NOTHING] > 0.7
    assert read.shares["controller-derating"] > 0.7


def test_a_setting_that_is_named_and_never_read_says_nothing_of_a_hand() -> None:
    facts, _, _ = read_case(HERE / "none/helical_middle")
    plant = plant_of(
        replace(facts, sensors=replace(facts.sensors, channels=(*facts.sensors.channels, "speed_setting_pct")))
    )
    assert slow_bench(plant).setting_read
    assert not _setting_unread(plant).setting_read
    opens = plant.days.open_ms(20_000)
    times = np.arange(opens, opens + 86_400_000, 600_000, dtype=np.int64)
    for setting, read in ((np.nan, False), (100.0, True)):
        rows = Rows(
            times, {"speed_setting_pct": np.full(len(times), setting), "pv_voltage_v": np.full(len(times), 100.0)}
        )
        state = advance(begin(plant.facts), rows, int(times[-1]) + 86_400_000)
        assert (SETTING_READ in state.memory.numbers) is read


def test_a_horizon_kept_by_an_older_version_still_counts() -> None:
    """It kept elevations alone; where the sun stood is not forgotten, and the newer part begins empty."""
    facts, _, _ = read_case(HERE / "riser-leak" / "helical_full")
    vector = np.full(SIZE, np.nan)
    vector[PLACE["s0"] : PLACE["s0"] + HOURS] = 0.0
    sunny = np.ones((3, HOURS))
    older = np.full(BINS, 20.0)
    _, kept = without_horizon(plant_of(facts), 20_000, vector, sunny, older)
    assert kept.shape == (BINS + HOURS,)
    assert (kept[:BINS] <= 20.0).all()
    _, fresh = without_horizon(plant_of(facts), 20_000, vector, sunny, None)
    assert fresh.shape == kept.shape
    assert (fresh[:BINS] == NEVER).any()
