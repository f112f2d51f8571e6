"""The spool keeps what it accepted, in order and unchanged, whatever the disk does."""

import contextlib
import errno
import itertools
import random
from pathlib import Path

import pytest

from logger.spool import Row, Spool, SpoolError
from logger.spool.disk import BLOCK_BYTES
from tests.faults import KINDS, FaultyDisk, PowerCut

FOLDER = Path("/spool")
KERNEL = "kernel-1"
VALUES = {
    "pv_voltage_v": 301.2,
    "volume_m3": 12.34,
    "motor_running": 1.0,
    "water_level_m": None,
    "pv_current_a_max": 4.5,
}


def opened(disk, **more) -> Spool:
    return Spool(FOLDER, KERNEL, "0000abcd", disk=disk, **more)


def fill(spool: Spool, count: int, sync_each: int = 1) -> list[Row]:
    rows = []
    for number in range(count):
        rows.append(spool.append(1_700_000_000_000 + 60_000 * number, 1000 + 60_000 * number, "good", VALUES))
        if (number + 1) % sync_each == 0:
            spool.sync()
    return rows


def everything(spool: Spool, boot: str) -> list[Row]:
    return spool.rows(boot, spool.first_seq(boot), 10**9, 10**9)


def kept(spool: Spool, boot: str) -> list[Row]:
    return [row for row in everything(spool, boot) if row.values]


def test_rows_come_back_as_they_were_after_a_restart(tmp_path):
    first = Spool(tmp_path, KERNEL, "0000abcd")
    rows = fill(first, 1200)
    first.close()
    second = Spool(tmp_path, KERNEL, "1111abcd")
    assert everything(second, first.boot.name) == rows
    assert second.boots_with_rows() == [first.boot.name, second.boot.name]
    assert second.boot.name == "000002-1111abcd"


def test_only_synced_rows_are_accepted_and_given_out():
    spool = opened(FaultyDisk())
    fill(spool, 5, sync_each=10)
    assert (spool.accepted_seq, spool.unsynced) == (0, 5)
    assert everything(spool, spool.boot.name) == []
    spool.sync()
    assert (spool.accepted_seq, spool.unsynced) == (5, 0)
    assert len(everything(spool, spool.boot.name)) == 5


def life(disk: FaultyDisk, accepted: list[Row], appended: list[Row], freed: list[int]) -> None:
    """Two starts of the program with all that a spool does, except thinning."""
    spool = opened(disk, segment_rows=4)
    for number in range(10):
        clock = "unsure" if number < 3 else "good"
        appended.append(Row(number + 1, 1000 + number, number, clock, VALUES))  # noted first: a fault may come after it
        spool.append(1000 + number, number, clock, VALUES)
        if number % 3 == 2:
            spool.sync()
            accepted[:] = appended[: spool.accepted_seq]
    spool.learn(5000)
    freed[0] = 4  # noted before: a cut amid freeing may have freed already
    spool.free(spool.boot.name, 4)
    spool.remember_time(7000)
    spool.sync()
    accepted[:] = list(appended)
    spool.close()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(8))
def test_every_disk_call_fails_in_turn_and_nothing_accepted_is_lost(kind, seed):
    """Accepted means that `sync` returned; after each fault the spool is opened again as a restart would."""
    for fail_at in itertools.count(1):
        disk = FaultyDisk(seed, kind, fail_at)
        accepted: list[Row] = []
        appended: list[Row] = []
        freed = [0]
        with contextlib.suppress(SpoolError, PowerCut):
            life(disk, accepted, appended, freed)
        after = opened(disk.after_power_cut() if kind == "power cut" else disk.healthy())
        older = [boot for boot in after.boots_with_rows() if boot != after.boot.name]
        assert len(older) <= 1, f"call {fail_at}: a boot was invented: {older}"
        found = kept(after, older[0]) if older else []
        must = [row for row in accepted if row.seq > freed[0]]
        lost = [row.seq for row in must if row not in found]
        assert not lost, f"seed {seed}, {kind} at call {fail_at}: accepted rows lost: {lost}"
        assert [row for row in found if row not in appended] == [], f"seed {seed}, call {fail_at}: rows invented"
        assert [row.seq for row in found] == sorted({row.seq for row in found}), "out of order or twice"
        fill(after, 3)
        assert len(kept(after, after.boot.name)) == 3, "the spool works on after the fault"
        if not disk.fault_hit:
            break
    assert fail_at > 40, "the sweep never reached the later calls"


