"""Mosquitto's own clients see what we publish: topics, presence, the will, `stored`; and what they publish is taken.

The programs on the other side are not ours, so that a misreading of the protocol cannot agree with itself.
"""

import json
import signal
import subprocess
import time
from pathlib import Path

import pytest

from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.wire import decode
from samples.pseudo_terminal import PseudoTerminal
from samples.text_printer import line_of
from tests.logger.broker import Broker
from tests.logger.test_kills import wait_until
from tests.test_chain import BOARD, Program

pytestmark = pytest.mark.peer
SITE = "ochre-pan"
WITHIN_S = 60.0


class Ears:
    """`mosquitto_sub` on everything of ours: topic and payload in hexadecimal, a message a line."""

    def __init__(self, port: int, folder: Path):
        self._file = folder / "heard.txt"
        with self._file.open("wb") as heard:
            words = ["mosquitto_sub", "-p", str(port), "-t", "wellhand/v1/#", "-q", "1", "-F", "%t %r %x"]
            self._process = subprocess.Popen(words, stdout=heard)

    def heard(self, kind: str) -> list[bytes]:
        """Payloads of one kind of our site, in order."""
        lines = [line.split(" ") for line in self._file.read_text().splitlines()]
        return [bytes.fromhex(line[2]) for line in lines if len(line) == 3 and line[0] == f"wellhand/v1/{SITE}/{kind}"]

    def kinds(self) -> set[str]:
        return {line.split(" ")[0].rpartition("/")[2] for line in self._file.read_text().splitlines()}

    def close(self) -> None:
        self._process.kill()
        self._process.wait()


@pytest.fixture
def broker(mosquitto, tmp_path):
    with Broker(mosquitto, tmp_path / "broker") as running:
        yield running


@pytest.fixture
def ears(broker, tmp_path):
    listening = Ears(broker.port, tmp_path)
    yield listening
    listening.close()


def test_the_board_is_heard_by_mosquitto_sub_and_its_will_is_told_when_it_is_killed(broker, ears, tmp_path):
    board = BOARD.format(site=SITE, port=broker.port, device=tmp_path / "line")
    (tmp_path / "board.toml").write_text(board.replace("keepalive_s = 10", "keepalive_s = 10\nwill_delay_s = 0"))
    terminal, log = PseudoTerminal(tmp_path / "line"), Program(tmp_path, "log", "board.toml")
    log.start()
    try:
        until, printed = time.monotonic() + WITHIN_S, 0
        while time.monotonic() < until and not (ears.heard("readings") and ears.heard("health") and printed > 20):
            printed += 1
            terminal.write(line_of({"pv_voltage_v": 100 + printed / 10, "volume_m3": printed / 100}))
            time.sleep(0.1)
        assert {"readings", "presence", "health"} <= ears.kinds(), log.said()
        assert json.loads(ears.heard("presence")[0])["online"] is True
        values = [reading.values for payload in ears.heard("readings") for reading in decode(payload)]
        assert any(found.get("pv_voltage_v") for found in values)
        log.process.send_signal(signal.SIGKILL)
        log.process.wait()
        wait_until(lambda: json.loads(ears.heard("presence")[-1])["online"] is False, WITHIN_S, "no will was told")
    finally:
        log.process.kill()
        log.process.wait()
        terminal.close()


def test_watch_answers_stored_to_readings_that_mosquitto_pub_sent(broker, ears, tmp_path, repository):
    boot = "000001-0123abcd"
    times = range(1_700_000_000_000, 1_700_000_600_000, 60_000)
    readings = [Reading(SITE, time_ms, {"volume_m3": seq / 10}, boot, seq) for seq, time_ms in enumerate(times, 1)]
    (tmp_path / "pack").write_bytes(pack(readings))
    site = repository / "samples" / "sites" / f"{SITE}.toml"
    store, address = f"sqlite:///{tmp_path}/store.db", f"127.0.0.1:{broker.port}"
    watch = Program(tmp_path, "watch", "--store", store, "--broker", address, "--site", str(site))
    watch.start()
    try:
        wait_until(lambda: "Connected" in watch.said(), WITHIN_S, "watch did not connect")
        words = ["-p", str(broker.port), "-q", "1", "-t", f"wellhand/v1/{SITE}/readings"]
        subprocess.run(["mosquitto_pub", *words, "-f", str(tmp_path / "pack")], check=True)
        subprocess.run(["mosquitto_pub", *words, "-m", "no readings at all"], check=True)
        wait_until(
            lambda: any(json.loads(told)["boots"].get(boot) == len(readings) for told in ears.heard("stored")),
            WITHIN_S,
            f"`stored` was not told; {watch.said()}",
        )
    finally:
        watch.process.terminate()
        assert watch.process.wait(30) == 0
    assert "1 messages refused" in watch.said()
