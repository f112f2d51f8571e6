"""More stops than a site ever had: against its own days, on most of the last ones, never by one day alone."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis import more_stops as tested
from analysis.memory import Memory
from analysis.more_stops import LIMITS, MOST, STOPS, WINDOW, Stops, kept_stops, more_stops
from analysis.rows import Rows
from logger.record.site_facts import SiteFacts
from tests.analysis.causes.test_standing_rules import DAY_MS, FACTS, case_of

MANY = 6


def without(*channels: str) -> SiteFacts:
    return replace(
        FACTS, sensors=replace(FACTS.sensors, channels=tuple(c for c in FACTS.sensors.channels if c not in channels))
    )


CODELESS = without("fault_code")


def view_of(day: int, memory: Memory, facts: SiteFacts = CODELESS) -> Any:
    days = SimpleNamespace(open_ms=lambda d: d * DAY_MS, daylight_ms=lambda d, _m: (d * DAY_MS, (d + 1) * DAY_MS))
    seen = SimpleNamespace(rows=Rows(np.zeros(1, np.int64), {}))
    return SimpleNamespace(facts=facts, memory=memory, day=day, days=days, until_ms=(day + 1) * DAY_MS, columns=seen)


def told_on(
    counts: list[int],
    monkeypatch: pytest.MonkeyPatch,
    ran_h: float = 8.0,
    short: float = 1.0,
    facts: SiteFacts = CODELESS,
    weak: str = "never",
    same: float = 1.0,
    stood: tuple[float, ...] = (12.0, 15.0, 14.0),
    runs: tuple[float, ...] = (),
) -> list[tuple[int, str]]:
    """The days on which it is told, and as what, of a season with so many stops a day."""
    monkeypatch.setattr(tested, "_told_elsewhere", lambda _view: False)
    memory, found = Memory(), []
    for day, count in enumerate(counts):
        dull = weak == "always" or (weak == "with stops" and count > 0)
        stops = Stops(count, dull, day * DAY_MS + 1, day * DAY_MS + 2, ran_h, short, same, runs, stood)
        monkeypatch.setattr(tested, "stops_of", lambda _view, stops=stops: stops)
        view = view_of(day, memory, facts)
        episodes = more_stops(view)
        found += [(day, episode.cause or "") for episode in episodes]
        memory.arrays |= kept_stops(view)
        if episodes:
            memory.cases = [case_of(episodes[0].cause or "", episodes[0].cause or "", float(day))]
    return found


def test_some_days_of_stops_where_there_never_were_any_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    found = told_on([0] * 40 + [MANY] * 8, monkeypatch)
    assert found[0] == (42, "controller-trip"), "the third"
    assert len(found) == 6, "and again on each day on which it goes on"
    assert told_on([0] * 90 + [MANY] * 8, monkeypatch)[0][0] == 91, "the second, where more is known"
    assert told_on([0] * 90 + [MANY] * 8, monkeypatch, weak="always")[0][0] == 91, "days of weak sun tell of such days"
    assert told_on([0] * 40 + [MANY] * 8, monkeypatch, same=0.2) == [], "clouds: other light than before"
    assert told_on([0] * 40 + [MANY] * 8, monkeypatch, stood=(2.0, 9.0, 30.0)) == [], "clouds: as long as chance has it"
    assert told_on([0] * 40 + [MANY] * 8, monkeypatch, ran_h=2.0)[0][1] == "short-cycling", "three an hour"
    often = [0] * 40 + [MANY] * 8
    assert told_on(often, monkeypatch, ran_h=4.0, runs=(20.0, 24.0, 22.0))[0][1] == "short-cycling", "as even as a wire"
    assert told_on(often, monkeypatch, ran_h=4.0, runs=(3.0, 90.0, 22.0))[0][1] == "controller-trip", "as chance has it"
    assert told_on(often, monkeypatch, ran_h=2.0, runs=(3.0, 90.0, 22.0))[0][1] == "controller-trip", "however often"


def test_a_place_of_clouds_a_single_day_and_a_new_site_say_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert told_on([0, 4, 7, 1, 5] * 8, monkeypatch) == []
    assert told_on([0] * 25 + [MANY, 0, 0, 0, 0, 0, 0, 0] * 3, monkeypatch) == []
    assert told_on([0] * 10 + [MANY] * 3, monkeypatch) == []
    assert told_on([0] * 25 + [MANY] * 8, monkeypatch, weak="with stops") == [], (
        "days of weak sun, of which none was seen before"
    )
    unread = without("fault_code", "tank_float_up")
    assert told_on([0] * 25 + [MANY] * 8, monkeypatch, short=0.0, facts=unread) == [], "a tank may be full"
    assert told_on([0] * 25 + [MANY] * 8, monkeypatch, facts=unread), "no run of these fills one"
    assert told_on([0] * 25 + [LIMITS.least - 1] * 8, monkeypatch) == []


def test_what_is_kept_is_small_and_days_of_the_fault_do_not_become_usual(monkeypatch: pytest.MonkeyPatch) -> None:
    memory = Memory()
    monkeypatch.setattr(tested, "stops_of", lambda _view: Stops(0, False, 0, 0, 8.0))
    for day in range(40):
        memory.arrays |= kept_stops(view_of(day, memory))
    kept = memory.arrays[STOPS]
    assert kept[:MOST].tolist() == [40.0 - WINDOW] + [0.0] * (MOST - 1)
    memory.cases = [case_of("short-cycling", "short-cycling", 39.0)]
    assert kept_stops(view_of(40, memory))[STOPS][:MOST].sum() == 40 - WINDOW
    monkeypatch.setattr(tested, "stops_of", lambda _view: Stops(0, False, 0, 0, float("nan")))
    assert kept_stops(view_of(40, memory))[STOPS].tolist() == kept.tolist(), "a dull day tells nothing"
