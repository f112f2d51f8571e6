"""Register maps: refused with all that is wrong, and decoded as they say."""

import math
import struct

import pytest

from logger.modbus.decode import number_of, values_of
from logger.modbus.map_text import map_text
from logger.modbus.register_map import load_register_map, read_register_map, shipped_maps
from logger.record.channels import CHANNELS
from logger.record.problems import FileError

HEAD = '[map]\nname = "m"\n'


def one(lines: str):
    return read_register_map(f"{HEAD}\n[[register]]\n{lines}", "m.toml")


def decoded(lines: str, *words: int):
    device = one(lines)
    register = device.registers[0]
    values = values_of(device, {(register.table, register.address, register.width()): list(words)})
    return values if len(values) != 1 else next(iter(values.values()))


def test_every_shipped_map_loads_and_survives_being_written_and_read_again():
    assert "example-drive" in shipped_maps()
    for name in shipped_maps():
        device = load_register_map(name)
        assert read_register_map(map_text(device, "a heading\nof two lines")) == device


def test_the_example_promises_what_a_pump_needs():
    promised = set(load_register_map("example-drive").channels())
    assert promised == set(CHANNELS), "the example shows every channel once"


def test_the_example_decodes():
    device = load_register_map("example-drive")
    raw = {
        (register.table, register.address, register.width()): [0] * register.width() for register in device.registers
    }
    raw[("input", 288, 1)] = [2231]
    raw[("input", 290, 2)] = [0x0000, 15180]
    raw[("input", 296, 1)] = [0x10000 - 35]
    raw[("input", 300, 1)] = [0b110011]
    raw[("input", 320, 2)] = [0x0003, 0x0001]
    raw[("input", 322, 1)] = [65535]
    raw[("input", 323, 1)] = [152]
    raw[("input", 324, 1)] = None
    values = values_of(device, raw)
    assert values["pv_voltage_v"] == 223.1
    assert values["input_power_w"] == 1518.0
    assert values["controller_temp_c"] == -3.5
    assert (values["motor_running"], values["switched_on"], values["low_level_probe_wet"], values["tank_float_up"]) == (
        1,
        1,
        0,
        1,
    )
    assert values["volume_m3"] == pytest.approx(0x10003 * 0.01)
    assert values["flow_m3_h"] is None, "65535 says that it has no value"
    assert values["discharge_pressure_bar"] == pytest.approx(1.52)
    assert values["water_level_m"] is None, "it was not read"


@pytest.mark.parametrize(
    ("lines", "words", "value"),
    [
        # float32 100.0 = 42 C8 00 00, 230.5 = 43 66 80 00: IEEE 754
        ('channel="pv_voltage_v"\ntable="input"\naddress=0\ntype="f32"\nunit="V"', (0x42C8, 0x0000), 100.0),
        (
            'channel="pv_voltage_v"\ntable="input"\naddress=0\ntype="f32"\nunit="V"\nword_order="low-first"',
            (0x8000, 0x4366),
            230.5,
        ),
        (
            'channel="pv_voltage_v"\ntable="input"\naddress=0\ntype="f32"\nunit="V"\nbytes_swapped=true',
            (0xC842, 0x0000),
            100.0,
        ),
        ('channel="pv_voltage_v"\ntable="input"\naddress=0\ntype="f32"\nunit="V"', (0x7FC0, 0x0000), None),
        ('channel="pv_voltage_v"\ntable="input"\naddress=0\ntype="u16"\nunit="kV"\nscale=0.001', (231,), 231.0),
        ('channel="pv_voltage_v"\ntable="input"\naddress=0\ntype="u16"\nunit="V"', (2001,), None),
        ('channel="module_temp_c"\ntable="input"\naddress=0\ntype="u16"\nunit="deg C"\noffset=-40', (65,), 25.0),
        ('channel="module_temp_c"\ntable="input"\naddress=0\ntype="i16"\nunit="deg F"', (77,), 25.0),
        ('channel="module_temp_c"\ntable="input"\naddress=0\ntype="u16"\nunit="K"\nscale=0.1', (2982,), 25.05),
        ('channel="volume_m3"\ntable="input"\naddress=0\ntype="u64"\nunit="L"', (0, 0, 1, 0), 65.536),
        (
            'channel="volume_m3"\ntable="input"\naddress=0\ntype="f64"\nunit="m3"',
            struct.unpack(">4H", struct.pack(">d", 7.25)),
            7.25,
        ),
        ('channel="fault_code"\ntable="input"\naddress=0\ntype="u32"', (0xFFFF, 0xFFFE), 4294967294.0),
        (
            'channel="motor_speed_rpm"\ntable="holding"\naddress=0\ntype="i32"\nunit="1/min"',
            (0xFFFF, 0xFFFF - 1499),
            -1500.0,
        ),
        (
            'channel="drive_frequency_hz"\ntable="holding"\naddress=0\ntype="i64"\nunit="Hz"',
            (0xFFFF, 0xFFFF, 0xFFFF, 0xFFCE),
            -50.0,
        ),
        ('channel="flow_m3_h"\ntable="input"\naddress=0\ntype="u16"\nunit="L/s"\nscale=0.01', (100,), 3.6),
        ('channel="tank_float_up"\ntable="coil"\naddress=0', (1,), 1.0),
        ('channel="motor_running"\ntable="input"\naddress=0\nmeanings=[{raw=4,value=1},{raw=1,value=0}]', (4,), 1.0),
        ('channel="motor_running"\ntable="input"\naddress=0\nmeanings=[{raw=4,value=1},{raw=1,value=0}]', (9,), None),
    ],
)
def test_values_are_decoded_as_the_map_says(lines, words, value):
    assert decoded(lines, *words) == (None if value is None else pytest.approx(value, abs=1e-9))


