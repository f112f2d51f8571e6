"""How low a limit stands is told by its level; how it falls through the day is told finely, and is loosely known."""

from pathlib import Path

import numpy as np

from analysis.diagnosis import NOTHING, weigh_shift
from analysis.estimates.vector import PLACE
from analysis.held_level import levels_tried
from analysis.plant import plant_of
from analysis.slow import Shift, slow_bench
from tests.cases.recorded import HERE, read_case


def _limit(fall: float, places: tuple[str, ...] = ("cap", "cv", "cn")) -> Shift:
    mean = dict(zip(("cap", "cv", "cn"), (-0.51, fall, -0.13), strict=True))
    std = {"cap": 0.1, "cv": 0.005, "cn": 0.03}
    return Shift(
        "held",
        np.array([PLACE[name] for name in places]),
        np.array([mean[name] for name in places]),
        np.diag([std[name] ** 2 for name in places]),
        14,
    )


def _bench(site: Path):
    facts, _, _ = read_case(site)
    return slow_bench(plant_of(facts))


def test_a_limit_that_falls_less_than_heat_usually_makes_it_is_a_limit_all_the_same():
    verdict = weigh_shift(_bench(HERE / "string-out/centrifugal_full"), _limit(-0.03))
    assert verdict.cause == "controller-derating"
    assert verdict.shares["controller-derating"] > 10.0 * verdict.shares["unexplained"]


def test_each_form_is_tried_at_the_level_and_none_without_one():
    bench = _bench(HERE / "string-out/centrifugal_full")
    assert [round(amount, 6) for _, amount in levels_tried(bench, _limit(-0.03))] == [0.51] * len(bench.groups["held"])
    assert levels_tried(bench, _limit(-0.03, ("cv", "cn"))) == []


def test_a_power_that_rose_is_no_limit():
    bench = _bench(HERE / "string-out/centrifugal_full")
    risen = Shift("held", np.array([PLACE["cap"]]), np.array([0.3]), np.array([[0.01]]), 5)
    assert levels_tried(bench, risen) == []
    assert weigh_shift(bench, risen).shares[NOTHING] > 0.9
