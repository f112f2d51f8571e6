"""Readings in: each is taken once, and rows of equal time are merged as the contract says.

Identity is (site, boot, sequence). Of two rows of one time, that of the later (boot, sequence) wins; among rows that carry
neither, each channel keeps what is not null, then the larger value. So the order of arrival plays no part.
A reading whose board did not know the time is kept aside until the board has repaired it.
Never: decoding (analysis/ingest), reading out (read_out.py).
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, select

from analysis.store import seen
from analysis.store.schema import CLOCK_NUMBERS, reading, reading_unsure
from analysis.store.sequences import Sequences
from analysis.store.state import note_changes
from analysis.store.tables import insert_new, to_json, upsert
from logger.record.channels import CHANNELS
from logger.record.reading import Reading

TIMES_PER_QUERY = 500  # below every SQLite's limit on variables

Row = dict[str, Any]
Boots = Mapping[tuple[int, str], int]
"""A boot's number by (site number, name)."""
NOTHING: Row = {**dict.fromkeys(CHANNELS), "extremes": None}
ROW_LENGTH = 5 + len(NOTHING)


@dataclass(frozen=True)
class Taken:
    """What became of a batch. `from_ms`, `newest_ms`: of the rows that are new to judge; None where there are none."""

    stored: int = 0
    duplicate: int = 0
    conflicting: int = 0
    unsure: int = 0
    from_ms: int | None = None
    newest_ms: int | None = None


def take(connection: Connection, number: int, readings: Iterable[Reading]) -> Taken:
    """`take_all` of one site."""
    return take_all(connection, {number: list(readings)})[number]


def take_all(connection: Connection, given: Mapping[int, list[Reading]]) -> dict[int, Taken]:
    """Store what is new of the readings of sites (by number), and note from when on each is to be judged.

    A reading without values is a tombstone: its sequence counts as arrived, no row is kept. ValueError: a sequence below 1.
    """
    named = {(no, one.boot) for no, some in given.items() for one in some if one.boot is not None}
    boots = seen.boot_numbers(connection, named)
    fresh, duplicates = _not_taken_before(connection, given, boots)
    unsure = {no: [one for one in some if one.clock == "unsure"] for no, some in fresh.items()}
    _keep_aside(connection, unsure, boots)
    rows = {no: [_row(no, boots, one) for one in some if one.clock != "unsure"] for no, some in fresh.items()}
    taken: dict[int, Taken] = {}
    for no, (stored, merged) in _written(connection, rows).items():
        times = [row["time_ms"] for row in stored]
        taken[no] = Taken(
            len(stored), duplicates[no] + merged["duplicate"], merged["conflicting"], len(unsure[no]),
            min(times, default=None), max(times, default=None),
        )  # fmt: skip
    note_changes(connection, {no: one.from_ms for no, one in taken.items() if one.from_ms is not None})
    return taken


def _not_taken_before(
    connection: Connection, given: Mapping[int, list[Reading]], boots: Boots
) -> tuple[dict[int, list[Reading]], dict[int, int]]:
    """By site those whose (boot, sequence) is new, or was kept aside and has its time repaired now; and how many are not."""
    fresh: dict[int, list[Reading]] = {no: [] for no in given}
    duplicates = dict.fromkeys(given, 0)
    listed: dict[tuple[int, int], dict[int, Reading]] = {}
    for no, some in given.items():
        for one in some:
            if one.boot is None or one.seq is None:
                fresh[no] += [one] if one.values else []
                continue
            same = listed.setdefault((no, boots[no, one.boot]), {})
            duplicates[no] += one.seq in same
            same[one.seq] = _better(same.get(one.seq), one)
    came = seen.load(connection, [boot_no for _, boot_no in listed])
    before = {no: seen.Came(Sequences(one.taken.ranges), Sequences(one.void.ranges)) for no, one in came.items()}
    for (no, boot_no), same in listed.items():
        new, again = _one_boot(connection, boot_no, came[boot_no], same)
        fresh[no] += new
        duplicates[no] += again
    seen.save(connection, before, came)
    return fresh, duplicates


def _one_boot(
    connection: Connection, boot_no: int, came: seen.Came, listed: dict[int, Reading]
) -> tuple[list[Reading], int]:
    """Of one boot the readings to take, and how many came before; `came` learns of all."""
    full = {seq: one for seq, one in listed.items() if one.values}
    again = [seq for seq in full if seq in came.taken]
    repaired = _out_of_aside(connection, boot_no, [seq for seq in again if full[seq].clock != "unsure"])
    new = [one for seq, one in full.items() if seq not in came.taken]
    came.taken.add_each(full)
    came.void.add_each(seq for seq in listed if seq not in full)
    return new + [full[seq] for seq in repaired], len(again) - len(repaired)


def _better(one: Reading | None, other: Reading) -> Reading:
    """Of two copies of one reading the one with values, then the better clock; of equal ones either: they are the same."""
    if one is None:
        return other
    return max(one, other, key=lambda copy: (bool(copy.values), CLOCK_NUMBERS[copy.clock]))


