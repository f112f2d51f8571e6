"""The link against a real Mosquitto (2.x): versions, will, TLS, names, passwords, topic lists, kills."""

import json
import queue
import subprocess
import time
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from logger.link import Acked, Down, Link, Stored, Up, read_stored
from logger.record.topics import topic_of
from logger.settings_tables import Mqtt
from tests.logger.broker import Broker, free_port, make_certificates

SITE = "north-kraal"
WITHIN_S = 20.0


def wait_for(link: Link, kind, within_s: float = WITHIN_S):
    """The next event of a kind; what came before it is let go."""
    ends = time.monotonic() + within_s
    while time.monotonic() < ends:
        for event in link.events(0.1):
            if isinstance(event, kind):
                return event
    raise AssertionError(f"no {kind.__name__} within {within_s} s; last trouble: {link.last_trouble}")


class Listener:
    """A second client that hears everything below the site."""

    def __init__(self, port: int, version=paho.MQTTv5, **credentials):
        self.heard: queue.Queue = queue.Queue()
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=version)
        if credentials:
            self.client.username_pw_set(credentials["username"], credentials["password"])
        self.client.on_message = lambda _c, _d, message: self.heard.put(message)
        self.client.on_connect = lambda client, *_: client.subscribe("wellhand/v1/#", 1)
        self.client.on_subscribe = lambda *_: self.heard.put("subscribed")
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        assert self.heard.get(timeout=WITHIN_S) == "subscribed"

    def next(self, kind: str):
        while True:
            message = self.heard.get(timeout=WITHIN_S)
            if message.topic == topic_of(SITE, kind):
                return message

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def link_to(port: int, folder: Path = Path("."), **more) -> Link:
    settings = Mqtt(**{"host": "localhost", "port": port, "will_delay_s": 0, "keepalive_s": 60} | more)
    return Link(settings, SITE, folder, b'{"online":false}')


@pytest.mark.peer
def test_it_connects_with_mqtt_5_publishes_hears_stored_and_says_goodbye(mosquitto, tmp_path):
    with Broker(mosquitto, tmp_path) as broker:
        listener, link = Listener(broker.port), link_to(broker.port)
        link.start()
        wait_for(link, Up)
        assert link.version == "5"
        token = link.publish("readings", b"some rows")
        assert wait_for(link, Acked) == Acked(token)
        heard = listener.next("readings")
        assert (heard.payload, heard.qos, heard.retain) == (b"some rows", 1, False)
        statement = json.dumps({"boots": {"000001-0000abcd": 7}, "time_ms": 5})
        listener.client.publish(topic_of(SITE, "stored"), statement, 1, True)
        assert wait_for(link, Stored) == Stored({"000001-0000abcd": 7}, 5, retained=False)
        link.close(b"goodbye")
        assert listener.next("presence").payload == b"goodbye"
        again = link_to(broker.port)
        again.start()
        assert wait_for(again, Stored).retained, "what the broker kept says nothing of the time"
        again.close(None)
        listener.close()


@pytest.mark.peer
def test_a_board_that_vanishes_leaves_its_will(mosquitto, tmp_path):
    with Broker(mosquitto, tmp_path) as broker:
        listener, link = Listener(broker.port), link_to(broker.port)
        link.start()
        wait_for(link, Up)
        link._client._sock_close()  # the cable, not a goodbye
        will = listener.next("presence")
        assert will.payload == b'{"online":false}'
        link.close(None)
        listener.close()


@pytest.mark.peer
def test_a_broker_killed_and_started_again_is_found_again(mosquitto, tmp_path):
    broker = Broker(mosquitto, tmp_path).start()
    link = link_to(broker.port)
    link.start()
    wait_for(link, Up)
    for _ in range(2):
        broker.kill()
        wait_for(link, Down)
        assert link.room == 0
        broker.start()
        wait_for(link, Up)
        token = link.publish("readings", b"after")
        assert wait_for(link, Acked).token == token
    assert link.counts["losses"] == 2
    assert link.version == "5", "a broker that is away has not refused a version"
    link.close(None)
    broker.kill()


@pytest.mark.peer
@pytest.mark.parametrize("given", ["right", "wrong authority", "wrong name", "no certificate of ours"])
def test_tls_with_client_certificate_and_checked_name(mosquitto, tmp_path, given):
    make_certificates(tmp_path, "elsewhere" if given == "wrong name" else "localhost")
    if given == "wrong authority":
        make_certificates(tmp_path / "other")
    ca = "other/ca.pem" if given == "wrong authority" else "ca.pem"
    ours = {} if given == "no certificate of ours" else {"cert_file": f"{SITE}.pem", "key_file": f"{SITE}.key"}
    with Broker(mosquitto, tmp_path, "", tls=True) as broker:
        link = link_to(broker.port, tmp_path, tls=True, ca_file=ca, **ours)
        link.start()
        if given == "right":
            wait_for(link, Up)
            token = link.publish("readings", b"sealed")
            assert wait_for(link, Acked) == Acked(token)
        else:
            reason = wait_for(link, Down).reason
            expected = {
                "wrong authority": "the broker's certificate was not accepted: ",
                "wrong name": "the broker's certificate was not accepted: Hostname mismatch",
                "no certificate of ours": "",
            }[given]
            assert reason.startswith(expected), reason
            assert not link.connected
        link.close(None)


