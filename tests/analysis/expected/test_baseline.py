"""The engine's baseline learns the installation and not its faults, and says so in named parameters."""

from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from analysis.baseline import FACTOR_OF, baseline_of
from analysis.diagnosis import NOTHING, NOTHING_AT_FIRST, weigh_shift
from analysis.estimates.vector import PLACE, SIZE
from analysis.factors import NAMES
from analysis.first_days import beyond_tolerance, not_its_own
from analysis.learning import ALSO_OPENED, DAYS, OLDEST, OPENED_BY, Learnt, beginning, learn, opened
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.slow import best_alarm, slow_bench
from analysis.slow_life import MOST_NOTHING
from logger.record.site_facts import VisitKind
from logger.record.site_file import load_site

SPEED, POWER_ALONE = "qnti", "q"
NOON = Rows(
    np.array([1_762_941_600_000], np.int64),
    {"input_power_w": np.array([1000.0]), "motor_speed_rpm": np.array([1800.0])},
)


@pytest.fixture(scope="module")
def bench(facts):
    return slow_bench(plant_of(facts))


@pytest.fixture(scope="module")
def scatter(bench):
    return bench.scatter


def a_day(scatter, rng, amounts: dict[str, float], seen: str) -> np.ndarray:
    """The vector of a plant whose named parameters have these amounts; entries that start with a letter of `seen`, else NaN."""
    true = sum((amount * scatter.modes[name].direction for name, amount in amounts.items()), np.zeros(SIZE))
    true = true + rng.normal(size=SIZE) * np.sqrt(scatter.own)
    known = np.array([name[0] in seen and name.rstrip("0123456789") in seen for name in PLACE])
    return np.where(known, true, np.nan)


def lived(scatter, rng, days: int, amounts=lambda day: {}, seen=SPEED, start: Learnt | None = None) -> Learnt:  # noqa: ARG005
    learnt = beginning(scatter) if start is None else start
    for day in range(days):
        learnt = learn(learnt, a_day(scatter, rng, amounts(day), seen), scatter)
    return learnt


def test_before_the_first_day_stand_the_tolerances(scatter):
    learnt = beginning(scatter)
    assert np.allclose(learnt.covariance, scatter.tolerance)
    for parameter in baseline_of(learnt, scatter).parameters:
        assert parameter.value == 0.0
        assert parameter.std == pytest.approx(scatter.modes[parameter.name].std)
        assert not parameter.told


@pytest.mark.parametrize("seed", range(5))
def test_wear_of_a_fifth_of_a_percent_a_day_is_not_absorbed_with_speed(scatter, seed):
    """Over 120 days, +-2 points; nothing is told of meanwhile and each day is learnt as a sound one, the worst case."""
    rng = np.random.default_rng(seed)
    start = rng.normal(0.0, 0.03)
    learnt = lived(scatter, rng, 120, lambda day: {"flow": start + np.log1p(-0.002 * day)})
    worn = start + np.log1p(-0.002 * 119)
    for name in ("n1", "n2"):
        assert 1.0 - np.exp(worn - learnt.mean[PLACE[name]]) == pytest.approx(0.002 * 119, abs=0.02)


@pytest.mark.parametrize("seed", range(5))
def test_nor_with_power_and_flow_alone(scatter, seed):
    """Wear alone, +-5 points, the level steady."""
    rng = np.random.default_rng(seed)
    learnt = lived(scatter, rng, 120, lambda day: {"flow": np.log1p(-0.002 * day)}, POWER_ALONE)
    lost = 1.0 - np.exp(np.log1p(-0.002 * 119) - learnt.mean[PLACE["q2"]])
    assert lost == pytest.approx(0.002 * 119, abs=0.05)


