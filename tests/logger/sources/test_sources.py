"""What every source keeps to, and each kind on a good day and on bad ones; no hardware, no waiting."""

import tomllib
from importlib import resources
from pathlib import Path

import pytest

from logger.modbus.frames import with_crc
from logger.record.channels import CHANNELS
from logger.sources import every_kind  # noqa: F401
from logger.sources.base import Paced, SourceError, Turn
from logger.sources.registry import KINDS, Openers, build_source, source


class Clock:
    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return self.now_s

    def turn(self, lasts_s=5.0):
        return Turn(self.now_s, self.now_s + lasts_s, self)


class Port:
    """Bytes that come at their times; `read` moves the clock."""

    def __init__(self, clock, coming=()):
        self.clock, self.coming, self.is_open, self.answer = clock, list(coming), True, None

    def write(self, data):
        if self.answer is not None:
            self.coming.append((self.clock.now_s + 0.01, self.answer(data)))

    def read(self, timeout_s):
        if self.coming and self.coming[0][0] <= self.clock.now_s + timeout_s:
            at_s, data = self.coming.pop(0)
            if isinstance(data, OSError):
                raise data
            self.clock.now_s = max(self.clock.now_s, at_s)
            return data
        self.clock.now_s += timeout_s
        return b""

    def close(self):
        self.is_open = False


def openers(clock, port, **more):
    return Openers(serial=lambda *_: port, tcp=lambda *_: port, now=clock, sleep=lambda _: None, **more)


def built(table, clock=None, port=None, **more):
    clock = clock or Clock()
    made, problems = build_source(table, "board.toml", "source[1]", openers(clock, port, **more))
    assert problems == []
    return made


def said(table, **more):
    made, problems = build_source(table, "board.toml", "source[1]", openers(Clock(), None, **more))
    assert made is None
    return "\n".join(map(str, problems))


# --- all kinds -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_has_a_sample_that_builds_and_opens_nothing(kind, tmp_path):
    (tmp_path / "readings.csv").write_text("time,pv_voltage_v\n2026-01-01T00:00:00Z,200\n")
    sample = resources.files("logger.sources") / KINDS[kind].sample
    tables = tomllib.loads(sample.read_text("utf-8"))["source"]

    def never(*_):
        raise AssertionError("a source opens nothing before it is read")

    for table in tables:
        made, problems = build_source(table, "board.toml", "source[1]", Openers(never, never, never, tmp_path))
        assert problems == []
        assert made.channels
        assert set(made.channels) <= set(CHANNELS)
        assert made.name == table["name"]
        assert made.period_s > 0
        made.close()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_tells_an_unknown_key_and_a_bad_name(kind, tmp_path):
    (tmp_path / "readings.csv").write_text("pv_voltage_v\n200\n")
    sample = resources.files("logger.sources") / KINDS[kind].sample
    table = tomllib.loads(sample.read_text("utf-8"))["source"][0]
    text = said({**table, "name": "My Drive", "perod_s": 3}, folder=tmp_path)
    assert "board.toml: source[1].perod_s: no such key" in text
    assert "board.toml: source[1].name: expected 1 to 40 of a-z, 0-9, - and _, got 'My Drive'" in text


def test_no_kind_or_a_wrong_one():
    assert "board.toml: source[1].kind: missing\n    fix: one of contacts, modbus" in said({})
    assert "no such kind of source: 'modbuss'\n    fix: did you mean kind = \"modbus\"?" in said({"kind": "modbuss"})
    assert "expected a table" in said(3)


def test_two_kinds_of_one_name_are_a_mistake_of_ours():
    with pytest.raises(ValueError, match="two sources are called 'modbus'"):
        source("modbus", sample="x.toml")(lambda *_: None)


def test_pace_is_kept_and_missed_times_are_skipped():
    clock, paced = Clock(), Paced("a", ("pv_voltage_v",), 5.0)
    due = []
    for _ in range(21):
        due.append(paced.due(clock.turn()))
        clock.now_s += 1.0
    assert [place for place, is_due in enumerate(due) if is_due] == [0, 5, 10, 15, 20]
    clock.now_s = 247.0
    assert paced.due(clock.turn())
    clock.now_s = 249.9
    assert not paced.due(clock.turn()), "it was late once; the beat stays"
    clock.now_s = 250.0
    assert paced.due(clock.turn())


