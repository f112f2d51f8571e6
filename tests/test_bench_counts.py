"""How the diagnosis bench counts: rightly timed by flag and beginning, one fault one finding, a miss within no time."""

from collections import Counter
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.rows import Rows
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts
from tests.bench.bench_diagnosis import DAY_S, Tally, True_, matched, passed_s, seconds
from tests.bench.bench_matrix import printed
from tests.bench.targets import Targets
from tests.cases.recorded import HERE, read_case

DAY_0 = seconds("2025-06-01T00:00:00Z")


def fault(cause: str, from_day: float, to_day: float, size: float = 0.2, slight: bool = False) -> True_:
    return True_(cause, None, DAY_0 + from_day * DAY_S, DAY_0 + to_day * DAY_S, size, False, slight)


def told(cause: str, began_day: float, flagged_day: float) -> Finding:
    at = [str(np.datetime64(int(DAY_0 + day * DAY_S), "s")) + "Z" for day in (began_day, flagged_day)]
    return SimpleNamespace(cause=cause, began=at[0], flagged=at[1], size=None)  # type: ignore[return-value]


@pytest.mark.parametrize(
    ("began_day", "hit"), [(30.0, True), (28.5, True), (26.0, True), (21.0, False), (40.0, True), (48.0, False)]
)
def test_a_finding_that_began_at_another_time_is_no_hit(began_day: float, hit: bool) -> None:
    """Thirty days of a fault: ten days too early and fifteen too late are borne."""
    hits, beside, _ = matched([fault("worn-pump", 30, 60)], [told("worn-pump", began_day, 50)])
    assert (bool(hits), bool(beside)) == ((hit, not hit) if began_day != 21.0 else (True, False))


def test_a_brief_fault_is_dated_to_two_days() -> None:
    truth = fault("dry-running", 30, 31)
    assert matched([truth], [told("dry-running", 28.5, 30.5)])[0]
    assert not matched([truth], [told("dry-running", 27.5, 30.5)])[0]
    assert matched([truth], [told("dry-running", 27.5, 30.5)], by_flag_alone=True)[0]


def test_one_event_told_twice_is_once_false() -> None:
    twice = [told("worn-pump", 31, 35), told("worn-pump", 40, 45)]
    hits, beside, false = matched([fault("worn-pump", 30, 60)], twice)
    assert (hits[0], beside, false) == (twice[0], [twice[1]], [])
    assert matched([fault("worn-pump", 30, 60)], twice, by_flag_alone=True)[1:] == ([], [])
    assert matched([fault("worn-pump", 30, 60, slight=True)], twice)[1:] == ([], [])


def of(what: str, targets: Targets) -> str:
    return next(line for line in targets.lines() if line.startswith(what))


def case_of(*channels: str) -> tuple[SimpleNamespace, SiteFacts]:
    """Three weeks of a minute each, running from six to six, a tenth of a cubic metre an hour more each hour."""
    facts, _, _ = read_case(HERE / "none" / "helical")
    minutes = np.arange(21 * 1440)
    runs = (minutes % 1440 >= 360) & (minutes % 1440 < 1080)
    known = {
        "pv_voltage_v": np.full(len(minutes), 200.0), "pv_current_a": 2.0 * runs, "volume_m3": np.cumsum(runs) / 60.0,
        "motor_speed_rpm": 2000.0 * runs, "motor_current_a": 3.0 * runs,
    }  # fmt: skip
    rows = Rows((DAY_0 * 1000 + minutes * 60_000).astype(np.int64), {name: known[name] for name in channels})
    named = SimpleNamespace(
        sensors=SimpleNamespace(channels=channels, meter_step_m3=0.1), array=SimpleNamespace(strings=2), site=facts.site
    )
    return SimpleNamespace(facts=named, rows=rows), facts


POWER, METER = ("pv_voltage_v", "pv_current_a"), ("volume_m3",)
LOAD = ("motor_speed_rpm", "motor_current_a")


def test_a_fast_fault_not_found_counts_as_not_within_its_minutes() -> None:
    case, _ = case_of(*POWER, *METER, *LOAD)
    targets, truth = Targets(), fault("dry-running", 16.4, 17.0)
    flagged = truth.began + 120.0
    targets.add(case, truth, told("dry-running", 16.4, 16.5), truth.began, flagged)
    targets.add(case, truth, None, np.nan, np.nan)
    assert "0.50 of 2 (1 not found" in of("dry running, closed delivery within 3 running minutes", targets)


def test_with_a_meter_alone_the_steps_that_were_due_are_counted() -> None:
    """One cubic metre a running hour, a tenth a step: six minutes a step."""
    case, _ = case_of(*POWER, *METER)
    truth = fault("dry-running", 16.4, 17.0)
    for minutes, share in ((17.0, "1.00 of 1"), (20.0, "0.00 of 1")):
        targets = Targets()
        targets.add(case, truth, told("dry-running", 16.4, 16.5), truth.began, truth.began + 60.0 * minutes)
        assert share in of("dry running, closed delivery within 3 expected meter steps", targets)


