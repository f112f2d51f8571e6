"""The board about itself: what it read, what waits, what its disk, supply and temperature say. Published retained.

Flow: agent, sender, spool, link, machine files -> HERE -> `health`.
Never: a secret, a path of the settings; a figure that could not be read is left out, not 0.
"""

import json
import resource
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.clock import BoardClock
from logger.link import Link
from logger.sender import Sender
from logger.sms import Texter
from logger.sources.base import Source
from logger.spool import Spool

TEMPERATURE = Path("/sys/class/thermal/thermal_zone0/temp")
THROTTLED = (
    Path("/sys/devices/platform/soc/soc:firmware/get_throttled"),
    Path("/sys/class/hwmon/hwmon0/in0_lcrit_alarm"),
)
UNDER_VOLTAGE_NOW, UNDER_VOLTAGE_SINCE_START = 1, 1 << 16


@dataclass
class SourceCare:
    """One source's record since the start. `late`: times that were skipped because an earlier turn took too long."""

    read: int = 0
    failed: int = 0
    late: int = 0
    seconds: float = 0.0
    slowest_s: float = 0.0
    last_trouble: str | None = None
    failed_since_ms: int | None = None
    failed_in_a_row: int = 0


@dataclass
class Health:
    """All that the board can say of itself. `machine`: where its files start, so that tests can stand in."""

    version: str
    digest: str
    spool: Spool
    link: Link
    sender: Sender
    clock: BoardClock
    simulated: bool = False
    machine: Path = Path("/")
    sources: dict[str, SourceCare] = field(default_factory=dict)
    refused_values: int = 0
    texter: Texter | None = None

    def care(self, source: Source) -> SourceCare:
        """The record of one source."""
        return self.sources.setdefault(source.name, SourceCare())

    def as_json(self, now_ms: int, started_ms: int, sources: list[Source]) -> bytes:
        """The message. `now_ms`, `started_ms`: UTC, as well as it is known."""
        stamp = self.clock.stamp()
        content: dict[str, Any] = {
            "version": self.version,
            "settings": self.digest,
            "boot": self.spool.boot.name,
            "starts": int(self.spool.boot.name.partition("-")[0]),
            "time_ms": now_ms,
            "started_ms": started_ms,
            "clock": {"quality": stamp.quality, "steps": self.clock.steps, "simulated": self.simulated},
            "sources": {source.name: self._source(source) for source in sources},
            "values_out_of_range": self.refused_values,
            "spool": self._spool(now_ms),
            "link": self._link(),
            "machine": machine(self.machine),
        }
        if self.texter is not None:
            content["sms"] = {**self.texter.counts, "last_trouble": self.texter.last_trouble}
        return json.dumps(content, separators=(",", ":")).encode()

    def _source(self, source: Source) -> dict[str, Any]:
        care = self.care(source)
        return {
            "read": care.read,
            "failed": care.failed,
            "failed_in_a_row": care.failed_in_a_row,
            "late": care.late,
            "seconds": round(care.seconds, 3),
            "slowest_s": round(care.slowest_s, 3),
            "counts": source.counts,
            "failed_since_ms": care.failed_since_ms,
            "last_trouble": care.last_trouble,
        }

    def _spool(self, now_ms: int) -> dict[str, Any]:
        oldest = self.oldest_ms()
        return {
            "rows": self.spool.kept_rows,
            "not_stored": sum(
                max(0, self.spool.last_seq(boot) - self.sender.outbox.stored_seq(boot))
                for boot in self.spool.boots_with_rows()
            ),
            "oldest_s": None if oldest is None else max(0, round((now_ms - oldest) / 1000)),
            "bytes": self.spool.on_disk,
            "limit_bytes": self.spool.limit_bytes,
            "disk_free_bytes": self.spool.free_bytes,
            "boots_unreadable": self.spool.boots.unreadable,
            **self.spool.counts,
        }

    def oldest_ms(self) -> int | None:
        """Time of the oldest row that the server has not stored, None: it has all."""
        for boot in self.spool.boots_with_rows():
            following = self.sender.outbox.stored_seq(boot) + 1
            rows = self.spool.rows(boot, following, following, 1)
            if rows:
                return rows[0].time_ms
        return None

    def _link(self) -> dict[str, Any]:
        return {
            "mqtt": self.link.version,
            "last_trouble": self.link.last_trouble,
            **self.link.counts,
            **self.sender.counts,
        }


def machine(root: Path) -> dict[str, Any]:
    """Temperature, supply and memory, as far as this machine tells them."""
    told: dict[str, Any] = {"memory_peak_kb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss}
    temperature = _number(root / TEMPERATURE.relative_to("/"), 10)
    if temperature is not None:
        told["temperature_c"] = round(temperature / 1000, 1)
    bits = _number(root / THROTTLED[0].relative_to("/"), 16)
    alarm = _number(root / THROTTLED[1].relative_to("/"), 10)
    if bits is not None:
        told["under_voltage_now"] = bool(bits & UNDER_VOLTAGE_NOW)
        told["under_voltage_since_start"] = bool(bits & UNDER_VOLTAGE_SINCE_START)
    elif alarm is not None:
        told["under_voltage_now"] = bool(alarm)
    return told


def _number(path: Path, base: int) -> int | None:
    try:
        return int(path.read_text().strip(), base)
    except (OSError, ValueError):
        return None  # this machine has no such file: the figure is left out of the message
