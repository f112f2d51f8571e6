"""Which rows give way when the spool has reached its limit: every second of the oldest, evenly.

The least thinned files go first, and of those the oldest; the newest quarter is spared while older rows can give way.
So a long outage keeps its whole length, at half, a quarter ... of the rows, and no stretch is lost as a whole.
Flow: spool.py asks -> HERE. Never: a file, a count.
"""

from logger.spool.row import Row
from logger.spool.segment import Segment

SPARED_SHARE = 0.25
ROWS_MIN = 3
"""A file of fewer rows cannot be thinned and keep both ends of what it spans."""


def pick(closed: list[Segment], rows_max: int) -> list[Segment]:
    """One file, or neighbours of one boot that fit into one, whose rows give way next; empty: none can.

    `closed` in order of (boot, seq); `rows_max` a file.
    """
    spared_rows = SPARED_SHARE * sum(segment.rows for segment in closed)
    for allowed in (_older(closed, spared_rows), closed):
        able = [segment for segment in allowed if segment.rows >= ROWS_MIN]
        if able:
            least = min(segment.level for segment in able)
            first = next(segment for segment in able if segment.level == least)
            return _neighbours(closed, first, rows_max)
    return []


def halved(rows: list[Row]) -> list[Row]:
    """Every second row, the first among them."""
    return rows[::2]


def _older(closed: list[Segment], spared_rows: float) -> list[Segment]:
    kept, spared = list(closed), 0
    while kept and spared < spared_rows:
        spared += kept.pop().rows
    return kept


def _neighbours(closed: list[Segment], first: Segment, rows_max: int) -> list[Segment]:
    """`first` and what follows it, as long as it is of the same boot, as thin, and half of all fits into one file."""
    together, rows = [first], first.rows
    for following in closed[closed.index(first) + 1 :]:
        rows += following.rows
        alike = following.boot == first.boot and following.level == first.level and following.rows > 0
        if not alike or rows > 2 * rows_max:
            break
        together.append(following)
    return together
