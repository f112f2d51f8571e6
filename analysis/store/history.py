"""Many readings of the past at once: a season in seconds.

Never: merging with what is there; a row of the same time is replaced.
"""

import json
from collections.abc import Iterator
from itertools import repeat

import numpy as np
from sqlalchemy import Connection

from analysis.rows import Rows
from analysis.store.schema import CLOCK_NUMBERS, reading
from analysis.store.state import note_change
from analysis.store.tables import insert_into
from logger.record.channels import CHANNELS

ROWS_PER_STATEMENT = 20_000


def load(connection: Connection, number: int, rows: Rows) -> int:
    """Store `rows` of one site; how many. Rows whose clock was not trusted are left out.

    ValueError: times do not rise from row to row.
    """
    if rows.trusted is not None:
        rows = rows.take(rows.trusted)
    if len(rows) > 1 and not (np.diff(rows.time_ms) > 0).all():
        raise ValueError("times must rise from row to row: merge the rows first")
    names = [name for name in rows.values if name in CHANNELS]
    columns = ["site_no", "time_ms", "seq", "clock", *names]
    lows_and_highs = sorted(set(rows.values) - set(names))
    columns += ["extremes"] if lows_and_highs else []
    for start in range(0, len(rows), ROWS_PER_STATEMENT):
        part = rows.take(slice(start, start + ROWS_PER_STATEMENT))
        parts = [
            repeat(number, len(part)),
            part.time_ms.tolist(),
            repeat(None, len(part)) if part.seq is None else [None if seq < 0 else seq for seq in part.seq.tolist()],
            repeat(CLOCK_NUMBERS["good"], len(part)),
            *(_nulled(part[name]) for name in names),
        ]
        if lows_and_highs:
            parts.append(list(_as_json(part, lows_and_highs)))
        _insert(connection, columns, parts)
    if len(rows):
        note_change(connection, number, int(rows.time_ms[0]))
    return len(rows)


def _insert(connection: Connection, columns: list[str], values: list) -> None:
    """Compiled by hand: SQLAlchemy's own way of binding a dictionary a row costs three times as much on SQLite."""
    insert = insert_into(connection, reading)
    replaced = {name: insert.excluded[name] for name in columns if name not in ("site_no", "time_ms")}
    upsert = insert.on_conflict_do_update(index_elements=["site_no", "time_ms"], set_=replaced)
    compiled = upsert.compile(dialect=connection.dialect, column_keys=columns)
    if not compiled.positiontup:
        connection.execute(upsert, [dict(zip(columns, row, strict=True)) for row in zip(*values, strict=True)])
        return
    by_name = dict(zip(columns, values, strict=True))
    rows = list(zip(*(by_name[name] for name in compiled.positiontup), strict=True))
    connection.exec_driver_sql(str(compiled), rows)


def _nulled(column: np.ndarray) -> list:
    as_objects = column.astype(object)
    as_objects[np.isnan(column)] = None
    return as_objects.tolist()


def _as_json(part: Rows, names: list[str]) -> Iterator[str | None]:
    for values in zip(*(part[name] for name in names), strict=True):
        held = {name: float(value) for name, value in zip(names, values, strict=True) if not np.isnan(value)}
        yield json.dumps(held, separators=(",", ":")) if held else None
