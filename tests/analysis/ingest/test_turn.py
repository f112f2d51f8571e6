"""A season that arrives live, in pieces, late, doubled and out of order, ends in the findings of one that came in order."""

import random
import threading
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis import pipeline
from analysis.clock import Clock
from analysis.rounds import Rounds
from analysis.season import review_rows, rows_of_frame
from analysis.store import open_store, state
from analysis.store.readings import take
from analysis.turn import DISPROVED, LINK_WAS_DOWN, TOLD_ANEW, days_change, turn, why_withdrawn
from logger.record.finding import Finding, Size
from logger.record.reading import Reading

BOOT = "000001-aaaaaaaa"
DAY_MS = 86_400_000


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    """Twelve days, every ten minutes; the sixth is silent from morning to evening, on the ninth the pump runs dry."""
    time = pd.date_range("2025-11-01T00:00:00Z", periods=12 * 144, freq="10min").as_unit("ms")
    hour = np.asarray(time.hour + time.minute / 60)
    sun = np.clip(np.sin(np.pi * (hour - 4) / 12), 0, None)
    power = np.where(sun > 0.1, 1500 * sun, 0.0)
    flow = np.interp(power, [0, 466, 1518], [0, 1.17, 4.95]) * (power > 300)
    day = np.asarray((time - time[0]).days)
    dry = (day == 8) & (hour >= 7) & (hour < 12)
    flow[dry], power[dry] = 0.0, 0.5 * power[dry]
    columns = {
        "time": time,
        "pv_voltage_v": np.where(sun > 0, 215.0, 0.0),
        "pv_current_a": np.round(power / 215.0, 2),
        "volume_m3": np.round(np.floor(np.cumsum(flow) / 6 / 0.01) * 0.01, 2),
        "motor_running": (power > 300).astype(float),
    }
    silent = (day == 5) & (hour >= 6) & (hour < 16)
    return pd.DataFrame(columns)[~silent].reset_index(drop=True)


@pytest.fixture(scope="module")
def readings(frame) -> list[Reading]:
    """The frame as a board sends it."""
    times = frame["time"].astype("int64").tolist()
    values = frame.drop(columns="time").to_dict("records")
    return [
        Reading("north", at, dict(row), BOOT, seq) for seq, (at, row) in enumerate(zip(times, values, strict=True), 1)
    ]


def arrive(store, some: list[Reading]) -> None:
    """One batch from the broker."""
    with store.changing("north") as (connection, number):
        take(connection, number, some)


def plain(findings) -> list[dict]:
    """What order of arrival may not change: all but how often it was revised."""
    return sorted(
        ({**one.as_dict(), "revision": 0} for one in findings if not one.withdrawn), key=lambda one: one["id"]
    )


def test_in_pieces_as_in_one_review(store, readings, frame):
    end_ms = readings[-1].time_ms
    for start in range(0, len(readings), 37):
        arrive(store, readings[start : start + 37])
        turn(store, "north", readings[min(start + 36, len(readings) - 1)].time_ms)
    whole = review_rows(store.site_facts("north"), rows_of_frame(frame), end_ms)
    assert plain(store.findings("north")) == plain(whole.findings)
    assert {one.cause for one in whole.findings} >= {"silent"}
    assert store.days("north", "2025-01-01", "2026-01-01") == list(whole.days)
    assert store.now("north").time_ms == end_ms


@pytest.mark.parametrize("seed", range(3))
def test_shuffled_doubled_late_and_through_restarts(store, readings, frame, seed):
    dice = random.Random(seed)
    batches = [readings[start : start + 50] for start in range(0, len(readings), 50)]
    order = sorted(range(len(batches)), key=lambda n: n + dice.choice([0, 0, 0, 1, 5, 12, 40]))
    for count, n in enumerate(order):
        arrive(store, dice.sample(batches[n], len(batches[n])))
        if dice.random() < 0.2:
            arrive(store, batches[dice.choice(order[: count + 1])])
        if dice.random() < 0.7:
            turn(store, "north", max(batches[m][-1].time_ms for m in order[: count + 1]))
        if dice.random() < 0.1:
            store.close()
            store = open_store(store.url)
    end_ms = readings[-1].time_ms
    turn(store, "north", end_ms)
    whole = review_rows(store.site_facts("north"), rows_of_frame(frame), end_ms)
    assert plain(store.findings("north")) == plain(whole.findings)
    assert store.days("north", "2025-01-01", "2026-01-01") == list(whole.days)


def test_a_silence_whose_readings_come_later_is_withdrawn_with_the_reason(store, readings):
    before = [one for one in readings if one.time_ms < readings[0].time_ms + 3 * DAY_MS]
    arrive(store, before)
    turn(store, "north", readings[0].time_ms + 4 * DAY_MS)
    told = [one for one in store.findings("north") if one.cause == "silent"]
    assert [one.withdrawn for one in told] == [None]
    arrive(store, [one for one in readings if one.time_ms <= readings[0].time_ms + 4 * DAY_MS])
    turn(store, "north", readings[0].time_ms + 4 * DAY_MS)
    after = next(one for one in store.findings("north") if one.id == told[0].id)
    assert (after.withdrawn, after.revision) == (LINK_WAS_DOWN, told[0].revision + 1)
    assert told[0].id not in [one.id for one in store.findings("north", open_only=True)]
    assert store.unsent("findings")


