"""The baseline learns the installation and not its faults."""

import json

import numpy as np
import pytest

from analysis.baseline import LEARNING_DAYS, Baseline, DayEstimate, Observation
from analysis.factors import NAMES

NOISE = 0.01
FLOW = {"flow": 0.9, "power": -0.85, "level_offset_m": -0.013, "meter": 1.0}
AT_SPEED = {"flow": 1.0, "meter": 1.0}
POWER = {"power": 1.0, "level_offset_m": 0.015}


def date(day: int) -> str:
    return str(np.datetime64("2025-09-01") + day)


def observations(rng, flow: float, power: float, speed: bool) -> tuple[Observation, ...]:
    """What a day shows of a plant whose log factors are `flow` and `power`."""
    seen = [Observation("flow", 0.9 * flow - 0.85 * power + rng.normal(0, NOISE), NOISE, FLOW)]
    if speed:
        seen.append(Observation("flow_at_speed", flow + rng.normal(0, NOISE), NOISE, AT_SPEED))
        seen.append(Observation("power_at_speed", power + rng.normal(0, NOISE), NOISE, POWER))
    return tuple(seen)


def lived(facts, rng, days: int, flow=lambda day: 0.0, power=lambda day: 0.0, speed=True) -> Baseline:  # noqa: ARG005
    baseline = Baseline.start(facts)
    for day in range(days):
        baseline = baseline.update(DayEstimate(date(day), observations(rng, flow(day), power(day), speed), 6.0))
    return baseline


def foretold(baseline: Baseline, slopes: dict[str, float]) -> float:
    """What the baseline expects an observation with these slopes to show."""
    factors = baseline.factors()
    return sum(
        slope * (getattr(factors, name) - (0.0 if name.endswith("_m") else 1.0)) for name, slope in slopes.items()
    )


@pytest.mark.parametrize("seed", range(5))
def test_wear_of_a_fifth_of_a_percent_a_day_is_not_absorbed_with_speed(facts, seed):
    rng = np.random.default_rng(seed)
    start = np.log(rng.normal(1.0, 0.03))

    def wear(day):
        return start + np.log1p(-0.002 * day)

    baseline = lived(facts, rng, 120, wear)
    lost = 1.0 - np.exp(wear(119) - foretold(baseline, AT_SPEED))
    assert lost == pytest.approx(0.002 * 119, abs=0.02)


@pytest.mark.parametrize("seed", range(5))
def test_nor_with_power_and_flow_alone(facts, seed):
    """Wear, leak and cable together, +-5 points, the level steady."""
    rng = np.random.default_rng(seed)

    def wear(day):
        return np.log1p(-0.002 * day)

    baseline = lived(facts, rng, 120, wear, speed=False)
    lost = 1.0 - np.exp((0.9 * wear(119) - foretold(baseline, FLOW)) / 0.9)
    assert lost == pytest.approx(0.002 * 119, abs=0.05)


@pytest.mark.parametrize("seed", range(3))
def test_five_percent_under_datasheet_from_the_first_day_is_learnt(facts, seed):
    rng = np.random.default_rng(seed)
    baseline = lived(facts, rng, 30, lambda day: np.log(0.95))  # noqa: ARG005
    assert baseline.beyond_tolerance == ()
    assert foretold(baseline, AT_SPEED) == pytest.approx(-0.05, abs=0.012)
    assert baseline.factors().std("flow") < 0.03


@pytest.mark.parametrize("speed", [True, False])
def test_a_quarter_lost_from_the_first_day_is_a_fault_not_a_baseline(facts, speed):
    rng = np.random.default_rng(4)
    baseline = lived(facts, rng, 40, lambda day: np.log(0.75), speed=speed)  # noqa: ARG005
    assert "flow" in baseline.beyond_tolerance
    slopes = AT_SPEED if speed else FLOW
    assert foretold(baseline, slopes) == pytest.approx(0.0, abs=0.03), "put back to the datasheet, not half learnt"


def test_learning_ends(facts):
    rng = np.random.default_rng(0)
    learnt = lived(facts, rng, LEARNING_DAYS + 1)
    later = learnt
    for day in range(100, 140):
        later = later.update(DayEstimate(date(day), observations(rng, -0.2, 0.1, True), 6.0))
    assert learnt.settled
    assert later.values == learnt.values


def test_one_mad_day_does_not_spoil_it(facts):
    rng = np.random.default_rng(3)
    calm = lived(facts, rng, 12)
    rng = np.random.default_rng(3)
    mad = lived(facts, rng, 12, lambda day: -0.6 if day == 2 else 0.0)
    assert foretold(mad, AT_SPEED) == pytest.approx(foretold(calm, AT_SPEED), abs=0.03)


def test_a_visit_opens_what_it_may_have_changed_and_no_more(facts):
    from dataclasses import replace
    from datetime import date as a_date

    from logger.record.site_facts import Visit

    visited = replace(facts, visits=(Visit(a_date(2025, 11, 1), "meter-replaced"),))
    rng = np.random.default_rng(5)
    before = lived(visited, rng, 40)
    after = before
    for day in range(61, 80):
        after = after.update(DayEstimate(date(day), observations(rng, np.log(0.97), 0.0, True), 6.0))
    changed = {name for name, old, new in zip(NAMES, before.values, after.values, strict=True) if old != new}
    assert changed == {"meter"}
    assert foretold(after, AT_SPEED) == pytest.approx(np.log(0.97), abs=0.012)


def test_season_moves_the_level_where_it_is_measured_and_within_reason(facts):
    from dataclasses import replace

    seasonal = replace(facts, well=replace(facts.well, seasonal_range_m=6.0))
    baseline = Baseline.start(seasonal)
    for day in range(120):
        level = 2.5 * np.sin(day / 120 * np.pi)
        seen = Observation("level", level, 0.2, {"level_offset_m": 1.0})
        baseline = baseline.update(DayEstimate(date(day), (seen,), 5.0))
        if day == 60:
            assert baseline.factors().level_offset_m == pytest.approx(2.5, abs=0.7)
    for day in range(120, 300):
        seen = Observation("level", 0.2 * (day - 120), 0.2, {"level_offset_m": 1.0})
        baseline = baseline.update(DayEstimate(date(day), (seen,), 5.0))
    assert baseline.factors().level_offset_m < 8.0, "a well that falls for ever is no season"


def test_a_day_without_observations_changes_nothing(facts):
    start = Baseline.start(facts)
    assert start.update(DayEstimate("2025-09-01", (), 0.0)) == start


def test_saved_and_loaded_is_the_same_and_small(facts):
    baseline = lived(facts, np.random.default_rng(1), 20)
    text = json.dumps(baseline.as_dict())
    assert Baseline.from_dict(json.loads(text)) == baseline
    assert len(text) < 4000


def test_another_version_is_refused(facts):
    saved = Baseline.start(facts).as_dict() | {"version": 0}
    with pytest.raises(ValueError, match="baseline: version 1 with .* expected, got version 0"):
        Baseline.from_dict(saved)


def test_an_observation_of_an_unknown_factor_is_refused(facts):
    seen = Observation("flow", 0.0, 0.1, {"mood": 1.0})
    with pytest.raises(ValueError, match="mood"):
        Baseline.start(facts).update(DayEstimate("2025-09-01", (seen,), 1.0))
