"""Messages -> one transaction of the store: readings once, the change noted, words kept, refusals counted.

Flow: subscriber.py hands a batch -> HERE -> the store; then, and only then, are the messages acknowledged and `stored` told.
Never: the broker; judgement of a site (turn.py).
"""

from collections import Counter
from dataclasses import dataclass, field

from sqlalchemy import Connection

from analysis.ingest.admission import Admitted, Refused, admit
from analysis.store import Store, boards, pulse, tally
from analysis.store.readings import take_all
from analysis.store.tables import numbers
from logger.record.reading import Reading
from logger.record.topics import HEALTH, PRESENCE, READINGS, URGENT, taken_apart


@dataclass(frozen=True)
class Message:
    """As it came from the broker."""

    topic: str
    payload: bytes


@dataclass
class Kept:
    """What became of a batch. `sites`: those heard of; `told`: of these the ones that wait to be told what is stored.

    `reasons`: messages refused, by site ("" where the topic names none) and reason.
    """

    sites: set[str] = field(default_factory=set)
    told: set[str] = field(default_factory=set)
    readings: int = 0
    refused: int = 0
    reasons: Counter[tuple[str, str]] = field(default_factory=Counter)

    def add(self, other: "Kept") -> None:
        """Count another batch in."""
        self.sites |= other.sites
        self.told |= other.told
        self.readings += other.readings
        self.refused += other.refused
        self.reasons += other.reasons


def keep(store: Store, messages: list[Message], now_ms: int) -> Kept:
    """Store a batch, all or nothing. Database errors pass through: then nothing was stored, and nothing may be acknowledged."""
    kept = Kept()
    with store.writing() as connection:
        known = numbers(connection)
        readings: dict[str, list[Reading]] = {}
        counts = tally.Counts()
        for message in messages:
            try:
                admitted = admit(message.topic, message.payload, known, now_ms)
            except Refused as refused:
                kept.refused += 1
                taken = taken_apart(message.topic)
                site = taken.site if taken else ""
                kept.reasons[_plain(site), refused.reason] += 1
                counts.add(_plain(site), "refused", refused.reason, example=_plain(refused.example))
                continue
            _keep_word(connection, known[admitted.site], admitted)
            if admitted.kind == READINGS:
                readings.setdefault(admitted.site, []).extend(admitted.readings)
            _count_mended(counts, admitted.site, admitted.mended)
            kept.sites.add(admitted.site)
        kept.told |= set(readings)
        kept.readings += _keep_readings(connection, known, readings, counts)
        counts.write(connection)
        pulse.beat(connection, [known[site] for site in kept.sites])
    return kept


def _plain(text: str) -> str:
    """Without what PostgreSQL's text cannot hold."""
    return text.replace("\0", "?").encode(errors="replace").decode()


def _keep_word(connection: Connection, number: int, admitted: Admitted) -> None:
    if admitted.kind == PRESENCE:
        boards.put_presence(connection, number, admitted.word)
    elif admitted.kind == HEALTH:
        boards.put_health(connection, number, admitted.word)
    elif admitted.kind == URGENT:
        boards.put_urgent(connection, number, admitted.word["cause"], admitted.word["time_ms"], admitted.word)


def _count_mended(counts: tally.Counts, site: str, mended: Counter[str]) -> None:
    for detail, number in mended.items():
        counts.add(site, "mended" if detail.startswith("unreadable") else "dropped", detail, number)


def _keep_readings(
    connection: Connection, known: dict[str, int], readings: dict[str, list[Reading]], counts: tally.Counts
) -> int:
    taken = take_all(connection, {known[site]: readings[site] for site in sorted(readings)})
    for site in readings:
        for what in ("duplicate", "conflicting", "unsure"):
            counts.add(site, "dropped" if what != "unsure" else "mended", what, getattr(taken[known[site]], what))
    return sum(one.stored for one in taken.values())
