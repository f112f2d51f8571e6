"""The broker connection: publishes what it is given, reports what happened; MQTT 5, or 3.1.1 where a broker refuses 5.

paho's thread only puts events into a queue; everything is decided in the agent's own thread, which takes them out.
A broker that leaves CONNECT unanswered for ANSWER_S, or closes the connection instead, twice in a row, counts as refusing that
version (some do not answer what they do not know).
Flow: sender.py -> HERE -> mqtt_client.py -> broker; `stored` comes back as an event. Never: spool, readings, a payload's meaning.
"""

import json
import queue
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho

from logger.mqtt_client import IN_FLIGHT_MAX, V5, V311, VERSION_NAMES, Client, make_client, open_client
from logger.record.topics import HEALTH, PRESENCE, QOS, READINGS, RETAINED, STORED, URGENT, topic_of
from logger.settings_tables import Mqtt

REFUSALS_MAX = 2
CLOSE_WAIT_S = 3.0
ANSWER_S = 10.0
"""TCP and TLS stand by then, so that an answer takes one way there and back."""
UNSUPPORTED_VERSION = 132
STORED_BYTES_MAX = 65536
BACKED_UP_MAX = 100
PUBLISHED = (READINGS, URGENT, PRESENCE, HEALTH)


@dataclass(frozen=True)
class Up:
    """Connected."""


@dataclass(frozen=True)
class Down:
    """Not connected (any more); `reason` for people."""

    reason: str


@dataclass(frozen=True)
class Acked:
    """The broker took the message `token`, or refused it with a reason (MQTT 5 only; 3.1.1 cannot say so)."""

    token: int
    refused: str | None = None


@dataclass(frozen=True)
class Stored:
    """The server's statement; `retained`: an old one that the broker kept, so its time says nothing."""

    boots: dict[str, int]
    time_ms: int | None
    retained: bool


Event = Up | Down | Acked | Stored


