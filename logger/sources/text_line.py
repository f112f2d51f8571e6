"""A device that prints lines of text: `KEY=value` pairs or columns, with or without a checksum. Only ever heard.

Flow: registry.py -> HERE -> lines.py (bytes), scaled.py (values).
Never: a byte sent; a line that is older than its turn taken for new.
"""

from dataclasses import dataclass, field
from typing import Any, Literal

from logger.modbus.ports import Reopening, SerialPort, TcpPort
from logger.record.tables import Tables
from logger.sources.base import Paced, SourceError, Turn, Values
from logger.sources.lines import LineError, Lines, checked, columns, pairs
from logger.sources.registry import Openers, source
from logger.sources.scaled import Scaled, judge_scaled
from logger.sources.settings import judge_name, judge_twice, number, period

PARITIES = {"none": "N", "even": "E", "odd": "O"}
QUIET_S = 0.05
"""Nothing for so long: what was buffered has been read."""
BUFFER_BYTES_FULL = 4000
"""A buffer this full (Linux keeps 4096 bytes) has lost newer lines: what it holds is old."""


@dataclass(frozen=True)
class TextValue(Scaled):
    """One value: `key` of a pair, or `column` counted from 1."""

    key: str | None = None
    column: int | None = field(default=None, metadata={"lowest": 1, "highest": 200})


@dataclass(frozen=True)
class TextSettings:
    """A `[[source]]` of kind `text_line`."""

    name: str
    values: tuple[TextValue, ...] = field(metadata={"key": "value"})
    device: str | None = None
    baud: int = field(default=9600, metadata={"unit": "1/s", "lowest": 300, "highest": 1_000_000})
    parity: Literal["none", "even", "odd"] = "none"
    data_bits: int = field(default=8, metadata={"lowest": 7, "highest": 8})
    stop_bits: float = number("", 1, 2, 1)
    host: str | None = None
    port: int = field(default=4001, metadata={"lowest": 1, "highest": 65535})
    form: Literal["pairs", "columns"] = "pairs"
    separator: str = ";"
    checksum: Literal["none", "xor", "crc16"] = "none"
    period_s: float = period()


class TextLine(Paced):
    """Hears lines and gives the newest value of each key."""

    def __init__(self, settings: TextSettings, port: Reopening):
        super().__init__(settings.name, tuple(value.channel for value in settings.values), settings.period_s)
        self._settings, self._port, self._lines = settings, port, Lines()

    def read(self, turn: Turn) -> Values:
        """The newest line of this turn. SourceError: no port, silence, nothing but bad lines."""
        heard: dict[str, str] = {}
        bad = ""
        try:
            for line in self._heard(turn):
                try:
                    heard.update(self._taken(line))
                except LineError as error:
                    self.count(error.kind)
                    bad = str(error)
        except OSError as error:
            self.count("port")
            self._lines = Lines()
            raise SourceError(f"{self.name}: {self._where()}: {error}") from error
        if not heard:
            self.count("silent")
            raise SourceError(f"{self.name}: {self._where()}: {bad or 'nothing heard; is the cable in?'}")
        return {value.channel: self._value(value, heard) for value in self._settings.values}

    def _where(self) -> str:
        return self._settings.device or f"{self._settings.host}:{self._settings.port}"

    def _heard(self, turn: Turn) -> list[bytes]:
        """Lines that have come; waits for one until the turn's deadline."""
        port = self._port.get()
        lines: list[bytes] = []
        drained = 0
        try:
            while turn.left_s() > 0:
                chunk = port.read(QUIET_S if lines else min(1.0, turn.left_s()))
                drained += len(chunk)
                lines += self._lines.feed(chunk)
                if drained >= BUFFER_BYTES_FULL:
                    self.count("late")
                    lines, drained = [], 0
                elif not chunk and lines:
                    break
        except OSError as error:
            self._port.failed(error)
            raise
        if self._lines.overlong:
            self.counts["garbage"] = self.counts.get("garbage", 0) + self._lines.overlong
            self._lines.overlong = 0
        if lines:
            self._port.worked()
        return lines

    def _taken(self, line: bytes) -> dict[str, str]:
        settings = self._settings
        text = checked(line, settings.checksum)
        found = (pairs if settings.form == "pairs" else columns)(text, settings.separator)
        wanted = {_key(value) for value in settings.values}
        if not wanted & set(found):
            raise LineError("garbage", f"nothing that was looked for in {text[:60]!r}")
        return found

    @staticmethod
    def _value(value: TextValue, heard: dict[str, str]) -> float | None:
        text = heard.get(_key(value))
        return None if text is None else value.value(text)

    def close(self) -> None:
        """Let go of the port; the next read opens it."""
        self._port.close()


def _key(value: TextValue) -> str:
    return value.key if value.key is not None else str(value.column)


@source("text_line", sample="text_line.toml")
def make_text_line(table: dict[str, Any], tables: Tables, where: str, openers: Openers) -> TextLine | None:
    """A text line source from its settings."""
    settings = tables.typed(TextSettings, table, where)
    if settings is None:
        return None
    judge_name(tables, where, settings.name)
    if (settings.device is None) == (settings.host is None):
        wrong = "neither device nor host" if settings.device is None else "both device and host"
        tables.wrong(where, wrong, 'write device = "/dev/ttyUSB1" for a serial line, or host = "192.168.1.21"')
    if not settings.separator:
        tables.wrong(f"{where}.separator", "empty", 'write separator = ";" or what stands between the values')
    if not settings.values:
        tables.wrong(f"{where}.value", "none given", f"add [[{where.partition('[')[0]}.value]] tables")
    for place, value in enumerate(settings.values, 1):
        _judge_value(tables, f"{where}.value[{place}]", settings.form, value)
    judge_twice(tables, f"{where}.value", tuple(value.channel for value in settings.values))
    if tables.problems:
        return None
    if settings.host is not None:
        host, connect = settings.host, openers.tcp or TcpPort
        return TextLine(settings, Reopening(lambda: connect(host, settings.port, 3.0), openers.now))
    device, opened = settings.device, openers.serial or SerialPort
    how = (settings.baud, settings.data_bits, PARITIES[settings.parity], settings.stop_bits)
    return TextLine(settings, Reopening(lambda: opened(device, *how), openers.now))


def _judge_value(tables: Tables, where: str, form: str, value: TextValue) -> None:
    if form == "pairs" and (value.key is None or value.column is not None):
        tables.wrong(f"{where}.key", "pairs are found by key", 'write key = "P", the text before the =')
    if form == "columns" and (value.column is None or value.key is not None):
        tables.wrong(f"{where}.column", "columns are found by number", "write column = 1 for the first")
    judge_scaled(tables, where, value)
