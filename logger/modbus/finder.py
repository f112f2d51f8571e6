"""The conversation of `wellhand registers`: cautions, line settings, units, scan, watching, the map.

Flow: commands/registers.py -> HERE -> survey.py (asking), resemblance.py (judging), map_text.py (writing).
Never: a write to the device; a terminal (asking and saying are handed in).
"""

import argparse
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from logger.modbus.finder_watch import Watch
from logger.modbus.frames import FUNCTION_OF, UNIT_MAX
from logger.modbus.links import Link, RtuLink, TcpLink
from logger.modbus.map_text import map_text
from logger.modbus.ports import Port, Reopening, SerialPort, TcpPort
from logger.modbus.register_map import RegisterMap
from logger.modbus.sunspec import SunspecError, discover, named, sunspec_map
from logger.modbus.survey import Address, Survey, runs

CAUTIONS = """\
Before you start:
- A controller's probe and float terminals may stand at array voltage. Do not touch them, and do not wire a logger to them:
  only volt-free or isolated contacts may be used.
- An array makes dangerous DC voltage whenever there is light. Measurements inside the box are for a licensed person, under
  the local code. If that is not you, read the values off the controller's own display.
- Use an isolated, surge-protected RS-485 adapter.
- This program only reads. Even so, some devices stumble over questions: watch the pump while it looks, and stop with Ctrl-C."""
PARITIES = {"none": "N", "even": "E", "odd": "O"}
ADDRESSES_MAX = 20_000


class Wrong(Exception):
    """The command was asked wrongly; the text says what to write."""


@dataclass(frozen=True)
class Line:
    """One way to talk to the line: its name for people, and how to open it."""

    name: str
    open: Callable[[], Port]
    baud: int | None
    settings: str


@dataclass(frozen=True)
class Plan:
    """What to try, in this order."""

    lines: list[Line]
    units: list[int]
    tables: list[str]
    ranges: list[tuple[int, int]]
    timeout_s: float
    pause_s: float


def wanted(args: argparse.Namespace) -> Plan:
    """The plan that the command's arguments ask for. Wrong: they cannot be followed."""
    units = [unit for first, last in _ranges(args.units, "--units", UNIT_MAX) for unit in range(first, last + 1)]
    ranges = _ranges(args.registers, "--registers", 0xFFFF)
    if sum(last + 1 - first for first, last in ranges) > ADDRESSES_MAX:
        raise Wrong(f"--registers names more than {ADDRESSES_MAX} addresses; scan them in parts")
    tables = args.tables.split(",")
    for table in tables:
        if table not in FUNCTION_OF:
            raise Wrong(f"--tables: no such table: {table!r}; of {', '.join(FUNCTION_OF)}")
    return Plan(list(_lines(args)), units, tables, ranges, args.timeout, args.pause)


def _lines(args: argparse.Namespace) -> Iterator[Line]:
    if args.host:
        settings = f'host = "{args.host}"\nport = {args.port}'
        yield Line(f"{args.host}:{args.port}", lambda: TcpPort(args.host, args.port), None, settings)
        return
    for parity in args.parity.split(","):
        if parity not in PARITIES:
            raise Wrong(f"--parity: no such parity: {parity!r}; of {', '.join(PARITIES)}")
        for text in args.baud.split(","):
            if not text.isdigit() or not 300 <= int(text) <= 1_000_000:
                raise Wrong(f"--baud: expected rates such as 9600,19200, got {text!r}")
            baud = int(text)

            def opened(baud: int = baud, parity: str = parity) -> Port:
                return SerialPort(args.device, baud, 8, PARITIES[parity], 1)

            settings = f'device = "{args.device}"\nbaud = {baud}\nparity = "{parity}"'
            yield Line(f"{args.device} at {baud} baud, parity {parity}", opened, baud, settings)


def _ranges(text: str, option: str, highest: int) -> list[tuple[int, int]]:
    """`1-16,40` -> [(1, 16), (40, 40)]."""
    found = []
    for part in text.split(","):
        first, dash, last = part.partition("-")
        try:
            one = (int(first), int(last if dash else first))
        except ValueError:
            raise Wrong(f"{option}: expected numbers such as 1-16 or 1,7, got {text!r}") from None
        if not 0 <= one[0] <= one[1] <= highest:
            raise Wrong(f"{option}: {part} is not within 0 to {highest}, low to high")
        found.append(one)
    return found


