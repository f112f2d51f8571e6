"""Peers for the Modbus tests: a pair of joined serial lines, servers of libmodbus and pymodbus."""

import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

HERE = Path(__file__).parent
START_S_MAX = 20


def _stopped(process):
    process.terminate()
    try:
        process.wait(5)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


@pytest.fixture
def serial_pair(tmp_path):
    """Two device names: what is written to one is read from the other."""
    if shutil.which("socat") is None:
        pytest.skip("socat is not installed")
    ends = [tmp_path / "end-a", tmp_path / "end-b"]
    process = subprocess.Popen(["socat", *(f"pty,raw,echo=0,link={end}" for end in ends)])
    ends_s = time.monotonic() + START_S_MAX
    while not all(end.exists() for end in ends):
        assert time.monotonic() < ends_s, "socat made no pair"
        time.sleep(0.01)
    yield tuple(map(str, ends))
    _stopped(process)


@pytest.fixture
def start_server():
    """Starts a server script with arguments; its process and what it said when ready."""
    running = []

    def start(script, *arguments):
        process = subprocess.Popen(
            [sys.executable, str(HERE / script), *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        running.append(process)
        return process

    yield start
    for process in running:
        _stopped(process)


@pytest.fixture
def free_port():
    """A TCP port that nobody listens on just now."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        return found.getsockname()[1]
