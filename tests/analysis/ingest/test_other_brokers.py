"""The worker on a broker that speaks MQTT 3.1.1 only, and on one that wants TLS and a client's certificate."""

import json
import queue
import shutil
import ssl
import subprocess
import sys
import threading
import time

import paho.mqtt.client as paho
import pytest

from analysis.clock import Clock
from analysis.ingest.broker import Broker, BrokerSettings, tls_context
from analysis.ingest.subscriber import Subscriber
from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.topics import READINGS, STORED, topic_of
from tests.logger.broker import Broker as Mosquitto
from tests.logger.broker import free_port, make_certificates

pytestmark = [pytest.mark.peer, pytest.mark.slow]

BOOT = "000001-aaaaaaaa"
START = 1_762_000_000_000
WAIT_S = 90
EMBEDDED = """
import asyncio, sys
from amqtt.broker import Broker
async def serve():
    plugins = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
    listeners = {"default": {"type": "tcp", "bind": f"127.0.0.1:{sys.argv[1]}"}}
    await Broker({"listeners": listeners, "plugins": plugins}).start()
    print("up", flush=True)
    await asyncio.Event().wait()
asyncio.run(serve())
"""


class Working:
    """A subscriber at work on a store, in a thread."""

    def __init__(self, store, settings: BrokerSettings):
        self.stop, self.broker = threading.Event(), Broker(settings)
        self.worker = Subscriber(store, self.broker, Clock(), self.stop)
        self.thread = threading.Thread(target=self.worker.run, daemon=True)

    def __enter__(self) -> "Working":
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        self.thread.join()


def told(client: paho.Client, act) -> dict:
    """What the server states to a board as stored after `act`, once it is more than nothing; `act` is done again as a spool would."""
    heard: queue.SimpleQueue[dict] = queue.SimpleQueue()
    client.on_message = lambda _c, _d, message: heard.put(json.loads(message.payload)["boots"])
    client.on_connect = lambda connected, *_: connected.subscribe(topic_of("north", STORED), 1)
    client.loop_start()
    ends = time.monotonic() + WAIT_S
    try:
        while time.monotonic() < ends:
            act()
            try:
                if boots := heard.get(timeout=2.0):
                    return boots
            except queue.Empty:
                continue
        raise AssertionError("nothing was told")
    finally:
        client.loop_stop()


def batch() -> bytes:
    return pack([Reading("north", START + 1000 * seq, {"flow_m3_h": 1.0}, BOOT, seq) for seq in range(1, 31)])


def test_a_broker_without_mqtt_5_is_met_with_3_1_1_and_readings_are_stored_and_answered(store):
    pytest.importorskip("amqtt", reason="the embedded broker")
    port = free_port()
    running = subprocess.Popen(
        [sys.executable, "-c", EMBEDDED, str(port)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    try:
        assert running.stdout is not None
        assert running.stdout.readline() == b"up\n"
        with Working(store, BrokerSettings("127.0.0.1", port)) as working:
            board = paho.Client(paho.CallbackAPIVersion.VERSION2, "board", protocol=paho.MQTTv311)
            board.connect("127.0.0.1", port)
            assert told(board, lambda: board.publish(topic_of("north", READINGS), batch(), 1)) == {BOOT: 30}
            assert working.broker.version == "3.1.1"
            board.disconnect()
    finally:
        running.kill()
        running.wait()
    assert len(store.readings("north", 0, 1 << 60)) == 30


@pytest.fixture
def secured(tmp_path):
    """A Mosquitto that lets nobody in without a certificate of its authority."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    assert program, "mosquitto is not installed"
    folder = tmp_path / "tls"
    make_certificates(folder, boards=("north", "watch"))
    make_certificates(tmp_path / "others", boards=("watch",))
    with Mosquitto(program, folder, "allow_anonymous false", tls=True) as broker:
        yield broker


def test_tls_with_a_clients_certificate(store, secured):
    folder = secured.folder
    ours = tls_context(folder / "ca.pem", folder / "watch.pem", folder / "watch.key")
    with Working(store, BrokerSettings("localhost", secured.port, tls=ours)) as working:
        board = paho.Client(paho.CallbackAPIVersion.VERSION2, "board", protocol=paho.MQTTv5)
        board.tls_set_context(tls_context(folder / "ca.pem", folder / "north.pem", folder / "north.key"))
        board.connect("localhost", secured.port)
        assert told(board, lambda: board.publish(topic_of("north", READINGS), batch(), 1)) == {BOOT: 30}
        assert (working.broker.connected, working.broker.version) == (True, "5")
        board.disconnect()


@pytest.mark.parametrize("wrong", ["no certificate", "another authority's broker", "another authority's certificate"])
def test_tls_lets_in_and_trusts_nobody_else(store, secured, tmp_path, wrong):
    folder, others = secured.folder, tmp_path / "others"
    contexts: dict[str, ssl.SSLContext] = {
        "no certificate": tls_context(folder / "ca.pem", None, None),
        "another authority's broker": tls_context(others / "ca.pem", folder / "watch.pem", folder / "watch.key"),
        "another authority's certificate": tls_context(folder / "ca.pem", others / "watch.pem", others / "watch.key"),
    }
    with Working(store, BrokerSettings("localhost", secured.port, tls=contexts[wrong])) as working:
        log, ends = secured.folder / "mosquitto.log", time.monotonic() + WAIT_S
        while "ssl" not in log.read_text().lower().partition("running")[2] and time.monotonic() < ends:
            time.sleep(0.1)
        assert not working.broker.connected
        assert working.broker._connections == 0
    assert "ssl" in log.read_text().lower(), "it did try"
