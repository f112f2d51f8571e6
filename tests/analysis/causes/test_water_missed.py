"""What came before an hour without water: how the load went, and what a loaded rotor had brought that day."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.water_missed import LIMITS, _fell, _part
from tests.cases.recorded import HERE, read_case

LEAN = plant_of(read_case(HERE / "none" / "helical_lean")[0])
MINUTE_MS = 60_000


def seen_of(power_w: np.ndarray) -> Any:
    n = len(power_w)
    time_ms = np.arange(n, dtype=np.int64) * MINUTE_MS
    yes = np.ones(n, bool)
    rows = Rows(time_ms, {"pv_voltage_v": np.full(n, 100.0)})
    return SimpleNamespace(
        time_ms=time_ms,
        power_w=power_w,
        settled=yes,
        at_max=yes,
        dt_h=np.full(n, 1 / 60),
        rows=rows,
        moved_m3=np.full(n, 0.01),
    )


def test_power_that_a_cloud_took_with_the_speed_is_no_load_that_fell() -> None:
    power = np.where(np.arange(40) < 20, 800.0, 400.0)
    rows, began = np.arange(20, 40), 20 * MINUTE_MS
    seen = seen_of(power)
    seen.at_max = np.zeros(40, bool)
    unread = np.full(40, np.nan)
    assert _fell(seen, unread, rows, began) == pytest.approx(np.log(0.5))
    assert _fell(seen, np.full(40, -0.1), rows, began) == pytest.approx(0.0)
    assert _fell(seen, np.where(power > 500, 0.0, -1.2), rows, began) == pytest.approx(-1.2)


def test_a_load_that_went_long_before_the_first_row_that_tells_is_not_said_to_have_stayed() -> None:
    power = np.where(np.arange(120) < 20, 800.0, 100.0)
    seen = seen_of(power)
    seen.at_max = np.zeros(120, bool)
    seen.moved_m3 = np.where(np.arange(120) < 20, 0.01, 0.0)
    unread = np.full(120, np.nan)
    assert np.isnan(_fell(seen, unread, np.arange(100, 120), 100 * MINUTE_MS))
    assert _fell(seen, unread, np.arange(20, 40), 20 * MINUTE_MS) < -2.0


def test_what_a_loaded_rotor_brought_before_tells_a_hole_from_a_well_that_gives_out() -> None:
    full, idle = LEAN.full_flow_m3_h, float(LEAN.idle_power_w(1.0))
    power = np.where(np.arange(200) < 160, 2.0 * LIMITS.laden * idle, 1.1 * idle)
    should = np.full(200, full / 60)
    rows = np.arange(160, 200)
    for came in (0.35, 1.0):
        moved = np.where(power > LIMITS.laden * idle, came * should, 0.0)
        assert _part(LEAN, seen_of(power), should, moved, rows) == pytest.approx(came)
    assert np.isnan(_part(LEAN, seen_of(power), should, 0.0 * should, rows)), "the same hole all day"
    assert np.isnan(_part(LEAN, seen_of(np.full(200, 1.1 * idle)), should, 0.3 * should, rows)), "never loaded"
    pump = plant_of(read_case(HERE / "riser-leak" / "centrifugal_middle")[0])
    assert np.isnan(_part(pump, seen_of(power), should, 0.3 * should, rows)), (
        "an impeller is loaded at a shut valve too"
    )