# --- Modbus --------------------------------------------------------------------------------------------------------------

MAP = """
[map]
name = "m"
[[register]]
channel = "pv_voltage_v"
table = "input"
address = 10
unit = "V"
scale = 0.1
[[register]]
channel = "fault_code"
table = "input"
address = 200
"""


def drive(tmp_path, clock, port, **settings):
    (tmp_path / "m.toml").write_text(MAP)
    table = {"kind": "modbus", "name": "drive", "map": "m.toml", "device": "/dev/ttyX", "retries": 0, **settings}
    return built(table, clock, port, folder=tmp_path)


def answering(frame):
    """Unit 1: register 10 holds 2231, anything else is refused."""
    if frame[2:4] == b"\x00\x0a":
        return with_crc(b"\x01\x04\x02\x08\xb7")
    return with_crc(b"\x01\x84\x02")


def test_modbus_reads_and_a_refused_register_is_null(tmp_path):
    clock = Clock()
    port = Port(clock)
    port.answer = answering
    made = drive(tmp_path, clock, port)
    assert made.read(clock.turn()) == {"pv_voltage_v": 223.1, "fault_code": None}
    assert made.counts == {"refused": 1, "unread": 1}


def test_modbus_wanted_channels_only(tmp_path):
    clock = Clock()
    port = Port(clock)
    port.answer = answering
    made = drive(tmp_path, clock, port, channels=["pv_voltage_v"])
    assert made.channels == ("pv_voltage_v",)
    assert made.read(clock.turn()) == {"pv_voltage_v": 223.1}
    assert made.counts == {}


def test_modbus_silence_and_a_port_that_is_away_say_what_to_look_at(tmp_path):
    clock = Clock()
    made = drive(tmp_path, clock, Port(clock))
    with pytest.raises(
        SourceError, match="drive: /dev/ttyX: unit 1: no answer within .* both wires the right way round"
    ):
        made.read(clock.turn())
    assert made.counts["silent"] == 1
    assert made.counts["timeout"] >= 1

    def gone(*_):
        raise FileNotFoundError(2, "No such file or directory")

    table = {"kind": "modbus", "name": "drive", "map": "example-drive", "device": "/dev/ttyX"}
    made, _ = build_source(table, "b", "source[1]", Openers(serial=gone, now=clock, sleep=lambda _: None))
    with pytest.raises(SourceError, match="drive: /dev/ttyX: No such file or directory"):
        made.read(clock.turn())
    assert made.counts == {"port": 1}


def test_modbus_never_outstays_its_turn(tmp_path):
    clock = Clock()
    made = drive(tmp_path, clock, Port(clock), timeout_s=3.0, retries=5)
    with pytest.raises(SourceError):
        made.read(clock.turn(2.0))
    assert clock.now_s <= 102.5, "the line's own time and silence come on top, no more"


def test_modbus_sources_on_one_line_share_it(tmp_path):
    (tmp_path / "m.toml").write_text(MAP)
    shared = openers(Clock(), None, folder=tmp_path)
    table = {"kind": "modbus", "name": "a", "map": "m.toml", "device": "/dev/ttyX"}
    one, _ = build_source(table, "b", "source[1]", shared)
    two, _ = build_source({**table, "name": "b", "unit": 2}, "b", "source[2]", shared)
    assert one._link is two._link  # noqa: SLF001 - that it is shared is the promise
    _, problems = build_source({**table, "baud": 19200}, "b", "source[3]", shared)
    assert "used by another source with other baud" in str(problems[0])


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        ({"device": None}, "source[1]: neither device nor host"),
        ({"host": "10.0.0.1"}, "source[1]: both device and host"),
        ({"unit": 0}, "source[1].unit: expected 1 to 247, got 0"),
        ({"unit": 248}, "source[1].unit: expected 1 to 247, got 248"),
        ({"map": "none.toml"}, "none.toml: file: cannot be read"),
        ({"channels": ["flow_m3_h"]}, "source[1].channels[1]: the map has no 'flow_m3_h'"),
        ({"parity": "mark"}, "source[1].parity: expected one of none, even, odd; got 'mark'"),
        ({"baud": 10}, "source[1].baud: expected 300 to 1000000"),
    ],
)
def test_modbus_settings_are_judged_before_anything_opens(tmp_path, settings, text):
    (tmp_path / "m.toml").write_text(MAP)
    table = {"kind": "modbus", "name": "drive", "map": "m.toml", "device": "/dev/ttyX", **settings}
    table = {key: value for key, value in table.items() if value is not None}
    assert text in said(table, folder=tmp_path)


