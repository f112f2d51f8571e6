"""Readings from CSV and Parquet files -> rows of each site, and what was dropped on the way.

Flow: files -> HERE -> season.py.
Any spacing, gaps, doubles, disorder are taken; what cannot be read is null or left out, counted and said. A file whose header,
times or units cannot be right is refused as a whole: file, column, what is wrong, the fix.
Never: filling, judging, the store.
"""

import re
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pyarrow as pa

from analysis import tables_in
from analysis.merge import merged
from analysis.rows import Rows, joined
from analysis.tables_in import FilesError
from logger.record.channels import CHANNELS, channel_of
from logger.record.problems import Problem
from logger.record.reading import CLOCKS

BESIDE = ("time", "site", "boot", "seq", "clock")
FRAME_INDEX = "__index_level_"  # pandas leaves its row numbers under such a name
FIRST_MS, END_MS = (int(np.datetime64(f"{year}-01-01", "ms").astype(np.int64)) for year in (1990, 2100))
"""A clock that was never set counts from 1970 or 1980; no board of ours will run beyond."""
STRAY_MS, STRAY_SHARE = 3 * 365 * 86_400_000, 0.1
AHEAD_MS, APART_MS = 86_400_000, 30 * 86_400_000
"""Later than its file was written by more than zones and a slow clock make; and from all rows before, for a season that was worked out ahead
of its time has no such gap just there."""
VALUE = re.compile(r"[-+]?\d")  # how no channel's name begins
TIME_LIKE = ("timestamp", "datetime", "date_time", "date", "utc", "zeit", "temps", "hora")


@dataclass
class Dropped:
    """Rows left out, by reason, and values made null, by channel. `stray_ms`: the first and last time of the stray ones."""

    duplicate: int = 0
    conflicting: int = 0
    unreadable: int = 0
    unsure_clock: int = 0
    stray: int = 0
    stray_ms: tuple[int, int] | None = None
    nulled: dict[str, int] = field(default_factory=dict)
    ignored_columns: tuple[str, ...] = ()

    def add(self, other: "Dropped") -> None:
        """Count another file's in."""
        self.unreadable += other.unreadable
        for name, number in other.nulled.items():
            self.nulled[name] = self.nulled.get(name, 0) + number
        self.ignored_columns = tuple(dict.fromkeys((*self.ignored_columns, *other.ignored_columns)))


@dataclass
class Part:
    """Rows of one site out of one file, as they lie there. `boot` and `seq` give the order where they are known.

    written_ms
        When the file was last written, where known: no true reading in it is younger.
    """

    rows: Rows
    boot: np.ndarray | None
    dropped: Dropped
    written_ms: int | None = None


def read_file(path: Path, ignore_unknown: bool = False) -> dict[str | None, Part]:
    """All rows of one file by site, key None where it has no column `site`. FilesError: it cannot be used.

    Values are as they stand there; `make_honest` comes next, once the units were judged by them.
    """
    table, ignored = _known_columns(path.name, tables_in.table_of(path), ignore_unknown)
    written_ms = int(path.stat().st_mtime * 1000)
    if "site" not in table.column_names:
        return {None: replace(_part(path.name, table, ignored), written_ms=written_ms)}
    sites = tables_in.texts_of(table["site"])
    return {
        name: replace(_part(path.name, table.filter(pa.array(sites == name)), ignored), written_ms=written_ms)
        for name in sorted(set(sites.tolist()))
    }


def _part(file: str, table: pa.Table, ignored: tuple[str, ...]) -> Part:
    dropped = Dropped(ignored_columns=ignored)
    time_ms, good = tables_in.times_of(file, table["time"])
    good = good & _of_our_days(file, time_ms, good)
    dropped.unreadable = int(np.count_nonzero(~good))
    values = {}
    for name in table.column_names:
        if name not in BESIDE:
            values[name] = tables_in.numbers_of(table[name], name, dropped.nulled)
            if np.isnan(values[name]).all():
                tables_in.judge_commas(file, table[name], name)
    rows = Rows(time_ms, values, _seq_of(table, dropped), _trusted(file, table))
    boot = tables_in.texts_of(table["boot"]) if "boot" in table.column_names else None
    if dropped.unreadable:
        rows, boot = rows.take(good), None if boot is None else boot[good]
    return Part(rows, boot, dropped)


