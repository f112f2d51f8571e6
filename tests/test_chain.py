"""The whole chain under SIGKILL: a text line on a pseudo-terminal, `wellhand log`, Mosquitto, `wellhand watch`, the database.

Logger, broker and watch are killed at random moments, and the serial line is closed and opened again, while readings flow: every
reading that the spool accepted is in the store once, unchanged. `WELLHAND_SEED` repeats a run's moments.
"""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from logger.spool.row import Row
from samples.pseudo_terminal import PseudoTerminal
from samples.text_printer import line_of
from tests.logger.broker import Broker
from tests.logger.test_kills import HEAD, on_disk, wait_until

SEED = int(os.environ.get("WELLHAND_SEED", "0")) or random.SystemRandom().randrange(1, 1 << 30)
SITE = "ochre-pan"
KILLS = 24
LINE_S = 0.1
SETTLES_WITHIN_S = 90.0
BOARD = (
    HEAD
    + """
[[source]]
kind = "text_line"
name = "printer"
device = "{device}"
checksum = "xor"
period_s = 0.1
[[source.value]]
key = "UPV"
channel = "pv_voltage_v"
unit = "V"
[[source.value]]
key = "VOL"
channel = "volume_m3"
unit = "m3"
"""
)


class Printer(threading.Thread):
    """Prints a rising count on a pseudo-terminal; now and then the line is closed for a while."""

    def __init__(self, link: Path, rng: random.Random):
        super().__init__(daemon=True)
        self.link, self.rng, self.ends, self.printed = link, rng, threading.Event(), 0

    def run(self) -> None:
        while not self.ends.is_set():
            terminal = PseudoTerminal(self.link)
            for _ in range(self.rng.randrange(30, 120)):
                self.printed += 1
                terminal.write(line_of({"pv_voltage_v": 100 + self.printed / 10, "volume_m3": self.printed / 100}))
                if self.ends.wait(LINE_S):
                    break
            terminal.close()
            self.ends.wait(0.5)


class Program:
    """One of our commands, that can be killed and started again."""

    def __init__(self, folder: Path, name: str, *words: str):
        self.folder, self.name, self.words = folder, name, words
        self.process: subprocess.Popen | None = None

    def start(self) -> None:
        with (self.folder / f"{self.name}.txt").open("ab") as log:
            command = [sys.executable, "-m", "logger.cli", self.name, *self.words]
            self.process = subprocess.Popen(command, cwd=self.folder, stdout=log, stderr=log)

    def kill(self) -> None:
        assert self.process is not None
        assert self.process.poll() is None, f"{self.name} ended by itself: {self.said()}"
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def said(self) -> str:
        return (self.folder / f"{self.name}.txt").read_text()[-2000:]


def stored(database: Path) -> dict[tuple[str, int], tuple[float | None, float | None]]:
    """Voltage and volume by boot and sequence, as they lie in the database. AssertionError: one lies there twice."""
    with sqlite3.connect(f"file:{database}?mode=ro", uri=True) as connection:
        rows = connection.execute(
            "SELECT boot.name, seq, pv_voltage_v, volume_m3 FROM reading JOIN boot ON boot.no = reading.boot_no"
        ).fetchall()
    found = {(boot, seq): (volts, volume) for boot, seq, volts, volume in rows}
    assert len(found) == len(rows), "a reading lies there twice"
    return found


@pytest.mark.peer
@pytest.mark.slow
def test_what_the_spool_accepted_is_in_the_store_once_whatever_is_killed(mosquitto, tmp_path, repository):
    rng = random.Random(SEED)
    broker = Broker(mosquitto, tmp_path / "broker").start()
    device, database = tmp_path / "line", tmp_path / "store.db"
    (tmp_path / "board.toml").write_text(BOARD.format(site=SITE, port=broker.port, device=device))
    log = Program(tmp_path, "log", "board.toml")
    site = repository / "samples" / "sites" / f"{SITE}.toml"
    address = f"127.0.0.1:{broker.port}"
    watch = Program(tmp_path, "watch", "--store", f"sqlite:///{database}", "--broker", address, "--site", str(site))
    printer = Printer(device, random.Random(SEED + 1))
    accepted: dict[tuple[str, int], Row] = {}
    killed = dict.fromkeys(("log", "watch", "broker"), 0)
    printer.start()
    try:
        for program in (log, watch):
            program.start()
        wait_until(database.exists, SETTLES_WITHIN_S, "watch made no store")
        for _ in range(KILLS):
            time.sleep(rng.uniform(0.2, 2.5))
            victim = rng.choice(list(killed))
            killed[victim] += 1
            if victim == "broker":
                broker.kill()
                time.sleep(rng.uniform(0.0, 1.0))
                broker.start()
                continue
            program = log if victim == "log" else watch
            program.kill()
            accepted |= on_disk(tmp_path / "spool")
            program.start()
        # What a killed broker had acknowledged and not saved comes again after ten minutes, or when the logger starts anew.
        log.kill()
        accepted |= on_disk(tmp_path / "spool")
        log.start()
        wanted = {key for key, row in accepted.items() if row.values}
        try:
            wait_until(lambda: wanted <= set(stored(database)), SETTLES_WITHIN_S, "not all were stored")
        except AssertionError as slow:
            missing = sorted(wanted - set(stored(database)))
            raise AssertionError(
                f"{slow}: {missing[:5]} and {len(missing)} in all; {watch.said()} {log.said()}"
            ) from slow
    finally:
        printer.ends.set()
        for program in (log, watch):
            if program.process is not None:
                program.process.kill()
                program.process.wait()
        broker.kill()
        printer.join()
    found = stored(database)
    assert len(wanted) > 3 * KILLS, "the kills came before anything was read"
    for key in wanted:
        row = accepted[key].values
        assert found[key] == (row.get("pv_voltage_v"), row.get("volume_m3")), f"seed {SEED}: {key} changed on the way"
    said = {(round(100 + n / 10, 1), round(n / 100, 2)) for n in range(1, printer.printed + 1)}
    for key, values in found.items():
        assert values in said or values == (None, None), f"seed {SEED}: {key} is invented: {values}"
    print(f"{killed} kills, {len(found)} readings stored, {len(wanted)} seen on the card, seed {SEED}")
