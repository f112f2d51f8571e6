"""Which site's turn it is: those with new rows at once, the others when the clock has gone on, so that silence is heard.

Flow: the store's change notes -> HERE -> turn.py, one site after the other.
Never: judgement; the broker.
"""

import logging
import threading
import time

from analysis.clock import Clock
from analysis.store import Store, state, tally
from analysis.turn import GRACE_MS, turn

log = logging.getLogger(__name__)

EVERY_S = 1.0
IDLE_MS = 5 * 60_000  # of the clock: a site that sends nothing is looked at so often
FAILED_PAUSE_S = 60.0
REAL_GRACE_MS = 60_000  # an invented clock may run fast, but a batch takes its time all the same


class Rounds:
    """Turns until `stop` is set. A site whose turn fails is said, counted, left alone for a while; the others go on."""

    def __init__(self, store: Store, clock: Clock, stop: threading.Event):
        self._store, self._clock, self._stop = store, clock, stop
        self._not_before_s: dict[str, float] = {}
        self._grace_ms = max(GRACE_MS, round(REAL_GRACE_MS * clock.rate))

    def run(self) -> None:
        """Rounds, at most one a second."""
        while not self._stop.is_set():
            began_s = time.monotonic()
            self.once()
            self._stop.wait(max(0.05, EVERY_S - (time.monotonic() - began_s)))

    def once(self) -> int:
        """One round; how many sites had a turn."""
        turned = 0
        for site in self._due():
            if self._stop.is_set():
                break
            turned += self._turn(site)
        return turned

    def _due(self) -> list[str]:
        quiet_since_ms, now_s = self._clock.now_ms() - self._grace_ms - IDLE_MS, time.monotonic()
        with self._store.reading() as connection:
            due = state.changed_sites(connection)
            judged = state.judged_until(connection)
        due += [site for site, until_ms in judged.items() if site not in due and until_ms < quiet_since_ms]
        return [site for site in due if self._not_before_s.get(site, 0) <= now_s]

    def _turn(self, site: str) -> bool:
        try:
            done = turn(self._store, site, self._clock.now_ms(), self._grace_ms)
        except Exception as error:
            log.exception("%s could not be judged; its readings are kept, next try in %.0f s.", site, FAILED_PAUSE_S)
            self._not_before_s[site] = time.monotonic() + FAILED_PAUSE_S
            with self._store.writing() as connection:
                tally.count(connection, site, "failed", "turn", example=repr(error))
            return False
        for one in done.new if done else ():
            log.info("%s: %s, since %s: %s", site, one.cause, one.began, one.evidence)
        for one in done.changed if done else ():
            if one.ended or one.withdrawn:
                log.info("%s: %s of %s is over: %s", site, one.cause, one.began, one.withdrawn or f"ended {one.ended}")
        return done is not None
