"""Novelty used alone: false share as stated, the departed channel named, missing values left out, bad input refused."""

import doctest

import numpy as np
import pytest

from analysis import novelty
from analysis.novelty import FALSE_SHARE, Novelty


def plant_rows(count: int, seed: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    power = rng.uniform(300, 1500, count)
    speed = 2.0 * power + rng.normal(0, 20, count)
    return {"power_w": power, "speed_rpm": speed, "flow_m3_h": speed / 800 + rng.normal(0, 0.03, count)}


def test_the_example_in_the_docstring() -> None:
    assert doctest.testmod(novelty).failed == 0


def test_healthy_rows_are_called_odd_about_as_seldom_as_stated() -> None:
    model = Novelty.fit(plant_rows(3000, 1))
    share = model.score(plant_rows(20_000, 2)).odd.mean()
    assert share < 6 * FALSE_SHARE


@pytest.mark.parametrize(("channel", "factor"), [("flow_m3_h", 0.8), ("speed_rpm", 1.2)])
def test_the_departed_channel_is_named(channel: str, factor: float) -> None:
    model = Novelty.fit(plant_rows(3000, 1))
    rows = plant_rows(200, 3)
    rows[channel] = rows[channel] * factor
    scored = model.score(rows)
    assert scored.odd.mean() > 0.8
    named = [name for name, odd in zip(scored.channel, scored.odd, strict=True) if odd]
    assert named.count(channel) > 0.6 * len(named)


def test_missing_values_are_left_out() -> None:
    model = Novelty.fit(plant_rows(500, 1))
    rows = plant_rows(4, 4)
    rows["flow_m3_h"][:2] = np.nan
    for column in rows.values():
        column[3] = np.nan
    scored = model.score(rows)
    assert np.isfinite(scored.distance[:3]).all()
    assert np.isnan(scored.departure["flow_m3_h"][:2]).all()
    assert not scored.odd[3]
    assert scored.channel[3] == ""


def test_a_healthy_fit_shrugs_off_a_tenth_of_bad_rows() -> None:
    rows = plant_rows(2000, 1)
    rows["flow_m3_h"][::10] = 0.0
    scored = Novelty.fit(rows).score(plant_rows(2000, 5))
    assert scored.odd.mean() < 0.02


@pytest.mark.parametrize(
    ("healthy", "message"),
    [({}, "no channel given"), ({"flow_m3_h": [1.0, 2.0]}, "2 whole rows for 1 channels; at least 10 a channel")],
)
def test_bad_input_is_refused_in_words(healthy: dict, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Novelty.fit(healthy)
