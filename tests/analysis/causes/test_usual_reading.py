"""What a channel that is blamed should have read, by what the others read and as it did before."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.lonely_jumps import LIMITS, MOVED_BY, jumping, may_jump
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.usual_reading import usual_reading
from tests.cases.recorded import HERE, read_case

N = 1000


def seen(**channels: Any) -> Any:
    """A pump whose power sweeps its range again and again, and a current that goes with it; from the middle on it reads half."""
    power = 200.0 + 800.0 * np.abs(np.sin(np.arange(N) / 20.0))
    current = 0.01 * power * np.where(np.arange(N) < N // 2, 1.0, 0.5)
    rows = Rows(np.arange(N) * 60_000, {"motor_current_a": current, **channels})
    runs = np.ones(N, bool)
    return SimpleNamespace(rows=rows, time_ms=rows.time_ms, power_w=power, settled=runs, turning=runs, at_max=runs)


def test_it_is_what_the_channel_read_before_at_the_same_power() -> None:
    columns = seen()
    usual = usual_reading(columns, "motor_current_a", N // 2 * 60_000)
    assert usual is not None
    known = np.isfinite(usual.middle)
    assert known.mean() > 0.95
    assert usual.middle[known] == pytest.approx(0.01 * columns.power_w[known], rel=0.15)
    assert (usual.low[known] < usual.middle[known]).all()
    assert (usual.middle[known] < usual.high[known]).all()
    late = known & (np.arange(N) >= N // 2)
    assert (columns.rows["motor_current_a"][late] < usual.low[late]).mean() > 0.95


def test_it_does_not_hang_on_what_the_channel_read_since() -> None:
    other = seen(motor_current_a=np.where(np.arange(N) < N // 2, seen().rows["motor_current_a"], np.nan))
    one, two = (usual_reading(columns, "motor_current_a", N // 2 * 60_000) for columns in (seen(), other))
    assert one is not None
    assert two is not None
    np.testing.assert_array_equal(one.middle, two.middle)


@pytest.mark.parametrize(
    ("channel", "before_ms"), [("ambient_temp_c", N * 60_000), ("motor_current_a", 0), (None, N * 60_000)]
)
def test_nothing_is_shown_where_nothing_moves_it_or_nothing_came_before(channel: str | None, before_ms: int) -> None:
    assert usual_reading(seen(ambient_temp_c=np.full(N, 20.0)), channel, before_ms) is None


def running(temperature: np.ndarray) -> Any:
    """A pump that runs on evenly under an even sky, and a thermometer on its array."""
    even = dict.fromkeys(MOVED_BY["module_temp_c"], np.full(N, 100.0))
    rows = Rows(np.arange(N) * 60_000, {"module_temp_c": temperature, **even})
    return Sized(rows=rows, settled=np.ones(N, bool), dt_h=np.full(N, 1 / 60))


class Sized(SimpleNamespace):
    """Columns that know their length."""

    def __len__(self) -> int:
        return N


@pytest.mark.parametrize(("share", "told"), [(0.0, False), (0.01, False), (0.3, True)])
def test_warmth_does_not_spring_to_and_fro(share: float, told: bool) -> None:
    """A row in a hundred may be misread; a thermometer that jumps in a third of them has a loose plug, known with the row after."""
    rng, facts = np.random.default_rng(1), read_case(HERE / "none" / "helical_middle")[0]
    odd = rng.random(N) < share
    found = list(
        jumping(plant_of(facts), running(45.0 + rng.normal(0, 0.2, N) + np.where(odd, rng.normal(0, 12, N), 0.0)))
    )
    assert [channel for channel, *_ in found] == (["module_temp_c"] if told else [])
    if told:
        _, rows, enough, part = found[0]
        assert np.count_nonzero(rows < enough) >= LIMITS.least_rows
        assert 0.1 < part < 0.6
        assert may_jump(plant_of(facts), running(45.0 + np.where(odd, 12.0, 0.0))).any()


def test_what_is_fitted_and_not_read_is_not_known_to_keep_still() -> None:
    facts = read_case(HERE / "none" / "helical_middle")[0]
    blind = running(45.0 + np.where(np.random.default_rng(1).random(N) < 0.3, 12.0, 0.0))
    assert may_jump(plant_of(facts), blind).any()
    fitted = next(name for name in MOVED_BY["module_temp_c"] if name in facts.sensors.channels)
    blind.rows = replace(blind.rows, values={k: v for k, v in blind.rows.values.items() if k != fitted})
    assert not may_jump(plant_of(facts), blind).any()
