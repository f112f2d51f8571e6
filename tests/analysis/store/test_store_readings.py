"""Readings: taken once, merged by time whatever the order, told by boot as far as none is missing."""

import itertools
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.rows import Rows
from analysis.store import Store
from analysis.store.readings import Taken, take
from analysis.store.sequences import Sequences
from analysis.store.tables import number_of
from logger.record.reading import Reading

BOOT, LATER = "000001-aaaaaaaa", "000002-bbbbbbbb"
START = 1_700_000_000_000


def made(seq: int, boot: str | None = BOOT, at: int | None = None, clock="good", **values) -> Reading:
    """A reading of the site `north`, a second apart from its neighbours."""
    values = values or {"flow_m3_h": float(seq)}
    return Reading("north", START + 1000 * (seq if at is None else at), values, boot, seq, clock)


def taken(store: Store, *readings: Reading) -> Taken:
    """Store them in one transaction."""
    with store.writing() as connection:
        return take(connection, number_of(connection, "north"), readings)


def flows(store: Store) -> dict[int, float]:
    """Flow by second after the start."""
    rows = store.readings("north", 0, 1 << 60)
    return dict(zip(((rows.time_ms - START) // 1000).tolist(), rows["flow_m3_h"].tolist(), strict=True))


def test_a_reading_is_taken_once(store):
    assert taken(store, *map(made, range(1, 51))) == Taken(stored=50, from_ms=START + 1000, newest_ms=START + 50_000)
    assert taken(store, *map(made, range(26, 76))) == Taken(
        stored=25, duplicate=25, from_ms=START + 51_000, newest_ms=START + 75_000
    )
    assert taken(store, *map(made, range(1, 76))) == Taken(duplicate=75)
    assert flows(store) == {seq: float(seq) for seq in range(1, 76)}
    assert store.stored("north") == {BOOT: 75}


def test_stored_stops_before_a_hole_and_passes_it_once_filled(store):
    taken(store, made(1), made(2), made(5), made(6))
    assert store.stored("north") == {BOOT: 2}
    taken(store, made(4))
    assert store.stored("north") == {BOOT: 2}
    taken(store, made(3))
    assert store.stored("north") == {BOOT: 6}
    taken(store, made(2, LATER))
    assert store.stored("north") == {BOOT: 6, LATER: 0}


def test_a_tombstone_lets_stored_pass_and_never_hides_a_reading(store):
    taken(store, made(1), Reading("north", START, {}, BOOT, 2), made(3))
    assert store.stored("north") == {BOOT: 3}
    assert sorted(flows(store)) == [1, 3]
    assert taken(store, made(2)).stored == 1
    assert taken(store, Reading("north", START, {}, BOOT, 2)).stored == 0
    assert sorted(flows(store)) == [1, 2, 3]


def test_of_two_rows_of_one_time_the_later_boot_and_sequence_wins(store):
    assert taken(store, made(5, at=1, flow_m3_h=1.0), made(4, at=1, flow_m3_h=9.0)).conflicting == 1
    assert flows(store) == {1: 1.0}
    taken(store, made(1, LATER, at=1, flow_m3_h=7.0))
    assert flows(store) == {1: 7.0}


def test_rows_without_sequence_merge_by_channel(store):
    plain = [
        Reading("north", START, {"flow_m3_h": 1.0, "water_level_m": None}),
        Reading("north", START, {"flow_m3_h": 2.0}),
        Reading("north", START, {"water_level_m": 40.0, "flow_m3_h_max": 3.0}),
    ]
    assert taken(store, *plain).conflicting == 2
    assert (
        taken(
            store, plain[2], Reading("north", START, {"flow_m3_h": 2.0, "water_level_m": 40.0, "flow_m3_h_max": 3.0})
        ).duplicate
        == 1
    )
    rows = store.readings("north", 0, 1 << 60)
    assert [rows[name].tolist() for name in ("flow_m3_h", "water_level_m", "flow_m3_h_max")] == [[2.0], [40.0], [3.0]]


def test_any_order_of_arrival_stores_the_same(store):
    readings = [
        made(seq, boot, at=seq % 7, flow_m3_h=seq + len(boot)) for boot in (BOOT, LATER) for seq in range(1, 15)
    ]
    readings += [Reading("north", START + 1000 * at, {"flow_m3_h": float(at)}) for at in range(9)]
    last: dict[int, float] = {}
    for seed in range(6):
        shuffled = readings + random.Random(seed).sample(readings, 9)
        random.Random(seed).shuffle(shuffled)
        with store.writing() as connection:
            for table in ("reading", "seen", "change"):
                connection.exec_driver_sql(f"delete from {table}")
        for batch in zip(*[iter(shuffled)] * 5, strict=False):
            taken(store, *batch)
        taken(store, *shuffled[-5:])
        assert last in ({}, flows(store))
        last = flows(store)
    assert len(last) == 9


def test_a_reading_without_a_known_time_is_kept_aside_until_it_is_repaired(store):
    assert taken(store, made(1, at=-500, clock="unsure"), made(2)).unsure == 1
    assert store.stored("north") == {BOOT: 2}
    assert sorted(flows(store)) == [2]
    assert taken(store, made(1, clock="repaired")) == Taken(stored=1, from_ms=START + 1000, newest_ms=START + 1000)
    assert taken(store, made(1, at=-500, clock="unsure")) == Taken(duplicate=1)
    assert sorted(flows(store)) == [1, 2]


def test_an_error_leaves_nothing_half_written(store):
    with pytest.raises(ValueError, match="run from 1"):
        taken(store, made(1), made(0))
    assert flows(store) == {}
    assert store.stored("north") == {}


def test_history_is_loaded_at_once_and_read_back(store):
    many = 1000
    rows = Rows(
        START + 60_000 * np.arange(many),
        {
            "flow_m3_h": np.where(np.arange(many) % 3, np.arange(many) / 8, np.nan),
            "pv_voltage_v_max": np.full(many, 200.0),
        },
    )
    assert store.load_history("north", rows) == many
    back = store.readings("north", START + 60_000, START + 60_000 * 500)
    assert np.array_equal(back.time_ms, rows.time_ms[1:500])
    assert np.array_equal(back["flow_m3_h"], rows["flow_m3_h"][1:500], equal_nan=True)
    assert np.array_equal(back["pv_voltage_v_max"], rows["pv_voltage_v_max"][1:500])
    assert store.latest("north").time_ms == rows.time_ms[-1]
    with pytest.raises(ValueError, match="must rise"):
        store.load_history("north", rows.take(slice(None, None, -1)))


@given(st.lists(st.integers(1, 40)), st.lists(st.integers(1, 40)))
def test_sequences_are_a_set_of_numbers(first, second):
    kept = Sequences()
    kept.add_each(first)
    kept.add_each(second)
    everything = set(first) | set(second)
    assert {seq for seq in range(1, 50) if seq in kept} == everything
    assert kept.head == next(seq for seq in itertools.count(0) if seq + 1 not in everything)
    assert all(high + 1 < low for (_, high), (low, _) in itertools.pairwise(kept.ranges))
