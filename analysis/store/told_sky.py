"""What neighbours told each site of its sky, by hour: an outside input of its findings, kept with its date.

Flow: a turn of the site that measures the sun -> HERE -> turns of the sites near it that do not.
Never: judging; which sites are near (analysis/sky.py).
"""

import numpy as np
from sqlalchemy import Connection, delete, func, select

from analysis.sky import SkyShares, of_all, tells
from analysis.store.read_out import oldest_ms
from analysis.store.schema import site, told_sky
from analysis.store.sites import facts_of
from analysis.store.state import note_change, note_changes
from analysis.store.tables import pairs
from logger.record.site_facts import SiteFacts


def listeners(connection: Connection, facts: SiteFacts) -> list[int]:
    """Numbers of the sites that this one tells of the sky."""
    asked = select(site.c.no, site.c.facts_text).order_by(site.c.no)
    return [row.no for row in connection.execute(asked) if tells(facts, facts_of(row.facts_text))]


def never_told(connection: Connection, number: int, to: list[int]) -> list[int]:
    """Those of `to` that site `number` never told of an hour: enrolled later, or new under its sky."""
    told = set(connection.execute(select(told_sky.c.site_no).where(told_sky.c.from_no == number).distinct()).scalars())
    return [listener for listener in to if listener not in told]


def forget(connection: Connection, number: int, near: list[int]) -> None:
    """What site `number` told sites that are not `near`, not any more; they are judged again without it."""
    gone = (told_sky.c.from_no == number) & told_sky.c.site_no.not_in(near)
    asked = select(told_sky.c.site_no, func.min(told_sky.c.hour_ms)).where(gone).group_by(told_sky.c.site_no)
    first = pairs(connection, asked)
    if first:
        connection.execute(delete(told_sky).where(gone))
        note_changes(connection, {no: hour for no, hour in first.items() if oldest_ms(connection, no) is not None})


def tell(connection: Connection, number: int, to: list[int], told: SkyShares, from_ms: int, until_ms: int) -> None:
    """Keep what site `number` says of the hours from `from_ms` up to but without `until_ms`, in place of what it said before.

    A listener that has readings is judged again from the first hour of which something else is said now.
    """
    now = dict(zip(told.hour_ms.tolist(), told.share.tolist(), strict=True))
    for listener in to:
        mine = (told_sky.c.site_no == listener) & (told_sky.c.from_no == number)
        mine &= (told_sky.c.hour_ms >= from_ms) & (told_sky.c.hour_ms < until_ms)
        before = {
            row.hour_ms: row.share
            for row in connection.execute(select(told_sky.c.hour_ms, told_sky.c.share).where(mine))
        }
        other = [hour for hour in before.keys() | now.keys() if before.get(hour) != now.get(hour)]
        if not other:
            continue
        connection.execute(delete(told_sky).where(mine))
        if now:
            rows = [
                {"site_no": listener, "from_no": number, "hour_ms": hour, "share": share} for hour, share in now.items()
            ]
            connection.execute(told_sky.insert(), rows)
        if oldest_ms(connection, listener) is not None:
            note_change(connection, listener, min(other))


def told_between(connection: Connection, number: int, from_ms: int, until_ms: int) -> SkyShares:
    """What all neighbours together told site `number` of the hours that begin from `from_ms` up to but without `until_ms`."""
    inside = (told_sky.c.site_no == number) & (told_sky.c.hour_ms >= from_ms) & (told_sky.c.hour_ms < until_ms)
    asked = select(told_sky.c.from_no, told_sky.c.hour_ms, told_sky.c.share).where(inside)
    by_neighbour: dict[int, list[tuple[int, float]]] = {}
    for row in connection.execute(asked.order_by(told_sky.c.from_no, told_sky.c.hour_ms)):
        by_neighbour.setdefault(row.from_no, []).append((row.hour_ms, row.share))
    return of_all(
        [
            SkyShares(np.array([hour for hour, _ in one], np.int64), np.array([share for _, share in one]))
            for one in by_neighbour.values()
        ]
    )
