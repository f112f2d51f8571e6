"""Wells against published pumping tests and tables.

Textbooks fit by eye: where a printed value is an eye fit, the tolerance says so, and least squares is held against other programs.
"""

from pathlib import Path

import numpy as np
import pytest

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

READINGS = Path(__file__).parent / "readings"
W_OF_U = "Theis well function: Kruseman and de Ridder 1994, annex 3.1; Lohman, USGS Professional Paper 708"
WELL_FUNCTION = [
    (1e-10, 22.4486), (1e-8, 17.8435), (1e-6, 13.2383), (1e-4, 8.63322), (1e-3, 6.33154), (5e-3, 4.72610),
    (0.01, 4.03793), (0.02, 3.35471), (0.03, 2.95912), (0.05, 2.46790), (0.1, 1.82292), (0.2, 1.22265),
    (0.5, 0.559774), (1.0, 0.219384), (2.0, 0.0489005), (5.0, 0.00114830), (9.0, 1.24474e-5),
]  # fmt: skip


def korendijk(*radii):
    """Time d, drawdown m, radius m of the piezometers at these distances."""
    rows = [line for line in (READINGS / "oude_korendijk.csv").read_text().splitlines() if line[0].isdigit()]
    values = np.array([[float(cell) for cell in row.split(",")] for row in rows])
    chosen = values[np.isin(values[:, 0], radii)]
    return chosen[:, 1] / 1440, chosen[:, 2], chosen[:, 0]


def columns(name):
    rows = [line for line in (READINGS / name).read_text().splitlines() if line[0].isdigit()]
    return np.array([[float(cell) for cell in row.split(",")] for row in rows]).T


@pytest.mark.parametrize(("u", "expected"), WELL_FUNCTION)
def test_well_function_agrees_with_the_printed_table(u, expected):
    assert well_function(u) == pytest.approx(expected, rel=1e-5), W_OF_U


@pytest.mark.parametrize(("u", "error"), [(1e-3, -0.00016), (0.01, -0.0025), (0.03, -0.0101), (0.05, -0.0200)])
def test_cooper_jacob_departs_from_theis_as_published(u, error):
    """Cooper and Jacob 1946; the error at each u is Kruseman and de Ridder's (1, 2 and 5 % at u = 0.03, 0.05 and 0.1)."""
    time = 30.0**2 * 1e-4 / (4 * 100 * u)
    both = [f(time, 500.0, 100.0, 1e-4, 30.0) for f in (cooper_jacob_drawdown_m, theis_drawdown_m)]
    assert both[0] / both[1] - 1 == pytest.approx(error, rel=0.02)


def test_cooper_jacob_is_not_given_where_it_is_wrong():
    """Same source: at u = 0.1 it would be 5 % off."""
    assert np.isnan(cooper_jacob_drawdown_m(30.0**2 * 1e-4 / (4 * 100 * 0.1), 500.0, 100.0, 1e-4, 30.0))


@pytest.mark.parametrize(
    ("radii", "transmissivity", "storativity", "misfit"),
    [((30,), 480.5, 1.1251e-4, 0.03166), ((90,), 501.1, 2.0375e-4, 0.02272), ((30, 90), 462.6, 1.7788e-4, 0.05006)],
)
def test_oude_korendijk_by_least_squares(radii, transmissivity, storativity, misfit):
    """Readings: Kruseman and de Ridder 1994, table 3.2. Values: an open multi-layer aquifer program's published notebook."""
    fit = fit_theis(*korendijk(*radii)[:2], 788.0, korendijk(*radii)[2])
    assert fit.transmissivity_m2_d == pytest.approx(transmissivity, rel=0.003)
    assert fit.storativity == pytest.approx(storativity, rel=0.005)
    assert fit.misfit_m == pytest.approx(misfit, rel=0.01)


def test_oude_korendijk_by_straight_line():
    """Kruseman and de Ridder 1994, example 3.3 (printed 385 m2/d and 1.7e-4): their eye fit is the first ten minutes."""
    time, drawn, _ = korendijk(30)
    fit = fit_cooper_jacob(time, drawn, 788.0, 30.0, (0.9 / 1440, 10 / 1440))
    assert fit.transmissivity_m2_d == pytest.approx(385, rel=0.003)
    assert fit.storativity == pytest.approx(1.7e-4, rel=0.02)


