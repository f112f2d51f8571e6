"""The life of slow findings: what a second day must show, what a visit ends, which days tell since when."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis import lasting, slow_life
from analysis.calibration import stated
from analysis.estimates.vector import HOURS, PLACE, SIZE
from analysis.held_on import hidden
from analysis.learning import Learnt, beginning
from analysis.life import UNLEARNT_WORTH, as_finding
from analysis.memory import Case, Memory
from analysis.plant import Plant, plant_of
from analysis.rows import Floats
from analysis.since_when import course, with_other_days
from analysis.slow import Alarm, SlowBench, amounts_of, daily_amounts, shift_of, slow_bench
from analysis.slow_life import after_visit, with_slow
from tests.cases.recorded import HERE, read_case

DAY = 20000
FIGURES: Any = SimpleNamespace(on_power_m3=np.nan, told=np.zeros(HOURS, bool), taken=np.full((3, HOURS), np.nan))
"""Of a day, what its vector does not hold: nothing."""


def pump() -> tuple[Plant, SlowBench, Learnt, int]:
    """A helical pump whose speed and current are read, well learnt; and the form of its wear."""
    plant = plant_of(read_case(HERE / "none" / "helical_middle")[0])
    bench = slow_bench(plant)
    start = beginning(bench.scatter)
    learnt = Learnt(
        start.joint, 0.001 * start.joint_covariance, np.full(SIZE, 16.0), np.full(SIZE, 16.0), start.scatter
    )
    return plant, bench, learnt, bench.causes.index("worn-pump")


def worn_days(bench: SlowBench, form: int, amounts: list[float], bands: list[str]) -> Floats:
    """Day vectors of so much wear each, the sun in one band alone."""
    recent = np.full((len(amounts), SIZE), np.nan)
    for row, (amount, band) in enumerate(zip(amounts, bands, strict=True)):
        for name in "qnti":
            recent[row, PLACE[name + band]] = amount * bench.directions[form][PLACE[name + band]]
    return recent


def lasts(amounts: list[float], std: float = 0.01) -> bool:
    """Whether daily amounts confirm an alarm of 0.2."""
    return lasting.lasts(
        np.array(amounts), SimpleNamespace(amount=0.2, std=std, shift=SimpleNamespace(days=len(amounts))), None
    )


def test_a_growing_fault_needs_not_have_been_half_as_large_the_day_before() -> None:
    assert lasts([0.0, 0.04, 0.2]), "four standard deviations: surely there, and it grows"
    assert lasts([0.04, np.nan, 0.2]), "a day that does not tell stands between"
    assert not lasts([0.0, 0.02, 0.2]), "two: chance"
    assert not lasts([0.0, 0.2, 0.04]), "gone again"
    assert not lasts([0.2]), "one day"
    assert not lasts([0.08, 0.2], std=0.05), "little is told: half of it, as ever"
    assert lasts([0.1, 0.2], std=0.05)


def test_days_of_another_band_tell_since_when() -> None:
    """Spring's days held the high band alone and autumn's hold the middle one: the beginning is not where the bands changed."""
    _, bench, learnt, form = pump()
    true = [0.0] * 20 + [0.25] * 30
    recent = worn_days(bench, form, true, ["2"] * 34 + ["1"] * 16)
    moved = shift_of(bench, learnt, recent, "hydraulic", 14, [])
    assert moved is not None
    amounts = daily_amounts(learnt, recent, moved, bench.directions[form])
    assert np.isnan(amounts[:34]).all()
    filled = with_other_days(bench, learnt, recent, "hydraulic", bench.directions[form], amounts)
    assert filled == pytest.approx(np.array(true), abs=1e-9)
    assert course(filled, 30, 0.7)[0] == 20


def test_a_day_that_tells_next_to_nothing_stays_untold() -> None:
    _, bench, learnt, form = pump()
    recent = worn_days(bench, form, [0.2] * 6, ["1"] * 6)
    recent[0] = np.nan
    recent[0, PLACE["first"]] = 0.1
    moved = shift_of(bench, learnt, recent, "hydraulic", 5, [])
    assert moved is not None
    amounts = daily_amounts(learnt, recent, moved, bench.directions[form])
    filled = with_other_days(bench, learnt, recent, "hydraulic", bench.directions[form], amounts)
    assert np.isnan(filled[0])


@pytest.mark.parametrize(("kind", "ends"), [("pump-lifted", True), ("panels-washed", False), ("meter-replaced", False)])
def test_a_lifted_pump_that_lost_most_of_its_wear_is_mended_whatever_its_successor_is_rated(
    kind: str, ends: bool
) -> None:
    """The new pump gives 8 % less than its datasheet, as it may: that is no third of the old one's wear."""
    plant, bench, _, form = pump()
    learnt = beginning(bench.scatter)
    recent = worn_days(bench, form, [0.08] * 4, ["2"] * 4)
    moved = shift_of(bench, learnt, recent, "hydraulic", 4, [])
    assert moved is not None
    assert amounts_of(bench, moved, np.array([form]))[0][0] == pytest.approx(0.08)
    close_ms = plant.days.close_ms(DAY - 20)
    case = Case("slow-hydraulic", "worn-pump", "worn-pump", close_ms, 1, close_ms - 1, close_ms, size=[0.3, 0.2, 0.4])
    case.weighed = {"day": float(DAY - 20), "window": 2.0, "form": float(form), "amount": 0.3}
    memory = Memory(cases=[case])
    after_visit(memory, kind)  # type: ignore[arg-type]
    for later in range(4):
        with_slow(plant, memory, learnt, recent[: later + 1], DAY + later, FIGURES)
    assert (case.ended_ms is not None) == ends
    if ends:
        assert case.ended_ms == plant.days.open_ms(DAY)
        assert case.size == [0.3, 0.2, 0.4], "sized before the visit"


