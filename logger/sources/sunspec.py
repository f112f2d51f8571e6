"""A controller that describes itself by SunSpec: found out at the first read, then read like any other.

Flow: registry.py -> HERE -> modbus/sunspec.py (what it has), sources/modbus.py (reading).
Never: a write; a guess where the device does not describe itself.
"""

from dataclasses import dataclass
from typing import Any

from logger.modbus.frames import FUNCTION_OF, Request
from logger.modbus.links import LinkError, RtuLink, TcpLink
from logger.modbus.sunspec import SunspecError, discover, sunspec_map
from logger.record.channels import CHANNELS
from logger.record.tables import Tables
from logger.sources.base import Paced, SourceError, Turn, Values
from logger.sources.modbus import LineSettings, ModbusSource, judge_line, link_of
from logger.sources.registry import Openers, source
from logger.sources.settings import judge_name

RESERVE_S = 0.05


@dataclass(frozen=True)
class SunspecSettings(LineSettings):
    """A `[[source]]` of kind `sunspec`: a line as for `modbus`, no map. `channels`: those promised and wanted."""

    channels: tuple[str, ...] = ("pv_voltage_v", "pv_current_a", "input_power_w", "controller_temp_c", "motor_running")


class Sunspec(Paced):
    """Asks the device what it has, once, and reads that. Asks anew after `close`."""

    def __init__(self, settings: SunspecSettings, link: RtuLink | TcpLink, openers: Openers):
        super().__init__(settings.name, settings.channels, settings.period_s)
        self._settings, self._link, self._openers = settings, link, openers
        self._found: ModbusSource | None = None

    def read(self, turn: Turn) -> Values:
        """Every channel promised; None for one that the device does not have. SourceError: it cannot be read."""
        if self._found is None:
            self._found = self._discovered(turn)
        before = dict(self._found.counts)
        try:
            values = self._found.read(turn)
        finally:
            for kind, total in self._found.counts.items():
                self.counts[kind] = self.counts.get(kind, 0) + total - before.get(kind, 0)
        return {channel: values.get(channel) for channel in self.channels}

    def _discovered(self, turn: Turn) -> ModbusSource:
        def read(address: int, count: int) -> list[int] | None:
            if turn.left_s() < RESERVE_S:
                raise SunspecError("out of time; give this source a longer period_s or a higher baud rate")
            request = Request(self._settings.unit, FUNCTION_OF["holding"], address, count)
            try:
                data = self._link.ask(request, min(self._settings.timeout_s, turn.left_s()), self.count)
            except LinkError:
                return None
            return [int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2)]

        try:
            device_map = sunspec_map(discover(read))
        except (SunspecError, OSError) as error:
            self.count("sunspec")
            raise SourceError(f"{self.name}: {self._settings.line()}: {error}") from error
        return ModbusSource(self._settings, device_map, self._link, self._openers)

    def close(self) -> None:
        """Let go of the line; the next read asks the device again what it has."""
        self._found = None
        self._link.close()


@source("sunspec", sample="sunspec.toml")
def make_sunspec(table: dict[str, Any], tables: Tables, where: str, openers: Openers) -> Sunspec | None:
    """A SunSpec source from its settings."""
    settings = tables.typed(SunspecSettings, table, where)
    if settings is None:
        return None
    judge_name(tables, where, settings.name)
    judge_line(tables, where, settings)
    for place, channel in enumerate(settings.channels, 1):
        if channel not in CHANNELS:
            tables.wrong(f"{where}.channels[{place}]", f"no such channel: '{channel}'", f"one of {', '.join(CHANNELS)}")
    link = None if tables.problems else link_of(settings, tables, where, openers)
    return None if link is None or tables.problems else Sunspec(settings, link, openers)