@pytest.mark.parametrize("seed", range(5))
def test_nor_wear_leak_and_cable_together_with_power_and_flow_alone(bench, scatter, seed):
    """Likewise the three growing at once, each by its own share of the flow; what they take together is what flow over power shows."""
    rng, learnt, lost = np.random.default_rng(seed), beginning(scatter), {}
    causes = [bench.causes.index(name) for name in ("worn-pump", "riser-leak", "cable-fault")]
    for day in range(120):
        each = np.array([0.12, 0.06, 0.06]) * day / 119.0
        lost = sum(
            bench.explained([cause], np.array([share]), np.arange(SIZE))[0]
            for cause, share in zip(causes, each, strict=True)
        )
        learnt = learn(learnt, a_day(scatter, rng, {}, POWER_ALONE) + lost, scatter)
    places = [PLACE["q1"], PLACE["q2"]]
    assert (1.0 - np.exp(lost[places]) > 0.15).all(), "all three are in it"
    seen = 1.0 - np.exp(lost[places] - learnt.mean[places])
    assert seen == pytest.approx(1.0 - np.exp(lost[places]), abs=0.05)


@pytest.mark.parametrize(("name", "amount", "within"), [
    ("flow", -0.06, 0.03), ("power", 0.05, 0.02), ("slip", -0.05, 0.025), ("motor_current", 0.2, 0.03),
])  # fmt: skip
def test_the_baseline_finds_the_parameter_that_made_the_days(scatter, name, amount, within):
    baseline = baseline_of(lived(scatter, np.random.default_rng(4), 20, lambda day: {name: amount}), scatter)  # noqa: ARG005
    found = baseline[name]
    assert found.value == pytest.approx(amount, abs=within)
    assert abs(found.value - amount) < 2.5 * found.std
    assert found.told
    assert not any(parameter.beyond_tolerance for parameter in baseline.parameters)


def test_flow_and_meter_are_known_together_better_than_apart(scatter):
    baseline = baseline_of(lived(scatter, np.random.default_rng(4), 20, lambda day: {"flow": -0.05}), scatter)  # noqa: ARG005
    both, std = baseline.together({"flow": 1.0, "meter": 1.0})
    assert both == pytest.approx(-0.05, abs=0.02)
    assert std < baseline["flow"].std


def test_a_quarter_lost_from_the_first_day_is_held_back_and_five_percent_is_learnt(bench, scatter):
    rng = np.random.default_rng(4)
    fresh = beginning(scatter)
    assert beyond_tolerance(bench, fresh, a_day(scatter, rng, {"flow": np.log(0.75)}, SPEED)[None])
    assert not beyond_tolerance(bench, fresh, a_day(scatter, rng, {"flow": np.log(0.95)}, SPEED)[None])
    assert not beyond_tolerance(bench, fresh, a_day(scatter, rng, {}, SPEED)[None])


@pytest.fixture(scope="module", params=[SPEED, POWER_ALONE])
def no_level(request):
    """A centrifugal pump whose level and pressure nobody reads: what it lifts is steep in the level that is not known."""
    facts = load_site(Path(__file__).parents[3] / "samples" / "sites" / "lantern-hill.toml")
    channels = ("pv_voltage_v", "pv_current_a", "flow_m3_h", "motor_running")
    channels += ("motor_speed_rpm", "motor_current_a") if request.param == SPEED else ()
    return slow_bench(plant_of(replace(facts, sensors=replace(facts.sensors, channels=channels)))), request.param


def test_a_quarter_lost_from_the_first_day_is_told_of_without_a_level_too(no_level):
    """Not learnt, though some days hold one band alone; and told of within ten days."""
    (bench, seen), rng = no_level, np.random.default_rng(11)
    worn = bench.explained([bench.causes.index("worn-pump")], np.array([0.25]), np.arange(SIZE))[0]
    learnt, recent, told = beginning(bench.scatter), np.empty((0, SIZE)), None
    for day in range(12):
        vector = a_day(bench.scatter, rng, {}, seen) + worn
        if day % 3 == 1:
            vector[[PLACE[f"{name}{band}"] for name in "qnti" for band in (0, 1)]] = np.nan
        recent = np.vstack([recent, vector])
        alarm = best_alarm(bench, learnt, recent, "hydraulic", [], set())
        told = day if told is None and alarm is not None else told
        if alarm is None and not beyond_tolerance(bench, learnt, recent):
            learnt = learn(learnt, vector, bench.scatter)
    assert learnt.days[PLACE["q2"]] <= 1.0
    assert told is not None
    assert told < 10


