"""Which registers move with what a technician reads off a meter: every way to decode them is tried against the values typed.

A candidate fits when it agrees with every value typed, within TOLERANCE. One value fits many registers by chance; values
that differ well from each other leave few.
Flow: `wellhand registers` -> HERE -> register_map.py.
Never: I/O; a choice where several fit equally (they are all named).
"""

from collections.abc import Iterator
from dataclasses import dataclass

from logger.modbus.decode import number_of
from logger.modbus.register_map import BIT_TABLES, REGISTERS_OF, Bit, Register, Type, WordOrder
from logger.modbus.survey import Address, Snapshot
from logger.record.channels import CHANNELS

TOLERANCE = 0.02
"""Share by which a hand-held meter, and the moment between reading and typing, may differ."""
SCALES = (1.0, 0.1, 0.01, 10.0, 0.001, 100.0)
TYPES: tuple[tuple[Type, WordOrder | None], ...] = (
    ("u16", None),
    ("i16", None),
    ("u32", "high-first"),
    ("u32", "low-first"),
    ("i32", "high-first"),
    ("i32", "low-first"),
    ("f32", "high-first"),
    ("f32", "low-first"),
)
SPREAD_MIN = 0.1
"""Values typed should differ by at least this share before a fit means much."""


@dataclass(frozen=True)
class Sample:
    """A value as typed, and every register at that moment."""

    value: float
    seen: Snapshot


@dataclass(frozen=True)
class Candidate:
    """One way to read a channel that fits every sample. `error`: the largest, as a share of the value."""

    register: Register
    error: float

    def worded(self) -> str:
        """`input 288, u16, x 0.1 (largest error 0.4 %)`."""
        one = self.register
        order = f" {one.word_order}" if one.word_order else ""
        bit = f", bit {one.bits[0].bit}{' inverted' if one.bits[0].inverted else ''}" if one.bits else ""
        scale = "" if one.bits or one.kind() == "bit" else f", x {one.scale:g}"
        return f"{one.table} {one.address}, {one.kind()}{order}{bit}{scale} (largest error {self.error:.1%})"


def candidates(channel: str, samples: list[Sample]) -> list[Candidate]:
    """Every fit for `channel`, the likeliest first: small error, then the plainer type and scale."""
    if not samples:
        return []
    if CHANNELS[channel].kind == "flag":
        return _flags(channel, samples)
    found = [one for address in sorted(_common(samples)) for one in _numbers(channel, address, samples)]
    return sorted(found, key=_rank)


def tells_apart(samples: list[Sample]) -> bool:
    """Do the values typed differ enough for a fit to mean something?"""
    values = [sample.value for sample in samples]
    if len(values) < 2:
        return False
    return max(values) - min(values) >= SPREAD_MIN * max(map(abs, values))


def moving(samples: list[Snapshot]) -> dict[Address, tuple[int, int]]:
    """Addresses that changed between snapshots, with their lowest and highest raw value."""
    moved = {}
    for address in set.intersection(*(set(seen) for seen in samples)) if samples else ():
        values = [seen[address] for seen in samples]
        if min(values) != max(values):
            moved[address] = (min(values), max(values))
    return moved


def _common(samples: list[Sample]) -> set[Address]:
    return set.intersection(*(set(sample.seen) for sample in samples))


def _numbers(channel: str, address: Address, samples: list[Sample]) -> Iterator[Candidate]:
    table, place = address
    if table in BIT_TABLES:
        return
    for kind, order in TYPES:
        spots = [(table, place + step) for step in range(REGISTERS_OF[kind])]
        if not all(spot in sample.seen for sample in samples for spot in spots):
            continue
        numbers = [number_of([one.seen[spot] for spot in spots], kind, order == "low-first") for one in samples]
        if _is_another_types(kind, numbers):
            continue
        for scale in SCALES if kind[0] != "f" else (1.0,):
            digit = scale if kind[0] != "f" else 0.0
            error = max(_error(number * scale, one.value, digit) for number, one in zip(numbers, samples, strict=True))
            if error <= TOLERANCE:
                unit = CHANNELS[channel].unit if CHANNELS[channel].kind in ("measure", "counter") else None
                yield Candidate(Register(table, place, kind, channel, unit, scale, word_order=order), error)  # type: ignore[arg-type]


def _is_another_types(kind: str, numbers: list[float | int]) -> bool:
    """A signed type without a negative number is read as the unsigned one; a 32-bit one that fits in 16 as that."""
    if kind == "i16" or kind == "i32":
        return min(numbers) >= 0
    return kind == "f32" and not all(number == 0 or 1e-6 < abs(number) < 1e9 for number in numbers)


def _error(number: float, value: float, digit: float) -> float:
    """How far off, as a share of the value; the register's last digit may be rounded."""
    off = max(0.0, abs(number - value) - 0.6 * digit)
    return off / max(abs(value), digit, 1e-6)


def _rank(one: Candidate) -> tuple[float, int, int, str, int]:
    register = one.register
    types = [kind for kind, _ in TYPES]
    rough = round(one.error / (TOLERANCE / 4))
    return rough, SCALES.index(register.scale), types.index(register.kind()), register.table, register.address  # type: ignore[arg-type]


def _flags(channel: str, samples: list[Sample]) -> list[Candidate]:
    """Bits that were as typed every time, those of the calmest words first: a measured value's bits fit by chance.

    Needs the flag seen both ways, or every idle bit would fit.
    """
    wanted = [bool(sample.value) for sample in samples]
    if len(set(wanted)) < 2:
        return []
    found: list[tuple[int, Candidate]] = []
    for table, place in sorted(_common(samples)):
        words = [sample.seen[table, place] for sample in samples]
        restless = sum(len({word >> bit & 1 for word in words}) - 1 for bit in range(16))
        for bit in range(1 if table in BIT_TABLES else 16):
            seen = [bool(word >> bit & 1) for word in words]
            if seen == wanted or (seen == [not one for one in wanted] and table not in BIT_TABLES):
                rank = 2 * restless + (seen != wanted)
                found.append((rank, Candidate(_flag_register(channel, table, place, bit, seen != wanted), 0.0)))
    return [one for _, one in sorted(found, key=lambda pair: pair[0])]


def _flag_register(channel: str, table: str, place: int, bit: int, is_inverted: bool) -> Register:
    if table in BIT_TABLES:
        return Register(table, place, None, channel)  # type: ignore[arg-type]
    return Register(table, place, "u16", bits=(Bit(bit, channel, is_inverted),))  # type: ignore[arg-type]