# --- SunSpec ---------------------------------------------------------------------------------------------------------------


class Described:
    """Unit 1 that describes itself: model 103 with an array voltage and power."""

    def __init__(self):
        body = [0xFFFF] * 50
        body[29 - 2], body[30 - 2], body[38 - 2] = 2231, 0xFFFF, 4  # volts x 10, scale factor -1, at maximum power
        self.words = [0x5375, 0x6E53, 103, 50, *body, 0xFFFF, 0]

    def __call__(self, frame):
        address, count = int.from_bytes(frame[2:4], "big") - 40000, int.from_bytes(frame[4:6], "big")
        if address < 0 or address + count > len(self.words):
            return with_crc(b"\x01\x83\x02")
        data = b"".join(word.to_bytes(2, "big") for word in self.words[address : address + count])
        return with_crc(bytes([1, 3, len(data)]) + data)


def test_sunspec_finds_out_once_and_then_reads():
    clock = Clock()
    port = Port(clock)
    asked = []
    described = Described()
    port.answer = lambda frame: asked.append(frame) or described(frame)
    table = {
        "kind": "sunspec",
        "name": "drive",
        "device": "/dev/ttyX",
        "channels": ["pv_voltage_v", "motor_running", "flow_m3_h"],
    }
    made = built(table, clock, port)
    assert made.read(clock.turn()) == {"pv_voltage_v": 223.1, "motor_running": 1.0, "flow_m3_h": None}
    first = len(asked)
    described.words[4 + 29 - 2] = 2100
    assert made.read(clock.turn())["pv_voltage_v"] == 210.0
    assert len(asked) - first < first


def test_sunspec_without_a_description_or_time():
    clock = Clock()
    port = Port(clock)
    port.answer = lambda _: with_crc(b"\x01\x83\x02")
    made = built({"kind": "sunspec", "name": "drive", "device": "/dev/ttyX"}, clock, port)
    with pytest.raises(SourceError, match="no SunSpec marker"):
        made.read(clock.turn())
    with pytest.raises(SourceError, match="out of time"):
        made.read(clock.turn(0.0))
    assert "no such channel: 'x'" in said({"kind": "sunspec", "name": "d", "device": "x", "channels": ["x"]})


# --- text line -------------------------------------------------------------------------------------------------------------

TEXT = {
    "kind": "text_line",
    "name": "printer",
    "device": "/dev/ttyY",
    "checksum": "xor",
    "value": [
        {"key": "P", "channel": "input_power_w", "unit": "kW"},
        {"key": "T", "channel": "controller_temp_c"},
        {"key": "RUN", "channel": "motor_running", "state": [{"text": "ON", "value": 1}, {"text": "OFF", "value": 0}]},
    ],
}


def summed(body: bytes) -> bytes:
    total = 0
    for byte in body:
        total ^= byte
    return body + b"*%02X\r\n" % total


def hear(coming, table=TEXT, lasts_s=5.0):
    clock = Clock()
    port = Port(clock, [(100.0 + seconds, data) for seconds, data in coming])
    made = built(table, clock, port)
    return made, lambda: made.read(clock.turn(lasts_s)), clock


