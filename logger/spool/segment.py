"""One file of the spool: consecutive rows of one boot, `<boot>.<first seq>.rows`.

Flow: spool.py -> HERE -> frames.py, row.py, disk.py.
Never: which file is thinned or freed, and when.
"""

import math
import re
from dataclasses import dataclass
from pathlib import Path

from logger.spool.disk import BLOCK_BYTES, Disk, read_whole, write_whole
from logger.spool.frames import Scan, framed, scan
from logger.spool.row import Row, RowError, from_record, to_record

NAME = re.compile(r"(\d{6}-[0-9a-f]{8})\.(\d{10})\.rows")
ROWS_MAX = 512


@dataclass
class Segment:
    """What the spool remembers of a file; `size` in bytes. Without a good row in it, `last_seq` is below `first_seq`."""

    path: Path
    boot: str
    first_seq: int
    last_seq: int = 0
    rows: int = 0
    size: int = 0
    first_ms: int | None = None

    @property
    def on_disk(self) -> int:
        """Bytes that it takes, in whole blocks."""
        return -(-self.size // BLOCK_BYTES) * BLOCK_BYTES

    @property
    def level(self) -> int:
        """How often it was thinned: 0 = every row is there, 1 = every second ..."""
        return round(math.log2((self.last_seq - self.first_seq + 1) / self.rows)) if self.rows else 0


@dataclass(frozen=True)
class Loaded:
    """A file read and judged. `damaged`: stretches or records in the middle that are no good; `lost_blocks`: the disk's.

    `rows` None: the file is whole and was only surveyed.
    """

    segment: Segment
    rows: list[Row] | None
    damaged: int
    torn: bool
    lost_blocks: int


def file_name(boot: str, first_seq: int) -> str:
    """The name of the file whose first row is `first_seq`."""
    return f"{boot}.{first_seq:010d}.rows"


def named(path: Path) -> Segment | None:
    """The segment that a file's name speaks of, still unread; None: no such file of ours."""
    found = NAME.fullmatch(path.name)
    return Segment(path, found[1], int(found[2])) if found else None


def survey(disk: Disk, segment: Segment) -> Loaded:
    """As `load`, but the rows of a file whose every record is good are not decoded, which is most of the work."""
    content, lost_blocks = read_whole(disk, segment.path)
    found = scan(content)
    try:
        ends = [from_record(found.records[place][1]) for place in (0, -1)] if found.records else []
    except RowError:
        ends = []
    if found.cuts or lost_blocks or not ends or ends[-1].seq - ends[0].seq + 1 < len(found.records):
        return _loaded(segment, found, lost_blocks)
    segment.size, segment.rows = len(content), len(found.records)
    segment.last_seq, segment.first_ms = ends[-1].seq, ends[0].time_ms
    return Loaded(segment, None, 0, False, 0)


def load(disk: Disk, segment: Segment) -> list[Row]:
    """Every good row, in order of seq. OSError as the disk's, but not for blocks that it cannot read."""
    content, lost_blocks = read_whole(disk, segment.path)
    return _loaded(segment, scan(content), lost_blocks).rows or []


def _loaded(segment: Segment, found: Scan, lost_blocks: int) -> Loaded:
    rows, damaged = [], found.damaged
    last = segment.first_seq - 1
    for _, record in found.records:
        try:
            row = from_record(record)
        except RowError:
            damaged += 1
            continue
        if row.seq <= last:
            damaged += 1  # out of order: nothing that this program writes
            continue
        rows.append(row)
        last = row.seq
    segment.size = found.length
    describe(segment, rows)
    return Loaded(segment, rows, damaged, found.torn, lost_blocks)


def describe(segment: Segment, rows: list[Row]) -> None:
    """Set what the segment remembers of its rows."""
    segment.rows = len(rows)
    segment.last_seq = rows[-1].seq if rows else segment.first_seq - 1
    segment.first_ms = rows[0].time_ms if rows else None


def rewrite(disk: Disk, segment: Segment, rows: list[Row]) -> None:
    """Put these rows in the file's place, at once, and synced."""
    content = b"".join(framed(to_record(row)) for row in rows)
    write_whole(disk, segment.path, content)
    segment.size = len(content)
    describe(segment, rows)
