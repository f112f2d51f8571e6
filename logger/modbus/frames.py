"""Modbus frames as bytes: requests out, replies in, over a serial line (RTU) or TCP. Reading only, by construction.

A request is made of a `Function`, a closed list of the four codes that read; nothing here can build another frame.
Bytes are fed as they come, one or many at a time; events come out.
Flow: links.py -> HERE.
Never: a port, a clock, a write.
"""

import struct
from dataclasses import dataclass
from enum import IntEnum

FRAME_BYTES_MAX = 256
UNIT_MAX = 247
EXCEPTION_FLAG = 0x80
_CRC_BYTES = 2
_HELD_BYTES_MAX = 4 * FRAME_BYTES_MAX


class Function(IntEnum):
    """The codes that read. There are no others in this program."""

    READ_COILS = 1
    READ_DISCRETE_INPUTS = 2
    READ_HOLDING_REGISTERS = 3
    READ_INPUT_REGISTERS = 4


COUNT_MAX = {Function.READ_COILS: 2000, Function.READ_DISCRETE_INPUTS: 2000,
             Function.READ_HOLDING_REGISTERS: 125, Function.READ_INPUT_REGISTERS: 125}  # fmt: skip
FUNCTION_OF = {"coil": Function.READ_COILS, "discrete": Function.READ_DISCRETE_INPUTS,
               "holding": Function.READ_HOLDING_REGISTERS, "input": Function.READ_INPUT_REGISTERS}  # fmt: skip


@dataclass(frozen=True)
class Request:
    """Ask `unit` for `count` bits or registers from `address`. ValueError: it could not be asked."""

    unit: int
    function: Function
    address: int
    count: int

    def __post_init__(self) -> None:
        if not isinstance(self.function, Function):
            raise ValueError(f"only {', '.join(one.name for one in Function)} can be asked, not {self.function!r}")
        if not 0 <= self.unit <= 255 or not 1 <= self.count <= COUNT_MAX[self.function]:
            raise ValueError(f"unit {self.unit} or count {self.count} out of range")
        if not 0 <= self.address <= 0xFFFF or self.address + self.count > 0x10000:
            raise ValueError(f"address {self.address} + {self.count} out of range")

    def is_bits(self) -> bool:
        """Are bits asked for, not registers?"""
        return self.function <= Function.READ_DISCRETE_INPUTS

    def reply_bytes(self) -> int:
        """How many bytes of data a good reply carries."""
        return (self.count + 7) // 8 if self.is_bits() else 2 * self.count


@dataclass(frozen=True)
class Reply:
    """The data asked for, as sent."""

    data: bytes


@dataclass(frozen=True)
class Refusal:
    """The device answered that it will not: see EXCEPTIONS."""

    code: int


@dataclass(frozen=True)
class Stray:
    """Bytes that were no answer to this request. `kind`: noise, crc, echo, other-unit, stale."""

    kind: str
    bytes_count: int


Event = Reply | Refusal | Stray

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE, DEVICE_FAILURE, ACKNOWLEDGE, BUSY = 1, 2, 3, 4, 5, 6
GATEWAY_PATH, GATEWAY_SILENT = 0x0A, 0x0B
EXCEPTIONS = {
    ILLEGAL_FUNCTION: "illegal function",
    ILLEGAL_ADDRESS: "illegal address",
    ILLEGAL_VALUE: "illegal value",
    DEVICE_FAILURE: "device failure",
    ACKNOWLEDGE: "acknowledged, still at work",
    BUSY: "busy",
    8: "memory parity error",
    GATEWAY_PATH: "gateway has no path",
    GATEWAY_SILENT: "device behind the gateway is silent",
}
"""Modbus Application Protocol V1.1b3, section 7."""


def _crc_table() -> tuple[int, ...]:
    table = []
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
        table.append(crc)
    return tuple(table)


_CRC = _crc_table()


