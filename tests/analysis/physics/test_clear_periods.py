"""Clear spells are found by shape alone, whatever dust takes of the signal."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib.clearsky import detect_clearsky

from analysis.physics.clear_periods import clear_periods

STEP_S = {60: 720, 300: 144, 900: 48}


def day(step_s: int) -> tuple[np.ndarray, np.ndarray]:
    n = 43_200 // step_s
    time_ms = 1_762_905_600_000 + 1000 * step_s * np.arange(n, dtype=np.int64)
    return time_ms, 1000.0 * np.sin(np.pi * (np.arange(n) + 0.5) / n)


def clouded(clear: np.ndarray, rng: np.random.Generator, step_s: int) -> np.ndarray:
    """Broken cloud: every few minutes another share of the sun."""
    spell = max(1, 420 // step_s)
    return clear * np.repeat(rng.uniform(0.25, 1.0, len(clear) // spell + 1), spell)[: len(clear)]


@pytest.mark.parametrize("step_s", STEP_S)
@pytest.mark.parametrize("scale", [0.7, 1.0, 1.1])
def test_a_clear_day_is_clear_at_any_scale(step_s, scale):
    rng = np.random.default_rng(1)
    time_ms, clear = day(step_s)
    found = clear_periods(time_ms, scale * clear * rng.normal(1.0, 0.005, len(clear)), clear)
    assert found[clear > 300].mean() > 0.97


@pytest.mark.parametrize("step_s", STEP_S)
def test_a_day_of_broken_cloud_is_not(step_s):
    rng = np.random.default_rng(2)
    time_ms, clear = day(step_s)
    assert clear_periods(time_ms, clouded(clear, rng, step_s), clear).mean() < 0.05


@pytest.mark.parametrize("step_s", STEP_S)
def test_a_clear_morning_before_clouds_is_found(step_s):
    rng = np.random.default_rng(3)
    time_ms, clear = day(step_s)
    half = len(clear) // 2
    signal = np.concatenate([0.9 * clear[:half], clouded(clear, rng, step_s)[half:]])
    found = clear_periods(time_ms, signal, clear)
    morning = (np.arange(len(clear)) < half - 2700 // step_s) & (clear > 300)
    assert found[morning].mean() > 0.9
    assert found[half + 3600 // step_s :].mean() < 0.1


def test_even_cloud_is_not_taken_for_clear():
    time_ms, clear = day(60)
    signal = np.where(np.arange(720) < 360, clear, 0.5 * clear)
    found = clear_periods(time_ms, signal, clear)
    assert found[150:300].all()
    assert not found[420:].any()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0, 0.9))
def test_missing_rows_are_never_clear(seed, share):
    rng = np.random.default_rng(seed)
    time_ms, clear = day(300)
    signal = clear.copy()
    signal[rng.random(len(signal)) < share] = np.nan
    assert not clear_periods(time_ms, signal, clear)[np.isnan(signal)].any()


def test_nothing_to_see():
    time_ms, clear = day(900)
    assert not clear_periods(time_ms, np.full(len(clear), np.nan), clear).any()
    assert len(clear_periods(time_ms[:0], clear[:0], clear[:0])) == 0


@pytest.mark.parametrize("seed", range(4))
def test_it_mostly_agrees_with_reno_and_hansen(seed):
    """Second route: pvlib's detector (Reno and Hansen 2016, with its own rescaling) on a day half clear, half cloudy."""
    rng = np.random.default_rng(seed)
    time_ms, clear = day(60)
    signal = np.where(np.arange(720) < 360, 0.95 * clear, clouded(clear, rng, 60))
    times = pd.to_datetime(time_ms, unit="ms", utc=True)
    other = detect_clearsky(pd.Series(signal, times), pd.Series(clear, times), window_length=10)
    ours = clear_periods(time_ms, signal, clear)
    judged = clear > 200
    assert (ours == other.to_numpy())[judged].mean() > 0.85


@pytest.mark.parametrize("step_s", STEP_S)
def test_flicker_about_a_level_line_is_cloud(step_s):
    """Small clouds, quick as the rows: the line through an hour is level, the spread about it is not small."""
    time_ms, clear = day(step_s)
    flicker = clear * np.where(np.arange(len(clear)) % 2 == 0, 1.0, 0.8)
    assert not clear_periods(time_ms, flicker, clear).any()


@pytest.mark.parametrize("step_s", STEP_S)
def test_a_signal_that_drifts_away_from_the_suns_course_is_no_clear_sky(step_s):
    """A front that draws in over hours without a ripple, by a quarter of the sun an hour."""
    time_ms, clear = day(step_s)
    hours = (time_ms - time_ms[0]) / 3_600_000
    drawn_in = clear * np.clip(1.0 - 0.25 * np.clip(hours - 4.0, 0, None), 0.2, 1.0)
    found = clear_periods(time_ms, drawn_in, clear)
    assert found[(hours > 2) & (hours < 3)].all()
    assert not found[(hours > 4.6) & (hours < 6.6)].any()
