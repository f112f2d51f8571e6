"""Plays the server on a real broker: takes readings, answers `stored`; a client of its own thread."""

import threading
import time

import paho.mqtt.client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from logger.record.topics import READINGS, STORED, everyone, taken_apart, topic_of
from tests.logger.other_end import Receiver


class RealServer:
    """`receiver` has what arrived. It answers as a store does: after taking a batch, with the time."""

    def __init__(self, port: int):
        self.receiver, self.answers, self.payload_bytes, self.batches = Receiver(), True, 0, 0
        self._lock = threading.Lock()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, "the-server", protocol=paho.MQTTv5)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_message = self._take
        self._client.on_connect = lambda client, *_: client.subscribe(everyone(READINGS), 1)
        properties = Properties(PacketTypes.CONNECT)
        properties.SessionExpiryInterval = 3600
        self._client.connect("127.0.0.1", port, clean_start=False, properties=properties)
        self._client.loop_start()

    def _take(self, client, _data, message) -> None:
        topic = taken_apart(message.topic)
        assert topic is not None
        with self._lock:
            self.payload_bytes += len(message.payload)
            self.batches += 1
            self.receiver.take(message.payload)
            statement = self.receiver.statement(time.time_ns() // 1_000_000)
        if self.answers:
            client.publish(topic_of(topic.site, STORED), statement, 1, retain=True)

    def stored(self) -> dict[str, int]:
        with self._lock:
            return self.receiver.stored()

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