def test_oude_korendijk_line_depends_on_its_window():
    """The same readings from 100 minutes on give 635 m2/d: a window is part of an answer."""
    time, drawn, _ = korendijk(30)
    late = fit_cooper_jacob(time, drawn, 788.0, 30.0, (100 / 1440, 1.0))
    assert late.transmissivity_m2_d == pytest.approx(635.5, rel=0.002)


@pytest.mark.parametrize(
    ("near", "near_s", "far", "far_s", "transmissivity"),
    [(30, 1.088, 90, 0.716, 369.96), (30, 1.088, 215, 0.250, 294.4), (0.8, 2.236, 30, 1.088, 395.96)],
)
def test_oude_korendijk_by_thiem(near, near_s, far, far_s, transmissivity):
    """Steady drawdowns of Kruseman and de Ridder 1994, ch. 3; 0.8 and 30 m are printed as 4.6e-3 m2/s, 396 m2/d.

    0.2 %: the other program's rate is 9.11e-3 m3/s, rounded from 788 m3/d.
    """
    assert thiem_transmissivity_m2_d(788, near, near_s, far, far_s) == pytest.approx(transmissivity, rel=2e-3)


def test_fetter_by_least_squares():
    """C. W. Fetter, Applied Hydrogeology, 4th ed. 2001, table 5.1; another program prints 1.4e-3 m2/s and 2.1e-5."""
    time, drawn = columns("fetter_table_5_1.csv")
    fit = fit_theis(time / 86_400, drawn, 1.3888e-2 * 86_400, 250.0)
    assert fit.transmissivity_m2_d / 86_400 == pytest.approx(1.4251e-3, rel=0.002)
    assert fit.storativity == pytest.approx(2.1155e-5, rel=0.003)


def test_fetter_by_straight_line():
    """Same table; printed 1.5e-3 m2/s and 1.7e-5 by Cooper-Jacob on readings 3 to 22."""
    time, drawn = columns("fetter_table_5_1.csv")
    fit = fit_cooper_jacob(time / 86_400, drawn, 1.3888e-2 * 86_400, 250.0, (time[2] / 86_400, 1.0))
    assert fit.transmissivity_m2_d / 86_400 == pytest.approx(1.5e-3, rel=0.04)
    assert fit.storativity == pytest.approx(1.7e-5, rel=0.01)


CLARK_RATES = np.array([1306.0, 1693, 2423, 3261, 4094, 5019])
CLARK_STARTS_D = np.arange(6) * 180 / 1440


def test_clarks_step_test_at_the_steps_ends():
    """L. Clark, Q. J. Eng. Geol. 10(2), 125-143, 1977; drawdown at the end of each step as tabulated."""
    time, drawn = columns("clark_step_test.csv")
    ends = np.interp((np.arange(6) + 1) * 10_800, time, drawn)
    assert ends == pytest.approx([4.683, 6.514, 9.578, 13.240, 17.395, 22.325])
    naive = fit_hantush_bierschenk(CLARK_RATES, ends)
    assert naive.quadratic_d2_m5 > 1.3 * 1.45e-7, (
        "readings at the steps' ends must not be taken for increments: C is 43 % high"
    )


def test_clarks_step_test_by_increments():
    """Increments at 100 min with the trend taken off, against NumPy's least squares; the book's own lines beside it.

    Kruseman and de Ridder 1994, ch. 14: C 1.45e-7 d2/m5 by lines drawn by eye, B 3.07e-3 or 3.26e-3 d/m2 (from memory, doubtful).
    The line of least squares leaves the eye's: C 1.78e-7, a quarter more, for the first steps stand above any straight line.
    """
    drawn = np.array([4.333, 5.874, 8.538, 12.007, 15.754, 20.120])
    fit = fit_hantush_bierschenk(CLARK_RATES, drawn)
    quadratic, linear = np.polyfit(CLARK_RATES, drawn / CLARK_RATES, 1)
    assert fit.linear_d_m2 == pytest.approx(linear, rel=1e-6)
    assert fit.quadratic_d2_m5 == pytest.approx(quadratic, rel=1e-6)
    by_eye = 3.26e-3 * CLARK_RATES + 1.45e-7 * CLARK_RATES**2
    ours = fit.linear_d_m2 * CLARK_RATES + fit.quadratic_d2_m5 * CLARK_RATES**2
    assert np.abs(ours / drawn - 1).max() < np.abs(by_eye / drawn - 1).max()


