"""Our master against servers that we did not write: libmodbus (Debian's libmodbus5) and pymodbus, serial and TCP."""

import ctypes
import time

import pytest

from logger.modbus.links import RtuLink, TcpLink
from logger.modbus.master import DeviceSilent, Master
from logger.modbus.ports import Reopening, SerialPort, TcpPort

BITS = [1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1, 0]
SPOTS = [
    ("coil", 0, 1),
    ("coil", 19, 1),
    ("discrete", 17, 1),
    ("holding", 96, 1),
    ("holding", 98, 2),
    ("holding", 150, 1),  # outside what libmodbus serves here
    ("input", 288, 1),
    ("input", 300, 2),
    ("input", 328, 2),
]
SERVED = {
    ("coil", 0, 1): [1],
    ("coil", 19, 1): [BITS[19]],
    ("discrete", 17, 1): [BITS[1]],
    ("holding", 96, 1): [96],
    ("holding", 98, 2): [98, 99],
    ("holding", 150, 1): None,
    ("input", 288, 1): [1288],
    ("input", 300, 2): [1300, 1301],
    ("input", 328, 2): [1328, 1329],
}


def rtu(device, baud=19200):
    return RtuLink(Reopening(lambda: SerialPort(device, baud)), baud)


def read_when_up(master):
    """The first turn that is answered whole: a server takes a moment to come up, which may be in the middle of one."""
    ends_s = time.monotonic() + 20
    while True:
        try:
            read = master.read(time.monotonic() + 10)
            if None not in read.values() or time.monotonic() > ends_s:
                return read
        except (OSError, DeviceSilent):
            assert time.monotonic() < ends_s, "the server never answered"
        time.sleep(0.05)


def need_libmodbus():
    try:
        ctypes.CDLL("libmodbus.so.5")
    except OSError:
        pytest.skip("libmodbus5 is not installed")


@pytest.mark.peer
def test_reads_a_libmodbus_server_over_a_serial_line(serial_pair, start_server):
    need_libmodbus()
    server = start_server("libmodbus_server.py", "rtu", serial_pair[0])
    assert server.stdout.readline().startswith("ready")
    master = Master(rtu(serial_pair[1]), 7, SPOTS, gap_max=60, timeout_s=0.5)
    assert master.read(time.monotonic() + 20) == SERVED
    assert master.counts == {"refused": 1, "unread": 1}, "only the register outside the map"


@pytest.mark.peer
def test_reads_a_libmodbus_server_over_tcp(start_server):
    need_libmodbus()
    server = start_server("libmodbus_server.py", "tcp")
    port = int(server.stdout.readline().split()[1])
    master = Master(TcpLink(Reopening(lambda: TcpPort("127.0.0.1", port))), 7, SPOTS, gap_max=60, timeout_s=0.5)
    assert master.read(time.monotonic() + 20) == SERVED


@pytest.mark.peer
def test_another_unit_on_the_line_is_silent_to_us(serial_pair, start_server):
    need_libmodbus()
    server = start_server("libmodbus_server.py", "rtu", serial_pair[0])
    assert server.stdout.readline().startswith("ready")
    master = Master(rtu(serial_pair[1]), 8, SPOTS[-3:], timeout_s=0.1, retries=0)
    with pytest.raises(DeviceSilent, match="unit 8: no answer within 0.11 s"):
        master.read(time.monotonic() + 5)
    assert master.counts["timeout"] >= 1


@pytest.mark.peer
@pytest.mark.parametrize("how", ["rtu", "tcp"])
def test_reads_a_pymodbus_server(how, serial_pair, start_server, free_port):
    start_server("pymodbus_server.py", how, serial_pair[0] if how == "rtu" else str(free_port))
    if how == "rtu":
        link = rtu(serial_pair[1])
    else:
        link = TcpLink(Reopening(lambda: TcpPort("127.0.0.1", free_port), first_pause_s=0.05, pause_s_max=0.1))
    spots = [
        ("coil", 0, 1),
        ("coil", 100, 1),
        ("holding", 10, 2),
        ("holding", 130, 4),
        ("input", 100, 1),
        ("input", 199, 1),
    ]
    master = Master(link, 7, spots, timeout_s=0.5)
    assert read_when_up(master) == {
        ("coil", 0, 1): [1],
        ("coil", 100, 1): [0],
        ("holding", 10, 2): [1010, 1011],
        ("holding", 130, 4): [1130, 1131, 1132, 1133],
        ("input", 100, 1): [2100],
        ("input", 199, 1): [2199],
    }
    link.close()