@pytest.mark.parametrize("left_out", ["sync", "sync_folder"])
def test_the_sweep_would_notice_a_spool_that_leaves_out_a_sync(left_out):
    """The proof above is worth something: a disk that only pretends to sync loses accepted rows in it."""
    lost = 0
    for fail_at in range(10, 80):
        disk = FaultyDisk(0, "power cut", fail_at)
        setattr(disk, left_out, lambda _target: None)
        accepted: list[Row] = []
        freed = [0]
        with contextlib.suppress(PowerCut):
            life(disk, accepted, [], freed)
        after = opened(disk.after_power_cut())
        found = [row for boot in after.boots_with_rows() for row in kept(after, boot)]
        lost += any(row not in found for row in accepted if row.seq > freed[0])
    assert lost > 0


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(4))
def test_thinning_under_faults_never_leaves_more_than_its_holes(kind, seed):
    """Every second row may give way once; a fault amid thinning loses no stretch and doubles nothing."""
    for fail_at in itertools.count(1):
        disk, synced, appended = FaultyDisk(seed, kind, fail_at), 0, []
        try:
            spool = opened(disk, segment_rows=8, limit_bytes=4 * BLOCK_BYTES)
            for number in range(40):
                appended.append(Row(number + 1, number, number, "good", VALUES))
                spool.append(number, number, "good", VALUES)
                spool.sync()
                synced = spool.accepted_seq
        except (SpoolError, PowerCut):
            pass
        after = opened(disk.after_power_cut() if kind == "power cut" else disk.healthy())
        seqs = []
        for boot in after.boots_with_rows()[:-1]:
            rows = kept(after, boot)
            assert all(row in appended for row in rows), f"call {fail_at}: rows invented"
            seqs += [row.seq for row in rows]
        assert seqs == sorted(set(seqs)), f"call {fail_at}: doubled or out of order"
        gaps = [later - earlier for earlier, later in itertools.pairwise([0, *seqs, synced + 1])]
        assert max(gaps) <= 4, f"seed {seed}, {kind} at call {fail_at}: a stretch was lost: {seqs}, accepted {synced}"
        if not disk.fault_hit:
            break
    assert fail_at > 100


@pytest.mark.parametrize("seed", range(20))
def test_a_damaged_record_is_cut_out_counted_and_the_rest_kept(seed):
    disk = FaultyDisk(seed)
    spool = opened(disk)
    rows = fill(spool, 100)
    spool.close()
    path = FOLDER / f"{spool.boot.name}.0000000001.rows"
    size = disk.size(path)
    at = random.Random(seed).randrange(60, size - 120)
    disk.damage(path, at, random.Random(seed).randint(1, 30))
    again = opened(disk)
    found = everything(again, spool.boot.name)
    holes = [row.seq for row in found if not row.values]
    assert again.counts["damaged"] == 1
    assert again.counts["torn"] == 0
    assert 1 <= len(holes) <= 3
    assert [row.seq for row in found] == [row.seq for row in rows], "a tombstone stands for each row cut out"
    assert [row for row in found if row.values] == [row for row in rows if row.seq not in holes]
    assert opened(disk).counts["damaged"] == 0, "cut out once, not again at every start"


def test_a_torn_tail_is_cut_back_to_the_last_good_record():
    disk = FaultyDisk()
    spool = opened(disk)
    rows = fill(spool, 10)
    spool.close()
    path = FOLDER / f"{spool.boot.name}.0000000001.rows"
    content = disk._file(path).content
    del content[-5:]
    again = opened(disk)
    assert again.counts["torn"] == 1
    assert again.counts["damaged"] == 0
    assert kept(again, spool.boot.name) == rows[:9]


def test_a_block_that_the_disk_will_not_give_costs_its_rows_only():
    class BadBlock(FaultyDisk):
        bad = True

        def read(self, path, offset, length):
            if self.bad and str(path).endswith(".rows") and offset < 2 * BLOCK_BYTES and offset + length > BLOCK_BYTES:
                raise OSError(errno.EIO, "Input/output error")
            return super().read(path, offset, length)

    disk = BadBlock()
    spool = opened(disk)
    rows = fill(spool, 500)
    spool.close()
    again = opened(disk)
    assert again.counts["lost_blocks"] == 1
    disk.bad = False  # what was kept was written anew, to other blocks
    found = kept(again, spool.boot.name)
    lost = [row.seq for row in rows if row not in found]
    assert lost == list(range(lost[0], lost[-1] + 1)), "one stretch"
    assert len(lost) <= BLOCK_BYTES / (disk.size(again._closed[0].path) / len(found)) + 2
    assert opened(disk).counts["lost_blocks"] == 0


def test_a_file_that_cannot_be_read_at_all_is_left_for_a_better_day():
    class NoReads(FaultyDisk):
        bad = True

        def read(self, path, offset, length):
            if self.bad and str(path).endswith(".rows"):
                raise OSError(errno.EIO, "Input/output error")
            return super().read(path, offset, length)

    disk = NoReads()
    spool = opened(disk)
    rows = fill(spool, 5)
    spool.close()
    assert opened(disk).counts["lost_blocks"] == 1
    disk.bad = False
    assert kept(opened(disk), spool.boot.name) == rows


def test_a_record_worn_away_while_the_logger_runs_becomes_a_tombstone():
    disk = FaultyDisk()
    spool = opened(disk, segment_rows=50)
    rows = fill(spool, 120)
    disk.damage(FOLDER / f"{spool.boot.name}.0000000001.rows", 300, 4)
    found = everything(spool, spool.boot.name)
    assert [row.seq for row in found] == [row.seq for row in rows]
    assert sum(not row.values for row in found) == spool.counts["damaged"] >= 1


