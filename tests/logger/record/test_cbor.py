"""Our part of CBOR against cbor2, which we did not write."""

import contextlib

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.record.cbor import CborError, dumps, loads

SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(2**64), 2**64 - 1),
    st.floats(allow_nan=False),
    st.text(max_size=30),
    st.binary(max_size=30),
)
PACKS = st.lists(
    st.dictionaries(st.one_of(st.integers(-10, 300), st.text(max_size=8)), SCALARS, max_size=6), max_size=30
)


@given(PACKS)
def test_what_we_write_a_peer_reads(value):
    assert cbor2.loads(dumps(value)) == value


@given(PACKS, st.booleans())
def test_what_a_peer_writes_we_read(value, canonical):
    assert loads(cbor2.dumps(value, canonical=canonical)) == value


@given(PACKS)
def test_our_own_comes_back(value):
    assert loads(dumps(value)) == value


@pytest.mark.parametrize(
    ("hexed", "value"),
    [  # RFC 8949, appendix A
        ("f93c00", 1.0),
        ("f97bff", 65504.0),
        ("f90001", 5.960464477539063e-08),
        ("f9c400", -4.0),
        ("fa47c35000", 100000.0),
        ("fb3ff199999999999a", 1.1),
        ("1bffffffffffffffff", 18446744073709551615),
        ("3bffffffffffffffff", -18446744073709551616),
        ("5f42010243030405ff", b"\x01\x02\x03\x04\x05"),
        ("7f657374726561646d696e67ff", "streaming"),
        ("9fff", []),
        ("9f018202039f0405ffff", [1, [2, 3], [4, 5]]),
        ("bf61610161629f0203ffff", {"a": 1, "b": [2, 3]}),
        ("a201020304", {1: 2, 3: 4}),
    ],
)
def test_examples_of_the_standard(hexed, value):
    assert loads(bytes.fromhex(hexed)) == value


def test_decimal_fractions_are_read():
    assert loads(bytes.fromhex("c48221196ab3")) == 273.15  # RFC 8949, section 3.4.4: 27315 * 10**-2


@pytest.mark.parametrize(
    ("hexed", "said"),
    [
        ("", "cut short"),
        ("18", "cut short"),
        ("0101", "1 bytes left over"),
        ("ff", "a break where a value should stand"),
        ("82ff", "cut short: 2 items announced"),
        ("8201ff", "a break where a value should stand"),
        ("9bffffffffffffffff", "items announced"),
        ("5bffffffffffffffff", "cut short"),
        ("1c", "a length of an unknown form"),
        ("1f", "an open end where none can be"),
        ("8181818181810" + "1", "nested deeper than 4"),
        ("9f" * 100_000, "nested deeper than 4"),
        ("61ff", "text that is not UTF-8"),
        ("a2010101" + "02", "the same key twice"),
        ("a1f501", "neither a whole number nor text"),
        ("bf01ff", "a key that has no value"),
        ("7f4101ff", "a string in pieces of another kind"),
        ("c000", "tag 0, which is not read here"),
        ("c4821a7fffffff01", "exponent 2147483647"),
        ("c401", "not two whole numbers"),
        ("f8ff", "a simple value of an unknown kind"),
    ],
)
def test_the_rest_is_refused(hexed, said):
    with pytest.raises(CborError, match=said):
        loads(bytes.fromhex(hexed))


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(data):
    with contextlib.suppress(CborError):
        loads(data)


def test_the_shortest_exact_float_is_written():
    assert len(dumps(0.5)) == 3
    assert len(dumps(2.0**-30)) == 5
    assert len(dumps(0.1)) == 9
    assert dumps(3.0) == dumps(3)
    with pytest.raises(TypeError, match="no CBOR for object"):
        dumps(object())
