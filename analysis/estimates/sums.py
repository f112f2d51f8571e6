"""Sums over whole days and their parts, the same in every bit however the rows were cut into blocks.

Flow: estimates/*.py -> HERE. bincount adds one row after the other, and reduceat adds up a bin's rows in an order that hangs on
their number: either way a bin's sum depends on its own rows alone. reduceat takes a fifth of the time, so rows are put in order for it.
Never: a sum whose order depends on the length of an array (np.sum, np.mean).
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.rows import Floats

MANY = 500  # rows, most of which stand for the same time: with fewer it costs more to see that than to add them


def _even(column: Floats) -> tuple[float, NDArray[np.int64]] | None:
    """What all rows hold and which hold 0 instead; None where they hold something else too, or are too few to be worth it."""
    step = float(column[len(column) // 2]) if len(column) >= MANY else 0.0
    if not step > 0.0:
        return None
    others = (column != step).nonzero()[0]
    return None if column[others].any() else (step, others)


class _EvenOf:
    """`_even` of the column that was asked for last: all sums of a block ask for the time that its rows stand for."""

    def __init__(self) -> None:
        self._kept: tuple[Floats, tuple[float, NDArray[np.int64]] | None] = np.empty(0), None

    def __call__(self, column: Floats) -> tuple[float, NDArray[np.int64]] | None:
        kept = self._kept
        if kept[0] is not column:
            kept = self._kept = column, _even(column)
        return kept[1]


_even_of = _EvenOf()


@dataclass(frozen=True)
class _Order:
    """Rows bin after bin, those of one bin as they came; None = as they stand. begins: of each bin the first of them, and behind the last's."""

    rows: NDArray[np.int64] | None
    begins: NDArray[np.int64]


class _OrderOf:
    """`_Order` of the last few bins that were asked for: a block's sums are by its days, its hours and its bands of power."""

    def __init__(self) -> None:
        self._kept: list[tuple[NDArray[np.int64], int, bool, _Order]] = []

    def __call__(self, bins: NDArray[np.int64], count: int, rising: bool) -> _Order:
        for kept, its_count, its_rising, order in self._kept:
            same = its_count == count and its_rising == rising
            if same and (kept is bins or (len(kept) == len(bins) and bool((kept == bins).all()))):
                return order
        order = self._found(bins, count, rising)
        self._kept = [(bins, count, rising, order), *self._kept[: KEPT - 1]]
        return order

    @staticmethod
    def _found(bins: NDArray[np.int64], count: int, rising: bool) -> _Order:
        every = np.arange(count + 1)
        if rising:
            return _Order(None, bins.searchsorted(every))
        # of sixteen bits NumPy sorts by digits, eight times as fast
        rows = (bins.astype(np.int16) if count < SMALL else bins).argsort(kind="stable")
        return _Order(rows, bins.take(rows).searchsorted(every))


KEPT = 5
SMALL = 2**15
_order_of = _OrderOf()


def _flags_of(places: NDArray[np.int64], count: int) -> NDArray[np.bool_]:
    """Which of so many rows are among `places`."""
    flags = np.zeros(count, bool)
    flags[places] = True
    return flags


