"""Novelty used alone: false share as stated, the departed channel named, missing values left out, bad input refused."""

import doctest

import numpy as np
import pandas as pd
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


@pytest.mark.parametrize("relation", [lambda p: 0.1 * np.sqrt(p), lambda p: p**2 / 1e5, lambda p: 4 - np.exp(-p / 400)])
def test_a_curved_relation_is_healthy(relation) -> None:
    """One plane or ellipsoid through a clean curve calls its two ends odd."""

    def rows(seed: int) -> dict[str, np.ndarray]:
        power = np.random.default_rng(seed).uniform(100, 1500, 6000)
        return {"power_w": power, "flow_m3_h": relation(power)}

    model = Novelty.fit(rows(1))
    for seed in (1, 2):  # 6 rows are due; a plane calls hundreds to thousands odd
        assert model.score(rows(seed)).odd.sum() <= 25
    away = rows(3)
    away["flow_m3_h"] = 0.8 * away["flow_m3_h"]
    assert model.score(away).odd.mean() > 0.9


def test_a_stuck_channel_is_named() -> None:
    model = Novelty.fit(plant_rows(3000, 1))
    rows = plant_rows(2000, 3)
    rows["speed_rpm"][:] = 1800.0
    scored = model.score(rows)
    named = [name for name, odd in zip(scored.channel, scored.odd, strict=True) if odd]
    assert scored.odd.mean() > 0.7
    assert named.count("speed_rpm") > 0.9 * len(named)


def test_spoilt_rows_do_not_widen_the_limits_where_they_are_said() -> None:
    rows = plant_rows(4000, 1)
    rows["flow_m3_h"][::50] = 0.0
    bad = plant_rows(500, 3)
    bad["flow_m3_h"] = 0.8 * bad["flow_m3_h"]
    told = Novelty.fit(rows, spoilt_share=0.03).score(bad).odd.mean()
    assert told > 0.8
    assert told > Novelty.fit(rows).score(bad).odd.mean() + 0.1


def test_infinite_values_are_said_and_not_taken_for_missing() -> None:
    rows = plant_rows(500, 1)
    model = Novelty.fit(rows)
    odd = plant_rows(3, 2)
    odd["flow_m3_h"][1] = np.inf
    scored = model.score(odd)
    assert (scored.odd.tolist(), scored.channel[1]) == ([False, True, False], "flow_m3_h")
    rows["flow_m3_h"][:2] = -np.inf
    with pytest.raises(ValueError, match="flow_m3_h has 2 infinite values"):
        Novelty.fit(rows)


@pytest.mark.parametrize(
    ("column", "word"),
    [
        (pd.date_range("2025-01-01", periods=50, tz="UTC"), "times"),
        (pd.date_range("2025-01-01", periods=50), "times"),
        (["1.5"] * 50, "text"),
        (pd.Series(["on", None] * 25), "text"),
        (pd.to_timedelta(np.arange(50), unit="s"), "spans of time"),
    ],
)
def test_columns_that_are_no_numbers_are_refused_in_words(column, word: str) -> None:
    with pytest.raises(ValueError, match=f"when holds {word}.*numbers only"):
        Novelty.fit({"power_w": np.arange(50.0), "when": column})


def test_a_frame_with_nullable_columns_is_read() -> None:
    frame = pd.DataFrame(plant_rows(500, 1)).astype("Float64")
    frame.loc[:4, "flow_m3_h"] = pd.NA
    assert Novelty.fit(frame).score(frame).odd.mean() < 0.02


def test_columns_of_unlike_length_are_refused() -> None:
    with pytest.raises(ValueError, match="b has the shape"):
        Novelty.fit({"a": np.arange(50.0), "b": np.arange(40.0)})


def test_a_column_that_is_missing_is_named_beside_those_that_are_there() -> None:
    rows = plant_rows(500, 1)
    with pytest.raises(KeyError, match="rows: no column flow_m3_h; there are .*power"):
        Novelty.fit(rows).score({name: column for name, column in rows.items() if name != "flow_m3_h"})
