"""The installation's curve, where the pump meets it, and how that point answers to faults."""

import numpy as np
import pytest

from analysis.physics import OperatingPoint, SystemCurve, fit_curve
from analysis.physics.operating_point import operating_table, solve_flow
from analysis.physics.pipe_friction import friction_head_m, minor_head_m
from analysis.physics.sensitivities import at_power, at_speed
from analysis.physics.water import kinematic_viscosity_m2_s


def curve(pump, **rest):
    """An installation that fits the pump: resting level at 0.3 of its head range, with drawdown and friction."""
    high, flow = pump.head_limits_m[1], pump.flow_max_m3_h
    facts = {
        "static_level_m": 0.45 * high, "drawdown_linear": 0.08 * high / flow, "drawdown_quadratic": 0.01 * high / flow**2,
        "riser_length_m": 80, "riser_diameter_m": 0.04 * np.sqrt(flow / 5), "pipe_length_m": 120,
        "pipe_diameter_m": 0.05 * np.sqrt(flow / 5), "roughness_m": 1e-5, "minor_loss_coefficient": 6.0,
        "outlet_height_m": 0.05 * high, "setting_depth_m": 0.9 * high,
    } | rest  # fmt: skip
    return SystemCurve(**facts)


@pytest.fixture
def system(pump):
    return curve(pump)


def powers(pump, count=4000, top=1.1):
    return np.random.default_rng(7).uniform(0, top * pump.power_max_w, count)


def test_head_is_the_sum_of_its_parts(helical):
    own = curve(helical)
    nu = float(kinematic_viscosity_m2_s(20.0))
    riser = friction_head_m(3.0, 80, own.riser_diameter_m, 1e-5, nu)
    pipe = friction_head_m(3.0, 120, own.pipe_diameter_m, 1e-5, nu) + minor_head_m(3.0, 6.0, own.pipe_diameter_m)
    drawn = own.drawdown_linear * 3 + own.drawdown_quadratic * 9
    assert own.head_m(3.0) == pytest.approx(own.static_level_m + drawn + riser + pipe + own.outlet_height_m)
    assert own.head_m(0.0) == pytest.approx(own.static_level_m + own.outlet_height_m)
    assert own.head_m(3.0, friction_factor=2.0) - own.head_m(3.0) == pytest.approx(riser + pipe)
    assert own.head_m(3.0, extra_lift_m=4.0) - own.head_m(3.0) == pytest.approx(4.0)


def test_what_is_measured_replaces_what_is_computed_row_by_row(helical):
    own = curve(helical)
    got = own.head_m([3.0, 3.0, 3.0], level_m=[50.0, np.nan, 50.0], pressure_bar=[np.nan, 1.0, 1.0])
    riser = float(own.riser_loss_m(3.0))
    assert got[0] == pytest.approx(50 + riser + own.outlet_height_m + own.pipe_loss_m(3.0))
    assert got[1] == pytest.approx(own.level_m(3.0) + riser + 10.215, rel=1e-4), "1 bar is 10.215 m of water at 20 degC"
    assert got[2] == pytest.approx(50 + riser + 10.215, rel=1e-4)


def test_submergence_and_resting_level(helical):
    own = curve(helical)
    assert own.submergence_m(0.0) == pytest.approx(own.setting_depth_m - own.static_level_m)
    assert own.submergence_m(5.0) < own.submergence_m(1.0)
    assert own.submergence_m(1.0, own.setting_depth_m + 1) == pytest.approx(-1)
    assert own.resting_level_m(own.level_m(3.0), 3.0) == pytest.approx(own.static_level_m)


def test_slope_is_the_curves_slope(helical):
    own = curve(helical)
    flow = np.array([0.5, 2.0, 5.0])
    assert own.slope_m_per_m3_h(flow) == pytest.approx(
        (own.head_m(flow + 0.01) - own.head_m(flow - 0.01)) / 0.02, rel=0.01
    )
    assert (np.diff(own.head_m(np.linspace(0, 10, 200))) > 0).all()


@pytest.mark.parametrize(
    ("facts", "words"),
    [({"riser_diameter_m": 40.0}, "is it in mm?"), ({"drawdown_linear": -1.0}, "linear_m_per_m3_h"),
     ({"roughness_m": 0.02}, "roughness_ratio"), ({"pipe_length_m": -5.0}, "length_m")],
)  # fmt: skip
def test_a_wrong_fact_is_refused_by_name(helical, facts, words):
    with pytest.raises(ValueError, match=words.replace("?", r"\?")):
        curve(helical, **facts)


def test_the_tabulated_point_agrees_with_the_exact_solution(pump, system):
    power = powers(pump)
    exact, table = solve_flow(pump, power, system.head_m), OperatingPoint(pump, system).flow_of_power(power)
    assert (np.isnan(exact) != np.isnan(table)).mean() < 2e-3, "validity may only differ within a cell of its edge"
    error = np.abs(exact - table)
    error = error[~np.isnan(error)] / pump.flow_max_m3_h
    print(pump.kind, f"largest error {error.max():.1e} of the largest flow")
    assert error.max() < 0.002
    assert (exact == 0).any()
    assert np.nanmax(exact) > 0.5 * pump.flow_max_m3_h


