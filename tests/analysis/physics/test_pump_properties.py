"""What holds for any pump and any condition: monotone, round trips, energy, scalars as arrays, NaN through."""

import secrets

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from analysis.physics import Reason, fit_curve
from analysis.physics.centrifugal import _possible
from analysis.physics.hydraulic_power import hydraulic_power_w
from analysis.physics.pump_table import EFFICIENCY_MAX

share = st.floats(0.0, 1.0)
EASY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def head_at(pump, part):
    low, high = pump.head_limits_m
    low *= 1.001  # the edge itself may fall either way by rounding
    return low + part * (0.93 * high - low)


def conditions(pump, part, power_part):
    """A head, and a power between where lifting begins and the top at this head."""
    head = head_at(pump, part)
    low = float(pump.lift_power(head))
    top = float(pump.core.power_at_head(pump._x_top(np.asarray(head)), np.asarray(head)))
    return head, low + (0.02 + 0.96 * power_part) * (top - low)


@EASY
@given(share, share)
def test_flow_to_power_and_back(pump, part, power_part):
    head, power = conditions(pump, part, power_part)
    flow = pump.flow_of_power(power, head)
    assert pump.power_of_flow(flow, head) == pytest.approx(power, rel=1e-6)
    speed = pump.speed_of_power(power, head)
    assert pump.flow(speed, head) == pytest.approx(flow, rel=1e-6, abs=1e-9)
    assert pump.speed_of_flow(flow, head) == pytest.approx(speed, rel=1e-6)
    assert pump.power_of_speed(speed, head) == pytest.approx(power, rel=1e-6)


@EASY
@given(share, share)
def test_speed_and_flow_to_head_and_back(pump, part, power_part):
    head, power = conditions(pump, part, power_part)
    speed, flow = pump.speed_of_power(power, head), pump.flow_of_power(power, head)
    # a flat curve gives back a head more surely than a flow
    assert pump.head(speed, flow) == pytest.approx(head, rel=2e-4)
    assert pump.power(speed, flow) == pytest.approx(power, rel=2e-3)


@EASY
@given(share, share)
def test_energy_is_never_created(pump, part, power_part):
    head, power = conditions(pump, part, power_part)
    assert hydraulic_power_w(pump.flow_of_power(power, head), head) < power


@EASY
@given(share)
def test_more_power_or_speed_never_lifts_less(pump, part):
    head = head_at(pump, part)
    flow = pump.flow_of_power(np.linspace(0, 1.3 * pump.power_max_w, 80), head)
    assert (np.diff(flow[~np.isnan(flow)]) >= -1e-9).all()
    flow = pump.flow(np.linspace(0, 1.1 * pump.core.reference_rpm, 80), head)
    assert (np.diff(flow[~np.isnan(flow)]) >= -1e-9).all()


@EASY
@given(share)
def test_more_head_never_gives_more(pump, part):
    heads = np.linspace(*pump.head_limits_m, 80)
    flow = pump.flow((0.3 + 0.7 * part) * pump.core.reference_rpm, heads)
    assert (np.diff(flow[~np.isnan(flow)]) <= 1e-9).all()
    flow = pump.flow_of_power((0.2 + 0.8 * part) * pump.power_max_w, heads)
    assert (np.diff(flow[~np.isnan(flow)]) <= 1e-3 * pump.flow_max_m3_h).all()


@EASY
@given(share, share, st.floats(0.0, 0.5))
def test_wear_takes_flow_and_asks_for_power(pump, part, power_part, wear):
    head, power = conditions(pump, part, power_part)
    healthy, worn = pump.flow_of_power(power, head), pump.flow_of_power(power, head, wear)
    assert worn <= healthy
    flow = 0.5 * healthy
    needs = pump.power_of_flow(flow, head, wear)
    assert np.isnan(needs) or needs >= pump.power_of_flow(flow, head) * (1 - 1e-9)


