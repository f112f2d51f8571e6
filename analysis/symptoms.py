"""What fast causes look at, and what they say they saw.

Flow: look.py (columns), memory.py (yesterday's close) -> HERE -> causes/*.py (watch) -> life.py.
Never: weighing of causes (diagnosis.py).
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np

from analysis.memory import Memory
from analysis.rows import Times
from analysis.solar_days import SolarDays
from logger.record.site_facts import SiteFacts

if TYPE_CHECKING:
    from collections.abc import Callable

    from analysis.look import Columns
    from analysis.running import Running

T = TypeVar("T")

WORK = ("leads-moved", "pump-lifted", "controller-replaced")
WORK_DAYS = 2  # a pump may first run a day or two after the work on it


def worked_on(facts: SiteFacts, solar_days: SolarDays, days: range) -> bool:
    """Leads were moved, or pump or controller were out, on one of the days or shortly before."""
    first, last = days.start - WORK_DAYS, days.stop - 1
    return any(v.kind in WORK and first <= solar_days.day_of_date(v.date) <= last for v in facts.visits)


def visited(facts: SiteFacts, solar_days: SolarDays, days: range) -> bool:
    """Somebody was there on one of the days or the day before, whatever for."""
    return any(days.start - 1 <= solar_days.day_of_date(v.date) < days.stop for v in facts.visits)


@dataclass(frozen=True)
class DayView:
    """One solar day up to `until_ms`, judged against what was known at yesterday's close.

    heard_ms
        int64[n], times of all the day's readings, rising.
    columns
        Daylight rows as the engine sees them; None where the day has none.
    first_ms
        The first reading that the site ever sent.
    running
        How the day's running began and ended, where it is known already.
    raw, lies
        Where channels are held to lie: the columns with what these read, and which they are; `columns` has nothing of them.
    """

    facts: SiteFacts
    days: SolarDays
    day: int
    until_ms: int
    heard_ms: Times
    first_ms: int
    memory: Memory
    columns: "Columns | None" = None
    running: "Running | None" = None
    raw: "Columns | None" = None
    lies: frozenset[str] = frozenset()
    kept: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)

    def once(self, name: str, work_out: "Callable[[], T]") -> "T":
        """What two watchers both need of the day, worked out by whoever asks first."""
        if name not in self.kept:
            self.kept[name] = work_out()
        return cast("T", self.kept[name])

    @property
    def as_read(self) -> "Columns | None":
        """The columns beside all that was read: how the plant ran, told without the channels that lie, and what these say."""
        seen, raw = self.columns, self.raw
        if seen is None or raw is None:
            return seen
        return self.once("as-read", lambda: seen.beside(raw.rows))

    def last_before(self, time_ms: int) -> int:
        """The last reading at or before `time_ms`, of this day or any before."""
        place = int(np.searchsorted(self.heard_ms, time_ms, "right"))
        if place:
            return int(self.heard_ms[place - 1])
        last = self.memory.last_heard_ms
        return self.first_ms if last is None else last


@dataclass(frozen=True)
class Episode:
    """A stretch of one symptom within a day.

    symptom
        Names the family of causes that compete for it; `cause` is given where only one can.
    flag_ms
        When persistence was enough: uses no reading after it.
    at_flag, whole
        The measures up to `flag_ms`, and over all of it: by name, mean values; `n_<name>` is their weight in hours.
    over
        The stretch ended by itself within what was seen: the next readings were healthy.
    judged_again
        The same stretch as one before it, with what came after: it counts where that one was not told.
    """

    symptom: str
    began_ms: int
    flag_ms: int
    seen_ms: int
    hours: float
    at_flag: dict[str, float] = field(default_factory=dict)
    whole: dict[str, float] = field(default_factory=dict)
    cause: str | None = None
    part: str | None = None
    channel: str | None = None
    size: float | None = None
    lost_m3: float = 0.0
    over: bool = False
    judged_again: bool = False