def test_less_than_a_string_has_two_days_and_a_miss_none() -> None:
    case, _ = case_of(*POWER, *METER)
    targets = Targets()
    truth = fault("string-out", 16, 20, size=0.1)
    targets.add(case, truth, told("string-out", 16, 17.9), truth.began, truth.began + 1.9 * DAY_S)
    targets.add(case, truth, None, np.nan, np.nan)
    assert "0.50 of 2 (1 not found" in of("less than a string", targets)


def test_soiling_not_found_is_within_no_points() -> None:
    case, _ = case_of(*POWER, *METER)
    targets, lasting = Targets(), fault("panel-soiling", 10, 21)
    lasting.lasting = True
    sized = told("panel-soiling", 10, 15)
    sized.size = SimpleNamespace(value=0.255, low=0.1, high=0.3)  # type: ignore[misc]
    targets.add(case, lasting, sized, lasting.began, lasting.began + 5 * DAY_S)
    targets.add(case, lasting, None, np.nan, np.nan)
    assert "within 6 points: 0.50 of 2 (1 not found" in of("soiling without one, before any", targets)


def test_a_loss_that_grows_is_asked_from_when_it_is_large() -> None:
    """Forty days from nothing to 30 %: after twenty it passes 15 %; what came at once is asked from its beginning."""
    case, _ = case_of(*POWER, *METER)
    targets, grows, sudden = Targets(), fault("worn-pump", 10, 50, size=0.15), fault("clogging", 10, 50)
    days = np.arange(0.0, 40.0, 0.5)
    grows.passed = passed_s(grows.began + days * DAY_S, days / 40.0, grows.size)
    sudden.passed = passed_s(sudden.began + days * DAY_S, np.ones(len(days)), sudden.size)
    assert grows.passed == pytest.approx(DAY_0 + 30 * DAY_S, abs=DAY_S)
    for truth, day in ((grows, 32.0), (grows, 35.0), (sudden, 12.0), (sudden, 32.0)):
        targets.add(case, truth, told(truth.cause, 10, day), truth.began, DAY_0 + day * DAY_S)
    targets.add(case, fault("riser-leak", 10, 50), None, np.nan, np.nan)  # nobody knows its course
    assert "0.50 of 2" in of("   of these, those that came at once", targets)
    assert "0.50 of 2" in of("   growing ones", targets)
    assert "of 5 (1 not found" in of("clogging, leak, wear", targets)
    assert passed_s(days, 0.1 * np.ones(len(days)), 0.1) is None


def goals(tally: Tally) -> list[bool]:
    """Of F1, first cause right, calibration and healthy sites: whether the line says that it was missed."""
    return [line.endswith("MISSED") for line in tally.table().split("\n")[:4]]


@pytest.mark.parametrize(
    ("fitout", "found", "missed"),
    [("full", 94, True), ("full", 97, False), ("middle", 88, True), ("middle", 92, False), ("lean", 78, True), ("lean", 82, False), (None, 78, True), (None, 82, False)],
)  # fmt: skip
def test_a_figure_under_its_goal_is_marked_by_what_the_fit_out_is_to_reach(fitout, found, missed) -> None:
    tally = Tally(fitout)
    tally.found["worn-pump"], tally.missed["worn-pump"], tally.false["worn-pump"] = found, 100 - found, 100 - found
    tally.firsts, tally.first_right, tally.first_any = 100, 95, 95
    assert goals(tally) == [missed, False, False, False]


def test_first_cause_calibration_and_healthy_sites_are_marked_too() -> None:
    tally = Tally("lean")
    tally.found["worn-pump"], tally.firsts, tally.first_right, tally.first_any = 100, 100, 50, 95
    assert goals(tally) == [False] * 4
    tally.fitout = "middle"
    assert goals(tally) == [False, True, False, False]
    tally.first_right, tally.sure = 95, [(0.8, False)] * 10
    assert goals(tally) == [False, False, True, False]
    tally.sure, tally.healthy_years, tally.healthy_false = [], 10.0, 4
    assert goals(tally) == [False, False, False, True]
    tally.healthy_false, tally.healthy_visits = 2, 2
    assert goals(tally) == [False, False, False, True]
    assert goals(Tally()) == [False] * 4


def test_the_matrix_says_when_too_few_are_named_rightly() -> None:
    assert printed("", {"worn-pump": Counter({"worn-pump": 8, "clogging": 2})}).endswith("MISSED")
    assert not printed("", {"worn-pump": Counter({"worn-pump": 9, "clogging": 1})}).endswith("MISSED")
