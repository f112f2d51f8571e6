"""Which hours tell of the array: in direct sun beside a sensor, held back between others, under a controller that hunts."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.estimates.electric import in_direct_sun
from analysis.estimates.steady import hours_of, hunting_rows
from analysis.levels_within_day import between_known

MINUTES, CLEAR_W_M2 = 60, 800.0


def tells(*share: float) -> bool:
    """Whether an hour of minutes whose light is that share of a clear sky's, in turns, compares array and sensor."""
    light = CLEAR_W_M2 * np.resize(np.array(share), MINUTES)
    dt_h = np.full(MINUTES, 1.0 / 60.0)
    seen: Any = SimpleNamespace(
        dt_h=dt_h, expected=SimpleNamespace(poa_w_m2=light, clear_poa_w_m2=np.full(MINUTES, CLEAR_W_M2))
    )
    found = in_direct_sun(seen, np.ones(MINUTES, bool), hours_of(np.zeros(MINUTES, np.int64), (1, 1), dt_h))
    assert found.all() or not found.any()
    return bool(found[0])


@pytest.mark.parametrize(
    ("share", "wanted"),
    [
        ((0.97,), True),
        ((1.05, 0.95, 0.5), True),  # a few small clouds
        ((1.05, 0.2, 0.2), False),  # broken cloud
        ((0.25,), False),  # overcast, however even
        ((0.6,), True),  # a sensor that reads a third too little of a clear sky
    ],
)
def test_only_hours_of_direct_sun_compare_an_array_with_its_sensor(share: tuple[float, ...], wanted: bool) -> None:
    assert tells(*share) is wanted


def test_hours_held_back_in_the_sun_give_what_the_hours_about_them_do() -> None:
    """All hours give nearly the same share beside a sensor; outside of those that are known nothing is."""
    gap = np.nan
    found = between_known(np.array([gap, 0.08, 0.09, gap, gap, 0.08, gap]))
    assert found[1:6] == pytest.approx([0.08, 0.09, 0.08, 0.08, 0.08])
    assert np.isnan(found[[0, 6]]).all()
    assert np.isnan(between_known(np.array([0.08, gap, 0.08]))[1]), "two hours are too few"


def hunts(noise: np.ndarray) -> bool:
    """Whether an hour of minutes whose power rises evenly, but for `noise`, is one in which a controller hunts."""
    dt_h = np.full(MINUTES, 1.0 / 60.0)
    hours, every = hours_of(np.zeros(MINUTES, np.int64), (1, 1), dt_h), np.ones(MINUTES, bool)
    found = hunting_rows(every, hours, np.linspace(0.7, 0.8, MINUTES) + noise)
    assert found.all() or not found.any()
    return bool(found[0])


def test_a_hunting_controller_is_no_cloud() -> None:
    """A tracker's step is another in each row, a cloud is there for minutes; a power that jumps by a half is neither's."""
    rng = np.random.default_rng(11)
    steps = rng.normal(0.0, 0.07, MINUTES)
    assert hunts(steps)
    drifting = np.convolve(np.concatenate([steps, steps[:9]]), np.ones(10) / np.sqrt(10.0), "valid")
    assert not hunts(drifting), "cloud of ten minutes"
    assert not hunts(6.0 * steps), "nobody knows the mean of that"
    assert not hunts(np.where(np.arange(MINUTES) < 25, 0.0, -0.3)), "one cloud"
