"""What went by itself and comes again by the same name: one fault, or another one.

Flow: life.py (an episode that no open case claims) -> HERE -> life.py.
Never: weighing anew.
"""

from analysis.at_flag import verdict_at_flag
from analysis.causes.registry import all_causes
from analysis.memory import Case
from analysis.solar_days import DAY_MS
from analysis.symptoms import WORK, DayView, Episode

ANOTHER = 0.02
"""Chance of a second fault of a kind within so long: what is seen then is the first one come again."""
SHOWS_AGAIN = ("controller-trip", "short-cycling", "over-voltage")
"""Likewise of causes that none competes with; a channel that sticks and a silence are over when they are over."""
YEAR_MS = 365 * DAY_MS
MOST_MS = 30 * DAY_MS
"""After a month of running well people want to be told anew that no water comes (common practice, no source); a string too long shows again in
the next cold season."""
STAYS = frozenset({"broken-shaft", "reverse-rotation", "riser-leak"})
"""What is broken, holed or turned round does not mend by itself: if it ran well since, somebody has mended it, told of or not."""


def come_again(view: DayView, cases: list[Case], episode: Episode) -> Case | None:
    """The case that an episode goes on, though days without it lie between: it was never mended.

    Frost, a float valve that sticks, a well that gives out in dry weeks come and go for months. Where somebody worked on pump or leads
    meanwhile, it may have been mended, or be of that work. Judged by what was known at the flag alone.
    """
    cause = episode.cause
    if cause is None:
        cause = verdict_at_flag(view, episode).cause
    elif cause not in SHOWS_AGAIN:
        return None
    if cause in STAYS or cause not in all_causes():
        return None
    within = ANOTHER / all_causes()[cause].per_year * YEAR_MS
    if episode.cause is None:
        within = min(within, MOST_MS)
    for case in reversed(cases):
        if case.family == episode.symptom and case.cause == cause and episode.began_ms - case.seen_ms < within:
            return None if _worked_between(view, case.seen_ms, episode.began_ms) else case
    return None


def seen_otherwise(view: DayView, cases: list[Case], episode: Episode) -> Case | None:
    """The open case of a shut pipe that an episode of the other symptom goes on.

    Against it a pump is seen to turn for nothing, and to give up and stand, by turns and by the sun: that is one fault.
    """
    if episode.cause is not None or episode.symptom not in SHUT_SHOWS_AS:
        return None
    for case in reversed(cases):
        other = case.family in SHUT_SHOWS_AS and case.family != episode.symptom and case.cause == SHUT
        if other and (case.ended_ms is None or episode.began_ms - case.seen_ms < STILL_MS):
            told = verdict_at_flag(view, episode).cause
            return case if told == SHUT else None
    return None


SHUT, SHUT_SHOWS_AS = "closed-delivery", ("no-water", "not-turning")
STILL_MS = 6 * DAY_MS  # the same thing again within so long is the same fault going on


def _worked_between(view: DayView, first_ms: int, last_ms: int) -> bool:
    done = [view.days.day_of_date(visit.date) for visit in view.facts.visits if visit.kind in WORK]
    return any(view.days.day_of(first_ms) <= day <= view.days.day_of(last_ms) for day in done)
