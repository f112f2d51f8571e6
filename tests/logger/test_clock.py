"""Time on a board without a battery clock: guessed, repaired, never mixed up."""

import pytest

from logger.clock import TIME_ERROR, BoardClock, RealTime, SimulatedTime, Stamp, kernel_id, time_of
from logger.spool.boots import Boot
from logger.spool.row import Row
from tests.faults import FakeTime

NOV_2025_MS = 1_763_000_000_000
VALUES = {"pv_voltage_v": 1.0}


def test_before_the_clock_is_known_times_are_a_guess_that_never_jumps():
    machine = FakeTime(wall_ms=5_000, mono_ms=1_000)
    clock = BoardClock(machine, latest_ms=NOV_2025_MS)
    assert clock.stamp() == Stamp(NOV_2025_MS, 1_000, "unsure")
    machine.pass_s(10)
    machine.step_s(-3600)
    assert clock.stamp() == Stamp(NOV_2025_MS + 10_000, 11_000, "unsure"), (
        "a wall clock nobody vouches for moves nothing"
    )
    assert clock.learnt is None


def test_a_disciplined_wall_clock_is_good_at_once():
    clock = BoardClock(FakeTime(NOV_2025_MS, 1_000, disciplined=True))
    assert clock.stamp() == Stamp(NOV_2025_MS, 1_000, "good")
    assert clock.learnt == NOV_2025_MS - 1_000


def test_when_the_source_of_time_is_lost_the_offset_stays():
    machine = FakeTime(NOV_2025_MS, 1_000, disciplined=True)
    clock = BoardClock(machine)
    clock.stamp()
    machine.is_disciplined = False
    machine.pass_s(60)
    machine.step_s(-86_400 * 300)
    assert clock.stamp() == Stamp(NOV_2025_MS + 60_000, 61_000, "good")


@pytest.mark.parametrize("step_s", [-40_000_000, -5, 5, 40_000_000])
def test_a_step_of_the_disciplined_clock_is_followed_and_counted(step_s):
    machine = FakeTime(NOV_2025_MS, 1_000, disciplined=True)
    clock = BoardClock(machine)
    clock.stamp()
    machine.step_s(step_s)
    assert clock.stamp() == Stamp(NOV_2025_MS + step_s * 1000, 1_000, "good")
    assert clock.steps == 1


def test_the_servers_time_serves_until_something_better_comes():
    machine = FakeTime(0, 50_000)
    clock = BoardClock(machine, latest_ms=NOV_2025_MS)
    clock.stamp()
    clock.heard(NOV_2025_MS + 7_000)
    machine.pass_s(1)
    assert clock.stamp() == Stamp(NOV_2025_MS + 8_000, 51_000, "repaired")
    clock.heard(NOV_2025_MS + 999_999)
    assert clock.stamp().time_ms == NOV_2025_MS + 8_000, "heard once is enough"
    machine.is_disciplined, machine.now_wall_ms = True, NOV_2025_MS + 9_500
    assert clock.stamp() == Stamp(NOV_2025_MS + 9_500, 51_000, "good")


def test_a_server_that_is_behind_what_the_board_knows_is_not_believed():
    clock = BoardClock(FakeTime(0, 50_000), latest_ms=NOV_2025_MS)
    clock.heard(NOV_2025_MS - 1)
    assert clock.stamp().quality == "unsure"


ROW = Row(5, 1_000, 60_000, "unsure", VALUES)


@pytest.mark.parametrize(
    ("row", "boot", "expected", "why"),
    [
        (Row(5, 777, 60_000, "good", VALUES), Boot("b", "k", 1), (777, "good"), "known when it was read"),
        (ROW, Boot("b", "k", NOV_2025_MS), (NOV_2025_MS + 60_000, "repaired"), "learnt later"),
        (ROW, Boot("b", "k"), None, "may still be learnt"),
        (ROW, Boot("b", "an earlier kernel"), (1_000, "unsure"), "can never be learnt any more"),
        (ROW, Boot("b", "k", None, unsure_upto=5), (1_000, "unsure"), "waited long enough"),
        (
            ROW,
            Boot("b", "k", NOV_2025_MS, unsure_upto=5),
            (NOV_2025_MS + 60_000, "repaired"),
            "went out unsure, goes again",
        ),
        (Row(1, 1_000, 60_000, "unsure"), Boot("b", "k"), (1_000, "unsure"), "announces the boot, has no values"),
    ],
)
def test_when_a_row_has_its_time(row, boot, expected, why):
    assert time_of(row, boot, "k") == expected, why


def test_simulated_time_runs_fast_and_its_offset_stands_still():
    started_ms = RealTime(trusted=True).wall_ms()
    machine = SimulatedTime(NOV_2025_MS, started_ms, 3600.0)
    clock = BoardClock(machine)
    first, second = clock.stamp(), clock.stamp()
    assert first.quality == "good"
    assert NOV_2025_MS <= first.time_ms <= second.time_ms
    assert (first.time_ms - NOV_2025_MS) % 3600 == 0, "a real millisecond is 3.6 simulated seconds"
    assert clock.steps == 0


def test_the_real_machine_answers():
    machine = RealTime()
    assert machine.disciplined() in (True, False)
    assert machine.mono_ms() <= machine.mono_ms()
    assert RealTime(trusted=True).disciplined()
    assert len(kernel_id()) == 36
    assert TIME_ERROR == 5, "adjtimex(2): TIME_ERROR, 'the system clock is not synchronized'"
