"""Small helpers that every table's module uses: upsert in both dialects, the clock, a site's number.

Never: a table of its own.
"""

import json
import time
from collections.abc import Iterable, Mapping
from functools import lru_cache
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Table, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.dialects.postgresql import psycopg

from analysis.store.schema import site as site_table


def now_ms() -> int:
    """The server's clock, for when a thing was heard or made; never for a reading's time."""
    return time.time_ns() // 1_000_000


def insert_into(connection: Connection, table: Table) -> Any:
    """An INSERT that knows `on_conflict_do_update`, which both databases have and plain SQLAlchemy has not."""
    return sqlite.insert(table) if connection.dialect.name == "sqlite" else postgresql.insert(table)


def upsert(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    """Insert `rows`; a row whose key is there already is replaced, column by column."""
    if not rows:
        return
    statement = insert_into(connection, table)
    keys = [column.name for column in table.primary_key.columns]
    others = {name: statement.excluded[name] for name in rows[0] if name not in keys}
    connection.execute(statement.on_conflict_do_update(index_elements=keys, set_=others), rows)


def insert_new(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> int:
    """Insert `rows` where their key is not there yet; how many were.

    For many rows: the driver gets them as they are, without the columns that are null in all of them.
    """
    used = tuple(name for name in table.columns.keys() if any(row[name] is not None for row in rows))  # noqa: SIM118
    text, order = _insert_text(table, used, connection.dialect.name)
    given = rows if order is None else list(map(itemgetter(*order), rows))
    return connection.exec_driver_sql(text, given).rowcount  # type: ignore[arg-type]


@lru_cache(maxsize=64)
def _insert_text(table: Table, names: tuple[str, ...], dialect: str) -> tuple[str, list[str] | None]:
    """The statement, and the order of its values; None where they go by name."""
    made: Any = sqlite.insert(table) if dialect == "sqlite" else postgresql.insert(table)
    spoken = sqlite.dialect() if dialect == "sqlite" else psycopg.dialect()
    compiled = made.on_conflict_do_nothing().compile(dialect=spoken, column_keys=list(names))
    return str(compiled), compiled.positiontup


def number_of(connection: Connection, site: str) -> int:
    """The site's number. KeyError: no such site in the store."""
    number = connection.execute(select(site_table.c.no).where(site_table.c.id == site)).scalar()
    if number is None:
        raise KeyError(site)
    return number


def numbers(connection: Connection) -> dict[str, int]:
    """Every site's number by id."""
    return {row.id: row.no for row in connection.execute(select(site_table.c.id, site_table.c.no))}


def to_json(given: Mapping[str, Any] | Iterable[Any] | None) -> str:
    """Compact JSON. ValueError: a NaN, which JSON has not."""
    return json.dumps(given, separators=(",", ":"), allow_nan=False, ensure_ascii=False)


def pairs(connection: Connection, asked: Any) -> dict[Any, Any]:
    """The rows of a query of two columns: the second by the first."""
    return {row[0]: row[1] for row in connection.execute(asked)}
