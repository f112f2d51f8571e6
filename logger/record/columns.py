"""One column of a pack: whole numbers with holes <-> bytes, by the shortest of a few codings.

A column is a header byte; where it has holes, their runs; then the numbers left.
Header: bits 0-1 what a number is told apart from (0 nothing, 1 the one before, 2 the line through the two before,
3 the same row of another column), bits 2-3 how the differences are written (0 all zero, 1 varints, 2 Rice),
bit 4 holes follow. Other bits are 0.

Flow: pack.py -> HERE -> bits.py.
Never: units, channels, times.
"""

from collections.abc import Sequence
from itertools import accumulate, groupby
from operator import add

from logger.record.bits import (
    RICE_BITS_MAX,
    Cursor,
    PackError,
    rice,
    rice_cost_bits,
    unrice,
    unzigzag,
    varint,
    zigzag,
)

ABSENT, NULL, PRESENT = 0, 1, 2
UNITS_MAX = 2**53
"""Numbers lie within +-2**53: beyond, a float does not hold each whole number."""

PLAIN, DELTA, LINE, BESIDE = range(4)
ZEROS, VARINTS, RICE = range(3)
_HOLES = 0x10
_COLUMN_BYTES_MAX = 1 << 20

Cell = tuple[int, int]
"""(ABSENT, NULL or PRESENT, number); the number is 0 unless PRESENT."""


def column(cells: Sequence[Cell], beside: Sequence[int] | None = None, small: bool = True) -> bytes:
    """The column's bytes. `beside`: a number a row that this column is likely near to. `small`: Rice codes allowed."""
    numbers = [number for state, number in cells if state == PRESENT]
    near = None if beside is None else [beside[row] for row, (state, _) in enumerate(cells) if state == PRESENT]
    kinds = [PLAIN, DELTA, LINE] + ([] if near is None else [BESIDE])
    coded = min((_differences(kind, numbers, near, small) for kind in kinds), key=lambda one: len(one[1]))
    header, body = coded
    holes = b""
    if len(numbers) < len(cells):
        runs = [(state, sum(1 for _ in run)) for state, run in groupby(state for state, _ in cells)]
        holes = varint(len(runs)) + b"".join(varint(3 * (length - 1) + state) for state, length in runs)
        header |= _HOLES
    return bytes([header]) + holes + body


def _differences(kind: int, numbers: list[int], near: list[int] | None, small: bool) -> tuple[int, bytes]:
    """(header, bytes) of one way to tell the numbers apart."""
    first = {DELTA: 1, LINE: 2}.get(kind, 0)
    head = b"".join(varint(zigzag(number)) for number in numbers[:first])
    codes = [
        zigzag(number - guess) for number, guess in zip(numbers[first:], _guesses(kind, numbers, near), strict=True)
    ]
    if not any(codes):
        return kind | ZEROS << 2, head
    plain = b"".join(map(varint, codes))
    if not small:
        return kind | VARINTS << 2, head + plain
    low_bits = min(range(RICE_BITS_MAX + 1), key=lambda bits: rice_cost_bits(codes, bits))
    packed = rice(codes, low_bits)
    packed = bytes([low_bits]) + varint(len(packed)) + packed
    if len(packed) < len(plain):
        return kind | RICE << 2, head + packed
    return kind | VARINTS << 2, head + plain


def _guesses(kind: int, numbers: list[int], near: list[int] | None) -> list[int]:
    if kind == DELTA:
        return numbers[:-1]
    if kind == LINE:
        return [2 * last - before for before, last in zip(numbers, numbers[1:-1], strict=False)]
    return [0] * len(numbers) if near is None or kind == PLAIN else near


def uncolumn(cursor: Cursor, rows: int, beside: Sequence[int] | None = None) -> list[Cell]:
    """The next column of `rows` cells. PackError: it is not one."""
    header = cursor.byte()
    kind, coding = header & 3, header >> 2 & 3
    if header & 0xE0 or coding > RICE:
        raise PackError(f"a column of an unknown kind: 0x{header:02x}")
    if kind == BESIDE and beside is None:
        raise PackError("a column beside one that is not there")
    if not header & _HOLES:
        return [(PRESENT, number) for number in _numbers(cursor, kind, coding, rows, list(beside or ()))]
    states = _states(cursor, rows)
    near = [] if beside is None else [beside[row] for row, state in enumerate(states) if state == PRESENT]
    numbers = iter(_numbers(cursor, kind, coding, states.count(PRESENT), near))
    return [(state, next(numbers) if state == PRESENT else 0) for state in states]


def _states(cursor: Cursor, rows: int) -> list[int]:
    states: list[int] = []
    for _ in range(cursor.varint(rows)):
        length, state = divmod(cursor.varint(3 * rows), 3)
        states.extend([state] * (length + 1))
        if len(states) > rows:
            raise PackError("more cells than rows")
    if len(states) != rows:
        raise PackError("fewer cells than rows")
    return states


def _numbers(cursor: Cursor, kind: int, coding: int, count: int, near: list[int]) -> list[int]:
    first = min({DELTA: 1, LINE: 2}.get(kind, 0), count)
    numbers = [unzigzag(cursor.varint()) for _ in range(first)]
    left = count - first
    if coding == ZEROS:
        codes = [0] * left
    elif coding == VARINTS:
        codes = cursor.varints(left)
    else:
        low_bits = cursor.byte()
        if low_bits > RICE_BITS_MAX:
            raise PackError(f"a Rice code with {low_bits} low bits; at most {RICE_BITS_MAX}")
        codes = unrice(cursor.take(cursor.varint(_COLUMN_BYTES_MAX)), left, low_bits)
    if codes:
        steps = [code >> 1 ^ -(code & 1) for code in codes]  # unzigzag
        if kind == DELTA:
            numbers = list(accumulate(steps, initial=numbers[0]))
        elif kind == LINE:
            rises = accumulate(steps, initial=numbers[1] - numbers[0])
            numbers = list(accumulate(rises, initial=numbers[0]))
        else:
            numbers = list(map(add, near, steps)) if kind == BESIDE else steps
    if numbers and max(max(numbers), -min(numbers)) > UNITS_MAX:
        raise PackError(f"a number beyond +-{UNITS_MAX}")
    return numbers
