"""Finding out, by reading only, what answers on a line and which registers it has. Polite: small blocks, pauses, a limit on time-outs.

Flow: `wellhand registers` -> HERE -> links.py.
Never: a write; a guess about meaning (resemblance.py).
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from logger.modbus.frames import COUNT_MAX, FUNCTION_OF, Request, bits_of, registers_of
from logger.modbus.links import Link, LinkError, Refused

BLOCK = 16
SILENT_MAX = 8
"""Time-outs in a row after which a range is left alone: the device may be at its limit."""

Address = tuple[str, int]
"""(table, address)."""
Snapshot = dict[Address, int]


def ignored(kind: str) -> None:
    """A survey expects strays and does not count them."""


@dataclass
class Survey:
    """One unit on one line. `timeout_s`: its time to answer; `pause_s`: what it is left alone between questions."""

    link: Link
    unit: int
    timeout_s: float
    pause_s: float
    sleep: Callable[[float], None]
    questions: int = field(default=0)

    def ask(self, table: str, address: int, count: int) -> list[int] | None:
        """Registers or bits; None: silence. Refused: the device answered that it has none. OSError: the port is away."""
        request = Request(self.unit, FUNCTION_OF[table], address, count)
        self.questions += 1
        self.sleep(self.pause_s)
        try:
            data = self.link.ask(request, self.timeout_s, ignored)
        except Refused:
            raise
        except LinkError:
            return None
        return bits_of(data, count) if request.is_bits() else registers_of(data)

    def answers(self) -> bool:
        """Does the unit say anything at all? A refusal is an answer."""
        for table in ("holding", "input"):
            try:
                if self.ask(table, 0, 1) is not None:
                    return True
            except Refused:
                return True
        return False

    def holding(self, address: int, count: int) -> list[int] | None:
        """For sunspec.discover."""
        try:
            return self.ask("holding", address, count)
        except Refused:
            return None

    def scan(
        self, table: str, first: int, last: int, progress: Callable[[int], None] = lambda _: None
    ) -> list[Address]:
        """Addresses from `first` to `last` that can be read."""
        found: list[Address] = []
        silent = 0
        for start in range(first, last + 1, BLOCK):
            progress(start)
            block = self._readable(table, start, min(BLOCK, last + 1 - start))
            if block is None:
                silent += 1
                if silent >= SILENT_MAX:
                    break
                continue
            silent = 0
            found += [(table, address) for address in block]
        return found

    def _readable(self, table: str, start: int, count: int) -> list[int] | None:
        """Addresses of a block that answer; None: silence. A refused block is halved until single addresses are left."""
        try:
            words = self.ask(table, start, count)
        except Refused:
            if count == 1:
                return []
            half = count // 2
            parts = [self._readable(table, start, half), self._readable(table, start + half, count - half)]
            return [address for part in parts if part is not None for address in part]
        return None if words is None else list(range(start, start + count))

    def snapshot(self, addresses: Iterable[Address]) -> Snapshot:
        """What the addresses hold now; those that do not answer are left out."""
        seen: Snapshot = {}
        for table, start, count in runs(addresses):
            try:
                words = self.ask(table, start, count)
            except Refused:
                words = None
            seen.update({(table, start + place): word for place, word in enumerate(words or [])})
        return seen


def runs(addresses: Iterable[Address], longest: int = 60) -> Iterator[tuple[str, int, int]]:
    """(table, first, count) of neighbouring addresses."""
    held: list[Address] = []
    for table, address in sorted(addresses):
        limit = min(longest, COUNT_MAX[FUNCTION_OF[table]])
        if held and (held[-1] != (table, address - 1) or len(held) == limit):
            yield held[0][0], held[0][1], len(held)
            held = []
        held.append((table, address))
    if held:
        yield held[0][0], held[0][1], len(held)
