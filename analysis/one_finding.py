"""One fault is one finding: what an open finding explains is told by it, and what it is called may change with what the days show.

Flow: life.py (episodes), slow_life.py (verdicts of the days) -> HERE -> the case that goes on, or none.
Never: weighing of causes, which diagnosis.py does; a look past the flag that is asked about.
"""

from analysis.at_flag import verdict_at_flag
from analysis.calibration import stated
from analysis.come_again import STILL_MS
from analysis.held_on import HOT_AGAIN
from analysis.memory import Case, Memory, waits
from analysis.no_water import GONE
from analysis.solar_days import DAY_MS, HOUR_MS
from analysis.symptoms import DayView, Episode
from analysis.untold import OF_SHARE

RUNS_OUT = "riser-leak"
FLOW_SHARE_LOST = OF_SHARE
"""Causes that the day's figures tell of by a share of the flow: more than all of it at low sun."""
TOLD_TWICE_MS = 2 * DAY_MS  # since it last showed: two sunny days tell, and a dull one may lie between
HARDLY_H = 0.8  # a day: a tenth of its sunny hours; in all the others water came
PROBE = "low_level_probe_wet"
SECOND_OWN = 0.68
"""Confidence of its own name from which a second finding is told of beside one that lasts: of 32 of drawn seasons of four plants that were less sure 4
were true, of 28 that were as sure 20."""
APART = frozenset({"silent", "over-voltage"})
"""What moves no figure of pump, well and light: volts above the rating are read while it stands."""
SAID_BY = {("sensor-fault", PROBE): "dry-running", ("short-cycling", None): "closed-delivery"}
"""What belongs to another fault while that lasts, by cause and channel: a pump that runs dry under a probe which says wet is told of with the
words to test the probe, and one that stops itself against a shut pipe tries again and again."""
SAME_HOUR_MS = HOUR_MS  # for a pump without water and the probe over it to be told of
SAME_DAYS = 10  # the same cause again within so many days is the same fault going on
AGAIN_DAYS = HOT_AGAIN | {"string-out": 30}
"""Likewise where it comes and goes: a hot spell's, and a plug that makes and breaks contact as it warms and cools (common practice, no source)."""


def told_by_the_days(view: DayView, cases: list[Case], episode: Episode) -> bool:
    """Water that runs out somewhere while the day's figures tell of lost flow already: at low sun such a loss takes all that there is.

    Judged by what was known at the flag alone, as whether it is nothing.
    """
    if episode.symptom != "no-water" or episode.cause is not None:
        return False
    if not any(c.family == "slow-hydraulic" and c.cause in FLOW_SHARE_LOST and c.ended_ms is None for c in cases):
        return False
    return verdict_at_flag(view, episode).cause == RUNS_OUT


def a_second(memory: Memory, before_ms: int) -> bool:
    """Whether a finding told before lasts: what it does that no model of it knows looks like some other fault."""
    return any(
        case.ended_ms is None and case.flagged_ms < before_ms and case.cause not in APART and not waits(case)
        for case in memory.cases
    )


def hardly_a_second(view: DayView, episode: Episode) -> bool:
    """Whether an episode beside an open finding is no clear one of its own: judged by what was known at the flag and at yesterday's close."""
    if episode.cause is not None or not a_second(view.memory, episode.flag_ms):
        return False
    verdict = verdict_at_flag(view, episode)
    return stated(verdict.confidence, {})[0] < SECOND_OWN


def said_by_another(view: DayView, cases: list[Case], episode: Episode) -> bool:
    """Whether a finding told before the episode's flag says it already: one open at yesterday's close, or of the same hour."""
    said_by = SAID_BY.get((episode.cause or "", episode.channel))
    if said_by is None:
        return False
    again_ms = (
        STILL_MS if episode.channel == PROBE else 0
    )  # a well that gives out comes and goes, and the probe over it says wet all along
    before = [case for case in view.memory.cases if case.cause == said_by]
    if any(case.ended_ms is None or episode.began_ms - case.ended_ms < again_ms for case in before):
        return True
    return any(
        case.first_cause == said_by
        and case.flagged_ms <= episode.flag_ms
        and abs(episode.began_ms - case.flagged_ms) < SAME_HOUR_MS
        for case in cases
    )


def taken_over(cases: list[Case], family: str, close_ms: int) -> Case | None:
    """What was told of within the day, as a case of the days' figures once they tell of a loss: one finding, whose cause they may revise.

    A hole; or what let no water come for minutes of days on which it came in all other hours: whatever keeps all of it away does so as long
    as it lasts, and a loss takes all of it at low sun alone.
    """
    for case in reversed(cases):
        if case.family != "no-water":
            continue
        hole = case.cause == RUNS_OUT and close_ms - case.seen_ms <= TOLD_TWICE_MS
        hardly = case.hours <= HARDLY_H * max((close_ms - case.began_ms) / DAY_MS, 1.0)
        if hole or (case.cause in GONE and hardly and close_ms - case.seen_ms <= STILL_MS):
            case.family, case.ended_ms, case.healthy, case.began_ms = family, None, 0.0, 0
            case.weighed = {"began_ms": float(case.flagged_ms)}  # told of, so begun
            return case
    return None


def reopened(memory: Memory, family: str, cause: str, channel: str | None, close_ms: int) -> Case | None:
    """The ended case that the days show again: of the same cause; of a channel that lies, however it was seen to lie before."""
    for case in reversed(memory.cases):
        of_channel = cause == "sensor-fault" == case.cause and channel is not None and case.channel == channel
        if case.ended_ms is None or case.cause != cause or not (case.family == family or of_channel):
            continue
        if close_ms - case.ended_ms <= AGAIN_DAYS.get(cause, SAME_DAYS) * DAY_MS:
            if case.family != family:
                case.family, case.weighed = family, {"began_ms": float(case.began_ms)}
            case.ended_ms, case.healthy = None, 0.0
            case.weighed.pop("worked_on", None)
            return case
    return None
