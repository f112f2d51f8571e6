"""SIGKILL at random moments: the real `wellhand log`, a real Mosquitto, and the line between them.

60 kills in a test run; `WELLHAND_KILLS=500 pytest tests/logger/test_kills.py` for more. `WELLHAND_SEED` repeats a run's moments.
"""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from logger.spool.disk import Disk
from logger.spool.row import Row
from logger.spool.segment import load, named
from tests.logger.broker import Broker
from tests.logger.real_server import RealServer

KILLS = int(os.environ.get("WELLHAND_KILLS", "60"))
SEED = int(os.environ.get("WELLHAND_SEED", "0")) or random.SystemRandom().randrange(1, 1 << 30)
SITE = "north-kraal"
ROWS = 500
SETTLES_WITHIN_S = 60.0

HEAD = """
[board]
site = "{site}"
interval_s = 0
sync_every_s = 0.3
[clock]
trust = "always"
[mqtt]
host = "127.0.0.1"
port = {port}
batch_s = 0.2
keepalive_s = 10
"""
BOARD = (
    HEAD
    + """
[[source]]
kind = "replay"
name = "recorded"
file = "readings.csv"
repeat = true
period_s = 0.1
"""
)


def start(folder: Path) -> subprocess.Popen:
    log = (folder / "log.txt").open("ab")
    command = [sys.executable, "-c", "import sys; from logger.cli import main; sys.exit(main())", "log", "board.toml"]
    return subprocess.Popen(command, cwd=folder, stdout=log, stderr=log)


def on_disk(spool: Path) -> dict[tuple[str, int], Row]:
    """Every whole row that a killed logger left, read without the logger."""
    found = {}
    for path in spool.glob("*.rows"):
        segment = named(path)
        assert segment is not None
        for row in load(Disk(), segment):
            found[segment.boot, row.seq] = row
    return found


def boots(folder: Path) -> int:
    """How often the logger has said that its spool is open."""
    return (folder / "log.txt").read_text().count('"boot"')


def wait_until(true, within_s: float, what: str) -> None:
    ends = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < ends, f"seed {SEED}: {what} within {within_s} s"
        time.sleep(0.1)


@pytest.mark.peer
@pytest.mark.slow
@pytest.mark.timeout(300 + 5 * KILLS)
def test_killed_at_random_moments_every_reading_on_disk_arrives_once_and_none_is_invented(mosquitto, tmp_path):
    rng = random.Random(SEED)
    spool = tmp_path / "spool"
    lines = [f"2026-01-01T00:00:00Z,{200 + number / 10:.1f},{number / 100:.2f}" for number in range(ROWS)]
    (tmp_path / "readings.csv").write_text("\n".join(["time,pv_voltage_v,volume_m3", *lines]) + "\n")
    broker = Broker(mosquitto, tmp_path / "broker").start()
    (tmp_path / "board.toml").write_text(BOARD.format(site=SITE, port=broker.port))
    server = RealServer(broker.port)
    left: dict[tuple[str, int], Row] = {}
    broker_kills = 0
    starts = [0]
    process = start(tmp_path)
    try:
        for _ in range(KILLS):
            if rng.random() < 0.8:  # the others fall into the start
                wait_until(lambda: boots(tmp_path) > starts[-1], SETTLES_WITHIN_S, "it did not start")
            time.sleep(rng.uniform(0.0, 0.9))
            if rng.random() < 0.1:
                broker.kill()
                broker_kills += 1
                broker.start()
            server.answers = rng.random() < 0.8
            assert process.poll() is None, f"seed {SEED}: it ended by itself: {(tmp_path / 'log.txt').read_text()}"
            process.send_signal(signal.SIGKILL)
            process.wait()
            left |= on_disk(spool)
            starts.append(boots(tmp_path))
            process = start(tmp_path)
        server.answers = True
        wait_until(lambda: all(key in server.receiver.rows or not row.values for key, row in left.items()),
                   SETTLES_WITHIN_S, "not all arrived")  # fmt: skip
        before = len(server.receiver.rows)
        wait_until(lambda: len(server.receiver.rows) > before, SETTLES_WITHIN_S, "the last start read nothing")
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0
    finally:
        process.kill()
        process.wait()
        server.close()
        broker.kill()
    receiver = server.receiver
    assert len(left) > 2 * KILLS, "the kills came before anything was written"
    assert receiver.times_changed == 0
    for key, row in left.items():
        if row.values:
            assert receiver.rows[key].values == row.values, f"seed {SEED}: {key} changed on the way"
    said = {(200 + number / 10, number / 100) for number in range(ROWS)}
    for (boot, _), reading in receiver.rows.items():
        pair = (reading.values["pv_voltage_v"], reading.values["volume_m3"])
        assert pair in said, f"seed {SEED}: {boot} invented {reading}"
    for boot, highest in receiver.stored().items():
        seqs = {seq for one, seq in {*receiver.rows, *receiver.tombstones} if one == boot}
        assert seqs == set(range(1, highest + 1)), f"seed {SEED}: a hole in {boot}"
    print(f"{KILLS} kills, {broker_kills} of the broker, {len(receiver.rows)} readings, seed {SEED}")


@pytest.mark.peer
def test_a_second_logger_on_the_same_spool_is_refused_and_sigterm_ends_the_first_cleanly(mosquitto, tmp_path):
    (tmp_path / "readings.csv").write_text("time,pv_voltage_v\n2026-01-01T00:00:00Z,200.0\n")
    with Broker(mosquitto, tmp_path / "broker") as broker:
        (tmp_path / "board.toml").write_text(BOARD.format(site=SITE, port=broker.port))
        server, first = RealServer(broker.port), start(tmp_path)
        wait_until(lambda: len(server.receiver.rows) > 3, 20, "nothing came")
        second = start(tmp_path)
        assert second.wait(20) == 1
        assert "no other logger runs on it" in (tmp_path / "log.txt").read_text()
        first.send_signal(signal.SIGTERM)
        assert first.wait(20) == 0
        server.close()
    assert "Traceback" not in (tmp_path / "log.txt").read_text()
