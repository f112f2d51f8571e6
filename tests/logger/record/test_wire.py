"""Whatever the broker brings is readings or one WireError with a reason to count by."""

import tracemalloc
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.record import senml
from logger.record.pack import BODY_BYTES_MAX, pack
from logger.record.reading import Reading
from logger.record.wire import PAYLOAD_BYTES_MAX, WireError, decode

READINGS = [
    Reading("north-kraal", 1_700_000_000_000 + 60_000 * row, {"pv_voltage_v": 200.5 + row, "flow_m3_h": None}, "000001-0123abcd", row + 1)
    for row in range(5)
]  # fmt: skip
FORMS = {"pack": pack(READINGS), "json": senml.to_json(READINGS), "cbor": senml.to_cbor(READINGS)}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_gives_the_same_readings(form):
    assert decode(FORMS[form]) == READINGS


def test_json_may_begin_with_blanks_and_cbor_with_an_open_array():
    assert decode(b"\n " + FORMS["json"]) == READINGS
    assert decode(b"\x9f" + FORMS["cbor"][2:] + b"\xff") == READINGS


def test_a_value_that_its_channel_cannot_honestly_have_is_null():
    said = pack([Reading("a", 1, {"module_temp_c": 900.0, "ambient_temp_c": 20.0})])
    assert decode(said)[0].values == {"module_temp_c": None, "ambient_temp_c": 20.0}


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "empty"),
        (b"x" * (PAYLOAD_BYTES_MAX + 1), "too-long"),
        (b"hello", "unknown-form"),
        (b"\x00", "unknown-form"),
        (b"WHP\x09", "bad-pack"),
        (FORMS["pack"][:-3], "bad-pack"),
        (b"[", "bad-senml"),
        (b"[" * 100_000, "bad-senml"),
        (b'[{"n":"urn:x","v":1}]', "bad-senml"),
        (b"\xff\xfe[", "unknown-form"),
        (b"[\xff]", "bad-senml"),
        (b"\x80", "bad-senml"),
        (b"\x81\xa1\x00", "bad-senml"),
        (b"[1" + b"0" * 5000 + b"]", "bad-senml"),
        (pack([Reading("North", 1)]), "bad-site"),
        (pack([Reading("a", 1, {}, "boot", 1)]), "bad-boot"),
        (pack([Reading("a", 1, {}, "000001-0123abcd")]), "bad-sequence"),
        (pack([Reading("a", 1, {}, None, 4)]), "bad-sequence"),
        (pack([Reading("a", 1, {}, "000001-0123abcd", 0)]), "bad-sequence"),
    ],
)
def test_what_is_malformed_is_refused_with_its_reason(payload, reason):
    with pytest.raises(WireError) as caught:
        decode(payload)
    assert caught.value.reason == reason
    assert str(caught.value).startswith(f"{reason}: ")
    assert len(str(caught.value)) < 400, "a payload is never printed whole"


def read_or_refused(payload: bytes) -> None:
    try:
        readings = decode(payload)
    except WireError as error:
        assert error.reason  # noqa: PT017 - either outcome is right, another exception is not
    else:
        assert all(isinstance(reading, Reading) for reading in readings)


@settings(max_examples=400)
@given(st.binary(max_size=300), st.sampled_from([b"", b"WHP\x01\x00", b"[", b"[{", b"\x81", b"\x9f", b"\x81\xa3"]))
def test_any_bytes(tail, head):
    read_or_refused(head + tail)


@settings(max_examples=400)
@given(st.data())
def test_any_change_to_a_good_payload(data):
    payload = bytearray(FORMS[data.draw(st.sampled_from(sorted(FORMS)))])
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, len(payload) - 1))
        kind = data.draw(st.sampled_from(["change", "drop", "insert"]))
        if kind == "change":
            payload[place] = data.draw(st.integers(0, 255))
        elif kind == "drop" and len(payload) > 1:
            del payload[place]
        else:
            payload.insert(place, data.draw(st.integers(0, 255)))
    read_or_refused(bytes(payload))


JSON_VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8)),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.sampled_from(["n", "v", "bn", "bt", "t", "vs", "u", "s"]), inner)),
    max_leaves=12,
)  # fmt: skip


@given(st.lists(JSON_VALUES, max_size=4))
def test_any_json_of_roughly_the_right_shape(records):
    import json  # noqa: PLC0415

    read_or_refused(json.dumps(records).encode())


def test_the_worst_payloads_take_bounded_memory():
    """Lists of nothing, and a bomb: a fixed multiple of the bytes given, and of the pack's own limit."""
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = squeeze.compress(b"\0" * 100_000_000) + squeeze.flush()
    bomb = b"WHP\x01\x01" + zlib.crc32(b"\x01\x01" + body).to_bytes(4, "big") + body
    lists = [b"\x9a\x00\x00\xc0\x00" + b"\xa0" * 0xC000, b"[" + b"{}," * 16_000 + b"{}]", b"\x9f" + b"\x80" * 50_000]
    for payload in (bomb, *lists):
        tracemalloc.start()
        read_or_refused(payload)
        _, peak_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert peak_bytes < BODY_BYTES_MAX * 3 + 200 * len(payload)
