"""The simulated controller's own Modbus, byte by byte, and against mbpoll in test_live.py."""

from pathlib import Path

import pytest

import logger
from samples.controller_server import ControllerServer, RegisterImage, crc16, framed
from samples.text_printer import line_of

MAP = Path(logger.__file__).parent / "controllers" / "example-drive.toml"
VALUES = {"pv_voltage_v": 231.4, "pv_current_a": 5.67, "input_power_w": 70_000.5, "motor_running": 1.0, "water_level_m": None,
          "low_level_probe_wet": 1.0, "tank_float_up": 0.0, "volume_m3": 1234.56, "discharge_pressure_bar": 0.73, "flow_m3_h": 3.0,
          "controller_temp_c": -4.2, "speed_setting_pct": 87.5}  # fmt: skip


@pytest.fixture
def server() -> ControllerServer:
    image = RegisterImage.from_file(MAP)
    image.update(VALUES)
    return ControllerServer(image)


def ask(server: ControllerServer, *body: int) -> bytes:
    answer = server.feed(framed(bytes(body)))
    assert answer == b"" or crc16(answer[:-2]) == int.from_bytes(answer[-2:], "little")
    return answer[:-2]


def registers(server: ControllerServer, code: int, address: int, count: int) -> list[int]:
    answer = ask(server, 1, code, address >> 8, address & 255, 0, count)
    assert answer[:3] == bytes([1, code, 2 * count])
    return [int.from_bytes(answer[3 + 2 * i : 5 + 2 * i], "big") for i in range(count)]


def test_check_of_the_standard_s_worked_frame():
    """01 03 00 00 00 0A has the check C5 CD on the wire (common worked example, from memory); 123456789 gives 4B37."""
    assert framed(bytes([1, 3, 0, 0, 0, 10]))[-2:] == bytes([0xC5, 0xCD])
    assert crc16(b"123456789") == 0x4B37


def test_values_stand_in_the_registers_by_the_map(server):
    assert registers(server, 4, 288, 2) == [2314, 567]
    assert registers(server, 4, 290, 2) == [700_005 >> 16, 700_005 & 0xFFFF]
    assert registers(server, 4, 296, 1) == [0x10000 - 42]
    assert registers(server, 4, 300, 1) == [0b1]
    assert registers(server, 4, 320, 2) == [123_456 & 0xFFFF, 123_456 >> 16]
    assert registers(server, 4, 322, 2) == [500, 73]
    assert registers(server, 4, 324, 1) == [0x8000]
    assert registers(server, 3, 96, 1) == [875]


def test_a_dry_probe_sets_its_bit(server):
    server.image.update({**VALUES, "low_level_probe_wet": 0.0, "tank_float_up": 1.0})
    assert registers(server, 4, 300, 1) == [0b110001]


@pytest.mark.parametrize("code", [5, 6, 7, 8, 15, 16, 22, 23, 43, 90])
def test_every_other_code_is_refused(server, code):
    body = [1, code, 0, 96, 0, 1] + ([2, 0, 5] if code in (15, 16) else [])
    before = registers(server, 3, 96, 1)
    assert ask(server, *body) == bytes([1, code | 0x80, 1])
    assert registers(server, 3, 96, 1) == before


def test_wrong_address_and_wrong_count_are_refused(server):
    assert ask(server, 1, 4, 0x40, 0, 0, 1) == bytes([1, 0x84, 2])
    assert ask(server, 1, 1, 0, 0, 0, 1) == bytes([1, 0x81, 2])
    assert ask(server, 1, 4, 1, 32, 0, 0) == bytes([1, 0x84, 3])
    assert ask(server, 1, 4, 1, 32, 0, 126) == bytes([1, 0x84, 3])


def test_coils_come_packed(server):
    server.image.cells["coil"] = {10: 1, 11: 0, 12: 1, 19: 1}
    assert ask(server, 1, 1, 0, 10, 0, 10) == bytes([1, 1, 2, 0b101, 0b10])


def test_others_are_left_alone_and_rubbish_is_passed_over(server):
    assert ask(server, 2, 4, 1, 32, 0, 1) == b""
    request = framed(bytes([1, 4, 1, 32, 0, 1]))
    for byte in request[:-1]:
        assert server.feed(bytes([byte])) == b""
    assert server.feed(request[-1:]) != b""
    assert server.feed(b"\x00\xff\x13" + request) != b""
    assert server.feed(request + request).count(framed(bytes([1, 4, 2, 0x09, 0x0A]))) == 2


def test_a_torn_request_is_forgotten_after_silence(server):
    request = framed(bytes([1, 4, 1, 32, 0, 1]))
    assert server.feed(request[:5]) == b""
    server.quiet()
    assert server.feed(request) != b""


def test_a_map_that_the_device_cannot_follow_is_refused(tmp_path):
    path = tmp_path / "odd.toml"
    path.write_text(
        '[map]\nname = "odd"\n[[register]]\nchannel = "flow_m3_h"\ntable = "input"\naddress = 7\ntype = "u16"\nunit = "gal/min"\n'
    )
    with pytest.raises(ValueError, match=r"odd.toml: address 7.*gal/min"):
        RegisterImage.from_file(path)


def test_a_printed_line_carries_its_check():
    line = line_of({"pv_voltage_v": 231.44, "motor_running": 1.0, "tank_float_up": 0.0, "flow_m3_h": None})
    assert line.startswith(b"UPV=231.4;Q=--;RUN=ON;TANK=OK*")
    assert line.endswith(b"\r\n")
    body, _, check = line.rstrip().rpartition(b"*")
    xor = 0
    for byte in body:
        xor ^= byte
    assert int(check, 16) == xor
