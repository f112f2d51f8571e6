"""What holds for any well, and tests fitted back to the wells that made them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from analysis.physics.well_drawdown import (
    cooper_jacob_drawdown_m,
    step_drawdown_m,
    theis_drawdown_m,
    variable_rate_drawdown_m,
    well_function,
)
from analysis.physics.well_test import (
    fit_cooper_jacob,
    fit_eden_hazel,
    fit_hantush_bierschenk,
    fit_theis,
    thiem_transmissivity_m2_d,
    well_efficiency,
)

positive = st.floats(1e-3, 1e3)


@given(st.floats(1e-8, 20))
def test_well_function_is_the_integral(u):
    """SciPy's quadrature of exp(-x)/x from u on, not the special function that the code calls."""
    value, _ = quad(lambda t: np.exp(-np.exp(t)), np.log(u), np.log(800), epsabs=0, epsrel=1e-10, limit=200)
    assert well_function(u) == pytest.approx(value, rel=1e-6)


@given(positive, st.floats(1, 1e4), st.floats(1e-6, 0.3), st.floats(0.05, 500))
def test_drawdown_grows_with_time_and_falls_with_distance(time, transmissivity, storativity, radius):
    near, later = theis_drawdown_m([time, 2 * time], 100.0, transmissivity, storativity, radius)
    far = theis_drawdown_m(time, 100.0, transmissivity, storativity, 2 * radius)
    assert far <= near <= later


def test_rest_recovers_and_one_rate_is_theis():
    times = np.array([0.1, 0.5, 2.0, 10.0])
    one = variable_rate_drawdown_m(times, [0.0], [40.0], 50.0, 2e-3, 0.1)
    assert one == pytest.approx(theis_drawdown_m(times, 40.0, 50.0, 2e-3, 0.1))
    rest = variable_rate_drawdown_m(times, [0.0, 0.4], [40.0, 0.0], 50.0, 2e-3, 0.1)
    assert (rest[1:] < one[1:]).all()
    assert (np.diff(rest[1:]) < 0).all()


@given(st.floats(0, 100), st.floats(0, 100), st.floats(0, 10))
def test_step_drawdown_rises(flow, linear, quadratic):
    low, high = step_drawdown_m([flow, flow + 1], linear, quadratic)
    assert 0 <= low <= high
    assert step_drawdown_m(-flow, linear, quadratic) == 0


def test_fits_find_the_well_that_made_the_readings():
    time = np.geomspace(1e-3, 2, 60)
    drawn = theis_drawdown_m(time, 300.0, 80.0, 3e-4, 25.0)
    theis = fit_theis(time, drawn, 300.0, 25.0)
    assert (theis.transmissivity_m2_d, theis.storativity) == (
        pytest.approx(80, rel=1e-5),
        pytest.approx(3e-4, rel=1e-4),
    )
    late = fit_cooper_jacob(time, drawn, 300.0, 25.0, (0.2, 2.0))
    assert late.transmissivity_m2_d == pytest.approx(80, rel=0.01)
    rates = np.array([100.0, 200, 300, 400])
    steps = fit_hantush_bierschenk(rates, step_drawdown_m(rates, 0.02, 1e-5))
    assert (steps.linear_d_m2, steps.quadratic_d2_m5) == (pytest.approx(0.02), pytest.approx(1e-5))


def test_eden_hazel_finds_the_well_that_made_a_step_test():
    """Theis by superposition plus C Q^2, early readings left out; readings in disorder and with a gap."""
    rates, starts = np.array([100.0, 200, 300]), np.array([0.0, 0.125, 0.25])
    time = np.random.default_rng(0).permutation(np.linspace(0.001, 0.375, 300))
    rate = rates[np.searchsorted(starts, time, side="left") - 1]
    drawn = variable_rate_drawdown_m(time, starts, rates, 80.0, 3e-4, 0.1) + 2e-5 * rate**2
    drawn[10] = np.nan
    fit = fit_eden_hazel(time, drawn, starts, rates)
    assert fit.transmissivity_m2_d == pytest.approx(80, rel=0.01)
    assert fit.quadratic_d2_m5 == pytest.approx(2e-5, rel=0.01)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: step_drawdown_m(1, -1, 0), "must be 0 or more, got -1 and 0"),
        (lambda: theis_drawdown_m(1, 1, 0, 0.1, 1), "transmissivity_m2_d must be above 0"),
        (lambda: theis_drawdown_m(1, 1, np.inf, 0.1, 1), "transmissivity_m2_d must be above 0 and finite"),
        (lambda: theis_drawdown_m(1, 1, 1, 0.1, np.inf), "radius_m must be above 0 and finite"),
        (lambda: theis_drawdown_m(1, 1, 1, 20, 1), "is it a percentage"),
        (lambda: cooper_jacob_drawdown_m(1, 1, 1, 0.1, 0), "radius_m must be above 0"),
        (lambda: variable_rate_drawdown_m(1, [0, 0], [1, 2], 1, 0.1, 1), "start_d must rise"),
        (lambda: fit_theis([1, 2], [1, 2], 1, 1), "needs 3 readings"),
        (lambda: fit_cooper_jacob([1, 2], [1, 2], 1, 1, (5, 6)), "holds 0 readings"),
        (lambda: fit_hantush_bierschenk([1, 2], [1, 2]), "needs 3 steps"),
        (lambda: fit_eden_hazel([1, 2], [1, 2], [0], [1]), "needs 4 readings"),
        (lambda: fit_eden_hazel([1, 2], [1, 2], [0, 0], [1, 2]), "start_d must rise"),
        (lambda: thiem_transmissivity_m2_d(1, 30, 1, 20, 2), "far_m must be above near_m"),
        (lambda: well_efficiency(1, 0, 0), "linear must be above 0"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