def test_text_line_gives_the_newest_whole_line():
    made, read, _ = hear(
        [(0, b"5;T=1*00\r\n" + summed(b"P=0.4;T=31.5;RUN=OFF")), (1, summed(b"P=0.412;T=31.6;RUN=ON"))]
    )
    assert read() == {"input_power_w": 400.0, "controller_temp_c": 31.5, "motor_running": 0.0}
    assert read() == {"input_power_w": 412.0, "controller_temp_c": 31.6, "motor_running": 1.0}
    assert made.counts == {}


def test_text_line_in_single_bytes():
    line = b"\n" + summed(b"P=0.4;T=31.5;RUN=OFF")
    _, read, _ = hear([(0.01 * place, line[place : place + 1]) for place in range(len(line))])
    assert read()["input_power_w"] == 400.0


def test_text_line_nulls_what_cannot_be_read_and_never_says_0():
    _, read, _ = hear([(0, b"\n" + summed(b"P=---;T=nan;RUN=FAULT"))])
    assert read() == {"input_power_w": None, "controller_temp_c": None, "motor_running": None}
    _, read, _ = hear([(0, b"\n" + summed(b"P=1"))])
    assert read() == {"input_power_w": 1000.0, "controller_temp_c": None, "motor_running": None}


@pytest.mark.parametrize(
    ("line", "kind", "text"),
    [
        (b"P=0.4;T=31.5*00\r\n", "checksum", "checksum b'00' does not fit"),
        (b"P=0.4;T=31.5\r\n", "checksum", "does not fit"),
        (summed(b"P\xff\xfe"), "garbage", "is the baud rate right?"),
        (summed(b"hello"), "garbage", "no KEY=value in 'hello'"),
        (summed(b"X=1"), "garbage", "nothing that was looked for"),
    ],
)
def test_text_line_bad_lines_are_counted_and_said(line, kind, text):
    made, read, _ = hear([(0, b"\n" + line)])
    with pytest.raises(SourceError, match=text.replace("?", r"\?")):
        read()
    assert made.counts == {kind: 1, "silent": 1}


def test_text_line_a_bad_line_does_not_hide_a_good_one():
    made, read, _ = hear([(0, b"\n" + summed(b"P=0.4;T=31.5;RUN=ON") + b"P=9;T=9*00\r\n")])
    assert read()["input_power_w"] == 400.0
    assert made.counts == {"checksum": 1}


def test_text_line_silence_ends_with_the_turn():
    made, read, clock = hear([])
    with pytest.raises(SourceError, match="printer: /dev/ttyY: nothing heard; is the cable in"):
        read()
    assert clock.now_s == pytest.approx(105.0)


def test_text_line_a_full_buffer_is_old_and_not_believed():
    old = b"\n" + summed(b"P=0.1;T=1;RUN=ON") * 250
    made, read, _ = hear(
        [(0, old[at : at + 1024]) for at in range(0, 4096, 1024)] + [(1.5, b"\n" + summed(b"P=0.7;T=2;RUN=ON"))]
    )
    assert read()["input_power_w"] == 700.0
    assert made.counts["late"] == 1


def test_text_line_endless_bytes_without_a_line_end():
    made, read, _ = hear([(0.1 * step, b"x" * 500) for step in range(40)])
    with pytest.raises(SourceError):
        read()
    assert made.counts["garbage"] > 5


def test_text_line_a_port_that_vanishes():
    made, read, clock = hear([(0, OSError(5, "Input/output error"))])
    with pytest.raises(SourceError, match="printer: /dev/ttyY: .*Input/output error"):
        read()
    with pytest.raises(SourceError, match="next try in 1 s"):
        read()
    assert made.counts == {"port": 2}


