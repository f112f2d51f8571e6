"""Lines that vanish, lie and talk out of turn; on a clock of our own, so nothing here waits."""

import pytest

from logger.modbus.frames import Function, Request, rtu_request, with_crc
from logger.modbus.links import Refused, RtuLink, TcpLink, TimedOut
from logger.modbus.ports import PortAway, Reopening

ASKED = Request(7, Function.READ_INPUT_REGISTERS, 100, 2)
GOOD = with_crc(bytes.fromhex("07 04 04 00 01 00 02"))
OTHER = with_crc(bytes.fromhex("08 04 04 00 09 00 09"))
REFUSED = with_crc(bytes.fromhex("07 84 02"))


class Clock:
    def __init__(self):
        self.now_s = 1000.0

    def __call__(self):
        return self.now_s


class Wire:
    """A port whose answers are scripted: for each request a list of (seconds later, bytes)."""

    def __init__(self, clock, script, before=b""):
        self.clock, self.script = clock, list(script)
        self.coming = [(clock(), before)] if before else []
        self.written, self.is_open = [], True

    def write(self, data):
        self.written.append(data)
        later = self.script.pop(0) if self.script else []
        if isinstance(later, OSError):
            raise later
        self.coming += [(self.clock() + seconds, bytes_) for seconds, bytes_ in later]

    def read(self, timeout_s):
        ends_s = self.clock.now_s + timeout_s
        if self.coming and self.coming[0][0] <= ends_s:
            at_s, data = self.coming.pop(0)
            if isinstance(data, OSError):
                raise data
            self.clock.now_s = max(self.clock.now_s, at_s)
            return data
        self.clock.now_s = ends_s
        return b""

    def close(self):
        self.is_open = False


def asked(script, before=b"", timeout_s=0.5, times=1):
    """(answers or errors of each ask, counts, wire)."""
    clock, counts = Clock(), []
    wire = Wire(clock, script, before)
    link = RtuLink(Reopening(lambda: wire, clock), 9600, clock)
    outcomes = []
    for _ in range(times):
        try:
            outcomes.append(link.ask(ASKED, timeout_s, counts.append))
        except (TimedOut, Refused) as error:
            outcomes.append(error)
    return outcomes, counts, wire


def test_a_good_answer():
    outcomes, counts, wire = asked([[(0.05, GOOD)]])
    assert outcomes == [bytes.fromhex("00 01 00 02")]
    assert counts == []
    assert wire.written == [rtu_request(ASKED)]


def test_an_answer_in_single_bytes_with_an_echo_noise_and_another_unit_before_it():
    stream = rtu_request(ASKED) + b"\x00\xff" + OTHER + GOOD
    outcomes, counts, _ = asked([[(0.01, stream[at : at + 1]) for at in range(len(stream))]])
    assert outcomes == [bytes.fromhex("00 01 00 02")]
    assert set(counts) == {"echo", "noise", "other-unit"}


def test_a_refusal_carries_its_code():
    outcomes, _, _ = asked([[(0.05, REFUSED)]])
    assert isinstance(outcomes[0], Refused)
    assert outcomes[0].code == 2


@pytest.mark.parametrize(
    ("script", "kind"),
    [([], "timeout"), ([(0.05, GOOD[:-2])], "short"), ([(0.05, GOOD[:-1] + b"\0")], "crc"), ([(9.0, GOOD)], "timeout")],
)
def test_no_usable_answer_is_a_time_out_and_counted(script, kind):
    outcomes, counts, _ = asked([script])
    assert isinstance(outcomes[0], TimedOut)
    assert kind in counts


NEXT = Request(7, Function.READ_INPUT_REGISTERS, 300, 2)
LATE = with_crc(bytes.fromhex("07 04 04 FF FF FF FF"))


def test_a_late_answer_is_not_taken_for_the_next_one():
    """The answer to the first question comes while the second is about to be asked: it is read away, not believed."""
    clock, counts = Clock(), []
    link = RtuLink(Reopening(lambda: wire, clock), 9600, clock)
    wire = Wire(clock, [[(0.75, LATE)], [(0.05, GOOD)]])
    with pytest.raises(TimedOut):
        link.ask(ASKED, 0.5, counts.append)
    assert link.ask(NEXT, 0.5, counts.append) == bytes.fromhex("00 01 00 02")
    assert counts == ["timeout", "stale"]


def test_a_late_answer_that_serves_the_same_question_asked_again_does_not_serve_the_next():
    clock, counts = Clock(), []
    link = RtuLink(Reopening(lambda: wire, clock), 9600, clock)
    wire = Wire(clock, [[(0.6, GOOD)], [(0.15, LATE)], [(0.05, GOOD)]])
    with pytest.raises(TimedOut):
        link.ask(ASKED, 0.5, counts.append)
    assert link.ask(ASKED, 0.5, counts.append) == bytes.fromhex("00 01 00 02")
    assert link.ask(NEXT, 0.5, counts.append) == bytes.fromhex("00 01 00 02"), (
        "not the second answer to the first question"
    )
    assert counts == ["timeout", "stale"]