def crc16(data: bytes) -> int:
    """CRC-16/MODBUS (polynomial 0xA001 reflected, start 0xFFFF). It travels low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc = crc >> 8 ^ _CRC[(crc ^ byte) & 0xFF]
    return crc


def with_crc(data: bytes) -> bytes:
    """`data` and its CRC, as they go over the wire."""
    return data + struct.pack("<H", crc16(data))


def _has_crc(frame: bytes) -> bool:
    return len(frame) > _CRC_BYTES and with_crc(frame[:-_CRC_BYTES]) == frame


def silence_s(baud: int, characters: float = 3.5) -> float:
    """The silence that parts frames: 3.5 characters of 11 bits, fixed above 19200 baud (serial line guide V1.02, 2.5.1.1)."""
    if baud > 19200:
        return 0.00175 if characters == 3.5 else 0.0005 * characters
    return characters * 11 / baud


def rtu_request(request: Request) -> bytes:
    """The request as a serial frame."""
    return with_crc(struct.pack(">BBHH", request.unit, request.function, request.address, request.count))


def tcp_request(request: Request, transaction: int) -> bytes:
    """The request as a TCP frame (MBAP header, no CRC)."""
    return struct.pack(">HHHBBHH", transaction, 0, 6, request.unit, request.function, request.address, request.count)


class RtuReplies:
    """Finds the answer to one request among the bytes of a serial line: noise, echoes and others' frames are told apart."""

    def __init__(self, request: Request):
        self._request = request
        self._echo = rtu_request(request)
        self._held = b""

    def feed(self, chunk: bytes) -> list[Event]:
        """Events that `chunk` completed, in order. What is no frame comes out as Stray."""
        self._held += chunk
        events: list[Event] = []
        skipped = 0
        while self._held:
            found = self._at_front() or self._answer_behind()
            if found is None and len(self._held) < _HELD_BYTES_MAX:
                break  # may still become a frame
            length, event = found or (1, Stray("noise", 1))
            if isinstance(event, Stray) and event.kind == "noise":
                skipped += length
            else:
                events += _noise(skipped)
                skipped = 0
                events.append(event)
            self._held = self._held[length:]
        return events + _noise(skipped)

    def unfinished(self) -> int:
        """Bytes held that have not become a frame."""
        return len(self._held)

    def _at_front(self) -> tuple[int, Event] | None:
        """(bytes used, event) for what the held bytes begin with; None: more bytes are needed to tell."""
        held, request = self._held, self._request
        if held.startswith(self._echo):
            return len(self._echo), Stray("echo", len(self._echo))
        lengths = [len(self._echo)] if self._echo.startswith(held) else []
        if len(held) >= 2:
            function = held[1]
            if function in (one | EXCEPTION_FLAG for one in Function):
                lengths.append(5)
            elif function in list(Function):
                lengths.append(5 + held[2] if len(held) > 2 else 6)
        elif not lengths:
            lengths.append(2)
        complete = [length for length in lengths if length <= len(held)]
        for length in complete:
            if _has_crc(held[:length]):
                return length, self._frame(held[:length])
        if len(complete) < len(lengths):
            return None
        is_ours = held[0] == request.unit and bool(lengths)
        return 1, Stray("crc", 1) if is_ours else Stray("noise", 1)

    def _answer_behind(self) -> tuple[int, Event] | None:
        """Bytes before a whole answer to this request are noise, whatever they might still have become."""
        request = self._request
        for code, length in ((request.function, 5 + request.reply_bytes()), (request.function | EXCEPTION_FLAG, 5)):
            at = self._held.find(bytes([request.unit, code]), 1)
            while at > 0:
                if _has_crc(self._held[at : at + length]) and len(self._held) >= at + length:
                    return at, Stray("noise", at)
                at = self._held.find(bytes([request.unit, code]), at + 1)
        return None

    def _frame(self, frame: bytes) -> Event:
        request = self._request
        if frame[0] != request.unit:
            return Stray("other-unit", len(frame))
        if frame[1] == request.function | EXCEPTION_FLAG:
            return Refusal(frame[2])
        if frame[1] == request.function and frame[2] == request.reply_bytes():
            return Reply(frame[3:-_CRC_BYTES])
        return Stray("stale", len(frame))


def _noise(count: int) -> list[Event]:
    return [Stray("noise", count)] if count else []


class TcpReplies:
    """Finds the answer to one request on a TCP connection. FrameError from `feed`: the stream is lost, connect anew."""

    def __init__(self, request: Request, transaction: int):
        self._request = request
        self._transaction = transaction
        self._held = b""

    def feed(self, chunk: bytes) -> list[Event]:
        """Events that `chunk` completed, in order. FrameError: not Modbus TCP."""
        self._held += chunk
        events: list[Event] = []
        while len(self._held) >= 7:
            transaction, protocol, length, unit = struct.unpack(">HHHB", self._held[:7])
            if protocol != 0 or not 3 <= length <= FRAME_BYTES_MAX - _CRC_BYTES:
                raise FrameError(f"not Modbus TCP: protocol {protocol}, length {length}")
            if len(self._held) < 6 + length:
                break
            pdu, self._held = self._held[7 : 6 + length], self._held[6 + length :]
            events.append(self._answer(transaction, unit, pdu))
        return events

    def unfinished(self) -> int:
        """Bytes held that have not become a frame."""
        return len(self._held)

    def _answer(self, transaction: int, unit: int, pdu: bytes) -> Event:
        request = self._request
        if transaction != self._transaction:
            return Stray("stale", 7 + len(pdu))
        if unit != request.unit:
            return Stray("other-unit", 7 + len(pdu))
        if pdu[0] == request.function | EXCEPTION_FLAG:
            return Refusal(pdu[1])
        if pdu[0] == request.function and pdu[1] == request.reply_bytes() == len(pdu) - 2:
            return Reply(pdu[2:])
        return Stray("stale", 7 + len(pdu))


class FrameError(Exception):
    """Bytes after which nothing on this connection can be told apart."""


def registers_of(data: bytes) -> list[int]:
    """Register values, 0 to 65535."""
    return list(struct.unpack(f">{len(data) // 2}H", data))


def bits_of(data: bytes, count: int) -> list[int]:
    """`count` bits, 0 or 1: the lowest bit of the first byte first."""
    return [data[place // 8] >> place % 8 & 1 for place in range(count)]
