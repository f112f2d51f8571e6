"""Serial ports and TCP connections as bytes, opened anew with a growing pause after they fail.

Flow: links.py -> HERE -> pyserial, sockets.
Never: Modbus; another exception than OSError for what a cable, an adapter or a network does.
"""

import math
import socket
import time
from collections.abc import Callable
from typing import Protocol

READ_BYTES_MAX = 1024
FIRST_PAUSE_S = 1.0
PAUSE_S_MAX = 60.0


class Port(Protocol):
    """Something that bytes go into and come out of."""

    def write(self, data: bytes) -> None:
        """Send all of it. OSError: it could not be sent."""

    def read(self, timeout_s: float) -> bytes:
        """What has come, at least one byte, waiting at most `timeout_s`; b"" if nothing came. OSError: the port is gone."""
        ...

    def close(self) -> None:
        """Let go of it; never fails."""


class SerialPort:
    """A serial port through pyserial, locked against other programs."""

    def __init__(self, device: str, baud: int = 9600, data_bits: int = 8, parity: str = "N", stop_bits: float = 1):
        import serial  # noqa: PLC0415 - a board without serial sources need not load it

        try:
            self._serial = serial.Serial(
                device, baud, data_bits, parity, stop_bits, timeout=0, write_timeout=5.0, exclusive=True
            )
        except ValueError as error:
            raise OSError(f"{device}: {error}") from None

    def write(self, data: bytes) -> None:
        """Send all of it."""
        self._serial.write(data)
        self._serial.flush()

    def read(self, timeout_s: float) -> bytes:
        """What has come, at least one byte, or b"" after `timeout_s`."""
        self._serial.timeout = timeout_s
        first = self._serial.read(1)
        waiting = min(self._serial.in_waiting, READ_BYTES_MAX) if first else 0
        return first + self._serial.read(waiting) if waiting else first

    def close(self) -> None:
        """Let go of the port."""
        self._serial.close()


class TcpPort:
    """A TCP connection."""

    def __init__(self, host: str, port: int = 502, timeout_s: float = 5.0):
        self._socket = socket.create_connection((host, port), timeout_s)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def write(self, data: bytes) -> None:
        """Send all of it."""
        self._socket.sendall(data)

    def read(self, timeout_s: float) -> bytes:
        """What has come, at least one byte, or b"" after `timeout_s`. ConnectionError: the other side hung up."""
        self._socket.settimeout(max(timeout_s, 0.001))
        try:
            data = self._socket.recv(READ_BYTES_MAX)
        except TimeoutError:
            return b""
        if not data:
            raise ConnectionError("the other side hung up")
        return data

    def close(self) -> None:
        """Let go of the connection."""
        self._socket.close()


class PortAway(OSError):
    """The port is not open, and it is not yet time to try again, or trying has just failed."""


class Reopening:
    """One port that may vanish and come back. Opens when asked for; after a failure only when a growing pause is over.

    `now` is a monotonic clock in seconds. The pause doubles from `first_pause_s` to `pause_s_max` and starts again once
    `worked` was called.
    """

    def __init__(
        self,
        open_port: Callable[[], Port],
        now: Callable[[], float] = time.monotonic,
        first_pause_s: float = FIRST_PAUSE_S,
        pause_s_max: float = PAUSE_S_MAX,
    ):
        self._open_port, self._now = open_port, now
        self._first_pause_s, self._pause_s_max = first_pause_s, pause_s_max
        self._pause_s = first_pause_s
        self._port: Port | None = None
        self._not_before_s = float("-inf")
        self.last_error = ""

    def get(self) -> Port:
        """The open port. PortAway: it is away."""
        if self._port is not None:
            return self._port
        left_s = self._not_before_s - self._now()
        if left_s > 0:
            raise PortAway(f"{self.last_error}; next try in {math.ceil(left_s)} s")
        try:
            self._port = self._open_port()
        except OSError as error:
            self.failed(error)
            raise PortAway(self.last_error) from error
        return self._port

    def failed(self, error: OSError) -> None:
        """It broke: close it, and wait before the next try."""
        self.last_error = error.strerror or str(error)
        self.close()
        self._not_before_s = self._now() + self._pause_s
        self._pause_s = min(2 * self._pause_s, self._pause_s_max)

    def worked(self) -> None:
        """It gave what was wanted: the next failure starts with the short pause again."""
        self._pause_s = self._first_pause_s

    def close(self) -> None:
        """Let go of the port; the next `get` opens it."""
        if self._port is not None:
            self._port.close()
            self._port = None
