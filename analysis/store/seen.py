"""Per boot of a board: which sequences came, with values (taken) or without (void), in tables.

A void one is a tombstone: nothing will come under that number, so that `stored` may pass over it. Should its reading come
all the same, late, it is taken: so the order of arrival plays no part.
Never: the set arithmetic (sequences.py).
"""

from dataclasses import dataclass

from sqlalchemy import Connection, delete, select

from analysis.store.schema import boot, seen
from analysis.store.sequences import Sequences
from analysis.store.tables import insert_into, number_of, pairs

BOOTS_TOLD_MAX = 100
"""A board's spool holds few boots; those long past need not be told again for ever."""


@dataclass
class Came:
    """What came of one boot."""

    taken: Sequences
    void: Sequences


def boot_numbers(connection: Connection, number: int, names: set[str]) -> dict[str, int]:
    """The numbers of these boots of one site; a new boot gets one."""
    asked = select(boot.c.name, boot.c.no).where(boot.c.site_no == number, boot.c.name.in_(names))
    known = pairs(connection, asked)
    new = sorted(names - set(known))
    if not new:
        return known
    for name in new:
        statement = insert_into(connection, boot).values(site_no=number, name=name)
        connection.execute(statement.on_conflict_do_nothing())
    return pairs(connection, asked)


def boot_names(connection: Connection, numbers: set[int]) -> dict[int, str]:
    """The other way round."""
    if not numbers:
        return {}
    asked = select(boot.c.no, boot.c.name).where(boot.c.no.in_(numbers))
    return pairs(connection, asked)


def load(connection: Connection, boot_no: int) -> Came:
    """What came of one boot, locked until the transaction ends so that two workers do not overwrite each other."""
    connection.execute(select(boot.c.no).where(boot.c.no == boot_no).with_for_update())
    asked = select(seen.c.void, seen.c.first_seq, seen.c.last_seq).where(seen.c.boot_no == boot_no)
    rows = connection.execute(asked).all()
    return Came(*(Sequences((r.first_seq, r.last_seq) for r in rows if r.void is void) for void in (False, True)))


def save(connection: Connection, boot_no: int, before: Came, after: Came) -> None:
    """Write what changed."""
    for void, old, new in ((False, before.taken, after.taken), (True, before.void, after.void)):
        gone, fresh = set(old.ranges) - set(new.ranges), set(new.ranges) - set(old.ranges)
        for first, _ in gone:
            mine = (seen.c.boot_no == boot_no) & (seen.c.void == void) & (seen.c.first_seq == first)
            connection.execute(delete(seen).where(mine))
        rows = [{"boot_no": boot_no, "void": void, "first_seq": low, "last_seq": high} for low, high in sorted(fresh)]
        if rows:
            connection.execute(seen.insert(), rows)


def heads(connection: Connection, site_id: str) -> dict[str, int]:
    """By boot, newest BOOTS_TOLD_MAX: the highest sequence up to which none is missing, which the board may forget.

    0 where the first is missing. KeyError: no such site.
    """
    mine = boot.c.site_no == number_of(connection, site_id)
    newest = select(boot.c.no, boot.c.name).where(mine).order_by(boot.c.name.desc()).limit(BOOTS_TOLD_MAX)
    names = pairs(connection, newest)
    asked = select(seen.c.boot_no, seen.c.first_seq, seen.c.last_seq).where(seen.c.boot_no.in_(names))
    by_boot = {boot_no: Sequences() for boot_no in names}
    for boot_no, first, last in connection.execute(asked):
        by_boot[boot_no].add(first, last)
    return {names[boot_no]: by_boot[boot_no].head for boot_no in sorted(names, key=names.__getitem__)}
