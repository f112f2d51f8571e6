"""A hole or wear: both cost a flow at once, and torque, the column at rest and the day's first water tell which."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.causes.registry import all_causes
from analysis.diagnosis import UNEXPLAINED, Verdict, weigh_shift
from analysis.estimates.vector import PLACE, SIZE
from analysis.learning import Learnt, beginning
from analysis.plant import plant_of
from analysis.rows import Floats
from analysis.slow import best_alarm, shift_of, slow_bench
from analysis.well_drawn import drawn_as_learnt
from logger.record.site_file import read_site
from tests.analysis.causes.test_directions import plant
from tests.cases.recorded import HERE

DAYS, AT_ONCE = 8, 6.0
KNOWN = 0.001
"""Of the covariance before the first day: well learnt."""


@cache
def learnt_of(site: str) -> Learnt:
    start = beginning(slow_bench(plant(site)).scatter)
    days = np.full(SIZE, 16.0)
    return Learnt(start.joint, KNOWN * start.joint_covariance, days, days, start.scatter)


def vector(site: str, form: int, amount: float, **entries: float) -> Floats:
    """What so much of a form does to a day's figures, with some of them set otherwise."""
    bench = slow_bench(plant(site))
    places = np.arange(SIZE)
    one = learnt_of(site).mean + bench.explained([form], np.array([amount]), places)[0]
    for name, value in entries.items():
        one[PLACE[name]] = value
    for channel, names in (("water_level_m", ("l", "rest")), ("discharge_pressure_bar", ("p", "stand"))):
        if channel not in plant(site).has:
            one[[place for name, place in PLACE.items() if name.rstrip("012") in names]] = np.nan
    return one


def judged(site: str, one: Floats) -> Verdict:
    """Of a week of such days, after they came at once."""
    bench = slow_bench(plant(site))
    moved = shift_of(bench, learnt_of(site), np.tile(one, (DAYS, 1)), "hydraulic", DAYS, [])
    assert moved is not None
    return weigh_shift(bench, moved, AT_ONCE)


def form_of(site: str, cause: str, part: str | None = None) -> int:
    bench = slow_bench(plant(site))
    return next(k for k, name in enumerate(bench.causes) if name == cause and bench.effects[k].part == part)


@pytest.mark.parametrize(("site", "doubt"), [("helical full", 0.3), ("helical middle", 0.5)])
def test_a_rotor_worn_at_once_spares_the_torque_and_keeps_its_column(site: str, doubt: float) -> None:
    """Where no level is read, what falls back through a hole spares the same drawdown: only rubbing and the column are left to tell."""
    told = judged(site, vector(site, form_of(site, "worn-pump"), 0.25))
    assert told.cause == "worn-pump"
    assert told.shares.get("riser-leak", 0.0) < doubt


def test_a_hole_near_the_top_empties_the_gauge_and_hardly_the_riser() -> None:
    """The pipe above it drains each night and the first water comes as ever; and what falls back into the well draws it no deeper."""
    site = "centrifugal full"
    wall = form_of(site, "riser-leak", "wall")
    level = {f"l{band}": learnt_of(site).mean[PLACE[f"l{band}"]] for band in range(3)}
    told = judged(site, vector(site, wall, 0.25, stand=1.0, first=0.0, **level))
    assert told.cause == "riser-leak"
    assert told.confidence > 0.6


def test_a_well_better_than_written_seems_no_deeper_drawn_by_a_pump_that_lifts_less() -> None:
    """3 m less drawdown than the driller wrote at full flow are 2 m at two thirds of it."""
    learnt = learnt_of("centrifugal full")
    better = learnt.joint.copy()
    better[[PLACE[f"l{band}"] for band in range(3)]] = -3.0
    learnt = replace(learnt, joint=better)
    draws = learnt.mean[PLACE["l2"]] - learnt.mean[PLACE["rest"]]
    day = learnt.mean.copy()
    day[PLACE["q2"]] += np.log(2.0 / 3.0)
    day[PLACE["l2"]] -= draws / 3.0
    assert drawn_as_learnt(learnt, day[None])[0, PLACE["l2"]] == pytest.approx(learnt.mean[PLACE["l2"]])


