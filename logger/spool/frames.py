"""Bytes <-> records: each record stands in a frame with its length and a CRC-32, so that a torn or damaged one shows.

    frame = 0xA7, length of the record (2 bytes, big-endian, 1 to RECORD_BYTES_MAX), CRC-32 of length and record (4), record

Flow: row.py's records -> HERE -> segment.py's files, and back.
Never: a file, what a record means. After damage the next good frame is looked for byte by byte.
"""

import struct
import zlib
from dataclasses import dataclass

MARK = 0xA7
HEAD = struct.Struct(">BHI")
RECORD_BYTES_MAX = 2048


@dataclass(frozen=True)
class Scan:
    """What a file's bytes hold.

    records
        (offset of its frame, record), as they stand.
    cuts
        (start, end) of every stretch that is no good frame; one that reaches the end is the torn tail.
    length
        Of all the bytes.
    """

    records: tuple[tuple[int, bytes], ...]
    cuts: tuple[tuple[int, int], ...]
    length: int

    @property
    def torn(self) -> bool:
        """Does the last stretch end in something that is no frame?"""
        return bool(self.cuts) and self.cuts[-1][1] == self.length

    @property
    def damaged(self) -> int:
        """Stretches cut out before the last good record."""
        return len(self.cuts) - self.torn


def framed(record: bytes) -> bytes:
    """One record in its frame. ValueError: empty or too long."""
    if not 1 <= len(record) <= RECORD_BYTES_MAX:
        raise ValueError(f"a record has 1 to {RECORD_BYTES_MAX} bytes, got {len(record)}")
    return HEAD.pack(MARK, len(record), _check(record)) + record


def scan(content: bytes) -> Scan:
    """Every good record in `content`, and what had to be cut out to find them."""
    records, cuts, at, bad_from = [], [], 0, None
    while at < len(content):
        record = _frame_at(content, at)
        if record is None:
            bad_from = at if bad_from is None else bad_from
            found = content.find(MARK, at + 1)
            at = len(content) if found < 0 else found
            continue
        if bad_from is not None:
            cuts.append((bad_from, at))
            bad_from = None
        records.append((at, record))
        at += HEAD.size + len(record)
    if bad_from is not None:
        cuts.append((bad_from, len(content)))
    return Scan(tuple(records), tuple(cuts), len(content))


def _frame_at(content: bytes, at: int) -> bytes | None:
    if content[at] != MARK or at + HEAD.size > len(content):
        return None
    _, length, check = HEAD.unpack_from(content, at)
    start = at + HEAD.size
    record = content[start : start + length]
    if not 1 <= length <= RECORD_BYTES_MAX or len(record) != length or _check(record) != check:
        return None
    return record


def _check(record: bytes) -> int:
    return zlib.crc32(record, zlib.crc32(len(record).to_bytes(2, "big")))
