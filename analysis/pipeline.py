"""One turn of the analysis, in order: rows in, findings, days and the present state out.

Flow: rows -> merge -> look (elementwise, whole days) -> judge fast causes -> close the day (estimates, slow causes).
The outcome depends on the SET of rows, the site file, the engine's version and `until` of the end; not on blocks,
order, doubles or restarts. Never: I/O; a clock.

A day stays open until `until` passes its close. Its rows live in the state's memory; `dumps` writes only what closed
days left. After `loads` feed the rows since `state.closed_until_ms` again.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.close import close_day
from analysis.estimates.day import DayFigures, figures_of
from analysis.honest import honest
from analysis.life import as_finding, with_episodes
from analysis.look import Columns, daylight_ms, look
from analysis.memory import Memory, loads_memory, waits
from analysis.merge import merged
from analysis.no_measurement import asked_beside, held_to_lie, without
from analysis.now import site_now
from analysis.plant import Plant, plant_of
from analysis.rows import Rows, joined, no_rows
from analysis.running import Running, running_of
from analysis.screen import Screen, screen
from analysis.solar_days import iso
from analysis.summary import DaySummary, SiteNow
from analysis.symptoms import DayView
from analysis.watchers import episodes_of, watchers
from analysis.water_lost import named
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts

ENGINE_VERSION = 15
"""Findings are a function of this too: raise it when the same rows may give other findings. A state names the one that made it, and no
other goes on from it."""
DAYS_WITHOUT = 14  # looked at anew at a time: a channel that is seen to mend is read again on the next day
BLOCK_ROWS, BLOCK_DAYS = 50_000, 60
"""Whole days looked at together: about so many rows, a few dozen of whose daylight columns stay in a core's cache, and no more days. A second's readings
are looked at day by day; a season of quarters of an hour, of which a few rows cost as much as many, in three blocks."""
FAR_PAST_MS = -(2**62)


class LateRows(ValueError):
    """Rows at or before the last closed day: go back to a snapshot before `first_ms` (`rewind`) and feed from there."""

    def __init__(self, first_ms: int, closed_until_ms: int) -> None:
        super().__init__(f"rows from {iso(first_ms)} came after the day up to {iso(closed_until_ms)} was closed")
        self.first_ms = first_ms


@dataclass(frozen=True)
class Looked:
    """The open day's daylight as it was looked at last: what was worked out of its rows holds while readings only follow after them.

    without: the same rows without what lies; None where nothing does.
    """

    day: int
    memory: Memory
    columns: Columns
    screened: Screen
    without: Columns | None = None


@dataclass(frozen=True)
class State:
    """A site as judged up to `until_ms`. Never changed: `advance` makes a new one."""

    plant: Plant
    memory: Memory
    until_ms: int
    open_rows: Rows
    findings: tuple[Finding, ...] = ()
    now: SiteNow | None = None
    looked: Looked | None = None

    @property
    def facts(self) -> SiteFacts:
        """The site file that it is judged by."""
        return self.plant.facts

    @property
    def closed_until_ms(self) -> int:
        """The close of the last closed day; far in the past before the first."""
        if self.memory.day is None:
            return FAR_PAST_MS
        return self.plant.days.close_ms(self.memory.day)

    @property
    def days(self) -> tuple[DaySummary, ...]:
        """The closed days, oldest first; what was lost on them under the causes that the findings name now."""
        before = len(self.facts.site.id) + 1
        return named(self.memory.days, {one.id[before:]: one.cause for one in self.findings})

    @property
    def dropped(self) -> dict[str, int]:
        """How many rows of closed days were dropped, by reason."""
        return dict(self.memory.dropped)

    @property
    def coverage(self) -> float | None:
        """Share of the daylight of closed days with readings."""
        return self.memory.heard_h / self.memory.daylight_h if self.memory.daylight_h else None

    def dumps(self) -> bytes:
        """What closed days left, to bytes; open rows are not in it."""
        return self.memory.dumps(self.facts.digest, ENGINE_VERSION)


def begin(facts: SiteFacts) -> State:
    """A site nothing is known of yet but its file."""
    return State(plant_of(facts), Memory(), FAR_PAST_MS, no_rows())


def loads(data: bytes, facts: SiteFacts) -> State:
    """Back from `State.dumps`, as of the last close. Then feed the rows after `closed_until_ms`.

    StateError: not a state of this engine and its version, or of another site file.
    """
    state = State(plant_of(facts), loads_memory(data, facts.digest, ENGINE_VERSION), FAR_PAST_MS, no_rows())
    return _seen(replace(state, until_ms=state.closed_until_ms))


def advance(state: State, rows: Rows, until_ms: int, on_close: Callable[[State], None] | None = None) -> State:
    """Take rows in and judge up to `until_ms`: event time is complete up to there.

    Rows after `until_ms` are kept and judged later. `on_close` gets the state at each day's close: save the snapshots that
    `kept_snapshots` names. LateRows: some row lies at or before the last close.
    """
    if len(rows) and (first := int(rows.time_ms.min())) <= state.closed_until_ms:
        raise LateRows(first, state.closed_until_ms)
    until_ms = max(until_ms, state.until_ms)
    rows = honest(state.plant, rows)
    looked = _untouched(state, rows)
    waiting = joined([state.open_rows, rows]) if len(state.open_rows) else rows
    state = _closed_days(state, waiting, until_ms, on_close)
    opened = _after(waiting, state.closed_until_ms)
    return _seen(State(state.plant, state.memory, until_ms, opened, looked=looked))


def _closed_days(state: State, waiting: Rows, until_ms: int, on_close: Callable[[State], None] | None) -> State:
    """Close every day that `until_ms` has passed, blocks of whole days at a time."""
    plant, memory = state.plant, state.memory
    days = plant.days
    if memory.day is None:
        if not len(waiting):
            return state
        first_day = int(days.day_of(int(waiting.time_ms.min())))
    else:
        first_day = memory.day + 1
    last_day = int(days.day_of(until_ms + 1)) - 1
    if last_day < first_day:
        return state
    in_order = len(waiting) < 2 or bool((np.diff(waiting.time_ms) > 0).all())
    for block in blocks(first_day, last_day + 1, len(waiting)):
        first_ms, end_ms = days.open_ms(block.start), days.open_ms(block.stop)
        if in_order:
            ends = np.searchsorted(waiting.time_ms, [first_ms, end_ms], "right")
            some = waiting.take(slice(int(ends[0]), int(ends[1])))
        else:
            some = waiting.take((waiting.time_ms > first_ms) & (waiting.time_ms <= end_ms))
        for closed in _closes(plant, memory, some, block):
            memory = closed
            if on_close is not None:
                on_close(_seen(State(plant, memory, days.close_ms(memory.day or 0), no_rows())))
    return replace(state, memory=memory, until_ms=until_ms, open_rows=no_rows())


def blocks(first_day: int, stop_day: int, rows: int) -> list[range]:
    """The days of so many rows in blocks of about `BLOCK_ROWS`, all alike in days: a few rows by themselves cost a quarter as much as a whole block."""
    count = stop_day - first_day
    parts = min(max(round(rows / BLOCK_ROWS), math.ceil(count / BLOCK_DAYS), 1), count)
    ends = [first_day + count * k // parts for k in range(parts + 1)]
    return [range(*both) for both in pairwise(ends)]


def _closes(plant: Plant, memory: Memory, rows: Rows, block: range) -> Iterable[Memory]:
    """The memory after each day of the block, in order."""
    clean = merged(rows)
    cuts = np.searchsorted(clean.rows.time_ms, plant.days.open_ms(np.arange(block.start, block.stop + 1)), "right")
    dropped = {
        reason: np.bincount(plant.days.day_of(time_ms) - block.start, minlength=len(block)).tolist()
        for reason, time_ms in (("duplicate", clean.duplicate_ms), ("conflicting", clean.conflicting_ms))
    }
    columns = look(plant, clean.rows, block)
    figures = figures_of(plant, columns, block)
    screened = screen(plant, memory, columns, clean.rows.time_ms, block)
    running = running_of(plant, columns, block)
    honest_days: _Without | None = None
    for place, day in enumerate(block):
        heard = clean.rows.time_ms[cuts[place] : cuts[place + 1]]
        if lie := held_to_lie(memory):
            if honest_days is None or honest_days.lie != lie or day not in honest_days.days:
                some = range(day, min(day + DAYS_WITHOUT, block.stop))
                honest_days = _days_without(
                    plant, memory, clean.rows.take(slice(cuts[place], cuts[place + len(some)])), some, lie
                )
            asked, view, of_day = honest_days.day(plant, memory, day, heard, columns.of_day(day))
        else:
            screened = screened.renewed(plant, memory, columns)
            asked = screened.asked(watchers(), day, memory)
            view = _view(plant, memory, day, plant.days.close_ms(day), heard, columns.of_day(day), running[place])
            of_day = figures[place]
        memory = close_day(plant, view, of_day, asked)
        for reason, rows_of_day in dropped.items():
            memory.dropped[reason] += rows_of_day[place]
        yield memory


@dataclass
class _Without:
    """Some days of a block as they look without the channels that lie."""

    lie: frozenset[str]
    days: range
    columns: Columns
    figures: list[DayFigures]
    running: list[Running]
    screened: Screen

    def day(
        self, plant: Plant, memory: Memory, day: int, heard: np.ndarray, raw: Columns | None
    ) -> tuple[list[str], DayView, DayFigures]:
        """Who must look at the day, the day, and its figures. `raw`: with all that was read."""
        place = day - self.days.start
        self.screened = self.screened.renewed(plant, memory, self.columns)
        asked = asked_beside(self.screened.asked(watchers(), day, memory))
        view = _view(
            plant,
            memory,
            day,
            plant.days.close_ms(day),
            heard,
            self.columns.of_day(day),
            self.running[place],
            raw,
            self.lie,
        )
        return asked, view, self.figures[place]


def _days_without(plant: Plant, memory: Memory, rows: Rows, days: range, lie: frozenset[str]) -> _Without:
    """The days looked at anew without the channels `lie`. `rows`: theirs, merged."""
    columns = look(plant, without(rows, lie), days)
    screened = screen(plant, memory, columns, rows.time_ms, days)
    return _Without(lie, days, columns, figures_of(plant, columns, days), running_of(plant, columns, days), screened)


def _view(
    plant: Plant, memory: Memory, day: int, until_ms: int, heard: np.ndarray, columns: Columns | None,
    running: Running | None = None, raw: Columns | None = None, lie: frozenset[str] = frozenset(),
) -> DayView:  # fmt: skip
    first = memory.first_ms if memory.first_ms is not None else (int(heard[0]) if len(heard) else until_ms)
    return DayView(plant.facts, plant.days, day, until_ms, heard, first, memory, columns, running, raw, lie)


def _seen(state: State) -> State:
    """The state with its open day judged up to `until_ms`."""
    plant = state.plant
    cases, now, looked = state.memory.cases, None, None
    if state.until_ms > FAR_PAST_MS:
        opened = merged(state.open_rows).rows
        heard = int(np.searchsorted(opened.time_ms, state.until_ms, "right"))
        opened = opened if heard == len(opened) else opened.take(slice(0, heard))
        day = int(plant.days.day_of(state.until_ms))
        if state.memory.day is not None:
            day = max(day, state.memory.day + 1)  # at the stroke of a close the next day is open, and empty
        looked = _looked(state, opened, day)
        read, left = looked.columns.of_day(day), looked.without
        view = _view(plant, state.memory, day, state.until_ms, opened.time_ms, read)
        if left is not None:
            view = replace(view, columns=left.of_day(day), raw=read, lies=held_to_lie(state.memory))
        if state.memory.first_ms is not None or len(opened):
            asked = looked.screened.asked(watchers(), day, state.memory) if left is None else None
            cases = with_episodes(view, episodes_of(view, asked))
        now = site_now(plant, view, opened, cases)
    findings = tuple(as_finding(plant.facts, case) for case in cases if not waits(case))
    return State(plant, state.memory, state.until_ms, state.open_rows, findings, now, looked)


def _looked(state: State, opened: Rows, day: int) -> Looked:
    """The day's daylight among `opened`, all that was heard of it: as it was looked at before, if it is still the same."""
    plant, memory, before, left = state.plant, state.memory, state.looked, None
    if before is not None and before.day == day and before.memory is memory:
        low, high = np.searchsorted(opened.time_ms, daylight_ms(plant, day))
        if high - low == len(before.columns):
            return replace(before, screened=before.screened.heard(plant, opened.time_ms))
        known = before.columns if before.columns.rows.values.keys() == opened.values.keys() else None
        left = None if known is None else before.without
    else:
        known = None
    today = range(day, day + 1)
    columns = look(plant, opened, today, known)
    lie = held_to_lie(memory)
    left = look(plant, without(opened, lie), today, left) if lie else None
    return Looked(day, memory, columns, screen(plant, memory, columns, opened.time_ms, today), left)


def _untouched(state: State, rows: Rows) -> Looked | None:
    """What was looked at last, unless some of `rows` lie in it: those that follow after all of it leave it as it was."""
    if state.looked is None or not len(rows):
        return state.looked
    seen_ms = state.looked.columns.time_ms
    if len(seen_ms) and int(rows.time_ms.min()) > seen_ms[-1]:
        return state.looked
    first, end = daylight_ms(state.plant, state.looked.day)
    return None if ((rows.time_ms >= first) & (rows.time_ms < end)).any() else state.looked


def _after(rows: Rows, time_ms: int) -> Rows:
    return rows if not len(rows) or int(rows.time_ms.min()) > time_ms else rows.take(rows.time_ms > time_ms)