METHODS = {
    "flow": ("speed", "head"), "power_of_speed": ("speed", "head"), "head": ("speed", "flow"), "power": ("speed", "flow"),
    "flow_of_power": ("power", "head"), "power_of_flow": ("flow", "head"),
}  # fmt: skip


def inputs(pump, names, rng, count):
    scale = {"speed": 1.1 * pump.core.reference_rpm, "head": pump.head_limits_m[1], "flow": 1.1 * pump.flow_max_m3_h}
    scale["power"] = 1.2 * pump.power_max_w
    return [rng.uniform(0, scale[name], count) for name in names]


@pytest.mark.parametrize("method", METHODS)
def test_scalars_and_arrays_agree_and_nan_passes_through(pump, method):
    one, two = inputs(pump, METHODS[method], np.random.default_rng(1), 40)
    one[3], two[5] = np.nan, np.nan
    whole = getattr(pump, method)(one, two)
    single = np.array([getattr(pump, method)(float(a), float(b)) for a, b in zip(one, two, strict=True)])
    np.testing.assert_array_equal(whole, single)
    assert np.isnan(whole[[3, 5]]).all()
    square = getattr(pump, method)(one.reshape(8, 5), two.reshape(8, 5))
    np.testing.assert_array_equal(square.ravel(), whole)


@pytest.mark.parametrize("method", METHODS)
def test_every_nan_has_a_reason_and_every_value_an_uncertainty(pump, method):
    one, two = inputs(pump, METHODS[method], np.random.default_rng(2), 400)
    one[:5], two[5:10], one[10:15] = np.nan, np.nan, -1.0
    answer = pump.answer(method, one, two)
    np.testing.assert_array_equal(np.isnan(answer.value), answer.reason > Reason.NOT_LIFTING)
    assert (answer.reason[:10] == Reason.MISSING).all()
    assert (answer.reason[10:15] == Reason.IMPOSSIBLE).all()
    known = ~np.isnan(answer.value)
    assert (answer.std[known] > 0).all()
    assert np.isnan(answer.std[~known]).all()
    assert {Reason(code) for code in np.unique(answer.reason)}


def test_reasons_say_where_the_table_ends(helical, centrifugal):
    low, high = helical.head_limits_m
    assert helical.answer("flow", 2000, high + 1).reason == Reason.HEAD_OUTSIDE
    assert helical.answer("flow", 2000, low - 1).reason == Reason.HEAD_OUTSIDE
    assert helical.answer("flow", 4000, 50).reason == Reason.TOO_FAST
    assert helical.answer("flow_of_power", 9000, 50).reason == Reason.TOO_STRONG
    assert helical.answer("flow", 20, 50).reason == Reason.NOT_LIFTING
    assert helical.flow(20, 50) == 0
    shut_off = float(centrifugal.head(2900, 0))
    assert centrifugal.answer("flow", 1450, 0.5 * shut_off).reason == Reason.NOT_LIFTING
    assert centrifugal.answer("power_of_flow", 1.0, 2 * shut_off).reason == Reason.BEYOND_SHUT_OFF
    assert centrifugal.answer("head", 2900, 3 * centrifugal.flow_max_m3_h).reason == Reason.BEYOND_RUN_OUT
    assert centrifugal.answer("flow_of_power", 10 * centrifugal.power_max_w, 0.6 * shut_off).reason == Reason.TOO_STRONG


def test_an_unknown_question_is_refused(helical):
    with pytest.raises(ValueError, match="method must be one of flow, flow_of_power"):
        helical.answer("flow_of_magic", 1, 2)


def test_uncertainty_grows_away_from_the_rows(helical):
    near, far = helical.answer("flow", 900, 50), helical.answer("flow", 400, 50)
    assert far.fit_std > near.fit_std


