"""Takes rows from the spool to the link when they are due, and frees them when the server has stored them.

Flow: spool, outbox (what), clock (their times) -> HERE -> link; `stored` -> outbox, spool, clock.
What was in flight when the connection broke, the broker's client sends again by itself.
Never: a row that is not accepted; a decision by an acknowledgement of the broker.
"""

from dataclasses import dataclass, field

from logger.clock import BoardClock, time_of
from logger.limit import Limit
from logger.link import Event, Link, Stored, Up
from logger.outbox import Outbox, Wanted
from logger.record import senml
from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.topics import READINGS
from logger.repair import Repair
from logger.spool import Spool

ROWS_MAX = {"pack": 500, "senml-json": 40, "senml-cbor": 40}
TOMBSTONES_MAX = 4096  # a pack's limit
CHANGES = "changes"
QUIET_S = 2.0
"""After connecting, so long a wait for the `stored` that the broker kept, lest rows go out that the server has."""
COUNTED = ("batches", "rows", "again", "rows_freed", "changes_waited")
ENCODE = {"pack": pack, "senml-json": senml.to_json, "senml-cbor": senml.to_cbor}


@dataclass
class Sender:
    """`batch_s`: live rows wait at most so long; `at_once_per_day`: so often not, where a state changed.

    `hold_s`: unsure rows wait so long, connected, for the time.
    """

    site: str
    spool: Spool
    link: Link
    clock: BoardClock
    form: str = "pack"
    batch_s: float = 60.0
    hold_s: float = 900.0
    at_once_per_day: int = 10_000
    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(COUNTED, 0))

    def __post_init__(self) -> None:
        self.outbox = Outbox(self.spool.boot.name, ROWS_MAX[self.form])
        for boot in self.spool.boots_with_rows():
            self.outbox.known(boot, self.spool.first_seq(boot))
        self._repair = Repair(self.spool, ROWS_MAX[self.form])
        self._tells_time = True
        self._batch_from_s = float("-inf")
        self._at_once = Limit(self.at_once_per_day)
        self._quiet_until_s = 0.0
        self._held_s = 0.0
        self._sent_at_s: float | None = None
        self._asked: Wanted | None = None
        self.hurry = False

    def take(self, event: Event, now_s: float) -> None:
        """What the link reports."""
        if isinstance(event, Up):
            self.outbox.link_up(self.spool.accepted_seq + 1)
            self._quiet_until_s, self._asked = now_s + QUIET_S, None
        elif isinstance(event, Stored):
            self._stored(event, now_s)

    def send(self, now_s: float) -> None:
        """Publish what is due, as far as there is room."""
        if not self.link.connected or now_s < self._quiet_until_s:
            self._sent_at_s = now_s
            return
        self._hold(now_s)
        self._repair.send(now_s, lambda wanted: self._hand_over(wanted) if self.link.room > 1 else 0)
        if self._live_due(now_s):
            wanted = self.outbox.live(self.spool.accepted_seq, now_s)
            if wanted and self.link.room:
                if self.hurry and now_s - self._batch_from_s < self.batch_s:
                    self._at_once.count(CHANGES, now_s)
                self._publish(wanted, now_s)
                self._batch_from_s, self.hurry = now_s, False
        skip: set[str] = set()
        last = {boot: self.spool.last_seq(boot) for boot in self.spool.boots_with_rows()}
        while self.link.room > 1:  # one is kept for what is live
            wanted = self.outbox.backlog(last, now_s, skip)
            if wanted is None:
                return
            if not self._publish(wanted, now_s):
                skip.add(wanted.boot)

    def _live_due(self, now_s: float) -> bool:
        if now_s - self._batch_from_s >= self.batch_s:
            return True
        if not self.hurry:
            return False
        if self._at_once.left(CHANGES, now_s):
            return True
        self.hurry = False
        self.counts["changes_waited"] += 1
        return False

    def _publish(self, wanted: Wanted, now_s: float) -> bool:
        """Send and note it. False: nothing could go (rows wait for their time, or the client is full)."""
        went = self._hand_over(wanted)
        if not went:
            return False
        sent = Wanted(wanted.boot, wanted.first, wanted.first + went - 1)
        self.counts["again"] += self.outbox.was_sent(sent)
        self.outbox.sent(sent, now_s)
        if self._asked is None:
            self._asked = sent
        return True

    def _hand_over(self, wanted: Wanted) -> int:
        """Read, encode, publish; how many rows went."""
        boot, first_kept = self.spool.boots.by_name[wanted.boot], self.spool.first_seq(wanted.boot)
        encode = ENCODE[self.form]
        if wanted.last < first_kept:
            # freed, and the server lost them: nothing but tombstones, which pack to almost nothing
            wanted = Wanted(wanted.boot, wanted.first, min(first_kept - 1, wanted.first + TOMBSTONES_MAX - 1))
            encode = pack
        readings, kernel = [], self.spool.boot.kernel
        for row in self.spool.rows(wanted.boot, wanted.first, wanted.last, wanted.last - wanted.first + 1):
            known = time_of(row, boot, kernel)
            if known is None:
                break
            readings.append(Reading(self.site, known[0], row.values, wanted.boot, row.seq, known[1]))
        if not readings or self.link.publish(READINGS, encode(readings)) is None:
            return 0
        self.counts["batches"] += 1
        self.counts["rows"] += len(readings)
        return len(readings)

    def _stored(self, event: Stored, now_s: float) -> None:
        if not event.retained and self._answers(event):
            self._asked, self._tells_time = None, event.time_ms is not None
            if event.time_ms is not None:
                self.clock.heard(event.time_ms)
        for boot, seq in event.boots.items():
            self.outbox.stored(boot, seq, now_s)
            before = self.spool.kept_rows
            self.spool.free(boot, self.outbox.stored_seq(boot))
            self.counts["rows_freed"] += before - self.spool.kept_rows
            if boot not in self.spool.boots.by_name:
                self.outbox.forgotten(boot)
        if not event.retained and not self.outbox.waiting:
            self._repair.answered()
        self._quiet_until_s = 0.0

    def _answers(self, event: Stored) -> bool:
        """Is it the answer to something sent over this connection? Only then is it surely fresh: brokers keep old ones."""
        asked = self._asked
        return asked is not None and self.outbox.stored_seq(asked.boot) < asked.last <= event.boots.get(asked.boot, 0)

    def _hold(self, now_s: float) -> None:
        """Rows with unsure times have waited long enough, with a link that could have brought the time.

        The answer to anything brings the server's time, so one row goes as the question. All go only where the server
        answers and tells no time. What went is repaired when the time is learnt after all (repair.py).
        """
        self._held_s += now_s - (self._sent_at_s if self._sent_at_s is not None else now_s)
        self._sent_at_s = now_s
        if self.clock.learnt is not None or self._held_s < self.hold_s:
            return
        if self.outbox.waiting and self._tells_time:
            return  # a question is out: it goes again until somebody answers
        self._held_s = 0.0
        for boot in self.spool.boots.by_name.values():
            last = self.spool.last_seq(boot.name)
            unsent = max(boot.unsure_upto, self.outbox.stored_seq(boot.name)) + 1
            if boot.offset_ms is None and boot.kernel == self.spool.boot.kernel and unsent <= last:
                self.spool.gave_up(boot.name, unsent if self._tells_time else last)
                if self._tells_time:
                    return
