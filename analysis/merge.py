"""Rows in any order, doubled or in conflict -> rows in order, each instant once.

Flow: rows.py -> HERE -> prepare.py.
The outcome depends on the set of rows alone, never on their order. Never: values changed, rows filled in.
"""

from dataclasses import dataclass, field

import numpy as np

from analysis.rows import Rows, Times, rises


@dataclass(frozen=True)
class Merged:
    """Rows with strictly rising times, and the times of those dropped on the way, one entry a row."""

    rows: Rows
    duplicate_ms: Times = field(default_factory=lambda: np.empty(0, np.int64))
    conflicting_ms: Times = field(default_factory=lambda: np.empty(0, np.int64))
    unsure_clock: int = 0


def merged(rows: Rows) -> Merged:
    """Sort by time and merge equal times by channel: higher `seq`, else non-null, else the larger value.

    Rows whose clock was unsure are left out: their time says nothing.
    """
    unsure = 0
    if rows.trusted is not None and not rows.trusted.all():
        unsure = int(np.count_nonzero(~rows.trusted))
        rows = rows.take(rows.trusted)
    steps = rises(rows.time_ms)
    if not len(steps) or steps.min() > 0:
        return Merged(rows, unsure_clock=unsure)
    rows = rows.take(np.argsort(rows.time_ms, kind="stable"))
    steps = np.diff(rows.time_ms)
    if steps.min() > 0:
        return Merged(rows, unsure_clock=unsure)
    starts = np.flatnonzero(np.concatenate([[True], steps > 0]))
    kept, differs = _one_each(rows, starts)
    sizes = np.diff(np.append(starts, len(rows)))
    spare = sizes - 1
    conflicting = np.minimum(spare, np.add.reduceat(differs.astype(np.int64), starts))
    at = rows.time_ms[starts]
    return Merged(kept, np.repeat(at, spare - conflicting), np.repeat(at, conflicting), unsure)


def _one_each(rows: Rows, starts: np.ndarray) -> tuple[Rows, np.ndarray]:
    """The winning row of each group that starts at `starts`, and which rows differ from their winner."""
    group = np.cumsum(np.isin(np.arange(len(rows)), starts)) - 1
    seq = np.full(len(rows), -1, np.int64) if rows.seq is None else rows.seq
    best_seq = np.maximum.reduceat(seq, starts)
    heard = seq == best_seq[group]
    differs = np.zeros(len(rows), bool)
    values = {}
    for name, column in rows.values.items():
        candidates = np.where(heard & ~np.isnan(column), column, -np.inf)
        best = np.maximum.reduceat(candidates, starts)
        best = np.where(np.isneginf(best), np.nan, best)
        values[name] = best
        won = best[group]
        differs |= ~((column == won) | (np.isnan(column) & np.isnan(won)))
    return Rows(rows.time_ms[starts], values, None if rows.seq is None else best_seq), differs
