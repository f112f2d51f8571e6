"""Stops that the light did not make: the power after a stop beside that before, with light to spare."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis import same_light as tested
from analysis.same_light import ample, same_share

FULL_W = 1000.0


def season(power: list[float], clear: list[float]) -> Any:
    """A row a minute."""
    return SimpleNamespace(
        time_ms=np.arange(len(power), dtype=np.int64) * 60_000, power_w=np.array(power), clear=np.array(clear)
    )


@pytest.fixture(autouse=True)
def _clear(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tested, "full_w", lambda _plant, seen: seen.clear)


def test_a_stop_in_steady_light_takes_after_it_what_it_took_before_and_a_cloud_s_does_not() -> None:
    plant: Any = SimpleNamespace(full_power_w=FULL_W)
    begins, stops = np.array([7]), np.array([3])
    steady = season([800.0] * 3 + [400.0, 0.0, 0.0, 0.0, 300.0, 790.0, 805.0, 800.0, 800.0], [900.0] * 12)
    assert same_share(plant, steady, begins, stops) == 1.0
    cloud = season([800.0, 700.0, 560.0, 300.0, 0.0, 0.0, 0.0, 300.0, 860.0, 880.0, 870.0, 870.0], [900.0] * 12)
    assert same_share(plant, cloud, begins, stops) == 0.0
    assert same_share(plant, steady, begins[:0], stops[:0]) == 0.0
    risen = season([500.0] * 4 + [0.0] * 3 + [300.0] + [600.0] * 4, [550.0] * 4 + [660.0] * 8)
    assert same_share(plant, risen, begins, stops) == 1.0, "the sun rose meanwhile"


def test_light_to_spare_at_stop_and_start() -> None:
    plant: Any = SimpleNamespace(full_power_w=FULL_W)
    seen = season([400.0] * 12, [450.0] * 5 + [900.0] * 7)
    assert ample(plant, seen, np.array([7, 11]), np.array([3, 6])).tolist() == [False, True]
