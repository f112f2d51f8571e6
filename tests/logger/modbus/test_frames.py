"""Frames as bytes: vectors of others, every reply also fed one byte at a time, and nothing but the four reading codes."""

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.modbus import frames
from logger.modbus.frames import (
    FrameError,
    Function,
    Refusal,
    Reply,
    Request,
    RtuReplies,
    Stray,
    TcpReplies,
    bits_of,
    crc16,
    registers_of,
    rtu_request,
    silence_s,
    tcp_request,
    with_crc,
)

# Frame and CRC as on the wire. Sources as said; "computed" = worked out with crcmod 1.7 (CRC-16/MODBUS), not by this program.
VECTORS = [
    ("01 03 00 00 00 0A", "C5 CD", "computed"),
    ("11 03 00 6B 00 03", "76 87", "Modbus Application Protocol example of code 3, unit 17; recomputed"),
    ("11 03 06 02 2B 00 00 00 64", "C8 BA", "the reply to it; recomputed"),
    ("01 03 00 6B 00 03", "74 17", "computed; some public pages print 76 87, which belongs to unit 17"),
    ("01 03 06 02 2B 00 00 00 64", "05 7A", "computed"),
    ("11 03 06 AE 41 56 52 43 40", "49 AD", "computed"),
    ("02 07", "41 12", "Modbus over Serial Line guide V1.02, CRC example (prints 1241); from memory, recomputed"),
    ("01 04 02 00 0A", "39 37", "computed"),
    ("01 83 02", "C0 F1", "computed"),
    ("0A 81 02", "B0 53", "computed"),
]


@pytest.mark.parametrize(("frame", "crc", "source"), VECTORS)
def test_crc_agrees_with_vectors_of_others(frame, crc, source):
    assert with_crc(bytes.fromhex(frame)) == bytes.fromhex(frame + crc), source


def test_crc_check_value():
    """CRC-16/MODBUS check value of "123456789" in the catalogue of parametrised CRC algorithms (CRC RevEng)."""
    assert crc16(b"123456789") == 0x4B37


def test_requests_are_those_of_the_standard():
    """Modbus Application Protocol V1.1b3, code 3: ask unit 17 for registers 0x6B to 0x6D."""
    request = Request(0x11, Function.READ_HOLDING_REGISTERS, 0x6B, 3)
    assert rtu_request(request) == bytes.fromhex("11 03 00 6B 00 03 76 87")
    assert tcp_request(request, 0x1501) == bytes.fromhex("15 01 00 00 00 06 11 03 00 6B 00 03")


# --- nothing that writes can be built ---------------------------------------------------------------------------------


def test_only_four_codes_exist_and_all_of_them_read():
    """Modbus Application Protocol V1.1b3: 1 coils, 2 discrete inputs, 3 holding and 4 input registers are read by these."""
    assert [int(one) for one in Function] == [1, 2, 3, 4]
    assert set(frames.FUNCTION_OF.values()) == set(Function)


@pytest.mark.parametrize("code", [0, 5, 6, 7, 8, 15, 16, 22, 23, 43, 0x83, 3, "3", None])
def test_a_request_with_any_other_code_cannot_be_made(code):
    with pytest.raises(ValueError, match="only READ_COILS"):
        Request(1, code, 0, 1)


@given(st.integers(0, 255), st.sampled_from(Function), st.integers(0, 0xFFFF), st.integers(1, 2000))
def test_every_request_that_can_be_made_reads(unit, function, address, count):
    try:
        request = Request(unit, function, address, count)
    except ValueError:
        return
    assert rtu_request(request)[1] in (1, 2, 3, 4)
    assert tcp_request(request, 7)[7] in (1, 2, 3, 4)
    assert len(rtu_request(request)) == 8


@pytest.mark.parametrize(
    ("function", "address", "count"),
    [
        (Function.READ_HOLDING_REGISTERS, 0, 126),  # limits: Modbus Application Protocol V1.1b3, sections 6.1 to 6.4
        (Function.READ_INPUT_REGISTERS, 0, 126),
        (Function.READ_COILS, 0, 2001),
        (Function.READ_DISCRETE_INPUTS, 0, 2001),
        (Function.READ_COILS, 0, 0),
        (Function.READ_COILS, -1, 1),
        (Function.READ_COILS, 0xFFFF, 2),
    ],
)
def test_limits_of_the_standard(function, address, count):
    with pytest.raises(ValueError, match="out of range"):
        Request(1, function, address, count)


# --- replies ------------------------------------------------------------------------------------------------------------

ASKED = Request(0x11, Function.READ_HOLDING_REGISTERS, 0x6B, 3)
GOOD = bytes.fromhex("11 03 06 02 2B 00 00 00 64 C8 BA")
DATA = bytes.fromhex("02 2B 00 00 00 64")
REFUSED = bytes.fromhex("11 83 02 C1 34")
BAD_CRC = GOOD[:-1] + b"\x00"
OTHER_UNIT = bytes.fromhex("01 03 06 02 2B 00 00 00 64 05 7A")
ECHO = rtu_request(ASKED)
OTHER_LENGTH = with_crc(bytes.fromhex("11 03 02 00 01"))

