"""Rows as they come in the field: registers that restart, roll over, are replaced or are coarse, dropouts, gaps, any spacing."""

from functools import cache

import numpy as np
import pytest

from analysis.meter import metered
from analysis.pipeline import advance, begin
from analysis.rows import Rows
from tests.cases.recorded import HERE, read_case

DAY_MS = 86_400_000


@cache
def sound():
    """Seven weeks of a helical pump in order, a row each ten minutes, and its register, known on every row."""
    facts, rows, _ = read_case(HERE / "none" / "helical_middle")
    register = rows["volume_m3"]
    known = ~np.isnan(register)
    return facts, rows, np.interp(rows.time_ms, rows.time_ms[known], register[known])


def causes(facts, rows: Rows) -> set[str]:
    return {f.cause for f in advance(begin(facts), rows, int(rows.time_ms.max())).findings}


def with_register(register: np.ndarray) -> set[str]:
    facts, rows, _ = sound()
    return causes(facts, Rows(rows.time_ms, rows.values | {"volume_m3": register}))


@pytest.mark.parametrize(
    "what", ["restarts", "rolls over", "replaced by one that counted more", "coarse", "restarts each week"]
)
def test_what_registers_do_is_no_fault(what: str) -> None:
    _, rows, register = sound()
    week = (rows.time_ms - rows.time_ms[0]) // (7 * DAY_MS)
    late = np.arange(len(rows)) >= len(rows) // 2
    begins = np.array([register[week == w][0] for w in range(int(week[-1]) + 1)])
    assert with_register({
        "restarts": np.where(late, register - register[late][0], register),
        "rolls over": register % 1000.0,
        "replaced by one that counted more": np.where(late, register + 5000.0, register),
        "coarse": np.floor(register / 0.1) * 0.1,
        "restarts each week": register - begins[week],
    }[what]) == set()  # fmt: skip


def test_rows_and_values_that_drop_out_here_and_there_are_no_fault() -> None:
    facts, rows, _ = sound()
    rng = np.random.default_rng(5)
    kept = rows.take(rng.random(len(rows)) > 0.1)
    holes = {name: np.where(rng.random(len(kept)) < 0.05, np.nan, column) for name, column in kept.values.items()}
    assert causes(facts, Rows(kept.time_ms, holes)) == set()


def test_days_of_gap_are_silence_and_nothing_else() -> None:
    facts, rows, _ = sound()
    day = (rows.time_ms - rows.time_ms[0]) // DAY_MS
    assert causes(facts, rows.take((day < 20) | (day >= 24))) == {"silent"}


def test_a_silence_lasts_by_the_clock_and_its_daylight_is_sure() -> None:
    facts, rows, _ = sound()
    day = (rows.time_ms - rows.time_ms[0]) // DAY_MS
    left = rows.take((day < 20) | (day >= 24))
    edges = left.time_ms[[np.flatnonzero(np.diff(left.time_ms) > 3 * DAY_MS)[0] + k for k in (0, 1)]]
    gap_h = np.diff(edges)[0] / 3_600_000
    (found,) = advance(begin(facts), left, int(left.time_ms.max())).findings
    assert found.size is not None
    assert found.size.value == pytest.approx(gap_h, abs=12.5)  # told at the close of a day, ended in the night after
    assert found.size.low < 4 * 14.0 < gap_h < found.size.high
    assert "of them in daylight" in found.evidence


@pytest.mark.parametrize("every_s", [1, 15, 60])
def test_a_shut_valve_is_told_at_any_spacing(every_s: int) -> None:
    """Between two readings the controller's last one stands, as on a board that asks it more often than it measures."""
    facts, rows, _ = read_case(HERE / "closed-delivery" / "centrifugal_full")
    minute = rows.take(np.arange(len(rows)) >= len(rows) - 400)
    times = np.arange(int(minute.time_ms[0]), int(minute.time_ms[-1]) + 1, every_s * 1000)
    last = np.searchsorted(minute.time_ms, times, "right") - 1
    near = times - minute.time_ms[last] < 60_000
    dense = Rows(times[near], {name: column[last[near]] for name, column in minute.values.items()})
    assert causes(facts, dense) == {"closed-delivery"}


@pytest.mark.parametrize("every", [1, 5, 15])
def test_a_fault_of_days_is_told_from_a_row_a_minute_to_one_a_quarter_hour(every: int) -> None:
    facts, rows, _ = read_case(HERE / "stalled-motor" / "centrifugal_full")
    step = max(round(every * 60_000 / float(np.median(np.diff(rows.time_ms)))), 1)
    assert "stalled-motor" in causes(facts, rows.take(np.arange(len(rows)) % step == 0))


def flow_of(register: list[float], largest_m3_h: float = 6.0, step_m3: float = 0.0) -> np.ndarray:
    """Minutes of one day, 3 m3/h expected on each."""
    n = len(register)
    got = metered(np.zeros(n, np.int64), np.full(n, 1 / 60), np.array(register), np.full(n, 3.0), largest_m3_h, step_m3)
    return got.flow_m3_h


def test_a_coarse_register_s_step_is_shared_out_over_the_minutes_that_made_it() -> None:
    """100 L a pulse, two minutes apart: 3 m3/h on each minute between two pulses."""
    register = np.repeat(np.arange(6) * 0.1, 2)
    np.testing.assert_allclose(flow_of(list(register))[1:11], 3.0)


def test_a_register_of_whole_cubic_metres_counts_though_no_pump_lifts_as_much_in_a_minute() -> None:
    register = np.repeat(np.arange(4.0), 20)
    np.testing.assert_allclose(flow_of(list(register), step_m3=1.0)[1:61], 3.0)
    assert np.isnan(flow_of([*register[:40], *(register[40:] + 4.0)], step_m3=1.0)[21:41]).all(), (
        "replaced: five steps at once"
    )


@pytest.mark.parametrize("after", [0.0, 700.0], ids=["restarts at nothing", "replaced"])
def test_where_the_count_breaks_off_no_flow_is_invented(after: float) -> None:
    register = [*(300.0 + 0.05 * np.arange(8)), *(after + 0.05 * np.arange(8))]
    flow = flow_of(register)
    assert np.isnan(flow[8])
    np.testing.assert_allclose(np.delete(flow, [0, 8]), 3.0)
