"""How much it takes before a fast cause is told: one step less is nothing, one more is told."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.causes.over_voltage import far_below_rating
from analysis.causes.registry import all_causes
from analysis.causes.silent import LIMITS as LIMITS_OF_SILENCE
from analysis.memory import Memory
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.symptoms import Episode
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

FACTS = read_site((HERE / "riser-leak/helical_full/site.toml").read_text(), "site.toml")
RATING_V = FACTS.controller.max_input_voltage_v
MINUTE_MS = 60_000
HOUR_MS = 3_600_000


def day_of_columns(seen: Any) -> Any:
    """A view of these columns, in which no channel lies and nothing is remembered."""
    return SimpleNamespace(facts=FACTS, columns=seen, as_read=seen, raw=None, lies=frozenset(), memory=Memory())


def view_of(**columns: np.ndarray) -> Any:
    """A day's view with these channels, a row a minute; the motor rests where nothing says that it runs, and water comes while it does."""
    n = len(next(iter(columns.values())))
    time_ms = np.arange(n, dtype=np.int64) * MINUTE_MS
    turning = np.asarray(columns.get("motor_running", np.zeros(n))) > 0
    seen = SimpleNamespace(
        rows=Rows(time_ms, columns), time_ms=time_ms, turning=turning, dt_h=np.full(n, 1 / 60), moved_m3=0.01 * turning,
        expected=SimpleNamespace(flow_of_sun_m3_h=np.ones(n), daylight=np.ones(n, bool), clear_poa_w_m2=np.full(n, np.nan)),
        driven=turning, speed_rpm=np.full(n, np.nan), power_w=np.full(n, np.nan), unread=np.zeros(n, bool),
    )  # fmt: skip
    return day_of_columns(seen)


def watched(cause: str, view: Any) -> list[Episode]:
    watch = all_causes()[cause].watch
    assert watch is not None
    return watch(view)


def volts(*above: float) -> np.ndarray:
    """Twenty minutes well below the rating, but for these shares above it."""
    column = np.full(20, 0.8 * RATING_V)
    column[5 : 5 + len(above)] = [RATING_V * (1 + share) for share in above]
    return column


def test_one_reading_above_the_rating_may_be_a_glitch() -> None:
    assert watched("over-voltage", view_of(pv_voltage_v=volts(0.03))) == []


def test_two_readings_above_the_rating_are_an_over_voltage() -> None:
    (told,) = watched("over-voltage", view_of(pv_voltage_v=volts(0.01, 0.03)))
    assert told.size == pytest.approx(0.03 * RATING_V)
    assert told.flag_ms <= 7 * MINUTE_MS


def test_the_input_meters_own_class_is_no_over_voltage() -> None:
    assert watched("over-voltage", view_of(pv_voltage_v=volts(*[0.002] * 10))) == []


@pytest.mark.parametrize(("share", "shorter"), [(0.8, True), (0.9, False)])
def test_strings_far_below_the_rating_all_day_were_mended(share: float, shorter: bool) -> None:
    """A hot day takes a tenth of the open voltage; a module taken out of each string takes more."""
    assert far_below_rating(view_of(pv_voltage_v=np.full(20, share * RATING_V))) is shorter


@pytest.fixture(autouse=True)
def _no_load_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """These rows say nothing of the load; what cut-short tries tell has a test of its own."""
    monkeypatch.setattr("analysis.causes.controller_trip.fruitless", lambda _view, rows: np.zeros(len(rows), bool))


@pytest.mark.parametrize(("trips", "told"), [(2, 0), (3, 1), (6, 1)])
def test_two_trips_happen_and_three_are_a_fault(trips: int, told: int) -> None:
    code = np.zeros(100)
    for trip in range(trips):
        code[10 * trip + 5 : 10 * trip + 8] = 7.0
    found = watched("controller-trip", view_of(fault_code=code, motor_running=(code == 0).astype(float)))
    assert len(found) == told
    if found:
        assert found[0].size == trips
        assert found[0].flag_ms <= 26 * MINUTE_MS, "at the third trip, not at the last"


def test_a_code_while_the_probe_is_dry_is_the_wells_business() -> None:
    code = np.tile([0.0, 7.0, 7.0, 0.0], 20)
    assert watched("controller-trip", view_of(fault_code=code, low_level_probe_wet=np.zeros(80))) == []


def held(minutes: int) -> Any:
    """Four stops a day, each with a code for so many minutes; the probe reads dry at none of them."""
    assert FACTS.well.probe_depth_m is not None
    one = np.concatenate([np.zeros(20), np.full(minutes, 3.0), np.zeros(20)])
    code = np.tile(one, 4)
    view = view_of(fault_code=code, motor_running=(code == 0).astype(float))
    return day_of_columns(view.columns)


