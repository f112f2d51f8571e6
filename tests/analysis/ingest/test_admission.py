"""What is taken, what is refused, and why: no bytes whatever get further than a counted reason."""

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.ingest.admission import AHEAD_MS_MAX, NESTING_MAX, WORD_BYTES_MAX, Refused, admit
from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.senml import to_json
from logger.record.topics import KINDS, topic_of

NOW_MS = 1_762_000_000_000
BOOT = "000001-aaaaaaaa"
SITES = {"north", "south"}
TOPIC = topic_of("north", "readings")


def a_reading(seq=1, site="north", time_ms=NOW_MS, clock="good", **values) -> Reading:
    """A reading of a board."""
    return Reading(site, time_ms, values or {"flow_m3_h": 2.5}, BOOT, seq, clock)


def reason_of(topic: str, payload: bytes) -> str:
    """Why it is refused."""
    with pytest.raises(Refused) as caught:
        admit(topic, payload, SITES, NOW_MS)
    return caught.value.reason


@pytest.mark.parametrize("written", [pack, to_json])
def test_readings_are_taken_in_every_form(written):
    given_readings = [a_reading(1), a_reading(2, time_ms=NOW_MS + 1000, flow_m3_h=None)]
    taken = admit(TOPIC, written(given_readings), SITES, NOW_MS)
    assert list(taken.readings) == given_readings
    assert taken.mended == {"unreadable flow_m3_h": 1}


@pytest.mark.parametrize(
    ("topic", "payload", "reason"),
    [
        ("wellhand/v1/north/stored", b"{}", "topic"),
        ("wellhand/v1/north/deep/readings", b"{}", "topic"),
        ("something/else", b"{}", "topic"),
        (topic_of("stranger", "readings"), pack([a_reading()]), "unknown-site"),
        (TOPIC, pack([a_reading(site="south")]), "another-site"),
        (TOPIC, b"", "empty"),
        (TOPIC, b"hello", "unknown-form"),
        (TOPIC, b"WHP\x09nonsense", "bad-pack"),
        (TOPIC, pack([a_reading()])[:-3], "bad-pack"),
        (TOPIC, b"[{]", "bad-senml"),
        (topic_of("north", "presence"), b"online", "bad-presence"),
        (topic_of("north", "presence"), b'{"online": 1}', "bad-presence"),
        (topic_of("north", "health"), b"[1, 2]", "bad-health"),
        (topic_of("north", "health"), b'{"cpu": NaN}', "bad-health"),
        (topic_of("north", "health"), b'{"cpu": 1e999}', "bad-health"),
        (topic_of("north", "health"), b'{"name": "\\u0000"}', "bad-health"),
        (topic_of("north", "health"), b'{"name": "\\ud800"}', "bad-health"),
        (topic_of("north", "health"), b"\xff\xfe\xfd", "bad-health"),
        (topic_of("north", "health"), b"[" * 100_00, "bad-health"),
        (topic_of("north", "health"), json.dumps({"x": "y" * WORD_BYTES_MAX}).encode(), "too-long"),
        (topic_of("north", "urgent"), b"[]", "bad-urgent"),
        (topic_of("north", "urgent"), b'[{"n": "cause", "vs": "gremlins"}]', "bad-urgent"),
    ],
)
def test_what_is_refused_says_why(topic, payload, reason):
    assert reason_of(topic, payload) == reason


def test_a_time_that_cannot_be_true_leaves_a_tombstone_and_the_others_stand():
    readings = [
        a_reading(1),
        a_reading(2, time_ms=NOW_MS + AHEAD_MS_MAX + 1),
        a_reading(3, time_ms=1000),
        a_reading(4, time_ms=1000, clock="unsure"),
        a_reading(5, time_ms=NOW_MS + AHEAD_MS_MAX),
    ]
    taken = admit(TOPIC, pack(readings), SITES, NOW_MS)
    assert [(one.seq, bool(one.values)) for one in taken.readings] == [
        (1, True), (2, False), (3, False), (4, True), (5, True),
    ]  # fmt: skip
    assert taken.mended == {"time in the future": 1, "time before 2000": 1}


def test_values_out_of_range_are_null_and_counted():
    records = [{"bn": "wellhand/north/", "bt": NOW_MS / 1000, "n": "pv_voltage_v", "u": "V", "v": 1e9}]
    taken = admit(TOPIC, json.dumps(records).encode(), SITES, NOW_MS)
    assert [one.values for one in taken.readings] == [{"pv_voltage_v": None}]
    assert taken.mended == {"unreadable pv_voltage_v": 1}


def test_words_are_taken_as_they_are():
    assert admit(topic_of("south", "presence"), b'{"online": true}', SITES, NOW_MS).word == {"online": True}
    assert admit(topic_of("south", "health"), b'{"spool": {"rows": 3}}', SITES, NOW_MS).word == {"spool": {"rows": 3}}
    deep = json.dumps({"a": [[]]}).encode().replace(b"[]", b"[" * NESTING_MAX + b"]" * NESTING_MAX)
    assert reason_of(topic_of("south", "health"), deep) == "bad-health"


def test_what_a_board_judged_is_taken_with_its_cause():
    records = [{"bn": "wellhand/north/", "bt": NOW_MS / 1000, "n": "cause", "vs": "dry-running"}]
    word = admit(topic_of("north", "urgent"), json.dumps(records).encode(), SITES, NOW_MS).word
    assert (word["cause"], word["time_ms"]) == ("dry-running", NOW_MS)


@given(st.sampled_from(KINDS), st.binary(max_size=300))
def test_no_bytes_whatever_get_further_than_a_reason(kind, payload):
    with contextlib.suppress(Refused):
        admit(topic_of("north", kind), payload, SITES, NOW_MS)


@given(st.data())
def test_a_damaged_pack_is_refused(data):
    whole = bytearray(pack([a_reading(seq, time_ms=NOW_MS + seq) for seq in range(1, 20)]))
    at = data.draw(st.integers(0, len(whole) - 1))
    whole[at] ^= data.draw(st.integers(1, 255))
    assert reason_of(TOPIC, bytes(whole)) in ("bad-pack", "unknown-form", "bad-senml", "another-site", "bad-site")