def test_bits_of_a_signed_word_and_of_a_word_that_says_it_has_none():
    bits = 'table="input"\naddress=0\ntype="i16"\nbits=[{bit=15,channel="motor_running"},{bit=0,channel="tank_float_up",inverted=true}]'
    assert decoded(bits, 0x8001) == {"motor_running": 1.0, "tank_float_up": 0.0}
    assert decoded(bits + "\nunavailable=[-1]", 0xFFFF) == {"motor_running": None, "tank_float_up": None}


def test_orders_of_words_and_bytes():
    words = [0x0102, 0x0304]
    assert number_of(words, "u32") == 0x01020304
    assert number_of(words, "u32", low_first=True) == 0x03040102
    assert number_of(words, "u32", bytes_swapped=True) == 0x02010403
    assert number_of(words, "u32", low_first=True, bytes_swapped=True) == 0x04030201
    assert math.isnan(number_of([0x7FC0, 0], "f32"))


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('channel="pv_voltage_v"\ntable="input"\naddress=0', 'register[1].unit: missing\n    fix: add unit = "V"'),
        ('channel="pv_voltage_v"\ntable="input"\naddress=0\nunit="A"', "'A' cannot become V, the unit of pv_voltage_v"),
        ('channel="pv_volts"\ntable="input"\naddress=0', 'fix: did you mean channel = "pv_voltage_v"?'),
        ('channel="pv_voltage_v"\ntable="inputs"\naddress=0\nunit="V"', 'did you mean table = "input"?'),
        ('channel="pv_voltage_v"\ntable="input"\naddress=65535\ntype="u32"\nunit="V"', "u32 does not fit before 65535"),
        ('channel="pv_voltage_v"\ntable="coil"\naddress=1\ntype="u16"\nunit="V"', "table coil does not hold u16"),
        ('channel="tank_float_up"\ntable="input"\naddress=1\ntype="bit"', "table input does not hold bit"),
        ('channel="pv_voltage_v"\ntable="input"\naddress=1\nunit="V"\nscale=0', "0 would make every value the same"),
        ('table="input"\naddress=1', "neither a channel nor bits"),
        ('table="input"\naddress=1\nbits=[{bit=16,channel="tank_float_up"}]', "u16 has no bit 16"),
        ('table="input"\naddress=1\nbits=[{bit=1,channel="flow_m3_h"}]', "flow_m3_h is no flag"),
        ('table="input"\naddress=1\nbits=[{bit=1}]', "register[1].bits[1].channel: missing"),
        ('channel="fault_code"\ntable="input"\naddress=40301\nadress=1', "did you mean register[1].address?"),
        ('channel="fault_code"\ntable="input"\naddress=70000', "expected 0 to 65535, got 70000"),
    ],
)  # fmt: skip
def test_a_map_that_cannot_be_is_refused(lines, said):
    with pytest.raises(FileError) as caught:
        one(lines)
    assert said in str(caught.value)


def test_a_channel_has_one_place():
    twice = '[[register]]\nchannel="fault_code"\ntable="input"\naddress=1\n'
    with pytest.raises(FileError, match="fault_code is promised twice, by register 1 as well"):
        read_register_map(HEAD + twice + twice)
    with pytest.raises(FileError, match="register: missing"):
        read_register_map(HEAD)


def test_a_map_file_beside_the_settings_is_found(tmp_path):
    (tmp_path / "mine.toml").write_text(HEAD + '[[register]]\nchannel="fault_code"\ntable="input"\naddress=1\n')
    assert load_register_map("mine.toml", tmp_path).channels() == ("fault_code",)
    with pytest.raises(FileError, match="or take a map that is shipped: example-drive"):
        load_register_map("other.toml", tmp_path)
