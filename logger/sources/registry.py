"""Kinds of source by name, and a source made from its table in the board's settings.

Flow: board.toml `[[source]]` -> HERE -> one Source; settings are judged here, ports open later.
Never: opens a port; stops at the first problem.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from logger.record.problems import Problem
from logger.record.tables import Tables
from logger.sources.base import Source


@dataclass(frozen=True)
class Openers:
    """How sources reach the outside, so that tests and the simulator can stand in for it. None = the real way.

    serial
        (device, baud, data bits, parity 'N' 'E' 'O', stop bits) -> port, see modbus/ports.py.
    tcp
        (host, port, timeout in s) -> port.
    gpio
        (chip, lines) -> reader, see contacts.py.
    folder
        Where relative file names of the settings start: the folder of the settings file.
    state
        A source's small memory over restarts (pulse counts), by source name; the agent keeps it on disk.
    now, sleep
        The monotonic clock that turns are measured on, and how to wait on it.
    links
        Lines already made, by device: sources on one serial line share it. One `Openers` serves a whole board.
    """

    serial: Callable[..., Any] | None = None
    tcp: Callable[..., Any] | None = None
    gpio: Callable[..., Any] | None = None
    folder: Path = Path(".")
    state: dict[str, Any] = field(default_factory=dict)
    now: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
    links: dict[str, tuple[Any, Any]] = field(default_factory=dict)


Maker = Callable[[dict[str, Any], Tables, str, Openers], Source | None]
"""(settings without `kind`, where to note problems, dotted key, openers) -> source, None where problems were noted."""


@dataclass(frozen=True)
class Kind:
    """One kind of source: how it is made, and its sample settings (a file beside the module)."""

    name: str
    sample: str
    make: Maker


KINDS: dict[str, Kind] = {}


def source(name: str, sample: str) -> Callable[[Maker], Maker]:
    """Register a maker as the kind of source that settings call `name`."""

    def register(make: Maker) -> Maker:
        if name in KINDS:
            raise ValueError(f"two sources are called {name!r}")
        KINDS[name] = Kind(name, sample, make)
        return make

    return register


def build_source(
    table: Any, file: str, where: str, openers: Openers | None = None
) -> tuple[Source | None, list[Problem]]:
    """The source that a `[[source]]` table describes, and the problems in it (then the source is None).

    `where` is the table's dotted key for messages, such as `source[1]`. Nothing is opened.
    """
    from logger.sources import every_kind  # noqa: F401, PLC0415 - registers the kinds; they import this module

    tables = Tables(file)
    if not isinstance(table, dict):
        tables.wrong(where, "expected a table", "write [[source]] on a line of its own, its keys below")
        return None, tables.problems
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        close = get_close_matches(kind, KINDS, 1, 0.4) if isinstance(kind, str) else []
        wrong = "missing" if kind is None else f"no such kind of source: {kind!r}"
        fix = f'did you mean kind = "{close[0]}"?' if close else f"one of {', '.join(sorted(KINDS))}"
        tables.wrong(f"{where}.kind", wrong, fix)
        return None, tables.problems
    settings = {key: value for key, value in table.items() if key != "kind"}
    made = KINDS[kind].make(settings, tables, where, openers or Openers())
    return (None if tables.problems else made), tables.problems
