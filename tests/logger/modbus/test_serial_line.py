"""A real serial line (a pseudo-terminal pair) that is pulled out and put back, with a real pyserial port on it."""

import os
import subprocess
import time

import pytest

from logger.modbus.links import RtuLink
from logger.modbus.master import DeviceSilent, Master
from logger.modbus.ports import Reopening, SerialPort
from logger.modbus.register_map import load_register_map
from logger.sources.base import SourceError, Turn
from logger.sources.registry import build_source

START_S_MAX = 20


def joined(ends):
    """Two joined lines, until killed."""
    process = subprocess.Popen(["socat", *(f"pty,raw,echo=0,link={end}" for end in ends)])
    ends_s = time.monotonic() + START_S_MAX
    while not all(end.exists() for end in ends):
        assert time.monotonic() < ends_s, "socat made no pair"
        time.sleep(0.01)
    return process


@pytest.mark.peer
def test_a_line_that_is_pulled_out_and_put_back(tmp_path, start_server):
    ends = [tmp_path / "a", tmp_path / "b"]
    first = joined(ends)
    server = start_server("libmodbus_server.py", "rtu", str(ends[0]))
    assert server.stdout.readline().startswith("ready")
    link = RtuLink(Reopening(lambda: SerialPort(str(ends[1]), 19200), first_pause_s=0.05, pause_s_max=0.1), 19200)
    master = Master(link, 7, [("input", 288, 1)], timeout_s=0.5)
    try:
        assert master.read(time.monotonic() + 5) == {("input", 288, 1): [1288]}
    finally:
        first.kill()
        first.wait()
        server.kill()
        server.wait()
    for end in ends:
        end.unlink(missing_ok=True)
    with pytest.raises((OSError, DeviceSilent)):
        master.read(time.monotonic() + 2)
    time.sleep(0.1)  # past the first pause
    with pytest.raises(OSError, match="No such file"):
        master.read(time.monotonic() + 2)
    second = joined(ends)
    try:
        again = start_server("libmodbus_server.py", "rtu", str(ends[0]))
        assert again.stdout.readline().startswith("ready")
        ends_s = time.monotonic() + START_S_MAX
        raw = None
        while raw is None:
            try:
                raw = master.read(time.monotonic() + 5)
            except (OSError, DeviceSilent):
                assert time.monotonic() < ends_s, "it never came back"
                time.sleep(0.05)
        assert raw == {("input", 288, 1): [1288]}
    finally:
        link.close()
        second.kill()
        second.wait()


@pytest.mark.peer
def test_two_programs_cannot_read_one_line(serial_pair):
    one = SerialPort(serial_pair[0], 9600)
    with pytest.raises(OSError, match="lock"):
        SerialPort(serial_pair[0], 9600)
    one.close()
    SerialPort(serial_pair[0], 9600).close()


@pytest.mark.peer
def test_a_source_from_settings_reads_a_device_on_the_line(serial_pair, start_server):
    """libmodbus serves 1000 + address at inputs 288 to 329, and the address itself at holding 96 to 99."""
    server = start_server("libmodbus_server.py", "rtu", serial_pair[0])
    assert server.stdout.readline().startswith("ready")
    table = {
        "kind": "modbus",
        "name": "drive",
        "map": "example-drive",
        "device": serial_pair[1],
        "baud": 19200,
        "unit": 7,
    }
    made, problems = build_source(table, "board.toml", "source[1]")
    assert problems == []
    now_s = time.monotonic()
    values = made.read(Turn(now_s, now_s + 10))
    made.close()
    assert set(values) == set(load_register_map("example-drive").channels())
    assert values["pv_voltage_v"] == 128.8
    assert values["motor_speed_rpm"] == 1295.0
    assert values["speed_setting_pct"] == 9.6
    assert values["input_power_w"] is None, "1290 * 65536 + 1291 tenths is beyond what the channel can say"
    server.kill()
    server.wait()
    with pytest.raises(SourceError, match="no answer"):
        made.read(Turn(time.monotonic(), time.monotonic() + 1))
    made.close()


@pytest.mark.peer
def test_garbage_on_a_real_line(serial_pair):
    descriptor = os.open(serial_pair[0], os.O_RDWR | os.O_NOCTTY)
    port = SerialPort(serial_pair[1], 9600)
    os.write(descriptor, b"\x00\xff garbage")
    assert port.read(1.0)
    port.write(b"abc")
    assert os.read(descriptor, 10) == b"abc"
    port.close()
    os.close(descriptor)
