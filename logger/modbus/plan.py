"""Which registers to ask for together.

Flow: register_map.py -> HERE -> master.py.
Never: asks; splits one value over two requests.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from logger.modbus.frames import COUNT_MAX, FUNCTION_OF, Request
from logger.modbus.register_map import Register

Spot = tuple[str, int, int]
"""(table, address, how many addresses): one value's place."""


@dataclass(frozen=True)
class Block:
    """Addresses that are asked for in one request, and the values in them."""

    table: str
    address: int
    count: int
    spots: tuple[Spot, ...]

    def request(self, unit: int) -> Request:
        """The request for it."""
        return Request(unit, FUNCTION_OF[self.table], self.address, self.count)

    def halves(self) -> "tuple[Block, Block] | None":
        """Two smaller blocks, cut where the unused gap is widest (else in the middle); None: it is one value."""
        if len(self.spots) < 2:
            return None
        middle = len(self.spots) / 2

        def gap(cut: int) -> tuple[int, float]:
            _, address, width = self.spots[cut - 1]
            return self.spots[cut][1] - address - width, -abs(cut - middle)

        cut = max(range(1, len(self.spots)), key=gap)
        return _block(self.spots[:cut]), _block(self.spots[cut:])


def _block(spots: tuple[Spot, ...]) -> Block:
    table, address, _ = spots[0]
    end = max(start + width for _, start, width in spots)
    return Block(table, address, end - address, spots)


def spots_of(registers: Iterable[Register]) -> list[Spot]:
    """Each value's place, once, in the order of the wire."""
    return sorted({(register.table, register.address, register.width()) for register in registers})


def blocks(spots: list[Spot], registers_per_read: int, gap_max: int) -> list[Block]:
    """Sorted spots put together: at most `registers_per_read` addresses (bits: 16 times that), gaps up to `gap_max`."""
    made: list[Block] = []
    held: list[Spot] = []
    for spot in spots:
        if held and not _fits(held, spot, registers_per_read, gap_max):
            made.append(_block(tuple(held)))
            held = []
        held.append(spot)
    if held:
        made.append(_block(tuple(held)))
    return made


def _fits(held: list[Spot], spot: Spot, registers_per_read: int, gap_max: int) -> bool:
    table, address, width = spot
    if table != held[0][0]:
        return False
    limit = registers_per_read * (16 if table in ("coil", "discrete") else 1)
    end = max(start + one for _, start, one in held)
    longest = min(limit, COUNT_MAX[FUNCTION_OF[table]])
    return address - end <= gap_max and max(end, address + width) - held[0][1] <= longest