def test_a_code_that_stands_as_long_as_the_hold_is_a_low_level_that_the_readings_missed() -> None:
    hold = int(FACTS.controller.low_level_hold_min)
    assert watched("controller-trip", held(hold)) == []
    assert watched("controller-trip", held(hold + 1)) == []
    assert len(watched("controller-trip", held(hold // 3))) == 1
    assert len(watched("controller-trip", held(2 * hold))) == 1


def test_a_code_that_came_with_a_dry_probe_stands_through_the_hold() -> None:
    code = np.tile(np.concatenate([np.zeros(5), np.full(5, 3.0)]), 8)
    wet = np.ones(80)
    wet[4::10] = 0.0  # one reading each time, and the water was back
    running = (code == 0).astype(float)
    assert watched("controller-trip", view_of(fault_code=code, motor_running=running, low_level_probe_wet=wet)) == []
    assert len(watched("controller-trip", view_of(fault_code=code, motor_running=running))) == 1


class Sized(SimpleNamespace):
    """Columns that know their length."""

    def __len__(self) -> int:
        return len(self.time_ms)


def coarse(standing: float) -> Any:
    """Two hours of rest, five of running with a current that a coarse meter reads as one value, an hour of rest; the power swings."""
    running = np.concatenate([np.zeros(120), np.ones(300), np.zeros(60)])
    n = len(running)
    current = np.where(running > 0, 3.2, standing)
    view = view_of(motor_current_a=current, motor_running=running)
    seen = view.columns
    seen.settled, seen.power_w = (
        seen.turning,
        0.5 * plant_of(FACTS).full_power_w * (1 + 0.8 * np.sin(np.arange(n) / 40)),
    )
    seen.driven = seen.turning
    seen.expected.daylight, seen.expected.clear_poa_w_m2 = np.ones(n, bool), np.full(n, 800.0)
    seen.should_m3_h = seen.flow_m3_h = seen.flow_now_m3_h = np.where(running > 0, 1.0, 0.0)
    seen.since_n, seen.moved_m3 = np.zeros(n, np.int64), np.zeros(n)
    return day_of_columns(Sized(**seen.__dict__))


def test_a_coarse_reading_that_falls_to_nothing_at_rest_is_not_stuck() -> None:
    assert watched("sensor-fault", coarse(0.0)) == []
    (told,) = watched("sensor-fault", coarse(3.2))
    assert told.channel == "motor_current_a"


@pytest.mark.parametrize(("gap_h", "told"), [(3.0, 0), (7.0, 0), (8.5, 1)])
def test_a_link_may_be_down_for_hours(gap_h: float, told: int) -> None:
    """Quiet for so long about noon, heard every minute else."""
    days = plant_of(FACTS).days
    day = 20_000
    opens, closes = days.daylight_ms(day, 0)
    noon = (opens + closes) // 2
    heard = np.arange(opens - HOUR_MS, closes + HOUR_MS, MINUTE_MS, dtype=np.int64)
    heard = heard[np.abs(heard - noon) > 0.5 * gap_h * HOUR_MS]
    first = int(heard[0]) - 86_400_000
    view = SimpleNamespace(
        days=days, day=day, until_ms=closes, heard_ms=heard, first_ms=first, last_before=lambda t: t, memory=Memory()
    )
    found = watched("silent", view)
    assert len(found) == told
    if found:
        assert found[0].hours == pytest.approx(gap_h, abs=0.1)


@pytest.mark.parametrize(("afternoon_h", "morning_h", "told"), [(3.0, 4.5, 0), (5.0, 3.5, 1), (8.5, 0.5, 0)])
def test_light_without_readings_is_counted_over_the_night(afternoon_h: float, morning_h: float, told: int) -> None:
    """What the afternoon before was quiet counts; a board that wakes half an hour late on the next morning does not make it longer."""
    days = plant_of(FACTS).days
    day = 20_000
    half_hour = round(LIMITS_OF_SILENCE.sun_up_h * HOUR_MS)
    opens, closes = days.daylight_ms(day, half_hour)
    last = days.daylight_ms(day - 1, half_hour)[1] - round(afternoon_h * HOUR_MS)
    heard = np.arange(opens + round(morning_h * HOUR_MS), closes + HOUR_MS, MINUTE_MS, dtype=np.int64)
    view = SimpleNamespace(
        days=days, day=day, until_ms=closes, heard_ms=heard, first_ms=last - HOUR_MS, last_before=lambda _: last,
        memory=Memory(),
    )  # fmt: skip
    found = watched("silent", view)
    assert len(found) == told
    if found:
        assert found[0].began_ms == last
        assert found[0].flag_ms <= heard[0]


@pytest.mark.parametrize(("still_h", "told"), [(5, 0), (7, 1)])
def test_a_coarse_thermometer_in_the_box_may_stand_for_hours(still_h: int, told: int) -> None:
    """It warms by what the controller turns over; a degree a step takes its time."""
    n = 60 * 10
    warms = 25.0 + np.arange(n) // 30
    view = coarse_day(n, controller_temp_c=np.where(np.arange(n) >= n - 60 * still_h, 38.0, warms))
    found = watched("sensor-fault", view)
    assert [one.channel for one in found] == ["controller_temp_c"] * told


def coarse_day(n: int, **columns: np.ndarray) -> Any:
    """A pump that runs all day while the power swings."""
    view = view_of(motor_running=np.ones(n), **columns)
    seen = view.columns
    seen.settled = seen.driven = seen.turning
    seen.power_w = 0.5 * plant_of(FACTS).full_power_w * (1 + 0.8 * np.sin(np.arange(n) / 40))
    seen.expected.daylight, seen.expected.clear_poa_w_m2 = np.ones(n, bool), np.full(n, 800.0)
    seen.should_m3_h = seen.flow_m3_h = seen.flow_now_m3_h = np.ones(n)
    seen.since_n, seen.moved_m3 = np.zeros(n, np.int64), np.zeros(n)
    return day_of_columns(Sized(**seen.__dict__))
