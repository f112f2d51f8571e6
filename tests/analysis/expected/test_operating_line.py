"""The tabulated operating line against the point solved for each power by itself, and its slopes against finite steps."""

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis import operating_line as line
from analysis.factors import NAMES, Factors
from analysis.operating_line import solve


def solved_by_root(model, power_w: float) -> float:
    """The flow at which the pump's own head is the system's, by the exact model and SciPy's root finder: second route."""

    def misses(flow: float) -> float:
        lifted = float(model.pump.flow_of_power(power_w, float(model.curve.head_m(flow))))
        return (9.0 if np.isnan(lifted) else lifted) - flow  # NaN: more power than this low head takes

    return float(brentq(misses, 0.0, 1.1 * model.pump.flow_max_m3_h))


@pytest.mark.parametrize("power_w", [180.0, 260.0, 333.3, 500.0, 777.0, 1111.0, 1500.0])
def test_table_agrees_with_each_point_solved_alone(model, power_w):
    flow, head = model.lines()[0](np.array([power_w]), (line.FLOW, line.HEAD))
    other = solved_by_root(model, power_w)
    assert float(flow[0]) == pytest.approx(other, abs=0.005 * model.pump.flow_max_m3_h)
    assert float(head[0]) == pytest.approx(float(model.curve.head_m(other)), abs=0.2)


@pytest.mark.parametrize("name", ["flow", "power", "level_offset_m", "drawdown", "friction"])
def test_slopes_agree_with_finite_steps(model, name):
    site = model.hydraulics
    step = 0.5 if name == "level_offset_m" else 0.02
    start = Factors()
    base = getattr(start, name)
    up, down = (solve(site, Factors(**{name: base + sign * step}), site.top) for sign in (1, -1))
    middle = solve(site, start, site.top)
    busy = (middle.flow > 0.8) & (middle.flow < 4.8)
    numeric = ((up.flow - down.flow) / (2 * step))[busy]
    assert middle.flow_slopes[busy, NAMES.index(name)] == pytest.approx(numeric, rel=0.08, abs=0.01)
    numeric = ((up.head - down.head) / (2 * step))[busy]
    assert middle.head_slopes[busy, NAMES.index(name)] == pytest.approx(numeric, rel=0.08, abs=0.05)


def test_flow_never_falls_with_power(model):
    solved = solve(model.hydraulics, Factors(), model.hydraulics.top)
    known = solved.flow[~np.isnan(solved.flow)]
    assert (np.diff(known) >= -1e-6).all()


def test_uncertainty_grows_with_what_is_not_known(model):
    power = np.array([900.0])
    level_unknown = model.lines()[0](power, (line.HEAD_STD, line.FLOW_STD))
    level_known = model.lines()[0](power, (line.HEAD_STD_KNOWN, line.FLOW_STD_HEAD_KNOWN))
    assert level_known[0] < level_unknown[0]
    assert level_known[1] <= level_unknown[1]
