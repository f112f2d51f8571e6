"""Messages from the broker into the store, batch by batch, and the answers back.

The order that keeps readings safe: commit, then acknowledge, then tell `stored`. Killed at any point, the message comes
again, or the board sends the readings again, and the store takes each once.
Flow: broker.py -> HERE -> keeper.py -> store; HERE -> broker: `stored`, `findings`.
Never: judging a site (turn.py runs in a thread of its own).
"""

import json
import logging
import threading
import time
from collections.abc import Collection

from sqlalchemy.exc import InterfaceError, OperationalError

from analysis.clock import Clock
from analysis.ingest.broker import Arrived, Broker
from analysis.ingest.keeper import Kept, Message, keep
from analysis.store import Store, tally
from logger.record.topics import FINDINGS, STORED, topic_of

log = logging.getLogger(__name__)

BATCH_MAX = 256
WAIT_S = 0.2
TELL_FINDINGS_S = 1.0
PAUSE_S_MAX = 30.0
SAY_AGAIN_S, REFUSALS_KEPT = 3600.0, 10_000
"""A site whose messages are refused for one reason is said in the log at most so often; the store counts every one."""


class Subscriber:
    """One worker. `run` until `stop` is set."""

    def __init__(self, store: Store, broker: Broker, clock: Clock, stop: threading.Event):
        self._store, self._broker, self._clock, self._stop = store, broker, clock, stop
        self._findings_told_s = 0.0
        self._refusals_said_s: dict[tuple[str, str], float] = {}
        self.kept = Kept()

    def run(self) -> None:
        """Take messages until told to stop; what was taken is finished."""
        self._broker.start()
        try:
            while not self._stop.is_set():
                self.step()
        finally:
            self._broker.close()

    def step(self) -> Kept | None:
        """One batch, if any came; None otherwise."""
        if self._broker.newly_connected():
            self._tell_everything()
        self._tell_new_findings()
        arrived = self._broker.take(BATCH_MAX, WAIT_S)
        if not arrived:
            return None
        kept = self._keep(arrived)
        if kept is None:
            return None
        for one in arrived:
            self._broker.done(one)
        self._tell_stored(kept.told)
        self.kept.readings += kept.readings
        self.kept.refused += kept.refused
        self._say_refused(kept)
        return kept

    def _say_refused(self, kept: Kept) -> None:
        now_s = time.monotonic()
        if len(self._refusals_said_s) > REFUSALS_KEPT:
            self._refusals_said_s.clear()
        for (site, reason), count in kept.reasons.items():
            said_s = self._refusals_said_s.get((site, reason))
            if said_s is None or now_s - said_s >= SAY_AGAIN_S:
                self._refusals_said_s[site, reason] = now_s
                whose = f"site {site}" if site else "a topic that names no site"
                log.warning(
                    "Refused %d message(s) of %s: %s. The store counts them all, with an example.", count, whose, reason
                )

    def _keep(self, arrived: list[Arrived]) -> Kept | None:
        """Store the batch, however long the database is away; None: told to stop meanwhile."""
        messages = [Message(one.topic, one.payload) for one in arrived]
        pause_s = 1.0
        while True:
            try:
                return self._keep_each_that_can_be(messages)
            except (OperationalError, InterfaceError) as error:
                log.error("The store does not answer: %s; trying again in %.0f s.", error.orig, pause_s)
            if self._stop.wait(pause_s):
                return None
            pause_s = min(2 * pause_s, PAUSE_S_MAX)

    def _keep_each_that_can_be(self, messages: list[Message]) -> Kept:
        """All in one transaction; where one message is more than the store bears, each in its own and that one refused."""
        try:
            return keep(self._store, messages, self._clock.now_ms())
        except (OperationalError, InterfaceError):
            raise
        except Exception as error:
            if len(messages) == 1:
                log.exception("A message could not be stored and is refused: %s", messages[0].topic)
                with self._store.writing() as connection:
                    tally.count(connection, "", "refused", "not-storable", example=f"{messages[0].topic}: {error!r}")
                return Kept(refused=1)
        whole = Kept()
        for message in messages:
            whole.add(self._keep_each_that_can_be([message]))
        return whole

    def _tell_everything(self) -> None:
        sites = [site.id for site in self._store.sites()]
        for start in range(0, len(sites), BATCH_MAX):
            self._tell_stored(sites[start : start + BATCH_MAX])
        for site in sites:
            self._tell_findings(site)

    def _tell_stored(self, sites: Collection[str]) -> None:
        for site, boots in sorted(self._store.stored_of(sites).items()) if sites else ():
            told = {"boots": boots, "time_ms": self._clock.now_ms()}
            self._broker.publish(topic_of(site, STORED), json.dumps(told).encode())

    def _tell_findings(self, site: str) -> bool:
        opened = [one.as_dict() for one in self._store.findings(site, open_only=True)]
        told = json.dumps({"site": site, "findings": opened}).encode()
        return self._broker.publish(topic_of(site, FINDINGS), told)

    def _tell_new_findings(self) -> None:
        """What turns left in the outbox; several changes of one site are told as one."""
        if time.monotonic() - self._findings_told_s < TELL_FINDINGS_S or not self._broker.connected:
            return
        self._findings_told_s = time.monotonic()
        letters = self._store.unsent(FINDINGS)
        told = {site for site in {letter.site for letter in letters} if self._tell_findings(site)}
        sent = [letter.no for letter in letters if letter.site in told]
        if sent:
            self._store.mark_sent(sent)
