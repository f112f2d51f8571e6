"""`wellhand registers`: what answers, which registers move with the meter, and a map that can be loaded; without a terminal."""

import argparse
import random

import pytest

from logger.commands import registers as command
from logger.modbus.decode import values_of
from logger.modbus.finder import Finder, Line, Plan, Wrong, wanted
from logger.modbus.frames import Function, crc16, with_crc
from logger.modbus.links import TimedOut
from logger.modbus.register_map import load_register_map
from logger.modbus.resemblance import Sample, candidates, moving, tells_apart
from logger.modbus.survey import Survey, runs

NO_PAUSE_S = 0.0


class Controller:
    """A port with an RTU device behind it: unit 3 with input registers 100..131 but a hole at 111, coils 0..7 refused."""

    def __init__(self, unit=3):
        self.unit, self.reply, self.frames = unit, b"", []
        self.input = {address: (address * 7919) % 4000 for address in range(100, 132) if address != 111}

    def write(self, frame):
        self.frames.append(frame)
        unit, code, address, count = (
            frame[0],
            frame[1],
            int.from_bytes(frame[2:4], "big"),
            int.from_bytes(frame[4:6], "big"),
        )
        if unit != self.unit:
            return
        span = range(address, address + count)
        if code == Function.READ_INPUT_REGISTERS and all(one in self.input for one in span):
            self.reply = with_crc(
                bytes([unit, code, 2 * count]) + b"".join(self.input[one].to_bytes(2, "big") for one in span)
            )
        else:
            self.reply = with_crc(bytes([unit, code | 0x80, 2]))

    def read(self, _timeout_s):
        reply, self.reply = self.reply, b""
        return reply

    def close(self):
        pass


class Technician:
    """Types lines; before each, the controller's registers take the values that the meter then shows."""

    def __init__(self, lines, controller=None, rand=None):
        self.lines, self.controller, self.rand, self.said = list(lines), controller, rand or random.Random(3), []

    def ask(self, prompt):
        self.said.append(prompt)
        line = self.lines.pop(0)
        if callable(line):
            line = line(self.controller)
        return line

    def say(self, text):
        self.said.append(text)

    def heard(self):
        return "\n".join(self.said)


def session(tmp_path, lines, controller, list_only=False, warned=True, units=(1, 3)):
    out = tmp_path / "found.toml"
    person = Technician(lines, controller)
    line = Line("a line", lambda: controller, 9600, 'device = "/dev/ttyUSB0"\nbaud = 9600\nparity = "none"')
    plan = Plan([line], list(units), ["input", "holding"], [(96, 140)], 0.001, NO_PAUSE_S)
    code = Finder(plan, person.ask, person.say, sleep=lambda _: None).run(out, warned, list_only)
    return code, person, out


def at(voltage, current, running):
    """The meter shows these now; other registers wander."""

    def typed(controller, said):
        for address in controller.input:
            if address % 5 == 0:
                controller.input[address] = random.randrange(4000)
        controller.input[104] = round(voltage * 10)
        controller.input[107], controller.input[108] = 0, round(current * 100)
        controller.input[113] = (controller.input[113] & ~4) | (4 if running else 0)
        return said

    return typed


def test_a_whole_session_finds_the_places_and_writes_a_map_that_loads(tmp_path):
    steps = [(213.4, 3.02, False), (188.9, 6.41, True), (230.7, 1.15, False)]
    lines = []
    for voltage, current, running in steps:
        set_now = at(voltage, current, running)
        lines.append(lambda controller, set_now=set_now, v=voltage: set_now(controller, f"pv_voltage_v {v}"))
        lines.append(f"pv_current_a {str(current).replace('.', ',')}")
        lines.append(f"motor_running {int(running)}")
    code, person, out = session(tmp_path, [*lines, "moved", "channels", "done"], Controller())
    assert code == 0, person.heard()
    assert "answers: unit 3" in person.heard()
    assert "input: 31 can be read: 100-110, 112-131" in person.heard()
    assert "holding: 0 can be read" in person.heard()
    device = load_register_map(out)
    place_of = {channel: (one.address, one.kind(), one.scale) for one in device.registers for channel in one.channels()}
    assert place_of["pv_voltage_v"] == (104, "u16", 0.1)
    assert place_of["pv_current_a"] == (108, "u16", 0.01)
    raw = {("input", 104, 1): [2000], ("input", 108, 1): [500], ("input", 113, 1): [4]}
    values = values_of(device, raw)
    assert (values["pv_voltage_v"], values["pv_current_a"], values["motor_running"]) == (200.0, 5.0, 1.0)
    text = out.read_text()
    assert "unit = 3" in text
    assert "Finish it by hand" in text
    assert 'kind = "modbus"' in text


