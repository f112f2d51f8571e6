"""With sun to spare the pump stands at its limit of speed: the power there tells a deeper lift from a leak and from wear."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.at_the_limit import Beside, Limit, by_limit, limit_of, loads_of
from analysis.causes.registry import all_causes
from analysis.diagnosis import Verdict, weigh_shift
from analysis.estimates.vector import PLACE, SIZE
from analysis.learning import Learnt, beginning
from analysis.plant import Plant, plant_of
from analysis.slow import Shift, shift_of, slow_bench
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

LEAN = ("pv_voltage_v", "pv_current_a", "volume_m3")
FEW_PER_CENT = 0.03


@cache
def lean(kind: str) -> tuple[Plant, Learnt]:
    facts = read_site((HERE / "none" / kind / "site.toml").read_text(), "site.toml")
    site = plant_of(replace(facts, sensors=replace(facts.sensors, channels=LEAN)))
    start, days = beginning(slow_bench(site).scatter), np.full(SIZE, 16.0)
    return site, Learnt(start.joint, 0.001 * start.joint_covariance, days, days, start.scatter)


def deeper(kind: str) -> Shift:
    """A week of days with power and meter alone, from a level that has fallen."""
    site, learnt = lean(kind)
    bench = slow_bench(site)
    form = next(k for k, name in enumerate(bench.causes) if name == "falling-water-level")
    amount = 2.0 * bench.effects[form].usual
    one = np.full(SIZE, np.nan)
    places = [PLACE[name] for name in ("q0", "q1", "q2")]
    one[places] = learnt.mean[places] + bench.explained([form], np.array([amount]), np.array(places))[0]
    moved = shift_of(bench, learnt, np.tile(one, (8, 1)), "hydraulic", 8, [])
    assert moved is not None
    return moved


def judged(kind: str, limit: Limit | None) -> Verdict:
    return weigh_shift(slow_bench(lean(kind)[0]), deeper(kind), 0.0, beside=Beside(None, limit))


def heads(told: Verdict) -> float:
    return told.shares.get("falling-water-level", 0.0) + told.shares.get("clogging", 0.0)


@pytest.mark.parametrize(("kind", "way"), [("helical", 1.0), ("centrifugal", -1.0)])
def test_more_lift_loads_a_rotor_and_relieves_impellers(kind: str, way: float) -> None:
    bench = slow_bench(lean(kind)[0])
    form = next(k for k, name in enumerate(bench.causes) if name == "falling-water-level")
    (load,), (open_,) = loads_of(bench, [(form, bench.effects[form].usual)])
    assert way * load > 0.0
    assert open_ > 0.0
    told = judged(kind, None)
    assert heads(judged(kind, Limit(load, 0.005))) > heads(told), "the limit moved as the lift asks"
    assert heads(judged(kind, Limit(-load, 0.005))) < heads(told), "and the other way"


def test_a_limit_moved_by_far_more_than_any_load_was_set_anew() -> None:
    loads, nothing = np.array([0.0, -0.05]), np.zeros(2)
    far = by_limit(Limit(-0.6, 0.005), deeper("centrifugal"), loads, nothing)
    assert far[0] == pytest.approx(far[1], abs=0.05)
    assert by_limit(None, deeper("centrifugal"), loads, nothing).tolist() == [0.0, 0.0]


def test_a_torque_that_is_known_leaves_the_limit_nothing_to_say() -> None:
    known = Shift("hydraulic", np.array([PLACE["t2"]]), np.zeros(1), np.array([[0.005**2]]), 8)
    assert by_limit(Limit(-0.05, 0.005), known, np.array([0.0, -0.05]), np.zeros(2)).tolist() == [0.0, 0.0]


def test_the_limit_is_read_on_days_that_reach_it() -> None:
    site, learnt = lean("centrifugal")
    days = np.full((8, SIZE), np.nan)
    assert limit_of(site, learnt, days, 8) is None
    days[[2, 5], PLACE["cap"]] = learnt.mean[PLACE["cap"]] - FEW_PER_CENT
    found = limit_of(site, learnt, days, 8)
    assert found is not None
    assert found.moved == pytest.approx(-FEW_PER_CENT)
    assert found.std < FEW_PER_CENT
    assert limit_of(site, learnt, days, 2) is None


def test_no_cause_of_the_pump_moves_the_limit_as_a_figure_of_its_own() -> None:
    for name, file in all_causes().items():
        for effect in file.effect(lean("helical")[0]) if file.effect else ():
            assert effect.group == "held" or effect.direction[PLACE["cap"]] == 0.0, name