def test_the_point_lies_on_both_curves(pump, system):
    point = OperatingPoint(pump, system)
    flow = point.flow_of_power(powers(pump))
    lifting = flow > 0.05 * pump.flow_max_m3_h
    need = pump.power_of_flow(flow[lifting], point.head_m(flow[lifting]))
    np.testing.assert_allclose(need, powers(pump)[lifting], rtol=3e-3)


@pytest.mark.parametrize("known", [(True, False), (False, True), (True, True)])
def test_the_point_with_measured_level_or_pressure(pump, system, known):
    rng, power = np.random.default_rng(8), powers(pump, 1500, 0.8)
    level = system.static_level_m * rng.uniform(0.9, 1.1, 1500) if known[0] else None
    pressure = rng.uniform(0.2, 1.0, 1500) * system.outlet_height_m / 10 if known[1] else None
    if known == (True, True):
        level[::3] = np.nan
        pressure[::5] = np.nan
    exact = solve_flow(pump, power, lambda flow: system.head_m(flow, level, pressure))
    table = OperatingPoint(pump, system).flow_of_power(power, level, pressure)
    both = ~np.isnan(exact) & ~np.isnan(table)
    assert both.mean() > 0.95
    assert np.abs(exact - table)[both].max() < 0.002 * pump.flow_max_m3_h


def test_the_point_at_speed(pump, system):
    speed = np.linspace(0.3, 1.0, 30) * pump.core.reference_rpm
    point = OperatingPoint(pump, system)
    flow = point.flow_of_speed(speed)
    lifting = flow > 0.05 * pump.flow_max_m3_h
    assert lifting.sum() > 5
    np.testing.assert_allclose(pump.flow(speed, point.head_m(flow))[lifting], flow[lifting], rtol=0.01)
    assert (np.diff(flow) >= 0).all()


def test_a_lower_level_gives_less(pump, system):
    point = OperatingPoint(pump, system)
    power = 0.8 * pump.power_max_w
    assert point.flow_of_power(power, extra_lift_m=5.0) < point.flow_of_power(power)
    assert np.isnan(point.flow_of_power(np.nan)).all()


def test_questions_that_make_no_sense_are_refused():
    rows = {"head_m": [30, 30, 50], "power_w": [420, 900, 800], "flow_m3_h": [1.9, 4.4, 2.4]}
    speedless = fit_curve(rows, "helical-rotor")
    with pytest.raises(ValueError, match="no speed_rpm; ask with drive='power'"):
        OperatingPoint(speedless, curve(speedless)).flow_of_speed(2000)
    with pytest.raises(ValueError, match="drive must be 'power' or 'speed'"):
        operating_table(speedless, lambda q: 0 * q, "current")


STEPS = {"wear": 0.01, "lift_m": 0.2, "friction": 0.1, "leak": 0.01}


def disturbed(pump, system, power, name, size):
    """Delivered flow with one thing wrong, solved exactly."""
    if name == "wear":
        return solve_flow(pump, power, system.head_m, size)
    if name == "lift_m":
        return solve_flow(pump, power, lambda q: system.head_m(q, extra_lift_m=size))
    if name == "friction":
        return solve_flow(pump, power, lambda q: system.head_m(q, friction_factor=1 + size))
    lost = 1 - size
    head = lambda q: system.level_m(q) + system.riser_loss_m(q) + system.outlet_height_m + system.pipe_loss_m(lost * q)  # noqa: E731
    return lost * solve_flow(pump, power, head)


@pytest.mark.parametrize("name", STEPS)
def test_sensitivities_at_power_are_the_exact_solutions_slopes(pump, system, name):
    power = pump.power_max_w * np.array([0.7, 0.85, 0.95])
    healthy = solve_flow(pump, power, system.head_m)
    step = STEPS[name]
    slope = (disturbed(pump, system, power, name, step) - healthy) / step
    got = getattr(at_power(pump.lookup(), system, power, healthy), f"flow_{name}")
    np.testing.assert_allclose(got, slope, rtol=0.08, atol=2e-4 * pump.flow_max_m3_h)
    assert (got < 0).all()


@pytest.mark.parametrize("name", STEPS)
def test_sensitivities_at_speed(pump, system, name):
    """Flow and power at one speed, against the pump asked at the disturbed point."""
    speed = pump.core.reference_rpm * np.array([0.85, 0.95])
    healthy = OperatingPoint(pump, system).flow_of_speed(speed)
    got = at_speed(pump.lookup(), system, speed, healthy)
    step, flow = STEPS[name], healthy.copy()
    for _ in range(200):  # fixed point with damping: pump at speed against the disturbed installation
        lost = step if name == "leak" else 0.0
        head = system.head_m(
            flow, friction_factor=1 + step * (name == "friction"), extra_lift_m=step * (name == "lift_m")
        ) - (system.pipe_loss_m(flow) - system.pipe_loss_m((1 - lost) * flow))
        flow = 0.8 * flow + 0.2 * pump.flow(speed, head, step * (name == "wear"))
    delivered = (1 - lost) * flow
    scale = pump.flow_max_m3_h
    np.testing.assert_allclose(getattr(got, f"flow_{name}"), (delivered - healthy) / step, rtol=0.12, atol=2e-3 * scale)
    change = (pump.power_of_speed(speed, head) - pump.power_of_speed(speed, system.head_m(healthy))) / step
    np.testing.assert_allclose(getattr(got, f"power_{name}"), change, rtol=0.15, atol=5e-3 * pump.power_max_w)
