"""Uncertainty: propagation on functions whose answer is known, sensor classes, tolerances; and that the 95 % bands hold."""

import importlib.util
import secrets
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.factors import HEALTHY, NAMES, Factors
from analysis.physics.pump_tolerance import GRADES, tolerance
from analysis.uncertainty import SENSOR_STD, prior, propagate, sensor_std, tolerances
from logger.record.channels import CHANNELS

BENCH = Path(__file__).parents[2] / "bench" / "bench_coverage.py"


@settings(max_examples=60)
@given(
    st.lists(st.floats(-5, 5), min_size=3, max_size=3),
    st.lists(st.floats(0.01, 2), min_size=3, max_size=3),
    st.floats(-0.9, 0.9),
)
def test_a_linear_function_propagates_exactly(slopes, std, related):
    correlation = np.array([[1, related, 0], [related, 1, 0], [0, 0, 1.0]])
    covariance = correlation * np.outer(std, std)
    value, spread = propagate(lambda x: np.array([np.dot(slopes, x)]), np.ones(3), covariance, np.array(std))
    assert value[0] == pytest.approx(sum(slopes))
    assert spread[0] == pytest.approx(np.sqrt(np.array(slopes) @ covariance @ np.array(slopes)), abs=1e-7)


def test_propagation_agrees_with_monte_carlo_on_a_product():
    """JCGM 101:2008 in its simplest use: second route by drawing."""
    rng = np.random.default_rng(0)
    std = np.array([0.02, 0.03])
    value, spread = propagate(lambda x: np.array([x[0] * x[1] ** 2]), np.array([2.0, 3.0]), np.diag(std**2), std)
    drawn = rng.normal(2.0, 0.02, 200_000) * rng.normal(3.0, 0.03, 200_000) ** 2
    assert value[0] == pytest.approx(18.0)
    assert spread[0] == pytest.approx(drawn.std(), rel=0.01)


def test_sensor_classes_name_known_channels_and_keep_missing():
    assert set(SENSOR_STD) <= set(CHANNELS)
    assert np.isnan(sensor_std("pv_voltage_v", np.nan))
    assert float(sensor_std("irradiance_w_m2", 1000.0)) == pytest.approx(np.hypot(25, 3))
    with pytest.raises(KeyError):
        sensor_std("fault_code", 1.0)


@pytest.mark.parametrize("watts", [0, -5])
def test_a_tolerance_needs_a_power(watts):
    with pytest.raises(ValueError, match="above 0"):
        tolerance(watts)


def test_prior_has_the_tolerances_and_a_season_widens_the_level(facts):
    first = prior(facts)
    assert first.std("flow") == pytest.approx(tolerances(facts)["flow"] / 2)
    assert set(tolerances(facts)) == set(NAMES)
    seasonal = replace(facts, well=replace(facts.well, seasonal_range_m=8.0))
    assert prior(seasonal).std("level_offset_m") > 2 * first.std("level_offset_m")


def test_large_pumps_get_the_grade_of_their_service(facts):
    big = tuple(replace(row, power_w=row.power_w * 20) for row in facts.pump.curve)
    large = replace(facts, pump=replace(facts.pump, curve=big))
    assert tolerances(large)["flow"] == pytest.approx(GRADES["3B"].flow_pct[1] / 100)
    assert tolerances(facts)["flow"] == pytest.approx(0.10), "small pumps: ISO 9906:2012, 4.4.2"


def test_factors_as_vector_and_back():
    there = HEALTHY.vector() + 0.1
    back = Factors().with_vector(there, np.eye(len(NAMES)))
    assert back.vector() == pytest.approx(there)
    assert back.std("meter") == 1.0
    assert np.isnan(HEALTHY.std("meter"))
    with pytest.raises(KeyError):
        HEALTHY.std("mood")


def test_bands_of_95_percent_hold_on_drawn_healthy_sites():
    """A fresh seed each run, printed on failure. 250 sites: one site's rows stand and fall together, so the share found
    scatters by 0.014 about the true one; the limits allow three of that about the goal of 0.93 to 0.97."""
    spec = importlib.util.spec_from_file_location("bench_coverage", BENCH)
    bench = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(bench)
    seed = secrets.randbelow(2**31)
    for name, share in bench.coverage(250, seed).items():
        assert 0.90 < share < 0.99, f"{name}: {share:.3f} within the band, seed {seed}"