class Sums:
    """Sums of columns over the rows that `which` picks, by bin; None picks all.

    which
        bool[n], or the rows' places, rising.
    rising
        The bins rise from row to row, so that each bin's rows stand together and need not be put in order. Never to be told from the rows
        themselves, or the order of the additions would hang on where a block was cut.
    """

    def __init__(
        self,
        which: NDArray[np.bool_] | NDArray[np.int64] | None,
        bin_of_row: NDArray[np.int64],
        shape: tuple[int, ...],
        rising: bool = False,
    ) -> None:
        self._shape, self._count, self._rising = shape, math.prod(shape), rising
        self._bin_of_row, self._which = bin_of_row, which
        order = _order_of(bin_of_row, self._count, rising)
        if which is None or (which.dtype == np.bool_ and which.all()):
            self._rows, self._begins = slice(None) if order.rows is None else order.rows, order.begins
        else:
            masked = which.dtype == np.bool_
            if order.rows is None:
                places = np.asarray(which.nonzero()[0] if masked else which, np.int64)
            else:
                flags = which if masked else _flags_of(np.asarray(which, np.int64), len(bin_of_row))
                places = flags.take(order.rows).nonzero()[0]
            self._begins = places.searchsorted(order.begins)
            self._rows = places if order.rows is None else order.rows.take(places)
        self._known: list[tuple[Floats, Floats]] = []

    @cached_property
    def _bins(self) -> NDArray[np.int64]:
        """The bin of each picked row."""
        return self._bin_of_row[self._rows]

    @cached_property
    def _filled(self) -> NDArray[np.int64]:
        """The bins that have any row."""
        return self._rows_of_bin.nonzero()[0]

    @cached_property
    def _starts(self) -> NDArray[np.int64]:
        """The first row of each of these."""
        return self._begins[self._filled]

    def of(self, column: Floats) -> Floats:
        """Sum by bin; float64 of `shape`. NaN in a picked row makes its bin NaN."""
        return self.added(column[self._rows])

    def added(self, picked: Floats) -> Floats:
        """`of` a column of the picked rows alone; of rising bins."""
        found = np.zeros(self._count)
        if len(picked):
            found[self._filled] = np.add.reduceat(picked, self._starts)
        return found.reshape(self._shape)

    def hours(self, dt_h: Floats) -> Floats:
        """What the rows stand for, `in_turn`; worked out once, however often it is asked."""
        for column, found in self._known:
            if column is dt_h:
                return found
        even = _even_of(dt_h)
        found = self.in_turn(dt_h) if even is None else self._running_sums(even[0], self._picked_of(even[1]))
        self._known.append((dt_h, found))
        return found

    def _picked_of(self, rows: NDArray[np.int64]) -> NDArray[np.int64]:
        """Those of `rows` that are picked. `rows` : rising"""
        which = self._which
        if which is None or not len(rows):
            return rows
        if which.dtype == np.bool_:
            return rows[np.asarray(which[rows], bool)]
        places = which.searchsorted(rows)
        known = places < len(which)
        known[known] = which[places[known]] == rows[known]
        return rows[known]

    def in_turn(self, column: Floats) -> Floats:
        """Sum by bin, always row after row: for hours, which are held against limits that a whole number of rows may just reach."""
        picked = column[self._rows]
        if self._rising and len(picked) >= MANY:
            step, some = float(picked[len(picked) // 2]), picked[:: MANY // 20]
            if step and not some[some != step].any():
                others = (picked != step).nonzero()[0]
                if not picked[others].any():
                    return self._running_sums(step, others if isinstance(self._rows, slice) else self._rows[others])
        return np.asarray(np.bincount(self._bins, picked, self._count), np.float64).reshape(self._shape)

    def _running_sums(self, step: float, empty: NDArray[np.int64]) -> Floats:
        """`in_turn` of rows that all hold `step`, but for those `empty` that hold 0: so many steps, added one after the other."""
        rows = self._rows_of_bin.astype(np.int64)
        if len(empty):
            rows -= np.bincount(self._bin_of_row[empty], minlength=self._count)
        sums = np.full(int(rows.max()) + 1, step)
        sums[0] = 0.0
        return np.asarray(sums.cumsum()[rows], np.float64).reshape(self._shape)

    def most(self, column: Floats) -> Floats:
        """Largest by bin, 0 where there is none; of rising bins. float64 of `shape`"""
        found = np.zeros(self._count)
        if len(self._filled):
            found[self._filled] = np.maximum.reduceat(column[self._rows], self._starts)
        return found.reshape(self._shape)

    def count(self) -> Floats:
        """Rows by bin."""
        return self._rows_of_bin.reshape(self._shape)

    @cached_property
    def _rows_of_bin(self) -> Floats:
        return (self._begins[1:] - self._begins[:-1]).astype(float)


def log_ratio(measured: Floats, expected: Floats, enough: NDArray[np.bool_]) -> Floats:
    """log(measured / expected) where there is enough of both, else NaN."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(enough & (measured > 0) & (expected > 0), np.log(measured / expected), np.nan)


def mean(total: Floats, weight: Floats, enough: NDArray[np.bool_]) -> Floats:
    """total / weight where there is enough, else NaN."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(enough, total / weight, np.nan)
