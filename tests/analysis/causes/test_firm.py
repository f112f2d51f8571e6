"""Two readings that have nothing to do with each other: two rows are enough; one reading alone has to last."""

from typing import Any

import numpy as np

from analysis.firm import ROWS, drained, firm_rows, firmly
from tests.analysis.causes.test_standing_rules import FACTS, PLANT, seen_of

LIGHT, HEAVY, GONE = (-0.5, -0.4), (0.4, 0.3), 0.12


def firm(torque: float = 0.0, current: float = np.nan, flow: float = np.nan, **columns: Any) -> bool:
    """Of a settled row with these logs of its loads and this flow over what is due."""
    seen = seen_of(1, turning=True, **columns)
    seen.flow_now_m3_h, seen.moved_m3 = np.array([flow]), np.zeros(1)
    measures = {"torque": np.array([torque]), "current": np.array([current]), "factor": np.ones(1)}
    return bool(firm_rows(PLANT, seen, measures, LIGHT, HEAVY, GONE)[0])


def test_two_readings_that_agree_are_firm_and_one_alone_is_not() -> None:
    assert firm(-0.8, -0.7)
    assert firm(0.8, 0.7)
    assert firm(-0.8, flow=0.0)
    assert not firm(-0.8)
    assert not firm(-0.8, 0.7), "they say opposite things"
    assert not firm(0.0, 0.0, flow=0.0), "a usual load and a dead meter"
    assert not firm(-0.8, flow=1.0), "water comes"


def test_a_level_at_the_intake_over_which_the_probe_is_dry_is_drained() -> None:
    depth = FACTS.pump.setting_depth_m
    for level, wet, told in ((depth, 0.0, True), (depth, 1.0, False), (depth - 5.0, 0.0, False)):
        seen = seen_of(1, turning=True, water_level_m=level, low_level_probe_wet=wet)
        assert bool(drained(PLANT, seen)[0]) is told


def test_it_takes_two_rows_and_a_minute() -> None:
    assert ROWS == 2
    assert firmly(np.array([True, True]), np.array([60_000, 120_000])).tolist() == [False, True]
    assert not firmly(np.array([True, True]), np.array([10_000, 20_000])).any()
    assert not firmly(np.array([True, False]), np.array([60_000, 120_000])).any()