class Link:
    """One site's connection. `will`: what the broker says for us when we vanish. Opens nothing until `start`."""

    def __init__(self, mqtt: Mqtt, site: str, folder: Path, will: bytes):
        self._mqtt, self._site, self._folder, self._will = mqtt, site, folder, will
        self._events: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._client: Client | None = None
        self._version: Any = V311 if mqtt.version == "3.1.1" else V5
        self._refusals = 0
        self._in_flight: set[int] = set()
        self._asked_s: float | None = None
        self.connected = False
        self.last_trouble: str | None = None
        self.counts = dict.fromkeys(("connects", "losses", "refused", "malformed_stored", "published_bytes"), 0)

    @property
    def version(self) -> str:
        """The MQTT version in use."""
        return VERSION_NAMES[self._version]

    @property
    def room(self) -> int:
        """Messages that may still be sent before one is acknowledged."""
        return max(0, IN_FLIGHT_MAX - len(self._in_flight)) if self.connected else 0

    def start(self) -> None:
        """Begin to connect, and go on for ever. OSError, ssl.SSLError: a certificate or secret cannot be used."""
        client_id = self._mqtt.client_id or f"wellhand-{self._site}"
        will = (topic_of(self._site, PRESENCE), self._will)
        self._client = client = make_client(self._mqtt, client_id, self._version, self._folder, will)
        self._in_flight.clear()
        client.on_trouble = lambda reason: self._events.put(Down(reason))
        client.on_socket_open = self._on_socket_open
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        open_client(client, self._mqtt, self._version)

    def publish(self, kind: str, payload: bytes) -> int | None:
        """Hand one message over; its token, or None where the client would not take it."""
        if kind not in PUBLISHED:
            raise ValueError(f"a board publishes {', '.join(PUBLISHED)}; not {kind!r}")
        if self._client is None or len(self._in_flight) >= BACKED_UP_MAX:
            return None
        topic = topic_of(self._site, kind)
        given = self._client.publish(topic, payload, QOS, retain=kind in RETAINED)
        if given.rc not in (paho.MQTT_ERR_SUCCESS, paho.MQTT_ERR_NO_CONN):
            return None
        self._in_flight.add(given.mid)
        self.counts["published_bytes"] += len(topic) + len(payload)
        return given.mid

    def events(self, wait_s: float) -> list[Event]:
        """What happened since the last call; waits up to `wait_s` for the first."""
        found: list[Event] = []
        try:
            found.append(self._events.get(timeout=wait_s) if wait_s > 0 else self._events.get_nowait())
            while True:
                found.append(self._events.get_nowait())
        except queue.Empty:
            pass
        if self._asked_s is not None and time.monotonic() - self._asked_s > ANSWER_S:
            self._asked_s = None
            found.append(Down(_NOT_ANSWERED))
        for event in found:
            self._take(event)
        return found

    def close(self, farewell: bytes | None) -> None:
        """Say goodbye (the will is not sent then), let what is in flight end, disconnect."""
        if self._client is None:
            return
        if farewell is not None and self.connected:
            given = self._client.publish(topic_of(self._site, PRESENCE), farewell, QOS, retain=True)
            ends = time.monotonic() + CLOSE_WAIT_S
            while not given.is_published() and time.monotonic() < ends:
                self.events(0.05)
        self._client.disconnect()
        self._client.loop_stop()
        self.connected = False

    # ---- in the agent's thread

    def _take(self, event: Event) -> None:
        if isinstance(event, Up):
            self.connected, self._refusals, self.last_trouble = True, 0, None
            self.counts["connects"] += 1
        elif isinstance(event, Down):
            self._down(event)
        elif isinstance(event, Acked):
            self._in_flight.discard(event.token)
            if event.refused:
                self.counts["refused"] += 1
                self.last_trouble = event.refused

    def _down(self, event: Down) -> None:
        if self.connected:
            self.counts["losses"] += 1
        self.connected, self.last_trouble = False, event.reason
        if event.reason in (_CLOSED, _NOT_ANSWERED, _OTHER_VERSION) and self._mqtt.version == "auto":
            self._refusals += 1 if event.reason == _CLOSED else REFUSALS_MAX
            if self._refusals >= REFUSALS_MAX and self._client is not None:
                self._client.disconnect()
                self._client.loop_stop()
                self._version = V311 if self._version == V5 else V5
                self._refusals = 0
                self.start()

    # ---- in paho's thread: events only

    def _on_socket_open(self, _client: Any, _data: Any, _socket: Any) -> None:
        self._asked_s = time.monotonic()

    def _on_connect(self, client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        client.answered, self._asked_s = True, None
        if reason.is_failure:
            unsupported = reason.value == UNSUPPORTED_VERSION
            self._events.put(Down(_OTHER_VERSION if unsupported else f"the broker refused us: {reason}"))
            return
        client.subscribe(topic_of(self._site, STORED), QOS)
        self._events.put(Up())

    def _on_disconnect(self, client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        answered = getattr(client, "answered", False)
        client.answered, self._asked_s = False, None
        self._events.put(Down(f"the connection ended: {reason}" if answered else _CLOSED))

    def _on_publish(self, _client: Any, _data: Any, token: int, reason: Any, _properties: Any) -> None:
        refused = f"the broker refused a message: {reason}" if reason.is_failure else None
        self._events.put(Acked(token, refused))

    def _on_message(self, _client: Any, _data: Any, message: Any) -> None:
        statement = read_stored(message.payload, bool(message.retain))
        if statement is None:
            self.counts["malformed_stored"] += 1
        else:
            self._events.put(statement)


_CLOSED = "the broker closed the connection without an answer"
_NOT_ANSWERED = "the broker took the connection and did not answer"
_OTHER_VERSION = "the broker does not speak this version of MQTT"


def read_stored(payload: bytes, retained: bool) -> Stored | None:
    """`{"boots": {"<boot>": <highest seq without a hole>}, "time_ms": <server's time>}`; None: it is not that."""
    if len(payload) > STORED_BYTES_MAX:
        return None
    try:
        content = json.loads(payload)
        boots = content["boots"]
        time_ms = content.get("time_ms")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    if not isinstance(boots, dict) or not all(_is_whole(seq) and seq >= 0 for seq in boots.values()):
        return None
    if not (time_ms is None or _is_whole(time_ms)):
        return None
    return Stored(boots, time_ms, retained)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