def test_a_day_on_which_something_is_open_is_not_learnt_though_a_second_alarm_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plant, bench, learnt, form = pump()
    case = Case("slow-hydraulic", "worn-pump", "worn-pump", 1, 1, 1, 1, size=[0.3, 0.2, 0.4])
    case.weighed = {"day": float(DAY - 5), "window": 2.0, "form": float(form), "amount": 0.3}
    recent = worn_days(bench, form, [0.25] * 8, ["2"] * 8)
    moved = shift_of(bench, learnt, recent, "hydraulic", 8, [])
    assert moved is not None
    monkeypatch.setattr(slow_life, "best_alarm", lambda *_: Alarm(moved, form, 0.25, 0.01, 99.0))
    monkeypatch.setattr(slow_life, "told_already", lambda *_: True)
    memory = Memory(cases=[case])
    assert with_slow(plant, memory, learnt, recent, DAY + 7, FIGURES)
    assert memory.cases == [case]


def test_wear_that_stayed_after_a_visit_stays_open_and_keeps_its_size() -> None:
    plant, bench, learnt, form = pump()
    case = Case("slow-hydraulic", "worn-pump", "worn-pump", 1, 1, 1, 1, size=[0.3, 0.2, 0.4])
    case.weighed = {"day": float(DAY - 20), "window": 2.0, "form": float(form), "amount": 0.3}
    memory = Memory(cases=[case])
    after_visit(memory, "pump-lifted")
    recent = worn_days(bench, form, [0.25] * 4, ["2"] * 4)
    for later in range(4):
        with_slow(plant, memory, learnt, recent[: later + 1], DAY + later, FIGURES)
    assert case.ended_ms is None
    assert case.size == [0.3, 0.2, 0.4]
    assert case.seen_ms == plant.days.close_ms(DAY + 3)