def _of_our_days(file: str, time_ms: np.ndarray, good: np.ndarray) -> np.ndarray:
    """Rows whose time a board of ours can have had. bool[n]. FilesError: not one of them."""
    ours = (time_ms >= FIRST_MS) & (time_ms < END_MS)
    if good.any() and not (good & ours).any():
        year = np.datetime64(int(time_ms[good][0]), "ms").astype("datetime64[Y]")
        wrong = f"all times lie outside the years 1990 to 2099; the first is of the year {year}"
        fix = "set the logger's clock right; a time counted in seconds that was read as milliseconds, or the other way round, looks so too"
        raise FilesError([Problem(file, "column time", wrong, fix)])
    return ours


def make_honest(part: Part) -> None:
    """Make values null that their channel cannot have."""
    values = {name: _honest(name, column, part.dropped) for name, column in part.rows.values.items()}
    part.rows = replace(part.rows, values=values)


def _known_columns(file: str, table: pa.Table, ignore_unknown: bool) -> tuple[pa.Table, tuple[str, ...]]:
    """The table without columns that are not ours, and these, which are refused unless they are to be ignored."""
    table = table.drop_columns([name for name in table.column_names if name.startswith(FRAME_INDEX)])
    names = table.column_names
    if "time" not in names and (values := [name for name in names if VALUE.match(name)]):
        wrong = f"the first line holds values ({values[0]} ...), not names"
        raise FilesError(
            [
                Problem(
                    file,
                    "header",
                    wrong,
                    "put the names of the channels above them, without a # before: time,pv_voltage_v ...",
                )
            ]
        )
    problems = [
        Problem(file, f"column {name}", "there twice", "keep one of them")
        for name in sorted(set(names))
        if names.count(name) > 1
    ]
    close = [] if "time" in names else [name for name in names if name.lower() in ("time", *TIME_LIKE)]
    if "time" not in names:
        fix = (
            f"rename {close[0]} to time"
            if close
            else "add a column time: ISO 8601 with an offset, 2026-01-31T12:00:00Z; lines above the header must begin with #"
        )
        problems.append(Problem(file, "header", "no column time", fix))
    unknown = [
        name for name in dict.fromkeys(names) if name not in BESIDE and not _is_channel(name) and name not in close
    ]
    if not ignore_unknown:
        problems += [
            Problem(file, f"column {name!r}", "no such channel", _did_you_mean(name, names)) for name in unknown
        ]
    if not problems and len(unknown) == len(set(names) - set(BESIDE)):
        problems.append(
            Problem(file, "header", "no channel in it", f"name columns by channel: {', '.join(list(CHANNELS)[:4])} ...")
        )
    if problems:
        raise FilesError(problems)
    return table.drop_columns(unknown) if unknown else table, tuple(unknown)


def _is_channel(name: str) -> bool:
    try:
        channel_of(name)
    except KeyError:
        return False
    return True


def _did_you_mean(name: str, beside: list[str]) -> str:
    if "time" in beside and name.lower() in TIME_LIKE:
        return f"if time holds the hour alone, join {name} and time into one column time: 2026-01-31T12:00:00Z; else leave it out with --ignore-unknown"
    close = get_close_matches(name.strip().lower().replace(" ", "_"), [*CHANNELS, *BESIDE], 1, 0.6)
    return (
        f"did you mean {close[0]}? Or leave it out with --ignore-unknown"
        if close
        else "leave it out with --ignore-unknown"
    )


def _honest(name: str, column: np.ndarray, dropped: Dropped) -> np.ndarray:
    """The column with NaN where its instrument cannot have said so."""
    channel = channel_of(name)
    with np.errstate(invalid="ignore"):
        wrong = (column < channel.lowest) | (column > channel.highest)
    if not wrong.any():
        return column
    dropped.nulled[name] = dropped.nulled.get(name, 0) + int(np.count_nonzero(wrong))
    return np.where(wrong, np.nan, column)


def _seq_of(table: pa.Table, dropped: Dropped) -> np.ndarray | None:
    if "seq" not in table.column_names:
        return None
    return np.nan_to_num(tables_in.numbers_of(table["seq"], "seq", dropped.nulled), nan=-1).astype(np.int64)


