"""The loop: read what is due, put it on disk, send it, look after oneself. One thread decides everything.

Flow: sources -> means -> spool -> sender -> link; urgent judgement -> link, text messages.
A failing source or broker ends nothing; a spool that cannot write ends the process (SpoolError).
Never: a write to a device.
"""

import json
import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from logger.clock import BoardClock, Stamp
from logger.health import Health
from logger.link import Down, Event, Link, Up
from logger.means import Made, Means
from logger.record.channels import honest
from logger.record.topics import HEALTH, PRESENCE
from logger.sd_notify import Notifier
from logger.sender import Sender
from logger.settings_tables import Board
from logger.sources.base import Source, SourceError, Turn, Values
from logger.spool import Spool
from logger.spool.row import on_step

log = logging.getLogger(__name__)

READ_S_MAX = 20.0
"""One source may take so long in one turn, so that the others and the watchdog get theirs."""
REMEMBER_S = 3600.0
SAY_AGAIN_S = 600.0
"""A source that fails now and then is said in the journal at most so often."""
SAME_TIME_MS = 1000
"""A time of day nearer than this to the sample before was not set in between."""


@dataclass
class Parts:
    """What the agent joins. `state`: the sources' memories. `after`: told every sample (urgent judgement)."""

    board: Board
    sources: list[Source]
    spool: Spool
    clock: BoardClock
    link: Link
    sender: Sender
    health: Health
    notifier: Notifier
    rate: float = 1.0
    state: dict[str, Any] = field(default_factory=dict)
    after: Callable[[Stamp, Values], None] | None = None
    now_s: Callable[[], float] = time.monotonic
    rest_s_max: float = 1.0


