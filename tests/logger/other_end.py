"""The other end of the board's link, for tests: a link in memory, and a server that counts what arrives."""

import json
from collections import Counter

from logger.link import Acked, Down, Stored, Up
from logger.mqtt_client import IN_FLIGHT_MAX
from logger.record.reading import Reading
from logger.record.wire import decode


class Receiver:
    """Plays the server: takes readings once by (boot, seq), states the highest sequence without a hole."""

    def __init__(self):
        self.rows: dict[tuple[str, int], Reading] = {}
        self.tombstones: set[tuple[str, int]] = set()
        self.arrivals: list[tuple[str, int]] = []
        self.times_changed = 0
        self.twice: Counter[tuple[str, int]] = Counter()

    def take(self, payload: bytes) -> None:
        for reading in decode(payload):
            key = (reading.boot, reading.seq)
            self.arrivals.append(key)
            self.twice[key] += 1
            if not reading.values:
                self.tombstones.add(key)
            elif key in self.rows and self.rows[key].clock == "unsure" and reading.clock != "unsure":
                self.rows[key] = reading  # as the real store does
            elif key in self.rows:
                self.times_changed += self.rows[key].time_ms != reading.time_ms
            else:
                self.rows[key] = reading

    def stored(self) -> dict[str, int]:
        seen: dict[str, set[int]] = {}
        for boot, seq in {*self.rows, *self.tombstones}:
            seen.setdefault(boot, set()).add(seq)
        highest = {}
        for boot, seqs in seen.items():
            seq = 0
            while seq + 1 in seqs:
                seq += 1
            highest[boot] = seq
        return highest

    def statement(self, time_ms: int) -> bytes:
        return json.dumps({"boots": self.stored(), "time_ms": time_ms}).encode()


class LinkInMemory:
    """Has the methods of `logger.link.Link`. `broker` up, `server` there: the test switches them.

    A message that arrives while no server is there is acknowledged and lost, as a broker without a subscriber does.
    """

    version = "5"

    def __init__(self, time, receiver: Receiver | None = None):
        self._time, self.receiver = time, receiver or Receiver()
        self.connected, self.server, self.answers_time = False, True, True
        self.last_trouble = None
        self.counts = dict.fromkeys(("connects", "losses", "refused", "malformed_stored", "published_bytes"), 0)
        self.told: list[tuple[str, bytes]] = []
        self._events: list = []
        self._tokens = 0
        self.ack_s = 0.0  # a slow link: an acknowledgement takes so long
        self._in_flight: set[int] = set()
        self._kept: dict[str, int] | None = None
        self._wire_cut_after: int | None = None

    @property
    def room(self) -> int:
        return max(0, IN_FLIGHT_MAX - len(self._in_flight)) if self.connected else 0

    def start(self) -> None:
        self.up()

    def up(self) -> None:
        """The broker can be reached; the board hears of it with its next `events`."""
        if not self.connected and not any(isinstance(event, Up) for _, event in self._events):
            self._later(Up())
            if self._kept is not None:
                self._later(Stored(dict(self._kept), 1, True))

    def down(self) -> None:
        self._events = [one for one in self._events if not isinstance(one[1], Up)]
        if self.connected:
            self._later(Down("cut"))

    def publish(self, kind: str, payload: bytes) -> int | None:
        if not self.connected:
            return None
        self._tokens += 1
        self.told.append((kind, payload))
        self.counts["published_bytes"] += len(payload)
        self._in_flight.add(self._tokens)
        self._later(Acked(self._tokens), self.ack_s)
        if kind == "readings" and self.server:
            self.receiver.take(payload)
            self._kept = self.receiver.stored()
            time_ms = self._time.wall_ms() if self.answers_time else None
            self._later(Stored(dict(self._kept), time_ms, False), self.ack_s)
        return self._tokens

    def events(self, wait_s: float) -> list:
        self._time.pass_s(wait_s)
        found = [event for due_s, event in self._events if due_s <= self._time.now_s()]
        self._events = [one for one in self._events if one[0] > self._time.now_s()]
        for event in found:
            if isinstance(event, Acked):
                self._in_flight.discard(event.token)
            elif isinstance(event, Up):
                self.connected = True
            elif isinstance(event, Down):
                self.connected = False
                self._in_flight.clear()
        return found

    def _later(self, event, after_s: float = 0.0) -> None:
        self._events.append((self._time.now_s() + after_s, event))

    def close(self, farewell: bytes | None) -> None:
        if farewell is not None:
            self.told.append(("presence", farewell))
        self.connected = False
