"""Tables: exact at nodes, straight between, held at the edges, one input one answer."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.physics.grid import Line, Plane

RNG = np.random.default_rng(0)
LINE = Line(2.0, 0.5, RNG.normal(size=(9, 3)))
PLANE = Plane((0.0, -3.0), (10.0, 2.0), RNG.normal(size=(6, 5, 2)))


@given(st.lists(st.floats(-5, 12), min_size=1, max_size=20))
def test_a_line_is_numpys_interpolation(xs):
    x = np.array(xs)
    nodes = 2.0 + 0.5 * np.arange(9)
    for k, found in enumerate(LINE(x)):
        assert np.allclose(found, np.interp(x, nodes, LINE.values[:, k]), atol=1e-12)


@given(st.floats(0, 50), st.floats(-3, 5))
def test_a_plane_is_straight_along_both_axes(x, y):
    at = np.array([x]), np.array([y])
    i, j = min(int(x / 10), 4), min(int((y + 3) / 2), 3)
    a, b = x / 10 - i, (y + 3) / 2 - j
    z = PLANE.values[:, :, 1]
    expected = (1 - a) * ((1 - b) * z[i, j] + b * z[i, j + 1]) + a * ((1 - b) * z[i + 1, j] + b * z[i + 1, j + 1])
    assert np.allclose(PLANE(*at)[1], expected, atol=1e-12)


def test_edges_are_held_and_missing_stays_missing():
    found = LINE(np.array([-100.0, 100.0, np.nan]))[0]
    assert found[0] == LINE.values[0, 0]
    assert np.isclose(found[1], LINE.values[-1, 0])
    assert np.isnan(found[2])
    beyond = PLANE(np.array([1e9, np.nan, 0.0]), np.array([1e9, 0.0, np.nan]))[0]
    assert np.isclose(beyond[0], PLANE.values[-1, -1, 0])
    assert np.isnan(beyond[1:]).all()


def test_only_some_quantities_in_the_order_asked():
    x = np.array([3.3])
    everything = LINE(x)
    assert [float(v[0]) for v in LINE(x, (2, 0))] == [float(everything[2][0]), float(everything[0][0])]


def test_answers_do_not_alter_the_question():
    x = np.array([3.0, 4.0])
    LINE(x)
    PLANE(x, x)
    assert x.tolist() == [3.0, 4.0]


def test_single_numbers_and_lists_are_answered_as_arrays_are():
    for x in (3.3, -5.0, 100.0):
        assert float(LINE(x)[1]) == LINE(np.array([x]))[1][0] == LINE([x])[1][0]
        for one, listed in zip(PLANE(x, 1.5), PLANE([x, x], 1.5), strict=True):
            assert listed.shape == (2,)
            assert (listed == one).all()
