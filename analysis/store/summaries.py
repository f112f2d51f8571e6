"""What a site does now, and what each of its days gave.

Never: how it was worked out (analysis/pipeline.py).
"""

import json
from collections.abc import Iterable
from dataclasses import asdict

from sqlalchemy import Connection, select

from analysis.store.schema import day, now, site
from analysis.store.tables import to_json, upsert
from analysis.summary import DaySummary, SiteNow


def put_now(connection: Connection, number: int, what: SiteNow) -> None:
    """The site's present, in place of the last."""
    upsert(connection, now, [{"site_no": number, "time_ms": what.time_ms, "doc": to_json(asdict(what))}])


def all_now(connection: Connection, site_id: str | None = None) -> dict[str, SiteNow]:
    """The present of every site that has one, by id."""
    asked = select(site.c.id, now.c.doc).join(site, site.c.no == now.c.site_no)
    if site_id is not None:
        asked = asked.where(site.c.id == site_id)
    return {name: SiteNow(**json.loads(doc)) for name, doc in connection.execute(asked)}


def put_days(connection: Connection, number: int, days: Iterable[DaySummary]) -> None:
    """Days of one site, each in place of what was kept for its date."""
    upsert(connection, day, [{"site_no": number, "date": one.date, "doc": to_json(asdict(one))} for one in days])


def days_between(connection: Connection, number: int, from_date: str, to_date: str) -> list[DaySummary]:
    """Days from `from_date` to `to_date`, both taken, oldest first."""
    asked = select(day.c.doc).where(day.c.site_no == number, day.c.date.between(from_date, to_date))
    return [DaySummary(**json.loads(doc)) for doc in connection.execute(asked.order_by(day.c.date)).scalars()]
