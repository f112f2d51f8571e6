"""Sites and their files: the text is kept as it was given, the facts are read from it.

Never: judging a site file (logger/record/site_file.py).
"""

from dataclasses import dataclass
from functools import lru_cache

from sqlalchemy import Connection, func, select

from analysis.store.pulse import beat
from analysis.store.schema import reading, site
from analysis.store.state import note_change
from analysis.store.tables import insert_into, now_ms, number_of
from logger.record.site_facts import SiteFacts
from logger.record.site_file import read_site


@dataclass(frozen=True)
class StoredSite:
    """A site as the store knows it. `digest` changes with the facts."""

    id: str
    name: str
    facts_text: str
    digest: str
    added_ms: int
    facts_ms: int


@lru_cache(maxsize=4096)
def facts_of(text: str) -> SiteFacts:
    """A stored site file's facts: read once, for they are asked for at every look."""
    return read_site(text)


def put_site(connection: Connection, text: str) -> SiteFacts:
    """Add the site, or give a known one new facts; its readings are then judged anew.

    SiteFileError: the text is no good site file; nothing is changed.
    """
    facts = read_site(text)
    fresh = {"name": facts.site.name, "facts_text": text, "digest": facts.digest, "facts_ms": now_ms()}
    known = connection.execute(select(site.c.no, site.c.digest).where(site.c.id == facts.site.id)).first()
    statement = insert_into(connection, site).values(id=facts.site.id, added_ms=fresh["facts_ms"], **fresh)
    connection.execute(statement.on_conflict_do_update(index_elements=["id"], set_=fresh))
    number = number_of(connection, facts.site.id)
    if known is not None and known.digest != facts.digest:
        _judge_anew(connection, number)
    beat(connection, [number])
    return facts


def _judge_anew(connection: Connection, number: int) -> None:
    first = connection.execute(select(func.min(reading.c.time_ms)).where(reading.c.site_no == number)).scalar()
    if first is not None:
        note_change(connection, number, first)


def all_sites(connection: Connection) -> list[StoredSite]:
    """Every site, by id."""
    asked = select(site.c.id, site.c.name, site.c.facts_text, site.c.digest, site.c.added_ms, site.c.facts_ms)
    return [StoredSite(*row) for row in connection.execute(asked.order_by(site.c.id))]


def facts_text(connection: Connection, site_id: str) -> str:
    """The site's file as it was given. KeyError: no such site."""
    text = connection.execute(select(site.c.facts_text).where(site.c.id == site_id)).scalar()
    if text is None:
        raise KeyError(site_id)
    return text
