"""Pump laws, powers and tolerances against handbooks, standards and geometry."""

import numpy as np
import pytest

from analysis.physics.affinity import flow_at_speed, head_at_speed, power_at_speed, speed_ratio
from analysis.physics.hydraulic_power import efficiency, hydraulic_power_w, specific_energy_wh_m3
from analysis.physics.pump_curve import fit_curve
from analysis.physics.pump_tolerance import GRADES, grade_for, tolerance
from analysis.physics.water import density_kg_m3


def test_pump_laws_of_the_energy_departments_handbook():
    """US DOE Fundamentals Handbook DOE-HDBK-1012/3-92, HT-03, p. 50: 400 gpm, 48 ft, 45 kW from 1800 to 3600 rpm."""
    ratio = speed_ratio(3600, 1800)
    assert flow_at_speed(400, ratio) == pytest.approx(800)
    assert head_at_speed(48, ratio) == pytest.approx(192)
    assert power_at_speed(45, ratio) == pytest.approx(360)


def test_pump_laws_against_a_nomogram():
    """A pump maker's technical bulletin no. 33, rev. 2006: 1700 to 2000 rpm; the nomogram reads 235 gpm, 83 ft, 8.1 bhp."""
    ratio = speed_ratio(2000, 1700)
    assert flow_at_speed(200, ratio) == pytest.approx(235, rel=0.01)
    assert head_at_speed(60, ratio) == pytest.approx(83, rel=0.01)
    assert power_at_speed(5, ratio) == pytest.approx(8.1, rel=0.01)


def test_a_fitted_pump_of_one_speed_follows_the_pump_laws():
    """Same handbook: with rows at one speed only, the model has nothing but the laws to go by."""
    flow = np.array([0, 4, 8, 12, 16, 20.0])
    head, power = 60 - 0.05 * flow**2, 1500 + 90 * flow
    pump = fit_curve(
        {"speed_rpm": np.full(6, 2900), "flow_m3_h": flow, "head_m": head, "power_w": power}, "multistage-centrifugal"
    )
    assert pump.head(1450, 6.0) == pytest.approx(head_at_speed(60 - 0.05 * 12**2, 0.5), rel=0.01)
    assert pump.lift_speed(60 * 0.8**2) == pytest.approx(2900 * 0.8, rel=0.01)


def test_hydraulic_power_of_the_round_example():
    """rho g Q H: 5 m3/h to 60 m is 817.5 W with 1000 kg/m3 and 9.81 m/s2, 815.76 W with water of 20 degC and standard g."""
    assert hydraulic_power_w(5, 60, 1000.0) * 9.81 / 9.80665 == pytest.approx(817.5, rel=1e-6)
    assert hydraulic_power_w(5, 60, density_kg_m3(20.0)) == pytest.approx(815.76, rel=1e-4)


@pytest.mark.parametrize(("celsius", "least"), [(10, 2.7232), (20, 2.7192), (25, 2.7160), (30, 2.7122)])
def test_least_specific_energy(celsius, least):
    """rho g / 3600 with IAPWS density: no pump lifts a cubic metre by one metre for less."""
    lossless = hydraulic_power_w(1.0, 1.0, density_kg_m3(celsius))
    assert specific_energy_wh_m3(1.0, lossless) == pytest.approx(least, rel=1e-4)


def test_wire_to_water_example():
    """1500 W in, 5 m3/h to 60 m, 20 degC: 54.4 %, 300 Wh/m3 (arithmetic on the standard's definitions)."""
    assert efficiency(5, 60, 1500) == pytest.approx(0.5438, rel=1e-3)
    assert specific_energy_wh_m3(5, 1500) == pytest.approx(300)


GRADE_TABLE = [  # ISO 9906:2012, 4.4, table 8, in per cent: flow, head, power, efficiency. Numbers from memory.
    ("1B", (-5, 5), (-3, 3), 4, -3),
    ("1E", (-5, 5), (-3, 3), 4, 0),
    ("1U", (0, 10), (0, 6), 10, 0),
    ("2B", (-8, 8), (-5, 5), 8, -5),
    ("2U", (0, 16), (0, 10), 16, -5),
    ("3B", (-9, 9), (-7, 7), 9, -7),
]


