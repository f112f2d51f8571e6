"""A cubic metre goes missing once: what came and the shares of what is missing are what should have come, in every world and on every day."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis import pipeline
from analysis.estimates.bench import times_left, water_lost_with
from analysis.estimates.day import figures_of
from analysis.estimates.vector import BANDS
from analysis.look import look
from analysis.memory import Case
from analysis.water_lost import NOT_COUNTED, share_out
from samples.cases import draw_case
from tests.bench.bench_diagnosis import draw, rows_of_frame

SEASONS = [
    ("samples", 4, "full", "closed-delivery"),
    ("samples", 3, "full", "reverse-rotation"),
    ("samples", 4242, "lean", "riser-leak"),
    ("samples", 4243, "middle", "controller-trip"),
    ("otherworld", 4244, "lean", "dry-running"),
    ("otherworld", 4245, "middle", "panel-soiling"),
    ("farworld", 4246, "full", "dry-running"),
    ("farworld", 4248, "full", "failed-start"),
]
ROUNDED = 0.006
NO_FAULT = {"tank-full", "switched-off", "held-back", "other", NOT_COUNTED}


def _season(world: str, seed: int, fit: str, cause: str):
    """Facts, rows and what happened; of the samples' own a shorter and coarser one."""
    if world == "samples":
        case = draw_case(seed, fit=fit, causes=(cause,), days=70, step_s=300)
        return case.facts, rows_of_frame(case.frame), case.truths
    drawn = draw(world, seed, fit, None, cause)
    return drawn.facts, drawn.rows, drawn.truths


@pytest.mark.parametrize(("world", "seed", "fit", "cause"), SEASONS)
def test_the_day_s_water_adds_up_and_the_findings_are_its_columns(world: str, seed: int, fit: str, cause: str) -> None:
    facts, rows, _ = _season(world, seed, fit, cause)
    begun = pipeline.begin(facts)
    last_day = int(begun.plant.days.day_of(int(rows.time_ms.max())))
    whole = pipeline.advance(begun, rows, begun.plant.days.close_ms(last_day))
    told = [one for one in whole.findings if one.cause != "sensor-fault"]
    if cause in ("closed-delivery", "reverse-rotation"):  # hours in which nothing came are their own, not held back
        worst = max(whole.days, key=lambda one: one.lost_m3.get(cause, 0.0))
        assert worst.lost_m3[cause] > max(5.0, 0.8 * sum(worst.lost_m3.values()))
    assert all(one.water_lost_m3 is None for one in whole.findings if one.cause == "sensor-fault")
    by_cause: dict[str, float] = {}
    for day in whole.days:
        assert min(day.lost_m3.values(), default=0.0) >= 0.0
        for name, amount in day.lost_m3.items():
            by_cause[name] = by_cause.get(name, 0.0) + amount
        if day.water_m3 is None or day.expected_m3 is None:
            continue
        missing = max(day.expected_m3 - day.water_m3, 0.0)
        assert sum(day.lost_m3.values()) == pytest.approx(missing, abs=ROUNDED), day
        assert day.expected_m3 <= (day.expected_high_m3 or np.inf) + ROUNDED
    for name in {one.cause for one in told} | (set(by_cause) - NO_FAULT):
        lost = sum(one.water_lost_m3 or 0.0 for one in told if one.cause == name)
        assert by_cause.get(name, 0.0) == pytest.approx(lost, abs=0.01 + 0.001 * len(whole.days)), name


def test_an_open_day_loses_no_more_than_it_is_short_of() -> None:
    """At any hour of the first whole day of a shut valve, beside what its sun had offered by then."""
    facts, rows, truths = _season("samples", 4, "full", "closed-delivery")
    begun = pipeline.begin(facts)
    days = begun.plant.days
    shut_ms = min(pd.Timestamp(t.began).timestamp() for t in truths if t.cause == "closed-delivery") * 1000
    day = int(days.day_of(int(shut_ms))) + 1  # it was shut in the evening
    before = pipeline.advance(begun, rows.take(rows.time_ms <= days.close_ms(day - 1)), days.close_ms(day - 1))
    had, lost = {one.id: one.water_lost_m3 or 0.0 for one in before.findings}, 0.0
    for until in np.linspace(*days.daylight_ms(day), 8).astype(int)[2:].tolist():
        of_day = (rows.time_ms > before.until_ms) & (rows.time_ms <= until)
        now = pipeline.advance(before, rows.take(of_day), until)
        short = max((now.now.expected_today_m3 or 0.0) - (now.now.water_today_m3 or 0.0), 0.0)
        lost = sum((one.water_lost_m3 or 0.0) - had.get(one.id, 0.0) for one in now.findings)
        assert lost <= short + 0.02
    assert lost > 5.0