def drawn_sound(bench, seen, rng, count: int) -> list[np.ndarray]:
    """The first eight days of pumps drawn as widely as their tolerances allow, with the season's drift."""
    wide = bench.scatter.tolerance + bench.scatter.drift + 1e-12 * np.eye(SIZE)
    root = np.linalg.cholesky(wide)
    pumps = [root @ rng.normal(size=SIZE) for _ in range(count)]
    return [np.array([pump + a_day(bench.scatter, rng, {}, seen) for _ in range(8)]) for pump in pumps]


def test_of_new_pumps_within_their_tolerance_few_are_held_back_and_hardly_any_told_of(no_level):
    """One in fifty, one in two hundred; 300 drawn, so that three of a count's standard errors more are allowed."""
    (bench, seen), fresh = no_level, beginning(no_level[0].scatter)
    held = told = 0
    for days in drawn_sound(bench, seen, np.random.default_rng(12), 300):
        held += beyond_tolerance(bench, fresh, days[:1])
        alarm = best_alarm(bench, fresh, days, "hydraulic", [], set())
        if alarm is not None:
            told += weigh_shift(bench, alarm.shift, nothing_per_year=NOTHING_AT_FIRST).shares[NOTHING] < MOST_NOTHING
    assert held <= 300 / 50 + 3.0 * np.sqrt(300 / 50)
    assert told <= 300 / 200 + 3.0 * np.sqrt(300 / 200)


def days_of(bench, seen: str, seed: int, losses: list[float]) -> np.ndarray:
    """One day for each loss of flow by wear."""
    rng, worn = np.random.default_rng(seed), bench.causes.index("worn-pump")
    lost = bench.explained([worn] * len(losses), np.array(losses), np.arange(SIZE))
    return np.array([a_day(bench.scatter, rng, {}, seen) + row for row in lost])


@pytest.mark.parametrize("seed", range(3))
def test_a_quarter_lost_from_the_first_day_that_was_learnt_is_unlearnt_once_all_days_tell_it(bench, seed):
    days = days_of(bench, SPEED, seed, [0.25] * 5)
    array = np.full(SIZE, np.nan)
    array[PLACE["s5"]] = -0.05
    learnt = learn(beginning(bench.scatter), array, bench.scatter)
    for day in days:
        learnt = learn(learnt, day, bench.scatter)
    pump = not_its_own(bench, learnt, days)
    assert learnt.mean[PLACE["n2"]] < -0.15
    assert pump.mean[PLACE["n2"]] == 0.0
    assert pump.days[PLACE["n2"]] == 0.0
    assert baseline_of(pump, bench.scatter)["flow"].std == pytest.approx(bench.scatter.modes["flow"].std)
    assert pump.mean[PLACE["s5"]] == learnt.mean[PLACE["s5"]], "the array's part stays"
    assert np.linalg.eigvalsh(pump.joint_covariance).min() > -1e-12
    assert best_alarm(bench, pump, days, "hydraulic", [], set()) is not None


@pytest.mark.parametrize("losses", [[0.05] * 10, [0.0] * 4 + [0.25] * 6, [0.25] * 2, [0.25] * 17])
def test_what_was_learnt_stays_within_tolerance_before_a_later_fault_and_where_days_are_few_or_many(bench, losses):
    """A fault that began later is one against what was learnt; after sixteen days nobody would have named it."""
    days = days_of(bench, SPEED, 4, losses)
    learnt = beginning(bench.scatter)
    for day in days[:4]:
        learnt = learn(learnt, day, bench.scatter)
    assert not_its_own(bench, learnt, days) is learnt


def test_what_nobody_could_name_in_sixteen_days_is_held_back_no_longer(bench):
    days = days_of(bench, SPEED, 4, [0.25] * 17)
    assert beyond_tolerance(bench, beginning(bench.scatter), days[:16])
    assert not beyond_tolerance(bench, beginning(bench.scatter), days)


def test_what_is_beyond_its_tolerance_says_so(scatter):
    baseline = baseline_of(lived(scatter, np.random.default_rng(4), 30, lambda day: {"power": 0.3}), scatter)  # noqa: ARG005
    assert baseline["power"].beyond_tolerance
    assert not baseline["meter"].beyond_tolerance