@pytest.mark.parametrize(("grade", "flow", "head", "power", "eta"), GRADE_TABLE)
def test_acceptance_grades(grade, flow, head, power, eta):
    """ISO 9906:2012, clause 4.4, table 8. Numbers from memory."""
    got = GRADES[grade]
    assert (got.flow_pct, got.head_pct, got.power_pct, got.efficiency_pct) == (flow, head, power, eta)


@pytest.mark.parametrize(("kilowatt", "eta"), [(0.5, -16.5), (1, -16), (2, -15), (4, -13), (5, -12), (10, -7)])
def test_small_pumps_lie_outside_the_grades(kilowatt, eta):
    """ISO 9906:2012, clause 4.4.2: up to 10 kW flow +-10 %, head +-8 %, efficiency -[10 (1 - P/10) + 7] %. From memory."""
    small = tolerance(kilowatt * 1000.0)
    assert (small.flow_pct, small.head_pct) == ((-10, 10), (-8, 8))
    assert small.efficiency_pct == pytest.approx(eta)


def test_irrigation_pumps_default_to_the_coarsest_grade():
    """ANSI/HI 14.6 as restated in a trade article of 2015: irrigation, more than 10 to 100 kW, grade 3B."""
    assert grade_for(50_000.0) == "3B"
    assert grade_for(5_000.0) is None


def test_displacement_of_a_helical_rotor():
    """Moineau 1930, Cholet 1997 (from memory): V = 4 e D Ps; e 4 mm, D 20 mm, Ps 100 mm, so 3.84 m3/h at 2000 rpm."""
    per_turn = 4 * 0.004 * 0.020 * 0.100
    speed, head = np.meshgrid([500.0, 1000, 1500, 2000], [20.0, 60])
    flow = per_turn * speed * 60 - 0.002 * head
    power = 150 + speed * (0.05 + 2.725 * per_turn * 60 * head / 0.7)
    rows = {"speed_rpm": speed.ravel(), "head_m": head.ravel(), "flow_m3_h": flow.ravel(), "power_w": power.ravel()}
    pump = fit_curve(rows, "helical-rotor")
    no_slip = pump.flow(2000, 40) - pump.flow(1000, 40)
    assert no_slip == pytest.approx(3.84 / 2, rel=1e-3), "flow between two speeds is displacement alone"


def test_helical_rotor_behaves_as_published():
    """Mueller et al., arXiv:2104.06736, 2021: volumetric efficiency falls with head, rises with speed; flow linear in speed."""
    speed, head = np.meshgrid([800.0, 1500, 2200, 2900], [40.0, 60, 80])
    rows = {
        "speed_rpm": speed.ravel(),
        "head_m": head.ravel(),
        "flow_m3_h": (0.0018 * speed - 0.0045 * head).ravel(),
        "power_w": (60 + speed * (0.03 + 0.0073 * head)).ravel(),
    }
    pump = fit_curve(rows, "helical-rotor")
    per_turn = pump.flow([1000, 2000, 2000], [50, 50, 75]) / [1000, 2000, 2000]
    assert per_turn[1] > per_turn[0]
    assert per_turn[2] < per_turn[1]
    steps = np.diff(pump.flow([1000, 1500, 2000, 2500], 50))
    assert np.ptp(steps) < 0.01 * steps.mean()


def test_per_cent_off_curve_depends_on_what_is_held():
    """An engineering note: 150 to 100 gpm at one head is 33.3 %, 110 to 100 ft at one flow is 9.1 %: one pump, two answers.

    Built so that the healthy pump gives 150 at 100 and, at a flow of 100, 110; wear is then stated at fixed head.
    """
    flow = np.array([0.0, 50, 100, 150, 170])
    head = np.interp(flow, [0, 100, 150, 170], [118, 110, 100, 95.0])
    rows = {"speed_rpm": np.full(5, 2900), "flow_m3_h": flow, "head_m": head, "power_w": 2e4 + 500 * flow}
    pump = fit_curve(rows, "multistage-centrifugal")
    healthy_flow, healthy_head = float(pump.flow(2900, 100)), float(pump.head(2900, 100))
    assert 1 - 100 / healthy_flow == pytest.approx(0.333, abs=0.02)
    assert 1 - 100 / healthy_head == pytest.approx(0.091, abs=0.01)
