"""Water against the International Association for the Properties of Water and Steam."""

import pytest

from analysis.physics.water import density_kg_m3, kinematic_viscosity_m2_s, vapour_pressure_pa, viscosity_pa_s

IAPWS = "IAPWS-95 (R6-95) and R12-08 at 101325 Pa, evaluated with an independent library"
TABLE = [  # deg C, kg/m3, Pa s, m2/s, Pa
    (0.01, 999.844, 1791.1e-6, 1.7914e-6, 611.7),
    (5, 999.967, 1518.2e-6, 1.5182e-6, 872.6),
    (10, 999.702, 1305.9e-6, 1.3063e-6, 1228.2),
    (15, 999.103, 1137.6e-6, 1.1386e-6, 1705.8),
    (20, 998.207, 1001.6e-6, 1.0034e-6, 2339.3),
    (25, 997.048, 890.0e-6, 0.8927e-6, 3169.9),
    (30, 995.649, 797.2e-6, 0.8007e-6, 4247.0),
    (35, 994.033, 719.1e-6, 0.7234e-6, 5629.0),
    (40, 992.216, 652.7e-6, 0.6578e-6, 7384.9),
    (50, 988.035, 546.5e-6, 0.5531e-6, 12351.9),
    (60, 983.196, 466.0e-6, 0.4740e-6, 19946.4),
]


@pytest.mark.parametrize(("celsius", "density", "viscosity", "kinematic", "vapour"), TABLE)
def test_water_agrees_with_the_international_formulation(celsius, density, viscosity, kinematic, vapour):
    assert density_kg_m3(celsius) == pytest.approx(density, rel=2e-5), IAPWS
    assert viscosity_pa_s(celsius) == pytest.approx(viscosity, rel=5e-4), IAPWS
    assert kinematic_viscosity_m2_s(celsius) == pytest.approx(kinematic, rel=5e-4), IAPWS
    assert vapour_pressure_pa(celsius) == pytest.approx(vapour, rel=5e-4), IAPWS