def test_a_renamed_finding_takes_its_days_along() -> None:
    """As of any instant the days speak of the causes that the findings then have, and the same whether fed at once or in pieces."""
    facts, rows, _ = _season("samples", 4242, "lean", "riser-leak")
    state = pipeline.begin(facts)
    for until in np.linspace(rows.time_ms[0], rows.time_ms[-1], 12).astype(int)[1:].tolist():
        if state.memory.day is not None:
            state = pipeline.loads(state.dumps(), facts)
        some = rows.take((rows.time_ms > state.closed_until_ms) & (rows.time_ms <= until))
        state = pipeline.advance(state, some, until)
        causes = {one.cause for one in state.findings} | NO_FAULT
        assert {name for day in state.days for name in day.lost_m3} <= causes
    at_once = pipeline.advance(pipeline.begin(facts), rows, state.until_ms)
    assert at_once.days == state.days
    assert at_once.findings == state.findings


def test_half_of_the_power_costs_more_than_half_of_the_water() -> None:
    """A pump must reach its head first, and slip stays; what the power left would lift is known, so a share of it is no loss of the whole."""
    for fit in ("full", "lean"):
        facts, _, _ = _season("samples", 4, fit, "closed-delivery")
        plant = pipeline.begin(facts).plant
        lost = [water_lost_with(plant, np.full(BANDS, np.log(1.0 - out))) for out in (0.0, 0.1, 0.25, 0.5)]
        assert lost[0] == pytest.approx(0.0, abs=1e-6)
        assert (np.diff(lost) > 0).all()
        assert lost[-1] > 0.5
    assert times_left(0.5) == pytest.approx(1.0)
    assert times_left(1.0) < 40.0


def test_more_water_than_the_table_s_band_raises_no_expectation() -> None:
    """Where far more came than should have, an open case of a share has no room left, and the day stays as its sun had it."""
    facts, rows, _ = _season("samples", 4, "full", "closed-delivery")
    plant = pipeline.begin(facts).plant
    day = int(plant.days.day_of(int(rows.time_ms[-1]))) - 3
    (figures,) = figures_of(plant, look(plant, rows, range(day, day + 1)), range(day, day + 1))
    case = Case("slow-electric", "panel-soiling", "panel-soiling", 0, 1, 0, 0, water_lost_m3=5.0)
    many = replace(figures, water_m3=4.0 * figures.expected_m3)
    assert share_out([], [case], many) == (figures.expected_m3, {})
    assert case.water_lost_m3 == 0.0
    case.water_lost_m3 = 1.0
    expected, lost = share_out([], [case], replace(figures, water_m3=figures.expected_m3))
    assert expected == pytest.approx(figures.expected_m3 + 1.0)
    assert sum(lost.values()) == pytest.approx(1.0)


def test_between_its_tries_a_pump_that_stands_all_day_loses_the_day_s_water() -> None:
    """A controller gives up against a shut pipe and waits for hours: the whole day is the shut pipe's, and not "other"."""
    facts, rows, _ = _season("samples", 4, "full", "closed-delivery")
    plant = pipeline.begin(facts).plant
    day = int(plant.days.day_of(int(rows.time_ms[-1]))) - 3
    (figures,) = figures_of(plant, look(plant, rows, range(day, day + 1)), range(day, day + 1))
    dry = replace(figures, water_m3=0.0, tank_full_m3=0.0, switched_off_m3=0.0, held_m3=0.0)
    case = Case("no-water", "closed-delivery", "closed-delivery", 0, 1, 0, 0, water_lost_m3=5.0)
    before = case.copied()
    case.water_lost_m3, case.seen_ms = 5.3, 1
    _, lost = share_out([before], [case], dry)
    assert case.water_lost_m3 == pytest.approx(5.0 + figures.expected_m3)
    assert "other" not in lost
    for ended, seen, came in ((0, 1, 0.0), (None, 0, 0.0), (None, 1, 0.5 * figures.expected_m3)):
        over = replace(before.copied(), ended_ms=ended, seen_ms=seen)
        got = share_out([before], [over], replace(dry, water_m3=came))[1]["other"]
        assert got == pytest.approx(figures.expected_m3 - came, abs=1e-3), "over, not seen, or water came"
    stands = Case("over-voltage", "over-voltage", "over-voltage", 0, 1, 0, 0)
    stood = replace(stands.copied(), seen_ms=1)
    share_out([stands], [stood], dry)
    assert stood.water_lost_m3 == pytest.approx(figures.expected_m3), "the controller waits for a lower voltage"