def test_learning_ends(scatter):
    rng = np.random.default_rng(0)
    known = lived(scatter, rng, int(DAYS) + 1)
    later = lived(scatter, rng, 40, lambda day: {"flow": -0.2}, start=known)  # noqa: ARG005
    assert np.array_equal(later.joint, known.joint)


def test_an_entry_that_is_first_seen_late_is_not_learnt_then(scatter):
    rng = np.random.default_rng(0)
    known = replace(beginning(scatter), age=np.full(SIZE, OLDEST))
    assert np.array_equal(lived(scatter, rng, 5, start=known).joint, known.joint)


def test_one_mad_day_does_not_spoil_it(scatter):
    calm = lived(scatter, np.random.default_rng(3), 12)
    mad = lived(scatter, np.random.default_rng(3), 12, lambda day: {"flow": -0.6 if day == 4 else 0.0})
    assert mad.mean[PLACE["n2"]] == pytest.approx(calm.mean[PLACE["n2"]], abs=0.03)


@pytest.mark.parametrize("kind", get_args(VisitKind))
def test_a_visit_opens_what_it_may_have_changed_and_no_more(scatter, kind):
    before = lived(scatter, np.random.default_rng(5), 40, lambda day: {"flow": -0.04, "power": 0.03}, "qntipls")  # noqa: ARG005
    after = opened(before, kind, scatter)
    old, new = baseline_of(before, scatter), baseline_of(after, scatter)
    for was, now in zip(old.parameters, new.parameters, strict=True):
        if was.name in OPENED_BY[kind]:
            assert (now.value, now.std) == pytest.approx((0.0, scatter.modes[was.name].std))
        else:
            assert (now.value, now.std) == pytest.approx((was.value, was.std), abs=1e-9)
    kept = np.array([name.rstrip("0123456789") not in ALSO_OPENED.get(kind, ()) for name in PLACE])
    for name in OPENED_BY[kind]:
        kept &= scatter.modes[name].direction == 0.0
    assert after.mean[kept] == pytest.approx(before.mean[kept], abs=1e-12)
    assert np.linalg.eigvalsh(after.joint_covariance).min() > 0


@pytest.mark.parametrize("second", get_args(VisitKind))
@pytest.mark.parametrize("first", get_args(VisitKind))
def test_two_visits_open_what_both_may_have_changed_and_leave_all_else_as_it_was_known_together(scatter, first, second):
    """Whatever was learnt before; with covariances, so that nothing comes in by a side door; the same visit twice changes no more than once."""
    rng = np.random.default_rng([len(first), len(second)])
    every = {name: float(rng.normal()) * mode.std for name, mode in scatter.modes.items()}
    before = beginning(scatter)
    for _ in range(20):
        day = sum((every[name] * mode.direction for name, mode in scatter.modes.items()), np.zeros(SIZE))
        day = day + rng.normal(size=SIZE) * np.sqrt(scatter.own)
        before = learn(before, np.where(rng.random(SIZE) < 0.8, day, np.nan), scatter)
    after = opened(opened(before, first, scatter), second, scatter)
    names = list(scatter.modes)
    is_open = np.array([name in OPENED_BY[first] or name in OPENED_BY[second] for name in names])
    old, new = baseline_of(before, scatter), baseline_of(after, scatter)
    shut = np.flatnonzero(~is_open)
    assert new.values[shut] == pytest.approx(old.values[shut], abs=1e-9)
    assert new.covariance[np.ix_(shut, shut)] == pytest.approx(old.covariance[np.ix_(shut, shut)], abs=1e-9)
    free = np.flatnonzero(is_open)
    assert new.values[free] == pytest.approx(0.0, abs=1e-12)
    prior = np.diag([scatter.modes[names[place]].std ** 2 for place in free])
    assert new.covariance[np.ix_(free, free)] == pytest.approx(prior, abs=1e-9)
    assert new.covariance[np.ix_(free, shut)] == pytest.approx(0.0, abs=1e-9)
    own = {*ALSO_OPENED.get(first, ()), *ALSO_OPENED.get(second, ())}
    kept = np.array([name.rstrip("0123456789") not in own for name in PLACE])
    for place in free:
        kept &= scatter.modes[names[place]].direction == 0.0
    assert after.mean[kept] == pytest.approx(before.mean[kept], abs=1e-9)
    assert after.covariance[np.ix_(kept, kept)] == pytest.approx(before.covariance[np.ix_(kept, kept)], abs=1e-9)
    assert np.array_equal(after.days[kept], before.days[kept])
    again = opened(after, second, scatter)
    assert again.joint == pytest.approx(after.joint, abs=1e-9)
    assert again.joint_covariance == pytest.approx(after.joint_covariance, abs=1e-9)