def test_nothing_but_reading_was_ever_sent(tmp_path):
    controller = Controller()
    session(tmp_path, ["pv_voltage_v 12", "done"], controller)
    assert controller.frames
    assert {frame[1] for frame in controller.frames} <= {1, 2, 3, 4}
    assert all(int.from_bytes(frame[-2:], "little") == crc16(frame[:-2]) for frame in controller.frames)


def test_the_cautions_come_first_and_no_means_no(tmp_path):
    controller = Controller()
    code, person, out = session(tmp_path, ["no"], controller, warned=False)
    assert code == 1
    assert controller.frames == []
    assert not out.exists()
    heard = person.heard()
    for caution in (
        "may stand at array voltage",
        "licensed person",
        "local code",
        "isolated, surge-protected RS-485",
        "only reads",
    ):
        assert caution in heard
    assert heard.index("array voltage") < heard.index("Type yes")


def test_listing_alone_writes_nothing(tmp_path):
    code, person, out = session(tmp_path, [], Controller(), list_only=True)
    assert code == 0
    assert not out.exists()
    assert "input: 31 can be read" in person.heard()


def test_nothing_answers(tmp_path):
    code, person, out = session(tmp_path, [], Controller(unit=9))
    assert code == 1
    assert "Nothing answered. Check power" in person.heard()
    assert not out.exists()


def test_a_file_is_never_overwritten(tmp_path):
    (tmp_path / "found.toml").write_text("mine")
    controller = Controller()
    code, _, out = session(tmp_path, [], controller)
    assert code == 2
    assert controller.frames == []
    assert out.read_text() == "mine"


def test_slips_of_the_typist_are_answered_in_words(tmp_path):
    lines = [
        "pv_volt 3",
        "pv_voltage_v",
        "pv_voltage_v abc",
        "pv_voltage_v inf",
        "",
        "tank_float_up 1",
        "pv_voltage_v 2001",
        "pv_voltage_v 90",
        "pv_voltage_v 1500",
        "done",
    ]
    code, person, _ = session(tmp_path, lines, Controller())
    heard = person.heard()
    assert "no such channel: pv_volt; did you mean pv_voltage_v?" in heard
    assert heard.count("expected a number of 0 to 2000 V after the channel") == 4
    assert "type it once more when it has changed" in heard
    assert "none fits them all" in heard
    assert "left out: pv_voltage_v, nothing fits" in heard
    assert code == 1


def test_a_port_that_cannot_be_opened_is_said(tmp_path):
    def gone():
        raise FileNotFoundError(2, "No such file or directory")

    person = Technician([])
    plan = Plan([Line("a line", gone, 9600, "")], [1], ["input"], [(0, 1)], 0.001, NO_PAUSE_S)
    assert Finder(plan, person.ask, person.say).run(tmp_path / "x.toml", True, False) == 1
    assert "cannot be used: No such file or directory" in person.heard()


# --- judging ----------------------------------------------------------------------------------------------------------------


def samples_of(values, place):
    """Samples in which `place(value)` gives registers by address, among registers that wander."""
    rand = random.Random(11)
    made = []
    for value in values:
        seen = {("input", address): rand.randrange(65536) for address in range(200, 240)}
        seen.update({("input", address): word for address, word in place(value).items()})
        made.append(Sample(value, seen))
    return made


def words32(number):
    return number >> 16 & 0xFFFF, number & 0xFFFF


@pytest.mark.parametrize(
    ("channel", "values", "place", "found"),
    [
        ("pv_voltage_v", (213.4, 180.2), lambda v: {210: round(v * 10)}, (210, "u16", 0.1, None)),
        ("controller_temp_c", (-4.5, 31.0), lambda v: {210: round(v * 10) & 0xFFFF}, (210, "i16", 0.1, None)),
        ("input_power_w", (71234.0, 98765.0), lambda v: dict(zip((210, 211), words32(round(v)), strict=True)), (210, "u32", 1.0, "high-first")),
        ("input_power_w", (71234.0, 98765.0), lambda v: dict(zip((211, 210), words32(round(v)), strict=True)), (210, "u32", 1.0, "low-first")),
        ("motor_speed_rpm", (2900.0, 1500.0), lambda v: {210: round(v)}, (210, "u16", 1.0, None)),
    ],
)  # fmt: skip
def test_the_right_reading_comes_first(channel, values, place, found):
    first = candidates(channel, samples_of(values, place))[0].register
    assert (first.address, first.kind(), first.scale, first.word_order) == found


