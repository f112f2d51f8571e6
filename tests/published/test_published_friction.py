"""Pipe friction against handbook values and worked examples."""

import numpy as np
import pytest

from analysis.physics.hydraulic_power import GRAVITY_M_S2
from analysis.physics.pipe_friction import friction_factor, friction_head_m, minor_head_m, reynolds_number, velocity_m_s

COLEBROOK = "C. F. Colebrook, J. Inst. Civ. Eng. 11, 133-156, 1939; solved to full precision by an independent library"
FACTORS = [  # reynolds, roughness ratio, Darcy factor, relative tolerance, source
    (2000, 0.01, 0.032, 1e-12, "Hagen-Poiseuille, f = 64 / Re"),
    (128, 0.0, 0.5, 1e-12, "Hagen-Poiseuille, f = 64 / Re"),
    (4e3, 0.0, 0.039907, 2e-5, COLEBROOK),
    (4e3, 0.05, 0.076987, 2e-5, COLEBROOK),
    (1e4, 0.0, 0.03088295, 1e-6, COLEBROOK),
    (1e4, 0.001, 0.03238181, 1e-6, COLEBROOK),
    (1e5, 0.0, 0.01798977, 1e-6, COLEBROOK),
    (1e5, 1e-4, 0.01851387, 1e-6, COLEBROOK),
    (1e5, 1e-3, 0.02217454, 1e-6, COLEBROOK),
    (1e5, 0.01, 0.03850354, 1e-6, COLEBROOK),
    (1e6, 0.0, 0.01164504, 1e-6, COLEBROOK),
    (1e6, 1e-4, 0.01344144, 1e-6, COLEBROOK),
    (1e6, 1e-3, 0.01994347, 1e-6, COLEBROOK),
    (1e7, 0.0, 0.00810267, 1e-6, COLEBROOK),
    (1e8, 0.05, 0.07155090, 1e-6, COLEBROOK),
    (1e5, 1e-4, 0.018452, 0.005, "P. K. Swamee and A. K. Jain, J. Hydr. Div. ASCE 102(5), 657-664, 1976"),
    (1e5, 1e-4, 0.018265, 0.015, "S. E. Haaland, J. Fluids Eng. 105(1), 89-90, 1983: within 1.5 % of Colebrook"),
    (1e4, 0.0, 0.3164 / 1e4**0.25, 0.03, "H. Blasius 1913, smooth pipe, f = 0.3164 Re^-0.25"),
    (128_000, 0.26 / 200, 0.0225, 0.02, "White, Fluid Mechanics 4e, ex. 6.7; 2 %: read off a chart"),
    (6.0e5, 0.12e-3 / 0.3, 0.0169, 0.005, "Surge Analysis and the Wave Plan Method, suppl. problem 0.2 (Swamee-Jain)"),
]


@pytest.mark.parametrize(("reynolds", "ratio", "factor", "tolerance", "source"), FACTORS)
def test_friction_factor_agrees_with_published_values(reynolds, ratio, factor, tolerance, source):
    assert friction_factor(reynolds, ratio) == pytest.approx(factor, rel=tolerance), source


def test_the_wave_plan_problem_of_a_300_mm_pipe():
    """Surge Analysis and the Wave Plan Method, supplementary problem 0.2: 2 m/s, 6 m, roughness 0.12 mm, nu 1e-6."""
    flow = 2.0 * np.pi / 4 * 0.3**2 * 3600
    assert velocity_m_s(flow, 0.3) == pytest.approx(2.0)
    assert reynolds_number(flow, 0.3, 1e-6) == pytest.approx(6.0e5, rel=1e-3)
    loss = friction_head_m(flow, 6, 0.3, 0.12e-3, 1e-6) * GRAVITY_M_S2 / 9.81  # the book's g
    assert loss == pytest.approx(0.0689, rel=0.005), "printed with Swamee-Jain's factor; Colebrook gives 0.0687"


def test_two_cast_iron_pipes_in_series():
    """Wolaita Sodo University, Water supply and urban drainage, tutorial on pipe flow, Q1 (printed 13.337 m, from a chart)."""
    flow, to_981 = 0.5 * 3600, GRAVITY_M_S2 / 9.81
    wide = friction_head_m(flow, 300, 0.6, 2.6e-4, 1.31e-6) + minor_head_m(flow, 0.5, 0.6)
    narrow = friction_head_m(flow, 300, 0.4, 2.6e-4, 1.31e-6) + minor_head_m(flow, 0.24 + 1.0, 0.4)
    total = (wide + narrow) * to_981
    assert total == pytest.approx(13.337, rel=0.003)
    assert 80 - total == pytest.approx(66.663, abs=0.04)


RISERS = [  # m3/h, diameter m, length m, m/s, Reynolds, factor, loss m
    (3.0, 0.0400, 60, 0.6631, 26_436, 0.024291, 0.8170),
    (5.0, 0.0500, 80, 0.7074, 35_248, 0.022706, 0.9268),
    (1.5, 0.0326, 60, 0.4992, 16_218, 0.027355, 0.6396),
    (10.0, 0.0814, 100, 0.5338, 43_302, 0.021639, 0.3862),
]


@pytest.mark.parametrize(("flow", "diameter", "length", "speed", "reynolds", "factor", "loss"), RISERS)
def test_small_plastic_risers(flow, diameter, length, speed, reynolds, factor, loss):
    """Colebrook and IAPWS water at 20 degC, roughness 1.5 um (smooth plastic), computed with independent libraries."""
    nu = 1.0034e-6
    assert velocity_m_s(flow, diameter) == pytest.approx(speed, rel=2e-4)
    assert reynolds_number(flow, diameter, nu) == pytest.approx(reynolds, rel=5e-4)
    assert friction_factor(reynolds, 1.5e-6 / diameter) == pytest.approx(factor, rel=2e-4)
    assert friction_head_m(flow, length, diameter, 1.5e-6, nu) == pytest.approx(loss, rel=2e-3)


@pytest.mark.parametrize(("flow", "diameter", "length"), [row[:3] for row in RISERS])
def test_hazen_williams_lies_a_little_lower(flow, diameter, length):
    """G. S. Williams and A. Hazen, Hydraulic Tables, 1905, SI form with C = 150 (from memory): 4 to 11 % below Darcy here."""
    empirical = 10.67 * length * (flow / 3600) ** 1.852 / (150**1.852 * diameter**4.8704)
    own = float(friction_head_m(flow, length, diameter, 1.5e-6, 1.0034e-6))
    assert 0.03 < 1 - empirical / own < 0.12


def test_hazen_williams_of_a_large_main():
    """Operator-exam quiz: 2700 US gpm, 16 in, C 130, 1000 ft: 3.9 ft ("4"). Darcy with an aged 0.15 mm wall agrees to 15 %."""
    flow, diameter, length = 2700 * 3.785411784e-3 * 60, 16 * 0.0254, 304.8
    own = float(friction_head_m(flow, length, diameter, 0.15e-3, 1.1e-6)) / 0.3048
    assert own == pytest.approx(3.93, rel=0.15)