def held_case(plant: Plant, day: int, ended: bool) -> Case:
    """A derating told of at the close of a day."""
    at_ms = plant.days.close_ms(day)
    case = Case("slow-held", "controller-derating", "controller-derating", at_ms, 1, at_ms - 1, at_ms)
    case.ended_ms = at_ms if ended else None
    return case


def held_days(caps: list[float], falls: list[float]) -> Floats:
    """Day vectors of a pump that stands so low, by logs of its ceiling, and falls by so much through the day."""
    recent = np.full((len(caps), SIZE), np.nan)
    recent[:, PLACE["cap"]], recent[:, PLACE["cv"]], recent[:, PLACE["cn"]] = caps, falls, caps
    return recent


@pytest.mark.parametrize(("kind", "ends"), [("controller-replaced", True), ("pump-lifted", False)])
def test_another_controller_has_other_limits(kind: str, ends: bool) -> None:
    plant = pump()[0]
    memory = Memory(cases=[case := held_case(plant, DAY, False)])
    after_visit(memory, kind)  # type: ignore[arg-type]
    assert (case.ended_ms == case.seen_ms) == ends


@pytest.mark.parametrize(("days_later", "same"), [(20, True), (40, False)])
def test_heat_that_comes_back_after_cooler_weeks_is_the_same_fault(days_later: int, same: bool) -> None:
    plant, _, learnt, _ = pump()
    memory = Memory(cases=[case := held_case(plant, DAY, True)])
    recent = held_days([-0.3, -0.35, -0.4], [-0.2, -0.25, -0.2])
    for later in range(3):
        day = DAY + days_later + later
        with_slow(plant, memory, learnt, recent[: later + 1], day, FIGURES)
    assert len(memory.cases) == (1 if same else 2)
    assert (case.ended_ms is None) == same


def test_how_low_a_limit_stands_is_how_bad_it_is() -> None:
    """Days on which one hour told the limit, and nothing how it falls, tell since when it is there."""
    plant, _, learnt, _ = pump()
    memory = Memory()
    recent = held_days([0.0, 0.0, 0.0, -0.4, -0.4, -0.4, -0.4, -0.4], [np.nan] * 6 + [-0.2, -0.2])
    for later in range(len(recent)):
        with_slow(plant, memory, learnt, recent[: later + 1], DAY + later, FIGURES)
    (case,) = memory.cases
    assert case.began_ms == plant.days.open_ms(DAY + 3)


def test_a_controller_that_holds_back_hides_the_array_where_no_sensor_tells_the_sun() -> None:
    plant = pump()[0]
    memory = Memory(cases=[held_case(plant, DAY, False)])
    assert "irradiance_w_m2" not in plant.has
    assert hidden(plant, memory, "electric")
    assert not hidden(plant, memory, "hydraulic")
    assert not hidden(plant, Memory(cases=[held_case(plant, DAY, True)]), "electric")
    measured = plant_of(read_case(HERE / "none" / "helical")[0])
    assert "irradiance_w_m2" in measured.has
    assert not hidden(measured, memory, "electric")


@pytest.mark.parametrize("known_days", [0.0, 16.0])
def test_what_is_told_before_the_pump_was_learnt_is_told_less_surely(known_days: float) -> None:
    """Against its datasheet alone; the same loss of a pump well known is as sure as its share."""
    plant, bench, learnt, form = pump()
    first = Learnt(learnt.joint, learnt.joint_covariance, np.full(SIZE, known_days), learnt.age, learnt.scatter)
    memory = Memory()
    recent = worn_days(bench, form, [0.3] * 5, ["2"] * 5)
    for later in range(5):
        with_slow(plant, memory, first, recent[: later + 1], DAY + later, FIGURES)
    (case,) = memory.cases
    told, share = as_finding(plant.facts, case), stated(case.confidence, case.rivals)[0]
    assert told.confidence == pytest.approx((1.0 if known_days else UNLEARNT_WORTH) * share, abs=1e-4)