def test_asking_the_same_again_does_not_wait_longer():
    clock = Clock()
    link = RtuLink(Reopening(lambda: wire, clock), 9600, clock)
    wire = Wire(clock, [[], [(0.05, GOOD)]])
    with pytest.raises(TimedOut):
        link.ask(ASKED, 0.5, str)
    began_s = clock()
    link.ask(ASKED, 0.5, str)
    assert clock() - began_s < 0.1


def test_what_lies_in_the_buffer_is_read_away_first():
    outcomes, counts, _ = asked([[(0.05, GOOD)]], before=with_crc(bytes.fromhex("07 04 04 FF FF FF FF")))
    assert outcomes == [bytes.fromhex("00 01 00 02")]
    assert counts == ["stale"]


def test_a_doubled_answer_is_taken_once():
    outcomes, counts, _ = asked([[(0.05, GOOD + GOOD)]])
    assert outcomes == [bytes.fromhex("00 01 00 02")]
    assert counts == ["stale"]


def test_a_babbling_line_ends_the_wait():
    """Endless bytes of others neither hang the question nor fill memory."""
    outcomes, counts, _ = asked([[(0.01 * step, OTHER) for step in range(500)]])
    assert isinstance(outcomes[0], TimedOut)
    assert counts.count("other-unit") < 100


# --- TCP ------------------------------------------------------------------------------------------------------------------


def tcp(transaction, tail):
    return transaction.to_bytes(2, "big") + b"\0\0" + len(tail).to_bytes(2, "big") + tail


def test_tcp_answers_are_told_by_their_transaction():
    clock, counts = Clock(), []
    good = bytes.fromhex("07 04 04 00 01 00 02")
    script = [[(0.7, tcp(1, bytes.fromhex("07 04 04 FF FF FF FF")))], [(0.1, tcp(2, good))]]
    wire = Wire(clock, script)
    link = TcpLink(Reopening(lambda: wire, clock), clock)
    with pytest.raises(TimedOut):
        link.ask(ASKED, 0.5, counts.append)
    assert link.ask(ASKED, 0.5, counts.append) == bytes.fromhex("00 01 00 02")
    assert counts == ["timeout", "stale"]


def test_a_tcp_stream_that_is_not_modbus_is_dropped_and_opened_anew():
    clock, counts = Clock(), []
    wires = [
        Wire(clock, [[(0.1, b"HTTP/1.1 400 Bad Request\r\n")]]),
        Wire(clock, [[(0.1, tcp(2, bytes.fromhex("07 04 04 00 01 00 02")))]]),
    ]
    link = TcpLink(Reopening(lambda: wires[0], clock), clock)
    with pytest.raises(TimedOut, match="not Modbus TCP"):
        link.ask(ASKED, 0.5, counts.append)
    assert not wires.pop(0).is_open
    with pytest.raises(PortAway, match="next try in 1 s"):
        link.ask(ASKED, 0.5, counts.append)
    clock.now_s += 1
    with pytest.raises(TimedOut):  # transaction 3 by now: the answer to 2 is not believed
        link.ask(ASKED, 0.5, counts.append)


# --- ports that vanish ----------------------------------------------------------------------------------------------------


def test_a_port_that_is_away_is_tried_with_a_growing_pause():
    clock, tries = Clock(), []

    def opened():
        tries.append(clock() - 1000)
        raise FileNotFoundError(2, "No such file or directory")

    port = Reopening(opened, clock, first_pause_s=1, pause_s_max=8)
    for _ in range(400):
        with pytest.raises(PortAway, match="No such file or directory"):
            port.get()
        clock.now_s += 0.1
    assert [round(at_s) for at_s in tries] == [0, 1, 3, 7, 15, 23, 31, 39]


def test_a_port_that_comes_back_starts_with_the_short_pause_again():
    clock = Clock()
    good = Wire(clock, [[(0.05, GOOD)], OSError(5, "Input/output error")])
    answers = [FileNotFoundError(2, "gone"), good, FileNotFoundError(2, "gone"), good]

    def opened():
        one = answers.pop(0)
        if isinstance(one, OSError):
            raise one
        return one

    port = Reopening(opened, clock, first_pause_s=1)
    link = RtuLink(port, 9600, clock)
    with pytest.raises(PortAway):
        link.ask(ASKED, 0.5, str)
    clock.now_s += 1
    assert link.ask(ASKED, 0.5, str) == bytes.fromhex("00 01 00 02")
    with pytest.raises(OSError, match="Input/output error"):
        link.ask(ASKED, 0.5, str)
    assert not good.is_open, "a port that failed is let go of"
    with pytest.raises(PortAway, match="Input/output error; next try in 1 s"):
        link.ask(ASKED, 0.5, str)


def test_a_port_that_breaks_while_reading_is_let_go_of():
    clock = Clock()
    wire = Wire(clock, [[(0.05, OSError(5, "Input/output error"))]])
    link = RtuLink(Reopening(lambda: wire, clock), 9600, clock)
    with pytest.raises(OSError, match="Input/output error"):
        link.ask(ASKED, 0.5, str)
    assert not wire.is_open