CASES = {
    "a good reply": (GOOD, [Reply(DATA)]),
    "a refusal": (REFUSED, [Refusal(2)]),
    "noise before": (b"\x00\xff\x11" + GOOD, [Reply(DATA)]),
    "noise that looks like the head of a long frame": (b"\x05\x03\xc8" + GOOD, [Reply(DATA)]),
    "noise before a refusal": (b"\x05\x03\xc8" + REFUSED, [Refusal(2)]),
    "our own echo first": (ECHO + GOOD, [Stray("echo", 8), Reply(DATA)]),
    "another unit first": (OTHER_UNIT + GOOD, [Stray("other-unit", 11), Reply(DATA)]),
    "a late answer of another length": (OTHER_LENGTH + GOOD, [Stray("stale", 7), Reply(DATA)]),
    "doubled": (GOOD + GOOD, [Reply(DATA), Reply(DATA)]),
    "a bad frame, then a good one": (BAD_CRC + GOOD, [Reply(DATA)]),
    "cut short": (GOOD[:-1], []),
    "nothing": (b"", []),
    "another unit's refusal": (with_crc(b"\x09\x83\x02") + GOOD, [Stray("other-unit", 5), Reply(DATA)]),
}


def without_noise(events):
    return [event for event in events if not (isinstance(event, Stray) and event.kind in ("noise", "crc"))]


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("size", [1, 2, 3, 7, 1000])
def test_replies_are_found_whatever_the_chunks(name, size):
    data, expected = CASES[name]
    replies = RtuReplies(ASKED)
    chunks = [data[start : start + size] for start in range(0, len(data), size)]
    assert without_noise(itertools.chain.from_iterable(map(replies.feed, chunks))) == expected


def test_a_wrong_crc_is_told_apart_from_noise():
    events = RtuReplies(ASKED).feed(BAD_CRC)
    assert Stray("crc", 1) in events
    assert not any(isinstance(event, Reply | Refusal) for event in events)
    assert all(event.kind == "noise" for event in RtuReplies(ASKED).feed(bytes([0x55] * 40)))


def test_every_single_bit_error_in_a_reply_is_refused():
    """A 16-bit CRC finds all single-bit errors."""
    for place in range(8 * len(GOOD)):
        damaged = bytearray(GOOD)
        damaged[place // 8] ^= 1 << place % 8
        assert not any(isinstance(event, Reply) for event in RtuReplies(ASKED).feed(bytes(damaged)))


@given(st.binary(max_size=400), st.integers(1, 50))
def test_any_bytes_give_events_and_bounded_memory(data, size):
    replies = RtuReplies(ASKED)
    for start in range(0, len(data), size):
        replies.feed(data[start : start + size])
    assert replies.unfinished() <= 4 * frames.FRAME_BYTES_MAX


def test_a_reply_is_found_in_a_long_night_of_noise():
    rand = random.Random(5)
    noise = bytes(rand.randrange(256) for _ in range(5000))
    replies = RtuReplies(ASKED)
    assert Reply(DATA) in replies.feed(noise + GOOD)


# --- TCP ------------------------------------------------------------------------------------------------------------------

TCP_GOOD = bytes.fromhex("00 07 00 00 00 09 11 03 06") + DATA
TCP_CASES = {
    "good": (TCP_GOOD, [Reply(DATA)]),
    "refusal": (bytes.fromhex("00 07 00 00 00 03 11 83 02"), [Refusal(2)]),
    "an earlier transaction first": (b"\x00\x06" + TCP_GOOD[2:] + TCP_GOOD, [Stray("stale", 15), Reply(DATA)]),
    "another unit": (TCP_GOOD[:6] + b"\x12" + TCP_GOOD[7:], [Stray("other-unit", 15)]),
    "another length": (bytes.fromhex("00 07 00 00 00 05 11 03 02 00 01"), [Stray("stale", 11)]),
    "cut short": (TCP_GOOD[:-1], []),
}


@pytest.mark.parametrize("name", TCP_CASES)
@pytest.mark.parametrize("size", [1, 5, 1000])
def test_tcp_replies_are_found_whatever_the_chunks(name, size):
    data, expected = TCP_CASES[name]
    replies = TcpReplies(ASKED, 7)
    chunks = [data[start : start + size] for start in range(0, len(data), size)]
    assert list(itertools.chain.from_iterable(map(replies.feed, chunks))) == expected


@pytest.mark.parametrize("header", ["0007 0001 0009 11", "0007 0000 0001 11", "0007 0000 00FF 11"])
def test_a_stream_that_is_not_modbus_is_given_up(header):
    with pytest.raises(FrameError, match="not Modbus TCP"):
        TcpReplies(ASKED, 7).feed(bytes.fromhex(header))


@given(st.binary(max_size=300))
def test_any_tcp_bytes_are_events_or_a_frame_error(data):
    try:
        TcpReplies(ASKED, 7).feed(data)
    except FrameError as error:
        assert str(error).startswith("not Modbus TCP")  # noqa: PT017 - either outcome is right


# --- data and timing -----------------------------------------------------------------------------------------------------


def test_bits_as_in_the_standards_example():
    """Modbus Application Protocol, code 1: reply CD 6B 05 for 19 coils begins 1,0,1,1,0,0,1,1."""
    bits = bits_of(bytes.fromhex("CD 6B 05"), 19)
    assert bits[:8] == [1, 0, 1, 1, 0, 0, 1, 1]
    assert bits[16:] == [1, 0, 1]
    assert registers_of(DATA) == [555, 0, 100]


@pytest.mark.parametrize(
    ("baud", "t15_ms", "t35_ms"),
    [(1200, 13.75, 32.08), (2400, 6.875, 16.04), (4800, 3.438, 8.021), (9600, 1.719, 4.010), (19200, 0.859, 2.005),
     (38400, 0.750, 1.750), (115200, 0.750, 1.750)],
)  # fmt: skip
def test_silences_are_those_of_the_serial_line_guide(baud, t15_ms, t35_ms):
    """Modbus over Serial Line V1.02, section 2.5.1.1: 11 bits a character; fixed above 19200 baud. 1 %: rounded there."""
    assert silence_s(baud, 1.5) * 1000 == pytest.approx(t15_ms, rel=0.01)
    assert silence_s(baud) * 1000 == pytest.approx(t35_ms, rel=0.01)
