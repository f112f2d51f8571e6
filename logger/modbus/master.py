"""Reads a device's registers: blocks, retries, refusals. One register that cannot be read never hides the others.

Flow: sources/modbus.py -> HERE -> links.py.
Never: what a register means (decode.py); a wait beyond the deadline given.
"""

import time
from collections.abc import Callable

from logger.modbus.frames import ACKNOWLEDGE, BUSY, EXCEPTIONS, ILLEGAL_ADDRESS, ILLEGAL_VALUE, bits_of, registers_of
from logger.modbus.links import Link, Refused, TimedOut
from logger.modbus.plan import Block, Spot, blocks

Raw = dict[Spot, list[int] | None]
"""By spot: its bits or registers; None where it could not be read."""

BUSY_PAUSE_S = 0.2
SILENT_BLOCKS_MAX = 2
"""After this many blocks in a row without any answer the device is taken as silent for this turn."""


class DeviceSilent(Exception):
    """Nothing at all could be read; the text says why."""


class Master:
    """Reads one unit's spots over a link. `counts` rises by kind: timeout, crc, refused, busy, unread ..."""

    def __init__(
        self,
        link: Link,
        unit: int,
        spots: list[Spot],
        registers_per_read: int = 60,
        gap_max: int = 8,
        timeout_s: float = 1.0,
        retries: int = 1,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ):
        self._link, self._unit = link, unit
        self._timeout_s, self._retries = timeout_s, retries
        self._now, self._sleep = now, sleep
        self._blocks = blocks(spots, registers_per_read, gap_max)
        self.counts: dict[str, int] = {}

    def read(self, read_by_s: float) -> Raw:
        """Every spot's registers or bits, until the clock says `read_by_s`. DeviceSilent: none; OSError: the port is away."""
        raw: Raw = {}
        silent, reason = 0, "out of time"
        waiting, kept = list(self._blocks), []
        while waiting:
            block = waiting.pop(0)
            if silent >= SILENT_BLOCKS_MAX or self._now() >= read_by_s:
                kept.append(block)
                self._unread(raw, block)
                continue
            try:
                words = self._ask(block, read_by_s)
            except Refused as error:
                silent, reason = 0, EXCEPTIONS.get(error.code, f"code {error.code}")
                halves = block.halves() if error.code in (ILLEGAL_ADDRESS, ILLEGAL_VALUE) else None
                if halves:
                    waiting[:0] = halves  # and for good: the next turn starts with the halves
                    continue
                self._count("refused")
            except TimedOut as error:
                silent, reason = silent + 1, str(error)
            else:
                silent = 0
                raw.update({spot: words[spot[1] - block.address :][: spot[2]] for spot in block.spots})
            kept.append(block)
            self._unread(raw, block)
        self._blocks = kept
        if all(found is None for found in raw.values()):
            raise DeviceSilent(f"unit {self._unit}: {reason}")
        return raw

    def _ask(self, block: Block, read_by_s: float) -> list[int]:
        """A block's bits or registers, asked again `retries` times."""
        request = block.request(self._unit)
        for attempt in range(self._retries + 1):
            is_last = attempt == self._retries
            try:
                left_s = read_by_s - self._now()
                data = self._link.ask(request, max(0.0, min(self._timeout_s, left_s)), self._count)
            except TimedOut:
                if is_last or self._now() >= read_by_s:
                    raise
            except Refused as error:
                if error.code not in (ACKNOWLEDGE, BUSY) or is_last:
                    raise
                self._count("busy")
                self._sleep(max(0.0, min(BUSY_PAUSE_S, read_by_s - self._now())))
            else:
                return bits_of(data, block.count) if request.is_bits() else registers_of(data)
        raise AssertionError("the last attempt returns or raises")

    def _unread(self, raw: Raw, block: Block) -> None:
        for spot in block.spots:
            if spot not in raw:
                raw[spot] = None
                self._count("unread")

    def _count(self, kind: str) -> None:
        self.counts[kind] = self.counts.get(kind, 0) + 1
