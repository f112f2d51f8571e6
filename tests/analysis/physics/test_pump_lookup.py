"""The tables say what the exact model says, to a small share of the largest flow, power or speed."""

import numpy as np
import pytest

from analysis.physics import fit_curve
from analysis.physics.blocks import BLOCK

QUESTIONS = {  # inputs, what the answer is measured in, largest error, 99.9th percentile
    "flow_of_power": ("power", "flow", 0.003, 0.001),
    "flow": ("speed", "flow", 0.012, 0.002),
    "power_of_speed": ("speed", "power", 0.005, 0.002),
    "speed_of_power": ("power", "speed", 0.003, 0.001),
    "power_of_flow": ("flow", "power", 0.003, 0.001),
}


def scales(pump):
    return {"power": pump.power_max_w, "flow": pump.flow_max_m3_h, "speed": pump.core.reference_rpm}


@pytest.mark.parametrize("question", QUESTIONS)
def test_tables_agree_with_the_exact_model(pump, question):
    given, wanted, most, usual = QUESTIONS[question]
    rng, scale = np.random.default_rng(3), scales(pump)
    first = rng.uniform(0, 1.15 * scale[given], 20_000)
    low, high = pump.head_limits_m
    head = rng.uniform(low, 0.99 * high, 20_000)
    exact, table = getattr(pump, question)(first, head), getattr(pump.lookup(), question)(first, head)
    idle = (
        pump.answer("flow_of_power" if given == "power" else "flow", first, head).reason == 1
        if given != "flow"
        else False
    )
    both = ~np.isnan(exact) & ~np.isnan(table)
    error = np.abs(exact - table)[both] / scale[wanted]
    print(question, pump.kind, f"largest {error.max():.2e}, 99.9 % {np.quantile(error, 0.999):.2e}")
    assert error.max() < most
    assert np.quantile(error, 0.999) < usual
    differ = (np.isnan(exact) != np.isnan(table)) & ~(idle if question == "speed_of_power" else np.False_)
    assert differ.mean() < 2e-3, "validity may only differ within a cell of its edge"


def test_long_arrays_go_in_blocks_and_give_the_same(pump):
    rng = np.random.default_rng(9)
    count = 2 * BLOCK + 17
    power, head = rng.uniform(0, pump.power_max_w, count), rng.uniform(*pump.head_limits_m, count)
    lookup = pump.lookup()
    whole = lookup.flow_of_power(power, head)
    np.testing.assert_array_equal(whole[-9:], lookup.flow_of_power(power[-9:], head[-9:]))
    np.testing.assert_array_equal(lookup.flow_of_power(power, head[0])[-9:], lookup.flow_of_power(power[-9:], head[0]))
    square = lookup.flow_of_power(power[:BLOCK].reshape(64, -1)[:, None], head[:2][None, :, None])
    assert square.shape == (64, 2, BLOCK // 64)
    assert square[3, 1, 5] == lookup.flow_of_power(power[:BLOCK].reshape(64, -1)[3, 5], head[1])[0]


def test_a_row_alone_is_the_row_among_others(pump):
    rng = np.random.default_rng(4)
    power, head = rng.uniform(0, pump.power_max_w, 1000), rng.uniform(*pump.head_limits_m, 1000)
    whole = pump.lookup().flow_of_power(power, head)
    pieces = np.concatenate([pump.lookup().flow_of_power(power[i : i + 7], head[i : i + 7]) for i in range(0, 1000, 7)])
    np.testing.assert_array_equal(whole, pieces)


def test_nan_and_nonsense_become_nan(pump):
    head = 0.6 * pump.head_limits_m[1]
    lookup = pump.lookup()
    for question in QUESTIONS:
        got = getattr(lookup, question)([np.nan, -5.0, 1e9, np.inf], [head] * 4)
        assert np.isnan(got).all(), question
    assert np.isnan(lookup.flow_of_power([500.0] * 3, [np.nan, -1.0, 1e6])).all()


def test_wear_in_tables(pump):
    head, power = 0.5 * pump.head_limits_m[1], 0.8 * pump.power_max_w
    exact = pump.flow_of_power(power, head, 0.2)
    assert pump.lookup().flow_of_power(power, head, 0.2)[0] == pytest.approx(exact, rel=0.005)
    assert exact < pump.flow_of_power(power, head)


@pytest.mark.parametrize("droop", [0.0, 1.0])
@pytest.mark.parametrize("seed", range(4))
def test_tables_with_shelves_are_followed_too(bench, seed, droop):
    """A datasheet's rounded rows, or a curve that droops to its shut-off, leave heads at which flow runs far for nothing."""
    draw, as_curve = bench
    rng = np.random.default_rng(50 + seed)
    rows, _ = draw(rng, droop=droop).rows(rng, (1600, 2030, 2465, 2900), 5 if seed % 2 else 7, 0.0)
    rows[:, 1:] = np.stack([rows[:, 1].round(1), rows[:, 2].round(1), rows[:, 3].round(-1)], axis=1)
    pump = fit_curve(as_curve(rows), "multistage-centrifugal")
    high = pump.head_limits_m[1]
    low = 0.05 * high  # below, where the curve ends, cells are cut
    power, head = rng.uniform(0, pump.power_max_w, 20_000), rng.uniform(low, 0.97 * high, 20_000)
    exact, table = pump.flow_of_power(power, head), pump.lookup().flow_of_power(power, head)
    both = ~np.isnan(exact) & ~np.isnan(table)
    error = np.abs(exact - table)[both] / pump.flow_max_m3_h
    print(f"seed {seed}, droop {droop}: largest {error.max():.2e}, 99.9 % {np.quantile(error, 0.999):.2e}")
    assert np.quantile(error, 0.995) < 0.002
    assert error.max() < 0.03
    rising = np.linspace(0, pump.power_max_w, 2000)
    flows = np.stack([pump.lookup().flow_of_power(rising, at) for at in np.linspace(low, 0.97 * high, 40)])
    with np.errstate(invalid="ignore"):
        falls = -np.diff(flows, axis=1) / pump.flow_max_m3_h
    assert not (falls > 1e-4).any(), np.nanmax(falls)