def test_text_line_columns_and_crc():
    columns = {
        "kind": "text_line",
        "name": "meter",
        "host": "10.0.0.1",
        "form": "columns",
        "separator": ",",
        "checksum": "crc16",
        "value": [{"column": 2, "channel": "volume_m3", "unit": "L"}],
    }
    body = b"a, 12340,b"
    crc = int.from_bytes(with_crc(body)[-2:], "little")
    _, read, _ = hear([(0, b"\n" + body + b"*%04X\n" % crc)], columns)
    assert read() == {"volume_m3": 12.34}


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"value": []}, "source[1].value: none given"),
        ({"value": [{"channel": "volume_m3"}]}, "source[1].value[1].key: pairs are found by key"),
        ({"form": "columns"}, "source[1].value[1].column: columns are found by number"),
        ({"value": [{"key": "P", "channel": "input_power_w", "unit": "bar"}]}, "'bar' cannot become W"),
        ({"value": [{"key": "P", "channel": "input_power_w", "scale": 0}]}, "0 would make every value the same"),
        ({"value": [{"key": key, "channel": "input_power_w"} for key in "PQ"]}, "input_power_w is promised twice"),
        ({"separator": ""}, "source[1].separator: empty"),
        ({"host": "x"}, "both device and host"),
    ],
)
def test_text_line_settings_are_judged(changed, text):
    assert text in said({**TEXT, **changed})


# --- contacts --------------------------------------------------------------------------------------------------------------

CONTACTS = {
    "kind": "contacts",
    "name": "pins",
    "contact": [
        {"line": 17, "channel": "tank_float_up"},
        {"line": 18, "channel": "low_level_probe_wet", "closed_is": 0},
    ],
    "pulse": [{"line": 27, "channel": "volume_m3", "per_pulse": 0.01, "starts_at": 12.5}],
}


class Pins:
    def __init__(self):
        self.levels, self.new, self.is_open, self.broken = {17: False, 18: False}, 0, True, False

    def closed(self, line):
        if self.broken:
            raise OSError(19, "No such device")
        return self.levels[line]

    def closings(self, _line):
        new, self.new = self.new, 0
        return new

    def close(self):
        self.is_open = False


def test_contacts_levels_and_a_register_that_survives_a_restart():
    clock, pins, memory = Clock(), Pins(), {}
    made = built(CONTACTS, clock, None, gpio=lambda _: pins, state=memory)
    assert made.read(clock.turn()) == {"tank_float_up": 0.0, "low_level_probe_wet": 1.0, "volume_m3": 12.5}
    pins.levels, pins.new = {17: True, 18: True}, 7
    assert made.read(clock.turn()) == {"tank_float_up": 1.0, "low_level_probe_wet": 0.0, "volume_m3": 12.57}
    again = built(CONTACTS, clock, None, gpio=lambda _: pins, state=memory)
    pins.new = 1
    assert again.read(clock.turn())["volume_m3"] == 12.58
    assert memory == {"pins": {"pulses of line 27": 8}}, "what the agent keeps on disk"


def test_contacts_pins_that_break_are_asked_for_again():
    clock, pins, opened = Clock(), Pins(), []
    made = built(CONTACTS, clock, None, gpio=lambda _: opened.append(1) or pins)
    made.read(clock.turn())
    pins.broken = True
    with pytest.raises(SourceError, match="pins: /dev/gpiochip0: .*No such device"):
        made.read(clock.turn())
    assert not pins.is_open
    pins.broken = False
    made.read(clock.turn())
    assert len(opened) == 2


def test_contacts_without_the_package_or_the_chip_say_what_is_missing():
    made = built({**CONTACTS, "chip": "/dev/gpiochip-none"})
    with pytest.raises(SourceError, match="pip install gpiod|No such file|Not a directory"):
        made.read(Clock().turn())


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"contact": [{"line": 17, "channel": "flow_m3_h"}]}, "flow_m3_h cannot be read from a contact"),
        ({"pulse": [{"line": 27, "channel": "flow_m3_h"}]}, "flow_m3_h cannot be read from a pulse"),
        ({"contact": [{"line": 27, "channel": "tank_float_up"}]}, "line 27 stands there twice"),
        ({"contact": [], "pulse": []}, "neither a contact nor a pulse"),
        ({"pulse": [{"line": 27, "channel": "volume_m3", "per_pulse": 0}]}, "per_pulse: expected 1e-06 to 1000, got 0"),
    ],
)
def test_contacts_settings_are_judged(changed, text):
    assert text in said({**CONTACTS, **changed})


# --- 1-Wire ----------------------------------------------------------------------------------------------------------------

