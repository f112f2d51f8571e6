"""Samples every few seconds become one row an interval; a change of state is a row at once."""

import itertools

import pytest

from logger.clock import Stamp
from logger.means import Means

START_MS = 1_763_000_040_000  # a whole minute


def stamp(second: float, quality: str = "good", step_s: float = 0) -> Stamp:
    return Stamp(START_MS + round((second + step_s) * 1000), round(1_000_000 + second * 1000), quality)


def test_means_states_counters_and_extremes_of_one_minute():
    means = Means(60, ("pv_voltage_v",))
    made = []
    for second in range(0, 70, 10):
        values = {
            "pv_voltage_v": 300.0 + second,
            "volume_m3": 5.0 + second / 100,
            "motor_running": 1.0,
            "water_level_m": None,
            "pv_current_a": 4.0 if second == 30 else None,
        }
        made += means.add(stamp(second), values)
    assert [(row.time_ms, row.mono_ms) for row in made] == [(START_MS, 1_000_000)], "the first sample ends a minute"
    made += means.flush(stamp(65))
    (minute,) = made[1:]
    assert minute.time_ms == START_MS + 60_000
    assert minute.values == {
        "pv_voltage_v": 335.0,
        "pv_voltage_v_min": 310.0,
        "pv_voltage_v_max": 360.0,
        "pv_current_a": 4.0,
        "volume_m3": 5.6,
        "water_level_m": None,
        "motor_running": 1.0,
    }


def test_interval_0_keeps_every_sample_as_it_is():
    means = Means(0)
    made = [row for second in range(3) for row in means.add(stamp(second), {"pv_voltage_v": float(second)})]
    assert [(row.time_ms, row.values) for row in made] == [
        (START_MS + 1000 * second, {"pv_voltage_v": float(second)}) for second in range(3)
    ]


def test_a_state_that_changes_goes_out_at_once_and_a_chattering_one_only_now_and_then():
    means = Means(60)
    running = [0.0, 0.0, 1.0, 0.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0]
    made = [
        row for second, value in enumerate(running, 1) for row in means.add(stamp(second), {"motor_running": value})
    ]
    assert [(row.time_ms - START_MS, row.values["motor_running"], row.changed) for row in made] == [
        (3000, 1.0, True),
        (8000, 0.0, True),
    ]


def test_a_state_that_cannot_be_read_is_no_change():
    means = Means(60)
    made = [
        row
        for second, value in enumerate([1.0, None, None, 1.0], 1)
        for row in means.add(stamp(second), {"motor_running": value})
    ]
    assert made == []


@pytest.mark.parametrize("step_s", [-86_400, -90, 90, 86_400 * 365])
def test_a_jump_of_the_clock_mixes_no_rows(step_s):
    """Samples before and after the jump are never in one mean; every sample is in one; order stays."""
    means = Means(60)
    made = []
    for second in range(1, 200):
        jumped = second > 100
        made += means.add(stamp(second, step_s=step_s if jumped else 0), {"pv_voltage_v": 100.0 if jumped else 0.0})
    made += means.flush()
    assert {row.values["pv_voltage_v"] for row in made} == {0.0, 100.0}
    assert all(earlier.mono_ms < later.mono_ms for earlier, later in itertools.pairwise(made))
    assert [row.time_ms - START_MS for row in made if row.values["pv_voltage_v"] == 0.0] == [60_000, 100_000]


def test_a_channel_that_was_not_asked_in_the_interval_is_absent():
    means = Means(60)
    means.add(stamp(10), {"pv_voltage_v": 1.0, "module_temp_c": 20.0})
    made = means.add(stamp(70), {"pv_voltage_v": 3.0})
    made += means.flush(stamp(130))
    assert [set(row.values) for row in made] == [{"pv_voltage_v", "module_temp_c"}, {"pv_voltage_v"}]
