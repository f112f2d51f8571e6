"""What time it is on a board without a battery clock, and what that is worth.

The machine's monotonic clock counts since the kernel started and never jumps; UTC is that plus an offset. The offset is
taken from the kernel's wall clock while the kernel says that it is disciplined (or always, where the settings trust it);
else from the server's live answer. Until then times are a guess, `unsure`, and rows made then are repaired
when the offset is learnt: `time_of`. Once learnt, the offset is kept although the kernel loses its source:
a crystal drifts seconds a day, a wall clock set by hand may be years out.
Flow: kernel, server's answer -> HERE -> agent stamps rows, outbox asks for their times. Never: sleeps, files.
"""

import ctypes
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from logger.record.reading import Clock as Quality
from logger.spool.boots import Boot
from logger.spool.row import Row

TIME_ERROR = 5
"""What adjtimex(2) returns while the clock is not disciplined (the kernel says so 32,000 s after the last sync)."""
STEP_MS = 1000
KERNEL_ID = Path("/proc/sys/kernel/random/boot_id")


class MachineTime(Protocol):
    """The clocks of a machine, in ms; `disciplined`: something outside keeps the wall clock right."""

    def wall_ms(self) -> int: ...
    def mono_ms(self) -> int: ...
    def disciplined(self) -> bool: ...


class RealTime:
    """This machine's clocks. `trusted`: take the wall clock as right although the kernel does not say so."""

    def __init__(self, trusted: bool = False):
        self._trusted = trusted
        self._libc = None if trusted else ctypes.CDLL(None)
        # struct timex is at most 208 bytes on Linux; modes = 0 only asks.
        self._timex = ctypes.create_string_buffer(256)

    def wall_ms(self) -> int:
        """Milliseconds since 1970."""
        return time.time_ns() // 1_000_000

    def mono_ms(self) -> int:
        """Milliseconds since the kernel started, sleep included."""
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000

    def disciplined(self) -> bool:
        """As the kernel says; a kernel that cannot be asked counts as undisciplined."""
        if self._libc is None:
            return True
        return 0 <= self._libc.adjtimex(self._timex) != TIME_ERROR


class SimulatedTime:
    """Time that runs `rate` times as fast: `epoch_ms` was at `started_ms` of the real wall clock. For simulated plants."""

    def __init__(self, epoch_ms: int, started_ms: int, rate: float):
        self._epoch_ms, self._started_ms, self._rate = epoch_ms, started_ms, rate
        self._mono_from = time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000
        self._wall_from = time.time_ns() // 1_000_000

    def wall_ms(self) -> int:
        """Simulated milliseconds since 1970."""
        real = self._wall_from + time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000 - self._mono_from
        return self._epoch_ms + round((real - self._started_ms) * self._rate)

    def mono_ms(self) -> int:
        """Runs with `wall_ms`, so that the offset between the two stands still."""
        return self.wall_ms() - self._epoch_ms

    def disciplined(self) -> bool:
        """Nothing is surer than an invented time."""
        return True


@dataclass(frozen=True)
class Stamp:
    """One instant."""

    time_ms: int
    mono_ms: int
    quality: Quality


class BoardClock:
    """Stamps rows. `learnt` is the offset that the spool should remember, once known; None before.

    `latest_ms`: it cannot be earlier than that. `offset_ms`: already learnt under this start of the kernel.
    """

    def __init__(self, machine: MachineTime, latest_ms: int = 0, offset_ms: int | None = None):
        self._machine = machine
        self._latest_ms = latest_ms
        self.learnt = offset_ms
        self._quality: Quality = "repaired"
        self._guess: int | None = None
        self.steps = 0

    def stamp(self) -> Stamp:
        """Now."""
        wall_ms, mono_ms = self._machine.wall_ms(), self._machine.mono_ms()
        if self._machine.disciplined():
            if self.learnt is not None and abs(wall_ms - mono_ms - self.learnt) > STEP_MS:
                self.steps += 1
            self.learnt, self._quality = wall_ms - mono_ms, "good"
        if self.learnt is not None:
            return Stamp(mono_ms + self.learnt, mono_ms, self._quality)
        if self._guess is None:
            self._guess = max(wall_ms, self._latest_ms) - mono_ms
        return Stamp(mono_ms + self._guess, mono_ms, "unsure")

    def heard(self, server_ms: int) -> None:
        """The server's time, just now; used only where nothing better is known."""
        if self.learnt is None and server_ms > self._latest_ms:
            self.learnt, self._quality = server_ms - self._machine.mono_ms(), "repaired"


def time_of(row: Row, boot: Boot, kernel: str) -> tuple[int, Quality] | None:
    """A row's time and what it is worth; None: may still be repaired, so it waits."""
    if row.clock != "unsure" or not row.values:
        return row.time_ms, row.clock
    if boot.offset_ms is not None:
        return row.mono_ms + boot.offset_ms, "repaired"
    if boot.kernel == kernel and row.seq > boot.unsure_upto:
        return None
    return row.time_ms, "unsure"


def kernel_id() -> str:
    """Names this start of the kernel. OSError: no such file (not Linux)."""
    return KERNEL_ID.read_text().strip()
