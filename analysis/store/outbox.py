"""What is to be told, written in the transaction that made it true and marked once it was told.

`findings` goes to the broker, `notice` to people. A crash between telling and marking tells twice, never not at all.
Never: the telling.
"""

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select, update

from analysis.store.schema import outbox, site
from analysis.store.tables import now_ms, to_json


@dataclass(frozen=True)
class Letter:
    """One thing to tell, of one site."""

    no: int
    kind: str
    site: str
    finding_id: str | None
    doc: dict[str, Any]
    made_ms: int
    tries: int


def put_letter(
    connection: Connection, number: int, kind: str, doc: dict[str, Any], finding_id: str | None = None
) -> None:
    """Have this told."""
    connection.execute(
        outbox.insert().values(
            kind=kind, site_no=number, finding_id=finding_id, doc=to_json(doc), made_ms=now_ms(), tries=0
        )
    )


def unsent(connection: Connection, kind: str, most: int = 100) -> list[Letter]:
    """Letters of a kind that nobody was told yet, oldest first."""
    asked = (
        select(outbox, site.c.id.label("site"))
        .join(site, site.c.no == outbox.c.site_no)
        .where(outbox.c.kind == kind, outbox.c.sent_ms.is_(None))
        .order_by(outbox.c.no)
        .limit(most)
    )
    return [
        Letter(row.no, row.kind, row.site, row.finding_id, json.loads(row.doc), row.made_ms, row.tries)
        for row in connection.execute(asked)
    ]


def mark_sent(connection: Connection, numbers: list[int]) -> None:
    """These were told."""
    connection.execute(update(outbox).where(outbox.c.no.in_(numbers)).values(sent_ms=now_ms(), trouble=None))


def mark_failed(connection: Connection, number: int, trouble: str) -> None:
    """This one could not be told; it stays to be tried again."""
    connection.execute(
        update(outbox).where(outbox.c.no == number).values(tries=outbox.c.tries + 1, trouble=trouble[:500])
    )
