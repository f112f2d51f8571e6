"""How odd the days must be for more than a first, known fault to be told of: a second one beside it, or one that nobody knows.

Flow: slow.py (alarms) -> HERE -> slow_life.py.
Never: which cause it is.
"""

from analysis.slow import Alarm

STRANGE_DAYS, STRANGE_RATIO = 5, 15.0
SECOND_DAYS, SECOND_RATIO = 3, 20.0


def a_second(alarm: Alarm) -> bool:
    """A second fault beside an open one must not be the first one's own strangeness."""
    return alarm.shift.days >= SECOND_DAYS and alarm.ratio >= SECOND_RATIO


def strange(alarm: Alarm) -> bool:
    """Nobody is sent out for a riddle of a day or two."""
    return alarm.shift.days >= STRANGE_DAYS and alarm.ratio >= STRANGE_RATIO
