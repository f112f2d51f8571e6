"""Against a real Mosquitto: stored once and answered; killed and restarted brokers lose nothing that a board keeps."""

import json
import threading
import time

import paho.mqtt.client as paho
import pytest

from analysis.clock import Clock
from analysis.ingest import subscriber as subscriber_module
from analysis.ingest.broker import WAITING_MAX, Broker, BrokerSettings
from analysis.ingest.subscriber import Subscriber
from analysis.store import findings, outbox
from logger.record.finding import Finding
from logger.record.reading import Reading
from logger.record.topics import topic_of

pytestmark = pytest.mark.peer

START = 1_762_000_000_000
BOOT = "000001-aaaaaaaa"
WAIT_S = 20


def readings(first: int, last: int, site="north") -> list[Reading]:
    """`first` to `last`, a second apart."""
    return [Reading(site, START + 1000 * seq, {"flow_m3_h": seq / 10}, BOOT, seq) for seq in range(first, last + 1)]


def until(condition, wait_s=WAIT_S):
    """Wait for something to become true; what it gave."""
    ends = time.monotonic() + wait_s
    while not (found := condition()):
        assert time.monotonic() < ends, "waited in vain"
        time.sleep(0.02)
    return found


@pytest.fixture
def working(store, broker):
    """A subscriber at work on the store in a thread."""
    stop = threading.Event()
    worker = Subscriber(store, Broker(BrokerSettings("127.0.0.1", broker.port)), Clock(), stop)
    thread = threading.Thread(target=worker.run, daemon=True)
    thread.start()
    yield worker
    stop.set()
    thread.join()


def test_readings_are_stored_and_answered(store, working, board_of):
    board = board_of("north").ready()
    board.send(readings(1, 100))
    board.send(readings(201, 300))
    until(lambda: board.stored(BOOT) == 100)
    board.send(readings(90, 200))
    until(lambda: board.stored(BOOT) == 300)
    board.publish("readings", b"junk")
    until(lambda: any(one.detail == "unknown-form" for one in store.tallies("north")))
    assert len(store.readings("north", 0, 1 << 60)) == 300
    assert working.kept.readings == 300


def test_a_board_that_comes_later_finds_what_is_stored(working, board_of):
    board_of("north").ready().send(readings(1, 5))
    until(lambda: working.kept.readings == 5)
    late = board_of("north")
    until(lambda: late.stored(BOOT) == 5)


def test_messages_sent_while_no_worker_runs_are_kept_by_the_broker(store, broker, board_of):
    def run_once():
        stop = threading.Event()
        worker = Subscriber(store, Broker(BrokerSettings("127.0.0.1", broker.port)), Clock(), stop)
        thread = threading.Thread(target=worker.run, daemon=True)
        thread.start()
        return worker, stop, thread

    worker, stop, thread = run_once()
    board = board_of("north").ready()
    board.send(readings(1, 3))
    until(lambda: worker.kept.readings == 3)
    stop.set()
    thread.join()
    last = 3 + WAITING_MAX + 300  # more than the worker's queue holds, one message each
    for seq in range(4, last + 1):
        board.send(readings(seq, seq))
    time.sleep(0.3)
    worker, stop, thread = run_once()
    until(lambda: board.stored(BOOT) == last, 40)
    stop.set()
    thread.join()


def test_a_killed_broker_loses_nothing_that_the_board_sends_again(store, broker, working, board_of):
    board = board_of("north").ready()
    board.send(readings(1, 50))
    until(lambda: board.stored(BOOT) == 50)
    broker.kill()
    broker.start()
    until(board.client.is_connected)

    def again():
        board.send(readings(51, 80))
        return board.stored(BOOT, 1.0) == 80

    until(again, 60)
    assert len(store.readings("north", 0, 1 << 60)) == 80
    assert working.kept.readings == 80


@pytest.mark.usefixtures("working")
def test_findings_are_told_retained_once_the_outbox_says_so(store, broker):
    finding = Finding(
        "north-1", "clogging", "clogging", "2025-11-03T00:00:00Z", "2025-11-09T18:00:00Z", 0.9, "figures", "look"
    )
    with store.changing("north") as (connection, number):
        findings.put_findings(connection, number, (finding,))
        outbox.put_letter(connection, number, "findings", {})
    until(lambda: not store.unsent("findings"))
    got: list[dict] = []
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.on_message = lambda _c, _d, message: got.append(json.loads(message.payload))
    client.connect("127.0.0.1", broker.port)
    client.subscribe(topic_of("north", "findings"), 1)
    client.loop_start()
    until(lambda: got and got[-1]["findings"])
    client.loop_stop()
    assert got[-1] == {"site": "north", "findings": [json.loads(json.dumps(finding.as_dict()))]}


def test_a_refused_message_is_said_once_in_the_log_and_counted_each_time(working, board_of, caplog):
    board = board_of("north").ready()
    for _ in range(3):
        board.publish("readings", b"junk")
        until(lambda: working.kept.refused)
    until(lambda: working.kept.refused == 3)
    said = [record.getMessage() for record in caplog.records if "Refused" in record.getMessage()]
    assert len(said) == 1
    assert "site north: unknown-form" in said[0]


def test_a_message_that_the_store_cannot_bear_is_refused_alone(store, working, board_of, monkeypatch):
    real = subscriber_module.keep

    def poisoned(store, messages, now_ms):
        if any(message.payload == b"poison" for message in messages):
            raise ValueError("the store cannot bear it")
        return real(store, messages, now_ms)

    monkeypatch.setattr(subscriber_module, "keep", poisoned)
    board = board_of("north").ready()
    for payload in (None, b"poison", None):
        if payload is None:
            board.send(readings(1, 2))
        else:
            board.publish("readings", payload)
    until(lambda: any(one.detail == "not-storable" for one in store.tallies()))
    board.send(readings(3, 4))
    until(lambda: board.stored(BOOT) == 4)
    assert working.kept.refused == 1
