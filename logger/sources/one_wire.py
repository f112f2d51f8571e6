"""Temperatures from 1-Wire probes, as the Linux kernel shows them under /sys/bus/w1/devices.

Flow: registry.py -> HERE.
Never: the 85 degrees that a probe says after power-on, before it has measured.
"""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.record.channels import CHANNELS, honest
from logger.record.tables import Tables
from logger.sources.base import Paced, SourceError, Turn, Values
from logger.sources.registry import Openers, source
from logger.sources.settings import a_channel, judge_name, judge_twice, period

PROBE_ID = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")
POWER_ON_MC = 85000
TEMPERATURES = tuple(name for name, channel in CHANNELS.items() if channel.unit == "deg C")


@dataclass(frozen=True)
class Probe:
    """One probe: `id` is the name of its folder, such as 28-00000a1b2c3d."""

    id: str
    channel: str = a_channel()


@dataclass(frozen=True)
class OneWireSettings:
    """A `[[source]]` of kind `one_wire`."""

    name: str
    probes: tuple[Probe, ...] = field(metadata={"key": "probe"})
    folder: str = "/sys/bus/w1/devices"
    period_s: float = period(30.0)


class ProbeError(ValueError):
    """A probe's text says nothing to be trusted. `kind`: checksum, power-on or garbage."""

    def __init__(self, kind: str, text: str):
        self.kind = kind
        super().__init__(text)


def temperature_c(text: str) -> float:
    """The temperature in a probe's `w1_slave` text. ProbeError: no reading in it, bad checksum, power-on value."""
    lines = text.strip().splitlines()
    if len(lines) < 2 or not (found := re.search(r"\bt=(-?\d{1,6})\s*$", lines[1])):
        raise ProbeError("garbage", f"no t= in {text[:60]!r}")
    if not lines[0].rstrip().endswith("YES"):
        raise ProbeError("checksum", "its checksum does not fit; is the cable long or wet?")
    if int(found[1]) == POWER_ON_MC:
        raise ProbeError("power-on", "it says 85 degrees, its power-on value: check its supply")
    return int(found[1]) / 1000


class OneWire(Paced):
    """Reads each probe's file; one that fails never hides the others."""

    def __init__(self, settings: OneWireSettings):
        super().__init__(settings.name, tuple(probe.channel for probe in settings.probes), settings.period_s)
        self._settings = settings

    def read(self, turn: Turn) -> Values:
        """Temperatures by channel. SourceError: no probe could be read."""
        values: Values = {}
        reason = "out of time"
        for probe in self._settings.probes:
            values[probe.channel] = None
            if turn.left_s() <= 0:
                self.count("late")
                continue
            try:
                text = (Path(self._settings.folder) / probe.id / "w1_slave").read_text("ascii", "replace")
                values[probe.channel] = honest(probe.channel, temperature_c(text))
            except OSError as error:
                self.count("missing")
                reason = f"{probe.id}: {error.strerror}"
            except ProbeError as error:
                self.count(error.kind)
                reason = f"{probe.id}: {error}"
        if all(value is None for value in values.values()):
            raise SourceError(f"{self.name}: {reason}")
        return values


@source("one_wire", sample="one_wire.toml")
def make_one_wire(table: dict[str, Any], tables: Tables, where: str, openers: Openers) -> OneWire | None:
    """A 1-Wire source from its settings."""
    del openers  # files need none
    settings = tables.typed(OneWireSettings, table, where)
    if settings is None:
        return None
    judge_name(tables, where, settings.name)
    for place, probe in enumerate(settings.probes, 1):
        if not PROBE_ID.fullmatch(probe.id):
            tables.wrong(
                f"{where}.probe[{place}].id", f"no probe's name: '{probe.id}'", 'such as id = "28-00000a1b2c3d"'
            )
        if probe.channel not in TEMPERATURES:
            wrong = f"{probe.channel} is no temperature"
            tables.wrong(f"{where}.probe[{place}].channel", wrong, f"one of {', '.join(TEMPERATURES)}")
    judge_twice(tables, f"{where}.probe", tuple(probe.channel for probe in settings.probes))
    return None if tables.problems else OneWire(settings)
