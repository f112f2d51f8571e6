"""Flow lost within pump, well and pipes: which of the causes that look alike may be told of, and one loss as one finding."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.come_again import STILL_MS
from analysis.diagnosis import _courses_of, _sizes_of
from analysis.estimates.bench import bench_of
from analysis.flow_lost import nothing_lost
from analysis.memory import Case
from analysis.one_finding import TOLD_TWICE_MS, taken_over
from analysis.plant import Plant, plant_of
from analysis.slow import slow_bench
from analysis.solar_days import DAY_MS
from tests.analysis.causes.test_directions import bands, effects, plant

HELICAL, CENTRIFUGAL = ("helical full", "helical middle"), ("centrifugal full", "centrifugal middle")


def test_where_the_water_itself_lacks_nothing_no_flow_is_lost() -> None:
    assert nothing_lost("worn-pump", [0.01, -0.05, 0.07])
    assert not nothing_lost("worn-pump", [0.06, -0.01, 0.13]), "perhaps"
    assert not nothing_lost("worn-pump", [0.03, 0.01, 0.05]), "little, and surely"
    assert not nothing_lost("worn-pump", None)
    assert not nothing_lost("falling-water-level", [0.0, 0.0, 3.0]), "metres"


@pytest.mark.parametrize("site", CENTRIFUGAL)
def test_impellers_grown_shut_lose_less_at_low_speed_than_worn_ones(site: str) -> None:
    narrowed = next(e for e in effects("clogging", site) if e.part == "pump")
    slip, worn = bands(narrowed, "n"), bands(effects("worn-pump", site)[0], "n")
    assert (slip < 0).all()
    assert slip[0] / slip[2] < worn[0] / worn[2]
    assert (bands(narrowed, "t") == 0).all()


@pytest.mark.parametrize("site", HELICAL)
def test_a_rotor_full_of_sand_loses_the_same_share_at_all_speeds(site: str) -> None:
    (filled,) = (e for e in effects("clogging", site) if e.part == "pump")
    slip, worn = bands(filled, "n"), bands(effects("worn-pump", site)[0], "n")
    assert slip[0] == slip[2] < 0
    assert worn[0] < worn[2]


def test_a_tenth_of_the_flow_is_no_pump_that_turns_backwards_but_may_be_wear() -> None:
    backwards, worn = (effects(cause, "centrifugal full")[0] for cause in ("reverse-rotation", "worn-pump"))
    usual, amounts = np.array([backwards.usual] * 2 + [worn.usual]), np.array([backwards.usual, 0.1, 0.05])
    stepped, grown = _sizes_of(usual, amounts)
    assert stepped[0] == 0.0
    assert stepped[1] < -2.0
    assert grown[2] == 0.0
    assert stepped[2] < -1.0


def test_what_grows_was_small_once_but_what_came_at_once_rarely_is() -> None:
    bench = slow_bench(plant("helical middle"))
    drag = bench.causes.index("unexplained")
    tried = [(drag, 0.06), (drag, bench.effects[drag].usual)]
    small, usual = _courses_of(bench, tried, 5.0)
    assert small < usual - 1.0
    small, usual = _courses_of(bench, tried, -5.0)
    assert small == pytest.approx(usual, abs=0.1)


def test_a_hole_told_within_the_day_goes_on_as_the_days_finding() -> None:
    told = Case("no-water", "riser-leak", "dry-running", flagged_ms=1000, number=1, began_ms=500, seen_ms=2000)
    other = Case("no-water", "dry-running", "dry-running", 1500, number=1, began_ms=500, seen_ms=2000, hours=6.0)
    assert taken_over([other], "slow-hydraulic", 2000) is None
    assert taken_over([told], "slow-hydraulic", 2001 + TOLD_TWICE_MS) is None
    assert taken_over([told, other], "slow-hydraulic", 2000) is told
    assert (told.family, told.first_cause, told.flagged_ms) == ("slow-hydraulic", "dry-running", 1000)


def test_minutes_without_water_on_days_that_brought_it_go_on_as_the_days_finding() -> None:
    began, close = 20_000 * DAY_MS, 20_004 * DAY_MS
    seen = began + 2 * DAY_MS
    for cause in ("dry-running", "closed-delivery", "broken-shaft"):
        weak_sun = Case("no-water", cause, cause, began, 1, began, seen, seen, hours=0.4)
        assert taken_over([weak_sun], "slow-hydraulic", close) is weak_sun
        assert (weak_sun.ended_ms, weak_sun.flagged_ms) == (None, began)
        all_day = Case("no-water", cause, cause, began, 1, began, seen, seen, hours=12.0)
        assert taken_over([all_day], "slow-hydraulic", close) is None
        long_ago = Case("no-water", cause, cause, began, 1, began, seen, seen, hours=0.4)
        assert taken_over([long_ago], "slow-hydraulic", seen + STILL_MS + 1) is None
    meter = Case("no-water", "sensor-fault", "sensor-fault", began, 1, began, seen, seen, hours=0.4)
    assert taken_over([meter], "slow-hydraulic", close) is None


def test_a_level_that_falls_grows_mostly() -> None:
    assert all(effect.sudden <= 0.2 for effect in effects("falling-water-level", "centrifugal middle"))


def _without_speeds(of: Plant) -> Plant:
    curve = tuple(replace(row, speed_rpm=None) for row in of.facts.pump.curve)
    return plant_of(replace(of.facts, pump=replace(of.facts.pump, curve=curve)))


def test_a_pump_without_speeds_in_its_table_is_read_by_its_motors_rated_speed() -> None:
    bare = _without_speeds(plant("helical full"))
    assert bare.turns_by_rating
    assert not plant("helical full").turns_by_rating
    assert _without_speeds(plant("centrifugal full")).turns_by_rating  # the affinity laws: test_extra_head.py
    core, bench = bare.pump.core, bench_of(bare)
    head = float(bench.head_m[-1])
    flow = core.flow(np.array([0.5, 1.0]) * 1.0, np.full(2, head))
    assert 0.35 < flow[0] / flow[1] < 0.5  # a volume a turn, less what slips back