def test_the_same_silence_under_another_id_is_pointed_to(store, readings):
    """Two days are held back; of the first all comes late, so that the silence of the second is one that began a day later."""
    start = readings[0].time_ms
    late = [one for one in readings if 4 <= (one.time_ms - start) / DAY_MS < 6]
    arrive(store, [one for one in readings if one not in late and one.time_ms < start + 8 * DAY_MS])
    turn(store, "north", start + 8 * DAY_MS)
    (told,) = [one for one in store.findings("north") if one.cause == "silent"]
    arrive(store, late)
    turn(store, "north", start + 8 * DAY_MS)
    found = {one.id: one for one in store.findings("north") if one.cause == "silent"}
    old = found.pop(told.id)
    (now,) = found.values()
    assert (now.withdrawn, now.began > told.began) == (None, True)
    assert (old.withdrawn, old.revision) == (TOLD_ANEW.format(id=now.id, began=now.began), told.revision + 1)


@pytest.mark.parametrize(
    ("given", "pointed"),
    [
        ({}, True),
        ({"ended": None}, True),
        ({"part": "wall"}, True),
        ({"cause": "closed-delivery"}, False),
        ({"channel": "flow_m3_h"}, False),
        ({"began": "2025-11-01T06:00:00Z", "ended": "2025-11-02T06:00:00Z"}, False),
        ({"began": "2025-11-07T06:00:00Z", "ended": None}, False),
    ],
)
def test_only_the_same_fault_at_the_same_time_is_pointed_to(given, pointed):
    old = Finding("old", "riser-leak", "riser-leak", "2025-11-03T06:00:00Z", "2025-11-04T06:00:00Z", 0.9, "", "")
    old = replace(old, ended="2025-11-06T06:00:00Z")
    same = replace(old, id="new", **({"began": "2025-11-02T06:00:00Z"} | given))
    said = TOLD_ANEW.format(id="new", began=same.began) if pointed else DISPROVED
    assert why_withdrawn(old, (same,)) == said


def test_a_silence_whose_readings_came_is_not_called_a_later_one():
    """It lasted ten hours as far as was known; the board fell silent again two weeks on."""
    old = Finding("old", "silent", "silent", "2025-11-03T06:00:00Z", "2025-11-03T14:00:00Z", 0.9, "", "")
    old = replace(old, size=Size("duration", 10.0, 8.0, 10.0, "h"))
    later = replace(old, id="new", began="2025-11-19T06:00:00Z")
    assert why_withdrawn(old, (later,)) == LINK_WAS_DOWN


def test_days_are_written_again_where_what_they_lost_has_another_name() -> None:
    """What was followed before anyone was told has lost water on days that stand in the store already."""
    old = Finding("old", "panel-soiling", "panel-soiling", "2025-11-03T06:00:00Z", "2025-11-20T06:00:00Z", 0.6, "", "")
    assert not days_change((old,), {"old": old})
    assert days_change((old,), {})
    assert days_change((replace(old, cause="shading"),), {"old": old})


def test_a_turn_that_fails_keeps_nothing_and_comes_again(store, readings, monkeypatch):
    arrive(store, readings[:200])
    rounds = Rounds(store, Clock(readings[200].time_ms, 0, 1e-9), threading.Event())

    def fails(*_):
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr("analysis.turn.summaries.put_now", fails)
        assert rounds.once() == 0
    assert (store.now("north"), store.findings("north")) == (None, [])
    assert [one.what for one in store.tallies("north")] == ["failed"]
    assert rounds.once() == 0, "left alone for a while"
    rounds._not_before_s.clear()
    assert rounds.once() == 1
    assert store.now("north") is not None
    assert rounds.once() == 0, "nothing new"


def test_new_facts_have_the_site_run_again(store, site_text, readings):
    arrive(store, readings)
    turn(store, "north", readings[-1].time_ms)
    with store.reading() as connection:
        old = store.site_facts("north").digest
        assert len(state.closes(connection, 1, old)) >= 10
    store.put_site(site_text("north").replace("static_level_m = 38.0", "static_level_m = 45.0"))
    done = turn(store, "north", readings[-1].time_ms)
    assert done is not None
    assert done.rows == len(readings)
    with store.reading() as connection:
        assert state.closes(connection, 1, old) == []
        assert len(state.closes(connection, 1, store.site_facts("north").digest)) >= 10


def test_a_newer_engine_judges_the_site_again_from_its_rows(store, readings, frame, monkeypatch):
    end_ms = readings[-1].time_ms
    arrive(store, readings[:-1])
    turn(store, "north", readings[-2].time_ms)
    monkeypatch.setattr("analysis.pipeline.ENGINE_VERSION", pipeline.ENGINE_VERSION + 1)
    arrive(store, readings[-1:])
    done = turn(store, "north", end_ms)
    assert done is not None
    assert done.rows == len(readings), "every row, not those of the open day alone"
    whole = review_rows(store.site_facts("north"), rows_of_frame(frame), end_ms)
    assert plain(store.findings("north")) == plain(whole.findings)
    with store.reading() as connection:
        facts = store.site_facts("north")
        for close_ms in state.closes(connection, 1, facts.digest):
            pipeline.loads(state.snapshot(connection, 1, close_ms), facts)
    arrive(store, readings[-1:])
    again = turn(store, "north", end_ms)
    assert again is not None
    assert again.rows < len(readings) / 4, "its own states are gone on from"


def test_a_site_that_never_sent_anything_has_no_turn(store):
    assert turn(store, "south", 1_762_000_000_000) is None
    with pytest.raises(KeyError):
        turn(store, "nowhere", 0)
