"""Per boot of a board: the sequences that were taken, in tables.

Never: the set arithmetic (sequences.py).
"""

from sqlalchemy import Connection, delete, func, select

from analysis.store.schema import boot, seen, site
from analysis.store.sequences import Sequences
from analysis.store.tables import insert_into


def boot_numbers(connection: Connection, number: int, names: set[str]) -> dict[str, int]:
    """The numbers of these boots of one site; a new boot gets one."""
    for name in sorted(names):
        statement = insert_into(connection, boot).values(site_no=number, name=name)
        connection.execute(statement.on_conflict_do_nothing())
    asked = select(boot.c.name, boot.c.no).where(boot.c.site_no == number, boot.c.name.in_(names))
    return dict(connection.execute(asked).tuples().all())


def boot_names(connection: Connection, numbers: set[int]) -> dict[int, str]:
    """The other way round."""
    asked = select(boot.c.no, boot.c.name).where(boot.c.no.in_(numbers))
    return dict(connection.execute(asked).tuples().all())


def load(connection: Connection, boot_no: int) -> Sequences:
    """What was taken of one boot, locked until the transaction ends so that two workers do not overwrite each other."""
    locked = select(boot.c.no).where(boot.c.no == boot_no).with_for_update()
    connection.execute(locked)
    asked = select(seen.c.first_seq, seen.c.last_seq).where(seen.c.boot_no == boot_no)
    return Sequences(connection.execute(asked).tuples().all())


def save(connection: Connection, boot_no: int, before: list[tuple[int, int]], after: Sequences) -> None:
    """Write what changed since `before`."""
    gone, fresh = set(before) - set(after.ranges), set(after.ranges) - set(before)
    for first, _ in gone:
        connection.execute(delete(seen).where(seen.c.boot_no == boot_no, seen.c.first_seq == first))
    if fresh:
        rows = [{"boot_no": boot_no, "first_seq": first, "last_seq": last} for first, last in sorted(fresh)]
        connection.execute(seen.insert(), rows)


def mark(connection: Connection, number: int, boot_name: str, first: int, last: int) -> None:
    """Count sequences as taken that will never come: thinned or lost on the board, as the board itself says."""
    boot_no = boot_numbers(connection, number, {boot_name})[boot_name]
    taken = load(connection, boot_no)
    before = taken.ranges
    taken.add(first, last)
    save(connection, boot_no, before, taken)


def heads(connection: Connection, site_id: str) -> dict[str, int]:
    """By boot, the highest sequence up to which none is missing: what the board may forget. 0 where the first is missing."""
    asked = (
        select(boot.c.name, func.coalesce(func.max(seen.c.last_seq), 0))
        .join(site, site.c.no == boot.c.site_no)
        .outerjoin(seen, (seen.c.boot_no == boot.c.no) & (seen.c.first_seq == 1))
        .where(site.c.id == site_id)
        .group_by(boot.c.name)
        .order_by(boot.c.name)
    )
    return dict(connection.execute(asked).tuples().all())
