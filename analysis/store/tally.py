"""Counts of what was refused, dropped or mended on the way in, each with its last example.

Never: the decision itself (analysis/ingest/admission.py, readings.py).
"""

from dataclasses import dataclass

from sqlalchemy import Connection, select

from analysis.store.schema import tally
from analysis.store.tables import insert_into, now_ms

EXAMPLE_MAX = 200  # characters; an example is to recognise, not to keep
SITES_MAX = 1000  # topics of strangers must not fill the table: beyond this they share the name `?`


@dataclass(frozen=True)
class Tally:
    """`what`: refused, dropped or mended; `detail`: the reason or the channel."""

    site: str
    what: str
    detail: str
    count: int
    last_ms: int
    example: str | None


def count(connection: Connection, site: str, what: str, detail: str, number: int = 1, example: str = "") -> None:
    """Add `number` to one count."""
    if number <= 0:
        return
    site, detail = site[:48], detail[:64]
    known = connection.execute(select(tally.c.site).where(tally.c.site == site).limit(1)).first()
    if known is None and len(connection.execute(select(tally.c.site).distinct().limit(SITES_MAX)).all()) >= SITES_MAX:
        site = "?"
    fresh = {"last_ms": now_ms(), "example": example[:EXAMPLE_MAX] or None}
    statement = insert_into(connection, tally).values(site=site, what=what, detail=detail, count=number, **fresh)
    raised = {"count": tally.c.count + number, **fresh}
    connection.execute(statement.on_conflict_do_update(index_elements=["site", "what", "detail"], set_=raised))


def counts(connection: Connection, site: str | None = None) -> list[Tally]:
    """All counts, or those of one site."""
    asked = select(tally).order_by(tally.c.site, tally.c.what, tally.c.detail)
    if site is not None:
        asked = asked.where(tally.c.site == site)
    return [Tally(**row) for row in connection.execute(asked).mappings()]
