"""What people did when it ended tells what it was."""

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from analysis.diagnosis import NOTHING, Verdict
from analysis.mended import LEADS, LIFTED, mark, mended, words_of
from logger.record.site_facts import Visit
from tests.analysis.causes.test_standing_rules import DAY_MS, FACTS, case_of

LIGHT = {"broken-shaft": 0.6, "dry-running": 0.3, "reverse-rotation": 0.05, NOTHING: 0.05}
FIRST = date(2030, 1, 1)


def view_with(kind: str, day: int, now: int = 11) -> Any:
    facts = replace(FACTS, visits=(Visit(FIRST + timedelta(days=day), kind, ""),))
    days = SimpleNamespace(day_of=lambda ms: int(ms // DAY_MS), day_of_date=lambda at: (at - FIRST).days)
    return SimpleNamespace(facts=facts, days=days, day=now)


@pytest.mark.parametrize(("kind", "cause"), [(LEADS, "reverse-rotation"), (LIFTED, "broken-shaft")])
def test_work_that_mended_it_names_it(kind: str, cause: str) -> None:
    case = case_of("no-water", "broken-shaft", seen_day=9.5)
    assert mended(Verdict(LIGHT), case).shares == LIGHT, "nothing is known to have been done"
    assert words_of(case) == ""
    assert mark(view_with(kind, 10), case)
    after = mended(Verdict(LIGHT), case)
    assert after.cause == cause
    assert after.confidence > 0.85
    assert sum(after.shares.values()) == pytest.approx(1.0)
    assert words_of(case)


def test_only_work_between_the_last_sign_of_it_and_now_speaks() -> None:
    case = case_of("no-water", "dry-running", seen_day=9.5)
    assert not mark(view_with(LEADS, 8), case), "it went on after that"
    assert not mark(view_with(LEADS, 12), case), "it ran well before that"
    assert not mark(view_with("meter-replaced", 10), case)
    assert mark(view_with(LEADS, 9), case), "on the very day"
    assert not mark(view_with(LEADS, 10), case_of("slow-hydraulic", "riser-leak", seen_day=9.5))
