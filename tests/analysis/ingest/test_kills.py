"""Killed at random, watch and broker lose nothing: each reading that a board goes on sending is in the store once."""

import random
import subprocess
import sys
import time

import pytest

from analysis.store import open_store
from logger.record.reading import Reading

pytestmark = [pytest.mark.peer, pytest.mark.slow]

START = 1_762_000_000_000
BOOT = "000001-aaaaaaaa"
READINGS, BATCH = 3000, 25
COMMAND = [sys.executable, "-c", "import sys; from logger.cli import main; sys.exit(main())", "watch"]


def watch(url: str, port: int, *more: str) -> subprocess.Popen:
    """The real command, in a process of its own."""
    return subprocess.Popen(
        [*COMMAND, "--store", url, "--broker", f"127.0.0.1:{port}", *more],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip


@pytest.mark.parametrize("seed", [1, 2])
def test_every_reading_is_stored_once_however_often_watch_and_broker_are_killed(store, broker, board_of, seed):
    dice = random.Random(seed)
    readings = [Reading("north", START + 1000 * n, {"flow_m3_h": n / 100}, BOOT, n) for n in range(1, READINGS + 1)]
    board = board_of("north")
    running = watch(store.url, broker.port)
    moments = sorted(dice.sample(range(1, READINGS - 20 * BATCH), 6))  # so much stored: however fast this machine is
    sent, kills, ends = 0, 0, time.monotonic() + 120
    try:
        while board.stored(BOOT, 0.05) < READINGS:
            assert time.monotonic() < ends, f"{board.stored(BOOT)} of {READINGS} stored after {kills} kills"
            if board.stored(BOOT) >= sent - 20 * BATCH and sent < READINGS:
                board.send(readings[sent : sent + BATCH])
                sent += BATCH
            elif dice.random() < 0.05:  # as the spool does: what was sent long ago and is not stored goes again
                first = board.stored(BOOT)
                for start in range(first, sent, 100):
                    board.send(readings[start : min(start + 100, sent)])
            if kills < len(moments) and board.stored(BOOT) >= moments[kills]:
                kills += 1
                if dice.random() < 0.6:
                    running.kill()
                    running.wait()
                    running = watch(store.url, broker.port)
                else:
                    broker.kill()
                    broker.start()
    finally:
        running.terminate()
        said, _ = running.communicate(timeout=20)
    assert kills >= 3
    assert running.returncode == 0, said
    assert "Traceback" not in said
    kept = open_store(store.url).readings("north", 0, 1 << 60)
    assert kept.time_ms.tolist() == [one.time_ms for one in readings]
    assert kept["flow_m3_h"].tolist() == [one.values["flow_m3_h"] for one in readings]


def test_a_second_watch_on_sqlite_is_refused(store, broker):
    first = watch(store.url, broker.port)
    assert first.stdout is not None
    for line in first.stdout:
        if "Connected" in line:
            break
    second = watch(store.url, broker.port)
    said, _ = second.communicate(timeout=30)
    assert second.returncode == 1
    assert "another watch is at work on this store\n    fix: stop it first" in said
    first.terminate()
    said, _ = first.communicate(timeout=20)
    assert (first.returncode, "Stopped. 0 readings were stored" in said) == (0, True)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--broker", "localhost:what"], "--broker localhost:what: not HOST:PORT\n    fix: --broker localhost:1883"),
        (
            ["--site", "nowhere.toml"],
            "nowhere.toml: file: cannot be read: No such file or directory\n    fix: check the path and its permissions",
        ),
        (
            ["--clock-rate", "60"],
            "--clock-rate and --clock-from need --clock-epoch\n    fix: add it, or leave them out",
        ),
        (["--clock-epoch", "2026-01-01"], "--clock-epoch 2026-01-01: not a time with an offset"),
        (["--password-file", "/etc/hostname"], "--password-file without --username\n    fix: name both"),
        (["--ca", "/no/ca.pem"], "--ca, --cert, --key: cannot be used: [Errno 2] No such file or directory"),
        (["--share", "team"], "--share: on SQLite only one worker runs"),
    ],
)
def test_wrong_arguments_are_named_with_their_fix(store, arguments, said):
    running = watch(store.url, 1, *arguments)
    heard, _ = running.communicate(timeout=30)
    assert said in heard
    assert "Traceback" not in heard
    assert running.returncode == 2
