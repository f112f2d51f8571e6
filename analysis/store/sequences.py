"""Which sequences of one boot were taken, as ranges without a hole, so that batches may come in any order.

Flow: readings.py asks and adds HERE; `head` is what the board is told as `stored`.
Never: I/O.
"""

from bisect import bisect_right
from collections.abc import Iterable


class Sequences:
    """A set of whole numbers from 1 on, kept as sorted ranges (first, last), none touching the next."""

    def __init__(self, ranges: Iterable[tuple[int, int]] = ()):
        self._ranges = sorted(ranges)

    def __contains__(self, seq: int) -> bool:
        at = bisect_right(self._ranges, (seq, float("inf"))) - 1
        return at >= 0 and seq <= self._ranges[at][1]

    def add(self, first: int, last: int) -> None:
        """Take `first` to `last`. ValueError: backwards, or below 1."""
        if not 1 <= first <= last:
            raise ValueError(f"sequences run from 1 upwards, got {first} to {last}")
        apart = []
        for low, high in self._ranges:
            if high < first - 1 or low > last + 1:
                apart.append((low, high))
            else:
                first, last = min(first, low), max(last, high)
        self._ranges = sorted([*apart, (first, last)])

    def add_each(self, seqs: Iterable[int]) -> None:
        """Take single numbers, those that follow one another as one range."""
        first = last = None
        for seq in sorted(set(seqs)):
            if last is not None and seq == last + 1:
                last = seq
                continue
            if first is not None and last is not None:
                self.add(first, last)
            first = last = seq
        if first is not None and last is not None:
            self.add(first, last)

    @property
    def ranges(self) -> list[tuple[int, int]]:
        """Sorted, none touching the next."""
        return list(self._ranges)

    @property
    def head(self) -> int:
        """The highest number up to which none is missing; 0 where 1 is."""
        return self._ranges[0][1] if self._ranges and self._ranges[0][0] == 1 else 0