def test_impellers_worn_at_once_leave_an_honest_doubt() -> None:
    """Where no level and no gauge is read nothing parts them from a hole, and their first water comes when it will."""
    site = "centrifugal middle"
    told = judged(site, vector(site, form_of(site, "worn-pump"), 0.25))
    assert sorted(told.shares, key=told.shares.__getitem__)[-2:] == ["worn-pump", "riser-leak"]
    assert told.shares["worn-pump"] > 0.1
    assert told.confidence < 0.88


def test_impellers_worn_at_once_are_told_where_level_and_gauge_are_read() -> None:
    """The column stands, and the well is drawn down for what is metered and no more."""
    site = "centrifugal full"
    told = judged(site, vector(site, form_of(site, "worn-pump"), 0.25))
    assert told.cause == "worn-pump"


@pytest.mark.parametrize("site", ["helical full", "centrifugal full"])
def test_an_empty_column_at_rest_is_a_hole(site: str) -> None:
    """The gauge reads nothing and the first water is a filling late; of a column that stands the hole must lie at its top."""
    wall = form_of(site, "riser-leak", "wall")
    empty, full = (judged(site, vector(site, wall, 0.1, stand=stand, first=0.7 * stand)) for stand in (1.0, 0.0))
    assert empty.cause == "riser-leak"
    assert empty.confidence > 0.9
    assert full.shares["worn-pump"] > 4.0 * empty.shares["worn-pump"]


@pytest.mark.parametrize("site", ["helical full", "helical middle", "centrifugal full"])
@pytest.mark.parametrize("risers", [3.0, 6.0])
def test_low_sun_that_lifts_no_more_than_runs_out_fills_the_column_for_hours(site: str, risers: float) -> None:
    """Several times its volume is pumped before the first water: it is still a hole, and no riddle."""
    told = judged(site, vector(site, form_of(site, "riser-leak", "wall"), 0.3, first=risers, stand=1.0))
    assert told.cause == "riser-leak"
    assert told.confidence > 0.8


def test_where_impellers_begin_to_lift_wanders_with_the_season() -> None:
    """Of a narrow riser two fillings are a few minutes of dawn; a rotor lifts from its first turn on."""
    site = "centrifugal middle"
    bench, learnt = slow_bench(plant(site)), learnt_of(site)
    late = learnt.mean.copy()
    late[[place for name, place in PLACE.items() if name[0] in "lp" or name in ("rest", "stand")]] = np.nan
    drift = np.sqrt(bench.scatter.drift.diagonal())[PLACE["first"]]
    assert drift > np.sqrt(slow_bench(plant("helical middle")).scatter.drift.diagonal())[PLACE["first"]]
    late[PLACE["first"]] += 2.5 * drift
    recent = np.tile(late, (24, 1))
    assert best_alarm(bench, learnt, recent, "hydraulic", [], set()) is None


def test_no_torque_is_told_where_neither_speed_nor_current_is_read() -> None:
    lean = plant_of(read_site((HERE / "none/helical_lean/site.toml").read_text(), "site.toml"))
    assert not lean.has & {"motor_speed_rpm", "motor_current_a"}
    effect = all_causes()["unexplained"].effect
    assert effect is not None
    assert effect(lean) == []
    said = all_causes()["unexplained"].evidence
    assert "same speed" not in said({"amount": 1.4, "shift_q2": -0.1, "shift_first": 3.0})
    assert "same speed" in said({"amount": 0.3, "shift_t2": 0.28, "shift_n2": 0.0})
    assert UNEXPLAINED not in slow_bench(lean).causes
    assert UNEXPLAINED in slow_bench(plant("helical middle")).causes