class Finder:
    """One session. `ask(prompt)` gives a line typed; `say(text)` shows text."""

    def __init__(
        self,
        plan: Plan,
        ask: Callable[[str], str],
        say: Callable[[str], None],
        sleep: Callable[[float], None] = time.sleep,
    ):
        self._plan, self._ask, self._say, self._sleep = plan, ask, say, sleep

    def run(self, out: Path, is_warned: bool, list_only: bool) -> int:
        """The whole session. 0 written or listed, 1 nothing found or called off, 2 the file is there already."""
        if out.exists() and not list_only:
            self._say(f"{out} is there already; give another name with --out. Nothing was asked.")
            return 2
        self._say(CAUTIONS)
        if not is_warned and self._ask("Type yes to go on: ").strip().lower() != "yes":
            self._say("Nothing was asked.")
            return 1
        found = self._first_answer()
        if found is None:
            self._say(
                "Nothing answered. Check power, the two wires (exchange A and B), and the device's own settings menu."
            )
            return 1
        line, link, units = found
        try:
            return self._with_unit(
                line, Survey(link, units[0], self._plan.timeout_s, self._plan.pause_s, self._sleep), out, list_only
            )
        finally:
            link.close()

    def _first_answer(self) -> tuple[Line, Link, list[int]] | None:
        """The first line setting at which some unit answers, and all units that do."""
        for line in self._plan.lines:
            self._say(f"Trying {line.name} ...")
            port = Reopening(line.open)
            link: Link = TcpLink(port) if line.baud is None else RtuLink(port, line.baud)
            try:
                units = [
                    unit
                    for unit in self._plan.units
                    if Survey(link, unit, self._plan.timeout_s, self._plan.pause_s, self._sleep).answers()
                ]
            except OSError as error:
                self._say(f"  cannot be used: {error}")
                units = []
            if units:
                self._say(f"  answers: unit {', '.join(map(str, units))}")
                return line, link, units
            link.close()
        return None

    def _with_unit(self, line: Line, survey: Survey, out: Path, list_only: bool) -> int:
        self._say(f"Looking at unit {survey.unit}.")
        try:
            models = discover(survey.holding)
        except SunspecError as error:
            self._say(f"  {error}")
        else:
            self._say(
                f"  It describes itself by SunSpec: {named(models) or 'no name'}, models {[one.number for one in models]}"
            )
            try:
                made = sunspec_map(models)
            except SunspecError as error:
                self._say(f"  {error}")
            else:
                return 0 if list_only else self._write(out, made, line, survey.unit)
        addresses = self._scan(survey)
        if not addresses or list_only:
            return 0 if addresses else 1
        made_by_hand = Watch(survey, addresses, self._ask, self._say).run()
        if made_by_hand is None:
            self._say("Nothing was found to write.")
            return 1
        return self._write(out, made_by_hand, line, survey.unit)

    def _scan(self, survey: Survey) -> list[Address]:
        addresses: list[Address] = []
        for table in self._plan.tables:
            before = len(addresses)
            for first, last in self._plan.ranges:
                self._say(f"Scanning {table} {first} to {last} ...")
                addresses += survey.scan(table, first, last)
            spans = ", ".join(f"{start}-{start + count - 1}" for _, start, count in runs(addresses[before:]))
            self._say(f"  {table}: {len(addresses) - before} can be read{': ' + spans if spans else ''}")
        return addresses

    def _write(self, out: Path, made: RegisterMap, line: Line, unit: int) -> int:
        heading = (
            "First draft by `wellhand registers`. Finish it by hand: check each value against the controller's display.\n"
            "The source in board.toml:\n\n"
            f'[[source]]\nkind = "modbus"\nname = "drive"\nmap = "{out.name}"\n{line.settings}\nunit = {unit}'
        )
        out.write_text(map_text(made, heading), encoding="utf-8")
        self._say(
            f"Written: {out}, {len(made.registers)} registers. Check each value against the controller's display."
        )
        return 0
