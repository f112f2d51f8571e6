"""Water and pipes against independent libraries, and what holds for any pipe."""

import CoolProp.CoolProp as coolprop
import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.physics.hydraulic_power import efficiency, hydraulic_power_w
from analysis.physics.pipe_friction import (
    LAMINAR_REYNOLDS_MAX,
    TURBULENT_REYNOLDS_MIN,
    friction_factor,
    friction_head_m,
    minor_head_m,
    reynolds_number,
    velocity_m_s,
)
from analysis.physics.water import density_kg_m3, kinematic_viscosity_m2_s, vapour_pressure_pa, viscosity_pa_s

SWEEP_C = np.linspace(0.02, 60, 121)


@pytest.mark.parametrize(
    ("own", "letter", "state", "tolerance"),
    [(density_kg_m3, "D", ("P", 101_325), 1e-5), (viscosity_pa_s, "V", ("P", 101_325), 2e-4),
     (vapour_pressure_pa, "P", ("Q", 0), 2e-4)],
)  # fmt: skip
def test_water_against_the_full_equation_of_state(own, letter, state, tolerance):
    """CoolProp: IAPWS-95 and the IAPWS viscosity, not the short formulas used here."""
    expected = coolprop.PropsSI(letter, "T", SWEEP_C + 273.15, *state, "Water")
    np.testing.assert_allclose(own(SWEEP_C), expected, rtol=tolerance)


@pytest.mark.parametrize("own", [density_kg_m3, viscosity_pa_s, kinematic_viscosity_m2_s, vapour_pressure_pa])
def test_water_outside_its_range_is_nan(own):
    got = own([-0.1, 60.1, np.nan, 20.0])
    assert np.isnan(got[:3]).all()
    assert got[3] == own(20.0)


@pytest.mark.filterwarnings(
    "ignore:overflow encountered:RuntimeWarning"
)  # inside fluids, which then solves it otherwise
def test_turbulent_factor_against_another_solver():
    """fluids' exact Colebrook (by the Lambert W function), over the whole Moody chart."""
    for ratio in (0.0, 1e-6, 1e-4, 1e-3, 1e-2, 0.05):
        reynolds = np.geomspace(TURBULENT_REYNOLDS_MIN, 1e8, 40)
        expected = [fluids.friction.Colebrook(re, ratio) for re in reynolds]
        np.testing.assert_allclose(friction_factor(reynolds, ratio), expected, rtol=1e-7)


def test_whole_range_against_churchill():
    """S. W. Churchill, Chem. Eng. 84(24), 91-92, 1977, one formula for all regimes: another view of the same data."""
    for ratio in (0.0, 1e-4, 1e-3, 1e-2):
        reynolds = np.concatenate([np.geomspace(10, 2000, 20), np.geomspace(4500, 1e8, 40)])
        expected = [fluids.friction.Churchill_1977(re, ratio) for re in reynolds]
        np.testing.assert_allclose(friction_factor(reynolds, ratio), expected, rtol=0.045)


@pytest.mark.parametrize("ratio", [0.0, 1e-4, 1e-3, 1e-2, 0.05])
def test_factor_has_no_step_and_no_kink_between_the_regimes(ratio):
    """Value and slope of ln f over ln Re agree on both sides of both limits."""
    for limit in (LAMINAR_REYNOLDS_MAX, TURBULENT_REYNOLDS_MIN):
        steps = limit * (1 + 1e-4 * np.array([-2, -1, -1e-6, 1e-6, 1, 2]))
        ln_f, ln_re = np.log(friction_factor(steps, ratio)), np.log(steps)
        assert ln_f[2] == pytest.approx(ln_f[3], abs=1e-5)
        before, after = (ln_f[1] - ln_f[0]) / (ln_re[1] - ln_re[0]), (ln_f[5] - ln_f[4]) / (ln_re[5] - ln_re[4])
        assert before == pytest.approx(after, abs=0.01)


