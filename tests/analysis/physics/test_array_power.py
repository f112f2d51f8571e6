"""The array's table against the circuit solved row by row, and the operating point recognised from voltage and current."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.physics.array_power import LIGHT_SHARE, ArrayModel, array_model, solve_maximum
from analysis.physics.cable import dc_drop_v, dc_loop_ohm, resistance_ohm_per_km, three_phase_drop_v, three_phase_loss_w
from analysis.physics.cell_temperature import cell_of_ambient, cell_of_module
from analysis.physics.operating_state import OnCurve, on_curve
from analysis.physics.reason import Reason
from analysis.physics.single_diode import fit_diode
from logger.record.site_facts import Array, Module

MODULES = {
    "170 W": Module(170, 37.4, 4.55, 45.8, 4.82, -0.38, -0.30, 0.05, 45),
    "550 W": Module(550, 41.8, 13.16, 49.9, 13.95, -0.34, -0.25, 0.045, 43),
    "100 W": Module(100, 18.0, 5.56, 22.3, 5.96, -0.43, -0.32, 0.05, 47),
    "rounded": Module(85, 17, 5, 21, 5.4, -0.5, -0.35, 0.06, 47),
}


@pytest.fixture(scope="module", params=list(MODULES))
def array(request) -> ArrayModel:
    facts = Array(
        module=MODULES[request.param],
        modules_in_series=7,
        strings=3,
        tilt_deg=20,
        azimuth_deg=0,
        cable_length_m=30,
        cable_mm2=6,
    )
    return array_model(facts)


def test_table_agrees_with_the_circuit_solved_row_by_row(array):
    rng = np.random.default_rng(0)
    poa, cell = rng.uniform(50, 1400, 4000), rng.uniform(-20, 90, 4000)
    power, voltage, current = array.maximum(poa, cell)
    exact = solve_maximum(array.diode, 7, 3, array.loop_ohm, LIGHT_SHARE * poa, cell)
    assert np.abs(power / exact[0] - 1).max() < 1e-3
    assert np.abs(voltage / exact[1] - 1).max() < 1e-3
    assert np.abs(current / exact[2] - 1).max() < 1e-3


def test_no_light_no_power_and_missing_stays_missing(array):
    power, _, current = array.maximum(np.array([0.0, np.nan, 800.0]), np.array([20.0, 20.0, np.nan]))
    assert power[0] == 0
    assert current[0] == 0
    assert np.isnan(power[1:]).all()


@settings(max_examples=80, deadline=None)
@given(poa=st.floats(60, 1300), more=st.floats(5, 200), cell=st.floats(-10, 70), warmer=st.floats(1, 20))
def test_more_light_more_power_more_heat_less(array, poa, more, cell, warmer):
    base, brighter, hotter = (
        float(array.maximum(np.array([p]), np.array([c]))[0][0])
        for p, c in ((poa, cell), (poa + more, cell), (poa, cell + warmer))
    )
    assert brighter > base
    assert hotter < base


@settings(max_examples=60, deadline=None)
@given(poa=st.floats(100, 1200), cell=st.floats(0, 70), share=st.floats(0.5, 1.12))
def test_current_at_a_voltage_and_the_light_it_tells_are_one_circuit(array, poa, cell, share):
    voltage = share * float(array.maximum(np.array([poa]), np.array([cell]))[1][0])
    current = float(array.current_at(voltage, poa, cell))
    told = float(array.light_of(voltage, current, cell))
    assert np.isnan(told) or told == pytest.approx(poa, rel=1e-6)
    assert voltage * current <= float(array.maximum(np.array([poa]), np.array([cell]))[0][0]) * 1.005


@pytest.mark.parametrize(("share", "state"), [
    (1.0, OnCurve.AT_MAXIMUM), (0.98, OnCurve.AT_MAXIMUM), (1.02, OnCurve.AT_MAXIMUM), (1.07, OnCurve.HELD_BACK), (1.15, OnCurve.HELD_BACK),
    (0.8, OnCurve.STARVED),
])  # fmt: skip
@pytest.mark.parametrize("poa", [250.0, 600.0, 1000.0])
def test_operating_point_is_recognised_without_an_irradiance_sensor(array, share, state, poa):
    voltage = share * float(array.maximum(np.array([poa]), np.array([45.0]))[1][0])
    current = float(array.current_at(voltage, poa, 45.0))
    rated = float(array.maximum(np.array([1000.0]), np.array([25.0]))[2][0])
    found, _, _ = on_curve(array, voltage, current, 45.0, rated)
    assert OnCurve(int(found)) == state


def test_idle_and_unknown_are_told(array):
    found, ratio, _ = on_curve(array, [250.0, np.nan, 200.0], [0.01, 3.0, np.nan], 30.0, 12.0)
    assert [OnCurve(int(code)) for code in found] == [OnCurve.IDLE, OnCurve.UNKNOWN, OnCurve.UNKNOWN]
    assert np.isnan(ratio).all()


def test_a_string_out_or_dust_does_not_look_held_back(array):
    poa, cell = np.array([900.0]), np.array([50.0])
    for share in (2 / 3, 0.8):
        _, voltage, current = array.maximum(poa, cell, share)
        found, _, _ = on_curve(array, voltage, current, cell, 3 * 4.5)
        assert OnCurve(int(found[0])) == OnCurve.AT_MAXIMUM


@pytest.mark.parametrize("module", MODULES.values(), ids=list(MODULES))
def test_every_datasheet_gets_a_physical_circuit(module):
    diode = fit_diode(module)
    assert diode.misfit < 0.01
    assert diode.series_ohm > 0
    assert diode.shunt_ohm > 0
    assert abs(diode.trim_per_c) < 1e-3


@pytest.mark.parametrize("values", [(170, 46.0, 3.7, 45.8, 4.82), (170, 37.4, 4.9, 45.8, 4.82)])
def test_a_maximum_outside_its_rectangle_is_refused(values):
    with pytest.raises(ValueError, match="v_mp_v must be below v_oc_v and i_mp_a below i_sc_a"):
        fit_diode(Module(*values, -0.38, -0.30, 0.05, 45))


def test_rated_current_must_be_positive(array):
    with pytest.raises(ValueError, match="rated_current_a must be above 0"):
        on_curve(array, 200.0, 3.0, 25.0, 0.0)


@pytest.mark.parametrize("size", [0.1, 500])
def test_a_conductor_off_the_standard_is_refused(size):
    with pytest.raises(ValueError, match="conductor_mm2 must be 0.5 to 300"):
        resistance_ohm_per_km(size)


@settings(max_examples=50)
@given(st.floats(0.5, 299), st.floats(1.001, 3))
def test_thicker_copper_resists_less(size, factor):
    bigger = min(size * factor, 300.0)
    assert resistance_ohm_per_km(bigger) <= resistance_ohm_per_km(size)


def test_drops_grow_with_current_and_length_and_keep_missing():
    assert np.isnan(dc_drop_v(np.array([np.nan]), 10, 4)).all()
    assert dc_drop_v(4.0, 20, 4) == pytest.approx(2 * dc_drop_v(2.0, 20, 4))
    assert three_phase_loss_w(4.0, 20, 4) == pytest.approx(4 * three_phase_loss_w(2.0, 20, 4))


@pytest.mark.parametrize("lost", [dc_drop_v, three_phase_drop_v, three_phase_loss_w])
def test_a_cable_that_would_gain_is_refused_by_name(lost):
    with pytest.raises(ValueError, match=r"length_m must be 0 or more, got -60"):
        lost(8.0, -60, 4)
    with pytest.raises(ValueError, match=r"current_a must be 0 or more, got -8"):
        lost(np.array([4.0, np.nan, -8.0]), 60, 4)
    assert float(lost(0.0, 60, 4)) == float(lost(8.0, 0, 4)) == 0.0


def test_a_loop_of_negative_length_and_a_power_factor_that_is_none_are_refused():
    with pytest.raises(ValueError, match="length_m must be 0 or more"):
        dc_loop_ohm(float("nan"), 4)
    with pytest.raises(ValueError, match="power_factor must be 0 to 1"):
        three_phase_drop_v(5.0, 80, 2.5, -0.85)


def test_cells_are_warmer_than_air_and_than_the_modules_back():
    assert float(cell_of_ambient(20.0, 800.0, 45.0)) == 45.0
    assert float(cell_of_module(40.0, 1000.0)) == 43.0
    assert np.isnan(cell_of_ambient(np.nan, 800.0, 45.0))
    with pytest.raises(ValueError, match="noct_c must be 35 to 60"):
        cell_of_ambient(20.0, 800.0, 25.0)


def test_copper_outside_any_cables_temperature_is_not_told():
    found = resistance_ohm_per_km(4, [20.0, -300.0, 298.15, np.nan, -60.0, 250.0])
    assert np.isnan(found).tolist() == [False, True, True, True, False, False]
    assert (found[[4, 5]] > 0).all()
    for drop in (dc_loop_ohm, lambda *given: dc_drop_v(5.0, *given), lambda *given: three_phase_loss_w(5.0, *given)):
        with pytest.raises(ValueError, match="is it in kelvin"):
            drop(30.0, 4.0, 298.15)
    with pytest.raises(ValueError, match="length_m must be 0 or more"):
        dc_loop_ohm(np.inf, 4.0)


@settings(max_examples=40, deadline=None)
@given(poa=st.floats(0, 1600), cell=st.floats(-30, 110))
def test_a_number_a_list_and_an_array_are_answered_alike(array, poa, cell):
    alone, listed, gridded = (
        array.maximum(*asked) for asked in ((poa, cell), ([poa], [cell]), (np.full((2, 3), poa), np.array([cell])))
    )
    for one, of_list, of_grid in zip(alone, listed, gridded, strict=True):
        assert one.shape == ()
        assert of_list.shape == (1,)
        assert of_grid.shape == (2, 3)
        assert (of_list == one).all()
        assert (of_grid == one).all()


def test_beyond_its_range_the_array_says_why_and_nothing_else(array):
    poa = np.array([0.0, 1600.0, 1601.0, -2.0, 1000.0, 1000.0, 1000.0, np.nan, 1000.0])
    cell = np.array([25.0, 110.0, 25.0, 25.0, 298.15, -31.0, 111.0, 25.0, np.nan])
    said = [Reason(code) for code in array.maximum_reason(poa, cell)]
    off, gone = Reason.OUT_OF_RANGE, Reason.MISSING
    assert said == [Reason.OK, Reason.OK, off, Reason.IMPOSSIBLE, off, off, off, gone, gone]
    for values in array.maximum(poa, cell):
        assert np.isfinite(values).tolist() == [reason == Reason.OK for reason in said]
        assert values[0] == 0.0, "no light, no voltage"
    held = array.held_maximum(poa[2:4], cell[2:4])[0]
    assert held[0] == array.maximum(1600.0, 25.0)[0], "a cloud's edge is a reading"
    assert held[1] == 0.0, "so is a sensor's offset at night"
    with pytest.raises(TypeError, match="poa_w_m2 must be numbers"):
        array.maximum("1000", 25.0)
