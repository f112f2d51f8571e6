"""The engine's state of each site: the open one, and snapshots at day closes to go back to when rows come late.

Kept: every snapshot of the last DAILY_KEPT days, then the first of each calendar month.
Never: what is in a state (analysis/pipeline.py).
"""

from datetime import UTC, datetime
from typing import NamedTuple

from sqlalchemy import Connection, delete, select

from analysis.store.schema import state
from analysis.store.tables import upsert

DAILY_KEPT = 35
DAY_MS = 86_400_000


class Kept(NamedTuple):
    """A state and how far it has judged."""

    until_ms: int
    blob: bytes


def put_open(connection: Connection, number: int, until_ms: int, digest: str, blob: bytes) -> None:
    """The state that the next turn goes on from, in place of the last one."""
    connection.execute(delete(state).where(state.c.site_no == number, state.c.kind == "open"))
    _put(connection, number, until_ms, digest, blob, "open")


def put_snapshot(connection: Connection, number: int, until_ms: int, digest: str, blob: bytes) -> None:
    """A state at the close of a day."""
    _put(connection, number, until_ms, digest, blob, "close")


def _put(connection: Connection, number: int, until_ms: int, digest: str, blob: bytes, kind: str) -> None:
    row = {"site_no": number, "until_ms": until_ms, "kind": kind, "digest": digest, "blob": blob}
    upsert(connection, state, [row])


def newest(connection: Connection, number: int, digest: str, before_ms: int | None = None) -> Kept | None:
    """The newest state made of these facts, or the newest that had judged less than up to `before_ms`; None: none."""
    asked = select(state.c.until_ms, state.c.blob).where(state.c.site_no == number, state.c.digest == digest)
    if before_ms is not None:
        asked = asked.where(state.c.until_ms < before_ms)
    row = connection.execute(asked.order_by(state.c.until_ms.desc()).limit(1)).first()
    return None if row is None else Kept(row.until_ms, row.blob)


def forget_after(connection: Connection, number: int, until_ms: int) -> None:
    """Drop what later rows made wrong: every state that had judged beyond `until_ms`."""
    connection.execute(delete(state).where(state.c.site_no == number, state.c.until_ms > until_ms))


def thin(connection: Connection, number: int) -> None:
    """Keep the last DAILY_KEPT days of snapshots, then one a month."""
    asked = select(state.c.until_ms).where(state.c.site_no == number, state.c.kind == "close")
    times = list(connection.execute(asked.order_by(state.c.until_ms)).scalars())
    if not times:
        return
    months: set[str] = set()
    gone = []
    for until_ms in times:
        month = datetime.fromtimestamp(until_ms / 1000, UTC).strftime("%Y-%m")
        if until_ms < times[-1] - DAILY_KEPT * DAY_MS and month in months:
            gone.append(until_ms)
        months.add(month)
    if gone:
        connection.execute(delete(state).where(state.c.site_no == number, state.c.until_ms.in_(gone)))