@given(st.floats(0.01, 0.5), st.floats(0.0, 0.04), st.floats(1e-3, 500), st.floats(1.001, 3))
def test_more_flow_costs_more_head(diameter, ratio, flow, more):
    low, high = friction_head_m([flow, flow * more], 100, diameter, ratio * diameter)
    assert 0 < low < high
    back = friction_head_m(-flow, 100, diameter, ratio * diameter)
    assert back == pytest.approx(-low)


@given(st.floats(0.1, 50), st.floats(0.02, 0.2))
def test_rougher_longer_narrower_costs_more(flow, diameter):
    plain = friction_head_m(flow, 100, diameter, 1e-5)
    assert friction_head_m(flow, 100, diameter, 1e-3) >= plain
    assert friction_head_m(flow, 200, diameter, 1e-5) == pytest.approx(2 * plain)
    assert friction_head_m(flow, 100, 0.9 * diameter, 1e-5) > plain


def test_head_loss_against_another_library():
    """fluids.dP_from_K with Churchill's factor; 3 m3/h in 40 mm, 60 m."""
    speed = float(velocity_m_s(3.0, 0.04))
    k = fluids.friction.friction_factor(Re=float(reynolds_number(3.0, 0.04, 1.0034e-6)), eD=1.5e-6 / 0.04) * 60 / 0.04
    expected = fluids.dP_from_K(K=k + 2.5, rho=998.207, V=speed) / (998.207 * 9.80665)
    own = friction_head_m(3.0, 60, 0.04, 1.5e-6, 1.0034e-6) + minor_head_m(3.0, 2.5, 0.04)
    assert own == pytest.approx(expected, rel=1e-3)


def test_no_flow_no_loss_and_nan_through():
    got = friction_head_m([0.0, np.nan, 3.0], 60, 0.04, 1e-5)
    assert got[0] == 0
    assert np.isnan(got[1])
    assert friction_head_m(3.0, 60, 0.04, 1e-5) == got[2]
    assert np.isnan(friction_factor([-1.0, np.nan], 0.0)).all()
    assert np.isinf(friction_factor(0.0, 0.0))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: friction_head_m(3, 60, 40, 1e-5), "diameter_m must be above 0 and below 3, got 40; is it in mm?"),
        (lambda: friction_head_m(3, -60, 0.04, 1e-5), "length_m must be 0 or more"),
        (lambda: friction_head_m(3, 60, 0.04, 0.01), "roughness_ratio must be 0 to 0.05"),
        (lambda: friction_factor(1e5, -0.1), "roughness_ratio must be 0 to 0.05, got -0.1"),
        (lambda: reynolds_number(3, 0.04, 1.0), "viscosity_m2_s must be 1e-7 to 1e-3"),
        (lambda: minor_head_m(3, -1, 0.04), "loss_coefficient must be 0 or more"),
    ],
)
def test_slipped_units_are_refused(call, words):
    with pytest.raises(ValueError, match=words.replace("?", r"\?")):
        call()


def test_an_infinite_reynolds_number_has_its_limit():
    assert friction_factor(np.inf, 0.0) == 0.0
    smooth = friction_factor([1e6, 1e12, 1e300, np.inf, np.nan], 0.0)
    assert (np.diff(smooth[:4]) < 0).all()
    assert np.isnan(smooth[4])
    rough = friction_factor([1e12, np.inf], 0.01)
    assert rough[1] == pytest.approx(rough[0], rel=1e-6)


@pytest.mark.parametrize("own", [density_kg_m3, viscosity_pa_s, kinematic_viscosity_m2_s, vapour_pressure_pa])
def test_text_is_no_temperature(own):
    with pytest.raises(TypeError, match="temperature_c must be numbers"):
        own("20")
    assert float(own(20)) == float(own([20.0])[0])


def test_density_in_grams_is_refused():
    for call in (lambda: hydraulic_power_w(5, 60, 1.0), lambda: efficiency(5, 60, 1500, [998.0, 0.998])):
        with pytest.raises(ValueError, match="is it in g/cm3"):
            call()
    assert np.isnan(hydraulic_power_w(5, 60, np.nan)), "a missing density stays missing"