def _out_of_aside(connection: Connection, boot_no: int, seqs: list[int]) -> list[int]:
    """Those of `seqs` that lay aside for want of a time; they lie there no longer."""
    found: list[int] = []
    for start in range(0, len(seqs), TIMES_PER_QUERY):
        mine = (reading_unsure.c.boot_no == boot_no) & reading_unsure.c.seq.in_(seqs[start : start + TIMES_PER_QUERY])
        found += connection.execute(select(reading_unsure.c.seq).where(mine)).scalars()
        connection.execute(delete(reading_unsure).where(mine))
    return found


def _keep_aside(connection: Connection, unsure: Mapping[int, list[Reading]], boots: Boots) -> None:
    rows = [_row(no, boots, one) for no, some in unsure.items() for one in some if one.boot is not None]
    for row in rows:
        del row["clock"]
    upsert(connection, reading_unsure, rows)


def _row(number: int, boots: Boots, one: Reading) -> Row:
    values = one.values
    row = {
        "site_no": number,
        "time_ms": one.time_ms,
        "boot_no": None if one.boot is None else boots[number, one.boot],
        "seq": one.seq,
        "clock": CLOCK_NUMBERS[one.clock],
        **NOTHING,
        **values,
    }
    if len(row) > ROW_LENGTH:  # rare: lows and highs within an interval
        extremes = {name: row.pop(name) for name in values if name not in CHANNELS}
        row["extremes"] = to_json(extremes)
    return row


def _written(connection: Connection, rows: Mapping[int, list[Row]]) -> dict[int, tuple[list[Row], dict[str, int]]]:
    """Write rows by site; what was written, and what merging dropped.

    Nearly always no row is there at any of the times, and one statement writes all. Where some is, that is taken back, and
    they are merged site by site.
    """
    found: dict[int, tuple[list[Row], dict[str, int]]] = {
        no: (some, {"duplicate": 0, "conflicting": 0}) for no, some in rows.items()
    }
    every = [row for some in rows.values() for row in some]
    if not every:
        return found
    if len({(row["site_no"], row["time_ms"]) for row in every}) == len(every):
        attempt = connection.begin_nested()
        if insert_new(connection, reading, every) == len(every):
            attempt.commit()
            return found
        attempt.rollback()
    found = {no: _merge_by_time(connection, no, some) for no, some in rows.items()}
    upsert(connection, reading, [row for stored, _ in found.values() for row in stored])
    return found


def _merge_by_time(connection: Connection, number: int, rows: list[Row]) -> tuple[list[Row], dict[str, int]]:
    """The rows to write, one a time, merged with what is stored; and what was dropped by it."""
    there = _stored_at(connection, number, sorted({row["time_ms"] for row in rows}))
    names = seen.boot_names(connection, {row["boot_no"] for row in [*rows, *there.values()]} - {None})
    dropped = {"duplicate": 0, "conflicting": 0}
    write: dict[int, Row] = {}
    for row in rows:
        other = write.get(row["time_ms"]) or there.get(row["time_ms"])
        merged = row if other is None else merge(other, row, names)
        if other is not None:
            dropped["conflicting" if _differ(other, row) else "duplicate"] += 1
        if merged != there.get(row["time_ms"]):
            write[row["time_ms"]] = merged
    return list(write.values()), dropped


def _stored_at(connection: Connection, number: int, times: list[int]) -> dict[int, Row]:
    found: dict[int, Row] = {}
    for start in range(0, len(times), TIMES_PER_QUERY):
        asked = select(reading).where(
            reading.c.site_no == number, reading.c.time_ms.in_(times[start : start + TIMES_PER_QUERY])
        )
        found |= {row["time_ms"]: dict(row) for row in connection.execute(asked).mappings()}
    return found


def _values(row: Row) -> dict[str, float | None]:
    return {name: row[name] for name in CHANNELS} | (json.loads(row["extremes"]) if row["extremes"] else {})


def _differ(one: Row, other: Row) -> bool:
    return _values(one) != _values(other)


def merge(one: Row, other: Row, boot_names: dict[int, str]) -> Row:
    """One row out of two of equal time; which is given first plays no part."""
    ranks = [(boot_names.get(row["boot_no"], ""), row["seq"] or 0) for row in (one, other)]
    if ranks[0] != ranks[1]:
        return one if ranks[0] > ranks[1] else other
    values, others = _values(one), _values(other)
    both = {name: _larger(values.get(name), others.get(name)) for name in {**values, **others}}
    extremes = {name: both[name] for name in sorted(both) if name not in CHANNELS}
    return {
        **one,
        "clock": max(one["clock"], other["clock"]),
        **{name: both[name] for name in CHANNELS},
        "extremes": to_json(extremes) if extremes else None,
    }


def _larger(one: float | None, other: float | None) -> float | None:
    if one is None or other is None:
        return other if one is None else one
    return max(one, other)
