"""Messages per second from broker to committed store, against a subscriber that only counts, on the same broker in the same run.

Run: python tests/bench/bench_ingest.py [messages]
Mosquitto on a free loopback port; 20 sites; each message is a pack of READINGS readings of ten channels, QoS 1. The messages lie in the
broker when the clock starts, for both, so that the publisher is no part of the answer. The store is SQLite with synchronous=FULL.
"""

import logging
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from analysis.clock import Clock
from analysis.ingest.broker import SESSION_S, UNANSWERED_MAX, Broker, BrokerSettings
from analysis.ingest.subscriber import Subscriber
from analysis.store import open_store
from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.topics import READINGS as KIND
from logger.record.topics import everyone, topic_of

SITES, READINGS = 20, 10
BOOT = "000001-aaaaaaaa"
START = 1_762_000_000_000
CHANNELS = ("pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "flow_m3_h", "volume_m3",
            "water_level_m", "low_level_probe_wet", "tank_float_up", "motor_running")  # fmt: skip
SITE_TOML = (Path(__file__).parent / "bench_site.toml").read_text(encoding="utf-8")


def connected(port: int, name: str) -> paho.Client:
    """A client with a session that stays, as the worker's."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, name, protocol=paho.MQTTv5)
    client.max_queued_messages_set(0)
    client.max_inflight_messages_set(1000)
    asked = Properties(PacketTypes.CONNECT)
    asked.SessionExpiryInterval, asked.ReceiveMaximum = SESSION_S, UNANSWERED_MAX
    client.connect("127.0.0.1", port, clean_start=False, properties=asked)
    return client


def leave_session(port: int, name: str) -> None:
    """Subscribe and go, so that the broker keeps what comes."""
    client, done = connected(port, name), threading.Event()
    client.on_subscribe = lambda *_: done.set()
    client.loop_start()
    client.subscribe(everyone(KIND), 1)
    done.wait(10)
    client.disconnect()
    client.loop_stop()


def publish(port: int, messages: int) -> None:
    """Every site's readings, in turn."""
    client = connected(port, "boards")
    client.loop_start()
    for number in range(messages):
        site, first = f"site-{number % SITES}", 1 + (number // SITES) * READINGS
        rows = [
            Reading(site, START + 1000 * seq, {name: float(seq % 2) for name in CHANNELS}, BOOT, seq)
            for seq in range(first, first + READINGS)
        ]
        sent = client.publish(topic_of(site, KIND), pack(rows), 1)
        if number % 500 == 499:
            sent.wait_for_publish()
    sent.wait_for_publish()
    client.disconnect()
    client.loop_stop()


def bare(port: int, messages: int) -> tuple[float, float]:
    """Seconds until a subscriber that only counts has them all, and of these the seconds of our processor."""
    client, seen, done = connected(port, "bare"), [0], threading.Event()

    def count(*_) -> None:
        seen[0] += 1
        if seen[0] == messages:
            done.set()

    client.on_message = count
    start, worked = time.perf_counter(), time.process_time()
    client.loop_start()
    assert done.wait(120), seen
    took = time.perf_counter() - start, time.process_time() - worked
    client.disconnect()
    client.loop_stop()
    return took


def into_store(port: int, messages: int, folder: Path) -> tuple[float, float]:
    """Likewise until all of them are committed."""
    store = open_store(f"sqlite:///{folder}/bench.db")
    for number in range(SITES):
        store.put_site(SITE_TOML.replace(site_id(), f"site-{number}"))
    stop = threading.Event()
    worker = Subscriber(store, Broker(BrokerSettings("127.0.0.1", port, "worker")), Clock(), stop)
    start, worked = time.perf_counter(), time.process_time()
    thread = threading.Thread(target=worker.run, daemon=True)
    thread.start()
    while worker.kept.readings < messages * READINGS:
        assert time.perf_counter() - start < 300, worker.kept
        time.sleep(0.005)
    took = time.perf_counter() - start, time.process_time() - worked
    stop.set()
    thread.join()
    return took


def site_id() -> str:
    """The id in the bench's site file."""
    return SITE_TOML.partition('id = "')[2].partition('"')[0]


def main(messages: int) -> None:
    """Print messages per second, and the store's share of the bare subscriber's."""
    logging.disable(logging.CRITICAL)
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    assert program, "mosquitto is not installed"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        (folder / "m.conf").write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 1000000\n"
        )
        broker = subprocess.Popen([program, "-c", str(folder / "m.conf")], stderr=subprocess.DEVNULL)
        try:
            time.sleep(1)
            leave_session(port, "bare")
            leave_session(port, "worker")
            publish(port, messages)
            counted, stored = bare(port, messages), into_store(port, messages, folder)
        finally:
            broker.terminate()
            broker.wait()
    print(f"{messages} messages of {READINGS} readings, {SITES} sites")
    for name, (took, worked) in (("bare subscriber", counted), ("into the store", stored)):
        print(f"{name:15s} {messages / took:10,.0f} messages/s, {messages / worked:10,.0f} a second of one core")
    share = counted[0] / stored[0]
    print(f"that is {messages * READINGS / stored[0]:,.0f} readings/s, {share:.2f} of the bare subscriber's messages")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
