"""The third plant that the diagnosis is judged on: its site files are accepted, its readings possible, its water what the site file promises."""

import tomllib

import numpy as np
import pytest
from scipy.interpolate import griddata

from logger.record.channels import CHANNELS
from logger.record.site_file import read_site
from tests.bench.farworld.case import Case, draw_case
from tests.bench.farworld.faults import CAUSES

FITS = ("full", "middle", "lean")
STOPS = ("closed-delivery", "broken-shaft", "stalled-motor", "failed-start")
LESS = ("worn-pump", "clogging", "riser-leak", "reverse-rotation", "string-out", "panel-soiling")


def drawn(cause: str, seed: int, fitout: str, days: int = 16) -> Case:
    return draw_case(seed, fitout, cause, days=days)


def promised_m3_h(site: dict, power_w: np.ndarray) -> np.ndarray:
    """Flow that the site file's table gives for a power, at resting level, outlet, drawdown, and friction after Hazen and Williams (C = 150)."""
    rows = site["pump"]["curve"]
    heads, powers, flows = (np.array([row[k] for row in rows]) for k in ("head_m", "power_w", "flow_m3_h"))
    well, pipe = site["well"], site["delivery"]
    length = pipe["riser_length_m"] + pipe["pipe_length_m"]
    flow = np.full(len(power_w), 0.5 * flows.max())
    for _ in range(6):
        drawdown = well["drawdown_linear_m_per_m3_h"] * flow + well["drawdown_quadratic_m_per_m3_h2"] * flow**2
        bore_m = pipe["riser_inner_diameter_mm"] / 1000
        friction = 10.67 * length * (flow / 3600) ** 1.852 / 150**1.852 / bore_m**4.87
        head = well["static_level_m"] + drawdown + pipe["outlet_height_m"] + friction
        scale = np.array([heads.max(), powers.max()])
        asked = np.column_stack([head, power_w]) / scale
        known = np.column_stack([heads, powers]) / scale
        near = griddata(known, flows, asked, method="linear")
        flow = 0.5 * flow + 0.5 * np.where(np.isfinite(near), near, flow)
    return np.where(np.isfinite(near), flow, np.nan)


@pytest.mark.parametrize("cause", ["none", *CAUSES])
def test_site_file_is_accepted_and_values_are_possible(cause):
    for seed in (3, 4):
        case = drawn(cause, seed, FITS[seed % 3])
        facts = read_site(case.site_toml)
        assert tuple(case.frame.columns) == ("time", *facts.sensors.channels)
        for name in facts.sensors.channels:
            values = case.frame[name].dropna().to_numpy()
            assert np.all((values >= CHANNELS[name].lowest) & (values <= CHANNELS[name].highest)), (name, cause, seed)
        assert {truth.cause for truth in case.truths} <= {cause, "sensor-fault"}


@pytest.mark.parametrize("cause", STOPS)
def test_no_water_moves_while_it_stands_or_turns_for_nothing(cause):
    case = drawn(cause, 11, "full")
    truth = case.truths[0]
    stamps = case.times.astype(str)
    inside = (case.times >= truth.began) & (case.times <= (truth.ended or stamps[-1]))
    assert inside.any()
    assert case.true["flow_m3_h"][inside].max() == 0.0


@pytest.mark.parametrize("cause", LESS)
def test_a_fault_that_takes_water_or_power_takes_some(cause):
    sizes = [truth.size for seed in range(20, 23) for truth in drawn(cause, seed, "full").truths]
    told = [size for size in sizes if np.isfinite(size)]
    assert told
    assert max(told) > 0.02
    assert min(told) > -0.02
    assert max(told) <= 1.0


def test_the_same_seed_draws_the_same_season():
    one, two = drawn("worn-pump", 5, "middle", 6), drawn("worn-pump", 5, "middle", 6)
    assert one.site_toml == two.site_toml
    assert one.frame.equals(two.frame)


def test_a_healthy_season_gives_what_its_site_file_promises():
    for seed in range(30, 35):
        case = drawn("none", seed, FITS[seed % 3], 10)
        power, flow = case.true["input_power_w"], case.true["flow_m3_h"]
        running = np.flatnonzero(flow > 0.3 * flow.max())[::4]
        promised = promised_m3_h(tomllib.loads(case.site_toml), power[running])
        known = np.isfinite(promised)
        assert known.sum() > 20
        assert np.sum(flow[running][known]) == pytest.approx(np.sum(promised[known]), rel=0.25), seed
