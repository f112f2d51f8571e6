"""What boards say of themselves: presence, health, and what they judged as urgent.

Never: decoding a message (analysis/ingest).
"""

import json
from typing import Any

from sqlalchemy import Connection, Table, select

from analysis.store.schema import health, presence, urgent
from analysis.store.tables import insert_into, now_ms, to_json, upsert


def put_word(connection: Connection, table: Table, number: int, doc: dict[str, Any]) -> None:
    """Keep the newest presence or health message of one site."""
    upsert(connection, table, [{"site_no": number, "heard_ms": now_ms(), "doc": to_json(doc)}])


def word(connection: Connection, table: Table, number: int) -> dict[str, Any] | None:
    """The newest message and, as `heard_ms`, when the server heard it; None where none ever came."""
    row = connection.execute(select(table.c.doc, table.c.heard_ms).where(table.c.site_no == number)).first()
    return None if row is None else {**json.loads(row.doc), "heard_ms": row.heard_ms}


def put_presence(connection: Connection, number: int, doc: dict[str, Any]) -> None:
    """Online or offline, since when."""
    put_word(connection, presence, number, doc)


def put_health(connection: Connection, number: int, doc: dict[str, Any]) -> None:
    """The board about itself."""
    put_word(connection, health, number, doc)


def put_urgent(connection: Connection, number: int, cause: str, time_ms: int, doc: dict[str, Any]) -> bool:
    """Keep what the board itself judged; False where it was told before."""
    statement = insert_into(connection, urgent).values(
        site_no=number, cause=cause, time_ms=time_ms, heard_ms=now_ms(), doc=to_json(doc)
    )
    told = statement.on_conflict_do_nothing().returning(urgent.c.time_ms)
    return connection.execute(told).first() is not None


def urgents(connection: Connection, number: int, from_ms: int = 0) -> list[dict[str, Any]]:
    """What the board judged from `from_ms` on, newest first: cause, time_ms, heard_ms and the message."""
    asked = select(urgent).where(urgent.c.site_no == number, urgent.c.time_ms >= from_ms)
    return [
        {**json.loads(row.doc), "cause": row.cause, "time_ms": row.time_ms, "heard_ms": row.heard_ms}
        for row in connection.execute(asked.order_by(urgent.c.time_ms.desc()))
    ]
