"""A batch is one transaction: what is good is stored, what is not is counted, and an error stores nothing."""

import pytest

from analysis.ingest import keeper
from analysis.ingest.keeper import Message, keep
from logger.record.pack import pack
from logger.record.reading import Reading
from logger.record.topics import topic_of

NOW_MS = 1_762_000_000_000
BOOT = "000001-aaaaaaaa"


def batch(site: str, *seqs: int) -> Message:
    """A message of readings, a second apart."""
    readings = [Reading(site, NOW_MS + 1000 * seq, {"flow_m3_h": 1.0}, BOOT, seq) for seq in seqs]
    return Message(topic_of(site, "readings"), pack(readings))


def test_good_and_bad_messages_of_a_batch(store):
    before, _ = store.changes_after(None)
    messages = [
        batch("north", 1, 2, 3),
        Message(topic_of("north", "readings"), b"junk"),
        batch("nowhere", 1),
        batch("north", 3, 4),
        batch("south", 2),
        Message(topic_of("south", "presence"), b'{"online": true}'),
        Message("wellhand/v1/\x00\udcff/x", b""),
    ]
    kept = keep(store, messages, NOW_MS)
    assert (kept.readings, kept.refused, kept.told) == (5, 3, {"north", "south"})
    assert kept.reasons == {("north", "unknown-form"): 1, ("nowhere", "unknown-site"): 1, ("", "topic"): 1}
    assert store.stored("north") == {BOOT: 4}
    assert store.stored("south") == {BOOT: 0}
    assert store.presence("south")["online"] is True
    assert {(one.site, one.what, one.detail, one.count) for one in store.tallies()} == {
        ("north", "refused", "unknown-form", 1),
        ("nowhere", "refused", "unknown-site", 1),
        ("", "refused", "topic", 1),
        ("north", "dropped", "duplicate", 1),
    }
    assert store.changes_after(before).sites == {"north", "south"}


def test_an_error_stores_nothing_of_the_batch(store, monkeypatch):
    real = keeper.take_all

    def fails_after_storing(connection, given):
        assert real(connection, given)
        raise RuntimeError("power cut")

    monkeypatch.setattr(keeper, "take_all", fails_after_storing)
    with pytest.raises(RuntimeError):
        keep(store, [batch("north", 1), batch("south", 1)], NOW_MS)
    assert store.stored("north") == {}
    assert store.latest("north") is None


def test_presence_alone_asks_for_no_answer(store):
    kept = keep(store, [Message(topic_of("north", "health"), b"{}")], NOW_MS)
    assert (kept.sites, kept.told) == ({"north"}, set())
