"""Which rows give way when the spool has reached its limit: every second of the oldest, evenly.

The least thinned files go first, and of those the oldest; the newest quarter is spared while older rows can give way.
So a long outage keeps its whole length, at half, a quarter ... of the rows, and no stretch is lost as a whole.
Flow: spool.py asks -> HERE. Never: a file, a count.
"""

from logger.spool.row import Row
from logger.spool.segment import ROWS_MAX, Segment

SPARED_SHARE = 0.25
ROWS_MIN = 3
"""A file of fewer rows cannot be thinned and keep both ends of what it spans."""


def pick(closed: list[Segment]) -> list[Segment]:
    """One file, or two neighbours of one boot that fit into one, whose rows give way next; empty: none can.

    `closed` in order of (boot, seq).
    """
    spared_rows = SPARED_SHARE * sum(segment.rows for segment in closed)
    for allowed in (_older(closed, spared_rows), closed):
        able = [segment for segment in allowed if segment.rows >= ROWS_MIN]
        if able:
            least = min(segment.level for segment in able)
            first = next(segment for segment in able if segment.level == least)
            return [first, *_partner(closed, first)]
    return []


def halved(rows: list[Row]) -> list[Row]:
    """Every second row, the first among them."""
    return rows[::2]


def _older(closed: list[Segment], spared_rows: float) -> list[Segment]:
    kept, spared = list(closed), 0
    while kept and spared < spared_rows:
        spared += kept.pop().rows
    return kept


def _partner(closed: list[Segment], first: Segment) -> list[Segment]:
    following = closed[closed.index(first) + 1 :][:1]
    fits = [one for one in following if one.boot == first.boot and one.level == first.level and one.rows]
    return [one for one in fits if (first.rows + one.rows + 1) // 2 <= ROWS_MAX]