def test_values_that_hardly_differ_say_so():
    assert not tells_apart([Sample(100.0, {})])
    assert not tells_apart([Sample(100.0, {}), Sample(101.0, {})])
    assert tells_apart([Sample(100.0, {}), Sample(80.0, {})])


def test_a_flag_needs_both_states():
    seen = [{("input", 200): word} for word in (0b0101, 0b0110)]
    assert candidates("motor_running", [Sample(1, seen[0]), Sample(1, seen[1])]) == []
    found = candidates("motor_running", [Sample(1, seen[0]), Sample(0, seen[1])])
    assert [(one.register.bits[0].bit, one.register.bits[0].inverted) for one in found] == [(0, False), (1, True)]


def test_what_moved():
    assert moving([{("input", 1): 5, ("input", 2): 7}, {("input", 1): 9, ("input", 2): 7}]) == {("input", 1): (5, 9)}
    assert moving([]) == {}


def test_neighbours_are_asked_for_together():
    assert list(runs([("input", 3), ("input", 1), ("input", 2), ("holding", 4)])) == [
        ("holding", 4, 1),
        ("input", 1, 3),
    ]


def test_a_scan_stops_asking_a_range_that_stays_silent():
    class Silent:
        asked = 0

        def ask(self, *_):
            self.asked += 1
            raise TimedOut("no answer")

    link = Silent()
    assert Survey(link, 1, 0.001, 0.0, lambda _: None).scan("input", 0, 9999) == []
    assert link.asked == 8


# --- the command line -------------------------------------------------------------------------------------------------------


def parsed(*options):
    parser = argparse.ArgumentParser()
    command.arguments(parser)
    return parser.parse_args(options)


def test_the_plan_of_the_command_line():
    plan = wanted(
        parsed(
            "--device",
            "/dev/null",
            "--baud",
            "9600,19200",
            "--parity",
            "even",
            "--units",
            "1-3,7",
            "--registers",
            "0-9,100",
        )
    )
    assert [line.name for line in plan.lines] == [
        "/dev/null at 9600 baud, parity even",
        "/dev/null at 19200 baud, parity even",
    ]
    assert plan.units == [1, 2, 3, 7]
    assert plan.ranges == [(0, 9), (100, 100)]
    assert [line.name for line in wanted(parsed("--host", "10.0.0.9")).lines] == ["10.0.0.9:502"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--units", "a"), "--units: expected numbers such as 1-16 or 1,7, got 'a'"),
        (("--units", "9-3"), "--units: 9-3 is not within 0 to 247, low to high"),
        (("--registers", "0-70000"), "not within 0 to 65535"),
        (("--registers", "0-65535"), "more than 20000 addresses"),
        (("--baud", "fast"), "--baud: expected rates such as 9600,19200"),
        (("--parity", "mark"), "--parity: no such parity: 'mark'"),
        (("--tables", "output"), "--tables: no such table: 'output'"),
    ],
)
def test_what_is_asked_wrongly_is_said(options, said, capsys):
    with pytest.raises(Wrong, match=said):
        wanted(parsed("--device", "/dev/null", *options))
    assert command.run(parsed("--device", "/dev/null", *options)) == 2
    told = capsys.readouterr().err
    assert told.startswith("wellhand registers: --")
    assert said in told


@pytest.mark.peer
def test_it_finds_a_libmodbus_server_that_it_knows_nothing_of(serial_pair, start_server, capsys):
    server = start_server("libmodbus_server.py", "rtu", serial_pair[0])
    assert server.stdout.readline().startswith("ready")
    options = (
        "--device",
        serial_pair[1],
        "--baud",
        "19200",
        "--parity",
        "none",
        "--units",
        "5-7",
        "--registers",
        "280-335",
    )
    code = command.run(parsed(*options, "--timeout", "0.1", "--pause", "0", "--list-only", "--yes"))
    said = capsys.readouterr().out
    assert code == 0
    assert "answers: unit 7" in said
    assert "input: 42 can be read: 288-329" in said


@pytest.mark.parametrize(("register", "fits"), [(2000, True), (2038, True), (2042, False), (1958, False)])
def test_a_register_fits_within_two_percent_of_the_meter(register, fits):
    found = candidates("pv_voltage_v", [Sample(200.0, {("input", 7): register})])
    assert bool(found) is fits