def _trusted(file: str, table: pa.Table) -> np.ndarray | None:
    if "clock" not in table.column_names:
        return None
    clocks = tables_in.texts_of(table["clock"])
    strange = sorted(set(clocks.tolist()) - {*CLOCKS, ""})
    if strange:
        raise FilesError(
            [Problem(file, "column clock", f"holds {strange[0]!r}", f"one of {', '.join(CLOCKS)}, or empty")]
        )
    return clocks != "unsure"


def rows_of_parts(parts: list[Part]) -> tuple[Rows, Dropped]:
    """All parts of one site as one block, by time and each time once, and all that was dropped of them.

    Of rows of one time the later (boot, sequence) wins, else by channel what is not null, else the larger value.
    """
    dropped = Dropped()
    for part in parts:
        dropped.add(part.dropped)
    rows = joined([part.rows for part in parts])
    rows, doubles = _each_reading_once(rows, parts)
    stray = _stray(rows.time_ms, max((part.written_ms for part in parts if part.written_ms is not None), default=None))
    if stray.any():
        dropped.stray += int(np.count_nonzero(stray))
        dropped.stray_ms = (int(rows.time_ms[stray].min()), int(rows.time_ms[stray].max()))
    clean = merged(rows.take(~stray) if stray.any() else rows)
    dropped.duplicate += len(clean.duplicate_ms) + doubles
    dropped.conflicting += len(clean.conflicting_ms)
    dropped.unsure_clock += clean.unsure_clock
    return Rows(clean.rows.time_ms, clean.rows.values), dropped


def _stray(time_ms: np.ndarray, written_ms: int | None = None) -> np.ndarray:
    """Rows of a clock that jumped, whose months or years in between would be judged as silent. bool[n]

    Which clock is to be trusted: the rows' own, where most of them agree; few that lie years from all others are wrong. Else
    the clock of whoever wrote the newest of the site's files: a file holds no reading younger than itself, and copying it only
    makes it younger, so that no true reading is lost by it. What lies beyond it, and apart from all rows before, is left out,
    however much it is. Never the clock of the computer that reviews: the same files would be judged otherwise another day.
    """
    found = np.zeros(len(time_ms), bool)
    order = np.argsort(time_ms, kind="stable")
    for part in _apart(time_ms, order, STRAY_MS):
        if len(part) < STRAY_SHARE * len(time_ms):
            found[part] = True
    ahead_ms = np.inf if written_ms is None else written_ms + AHEAD_MS
    _, *later = _apart(time_ms, order, APART_MS) or [order]
    for part in later:
        if time_ms[part[0]] > ahead_ms:
            found[part] = True
    return found


def _apart(time_ms: np.ndarray, order: np.ndarray, gap_ms: int) -> list[np.ndarray]:
    """The rows in blocks with more than `gap_ms` between them, oldest first; empty where there is but one."""
    gaps = np.flatnonzero(np.diff(time_ms[order]) > gap_ms) + 1
    return np.split(order, gaps) if len(gaps) else []


def years_apart(time_ms: np.ndarray) -> list[tuple[int, int]]:
    """First and last time of each block of rows that lies years from the others; empty where there is but one."""
    parts = _apart(time_ms, np.argsort(time_ms, kind="stable"), STRAY_MS)
    return [(int(time_ms[part[0]]), int(time_ms[part[-1]])) for part in parts]


def _each_reading_once(rows: Rows, parts: list[Part]) -> tuple[Rows, int]:
    """Rows with their place in the order of (boot, sequence) as `seq`; a reading that came twice once, with the surer clock."""
    if rows.seq is None or all(part.boot is None for part in parts):
        return rows, 0
    boots = np.concatenate(
        [np.full(len(part.rows), "", object) if part.boot is None else part.boot for part in parts if len(part.rows)]
    ).astype(str)
    known = (boots != "") & (rows.seq >= 0)
    unsure = np.zeros(len(rows), bool) if rows.trusted is None else ~rows.trusted
    order = np.lexsort((rows.time_ms, unsure, rows.seq, boots))
    same = np.zeros(len(rows), bool)
    before, after = order[:-1], order[1:]
    same[after] = (boots[before] == boots[after]) & (rows.seq[before] == rows.seq[after]) & known[after]
    place = np.empty(len(rows), np.int64)
    place[order] = np.arange(len(rows))
    ranked = Rows(rows.time_ms, rows.values, np.where(known, place, -1), rows.trusted)
    return ranked.take(~same), int(np.count_nonzero(same))
