"""Readings out, as columns.

Flow: table, and the archive for older months -> HERE -> Rows -> pipeline, pages.
Never: judging or filling.
"""

import json
from collections.abc import Sequence

import numpy as np
from sqlalchemy import Connection, Row, func, select

from analysis.rows import Rows, no_rows
from analysis.store.schema import CLOCK_NUMBERS, boot, reading, reading_unsure, site
from logger.record.channels import CHANNELS
from logger.record.reading import CLOCKS, Clock, Reading

CLOCK_NAMES: dict[int, Clock] = {CLOCK_NUMBERS[name]: name for name in CLOCKS}


def rows_between(
    connection: Connection, number: int, from_ms: int, to_ms: int, channels: list[str] | None = None
) -> Rows:
    """Rows of one site from `from_ms` up to but without `to_ms`, by time, each time once.

    `channels` None = all that any row has. Readings whose board did not know the time are not among them.
    """
    wanted = list(CHANNELS) if channels is None else [name for name in channels if name in CHANNELS]
    columns = [reading.c.time_ms, reading.c.seq, *(reading.c[name] for name in wanted), reading.c.extremes]
    asked = select(*columns).where(reading.c.site_no == number, reading.c.time_ms >= from_ms, reading.c.time_ms < to_ms)
    found = connection.execute(asked.order_by(reading.c.time_ms)).all()
    return _as_columns(found, wanted, channels)


def _as_columns(found: Sequence[Row], wanted: list[str], channels: list[str] | None) -> Rows:
    if not found:
        return no_rows()
    times, seqs, *values, extremes = zip(*found, strict=True)
    as_floats = {name: np.array(column, float) for name, column in zip(wanted, values, strict=True)}
    held = {name: column for name, column in as_floats.items() if channels or not np.isnan(column).all()}
    held |= _extremes(extremes, channels)
    return Rows(
        np.array(times, np.int64),
        held,
        np.array([-1 if seq is None else seq for seq in seqs], np.int64),
        np.ones(len(times), bool),
    )


def _extremes(texts: tuple, channels: list[str] | None) -> dict:
    """The rare columns `<channel>_min` and `<channel>_max`."""
    read = [json.loads(text) if text else {} for text in texts] if any(texts) else []
    names = sorted({name for one in read for name in one if channels is None or name in channels})
    return {name: np.array([one.get(name) for one in read], float) for name in names}


def newest_ms(connection: Connection, number: int, up_to_ms: int) -> int | None:
    """The time of the newest row, of those up to `up_to_ms`; None where there is none."""
    asked = select(func.max(reading.c.time_ms)).where(reading.c.site_no == number, reading.c.time_ms <= up_to_ms)
    return connection.execute(asked).scalar()


def oldest_ms(connection: Connection, number: int) -> int | None:
    """The time of the first row; None where there is none."""
    return connection.execute(select(func.min(reading.c.time_ms)).where(reading.c.site_no == number)).scalar()


def latest(connection: Connection, site_id: str) -> Reading | None:
    """The newest reading of a site, nulls with it; None where it has none."""
    asked = (
        select(reading, boot.c.name)
        .join(site, site.c.no == reading.c.site_no)
        .outerjoin(boot, boot.c.no == reading.c.boot_no)
        .where(site.c.id == site_id)
        .order_by(reading.c.site_no.desc(), reading.c.time_ms.desc())
        .limit(1)
    )
    row = connection.execute(asked).mappings().first()
    if row is None:
        return None
    values = {name: row[name] for name in CHANNELS} | (json.loads(row["extremes"]) if row["extremes"] else {})
    return Reading(site_id, row["time_ms"], values, row["name"], row["seq"], CLOCK_NAMES[row["clock"]])


def unsure_count(connection: Connection, number: int) -> int:
    """How many readings lie aside because their board did not know the time."""
    asked = select(reading_unsure.c.seq).where(reading_unsure.c.site_no == number)
    return len(connection.execute(asked).all())
