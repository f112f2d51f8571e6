"""The door to everything kept: `open_store(url)`; each method one look or one change, each a transaction of its own.

Flow: ingest, turn, pages, reports -> HERE -> the module of the table.
Methods that name a site raise KeyError where the store does not know it.
Never: SQL (the tables' modules).
"""

from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection

from analysis.rows import Rows
from analysis.store import (
    boards,
    engine,
    findings,
    history,
    outbox,
    pulse,
    read_out,
    seen,
    sites,
    summaries,
    tally,
    users,
)
from analysis.store.engine import StoreError
from analysis.store.pulse import Changes
from analysis.store.schema import health, presence
from analysis.store.sites import StoredSite
from analysis.store.tables import number_of
from analysis.store.users import User
from analysis.summary import DaySummary, SiteNow
from logger.record.finding import Finding
from logger.record.reading import Reading
from logger.record.site_facts import SiteFacts

__all__ = ["Store", "StoreError", "open_store"]


def open_store(url: str) -> "Store":
    """The store at an SQLAlchemy URL, made or brought up to date where needed. StoreError: it cannot be opened."""
    return Store(engine.connect(url), url)


class Store:
    """One database. Safe to share between threads; each call takes a connection of its own."""

    def __init__(self, database: Any, url: str):
        self.engine, self.url = database, url

    def close(self) -> None:
        """Let go of all connections."""
        self.engine.dispose()

    def reading(self) -> Any:
        """A transaction that looks: `with store.reading() as connection`."""
        return engine.reading(self.engine)

    def writing(self) -> Any:
        """A transaction that writes: all or nothing."""
        return engine.writing(self.engine)

    @contextmanager
    def changing(self, site: str) -> Iterator[tuple[Connection, int]]:
        """A transaction that writes to one site and counts as a change of it."""
        with self.writing() as connection:
            number = number_of(connection, site)
            yield connection, number
            pulse.beat(connection, [number])

    @contextmanager
    def _looking_at(self, site: str) -> Iterator[tuple[Connection, int]]:
        with self.reading() as connection:
            yield connection, number_of(connection, site)

    # sites

    def put_site(self, text: str) -> SiteFacts:
        """Add a site by its file's text, or give a known one new facts. SiteFileError: no good site file."""
        with self.writing() as connection:
            return sites.put_site(connection, text)

    def sites(self) -> list[StoredSite]:
        """Every site, by id."""
        with self.reading() as connection:
            return sites.all_sites(connection)

    def site_facts(self, site: str) -> SiteFacts:
        """What was installed there."""
        with self.reading() as connection:
            return sites.facts_of(sites.facts_text(connection, site))

    # readings

    def readings(self, site: str, from_ms: int, to_ms: int, channels: list[str] | None = None) -> Rows:
        """Rows from `from_ms` up to but without `to_ms`, by time; `channels` None = all that any row has."""
        with self._looking_at(site) as (connection, number):
            return read_out.rows_between(connection, number, from_ms, to_ms, channels)

    def latest(self, site: str) -> Reading | None:
        """The newest reading; None where there is none."""
        with self.reading() as connection:
            return read_out.latest(connection, site)

    def stored(self, site: str) -> dict[str, int]:
        """By boot, the highest sequence without a hole that is committed."""
        return self.stored_of([site])[site]

    def stored_of(self, sites_wanted: Collection[str]) -> dict[str, dict[str, int]]:
        """The same of several sites at once; those that the store does not know are absent."""
        with self.reading() as connection:
            return seen.heads(connection, sites_wanted)

    def load_history(self, site: str, rows: Rows) -> int:
        """Store many rows of the past at once, by time and each time once; how many."""
        with self.changing(site) as (connection, number):
            return history.load(connection, number, rows)

    # what the engine found

    def findings(
        self, site: str | None = None, open_only: bool = False, from_ms: int | None = None, to_ms: int | None = None
    ) -> list[Finding]:
        """Findings, newest flagged first. Open: not ended, not withdrawn. A span takes what overlaps it."""
        return [one for _, one in self.findings_by_site(site, open_only, from_ms, to_ms)]

    def findings_by_site(
        self, site: str | None = None, open_only: bool = False, from_ms: int | None = None, to_ms: int | None = None
    ) -> list[tuple[str, Finding]]:
        """The same, each with its site's id before it."""
        with self.reading() as connection:
            return findings.find(connection, site, open_only, from_ms, to_ms)

    def put_act(self, site: str, kind: str, by: str, finding_id: str | None = None, **doc: Any) -> None:
        """Note what a person did about a finding or at a site; `until_ms=` bounds a shelving."""
        with self.changing(site) as (connection, number):
            findings.put_act(connection, number, kind, by, finding_id, **doc)

    def acts(self, site: str, finding_id: str | None = None) -> list[dict[str, Any]]:
        """What people did, oldest first: kind, by, at_ms, until_ms, finding_id and the words given."""
        with self._looking_at(site) as (connection, number):
            return findings.acts(connection, number, finding_id)

    def now(self, site: str) -> SiteNow | None:
        """What the site does now; None before the first turn."""
        with self.reading() as connection:
            return summaries.all_now(connection, site).get(site)

    def all_now(self) -> dict[str, SiteNow]:
        """The same of every site that was judged, by id."""
        with self.reading() as connection:
            return summaries.all_now(connection)

    def days(self, site: str, from_date: str, to_date: str) -> list[DaySummary]:
        """Days by local date (ISO 8601), both ends taken, oldest first."""
        with self._looking_at(site) as (connection, number):
            return summaries.days_between(connection, number, from_date, to_date)

    # boards

    def presence(self, site: str) -> dict[str, Any] | None:
        """The board's last word on being online, with `heard_ms`; None where none came."""
        with self._looking_at(site) as (connection, number):
            return boards.word(connection, presence, number)

    def health(self, site: str) -> dict[str, Any] | None:
        """The board's last word about itself, with `heard_ms`; None where none came."""
        with self._looking_at(site) as (connection, number):
            return boards.word(connection, health, number)

    def urgents(self, site: str, from_ms: int = 0) -> list[dict[str, Any]]:
        """What the board itself judged as urgent, newest first; of these people were told by the board: no second notice."""
        with self._looking_at(site) as (connection, number):
            return boards.urgents(connection, number, from_ms)

    def tallies(self, site: str | None = None) -> list[tally.Tally]:
        """What was refused, dropped or mended on the way in."""
        with self.reading() as connection:
            return tally.counts(connection, site)

    # pages and people

    def changes_after(self, token: int | None) -> Changes:
        """(token, sites that changed since). Begin with None; works across processes."""
        with self.reading() as connection:
            return pulse.changes_after(connection, token)

    def user(self, name: str) -> User | None:
        """The person of this name; None where there is none."""
        with self.reading() as connection:
            return next(iter(users.users(connection, name)), None)

    def users(self) -> list[User]:
        """Everybody who may sign in."""
        with self.reading() as connection:
            return users.users(connection)

    def put_user(self, name: str, password_hash: str, role: str, sites: Iterable[str] | None = None) -> None:
        """Add or change a person; `sites` None = every site. ValueError: no such role."""
        with self.writing() as connection:
            users.put_user(connection, name, password_hash, role, sites)

    def drop_user(self, name: str) -> None:
        """Take a person's right to sign in away."""
        with self.writing() as connection:
            users.drop_user(connection, name)

    # outbox

    def unsent(self, kind: str, most: int = 100) -> list[outbox.Letter]:
        """What of this kind (`findings`, `notice`) is still to be told, oldest first."""
        with self.reading() as connection:
            return outbox.unsent(connection, kind, most)

    def mark_sent(self, numbers: list[int]) -> None:
        """These letters were told."""
        with self.writing() as connection:
            outbox.mark_sent(connection, numbers)

    def mark_failed(self, number: int, trouble: str) -> None:
        """This letter could not be told and stays."""
        with self.writing() as connection:
            outbox.mark_failed(connection, number, trouble)
