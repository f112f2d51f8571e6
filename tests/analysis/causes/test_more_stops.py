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
from tests.analysis.causes.test_standing_rules import DAY_MS, FACTS, case_of

MANY = 6
CODELESS = replace(
    FACTS, sensors=replace(FACTS.sensors, channels=tuple(c for c in FACTS.sensors.channels if c != "fault_code"))
)


def view_of(day: int, memory: Memory) -> Any:
    days = SimpleNamespace(open_ms=lambda d: d * DAY_MS, daylight_ms=lambda d, _m: (d * DAY_MS, (d + 1) * DAY_MS))
    seen = SimpleNamespace(rows=Rows(np.zeros(1, np.int64), {}))
    return SimpleNamespace(facts=CODELESS, memory=memory, day=day, days=days, until_ms=(day + 1) * DAY_MS, columns=seen)


def told_on(
    counts: list[int], monkeypatch: pytest.MonkeyPatch, ran_h: float = 8.0, evident: bool = True
) -> list[tuple[int, str]]:
    """The days on which it is told, and as what, of a season with so many stops a day."""
    monkeypatch.setattr(tested, "_told_elsewhere", lambda _view: False)
    memory, found = Memory(), []
    for day, count in enumerate(counts):
        stops = Stops(count, evident and count > 0, day * DAY_MS + 1, day * DAY_MS + 2, ran_h)
        monkeypatch.setattr(tested, "stops_of", lambda _view, stops=stops: stops)
        view = view_of(day, memory)
        episodes = more_stops(view)
        found += [(day, episode.cause or "") for episode in episodes]
        memory.arrays |= kept_stops(view)
        if episodes:
            memory.cases = [case_of(episodes[0].cause or "", episodes[0].cause or "", float(day))]
    return found


def test_four_days_of_stops_where_there_never_were_any_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    found = told_on([0] * 25 + [MANY] * 8, monkeypatch)
    assert found[0] == (25 + LIMITS.days - 1, "controller-trip")
    assert len(found) == 5, "and again on each day on which it goes on"
    assert told_on([0] * 25 + [MANY] * 8, monkeypatch, ran_h=3.0)[0][1] == "short-cycling", "more than one an hour"


def test_a_place_of_clouds_a_single_day_and_a_new_site_say_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert told_on([0, 4, 7, 1, 5] * 6 + [MANY] * 8, monkeypatch) == []
    assert told_on([0] * 25 + [MANY, 0, 0, 0, 0, 0, 0, 0] * 3, monkeypatch) == []
    assert told_on([0] * 10 + [MANY] * 3, monkeypatch) == []
    assert told_on([0] * 25 + [MANY] * 8, monkeypatch, evident=False) == [], "days of weak sun"
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
