"""Readings from a CSV file, one row a read: for trying a board's settings without a pump.

Flow: registry.py -> HERE.
Never: the row's own time (a reading has the time at which it is made); a column that is no channel.
"""

import csv
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from logger.record.channels import CHANNELS, honest
from logger.record.tables import Tables
from logger.sources.base import Paced, SourceError, Turn, Values
from logger.sources.registry import Openers, source
from logger.sources.settings import judge_name, period

ROWS_MAX = 1_000_000
IGNORED = frozenset({"time", "boot", "seq", "clock"})


@dataclass(frozen=True)
class ReplaySettings:
    """A `[[source]]` of kind `replay`."""

    name: str
    file: str
    repeat: bool = True
    period_s: float = period(60.0)


class Replay(Paced):
    """Goes through a file's rows."""

    def __init__(self, settings: ReplaySettings, rows: list[Values], channels: tuple[str, ...]):
        super().__init__(settings.name, channels, settings.period_s)
        self._settings, self._rows, self._next = settings, rows, 0

    def read(self, turn: Turn) -> Values:
        """The next row. SourceError: the file has ended and is not repeated."""
        del turn  # it takes no time
        if self._next == len(self._rows):
            if not self._settings.repeat:
                self.count("ended")
                raise SourceError(f"{self.name}: {self._settings.file} has ended")
            self._next = 0
        self._next += 1
        return dict(self._rows[self._next - 1])


@source("replay", sample="replay.toml")
def make_replay(table: dict[str, Any], tables: Tables, where: str, openers: Openers) -> Replay | None:
    """A replay source from its settings; the file is read at once."""
    settings = tables.typed(ReplaySettings, table, where)
    if settings is None:
        return None
    judge_name(tables, where, settings.name)
    read = _rows(openers.folder / settings.file, tables, f"{where}.file")
    if read is None or tables.problems:
        return None
    return Replay(settings, *read)


def _rows(path: Path, tables: Tables, key: str) -> tuple[list[Values], tuple[str, ...]] | None:
    """The file's rows by channel, and its channels; None after noting what is wrong."""
    try:
        with open(path, newline="", encoding="utf-8-sig") as opened:
            reader = csv.DictReader(opened)
            names = tuple(name for name in reader.fieldnames or () if name not in IGNORED)
            unknown = [name for name in names if name not in CHANNELS]
            if unknown or not names:
                wrong = (
                    f"{path.name} has no such channel: {', '.join(unknown)}"
                    if unknown
                    else f"{path.name} has no channels"
                )
                tables.wrong(key, wrong, "give the columns the names of channels, as in the README")
                return None
            rows = [{name: _number(name, row.get(name)) for name in names} for row in islice(reader, ROWS_MAX)]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        tables.wrong(key, f"cannot be read: {error}", "check the path; the file is CSV in UTF-8")
        return None
    if not rows:
        tables.wrong(key, f"{path.name} has no rows", "give a file with readings")
        return None
    return rows, names


def _number(name: str, text: Any) -> float | None:
    try:
        return honest(name, float(text))
    except (TypeError, ValueError):
        return None