@EASY
@given(
    st.floats(0.3, 20), st.floats(20, 250), st.floats(0.02, 0.25), st.floats(0.35, 0.75), st.integers(2, 4),
    st.integers(2, 4),
)  # fmt: skip
def test_any_helical_table_gives_a_physical_pump(displacement, top, slip, efficiency, heads, speeds):
    head, x = (v.ravel() for v in np.meshgrid(np.linspace(0.4, 1, heads) * top, np.linspace(0.35, 1, speeds)))
    flow = np.round(displacement * (x - slip * head / top), 2)
    power = np.round(displacement * top * 2.72 / efficiency * x * (0.15 + head / top)) + 1
    if heads * speeds < 3 or not flow.max() > 0:
        return
    model = fit_curve({"head_m": head, "flow_m3_h": flow, "power_w": power, "speed_rpm": 3000 * x}, "helical-rotor")
    grid = model.flow(np.linspace(0, 3300, 40)[:, None], np.linspace(*model.head_limits_m, 30))
    assert (np.diff(grid, axis=0) >= -1e-9).all()
    assert (np.diff(grid, axis=1) <= 1e-9).all()
    assert np.abs(model.flow(3000 * x, head) - flow).max() < 0.03 * flow.max() + 0.02


def test_slip_factor_and_wear_are_the_same_thing(helical, centrifugal):
    for factor in (1.0, 1.5, 3.0):
        wear = helical.wear_of_slip_factor(factor, 50.0)
        by_wear, by_slip = helical.flow(2900, 50, wear), helical.core.flow(1.0, 50.0, factor)
        assert by_wear == pytest.approx(by_slip, rel=1e-9)
    with pytest.raises(ValueError, match="only a helical rotor has slip"):
        centrifugal.wear_of_slip_factor(1.5, 50.0)


def test_a_helical_rotor_needs_torque_to_start_and_more_the_higher(helical, centrifugal):
    """Start torque lies above running torque at full speed for a helical rotor, far below for a centrifugal pump."""
    low, high = helical.breakaway_torque_n_m([40.0, 60.0])
    assert helical.torque_n_m(1500, 40) < low < high
    head = 0.5 * centrifugal.head_limits_m[1]
    assert 0 <= centrifugal.breakaway_torque_n_m(head) < 0.3 * centrifugal.torque_n_m(2900, head)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 10_000), st.sampled_from([(2900,), (2200, 2900), (1450, 2300, 2900)]), st.booleans())
@example(10, (2900,), False)  # tables that begin far above shut-off: what lies below is a guess that dipped
@example(28, (2900,), False)
@example(5554, (2900,), True)  # a drawn pump that makes energy
@example(34, (2900,), False)
@example(504, (2900,), False)  # so few rows, or so far apart, that power between them dipped to nothing
@example(60159, (2900,), False)
@example(60279, (1450, 2300, 2900), True)
@example(60254, (2200, 2900), True)
@example(50014, (1450, 2300, 2900), True)
def test_any_centrifugal_table_gives_a_physical_pump(bench, seed, speeds, with_speed):
    """Noisy, uneven tables of one to three speeds, with and without the speed column."""
    must_be_physical(bench, seed, speeds, with_speed)


def test_and_a_hundred_more_of_the_tables_that_say_least(bench):
    """One speed, a handful of rows: where a curve is freest to dip between them. A fresh start each run, printed on failure."""
    start = secrets.randbelow(2**31)
    for seed in range(start, start + 100):
        must_be_physical(bench, seed, (2900,), bool(seed % 2))


