"""A controller or an I/O module over Modbus RTU or TCP, through a register map. Only ever read.

Flow: registry.py -> HERE -> modbus/master.py, modbus/decode.py.
Never: a write (no code for one exists); a port opened before the first read.
"""

from dataclasses import dataclass, field
from typing import Any, Literal

from logger.modbus.decode import values_of
from logger.modbus.frames import UNIT_MAX
from logger.modbus.links import RtuLink, TcpLink
from logger.modbus.master import DeviceSilent, Master
from logger.modbus.plan import spots_of
from logger.modbus.ports import Reopening, SerialPort, TcpPort
from logger.modbus.register_map import RegisterMap, load_register_map
from logger.record.problems import FileError
from logger.record.tables import Tables
from logger.sources.base import Paced, SourceError, Turn, Values
from logger.sources.registry import Openers, source
from logger.sources.settings import judge_name, number, period

PARITIES = {"none": "N", "even": "E", "odd": "O"}
CONNECT_TIMEOUT_S = 3.0


@dataclass(frozen=True)
class LineSettings:
    """A unit on a line: `device` for a serial line, or `host` for TCP."""

    name: str
    unit: int = field(default=1, metadata={"lowest": 0, "highest": 255})
    period_s: float = period()
    device: str | None = None
    baud: int = field(default=9600, metadata={"unit": "1/s", "lowest": 300, "highest": 1_000_000})
    parity: Literal["none", "even", "odd"] = "none"
    data_bits: int = field(default=8, metadata={"lowest": 7, "highest": 8})
    stop_bits: float = number("", 1, 2, 1)
    host: str | None = None
    port: int = field(default=502, metadata={"lowest": 1, "highest": 65535})
    timeout_s: float = number("s", 0.02, 30, 1.0)
    retries: int = field(default=1, metadata={"lowest": 0, "highest": 10})

    def line(self) -> str:
        """The line's name in messages."""
        return self.device or f"{self.host}:{self.port}"


@dataclass(frozen=True, kw_only=True)
class ModbusSettings(LineSettings):
    """A `[[source]]` of kind `modbus`. `channels`: those wanted of the map; all where left out."""

    map: str
    channels: tuple[str, ...] | None = None


class ModbusSource(Paced):
    """One unit on one line."""

    def __init__(
        self,
        settings: LineSettings,
        device_map: RegisterMap,
        link: RtuLink | TcpLink,
        openers: Openers,
        channels: tuple[str, ...] | None = None,
    ):
        wanted = device_map.channels() if channels is None else channels
        super().__init__(settings.name, wanted, settings.period_s)
        self._settings, self._map, self._link = settings, device_map, link
        registers = [one for one in device_map.registers if set(one.channels()) & set(wanted)]
        facts = device_map.map
        self._master = Master(
            link,
            settings.unit,
            spots_of(registers),
            facts.registers_per_read,
            facts.gap_max,
            settings.timeout_s,
            settings.retries,
            openers.now,
            openers.sleep,
        )
        self.counts = self._master.counts

    def read(self, turn: Turn) -> Values:
        """Every channel wanted. SourceError: the port is away, or nothing could be read."""
        line = self._settings.line()
        try:
            raw = self._master.read(turn.read_by_s)
        except OSError as error:
            self.count("port")
            raise SourceError(f"{self.name}: {line}: {error}") from error
        except DeviceSilent as error:
            self.count("silent")
            hint = "is it powered, are both wires the right way round, do baud, parity and unit fit?"
            raise SourceError(f"{self.name}: {line}: {error}; {hint}") from error
        values = values_of(self._map, raw)
        return {channel: values.get(channel) for channel in self.channels}

    def close(self) -> None:
        """Let go of the line; the next read opens it."""
        self._link.close()


@source("modbus", sample="modbus.toml")
def make_modbus(table: dict[str, Any], tables: Tables, where: str, openers: Openers) -> ModbusSource | None:
    """A Modbus source from its settings."""
    settings = tables.typed(ModbusSettings, table, where)
    if settings is None:
        return None
    judge_name(tables, where, settings.name)
    judge_line(tables, where, settings)
    try:
        device_map = load_register_map(settings.map, openers.folder)
    except FileError as error:
        tables.problems.extend(error.problems)
        return None
    for number_, channel in enumerate(settings.channels or (), 1):
        if channel not in device_map.channels():
            fix = f"one of {', '.join(device_map.channels())}"
            tables.wrong(f"{where}.channels[{number_}]", f"the map has no '{channel}'", fix)
    link = None if tables.problems else link_of(settings, tables, where, openers)
    if link is None or tables.problems:
        return None
    return ModbusSource(settings, device_map, link, openers, settings.channels)


def judge_line(tables: Tables, where: str, settings: LineSettings) -> None:
    """Note a line that is none or two, or a unit that cannot answer on it."""
    if (settings.device is None) == (settings.host is None):
        wrong = "neither device nor host" if settings.device is None else "both device and host"
        tables.wrong(where, wrong, 'write device = "/dev/ttyUSB0" for a serial line, or host = "192.168.1.20" for TCP')
    if settings.device is not None and not 1 <= settings.unit <= UNIT_MAX:
        wrong = f"expected 1 to {UNIT_MAX}, got {settings.unit}"
        tables.wrong(f"{where}.unit", wrong, "write the device's own address on the line")


def link_of(settings: LineSettings, tables: Tables, where: str, openers: Openers) -> RtuLink | TcpLink | None:
    """The line, shared with other sources on the same one."""
    if settings.host is not None:
        host, port = settings.host, settings.port
        key: str = f"{host}:{port}"
        how: Any = ()
    elif settings.device is not None:
        key = settings.device
        how = (settings.baud, settings.data_bits, PARITIES[settings.parity], settings.stop_bits)
    else:
        return None
    if key in openers.links:
        link, used = openers.links[key]
        if used != how:
            wrong = f"{key} is used by another source with other baud, parity, data or stop bits"
            tables.wrong(f"{where}.device", wrong, "give both sources the same line settings")
        return link
    made: RtuLink | TcpLink
    if settings.host is not None:
        connect = openers.tcp or TcpPort
        made = TcpLink(Reopening(lambda: connect(host, port, CONNECT_TIMEOUT_S), openers.now), openers.now)
    else:
        opened = openers.serial or SerialPort
        made = RtuLink(Reopening(lambda: opened(key, *how), openers.now), settings.baud, openers.now)
    openers.links[key] = (made, how)
    return made
