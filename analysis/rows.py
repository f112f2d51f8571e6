"""A block of readings as columns: what the engine eats.

Flow: store, files or live readings -> HERE -> prepare.py -> pipeline.py.
Never: pandas inside; I/O.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.record.channels import CHANNELS
from logger.record.reading import Reading

Floats = NDArray[np.float64]
Times = NDArray[np.int64]


@dataclass(frozen=True)
class Rows:
    """n readings of one site, in any order until `merged`.

    time_ms
        int64[n], milliseconds since the epoch, UTC.
    values
        By channel, float64[n]; NaN = null. A channel that no row has is absent.
    seq
        int64[n], -1 where the reading carries none; None where none does.
    trusted
        bool[n], False where the reading's clock was `unsure`; None = every time counts as good.
    """

    time_ms: Times
    values: Mapping[str, Floats]
    seq: Times | None = None
    trusted: NDArray[np.bool_] | None = None

    def __len__(self) -> int:
        return len(self.time_ms)

    def __getitem__(self, channel: str) -> Floats:
        """The channel's values; all NaN where no row has it."""
        found = self.values.get(channel)
        return nothing(len(self)) if found is None else found

    def take(self, which: slice | NDArray) -> "Rows":
        """The rows that `which` picks: a slice, a mask or indices."""
        return Rows(
            self.time_ms[which],
            {name: column[which] for name, column in self.values.items()},
            None if self.seq is None else self.seq[which],
            None if self.trusted is None else self.trusted[which],
        )


_NOTHING = np.full(32_768, np.nan)
_NOTHING.flags.writeable = False


def nothing(count: int) -> Floats:
    """So many NaN, not to be written into: made once, for a dozen channels that a site lacks are asked for each minute."""
    return _NOTHING[:count] if count <= len(_NOTHING) else np.full(count, np.nan)


def rises(column: NDArray) -> NDArray:
    """From each row to the next; one fewer. `np.diff` looks at axes and kinds first, which costs more than the sum in a live turn."""
    return column[1:] - column[:-1]


def places_up_to(time_ms: Times, near: Times, back_ms: int) -> Times:
    """How many of the rising `time_ms` lie so long before each of the rows `near`, or longer; int64[k].

    Most readings come in even steps: so many rows back is guessed and looked into, and only where it is wrong the place is searched for.
    """
    sought_ms = time_ms.take(near) - back_ms
    steps = (time_ms[1:] - time_ms[:-1])[:EVEN_AMONG]
    places = near + (1 - math.ceil(back_ms / max(middle(steps.astype(float)), 1.0) if len(steps) else 0.0))
    np.maximum(places, 0, out=places)
    right = (time_ms.take(places - 1, mode="clip") <= sought_ms) | (places == 0)
    right &= (time_ms.take(places, mode="clip") > sought_ms) | (places == len(time_ms))
    wrong = np.flatnonzero(~right)
    places[wrong] = np.searchsorted(time_ms, sought_ms[wrong], "right")
    return places


def last_where(flags: NDArray[np.bool_]) -> NDArray[np.int64]:
    """By row, the place of the last row up to it where the flag stands; the first row counts as one.

    `np.maximum.accumulate` over the places takes twice as long, and flags themselves add up twenty times as slowly as whole numbers.
    """
    marks = flags.astype(np.int64)
    marks[:1] = 1
    return marks.nonzero()[0].take(np.cumsum(marks) - 1)


EVEN_AMONG = 64
"""Steps whose middle one stands for the others."""


def or_zero(column: Floats) -> Floats:
    """The column with 0 for NaN. `np.nan_to_num` looks for infinities too, and takes four times as long."""
    return np.where(np.isnan(column), 0.0, column)


def middle(values: Floats) -> float:
    """The median of the known ones, NaN where none is; `np.nanmedian` takes twenty times as long over few, `np.median` five times."""
    known = values[values == values]
    if not len(known):
        return np.nan
    known.sort()
    half = len(known) // 2
    return float(known[half] if len(known) % 2 else 0.5 * (known[half - 1] + known[half]))


def middles(table: Floats) -> Floats:
    """`middle` of each row of a table, all at once. (n, k) -> (n,)"""
    ordered = np.sort(table, axis=1)  # what is not known comes last
    count, every = (ordered == ordered).sum(axis=1), np.arange(len(table))
    return np.asarray(0.5 * (ordered[every, (count - 1) // 2] + ordered[every, count // 2]), np.float64)


def no_rows() -> Rows:
    """A block without rows."""
    return Rows(np.empty(0, np.int64), {})


def rows_of(readings: Iterable[Reading]) -> Rows:
    """Readings (of one site) as columns, in the order given."""
    listed = list(readings)
    names = [name for name in CHANNELS if any(name in reading.values for reading in listed)]
    return Rows(
        np.array([reading.time_ms for reading in listed], np.int64),
        {name: np.array([_number(reading.values.get(name)) for reading in listed], float) for name in names},
        np.array([-1 if reading.seq is None else reading.seq for reading in listed], np.int64),
        np.array([reading.clock != "unsure" for reading in listed], bool),
    )


def _number(value: float | None) -> float:
    return np.nan if value is None else value


def joined(blocks: list[Rows]) -> Rows:
    """Blocks one after the other, with the channels of all of them."""
    blocks = [block for block in blocks if len(block)]
    if not blocks:
        return no_rows()
    names = list(dict.fromkeys(name for block in blocks for name in block.values))
    return Rows(
        np.concatenate([block.time_ms for block in blocks]),
        {name: np.concatenate([block[name] for block in blocks]) for name in names},
        None
        if all(b.seq is None for b in blocks)
        else np.concatenate([np.full(len(b), -1, np.int64) if b.seq is None else b.seq for b in blocks]),
        None
        if all(b.trusted is None for b in blocks)
        else np.concatenate([np.ones(len(b), bool) if b.trusted is None else b.trusted for b in blocks]),
    )


def columns_of(rows: Rows) -> Rows:
    """The same rows with every column an array of its kind; as they are where they are so already. A single number holds for all rows.

    ValueError: a channel of another length than the times.
    """
    n = len(rows.time_ms) if type(rows.time_ms) is np.ndarray and rows.time_ms.ndim == 1 else -1
    if n >= 0 and all(
        type(c) is np.ndarray and c.dtype == np.float64 and c.shape == (n,) for c in rows.values.values()
    ):
        return rows
    time_ms = np.atleast_1d(np.asarray(rows.time_ms, np.int64))
    values = {}
    for name, column in rows.values.items():
        found = np.asarray(column, float)
        if found.shape not in ((), time_ms.shape):
            raise ValueError(f"{name} has {found.size} values for {time_ms.size} times")
        values[name] = np.broadcast_to(found, time_ms.shape).copy()
    return Rows(time_ms, values, rows.seq, rows.trusted)
