"""Volt-free contacts (probe, float) and pulse meters on the board's own input pins. Only ever read.

A controller's probe and float terminals may stand at array voltage: never join them to a pin, use isolated contacts.
Flow: registry.py -> HERE -> gpio.py (pins).
Never: an output; a pulse counted twice.
"""

from dataclasses import dataclass, field
from typing import Any, Literal, Protocol

from logger.record.channels import CHANNELS, honest
from logger.record.tables import Tables
from logger.sources.base import Paced, SourceError, Turn, Values
from logger.sources.registry import Openers, source
from logger.sources.settings import a_channel, judge_name, judge_twice, number, period

COUNTERS = tuple(name for name, channel in CHANNELS.items() if channel.kind == "counter")
FLAGS = tuple(name for name, channel in CHANNELS.items() if channel.kind == "flag")
Pull = Literal["up", "down", "none"]


@dataclass(frozen=True)
class Contact:
    """A pin whose level is a flag. `closed_is`: the flag's value while the contact is closed."""

    line: int = field(metadata={"lowest": 0, "highest": 1000})
    channel: str = a_channel()
    closed_is: int = field(default=1, metadata={"lowest": 0, "highest": 1})
    pull: Pull = "up"
    debounce_ms: float = number("ms", 0, 1000, 50)


@dataclass(frozen=True)
class Pulse:
    """A pin whose closings are counted. `per_pulse`: what one is worth, in the channel's unit; `starts_at`: the register."""

    line: int = field(metadata={"lowest": 0, "highest": 1000})
    channel: str = a_channel()
    per_pulse: float = field(default=0.01, metadata={"lowest": 1e-6, "highest": 1000})
    starts_at: float = field(default=0.0, metadata={"lowest": 0, "highest": 1e9})
    pull: Pull = "up"
    debounce_ms: float = number("ms", 0, 1000, 10)


@dataclass(frozen=True)
class ContactsSettings:
    """A `[[source]]` of kind `contacts`."""

    name: str
    chip: str = "/dev/gpiochip0"
    contacts: tuple[Contact, ...] = field(default=(), metadata={"key": "contact"})
    pulses: tuple[Pulse, ...] = field(default=(), metadata={"key": "pulse"})
    period_s: float = period(1.0)


class Pins(Protocol):
    """What contacts.py needs of the pins. A closed contact pulls a pulled-up pin low: closed = True either way."""

    def closed(self, line: int) -> bool:
        """Is the contact on this line closed now? OSError: the pins are away."""
        ...

    def closings(self, line: int) -> int:
        """How often it has closed since the last question. OSError: the pins are away."""
        ...

    def close(self) -> None:
        """Let go of the pins."""


class Contacts(Paced):
    """Levels as flags, closings as a register that goes on over restarts through `memory`."""

    def __init__(self, settings: ContactsSettings, open_pins: Any, memory: dict[str, Any]):
        flags = tuple(one.channel for one in settings.contacts)
        registers = tuple(one.channel for one in settings.pulses)
        super().__init__(settings.name, flags + registers, settings.period_s)
        self._settings, self._open_pins, self._memory = settings, open_pins, memory
        self._pins: Pins | None = None

    def read(self, turn: Turn) -> Values:
        """Every contact and register. SourceError: the pins cannot be had."""
        del turn  # pins answer at once
        settings = self._settings
        try:
            if self._pins is None:
                self._pins = self._open_pins(settings)
            values: Values = {one.channel: self._flag(self._pins, one) for one in settings.contacts}
            for pulse in settings.pulses:
                values[pulse.channel] = honest(pulse.channel, self._register(self._pins, pulse))
        except OSError as error:
            self.count("pins")
            self.close()
            raise SourceError(f"{self.name}: {settings.chip}: {error}") from error
        return values

    @staticmethod
    def _flag(pins: Pins, contact: Contact) -> float:
        return float(contact.closed_is if pins.closed(contact.line) else 1 - contact.closed_is)

    def _register(self, pins: Pins, pulse: Pulse) -> float:
        key = f"pulses of line {pulse.line}"
        self._memory[key] = int(self._memory.get(key, 0)) + pins.closings(pulse.line)
        return round(pulse.starts_at + self._memory[key] * pulse.per_pulse, 9)

    def close(self) -> None:
        """Let go of the pins; the next read asks for them again."""
        if self._pins is not None:
            self._pins.close()
            self._pins = None


@source("contacts", sample="contacts.toml")
def make_contacts(table: dict[str, Any], tables: Tables, where: str, openers: Openers) -> Contacts | None:
    """A contacts source from its settings."""
    from logger.sources.gpio import open_pins  # noqa: PLC0415 - only boards with pins load it

    settings = tables.typed(ContactsSettings, table, where)
    if settings is None:
        return None
    judge_name(tables, where, settings.name)
    named = [("contact", place, row.channel, FLAGS) for place, row in enumerate(settings.contacts, 1)]
    named += [("pulse", place, row.channel, COUNTERS) for place, row in enumerate(settings.pulses, 1)]
    for kind, place, channel, fit in named:
        if channel not in fit:
            key = f"{where}.{kind}[{place}].channel"
            tables.wrong(key, f"{channel} cannot be read from a {kind}", f"one of {', '.join(fit)}")
    lines = [row.line for row in (*settings.contacts, *settings.pulses)]
    for line in sorted({one for one in lines if lines.count(one) > 1}):
        tables.wrong(where, f"line {line} stands there twice", "give each contact its own line")
    if not lines:
        tables.wrong(where, "neither a contact nor a pulse", "add [[source.contact]] or [[source.pulse]] tables")
    judge_twice(tables, where, tuple(channel for _, _, channel, _ in named))
    if tables.problems:
        return None
    memory = openers.state.setdefault(settings.name, {})
    return Contacts(settings, openers.gpio or open_pins, memory)
