"""Uncertainty: propagation on functions whose answer is known, sensor classes, tolerances; and that the 95 % bands hold."""

import importlib.util
import secrets
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.factors import HEALTHY, NAMES, Factors
from analysis.physics.pump_tolerance import GRADES, tolerance
from analysis.rows import Rows
from analysis.uncertainty import SENSOR_STD, head_share, prior, propagate, sensor_std, tolerances
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


def test_an_impellers_own_head_is_in_its_flow_at_a_speed(centrifugal, facts):
    """ISO 9906's ellipse (from memory): at a speed and head the flow may be off by the tolerance of flow, and by that of head times the slope,
    which near shut-off is nearly all."""
    assert head_share(centrifugal.facts) == pytest.approx(0.08 / 0.10)
    assert head_share(facts) == 0.0, "a rotor's flow hardly asks for the head"
    power, speed = np.array([700.0, 1100.0, 1500.0]), np.array([2250.0, 2500.0, 2900.0])
    noon = np.full(3, 1_762_941_600_000)
    seen = centrifugal.expect(Rows(noon, {"motor_speed_rpm": speed, "input_power_w": power}))
    by_head = 0.08 / 2 * seen.head_m * np.abs(centrifugal.slopes(power)[3])
    assert (seen.flow_at_speed_m3_h_std > np.hypot(by_head, 0.05 * seen.flow_at_speed_m3_h)).all()
    assert by_head[0] > 4 * 0.05 * seen.flow_at_speed_m3_h[0]
    assert by_head[2] < 0.05 * seen.flow_at_speed_m3_h[2]


def test_factors_as_vector_and_back():
    there = HEALTHY.vector() + 0.1
    back = Factors().with_vector(there, np.eye(len(NAMES)))
    assert back.vector() == pytest.approx(there)
    assert back.std("meter") == 1.0
    assert np.isnan(HEALTHY.std("meter"))
    with pytest.raises(KeyError):
        HEALTHY.std("mood")


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("bench_coverage", BENCH)
    module = importlib.util.module_from_spec(spec)
    sys.modules["bench_coverage"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["bench_coverage"]


def test_bands_of_95_percent_hold_on_drawn_healthy_sites(bench):
    """The goal is 0.93 to 0.97. A fresh seed each run, printed on failure: the share found may lie outside the goal by three of its
    own standard errors, which a share at the goal's very edge does once in 700 runs, and those errors must be small enough to tell."""
    seed = secrets.randbelow(2**31)
    for name, found in bench.coverage(700, seed).items():
        assert found.error < 0.012, f"{name}: {found}, seed {seed}"
        assert not found.missed, f"{name}: {found}, seed {seed}"


def test_and_on_plants_that_share_no_code(bench):
    """Two plants at each of the samples' sites, the whole of the tolerances drawn; the same goal and margin, which for 22 plants is wide.
    So the root mean square of the plants' middle misses, in stated standard uncertainties, is held to 1 by three standard errors too."""
    seed = secrets.randbelow(2**31)
    for name, (found, _, miss) in bench.of_samples(seed, each=2, days=2, step_s=900).items():
        assert not found.missed, f"{name}: {found}, seed {seed}"
        assert miss.root < 1.0 + 3.0 / np.sqrt(2 * 20), f"{name}: {miss}, seed {seed}"


def test_what_all_those_plants_have_in_common_is_small(bench):
    """A band off centre can hold its share by being wide. Plants drawn tighter than the tolerances, so that what is left in the middle shows:
    held to where a band of 95 % would fall out of the goal, by three standard errors."""
    seed = secrets.randbelow(2**31)
    for name, (_, ratio, miss) in bench.of_samples(seed, each=3, whole=False, days=1, step_s=900).items():
        assert miss.error < 0.25, f"{name}: {miss}, seed {seed}"
        assert not miss.biased, f"{name}: {ratio:.3f}, {miss}, seed {seed}"


def test_the_error_of_a_share_is_that_of_plants_drawn_anew(bench):
    rng = np.random.default_rng(2)
    shares, errors = [], []
    for _ in range(400):
        rows = rng.integers(10, 40, 60)
        good = np.where(rng.random(60) < 0.9, rows, 0)  # each plant stands or falls as a whole
        found = bench.share_of(list(good), list(rows))
        shares.append(found.share)
        errors.append(found.error)
    assert np.mean(errors) == pytest.approx(np.std(shares), rel=0.1)
    assert bench.Share(0.90, 0.005).missed
    assert not bench.Share(0.90, 0.011).missed
    assert bench.Share(0.99, 0.005).missed


def test_whatever_lies_outside_the_goal_is_printed_so(bench):
    assert str(bench.Share(0.893, 0.016)).endswith("outside")
    assert str(bench.Share(0.893, 0.005)).endswith("outside, MISSED")
    assert "outside" in str(bench.Share(0.979, 0.015))
    assert str(bench.Share(0.95, 0.011)) == "0.950 +- 0.011"
    assert "BIASED" in str(bench.miss_of([0.9, 0.8, 1.0, 0.9]))
    assert str(bench.miss_of([0.5, -0.4, 0.9, 0.1])).endswith("open"), "four plants so far apart say neither"
    assert str(bench.miss_of([0.05, -0.04, 0.02, -0.01])).endswith("within")
