"""Whole numbers as bytes and back, at the edges where a code changes its form."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.record.bits import (
    ESCAPE_BITS,
    UNARY_MAX,
    Cursor,
    PackError,
    rice,
    rice_cost_bits,
    unrice,
    unzigzag,
    varint,
    zigzag,
)
from logger.record.columns import PRESENT, UNITS_MAX, column, uncolumn

CODES = st.lists(st.integers(0, 2**64 - 1) | st.integers(0, 300), max_size=40)


@given(CODES, st.integers(0, 40))
def test_rice_codes_come_back_and_cost_what_was_said(codes, low_bits):
    data = rice(codes, low_bits)
    assert unrice(data, len(codes), low_bits) == codes
    assert len(data) == (rice_cost_bits(codes, low_bits) + 7) // 8


@pytest.mark.parametrize("quotient", [UNARY_MAX - 1, UNARY_MAX, UNARY_MAX + 1])
def test_rice_codes_at_the_edge_of_the_escape(quotient):
    for low_bits in (0, 3):
        codes = [quotient << low_bits, (quotient << low_bits) + (1 << low_bits) - 1, 0]
        assert unrice(rice(codes, low_bits), 3, low_bits) == codes
    assert rice_cost_bits([UNARY_MAX], 0) == UNARY_MAX + ESCAPE_BITS


def test_rice_codes_end_where_the_column_ends():
    data = rice([5, 6], 2)
    with pytest.raises(PackError, match="bytes left over"):
        unrice(data + b"\xff", 2, 2)
    with pytest.raises(PackError, match="bits end early"):
        unrice(data, 9, 2)
    with pytest.raises(PackError, match="bits end early"):
        unrice(b"\xff\xff\xff\xff", 1, 2)


@pytest.mark.parametrize(("number", "code"), [(0, 0), (-1, 1), (1, 2), (-2, 3), (2, 4), (2**53, 2**54)])
def test_zigzag_keeps_small_numbers_small(number, code):
    assert zigzag(number) == code
    assert unzigzag(code) == number


@given(st.integers(0, 2**64 - 1))
def test_varints_come_back(number):
    cursor = Cursor(varint(number))
    assert cursor.varint() == number
    assert cursor.left() == 0


def test_numbers_beyond_what_a_float_holds_are_refused():
    edge = column([(PRESENT, UNITS_MAX), (PRESENT, -UNITS_MAX)])
    assert uncolumn(Cursor(edge), 2) == [(PRESENT, UNITS_MAX), (PRESENT, -UNITS_MAX)]
    for cells in ([UNITS_MAX + 1], [0, UNITS_MAX + 1], [UNITS_MAX, UNITS_MAX - 1, UNITS_MAX + 1]):
        with pytest.raises(PackError, match="a number beyond"):
            uncolumn(Cursor(column([(PRESENT, number) for number in cells])), len(cells))


@given(st.lists(st.integers(0, 2**64 - 1), max_size=20), st.binary(max_size=3))
def test_many_varints_are_read_as_each_by_itself(numbers, rest):
    data = b"".join(map(varint, numbers)) + rest
    at_once, one_by_one = Cursor(data), Cursor(data)
    assert at_once.varints(len(numbers)) == [one_by_one.varint() for _ in numbers] == numbers
    assert at_once.left() == one_by_one.left() == len(rest)


@pytest.mark.parametrize("data", [b"", b"\x05", b"\x05\x80", b"\x80" * 12, b"\x05" + b"\xff" * 9 + b"\x7f"])
def test_many_varints_that_are_not_there_are_refused(data):
    with pytest.raises(PackError):
        Cursor(data).varints(2)
