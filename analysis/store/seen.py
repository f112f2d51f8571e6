"""Per boot of a board: which sequences came, with values (taken) or without (void), in tables.

A void one is a tombstone: nothing will come under that number, so that `stored` may pass over it. Should its reading come
all the same, late, it is taken: so the order of arrival plays no part.
Never: the set arithmetic (sequences.py).
"""

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, delete, func, select

from analysis.store.schema import boot, seen, site
from analysis.store.sequences import Sequences
from analysis.store.tables import insert_into, pairs

BOOTS_TOLD_MAX = 100
"""A board's spool holds few boots; those long past need not be told again for ever."""


@dataclass
class Came:
    """What came of one boot."""

    taken: Sequences
    void: Sequences


def boot_numbers(connection: Connection, wanted: set[tuple[int, str]]) -> dict[tuple[int, str], int]:
    """The numbers of boots, asked for by (site number, name); a new boot gets one."""
    if not wanted:
        return {}
    sites, names = {site_no for site_no, _ in wanted}, {name for _, name in wanted}
    asked = select(boot.c.site_no, boot.c.name, boot.c.no).where(boot.c.site_no.in_(sites), boot.c.name.in_(names))

    def known() -> dict[tuple[int, str], int]:
        return {(row[0], row[1]): row[2] for row in connection.execute(asked)}

    found = known()
    new = sorted(wanted - set(found))
    if not new:
        return found
    statement = insert_into(connection, boot).on_conflict_do_nothing()
    connection.execute(statement, [{"site_no": site_no, "name": name} for site_no, name in new])
    return known()


def boot_names(connection: Connection, numbers: set[int]) -> dict[int, str]:
    """The other way round."""
    if not numbers:
        return {}
    asked = select(boot.c.no, boot.c.name).where(boot.c.no.in_(numbers))
    return pairs(connection, asked)


def load(connection: Connection, boot_nos: Collection[int]) -> dict[int, Came]:
    """What came of boots, each locked until the transaction ends so that two workers do not overwrite each other.

    Locked in the order of their numbers, so that two workers never wait for each other.
    """
    if not boot_nos:
        return {}
    if connection.dialect.name != "sqlite":  # there the one writer has the whole database
        connection.execute(select(boot.c.no).where(boot.c.no.in_(boot_nos)).order_by(boot.c.no).with_for_update())
    asked = select(seen.c.boot_no, seen.c.void, seen.c.first_seq, seen.c.last_seq).where(seen.c.boot_no.in_(boot_nos))
    ranges: dict[tuple[int, bool], list[tuple[int, int]]] = {}
    for boot_no, void, first, last in connection.execute(asked):
        ranges.setdefault((boot_no, bool(void)), []).append((first, last))
    return {no: Came(*(Sequences(ranges.get((no, void), ())) for void in (False, True))) for no in boot_nos}


def save(connection: Connection, before: dict[int, Came], after: dict[int, Came]) -> None:
    """Write what changed, by boot."""
    gone: list[dict[str, int]] = []
    fresh: list[dict[str, int]] = []
    for boot_no in after:
        for void, old, new in (
            (False, before[boot_no].taken, after[boot_no].taken), (True, before[boot_no].void, after[boot_no].void),
        ):  # fmt: skip
            was, is_now = set(old.ranges), set(new.ranges)
            key = {"boot_no": boot_no, "void": void}
            gone += [
                {f"the_{name}": value for name, value in {**key, "first_seq": low}.items()} for low, _ in was - is_now
            ]
            fresh += [{**key, "first_seq": low, "last_seq": high} for low, high in sorted(is_now - was)]
    if gone:
        mine = (seen.c[name] == bindparam(f"the_{name}") for name in ("boot_no", "void", "first_seq"))
        connection.execute(delete(seen).where(*mine), gone)
    if fresh:
        connection.execute(seen.insert(), fresh)


def heads(connection: Connection, site_ids: Collection[str]) -> dict[str, dict[str, int]]:
    """By site and boot, newest BOOTS_TOLD_MAX of a site: the highest sequence up to which none is missing.

    0 where the first is missing. A site that the store does not know is absent.
    """
    place = func.row_number().over(partition_by=boot.c.site_no, order_by=boot.c.name.desc()).label("place")
    of_sites = select(boot.c.no, boot.c.name, site.c.id, place).join(site, site.c.no == boot.c.site_no)
    ranked = of_sites.where(site.c.id.in_(site_ids)).subquery()
    newest = ranked.c.place <= BOOTS_TOLD_MAX
    known = connection.execute(select(site.c.id).where(site.c.id.in_(site_ids))).scalars()
    found: dict[str, dict[str, int]] = {name: {} for name in known}
    ranges = select(ranked.c.no, ranked.c.id, ranked.c.name, seen.c.first_seq, seen.c.last_seq).where(newest)
    of_boot: dict[tuple[str, str], Sequences] = {}
    # in one statement: between two, another worker may begin a boot
    for row in connection.execute(ranges.join(seen, seen.c.boot_no == ranked.c.no, isouter=True)):
        known_of = of_boot.setdefault((row.name, row.id), Sequences())
        if row.first_seq is not None:
            known_of.add(row.first_seq, row.last_seq)
    for name, site_id in sorted(of_boot):
        found[site_id][name] = of_boot[name, site_id].head
    return found
