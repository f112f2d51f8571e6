"""Records and frames: exact there and back, every cut and every damage seen."""

import math
import random

import pytest

from logger.record.channels import CHANNELS, EXTREMES
from logger.record.reading import CLOCKS
from logger.spool.frames import RECORD_BYTES_MAX, framed, scan
from logger.spool.row import CODED, Row, RowError, from_record, on_step, to_record

NAMES = [name + end for name in CHANNELS for end in ("", *EXTREMES)]


def some_row(rng: random.Random) -> Row:
    values = {}
    for name in rng.sample(NAMES, rng.randint(0, len(NAMES))):
        channel = CHANNELS[name.removesuffix("_min").removesuffix("_max")]
        value = rng.choice([None, channel.lowest, channel.highest, rng.uniform(channel.lowest, channel.highest)])
        values[name] = on_step(name, value)
    seq, time_ms, mono_ms = rng.randint(1, 1 << 40), rng.randint(-(1 << 45), 1 << 45), rng.randint(0, 1 << 45)
    return Row(seq, time_ms, mono_ms, rng.choice(CLOCKS), values)


@pytest.mark.parametrize("seed", range(50))
def test_any_row_comes_back_exactly(seed):
    row = some_row(random.Random(seed))
    assert from_record(to_record(row)) == row


def test_every_channel_has_its_place():
    assert set(CODED) == set(CHANNELS), "a new channel goes to the end of CODED in logger/spool/row.py"


@pytest.mark.parametrize("name", NAMES)
def test_values_are_kept_at_the_channels_step(name):
    channel = CHANNELS[name.removesuffix("_min").removesuffix("_max")]
    rng = random.Random(name)
    for _ in range(20):
        value = rng.uniform(channel.lowest, channel.highest)
        kept = on_step(name, value)
        assert abs(kept - value) <= channel.step / 2 * 1.000001
        assert on_step(name, kept) == kept
        digits = max(0, round(-math.log10(channel.step)))
        assert kept == round(kept, digits), "the float nearest to the decimal"


@pytest.mark.parametrize("seed", range(20))
def test_a_record_cut_anywhere_is_refused_or_shorter_never_wrong(seed):
    row = some_row(random.Random(seed))
    record = to_record(row)
    for length in range(1, len(record)):
        try:
            cut = from_record(record[:length])
        except RowError:
            continue
        assert cut.values.items() <= row.values.items()
        assert len(cut.values) < len(row.values)


def test_another_version_and_an_unknown_channel_are_refused():
    with pytest.raises(RowError, match="version 9, this program reads 1"):
        from_record(b"\x09\x01")
    with pytest.raises(RowError, match="no channel has the code 255"):
        from_record(to_record(Row(1, 2, 3)) + b"\xff\x00")


def records(count: int, seed: int) -> list[bytes]:
    rng = random.Random(seed)
    return [rng.randbytes(rng.randint(1, 60)) for _ in range(count)]


def test_frames_come_back_and_a_cut_at_any_byte_leaves_the_whole_ones():
    all_records = records(6, 1)
    content = b"".join(map(framed, all_records))
    ends = [0]
    for record in all_records:
        ends.append(ends[-1] + len(framed(record)))
    for length in range(len(content) + 1):
        found = scan(content[:length])
        whole = sum(end <= length for end in ends) - 1
        assert [record for _, record in found.records] == all_records[:whole]
        assert found.damaged == 0
        assert found.torn == (length not in ends)


@pytest.mark.parametrize("seed", range(100))
def test_one_damaged_stretch_loses_only_the_frames_it_touches(seed):
    rng = random.Random(seed)
    all_records = records(20, seed)
    frames = [framed(record) for record in all_records]
    content = bytearray(b"".join(frames))
    at, length = rng.randrange(len(content) - 10), rng.randint(1, 10)
    for place in range(at, at + length):
        content[place] ^= rng.randint(1, 255)
    starts = [sum(map(len, frames[:number])) for number in range(20)]
    touched = [start < at + length and at < start + len(frame) for start, frame in zip(starts, frames, strict=True)]
    found = scan(bytes(content))
    assert [r for _, r in found.records] == [r for r, hit in zip(all_records, touched, strict=True) if not hit]
    assert len(found.cuts) == 1


@pytest.mark.parametrize("seed", range(20))
def test_garbage_holds_no_record_and_ends_no_program(seed):
    assert scan(random.Random(seed).randbytes(5000)).records == ()


@pytest.mark.parametrize("length", [0, RECORD_BYTES_MAX + 1])
def test_no_frame_for_an_empty_or_overlong_record(length):
    with pytest.raises(ValueError, match=f"a record has 1 to 2048 bytes, got {length}"):
        framed(bytes(length))