def test_full_thins_evenly_counts_and_never_stops():
    spool = opened(FaultyDisk(), limit_bytes=40 * BLOCK_BYTES, segment_rows=112)
    fill(spool, 12_000, sync_each=50)
    assert spool.on_disk <= 40 * BLOCK_BYTES
    rows = kept(spool, spool.boot.name)
    assert rows[0].seq == 1, "the outage keeps its whole length"
    assert len(rows) == spool.kept_rows
    assert spool.counts["thinned"] + len(rows) == 12_000
    gaps = [later.seq - earlier.seq for earlier, later in itertools.pairwise(rows)]
    assert max(gaps) <= 4, "even: 12,000 rows into room for some 5,000 is every second or fourth"
    assert set(gaps[-500:]) == {1}, "the newest are whole"
    assert [row.seq for row in everything(spool, spool.boot.name)] == list(range(1, 12_001)), "every hole is declared"


def test_thousands_of_short_boots_keep_to_the_limit_too():
    disk = FaultyDisk()
    for number in range(60):
        spool = opened(disk, limit_bytes=20 * BLOCK_BYTES)
        fill(spool, 2)
        assert spool.on_disk <= 20 * BLOCK_BYTES, f"boot {number}"
        spool.close()
    assert spool.counts["thinned"] > 0


def test_stored_frees_whole_files_only_when_all_their_rows_are_stored():
    disk = FaultyDisk()
    spool = opened(disk, segment_rows=10)
    fill(spool, 35)
    spool.free(spool.boot.name, 19)
    assert spool.first_seq(spool.boot.name) == 11
    spool.free(spool.boot.name, 35)
    assert spool.first_seq(spool.boot.name) == 31, "the file being written stays"
    lost = spool.rows(spool.boot.name, 1, 20, 20)
    assert [row.seq for row in lost] == list(range(1, 21))
    assert not any(row.values for row in lost), "asked for again, they are tombstones"
    both = spool.rows(spool.boot.name, 25, 35, 100)
    assert [(row.seq, bool(row.values)) for row in both] == [(seq, seq > 30) for seq in range(25, 36)]
    spool.close()
    after = opened(disk)
    after.free(spool.boot.name, 35)
    assert after.boots_with_rows() == [after.boot.name]


def test_an_offset_learnt_later_serves_every_boot_under_the_same_kernel():
    disk = FaultyDisk()
    first = opened(disk)
    fill(first, 2)
    second = opened(disk)
    fill(second, 2)
    second.learn(123_456)
    third = opened(disk)
    offsets = {name: boot.offset_ms for name, boot in third.boots.by_name.items()}
    assert offsets == {first.boot.name: 123_456, second.boot.name: 123_456, third.boot.name: 123_456}
    other = Spool(FOLDER, "kernel-2", "0000abcd", disk=disk)
    assert other.boot.offset_ms is None, "another start of the kernel has another monotonic clock"


def test_boot_numbers_rise_although_every_row_was_freed_and_although_the_list_of_boots_is_damaged():
    disk = FaultyDisk()
    names = [opened(disk).boot.name for _ in range(3)]
    assert [name[:6] for name in names] == ["000001", "000002", "000003"]
    spool = opened(disk)
    fill(spool, 1)
    disk.damage(FOLDER / "boots.json", 0, 10)
    after = opened(disk)
    assert after.boots.unreadable
    assert after.boot.name.startswith("000005-")


def test_a_failed_disk_says_which_folder_and_refuses_more():
    disk = FaultyDisk(1, "once")
    spool = opened(disk)
    disk.fail_at = disk.calls + 3
    with pytest.raises(SpoolError, match=r"/spool: made to fail"):
        fill(spool, 10)
    with pytest.raises(SpoolError, match="the disk failed earlier"):
        spool.sync()


def test_half_a_year_of_minutes_fits_in_a_stated_number_of_megabytes(tmp_path):
    """180 days x 1440 rows of ten channels: measured on a thirtieth of them, in whole blocks of the disk."""
    spool = Spool(tmp_path, KERNEL, "0000abcd")
    rng = random.Random(7)
    for number in range(6 * 1440):
        values = {
            "pv_voltage_v": 200 + rng.random() * 50, "pv_current_a": rng.random() * 9, "motor_current_a": rng.random() * 8,
            "motor_speed_rpm": rng.random() * 3000, "volume_m3": 4000 + number * 0.01, "water_level_m": 40 + rng.random(),
            "irradiance_w_m2": rng.random() * 1000, "module_temp_c": 20 + rng.random() * 40, "low_level_probe_wet": 1.0,
            "tank_float_up": 0.0,
        }  # fmt: skip
        spool.append(1_760_000_000_000 + number * 60_000, number * 60_000, "good", values)
    spool.sync()
    assert spool.on_disk * 30 < 16_000_000
