"""What a controller that stops itself again and again lets one see of the water."""

from types import SimpleNamespace

import numpy as np

from analysis.protected import at_intake, cut_short, has_codes, waiting, whole_rows
from analysis.rows import Rows


def day_of(turning: list[int], code: list[float], **more: list[float]) -> SimpleNamespace:
    """A row a minute."""
    times = np.arange(len(turning), dtype=np.int64) * 60_000
    columns = {"fault_code": np.array(code)} | {name: np.array(values) for name, values in more.items()}
    return SimpleNamespace(rows=Rows(times, columns), turning=np.array(turning) > 0, dt_h=np.full(len(times), 1 / 60))


TURNS, CODE = [1, 1, 0, 0, 0, 1, 0, 0], [0.0, 9.0, 9.0, 9.0, 0.0, 0.0, 9.0, 9.0]


def test_a_try_is_the_running_under_a_code_or_after_a_stop_with_one() -> None:
    assert cut_short(day_of(TURNS, CODE)).tolist() == [False, True, False, False, False, True, False, False]
    for known in range(1, len(TURNS) + 1):
        seen = cut_short(day_of(TURNS[:known], CODE[:known]))
        assert seen.tolist() == cut_short(day_of(TURNS, CODE)).tolist()[:known], "needs nothing later"


def test_a_stop_at_a_dry_probe_is_the_wells_business() -> None:
    dry = [0.0] * 8
    assert not cut_short(day_of(TURNS, CODE, low_level_probe_wet=dry)).any()


def test_what_stands_since_such_a_stop_says_nothing_and_other_standing_does() -> None:
    assert waiting(day_of(TURNS, CODE)).tolist() == [False, False, True, True, True, False, True, True]
    assert not waiting(day_of(TURNS, [0.0] * 8)).any()


def test_a_day_without_a_code_has_no_tries() -> None:
    assert has_codes(day_of(TURNS, CODE))
    assert not has_codes(day_of(TURNS, [0.0] * 8))


def test_a_level_at_the_intake_lets_the_pump_draw_air() -> None:
    plant = SimpleNamespace(facts=SimpleNamespace(pump=SimpleNamespace(setting_depth_m=80.0)))
    levels = [60.0, 79.4] + [float("nan")] * 6
    assert at_intake(plant, day_of(TURNS, CODE, water_level_m=levels)).tolist() == [False, True] + [False] * 6


def test_the_whole_of_a_short_try_counts_and_a_long_run_after_a_stop_is_a_run() -> None:
    turning, code = [1, 0, 0] + [1] * 9, [0.0, 9.0, 9.0] + [0.0] * 9
    tries = cut_short(day_of(turning, code))
    assert tries[3:9].all()
    assert not tries[9:].any()


def test_a_row_within_which_it_started_or_a_code_came_up_says_nothing_of_its_load() -> None:
    turning, code = [0, 1, 1, 1, 0, 1, 1, 1, 0], [0.0, 0.0, 0.0, 9.0, 9.0, 9.0, 9.0, 9.0, 9.0]
    expected = [False, False, True, False, False, False, True, True, False]
    assert whole_rows(day_of(turning, code)).tolist() == expected
    for known in range(1, len(turning) + 1):
        assert whole_rows(day_of(turning[:known], code[:known])).tolist() == expected[:known], "needs nothing later"
