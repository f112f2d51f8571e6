"""Dust and shade are what is left over: nobody is told before it is likelier than not that something is wrong."""

import pytest

from analysis.calibration import stated
from analysis.life import told_of
from analysis.memory import Case, Memory, waits
from analysis.not_yet_told import (
    LEAST_OWN,
    LIKELIER_THAN_NOT,
    LONGEST_WAIT_MS,
    OUTLASTS_MS,
    OUTLASTS_UNREAD_MS,
    told_at_close,
)
from analysis.solar_days import DAY_MS
from analysis.summary import DaySummary
from analysis.water_lost import MARK, key_of

CLOSE_MS = 20_000 * DAY_MS
LIKELY, UNLIKELY = 0.99, 0.6


def case_of(cause: str, share: float, family: str = "slow-electric") -> Case:
    return Case(family, cause, cause, CLOSE_MS, 1, CLOSE_MS - DAY_MS, CLOSE_MS, confidence=share, water_lost_m3=1.0)


def day_of(lost_m3: dict[str, float]) -> DaySummary:
    return DaySummary("site", "2025-01-01", 1.0, 2.0, 1.5, 2.5, 5.0, 6.0, None, None, 1.0, lost_m3)


def test_the_shares_used_here_lie_on_either_side() -> None:
    assert stated(UNLIKELY, {}, left_over=True)[0] < LIKELIER_THAN_NOT < stated(LIKELY, {}, left_over=True)[0]


@pytest.mark.parametrize(
    ("cause", "share", "family", "quiet"),
    [
        ("panel-soiling", UNLIKELY, "slow-electric", True),
        ("shading", UNLIKELY, "slow-electric", True),
        ("panel-soiling", LIKELY, "slow-electric", True),
        ("string-out", UNLIKELY, "slow-electric", False),
        ("dry-running", UNLIKELY, "no-water", False),
    ],
)
def test_who_waits(cause: str, share: float, family: str, quiet: bool) -> None:
    memory = Memory(cases=[case_of(cause, share, family)])
    told_at_close(memory, CLOSE_MS, True)
    assert [waits(case) for case in memory.cases] == [quiet]


def test_dust_beside_a_sensor_that_may_lie_is_told() -> None:
    """Each alone is less likely than not; that one of them is there is not."""
    case = case_of("panel-soiling", 0.85)
    case.rivals = {"sensor-fault": 0.14}
    own, rivals = told_of(case)
    assert LEAST_OWN < own < LIKELIER_THAN_NOT < own + sum(rivals.values())
    memory = Memory(cases=[case])
    told_at_close(memory, CLOSE_MS, True)
    told_at_close(memory, CLOSE_MS + OUTLASTS_UNREAD_MS, True)
    assert not waits(case)


def test_dust_that_a_sensor_of_the_sun_saw_grow_for_long_is_told_at_once() -> None:
    case = case_of("panel-soiling", LIKELY)
    case.began_ms = CLOSE_MS - 20 * DAY_MS
    told_at_close(Memory(cases=[case]), CLOSE_MS, True)
    assert not waits(case)


