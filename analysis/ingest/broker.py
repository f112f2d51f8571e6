"""The server's connection to the broker: a session that outlives it, messages acknowledged by hand, retained answers.

MQTT 5 first; a broker that refuses it, leaves it unanswered for ANSWER_S, or twice in a row closes the connection instead, is
tried with 3.1.1 and so on in turn. paho's own thread only fills the queue; all else happens in the caller's thread.
Flow: broker -> HERE -> subscriber.py.
Never: a payload's meaning; the store.
"""

import logging
import queue
import ssl
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from logger.record.topics import FROM_BOARD, QOS, everyone
from logger.record.wire import PAYLOAD_BYTES_MAX

log = logging.getLogger(__name__)

UNANSWERED_MAX = 512
"""Messages that the broker may have under way to us: two batches, so that one waits whole while the other is committed; with
PAYLOAD_BYTES_MAX this bounds our memory."""
WAITING_MAX = UNANSWERED_MAX
"""Held in our own queue: MQTT 3.1.1 has no such bound, QoS 0 none at all, and not every broker keeps to it."""
FULL_WAIT_S = 0.2
SESSION_S = 24 * 3600
PAUSE_S = (1, 30)
KEEPALIVE_S = 30
UNSUPPORTED_VERSION = 132
REFUSALS_MAX = 2
ANSWER_S = 10.0
"""TCP and TLS stand by then, so that an answer takes one way there and back."""
VERSIONS = {paho.MQTTv5: "5", paho.MQTTv311: "3.1.1"}


@dataclass(frozen=True)
class BrokerSettings:
    """Where the broker is and who we are to it. `share`: a group of workers that divide the messages (MQTT 5 only)."""

    host: str
    port: int
    client_id: str = "wellhand-watch"
    tls: ssl.SSLContext | None = None
    username: str | None = None
    password: str | None = None
    share: str | None = None


@dataclass(frozen=True)
class Arrived:
    """A message and what is needed to acknowledge it; `connection` numbers the connection that brought it."""

    topic: str
    payload: bytes
    mid: int
    qos: int
    connection: int


def tls_context(ca: Path | None, cert: Path | None, key: Path | None) -> ssl.SSLContext:
    """Checks the broker's certificate and name always. OSError, ssl.SSLError: a file cannot be used."""
    context = ssl.create_default_context(cafile=str(ca) if ca else None)
    if cert:
        context.load_cert_chain(str(cert), str(key) if key else None)
    return context