@pytest.mark.parametrize(("from_min", "transmissivity", "quadratic"), [(5, 222.8, 1.380e-7), (30, 264.7, 1.578e-7)])
def test_clarks_step_test_by_eden_and_hazel(from_min, transmissivity, quadratic):
    """Book: 3.1e-3 m2/s (268 m2/d) and 1045 s2/m5 (1.40e-7 d2/m5); another program 2.5e-3 (216) and 980 (1.31e-7)."""
    time, drawn = columns("clark_step_test.csv")
    late = (time - 1) % 10_800 + 1 >= 60 * from_min  # seconds into the step; its last reading is 10 800
    fit = fit_eden_hazel(time[late] / 86_400, drawn[late], CLARK_STARTS_D, CLARK_RATES)
    assert fit.transmissivity_m2_d == pytest.approx(transmissivity, rel=0.01)
    assert fit.quadratic_d2_m5 == pytest.approx(quadratic, rel=0.015)
    assert 200 < fit.transmissivity_m2_d < 280
    assert fit.quadratic_d2_m5 == pytest.approx(1.45e-7, rel=0.12)


@pytest.mark.parametrize(("rate", "drawdown"), [(1306, 4.257), (2423, 8.290), (5019, 19.061)])
def test_jacobs_formula_with_clarks_constants(rate, drawdown):
    """Jacob's formula by hand, d and m3 against h and m3/h; constants near those of Kruseman and de Ridder 1994, ch. 14 (B from memory, doubtful)."""
    assert step_drawdown_m(rate / 24, 3.07e-3 * 24, 1.45e-7 * 24**2) == pytest.approx(drawdown, rel=1e-3)


@pytest.mark.parametrize(("rate", "share"), [(1306, 0.942), (5019, 0.808)])
def test_well_efficiency_with_clarks_constants(rate, share):
    """By hand: B Q over B Q + C Q^2, the same constants."""
    assert well_efficiency(rate, 3.07e-3, 1.45e-7) == pytest.approx(share, abs=1e-3)


@pytest.mark.parametrize(
    ("hour", "drawdown"),
    [(1, 0.78704), (4, 0.87530), (8, 0.91942), (8.5, 0.18037), (12, 0.06994), (24, 0.02581), (56, 0.94755)],
)
def test_three_pumping_days_by_superposition(hour, drawdown):
    """Theis superposed, T 50 m2/d, S 2e-3, r 0.1 m, 40 m3/d for 8 h of each 24 h; computed apart from this code with SciPy."""
    starts = np.array([0, 8, 24, 32, 48, 56]) / 24
    got = variable_rate_drawdown_m(hour / 24, starts, [40, 0, 40, 0, 40, 0], 50.0, 2e-3, 0.1)
    assert got == pytest.approx(drawdown, abs=1e-4)


def test_three_rates_in_one_afternoon():
    """Kruseman and de Ridder 1994, p. 185: 500, 700, 600 m3/d for 30, 50, 50 min, T 102 m2/d, S 9.6e-4 at 5 m.

    The sum of three Theis curves written out by hand, so that the superposition's signs are checked, not its fit.
    """
    since = np.array([130, 100, 50]) / 1440
    by_hand = sum(
        rate * well_function(25 * 9.6e-4 / (4 * 102 * t)) / (4 * np.pi * 102)
        for rate, t in zip([500, 200, -100], since, strict=True)
    )
    got = variable_rate_drawdown_m(130 / 1440, np.array([0, 30, 80]) / 1440, [500, 700, 600], 102.0, 9.6e-4, 5.0)
    assert got == pytest.approx(by_hand, rel=1e-12)
