"""What an earlier start left in the spool's folder: every file read once, damage cut out, half-done work removed.

Flow: spool.py opens -> HERE -> segment.py. Never: a row that reads well thrown away.
"""

from pathlib import Path

from logger.spool.disk import Disk
from logger.spool.segment import Segment, named, rewrite, survey


def open_all(disk: Disk, folder: Path, counts: dict[str, int]) -> list[Segment]:
    """The files with rows in them, in order of (boot, seq). `counts`: what was cut out is added. OSError as the disk's."""
    kept: list[Segment] = []
    for name in disk.names(folder):
        if name.endswith(".new"):
            disk.remove(folder / name)  # a file that was to be put in place as a whole, and was not
        elif segment := named(folder / name):
            _take(disk, segment, kept, counts)
    return kept


def _take(disk: Disk, segment: Segment, kept: list[Segment], counts: dict[str, int]) -> None:
    found = survey(disk, segment)
    counts["torn"] += found.torn
    counts["damaged"] += found.damaged
    counts["lost_blocks"] += found.lost_blocks
    before = kept[-1] if kept else None
    merged = before is not None and before.boot == segment.boot and segment.first_seq <= before.last_seq
    if found.lost_blocks and not segment.rows:
        return  # the disk gives nothing of it today; it is left for a better day
    if merged or not segment.rows:
        # Nothing in it, or its rows stand in the file before: thinning was cut off between rename and remove.
        disk.remove(segment.path)
        return
    if found.rows is not None:
        rewrite(disk, segment, found.rows)
    kept.append(segment)
