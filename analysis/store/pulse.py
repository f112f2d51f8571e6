"""The change counter behind pages that renew themselves: grows with each commit that a page may show.

One row (site 0) is the whole's counter. It is raised as the last statement of a transaction and stays locked until the
commit, so the order of numbers is the order of commits, and a reader who remembers a number misses nothing.
Never: what changed; the page asks for that itself.
"""

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection, select

from analysis.store.schema import pulse, site
from analysis.store.tables import insert_into, upsert

WHOLE = 0


class Changes(NamedTuple):
    """`token` to ask with next time, and the sites that changed since the last."""

    token: int
    sites: frozenset[str]


def beat(connection: Connection, site_numbers: Iterable[int]) -> None:
    """Count one change of these sites. The last statement of a transaction."""
    touched = sorted(set(site_numbers))
    if not touched:
        return
    raised = insert_into(connection, pulse).values(site_no=WHOLE, count=1)
    raised = raised.on_conflict_do_update(index_elements=["site_no"], set_={"count": pulse.c.count + 1})
    count = connection.execute(raised.returning(pulse.c.count)).scalar_one()
    upsert(connection, pulse, [{"site_no": number, "count": count} for number in touched])


def changes_after(connection: Connection, token: int | None) -> Changes:
    """Sites that changed after `token`; with None no sites, only the token to begin with.

    A token from another database (greater than the counter) counts as 0: every site is named.
    """
    current = connection.execute(select(pulse.c.count).where(pulse.c.site_no == WHOLE)).scalar() or 0
    if token is None:
        return Changes(current, frozenset())
    after = 0 if token > current else token
    changed = select(site.c.id).join(pulse, pulse.c.site_no == site.c.no).where(pulse.c.count > after)
    return Changes(current, frozenset(connection.execute(changed).scalars()))
