"""Whether a shift has lasted for more than one odd day.

Flow: slow.py (alarms, daily amounts), flow_lost.py (the days' water) -> HERE -> slow_life.py.
Never: which cause it is.
"""

from dataclasses import dataclass

import numpy as np

from analysis.estimates.bench import DAY_SHARE
from analysis.estimates.effects import FLOW_PLACES
from analysis.flow_lost import WATER, Lost, lost_by_day
from analysis.learning import Learnt
from analysis.memory import Memory
from analysis.rows import Floats
from analysis.slow import FLOW_LOST, Alarm, SlowBench

SHOWS = 0.5  # of the amount found
SURELY_THERE = 3.0  # standard deviations of the amount found
WATER_MISSED = 0.12  # share of a day's water: three times what a sound day under cloud may be short of (flow_lost.py)
ENOUGH_DUE = 0.2  # of the most that was due on a day of these: a day of a few minutes tells nothing


@dataclass(frozen=True)
class Watered:
    """The water that days missed at their own power, and what share of it the alarm's loss would be; None where it costs no flow."""

    lost: Lost
    share: float


def watered(bench: SlowBench, learnt: Learnt, memory: Memory, alarm: Alarm, days: int) -> Watered | None:
    """Of the last `days` days."""
    effect = bench.effects[alarm.form]
    if bench.causes[alarm.form] not in FLOW_LOST or not (effect.direction[FLOW_PLACES] != 0.0).any():
        return None
    share = effect.share_lost(np.array([alarm.amount]), DAY_SHARE)
    return Watered(lost_by_day(learnt, memory.arrays.get(WATER), days), float(share[0]))


def lasts(amounts: Floats, alarm: Alarm, water: Watered | None) -> bool:
    """The two newest days that tell each show it: one odd day is a thirsty herd at the pipe, lost pulses, a hand on a valve.

    What grows, or came in the afternoon, was less on the day before: enough that it was surely there. And a day of broken cloud, on which
    the pump never ran steadily enough for a test, still counts its water against its power: where much of it is missed, too, that is a second day.
    """
    telling = np.flatnonzero(~np.isnan(amounts))
    newest, shown = amounts[telling[-2:]], SHOWS * alarm.amount
    if not len(newest) or newest[-1] < shown:
        return False
    if len(newest) == 2 and newest[0] >= min(shown, SURELY_THERE * alarm.std):
        return True
    since = int(telling[-2]) + 1 if len(newest) == 2 else len(amounts) - alarm.shift.days
    return water is not None and _missed(water, since, int(telling[-1]))


def _missed(water: Watered, since: int, but: int) -> bool:
    """Whether any day from `since` on, `but` for the one that tells already, misses water as the alarm says."""
    days = np.arange(since, len(water.lost.share))
    days = days[days != but]
    share, due = water.lost.share[days], water.lost.due_m3[days]
    with np.errstate(invalid="ignore"):
        much = share >= max(SHOWS * water.share, WATER_MISSED)
    return bool((much & (due > ENOUGH_DUE * water.lost.due_m3.max(initial=0.0))).any())
