"""A device that describes itself: its models are walked and become a register map.

Offsets and 'not implemented' values: the open models at github.com/sunspec/models (json/model_103, 113, 160); marker and bases:
SunSpec Device Information Model Specification, from memory.
"""

import struct

import pytest

from logger.modbus.decode import values_of
from logger.modbus.sunspec import MARKER, SunspecError, discover, named, sunspec_map

END = [0xFFFF, 0]


def text(words: int, said: str) -> list[int]:
    raw = said.encode().ljust(2 * words, b"\0")
    return list(struct.unpack(f">{words}H", raw))


def common() -> list[int]:
    body = text(16, "Invented") + text(16, "Drive 1") + text(8, "") + text(8, "1.2") + text(16, "0007") + [1, 0x8000]
    return [1, len(body), *body]


def i16(number: int) -> int:
    return number & 0xFFFF


def model_103(**changed: int) -> list[int]:
    body = [0] * 50
    given = {
        "AphA": (3, 412), "A_SF": (6, i16(-2)), "PPVphAB": (7, 1985), "V_SF": (13, i16(-1)), "Hz": (16, 4750), "Hz_SF": (17, i16(-2)),
        "DCA": (27, 73), "DCA_SF": (28, i16(-1)), "DCV": (29, 223), "DCV_SF": (30, 0), "DCW": (31, 1518), "DCW_SF": (32, 0),
        "TmpCab": (33, i16(-35)), "Tmp_SF": (37, i16(-1)), "St": (38, 4), "Evt1_low": (41, 0x80),
    }  # fmt: skip
    for name, (offset, value) in given.items():
        body[offset - 2] = changed.get(name, value)
    return [103, 50, *body]


def model_113() -> list[int]:
    body = [0] * 60
    for offset, value in ((4, 4.12), (24, 47.5), (34, 7.3), (36, 223.0), (38, 1518.0), (40, 41.5)):
        body[offset - 2 : offset] = struct.unpack(">2H", struct.pack(">f", value))
    body[10 - 2 : 10] = struct.unpack(">2H", struct.pack(">f", float("nan")))
    body[48 - 2] = 5
    return [113, 60, *body]


def model_160(inputs: int) -> list[int]:
    body = [i16(-2), i16(-1), 0, 0, 0, 0, inputs, 0]
    for one in range(inputs):
        body += [one + 1, *text(8, "PV"), 730, 2231, 1518, 0, 0, 0, 0, 40, 4, 0, 0]
    return [160, len(body), *body]


class Device:
    """Holding registers from `base`; asked beyond them it refuses."""

    def __init__(self, *models: list[int], base: int = 40000, longest: int = 125):
        self.words = [*MARKER, *(word for model in models for word in model), *END]
        self.base, self.longest, self.asked = base, longest, []

    def read(self, address, count):
        self.asked.append((address, count))
        start = address - self.base
        if start < 0 or start + count > len(self.words) or count > self.longest:
            return None
        return self.words[start : start + count]

    def values(self):
        device = sunspec_map(discover(self.read))
        raw = {(one.table, one.address, one.width()): self.read(one.address, one.width()) for one in device.registers}
        return values_of(device, raw)


def test_an_inverter_with_scale_factors():
    assert Device(common(), model_103()).values() == {
        "motor_current_a": 4.12,
        "motor_voltage_v": 198.5,
        "drive_frequency_hz": 47.5,
        "pv_current_a": 7.3,
        "pv_voltage_v": 223.0,
        "input_power_w": 1518.0,
        "controller_temp_c": -3.5,
        "motor_running": 1.0,
        "fault_code": 128.0,
    }


def test_a_raw_value_and_its_scale_factor():
    """7325 with scale factor -2 is 73.25."""
    assert Device(common(), model_103(DCA=7325, DCA_SF=i16(-2))).values()["pv_current_a"] == 73.25


@pytest.mark.parametrize(
    ("state", "runs"), [(1, 0), (2, 0), (3, 0), (4, 1), (5, 1), (6, 0), (7, 0), (8, 0), (77, None)]
)
def test_states_in_which_the_motor_is_driven(state, runs):
    assert Device(common(), model_103(St=state)).values()["motor_running"] == runs


@pytest.mark.parametrize(
    ("point", "value", "channel"),
    [("DCV", 0xFFFF, "pv_voltage_v"), ("DCW", 0x8000, "input_power_w"), ("TmpCab", 0x8000, "controller_temp_c"),
     ("DCV_SF", 0x8000, "pv_voltage_v"), ("St", 0xFFFF, "motor_running")],
)  # fmt: skip
def test_points_that_are_not_implemented_are_left_out(point, value, channel):
    assert channel not in Device(common(), model_103(**{point: value})).values()


def test_floats_and_nan():
    values = Device(common(), model_113(), base=50000).values()
    assert values["pv_voltage_v"] == 223.0
    assert values["motor_current_a"] == pytest.approx(4.12, rel=1e-6)
    assert "motor_voltage_v" not in values, "NaN says that it is not implemented"
    assert values["motor_running"] == 1.0


def test_a_single_array_input_serves_and_several_do_not():
    assert Device(common(), model_160(1), base=0).values() == {
        "pv_current_a": 7.3,
        "pv_voltage_v": 223.1,
        "input_power_w": 1518.0,
    }
    with pytest.raises(SunspecError, match=r"none of its models serves a pump \(it lists 1, 160\)"):
        sunspec_map(discover(Device(common(), model_160(2)).read))


def test_sensors_at_the_array():
    values = Device(common(), [302, 5, 900, 987, 0, 0, 0], [307, 11, i16(-4), *[0] * 10]).values()
    assert values == {"irradiance_w_m2": 987.0, "ambient_temp_c": -4.0}


def test_who_it_is():
    assert named(discover(Device(common(), model_103()).read)) == "Invented Drive 1 1.2"


def test_a_model_that_is_not_known_is_stepped_over():
    assert Device(common(), [64001, 3, 1, 2, 3], model_103()).values()["pv_voltage_v"] == 223.0


def test_a_device_that_does_not_describe_itself():
    with pytest.raises(SunspecError, match="no SunSpec marker at 40000, 50000, 0"):
        discover(lambda _, count: [0] * count)
    with pytest.raises(SunspecError, match="no SunSpec marker"):
        discover(lambda *_: None)


def test_lists_that_break_off_or_never_end():
    device = Device(common())
    device.words = device.words[:-2]
    with pytest.raises(SunspecError, match="breaks off at address 40070"):
        discover(device.read)
    with pytest.raises(SunspecError, match="more than 64 models"):
        discover(lambda address, count: MARKER if address == 40000 else [7, 0][:count])
    with pytest.raises(SunspecError, match="has no end"):
        discover(lambda address, count: MARKER if address == 40000 else [7, 0xFFF0][:count])


def test_it_is_asked_in_small_parts():
    device = Device(common(), model_103())
    discover(device.read)
    assert max(count for _, count in device.asked) <= 60
