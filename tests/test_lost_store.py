"""A board and a server whose database was replaced, both ends real but for the broker: `stored` climbs again, nothing is invented."""

from pathlib import Path

import pytest

from analysis.ingest.keeper import Message, keep
from analysis.store import open_store
from logger.clock import BoardClock
from logger.record.topics import READINGS, topic_of
from logger.sender import Sender
from logger.spool import Spool
from tests.faults import FakeTime, FaultyDisk
from tests.logger.other_end import LinkInMemory

SITE = "north"
FACTS = (Path(__file__).parent / "analysis" / "store" / "site.toml").read_text()
NOV_2025_MS = 1_763_000_000_000


class Server:
    """Takes what the link brings into a store of its own, and states what it has."""

    def __init__(self, file: Path):
        self.store = open_store(f"sqlite:///{file}")
        self.store.put_site(FACTS)

    def take(self, payload: bytes) -> None:
        kept = keep(self.store, [Message(topic_of(SITE, READINGS), payload)], NOV_2025_MS + 10_000_000)
        assert kept.refused == 0

    def stored(self) -> dict[str, int]:
        return self.store.stored(SITE)


@pytest.mark.parametrize("form", ["pack", "senml-json"])
def test_a_replaced_database_is_told_of_what_was_freed_and_gets_what_is_kept(tmp_path, form):
    time, first = FakeTime(NOV_2025_MS, 60_000, True), Server(tmp_path / "first.db")
    spool = Spool(tmp_path / "spool", "kernel", "0000000a", disk=FaultyDisk(), segment_rows=50)
    link = LinkInMemory(time, first)
    sender = Sender(SITE, spool, link, BoardClock(time, 0, None), form, batch_s=0.0)
    boot = spool.boot.name

    def turns(rows: int) -> None:
        for _ in range(rows):
            spool.append(time.wall_ms(), time.mono_ms(), "good", {"flow_m3_h": 1.0} if spool.accepted_seq else {})
            spool.sync()
            sender.send(time.now_s())
            for event in link.events(10.0):
                sender.take(event, time.now_s())

    link.up()
    turns(170)
    assert first.stored()[boot] >= 165
    freed = spool.first_seq(boot) - 1
    assert freed == 150
    link.receiver = second = Server(tmp_path / "second.db")
    turns(40)
    assert second.stored()[boot] >= spool.accepted_seq - 2
    held = second.store.readings(SITE, 0, 1 << 60)
    assert len(held) >= spool.accepted_seq - freed - 2
    assert held.seq is not None
    assert held.seq.min() == freed + 1
    assert spool.first_seq(boot) > freed, "and it frees again"
    for server in (first, second):
        server.store.close()