@pytest.mark.parametrize(
    ("cause", "sun_read", "days"),
    [
        ("shading", True, OUTLASTS_MS // DAY_MS),
        ("shading", False, OUTLASTS_UNREAD_MS // DAY_MS),
        ("panel-soiling", False, OUTLASTS_UNREAD_MS // DAY_MS),
        ("panel-soiling", True, OUTLASTS_UNREAD_MS // DAY_MS - 1),  # it began a day before it was seen
    ],
)
def test_dust_and_shade_outlast_the_weather_in_which_they_were_seen(cause: str, sun_read: bool, days: int) -> None:
    case = case_of(cause, LIKELY)
    memory = Memory(cases=[case])
    for day in range(days):
        told_at_close(memory, CLOSE_MS + day * DAY_MS, sun_read)
        assert waits(case)
    case.healthy = 1.0
    told_at_close(memory, CLOSE_MS + days * DAY_MS, sun_read)
    assert waits(case), "today it is gone"
    case.healthy = 0.0
    told_at_close(memory, CLOSE_MS + (days + 1) * DAY_MS, sun_read)
    assert not waits(case)


def test_what_never_became_likely_is_let_go_unless_something_else_is_open() -> None:
    case, other = case_of("shading", UNLIKELY), case_of("silent", 1.0, "silent")
    memory = Memory(cases=[case])
    told_at_close(memory, CLOSE_MS, True)
    assert told_at_close(memory, CLOSE_MS + LONGEST_WAIT_MS - DAY_MS, True) is None
    memory.cases.append(other)
    assert told_at_close(memory, CLOSE_MS + LONGEST_WAIT_MS, True) is None
    other.ended_ms = CLOSE_MS + LONGEST_WAIT_MS
    assert told_at_close(memory, CLOSE_MS + LONGEST_WAIT_MS + DAY_MS, True) is case
    assert memory.cases == [other]


def test_it_is_flagged_at_the_close_that_makes_it_likely_and_keeps_its_water() -> None:
    case = case_of("panel-soiling", UNLIKELY)
    memory = Memory(cases=[case], days=[day_of({MARK + key_of(case): 0.5, "other": 0.1})])
    told_at_close(memory, CLOSE_MS, True)
    case.confidence, case.cause = LIKELY, "shading"
    told_at_close(memory, CLOSE_MS + 3 * DAY_MS, True)
    assert not waits(case)
    assert (case.flagged_ms, case.first_cause) == (CLOSE_MS + 3 * DAY_MS, "shading")
    assert memory.days[0].lost_m3 == {MARK + key_of(case): 0.5, "other": 0.1}
    case.confidence = UNLIKELY
    told_at_close(memory, CLOSE_MS + 4 * DAY_MS, True)
    assert not waits(case), "what people were told of is not taken back"
    assert case.flagged_ms == CLOSE_MS + 3 * DAY_MS


def test_what_ends_before_anyone_was_told_is_forgotten() -> None:
    case = case_of("shading", UNLIKELY)
    memory = Memory(cases=[case])
    told_at_close(memory, CLOSE_MS, True)
    case.ended_ms = CLOSE_MS + DAY_MS
    told_at_close(memory, CLOSE_MS + DAY_MS, True)
    assert memory.cases == []


def test_a_second_fault_beside_one_that_lasts_is_told_once_its_name_is_clear() -> None:
    first = case_of("sensor-fault", 1.0, "sensor-fault")
    first.flagged_ms = CLOSE_MS - 5 * DAY_MS
    memory = Memory(cases=[first, case_of("worn-pump", UNLIKELY, "slow-hydraulic")])
    told_at_close(memory, CLOSE_MS, True)
    second = memory.cases[1]
    assert waits(second)
    first.ended_ms = CLOSE_MS + DAY_MS
    told_at_close(memory, CLOSE_MS + DAY_MS, True)
    assert waits(second), "no clearer than it was"
    second.confidence = LIKELY
    told_at_close(memory, CLOSE_MS + 2 * DAY_MS, True)
    assert not waits(second)
    assert second.flagged_ms == CLOSE_MS + 2 * DAY_MS
    alone = Memory(cases=[case_of("worn-pump", UNLIKELY, "slow-hydraulic")])
    told_at_close(alone, CLOSE_MS, True)
    assert not waits(alone.cases[0])
    volts = case_of("over-voltage", 1.0, "over-voltage")
    volts.flagged_ms = CLOSE_MS - 5 * DAY_MS
    apart = Memory(cases=[volts, case_of("worn-pump", UNLIKELY, "slow-hydraulic")])
    told_at_close(apart, CLOSE_MS, True)
    assert not waits(apart.cases[1]), "volts above the rating wear no pump"


def test_a_loss_of_flow_that_is_none_waits_until_some_is_missed() -> None:
    case = case_of("clogging", LIKELY, "slow-hydraulic")
    case.size = [0.0, 0.0, 0.0]
    memory = Memory(cases=[case])
    told_at_close(memory, CLOSE_MS, True)
    assert waits(case)
    case.size = [0.04, 0.0, 0.1]
    told_at_close(memory, CLOSE_MS + DAY_MS, True)
    assert not waits(case)


def test_what_waits_as_left_over_is_not_told_by_another_name_of_a_few_days() -> None:
    case = case_of("shading", UNLIKELY)
    memory = Memory(cases=[case])
    told_at_close(memory, CLOSE_MS, True)
    case.cause = "cable-fault"
    told_at_close(memory, CLOSE_MS + DAY_MS, True)
    assert waits(case)
    case.confidence = LIKELY
    told_at_close(memory, CLOSE_MS + 2 * DAY_MS, True)
    assert not waits(case)
