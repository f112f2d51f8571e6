"""How long it has stood, and since when, by the days in memory: what is known at a day's end, and asked of on the next.

Flow: symptoms.DayView -> HERE -> close.py (memory's numbers); not_turning.py, untold.py ask of it.
Never: judgement of this day's rows.
"""

import math
import re
from dataclasses import dataclass

from analysis.plant import plant_of
from analysis.running import last_turned, running_in
from analysis.summary import DaySummary
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class StoodLimits:
    """Common practice, no source."""

    ran_h: float = 0.1
    tried_share: float = 0.5  # of the sunny hours: a controller rests between its tries for longer than they take
    sunny_h: float = 2.0
    came: float = 0.1  # of the sun's water: more than a meter counts of itself
    told: float = 0.3  # of the sun's water, lost while a float or a switch that is read told it to stand
    own_most: float = 0.75  # of full power: more is no property of a sound installation
    own_keeps: float = 0.8  # a day, of what it last needed


LIMITS = StoodLimits()
SINCE, SINCE_H = "stood_since_ms", "stood_h"
STARTS_W = "starts_w"
TOLD = ("tank-full", "switched-off")
OFF = re.compile(
    r"\b(switch|turn)\w*( \w+){0,2} off\b|\bshut\w*( \w+){0,2} (off|down)\b|\bpump (is |was )?off\b|\bout of use\b",
    re.I,
)
ON_AGAIN = re.compile(r"\b(on again|back on|off and on)\b|\brestart", re.I)
NOT_BY_HAND = re.compile(r"\b(not|never|itself|its own|found|valve|tap|error|fault\w*|alarm|tripp\w*)\b|n't\b", re.I)
"""Words beside which "off" tells of something else, or of no hand."""
HALTED = "halted_day"
"""In the memory's numbers: the last day that ended so."""


def turned_off(view: DayView, ran_today: bool) -> bool:
    """A visit's note says that somebody switched it off, on the day on which it last ran or since."""
    notes = [visit.date for visit in view.facts.visits if _off(visit.note)]
    if not notes:
        return False
    day = view.day
    if not ran_today:
        ran = [place for place, past in enumerate(reversed(view.memory.days)) if past.pumping_h > LIMITS.ran_h]
        day -= 1 + ran[0] if ran else 1 + len(view.memory.days)
    return any(day <= view.days.day_of_date(date) <= view.day for date in notes)


def _off(note: str) -> bool:
    return bool(OFF.search(note)) and not ON_AGAIN.search(note) and not NOT_BY_HAND.search(note)


def array_lost(view: DayView) -> float:
    """Share of the array's power that open findings say is missing: what is left may not start the pump."""
    lost = [c.size[0] for c in view.memory.cases if c.ended_ms is None and c.size and c.cause in TAKES_ARRAY]
    return float(min(sum(lost), MOST_LOST))


TAKES_ARRAY = ("string-out", "panel-soiling")
MOST_LOST = 0.8


def own_start(view: DayView) -> dict[str, float]:
    """For the memory's numbers, at the day's end: what the measured sun offered, of the array at work, when this pump first started for good. [W]

    Controllers differ in what they start at, and a shaded morning delays it: what it does every day is no fault.
    """
    offered_w = running_in(view).offered_w
    if offered_w is None:
        return {}
    most = LIMITS.own_most * plant_of(view.facts).full_power_w
    offered = min((1.0 - array_lost(view)) * offered_w, most)
    kept = view.memory.numbers.get(STARTS_W, offered)
    return {STARTS_W: max(offered, LIMITS.own_keeps * kept + (1.0 - LIMITS.own_keeps) * offered)}


def days_idle(view: DayView) -> int:
    """Sunny days in a row, up to yesterday, on which it never ran: what is switched off for the day is switched on again."""
    count = 0
    for day in reversed(view.memory.days):
        if not idle(day):
            break
        count += 1
    return count


def idle(day: DaySummary) -> bool:
    """With sun enough, measured or supposed, it never ran, or only tried and brought nothing."""
    if not day.pumping_h and (day.water_m3 or 0.0) > LIMITS.came * (day.expected_m3 or math.inf):
        return False  # nothing read its running, and its water came
    if sum(day.lost_m3.get(name, 0.0) for name in TOLD) > LIMITS.told * (day.expected_m3 or math.inf):
        return False
    tried = LIMITS.tried_share * day.sunny_h if day.water_m3 == 0 else LIMITS.ran_h
    return day.sunny_h >= LIMITS.sunny_h and day.pumping_h <= max(tried, LIMITS.ran_h)


def halted(view: DayView) -> bool:
    """At the day's end it stands since it was stopped while it ran with power to spare: today, or on a day before."""
    today = running_in(view).halted
    return view.memory.numbers.get(HALTED) == view.day - 1 if today is None else today


def standing(view: DayView, episodes: list[Episode]) -> dict[str, float]:
    """For the memory's numbers, at the day's end: since when it has stood [ms], and for how many sunny hours; empty where it runs."""
    seen = view.columns
    last = [e for e in episodes if e.symptom == "not-turning"][-1:]
    known = {name: view.memory.numbers[name] for name in (SINCE, SINCE_H) if name in view.memory.numbers}
    if not last and not known:
        return {}
    turned = last_turned(seen)
    if seen is not None and turned is not None:
        final = int(seen.time_ms[turned])
        last, known = [e for e in last if e.seen_ms > final], {}
    for episode in last:
        hours = known.get(SINCE_H, 0.0) + episode.hours
        known = {SINCE: known.get(SINCE, float(episode.began_ms)), SINCE_H: hours}
    return known
