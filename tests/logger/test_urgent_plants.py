"""The board's judgement on simulated plants, with the [pump] table that `wellhand enrol --site` writes: named within a minute, by its
right name where the load tells, and a healthy day of clouds, starts and a full tank raises nothing."""

import math
import tomllib
from collections import deque
from datetime import UTC, datetime, timedelta

import pytest

from logger.enrolment import pump_table
from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site
from logger.record.tables import Tables
from logger.running import Sample, expected_volume_m3
from logger.settings_tables import PumpFacts
from logger.urgent import STEPS_MIN, judge
from samples.faults import Fault
from samples.scenario import SITES
from samples.season import make_season

START = datetime(2026, 1, 10, tzinfo=UTC)
NINE = START + timedelta(hours=9)
STEP_S = 5
LOAD_TOLD = ("cistern-hill", "dustmill", "thornwell")


def pump_facts(facts: SiteFacts) -> PumpFacts:
    tables = Tables("board.toml")
    made = tables.typed(PumpFacts, tomllib.loads(pump_table(facts))["pump"])
    assert made is not None, tables.problems
    return made


def seen(facts: SiteFacts, faults: list[Fault], from_: datetime, until: datetime, seed: int, step_s: int = STEP_S):
    """(seconds after NINE, sample) of one simulated day."""
    frame, _ = make_season(facts, faults, from_, until, step_s=step_s, seed=seed)
    times = [when.timestamp() - NINE.timestamp() for when in frame.pop("time")]
    for at_s, row in zip(times, frame.to_numpy().tolist(), strict=True):
        read = dict(zip(frame.columns, (None if math.isnan(one) else one for one in row), strict=True))
        yield at_s, Sample(at_s, read)


def first_told(name: str, cause: str, seed: int) -> tuple[str, float, deque]:
    facts = load_site(SITES / f"{name}.toml")
    known = pump_facts(facts)
    last: deque[Sample] = deque(maxlen=720)
    fault = Fault(cause, NINE, severity=1.0)
    for at_s, sample in seen(facts, [fault], NINE - timedelta(minutes=20), NINE + timedelta(minutes=20), seed):
        last.append(sample)
        told = [verdict for verdict in judge(last, known) if verdict.is_so]
        if told:
            assert at_s > 0, f"{told} before anything was wrong"
            return told[0].cause, at_s, last
    raise AssertionError("never told")


@pytest.mark.parametrize("cause", ["dry-running", "closed-delivery", "broken-shaft"])
@pytest.mark.parametrize("name", LOAD_TOLD)
def test_no_water_is_named_within_a_minute_or_three_steps_of_the_meter(name, cause):
    named, at_s, last = first_told(name, cause, seed=1)
    assert named == cause
    facts = pump_facts(load_site(SITES / f"{name}.toml"))
    since = [one for one in last if one.at_s > 0]
    due = expected_volume_m3(since, facts) or 0.0
    steps = due / facts.meter_step_m3 if facts.meter_step_m3 and "flow_m3_h" not in since[-1].values else 0.0
    assert at_s <= 60 or steps <= STEPS_MIN + 1, f"told after {at_s:.0f} s"
    print(f"{name}: {cause} after {at_s:.0f} s")


@pytest.mark.parametrize(("name", "seed"), [("cistern-hill", 21), ("dustmill", 22), ("far-gate", 23)])
def test_a_healthy_day_raises_nothing(name, seed):
    facts = load_site(SITES / f"{name}.toml")
    known = pump_facts(facts)
    last: deque[Sample] = deque(maxlen=60)
    for at_s, sample in seen(facts, [], START, START + timedelta(days=1), seed, step_s=30):
        last.append(sample)
        assert [verdict for verdict in judge(last, known) if verdict.is_so] == [], f"{at_s:.0f} s after nine"
