"""The board's cost beside a plain script: memory, CPU share at one reading a second, start time, bytes to disk.

    python -m tests.bench.bench_board [--seconds 30]

Both poll ten registers a second from the same Modbus RTU device on a pseudo-terminal and publish to the same Mosquitto; the plain
script is pyserial + paho-mqtt + json, keeps nothing on disk and publishes every reading as JSON.
Figures are of this machine; the device's own process is not counted.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import tty
from pathlib import Path

import psutil

from logger.modbus.frames import crc16
from logger.record.channels import CHANNELS as CHANNEL_FACTS
from tests.conftest import found
from tests.logger.broker import Broker
from tests.logger.real_server import RealServer

CHANNELS = (
    ("pv_voltage_v", 0.1), ("pv_current_a", 0.01), ("motor_current_a", 0.01), ("motor_speed_rpm", 1), ("flow_m3_h", 0.001),
    ("volume_m3", 0.01), ("water_level_m", 0.01), ("irradiance_w_m2", 0.1), ("module_temp_c", 0.1), ("motor_running", 1),
)  # fmt: skip

BOARD = """
[board]
site = "north-kraal"
interval_s = {interval}
sync_every_s = 10
[clock]
trust = "always"
[mqtt]
host = "127.0.0.1"
port = {port}
batch_s = 10
[[source]]
kind = "modbus"
name = "drive"
map = "map.toml"
device = "{device}"
period_s = 1
"""

PLAIN = """
import json, sys, time
import paho.mqtt.client as paho
import serial
port = serial.Serial(sys.argv[1], 9600, timeout=1)
client = paho.Client(paho.CallbackAPIVersion.VERSION2)
client.connect("127.0.0.1", int(sys.argv[2]))
client.loop_start()
names = sys.argv[3].split(",")
print("ready", flush=True)
while True:
    began = time.monotonic()
    port.write(bytes.fromhex("01 03 00 00 00 0A C5 CD"))
    reply = port.read(25)
    values = {name: int.from_bytes(reply[3 + 2 * n : 5 + 2 * n], "big") / 10 for n, name in enumerate(names)}
    client.publish("plain/readings", json.dumps({"time": time.time(), **values}), qos=1)
    time.sleep(max(0, 1 - (time.monotonic() - began)))
"""


class Device:
    """A Modbus RTU slave on a pseudo-terminal: ten holding registers that change."""

    def __init__(self):
        self._ours, self._far = os.openpty()
        tty.setraw(self._far)
        self.name = os.ttyname(self._far)
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        held, asked = b"", 0
        while True:
            held += os.read(self._ours, 256)
            while len(held) >= 8:
                held, asked = held[8:], asked + 1
                body = (
                    bytes([1, 3, 20]) + b"".join((1000 + asked % 50 + n).to_bytes(2, "big") for n in range(9)) + b"\0\1"
                )
                os.write(self._ours, body + crc16(body).to_bytes(2, "little"))


def register_map(folder: Path) -> None:
    lines = ["[map]", 'name = "ten"', 'about = "ten registers"', 'word_order = "high-first"']
    for address, (channel, scale) in enumerate(CHANNELS):
        lines += ["[[register]]", f'channel = "{channel}"', 'table = "holding"', f"address = {address}", 'type = "u16"']
        if channel != "motor_running":
            lines += [f"scale = {scale}", f'unit = "{CHANNEL_FACTS[channel].unit}"']
    (folder / "map.toml").write_text("\n".join(lines) + "\n")


def on_cpu_s(pid: int) -> float:
    """Time on a processor of all its threads, to the nanosecond (the usual counters go by 10 ms)."""
    return sum(int(path.read_text().split()[0]) for path in Path(f"/proc/{pid}/task").glob("*/schedstat")) / 1e9


def measured(process: subprocess.Popen, settle_s: float, seconds: float) -> dict[str, float]:
    """Over `seconds`, once it has settled: CPU share of one core, memory, bytes that reached the disk's cache."""
    watched = psutil.Process(process.pid)
    time.sleep(settle_s)
    cpu_s, disk, began = on_cpu_s(process.pid), watched.io_counters().write_bytes, time.monotonic()
    time.sleep(seconds)
    took = time.monotonic() - began
    memory = watched.memory_full_info()
    return {
        "cpu_pct": 100 * (on_cpu_s(process.pid) - cpu_s) / took,
        "rss_mb": memory.rss / 1e6,
        "own_mb": memory.uss / 1e6,
        "disk_bytes_s": (watched.io_counters().write_bytes - disk) / took,
    }


def run_logger(folder: Path, port: int, interval: int, seconds: float) -> dict[str, float]:
    device = Device()
    register_map(folder)
    (folder / "board.toml").write_text(BOARD.format(port=port, device=device.name, interval=interval))
    began = time.monotonic()
    command = [sys.executable, "-c", "import sys; from logger.cli import main; sys.exit(main())", "log", "board.toml"]
    process = subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE)
    try:
        assert process.stdout is not None
        process.stdout.readline()
        started_s = time.monotonic() - began
        figures = measured(process, 5, seconds)
        rows = sum(path.stat().st_size for path in (folder / "spool").glob("*.rows"))
        return {**figures, "start_s": started_s, "spool_bytes": rows}
    finally:
        process.terminate()
        process.wait()
        shutil.rmtree(folder / "spool", ignore_errors=True)


def run_plain(folder: Path, port: int, seconds: float) -> dict[str, float]:
    device = Device()
    names = ",".join(name for name, _ in CHANNELS)
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-c", PLAIN, device.name, str(port), names], cwd=folder, stdout=subprocess.PIPE
    )
    try:
        assert process.stdout is not None
        process.stdout.readline()
        started_s = time.monotonic() - began
        return {**measured(process, 5, seconds), "start_s": started_s}
    finally:
        process.terminate()
        process.wait()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0)
    seconds = parser.parse_args().seconds
    program = found("mosquitto")
    assert program, "mosquitto is not installed"
    folder = Path(tempfile.mkdtemp(prefix="wellhand-bench-", dir=os.environ.get("BENCH_FOLDER", ".")))
    try:
        with Broker(program, folder / "broker") as broker:
            server = RealServer(broker.port)
            table = {
                "wellhand log, every reading kept": run_logger(folder, broker.port, 0, seconds),
                "wellhand log, minute means": run_logger(folder, broker.port, 60, seconds),
                "plain script": run_plain(folder, broker.port, seconds),
            }
            server.close()
            arrived = [row for row in server.receiver.rows.values() if row.values["pv_voltage_v"] is not None]
            assert len(arrived) > seconds, "the logger read nothing"
        print(f"{'':34}{'CPU %':>8}{'RSS MB':>8}{'own MB':>8}{'start s':>9}{'disk B/s':>10}")
        for name, one in table.items():
            print(
                f"{name:34}{one['cpu_pct']:8.2f}{one['rss_mb']:8.1f}{one['own_mb']:8.1f}{one['start_s']:9.2f}"
                f"{one['disk_bytes_s']:10.0f}"
            )
        kept = table["wellhand log, every reading kept"]
        amplification = kept["disk_bytes_s"] / 48
        print(
            f"Spool: about 48 bytes a reading; {amplification:.1f} bytes reach the disk for each of them (synced every 10 s)."
        )
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
