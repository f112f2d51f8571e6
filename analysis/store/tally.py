"""Counts of what was refused, dropped or mended on the way in, each with its last example.

Never: the decision itself (analysis/ingest/admission.py, readings.py).
"""

from collections import Counter
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


class Counts:
    """Counts gathered over a batch, written at once."""

    def __init__(self) -> None:
        self._numbers: Counter[tuple[str, str, str]] = Counter()
        self._examples: dict[tuple[str, str, str], str] = {}

    def add(self, site: str, what: str, detail: str, number: int = 1, example: str = "") -> None:
        """Raise one count; the last example stays."""
        if number > 0:
            key = site[:48], what, detail[:64]
            self._numbers[key] += number
            self._examples[key] = example[:EXAMPLE_MAX] or self._examples.get(key, "")

    def write(self, connection: Connection) -> None:
        """Add all to what the table holds."""
        if not self._numbers:
            return
        known = set(connection.execute(select(tally.c.site).distinct().limit(SITES_MAX)).scalars())
        for (site, what, detail), number in sorted(self._numbers.items()):
            if site not in known and len(known) >= SITES_MAX:
                kept_under = "?"
            else:
                kept_under = site
                known.add(site)
            fresh = {"last_ms": now_ms(), "example": self._examples[site, what, detail] or None}
            statement = insert_into(connection, tally).values(
                site=kept_under, what=what, detail=detail, count=number, **fresh
            )
            raised = {"count": tally.c.count + number, **fresh}
            connection.execute(statement.on_conflict_do_update(index_elements=["site", "what", "detail"], set_=raised))


def count(connection: Connection, site: str, what: str, detail: str, number: int = 1, example: str = "") -> None:
    """Add `number` to one count."""
    one = Counts()
    one.add(site, what, detail, number, example)
    one.write(connection)


def counts(connection: Connection, site: str | None = None) -> list[Tally]:
    """All counts, or those of one site."""
    asked = select(tally).order_by(tally.c.site, tally.c.what, tally.c.detail)
    if site is not None:
        asked = asked.where(tally.c.site == site)
    return [Tally(**row) for row in connection.execute(asked).mappings()]
