"""The engine's states of each site at day closes, to go on from and back to; how far it is judged; what came since.

Never: what is in a state (analysis/pipeline.py), or which to keep (analysis/snapshots.py).
"""

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, delete, func, select

from analysis.store.schema import change, site, state
from analysis.store.tables import pairs, upsert

CLOSE, OPEN = "close", "open"


def closes(connection: Connection, number: int, digest: str) -> list[int]:
    """Day closes with a state made of these facts, oldest first."""
    asked = select(state.c.until_ms).where(state.c.site_no == number, state.c.kind == CLOSE, state.c.digest == digest)
    return list(connection.execute(asked.order_by(state.c.until_ms)).scalars())


def snapshot(connection: Connection, number: int, close_ms: int) -> bytes:
    """The state at one close. KeyError: there is none."""
    mine = (state.c.site_no == number) & (state.c.kind == CLOSE) & (state.c.until_ms == close_ms)
    blob = connection.execute(select(state.c.blob).where(mine)).scalar()
    if blob is None:
        raise KeyError(close_ms)
    return blob


def keep_closes(
    connection: Connection, number: int, digest: str, fresh: Mapping[int, bytes], kept: Iterable[int]
) -> None:
    """Add states by close, and drop every state of the site that is not among `kept`."""
    there = (state.c.site_no == number) & (state.c.kind == CLOSE)
    connection.execute(delete(state).where(there, state.c.until_ms.not_in(list(kept))))
    rows = [
        {"site_no": number, "until_ms": close_ms, "kind": CLOSE, "digest": digest, "blob": blob}
        for close_ms, blob in fresh.items()
    ]
    upsert(connection, state, rows)


def put_judged(connection: Connection, number: int, digest: str, until_ms: int) -> None:
    """The site is judged up to `until_ms`."""
    connection.execute(delete(state).where(state.c.site_no == number, state.c.kind == OPEN))
    row = {"site_no": number, "until_ms": until_ms, "kind": OPEN, "digest": digest, "blob": b""}
    connection.execute(state.insert().values(**row))


def judged_until(connection: Connection) -> dict[str, int]:
    """How far each site is judged, by id; a site never judged is absent."""
    asked = select(site.c.id, state.c.until_ms).join(site, site.c.no == state.c.site_no).where(state.c.kind == OPEN)
    return pairs(connection, asked)


def note_change(connection: Connection, number: int, from_ms: int) -> None:
    """Rows came, from this time on; to be written in the transaction that stores them."""
    connection.execute(change.insert().values(site_no=number, from_ms=from_ms))


def note_changes(connection: Connection, from_ms: Mapping[int, int]) -> None:
    """The same of several sites, by number."""
    if from_ms:
        rows = [{"site_no": number, "from_ms": first} for number, first in sorted(from_ms.items())]
        connection.execute(change.insert(), rows)


def changed_sites(connection: Connection) -> list[str]:
    """Sites with rows that are not judged yet, longest waiting first."""
    asked = select(site.c.id).join(change, change.c.site_no == site.c.no).group_by(site.c.id)
    return list(connection.execute(asked.order_by(func.min(change.c.no))).scalars())


def changes(connection: Connection, number: int) -> dict[int, int]:
    """What is not judged yet: from when on, by the note's number."""
    return pairs(connection, select(change.c.no, change.c.from_ms).where(change.c.site_no == number))


def drop_changes(connection: Connection, numbers: Iterable[int]) -> None:
    """These notes are dealt with."""
    listed = list(numbers)
    for start in range(0, len(listed), 500):
        connection.execute(delete(change).where(change.c.no.in_(listed[start : start + 500])))


def claim(connection: Connection, site_id: str) -> bool:
    """Own the site until the transaction ends; False where another worker does. SQLite has one worker, who owns all."""
    asked = select(site.c.no).where(site.c.id == site_id).with_for_update(skip_locked=True)
    return connection.execute(asked).first() is not None