ONE_WIRE = {
    "kind": "one_wire",
    "name": "temps",
    "probe": [
        {"id": "28-00000a1b2c3d", "channel": "module_temp_c"},
        {"id": "28-00000a1b2c3e", "channel": "ambient_temp_c"},
    ],
}
GOOD_PROBE = "73 01 4b 46 7f ff 0d 10 41 : crc=41 YES\n73 01 4b 46 7f ff 0d 10 41 t=23187\n"


def probes(tmp_path, one, two=None):
    for name, text in (("28-00000a1b2c3d", one), ("28-00000a1b2c3e", two)):
        if text is not None:
            (tmp_path / name).mkdir(exist_ok=True)
            (tmp_path / name / "w1_slave").write_text(text)
    made = built({**ONE_WIRE, "folder": str(tmp_path)})
    return made, lambda: made.read(Clock().turn())


def test_one_wire_reads_and_a_missing_probe_is_null(tmp_path):
    made, read = probes(tmp_path, GOOD_PROBE)
    assert read() == {"module_temp_c": 23.187, "ambient_temp_c": None}
    assert made.counts == {"missing": 1}
    _, read = probes(tmp_path, GOOD_PROBE, GOOD_PROBE.replace("t=23187", "t=-1250"))
    assert read() == {"module_temp_c": 23.187, "ambient_temp_c": -1.25}


@pytest.mark.parametrize(
    ("text", "kind", "said_"),
    [
        (GOOD_PROBE.replace("YES", "NO"), "checksum", "its checksum does not fit"),
        (GOOD_PROBE.replace("t=23187", "t=85000"), "power-on", "85 degrees, its power-on value"),
        ("", "garbage", "no t= in ''"),
        (GOOD_PROBE.replace("t=23187", "t="), "garbage", "no t= in"),
    ],
)
def test_one_wire_what_cannot_be_trusted_is_refused(tmp_path, text, kind, said_):
    made, read = probes(tmp_path, text, text)
    with pytest.raises(SourceError, match=said_):
        read()
    assert made.counts == {kind: 2}


def test_one_wire_settings_are_judged():
    text = said({**ONE_WIRE, "probe": [{"id": "x", "channel": "flow_m3_h"}]})
    assert "source[1].probe[1].id: no probe's name: 'x'" in text
    assert "source[1].probe[1].channel: flow_m3_h is no temperature" in text


# --- replay ----------------------------------------------------------------------------------------------------------------


def test_replay_goes_through_a_file_and_begins_again(tmp_path):
    (tmp_path / "r.csv").write_text(
        "time,pv_voltage_v,flow_m3_h\n2026-01-01T00:00:00Z,200,\n2026-01-01T00:01:00Z,x,1.5\n"
    )
    table = {"kind": "replay", "name": "r", "file": "r.csv"}
    made = built(table, folder=tmp_path)
    rows = [{"pv_voltage_v": 200.0, "flow_m3_h": None}, {"pv_voltage_v": None, "flow_m3_h": 1.5}]
    assert [made.read(Clock().turn()) for _ in range(3)] == [*rows, rows[0]]
    once = built({**table, "repeat": False}, folder=tmp_path)
    assert [once.read(Clock().turn()) for _ in range(2)] == rows
    with pytest.raises(SourceError, match=r"r: r.csv has ended"):
        once.read(Clock().turn())


@pytest.mark.parametrize(
    ("content", "text"),
    [
        ("pressure\n3\n", "r.csv has no such channel: pressure"),
        ("time\n3\n", "r.csv has no channels"),
        ("", "r.csv has no channels"),
        ("flow_m3_h\n", "r.csv has no rows"),
        (b"flow_m3_h\n\xff\n", "cannot be read"),
    ],
)
def test_replay_files_are_judged(tmp_path, content, text):
    (tmp_path / "r.csv").write_bytes(content if isinstance(content, bytes) else content.encode())
    assert text in said({"kind": "replay", "name": "r", "file": "r.csv"}, folder=tmp_path)
    assert "cannot be read" in said({"kind": "replay", "name": "r", "file": "none.csv"}, folder=Path("/nonexistent"))
