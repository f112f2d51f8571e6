"""One question, one answer: a request over a serial line or TCP, with its time-out, line discipline and strays counted.

Flow: master.py -> HERE -> frames.py (bytes), ports.py (port).
Never: a retry (master.py); a request while the line is still talking.
"""

import time
from collections.abc import Callable
from typing import Protocol

from logger.modbus.frames import (
    FrameError,
    Refusal,
    Reply,
    Request,
    RtuReplies,
    Stray,
    TcpReplies,
    rtu_request,
    silence_s,
    tcp_request,
)
from logger.modbus.ports import Port, Reopening

DRAIN_BYTES_MAX = 4096
LISTEN_SILENCE_S_MIN = 0.004
"""A user-space program hears silences no shorter than this; the standard's t3.5 is waited out where it is longer."""
LATE_SILENCE_S = 0.5
"""A serial answer does not say what it answers: where one is still owed that could pass for the next one, the line must
be silent for this long first. An answer that comes later still, and fits, cannot be told apart."""
OWED_S = 5.0
"""An answer later than this is no longer waited for."""
BITS_PER_BYTE = 11

Count = Callable[[str], None]
"""Called with a kind each time something went wrong: timeout, crc, noise, echo, other-unit, stale, refused."""


class LinkError(Exception):
    """The request got no answer that can be used."""


class TimedOut(LinkError):
    """Nothing usable came in time."""


class Refused(LinkError):
    """The device answered with an exception; `code` says which."""

    def __init__(self, code: int):
        self.code = code
        super().__init__(f"refused with code {code}")


class Link(Protocol):
    """What the master needs of a line."""

    def ask(self, request: Request, timeout_s: float, count: Count) -> bytes:
        """The reply's data. TimedOut, Refused; OSError: the port is away."""
        ...

    def close(self) -> None:
        """Let go of the port."""


class RtuLink:
    """A serial line. Several masters may share it, one request at a time."""

    def __init__(self, port: Reopening, baud: int, now: Callable[[], float] = time.monotonic):
        self._port, self._now = port, now
        self._byte_s = BITS_PER_BYTE / baud
        self._silence_s = max(silence_s(baud), LISTEN_SILENCE_S_MIN)
        self._owed: Request | None = None
        self._owed_until_s = 0.0

    def ask(self, request: Request, timeout_s: float, count: Count) -> bytes:
        """Wait for silence, ask, and take the first frame that answers this request.

        `timeout_s` is the device's time to think; what both frames take on the wire comes on top.
        """
        port = self._port.get()
        question = rtu_request(request)
        patience_s = timeout_s + self._byte_s * (len(question) + 5 + request.reply_bytes())
        try:
            self._drain(port, request, count)
            port.write(question)
            data = _answer(port, RtuReplies(request), patience_s, self._now, count)
        except TimedOut:
            self._owed, self._owed_until_s = request, self._now() + OWED_S
            raise
        except OSError as error:
            self._port.failed(error)
            raise
        self._port.worked()
        return data

    def _drain(self, port: Port, request: Request, count: Count) -> None:
        """Noise, and late answers that would pass for the next one, are read away until the line is silent."""
        silence_s = self._silence_s
        owed = self._owed
        if owed is not None and self._now() > self._owed_until_s:
            self._owed = None
        elif owed is not None and owed != request and (owed.unit, owed.function) == (request.unit, request.function):
            silence_s, self._owed = LATE_SILENCE_S, None
        drained = 0
        while drained < DRAIN_BYTES_MAX and (stale := port.read(silence_s)):
            drained += len(stale)
        if drained:
            count("stale")

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()


class TcpLink:
    """A TCP connection to a device or a gateway."""

    def __init__(self, port: Reopening, now: Callable[[], float] = time.monotonic):
        self._port, self._now = port, now
        self._transaction = 0

    def ask(self, request: Request, timeout_s: float, count: Count) -> bytes:
        """Ask, and take the frame of this transaction."""
        self._transaction = self._transaction % 0xFFFF + 1
        port = self._port.get()
        try:
            port.write(tcp_request(request, self._transaction))
            data = _answer(port, TcpReplies(request, self._transaction), timeout_s, self._now, count)
        except OSError as error:
            self._port.failed(error)
            raise
        except FrameError as error:
            count("noise")
            self._port.failed(ConnectionError(str(error)))
            raise TimedOut(str(error)) from None
        self._port.worked()
        return data

    def close(self) -> None:
        """Let go of the connection."""
        self._port.close()


def _answer(
    port: Port, replies: RtuReplies | TcpReplies, timeout_s: float, now: Callable[[], float], count: Count
) -> bytes:
    """The first Reply's data. Whatever else comes is counted."""
    ends_s = now() + timeout_s
    while (left_s := ends_s - now()) > 0:
        answer: Reply | Refusal | None = None
        for event in replies.feed(port.read(left_s)):
            if isinstance(event, Stray):
                count(event.kind)
            elif answer is None:
                answer = event
            else:
                count("stale")
        if isinstance(answer, Refusal):
            raise Refused(answer.code)
        if answer is not None:
            return answer.data
    count("short" if replies.unfinished() else "timeout")
    raise TimedOut(f"no answer within {timeout_s:.2g} s")