@pytest.mark.parametrize("kind", get_args(VisitKind))
def test_after_a_visit_a_parameter_that_it_opened_is_learnt_anew_and_one_that_it_did_not_is_not(bench, scatter, kind):
    """Each parameter by itself is worse from the visit on by twice its standard uncertainty, and the days are learnt as the close of a day does.

    What is not opened gives by no more than it was unknown, or is told of as a fault.
    """
    known, rng = beginning(scatter), np.random.default_rng(9)
    limits = np.isin(np.arange(SIZE), [PLACE[name] for name in ("cap", "cv", "cn", "kept", "top")])
    own = np.where(limits, np.nan, np.sqrt(scatter.own))
    for _ in range(int(OLDEST) + 1):
        known = learn(known, rng.normal(size=SIZE) * own, scatter)
    at_visit = opened(known, kind, scatter)
    anew = at_visit.days == 0.0
    for name, mode in scatter.modes.items():
        worse = -1.0 if mode.direction[PLACE["q2"]] >= 0.0 else 1.0
        moved = worse * 2.0 * mode.std * mode.direction
        after, recent, told = at_visit, np.empty((0, SIZE)), False
        while len(recent) < DAYS and not told:
            recent = np.vstack([recent, moved + rng.normal(size=SIZE) * own])
            told = any(best_alarm(bench, after, recent, group, [], set()) is not None for group in bench.groups)
            if not told and not beyond_tolerance(bench, after, recent):
                after = learn(after, recent[-1], scatter)
        felt = (np.abs(moved) > 3.0 * np.sqrt(scatter.own)) & ~limits
        if name in OPENED_BY[kind]:
            assert anew[felt].all(), name
            assert not told, name
            assert after.mean[felt] == pytest.approx(moved[felt], rel=0.25, abs=0.02), name
        still = felt & ~anew
        unknown = np.sqrt(at_visit.covariance.diagonal()[still])
        gave = np.abs(after.mean[still] - at_visit.mean[still])
        assert told or (gave <= 2.0 * unknown + 0.005).all(), name


def test_after_another_meter_its_own_error_is_learnt_and_the_pump_stays_as_known(scatter):
    before = lived(scatter, np.random.default_rng(5), 40)
    after = lived(
        scatter, np.random.default_rng(6), 20, lambda day: {"meter": -0.03}, start=opened(before, "meter-replaced", scatter)  # noqa: ARG005
    )  # fmt: skip
    assert after.mean[PLACE["n2"]] == pytest.approx(-0.03, abs=0.015)
    assert baseline_of(after, scatter)["power"].value == pytest.approx(
        baseline_of(before, scatter)["power"].value, abs=0.01
    )


def test_the_opened_and_the_named_exist(scatter):
    for kind in get_args(VisitKind):
        assert set(OPENED_BY[kind]) <= set(scatter.modes)
    assert {name for names in FACTOR_OF.values() for name in names} <= set(scatter.modes)
    assert set(FACTOR_OF) <= set(NAMES)
    with pytest.raises(KeyError, match="'mood': one of flow"):
        baseline_of(beginning(scatter), scatter)["mood"]


def test_what_was_learnt_narrows_the_band_and_moves_what_is_expected(model, facts, scatter):
    learnt = lived(scatter, np.random.default_rng(8), 20, lambda day: {"flow": -0.05})  # noqa: ARG005
    factors = baseline_of(learnt, scatter).factors(facts)
    before, after = model.expect(NOON), model.expect(NOON, factors)
    assert after.flow_at_speed_m3_h_std[0] < 0.8 * before.flow_at_speed_m3_h_std[0]
    assert after.flow_at_speed_m3_h[0] == pytest.approx(0.95 * before.flow_at_speed_m3_h[0], rel=0.02)
    assert factors.std("clear_sky") == model.prior.std("clear_sky"), "no parameter tells of the air"
