"""A real Mosquitto on a free loopback port, a store with two sites, and a client that speaks as a board does."""

import json
import queue
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from analysis.store import Store, open_store
from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.topics import READINGS, STORED, topic_of

SITE = (Path(__file__).parents[1] / "store" / "site.toml").read_text()


@pytest.fixture(scope="session")
def site_text() -> Callable[[str], str]:
    """A site file that holds, for any id."""
    return lambda site: SITE.replace('"north"', f'"{site}"')


@pytest.fixture
def store(tmp_path: Path, site_text: Callable[[str], str]) -> Iterator[Store]:
    """A store with the sites `north` and `south`."""
    opened = open_store(f"sqlite:///{tmp_path}/wellhand.db")
    for site in ("north", "south"):
        opened.put_site(site_text(site))
    yield opened
    opened.close()


class Mosquitto:
    """A broker of our own that keeps its state in a file, and can be killed and started again."""

    def __init__(self, program: str, folder: Path):
        self._program, self._folder = program, folder
        self.process: subprocess.Popen | None = None
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        (folder / "mosquitto.conf").write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence true\n"
            f"persistence_location {folder}/\nmax_queued_messages 10000\n"
            "user root\n"
        )

    def start(self) -> None:
        """Up, and it answers."""
        self.process = subprocess.Popen(
            [self._program, "-c", str(self._folder / "mosquitto.conf")],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(100):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError("Mosquitto does not answer")

    def kill(self) -> None:
        """As a power cut: what it had not saved is gone."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """Running when the test begins."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    assert program, "mosquitto is not installed"
    folder = tmp_path / "broker"
    folder.mkdir()
    running = Mosquitto(program, folder)
    running.start()
    yield running
    running.kill()


class Board:
    """Publishes packs for one site, hears what was stored, and sends again what is not, as the spool does."""

    def __init__(self, port: int, site: str, version=paho.MQTTv5):
        self.site = site
        self.heard: queue.SimpleQueue[dict] = queue.SimpleQueue()
        self.boots: dict[str, int] = {}
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, f"board-{site}", protocol=version)
        self.client.reconnect_delay_set(1, 1)
        self.client.on_connect = lambda client, *_: client.subscribe(topic_of(site, STORED), 1)
        self.client.on_message = lambda _c, _d, message: self.heard.put(json.loads(message.payload))
        self.client.connect_async("127.0.0.1", port)
        self.client.loop_start()

    def send(self, readings: list[Reading]) -> None:
        """One batch, as it goes over the air."""
        self.publish(READINGS, pack(readings))

    def publish(self, kind: str, payload: bytes) -> None:
        """Any bytes below our site."""
        self.client.publish(topic_of(self.site, kind), payload, 1)

    def stored(self, boot: str, wait_s: float = 0.0) -> int:
        """The highest sequence told; looks for news up to `wait_s`."""
        ends = time.monotonic() + wait_s
        while True:
            try:
                self.boots |= self.heard.get(timeout=max(0.01, ends - time.monotonic()))["boots"]
            except queue.Empty:
                return self.boots.get(boot, 0)

    def ready(self) -> "Board":
        """Wait until the worker has told what is stored: then it has subscribed, and nothing sent is sent to nobody."""
        self.boots |= self.heard.get(timeout=20)["boots"]
        return self

    def close(self) -> None:
        """Gone."""
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def board_of(broker: Mosquitto) -> Iterator[Callable[..., Board]]:
    """Makes a board for a site."""
    made: list[Board] = []

    def make(site: str) -> Board:
        made.append(Board(broker.port, site))
        return made[-1]

    yield make
    for board in made:
        board.close()