@pytest.mark.peer
def test_a_topic_list_that_refuses_is_counted_and_worded(mosquitto, tmp_path):
    (tmp_path / "acl").write_text(f"user {SITE}\ntopic write wellhand/v1/other-site/#\n")
    (tmp_path / "acl").chmod(0o600)
    subprocess.run(["mosquitto_passwd", "-b", "-c", tmp_path / "passwords", SITE, "secret"], check=True)
    (tmp_path / "secret").write_text("secret\n")
    settings = f"allow_anonymous false\nacl_file {tmp_path}/acl\npassword_file {tmp_path}/passwords"
    with Broker(mosquitto, tmp_path, settings) as broker:
        link = link_to(broker.port, tmp_path, username=SITE, password_file="secret")
        link.start()
        wait_for(link, Up)
        link.publish("readings", b"not allowed")
        refused = wait_for(link, Acked).refused
        assert refused == "the broker refused a message: Not authorized"
        assert link.counts["refused"] == 1
        link.close(None)


@pytest.mark.peer
def test_a_wrong_password_is_said(mosquitto, tmp_path):
    subprocess.run(["mosquitto_passwd", "-b", "-c", tmp_path / "passwords", SITE, "secret"], check=True)
    (tmp_path / "wrong").write_text("guess\n")
    with Broker(mosquitto, tmp_path, f"allow_anonymous false\npassword_file {tmp_path}/passwords") as broker:
        link = link_to(broker.port, tmp_path, username=SITE, password_file="wrong")
        link.start()
        assert wait_for(link, Down).reason == "the broker refused us: Not authorized"
        assert link.version == "5", "that is no refusal of the version"
        link.close(None)


@pytest.mark.parametrize("version", ["auto", "3.1.1"])
def test_a_broker_that_refuses_mqtt_5_is_met_with_3_1_1(version):
    """The embedded broker of the demo speaks 3.1.1 only; `auto` finds out when it gets no answer."""
    amqtt = pytest.importorskip("amqtt.broker")
    import asyncio  # noqa: PLC0415
    import threading  # noqa: PLC0415

    port, loop, ready = free_port(), asyncio.new_event_loop(), threading.Event()
    settings = {"listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}}, "plugins": {
        "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}}  # fmt: skip

    async def serve() -> object:
        broker = amqtt.Broker(settings, loop=loop)
        await broker.start()
        ready.set()
        return broker

    broker = []
    thread = threading.Thread(target=lambda: (broker.append(loop.run_until_complete(serve())), loop.run_forever()))
    thread.start()
    try:
        assert ready.wait(WITHIN_S)
        link = link_to(port, version=version)
        link.start()
        wait_for(link, Up, 40.0 if version == "auto" else 5.0)
        assert link.version == "3.1.1"
        token = link.publish("readings", b"rows")
        assert wait_for(link, Acked) == Acked(token)
        assert link.counts["losses"] == 0
        link.close(b"bye")
    finally:
        asyncio.run_coroutine_threadsafe(broker[0].shutdown(), loop).result(WITHIN_S)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()


def test_a_board_publishes_four_kinds_and_no_other():
    link = link_to(1)
    with pytest.raises(ValueError, match="a board publishes readings, urgent, presence, health; not 'stored'"):
        link.publish("stored", b"")


@pytest.mark.parametrize(
    "payload",
    [
        b"", b"{", b"[]", b"null", b"7", b'"x"', b'{"boots": 3}', b'{"boots": {"a": "1"}}', b'{"boots": {"a": -1}}',
        b'{"boots": {"a": true}}', b'{"boots": {"a": 1.5}}', b'{"boots": {}, "time_ms": "now"}', b"\xff\xfe",
        b'{"boots": {"a": 1}}' + b" " * 70_000, b"[" * 60_000,
    ],
)  # fmt: skip
def test_what_is_no_statement_of_the_server_is_refused(payload):
    assert read_stored(payload, False) is None


def test_a_statement_without_a_time_is_taken():
    assert read_stored(b'{"boots": {"000001-0000abcd": 3}, "more": []}', True) == Stored(
        {"000001-0000abcd": 3}, None, True
    )