def must_be_physical(bench, seed, speeds, with_speed):
    draw, as_curve = bench
    rng = np.random.default_rng(seed)
    measured, _ = draw(rng).rows(rng, speeds, 5, 0.01)
    rows = as_curve(measured)
    if len(measured) < 3 or len(np.unique(rows["head_m"])) < 2 or not rows["flow_m3_h"].max() > 0:
        return
    if not with_speed:
        rows.pop("speed_rpm")
    if (hydraulic_power_w(rows["flow_m3_h"], rows["head_m"]) > EFFICIENCY_MAX * rows["power_w"]).any():
        with pytest.raises(ValueError, match="no pump does that"):  # one draw in seven thousand makes energy
            fit_curve(rows, "multistage-centrifugal")
        return
    model = fit_curve(rows, "multistage-centrifugal")
    power, head = np.meshgrid(
        np.linspace(0, 1.2, 40) * model.power_max_w, np.linspace(*model.head_limits_m, 30), indexing="ij"
    )
    answer = model.answer("flow_of_power", power, head)
    flow = answer.value
    assert (np.nan_to_num(np.diff(flow, axis=0)) >= -1e-9).all(), f"seed {seed}: more power, less water"
    # the reverse may be gently untrue where a table's noise makes a drooping power curve
    assert (np.nan_to_num(np.diff(flow, axis=1)) <= 0.02 * model.flow_max_m3_h).all(), (
        f"seed {seed}: more head, more water"
    )
    known = ~np.isnan(flow)
    assert (hydraulic_power_w(flow, head)[known] <= 0.96 * power[known]).all(), f"seed {seed}: energy created"
    assert (flow[answer.reason == Reason.NOT_LIFTING] == 0).all(), f"seed {seed}: lifts, and is said not to"


def test_no_curve_however_wild_leaves_the_fold_impossible():
    """Curves of power with gaps at 0 and humps, on falling heads of every shape: what the fold makes of them holds."""
    rng = np.random.default_rng(7)
    share = np.linspace(0, 1, 400) ** 2
    for _ in range(300):
        q, f = 20 * share, 80 * (1 - rng.uniform(0.3, 0.98) * share ** rng.uniform(0.7, 3))
        wild = 4000 * np.interp(share, np.linspace(0, 1, 9), rng.uniform(0, 1, 9) * (rng.random(9) < 0.6))
        by_head, by_flow = rng.uniform(1.2, 1.8), rng.uniform(2.6, 3.4)
        g = _possible(q, f, wild, by_head, by_flow)
        assert (g >= hydraulic_power_w(q, f) / EFFICIENCY_MAX * (1 - 1e-12)).all()
        assert (np.diff(g / f**by_head) >= -1e-9 * (g / f**by_head).max()).all()
        per_flow = g[1:] / q[1:] ** by_flow
        assert (np.diff(per_flow) <= 1e-9 * per_flow[:-1]).all()
        np.testing.assert_allclose(_possible(q, f, g, by_head, by_flow), g, rtol=1e-9)


def test_a_possible_curve_is_left_alone():
    q = 20 * np.linspace(0, 1, 400) ** 2
    f, g = 80 - 0.12 * q**2, 1500 + 200 * q - 3 * q**2
    np.testing.assert_allclose(_possible(q, f, g, 1.5, 3.0), g, rtol=1e-12)


def test_rows_at_no_head_and_no_flow_are_welcome():
    """Run-out and shut-off rows as a bench gives them."""
    flow = np.array([0.0, 0, 3, 6, 9, 10, 5, 3])
    rows = {
        "flow_m3_h": flow,
        "head_m": np.array([50.0, 50, 46.5, 34.5, 14.5, 0.0, 0.0, 8.5]),
        "power_w": [610, 600, 840, 1000, 1060, 1050, 170, 165],
        "speed_rpm": [2900, 2900, 2900, 2900, 2900, 2900, 1450, 1450],
    }
    model = fit_curve(rows, "multistage-centrifugal")
    assert model.head([2900, 2900, 1450], [0, 6, 3]) == pytest.approx([50, 34.5, 8.5], rel=0.04)
    assert model.head_limits_m[0] == 0
    assert np.isfinite(model.lookup().flow_of_power(800, 30)).all()
    speedless = fit_curve({name: rows[name] for name in ("flow_m3_h", "head_m", "power_w")}, "multistage-centrifugal")
    assert speedless.flow_of_power(1000, 34.5) == pytest.approx(6, rel=0.05)