class Broker:
    """Opens nothing until `start`, then connects again for ever until `close`."""

    def __init__(self, settings: BrokerSettings):
        self.settings = settings
        self._queue: queue.Queue[Arrived] = queue.Queue(WAITING_MAX)
        self._version: Any = paho.MQTTv5
        self._connections, self._greeted, self._refusals = 0, 0, 0
        self._answered = self._closing = False
        self._asked_s: float | None = None
        self._client = self._made()

    @property
    def version(self) -> str:
        """The MQTT version in use."""
        return VERSIONS[self._version]

    @property
    def connected(self) -> bool:
        """Whether the broker has us now."""
        return self._client.is_connected()

    def start(self) -> None:
        """Begin to connect."""
        if self._version == paho.MQTTv5:
            asked = Properties(PacketTypes.CONNECT)
            asked.SessionExpiryInterval = SESSION_S
            asked.ReceiveMaximum = UNANSWERED_MAX
            asked.MaximumPacketSize = PAYLOAD_BYTES_MAX + 1024
            begin = {"clean_start": False, "properties": asked}
        else:
            begin = {}
        self._client.connect_async(self.settings.host, self.settings.port, KEEPALIVE_S, **begin)  # type: ignore[arg-type]
        self._client.loop_start()

    def close(self) -> None:
        """Leave; the broker keeps our session for a day, so nothing sent meanwhile is lost to it."""
        self._closing = True
        self._client.disconnect()
        self._client.loop_stop()

    def newly_connected(self) -> bool:
        """True once after each connection: then the broker may have lost what it held for boards."""
        self._change_version()
        if self._greeted == self._connections:
            return False
        self._greeted = self._connections
        return True

    def take(self, most: int, wait_s: float) -> list[Arrived]:
        """Up to `most` messages; waits up to `wait_s` for the first."""
        found: list[Arrived] = []
        try:
            found.append(self._queue.get(timeout=wait_s))
            while len(found) < most:
                found.append(self._queue.get_nowait())
        except queue.Empty:
            pass
        return found

    def done(self, arrived: Arrived) -> None:
        """Acknowledge; a message of an earlier connection comes again and is acknowledged then."""
        if arrived.qos and arrived.connection == self._connections:
            self._client.ack(arrived.mid, arrived.qos)

    def publish(self, topic: str, payload: bytes) -> bool:
        """A retained message; False while not connected."""
        if not self.connected:
            return False
        return self._client.publish(topic, payload, QOS, retain=True).rc == paho.MQTT_ERR_SUCCESS

    def _made(self) -> paho.Client:
        session = {} if self._version == paho.MQTTv5 else {"clean_session": False}
        client = paho.Client(
            paho.CallbackAPIVersion.VERSION2,
            self.settings.client_id,
            protocol=self._version,
            manual_ack=True,
            **session,  # type: ignore[arg-type]
        )
        client.reconnect_delay_set(*PAUSE_S)
        if self.settings.tls:
            client.tls_set_context(self.settings.tls)
        if self.settings.username:
            client.username_pw_set(self.settings.username, self.settings.password)
        client.on_connect, client.on_disconnect = self._on_connect, self._on_disconnect
        client.on_connect_fail, client.on_socket_open = self._on_connect_fail, self._on_socket_open
        client.on_message = self._on_message
        return client

    def _change_version(self) -> None:
        """In the caller's thread: the client cannot be stopped from its own."""
        asked_s = self._asked_s
        unanswered = asked_s is not None and time.monotonic() - asked_s > ANSWER_S
        if self._refusals < REFUSALS_MAX and not unanswered:
            return
        self._client.disconnect()
        self._client.loop_stop()
        self._version = paho.MQTTv311 if self._version == paho.MQTTv5 else paho.MQTTv5
        self._refusals, self._asked_s = 0, None
        log.warning("The broker does not answer in the other version; trying MQTT %s.", self.version)
        self._client = self._made()
        self.start()

    # In paho's thread.

    def _on_connect(self, client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self._answered, self._asked_s = True, None
        if reason.is_failure:
            log.warning("The broker refused us: %s.", reason)
            self._refusals += REFUSALS_MAX if reason.value == UNSUPPORTED_VERSION else 0
            return
        self._refusals = 0
        self._connections += 1
        shared = f"$share/{self.settings.share}/" if self.settings.share else ""
        if shared and self._version != paho.MQTTv5:
            log.error("This broker has no shared subscriptions: only one watch may run on it.")
            shared = ""
        client.subscribe([(shared + everyone(kind), QOS) for kind in sorted(FROM_BOARD)])
        log.info("Connected to the broker at %s:%d, MQTT %s.", self.settings.host, self.settings.port, self.version)

    def _on_disconnect(self, _client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self._refusals += 0 if self._answered else 1
        self._answered, self._asked_s = False, None
        log.warning("The connection to the broker ended: %s.", reason)

    def _on_socket_open(self, _client: Any, _data: Any, _socket: Any) -> None:
        self._asked_s = time.monotonic()

    def _on_connect_fail(self, _client: Any, _data: Any) -> None:
        trusted = ", or its certificate is not of the authority that we trust" if self.settings.tls else ""
        log.warning("No broker answers at %s:%d%s; trying again.", self.settings.host, self.settings.port, trusted)

    def _on_message(self, _client: Any, _data: Any, message: Any) -> None:
        arrived = Arrived(message.topic, bytes(message.payload), message.mid, message.qos, self._connections)
        while not self._closing:
            try:
                self._queue.put(arrived, timeout=FULL_WAIT_S)
                return
            except queue.Full:  # we read no more from the broker until the store has caught up
                continue
