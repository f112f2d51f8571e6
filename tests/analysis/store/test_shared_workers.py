"""Several workers share the messages of one broker and the store of one PostgreSQL; one is killed: each reading is stored once."""

import json
import random
import shutil
import subprocess
import sys
import time

import paho.mqtt.client as paho
import pytest

from analysis.store import open_store
from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.topics import READINGS, topic_of
from tests.logger.broker import Broker

pytestmark = [pytest.mark.peer, pytest.mark.slow]

START = 1_762_000_000_000
BOOT = "000001-aaaaaaaa"
SITES, BATCHES, BATCH = 6, 20, 25
LAST = BATCHES * BATCH
WAIT_S = 120


@pytest.fixture
def broker(tmp_path):
    """A Mosquitto that is up."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    assert program, "mosquitto is not installed"
    with Broker(program, tmp_path / "broker") as running:
        yield running


def watch(url: str, port: int, name: str) -> subprocess.Popen:
    """One worker of the group, connected."""
    command = [sys.executable, "-m", "logger.cli", "watch", "--store", url, "--broker", f"127.0.0.1:{port}"]
    running = subprocess.Popen(
        [*command, "--share", "team", "--client-id", name], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    assert running.stdout is not None
    heard = ""
    for line in running.stdout:
        heard += line
        if "Connected" in line:
            return running
    raise AssertionError(heard)


def stored_by(running: subprocess.Popen) -> int:
    """Stop one; how many readings it says that it stored."""
    running.terminate()
    said, _ = running.communicate(timeout=60)
    assert running.returncode == 0, said
    assert "Traceback" not in said
    return int(said.partition("Stopped. ")[2].split()[0])


@pytest.mark.parametrize("url", ["postgresql"], indirect=True)
def test_a_group_of_workers_stores_each_reading_once_although_one_is_killed(url, site_text, broker):
    store = open_store(url)
    sites = [f"site-{number}" for number in range(SITES)]
    for site in sites:
        store.put_site(site_text(site))
    workers = [watch(url, broker.port, f"worker-{number}") for number in range(3)]
    board = paho.Client(paho.CallbackAPIVersion.VERSION2, "boards", protocol=paho.MQTTv5)
    board.connect("127.0.0.1", broker.port)
    board.loop_start()

    def send(site: str, number: int) -> None:
        seqs = range(1 + number * BATCH, 1 + (number + 1) * BATCH)
        rows = [Reading(site, START + 1000 * seq, {"flow_m3_h": seq / 8}, BOOT, seq) for seq in seqs]
        board.publish(topic_of(site, READINGS), pack(rows), 1)

    for number in range(BATCHES):
        for site in sites:
            send(site, number)
        if number == BATCHES // 2:
            workers[0].kill()
            workers[0].wait()
    ends, shuffle = time.monotonic() + WAIT_S, random.Random(1)
    while any(store.stored(site).get(BOOT, 0) < LAST for site in sites):
        assert time.monotonic() < ends, json.dumps({site: store.stored(site) for site in sites})
        time.sleep(1.0)
        # As spools do: what is not stored goes again, boards in no order. In one and the same order the broker, which deals in
        # turn, would deal the first batch of a site to the dead worker's session each time.
        again = [(site, n) for site in sites for n in range(store.stored(site).get(BOOT, 0) // BATCH, BATCHES)]
        shuffle.shuffle(again)
        for site, number in again:
            send(site, number)
    board.disconnect()
    board.loop_stop()
    shares = [stored_by(worker) for worker in workers[1:]]
    assert min(shares) > 0, f"one worker did all: {shares}"
    for site in sites:
        kept = store.readings(site, 0, 1 << 60)
        assert kept.time_ms.tolist() == [START + 1000 * seq for seq in range(1, LAST + 1)], site
        assert kept["flow_m3_h"].tolist() == [seq / 8 for seq in range(1, LAST + 1)], site
    store.close()
