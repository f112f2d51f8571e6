"""Live plants: they continue their history, answer mbpoll and print lines, take faults, and leave nothing behind."""

import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from samples.history import taken_over, write_history
from samples.live_plant import LivePlant
from samples.scenario import scenario

START = datetime(2026, 2, 10, 8, 0, tzinfo=UTC)
DAYS = 32


def of(name: str):
    """One site of the scenario."""
    return next(one for one in scenario(START, DAYS) if one.id == name)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Five weeks of history of two sites that speak differently."""
    path = tmp_path_factory.mktemp("live")
    write_history(path, START, DAYS, sites=["ochre-pan", "quiet-fold"])
    return path


def held(folder: Path, name: str):
    found = json.loads((folder / name / "hand_over.json").read_text())
    return taken_over(found), found["day"], found["volume_m3"]


def test_live_goes_on_where_history_ended(folder):
    import pandas as pd

    history = pd.read_parquet(folder / "ochre-pan" / "readings.parquet")
    plant = LivePlant(of("ochre-pan"), START.timestamp(), held(folder, "ochre-pan"))
    assert history["time"].iloc[-1] == START
    now, last = plant.values(), history.iloc[-1]
    assert now["volume_m3"] == last["volume_m3"]
    for channel, within in (
        ("water_level_m", 0.3),
        ("irradiance_w_m2", 40),
        ("module_temp_c", 3),
        ("motor_speed_rpm", 120),
    ):
        assert now[channel] == pytest.approx(last[channel], abs=within), channel


def test_same_instant_same_values_however_it_is_reached(folder):
    plants = [LivePlant(of("ochre-pan"), START.timestamp(), held(folder, "ochre-pan")) for _ in range(2)]
    plants[0].advance(START.timestamp() + 3600)
    for second in range(0, 3601, 70):
        plants[1].advance(START.timestamp() + second)
    plants[1].advance(START.timestamp() + 3600)
    assert plants[0].values() == plants[1].values()


def test_live_passes_through_the_night(folder):
    plant = LivePlant(of("ochre-pan"), START.timestamp(), held(folder, "ochre-pan"))
    plant.advance((START + timedelta(hours=14)).timestamp())
    dark = plant.values()
    assert (dark["irradiance_w_m2"], dark["motor_running"], dark["flow_m3_h"]) == (0, 0, 0)
    before = dark["volume_m3"]
    plant.advance((START + timedelta(hours=25)).timestamp())
    assert plant.values()["volume_m3"] > before + 2


def test_a_fault_switched_on_is_seen_and_cleared_again(folder):
    plant = LivePlant(of("ochre-pan"), START.timestamp(), held(folder, "ochre-pan"))
    healthy = plant.values()
    plant.switch_on("dry-running")
    plant.advance(START.timestamp() + 120)
    dry = plant.values()
    assert healthy["flow_m3_h"] > 1
    assert dry["flow_m3_h"] < 0.05
    assert dry["motor_current_a"] < 0.6 * healthy["motor_current_a"]
    assert plant.clear() == 1
    plant.advance(START.timestamp() + 600)
    assert plant.values()["flow_m3_h"] > 1
    with pytest.raises(ValueError, match="no cause"):
        plant.switch_on("gremlins")


@pytest.mark.peer
def test_served_plants_answer_and_leave_nothing(folder):
    """mbpoll (a program of others) reads ours; the printer prints; SIGTERM ends it and takes links and socket away."""
    command = [sys.executable, "-m", "samples.live", "--folder", str(folder), "--start", START.isoformat(), "--speed", "60",
               "--site", "ochre-pan", "--site", "quiet-fold", "--history-days", str(DAYS)]  # fmt: skip
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        ready = json.loads(process.stdout.readline())
        assert set(ready["ready"]) == {"ochre-pan", "quiet-fold"}
        assert 50 < _mbpoll(ready["ready"]["ochre-pan"], 288)[0] / 10 < 200
        first = _mbpoll(ready["ready"]["ochre-pan"], 320)[0]
        line = _line(ready["ready"]["quiet-fold"])
        assert line.startswith(b"UPV=")
        assert b";VOL=" in line
        with socket.socket(socket.AF_UNIX) as control:
            control.connect(ready["control"])
            assert _told(control, {"site": "ochre-pan", "fault": "closed-delivery"})["ok"] is True
            assert "no live site" in _told(control, {"site": "nowhere", "fault": "clogging"})["wrong"]
            assert "no cause" in _told(control, {"site": "ochre-pan", "fault": "gremlins"})["wrong"]
            assert _told(control, ["no", "object"])["ok"] is False
            state = _told(control, {"state": True})["sites"]["ochre-pan"]
            assert state["faults"] == ["closed-delivery"]
        time.sleep(1.5)
        assert _mbpoll(ready["ready"]["ochre-pan"], 320)[0] - first < 12
        assert _mbpoll(ready["ready"]["ochre-pan"], 322)[0] < 3
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0
    assert sorted(p.name for p in folder.iterdir()) == ["ochre-pan", "quiet-fold"]


def _mbpoll(port: str, address: int) -> list[int]:
    words = [
        "mbpoll",
        "-m",
        "rtu",
        "-a",
        "1",
        "-b",
        "9600",
        "-P",
        "none",
        "-0",
        "-t",
        "3",
        "-r",
        str(address),
        "-c",
        "1",
        "-1",
        port,
    ]
    said = subprocess.run(words, capture_output=True, text=True, timeout=20, check=True).stdout
    return [int(row.split("\t")[1].split()[0]) for row in said.splitlines() if row.startswith("[")]


def _line(port: str) -> bytes:
    end = os.open(port, os.O_RDONLY | os.O_NOCTTY)
    try:
        heard, until = b"", time.monotonic() + 15
        while b"\n" not in heard.partition(b"\n")[2] and time.monotonic() < until:
            if select.select([end], [], [], 0.5)[0]:
                heard += os.read(end, 4096)
        return heard.split(b"\n")[1]
    finally:
        os.close(end)


def _told(control: socket.socket, asked) -> dict:
    control.sendall(json.dumps(asked).encode() + b"\n")
    heard = b""
    while not heard.endswith(b"\n"):
        heard += control.recv(65536)
    return json.loads(heard)