class Agent:
    """`turn` does one turn; `run` does turns until told to stop."""

    def __init__(self, parts: Parts):
        self._parts = parts
        self._means = Means(parts.board.interval_s, parts.board.extremes)
        self._began_s = parts.now_s()
        self._last_read_s: dict[str, float] = {}
        self._link_told = ""
        self._failing_told: set[str] = set()
        self._failing_said_s: dict[str, float] = {}
        self._changed = False  # a state did, so what was read is synced at once, and sent as soon as the link allows
        self._synced_s = self._health_s = self._remembered_s = self._began_s
        stamp = parts.clock.stamp()
        self._started_ms = stamp.time_ms
        self._sampled_before: Stamp | None = None
        # The first of a boot only announces it: it may go out before the time is known, and the answer brings the time.
        parts.spool.append(stamp.time_ms, stamp.mono_ms, stamp.quality, {})
        parts.spool.sync()

    def run(self, stop: threading.Event) -> None:
        """Until `stop`; then what was read is put on disk, and the broker told. SpoolError: the disk failed."""
        self._parts.link.start()
        self._parts.notifier.ready(f"site {self._parts.board.site}")
        while not stop.is_set():
            self.turn()
            self.rest()
        self._parts.notifier.stopping()
        self._put(self._means.flush())
        self._sync()
        self._parts.spool.close()
        for source in self._parts.sources:
            source.close()
        self._parts.link.close(self._presence(False))

    def turn(self) -> None:
        """Read, put on disk, send."""
        parts = self._parts
        stamp, values = self._read()
        if values:
            self._put(self._means.add(stamp, values))
            if parts.after:
                parts.after(stamp, values)
        self._learn(stamp)
        now_s = parts.now_s()
        if parts.spool.unsynced and (self._changed or now_s - self._synced_s >= parts.board.sync_every_s):
            self._sync()
            self._synced_s, self._changed = now_s, False
        if not parts.spool.unsynced:
            self._synced_s = now_s
            parts.notifier.alive()
        parts.sender.send(now_s)
        if now_s - self._health_s >= parts.board.health_every_s:
            self._tell_health(now_s)

    # ---- reading

    def _read(self) -> tuple[Stamp, Values]:
        values: Values = {}
        for source in self._parts.sources:
            if source.due(Turn(self._scaled(self._parts.now_s()), 0.0)):
                values |= self._read_one(source)
        return self._sampled(), values

    def _sampled(self) -> Stamp:
        """Now, but never the millisecond of the sample before: the store knows a reading by its time.

        A line that waited in a buffer is read within a millisecond of the one before it. The two clocks turn their milliseconds
        at different moments, so both are asked; a time of day that steps back by more was set, and is left as it is.
        """
        stamp, before = self._parts.clock.stamp(), self._sampled_before
        if before is not None:
            early_ms = before.mono_ms + 1 - stamp.mono_ms
            if abs(stamp.time_ms - before.time_ms) <= SAME_TIME_MS:
                early_ms = max(early_ms, before.time_ms + 1 - stamp.time_ms)
            if early_ms > 0:
                stamp = replace(stamp, time_ms=stamp.time_ms + early_ms, mono_ms=stamp.mono_ms + early_ms)
        self._sampled_before = stamp
        return stamp

    def _read_one(self, source: Source) -> Values:
        """Its values; null for all of its channels where it could not be read."""
        parts, care = self._parts, self._parts.health.care(source)
        starts_s = parts.now_s()
        self._count_late(source, starts_s)
        care.read += 1
        try:
            read = source.read(Turn(starts_s, starts_s + READ_S_MAX, parts.now_s))
            self._tell_well(source, care.failed_in_a_row)
            care.failed_since_ms, care.failed_in_a_row = None, 0
        except SourceError as error:
            care.failed += 1
            care.failed_in_a_row += 1
            self._tell_failed(source, error)
            care.last_trouble = str(error)
            care.failed_since_ms = care.failed_since_ms or parts.clock.stamp().time_ms
            read = dict.fromkeys(source.channels)
        took_s = parts.now_s() - starts_s
        care.seconds += took_s
        care.slowest_s = max(care.slowest_s, took_s)
        good = {name: on_step(name, honest(name, value)) for name, value in read.items()}
        parts.health.refused_values += sum(good[name] is None and read[name] is not None for name in read)
        return good

    def _count_late(self, source: Source, starts_s: float) -> None:
        period_s = source.period_s / self._parts.rate
        before = self._last_read_s.get(source.name)
        if before is not None and period_s > 0:
            self._parts.health.care(source).late += max(0, round((starts_s - before) / period_s) - 1)
        self._last_read_s[source.name] = starts_s

    def _scaled(self, real_s: float) -> float:
        """Where time is simulated, sources keep pace with it."""
        return self._began_s + (real_s - self._began_s) * self._parts.rate

    def _put(self, made: list[Made]) -> None:
        for row in made:
            self._parts.spool.append(row.time_ms, row.mono_ms, row.clock, row.values)
            self._parts.sender.hurry |= row.changed
            self._changed |= row.changed

    def _sync(self) -> None:
        self._parts.spool.keep(self._parts.state)
        self._parts.spool.sync()

    # ---- looking after oneself

    def _learn(self, stamp: Stamp) -> None:
        """What is known of the time outlives us."""
        parts = self._parts
        if parts.clock.learnt is None:
            return
        if parts.spool.boot.offset_ms is None:
            parts.spool.learn(parts.clock.learnt)
            self._started_ms = parts.clock.learnt + self._started_ms_mono(stamp)
        if parts.now_s() - self._remembered_s >= REMEMBER_S:
            parts.spool.remember_time(stamp.time_ms)
            self._remembered_s = parts.now_s()

    def _started_ms_mono(self, stamp: Stamp) -> int:
        return stamp.mono_ms - round((self._parts.now_s() - self._began_s) * self._parts.rate * 1000)

    def rest(self) -> None:
        """Until something is due or the link reports."""
        parts = self._parts
        now_s = parts.now_s()
        due_s = [
            self._last_read_s[source.name] + source.period_s / parts.rate - now_s
            for source in parts.sources
            if source.name in self._last_read_s
        ]
        for event in parts.link.events(max(0.0, min([parts.rest_s_max, *due_s]))):
            parts.sender.take(event, parts.now_s())
            self._tell_link(event)
            if isinstance(event, Up):
                parts.link.publish(PRESENCE, self._presence(True))
                self._tell_health(parts.now_s())

    def _tell_failed(self, source: Source, error: SourceError) -> None:
        """In the journal: that a source fails, once, and within SAY_AGAIN_S only once; health counts every time."""
        now_s, said_s = self._parts.now_s(), self._failing_said_s.get(source.name)
        if source.name not in self._failing_told and (said_s is None or now_s - said_s >= SAY_AGAIN_S):
            log.warning("%s", error)
            self._failing_told.add(source.name)
            self._failing_said_s[source.name] = now_s

    def _tell_well(self, source: Source, failed: int) -> None:
        if source.name in self._failing_told:
            log.info("%s: read again, after failing %d time(s)", source.name, failed)
            self._failing_told.discard(source.name)

    def _tell_link(self, event: Event) -> None:
        """In the journal: each change of the connection, once."""
        lost = f"no broker: {event.reason}" if isinstance(event, Down) else None
        now = "connected to the broker" if isinstance(event, Up) else lost
        if now is not None and now != self._link_told:
            log.log(logging.INFO if isinstance(event, Up) else logging.WARNING, "%s", now)
            self._link_told = now

    def _tell_health(self, now_s: float) -> None:
        parts = self._parts
        if parts.link.connected:
            told = parts.health.as_json(parts.clock.stamp().time_ms, self._started_ms, parts.sources)
            parts.link.publish(HEALTH, told)
            self._health_s = now_s

    def _presence(self, online: bool) -> bytes:
        return presence(online, self._parts.clock.stamp().time_ms, self._parts.spool.boot.name)


def presence(online: bool, since_ms: int | None, boot: str) -> bytes:
    """Online or offline, since when. The will cannot know when: None, and whoever receives it looks at the clock."""
    return json.dumps({"online": online, "since_ms": since_ms, "boot": boot}, separators=(",", ":")).encode()
