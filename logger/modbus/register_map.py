"""Register maps: which register of a device means which channel, from a TOML file; all problems at once.

Flow: logger/controllers/*.toml or the user's own file -> HERE -> decode.py, plan.py.
Never: opens a port; a map that promises one channel twice.
"""

from dataclasses import dataclass, field
from difflib import get_close_matches
from importlib import resources
from pathlib import Path
from typing import Literal

from logger.record.channels import CHANNELS
from logger.record.problems import FileError, Problem
from logger.record.site_facts import fact
from logger.record.tables import Tables, text_of
from logger.record.unit_slips import conversion, units_for

Table = Literal["coil", "discrete", "input", "holding"]
Type = Literal["bit", "u16", "i16", "u32", "i32", "u64", "i64", "f32", "f64"]
WordOrder = Literal["high-first", "low-first"]

BIT_TABLES = ("coil", "discrete")
REGISTERS_OF = {"bit": 1, "u16": 1, "i16": 1, "u32": 2, "i32": 2, "f32": 2, "u64": 4, "i64": 4, "f64": 4}
ADDRESS_MAX = 65535


@dataclass(frozen=True)
class Bit:
    """One bit of a word, 0 the lowest, as a flag."""

    bit: int = fact("", 0, 63)
    channel: str = field(default="", metadata={"choices": tuple(CHANNELS)})
    inverted: bool = False


@dataclass(frozen=True)
class Meaning:
    """What one raw number stands for, in the channel's own unit."""

    raw: int = fact()
    value: float = fact()


@dataclass(frozen=True)
class Register:
    """One value of the device. Value = raw * scale + offset in `unit`, unless `meanings` or `bits` say otherwise."""

    table: Table
    address: int = fact("", 0, ADDRESS_MAX)
    type: Type | None = None
    channel: str | None = field(default=None, metadata={"choices": tuple(CHANNELS)})
    unit: str | None = None
    scale: float = field(default=1.0, metadata={})
    offset: float = field(default=0.0, metadata={})
    word_order: WordOrder | None = None
    bytes_swapped: bool = False
    unavailable: tuple[float, ...] = ()
    bits: tuple[Bit, ...] = ()
    meanings: tuple[Meaning, ...] = ()
    note: str = ""

    def kind(self) -> str:
        """Its type: `bit` in the tables of bits, `u16` where the map does not say."""
        return self.type or ("bit" if self.table in BIT_TABLES else "u16")

    def width(self) -> int:
        """How many addresses it takes."""
        return REGISTERS_OF[self.kind()]

    def channels(self) -> tuple[str, ...]:
        """What it promises."""
        return tuple(bit.channel for bit in self.bits) or ((self.channel,) if self.channel else ())


@dataclass(frozen=True)
class MapFacts:
    """What holds for the whole map. `gap_max`: unused registers read along rather than asking twice."""

    name: str
    about: str = ""
    word_order: WordOrder = "high-first"
    registers_per_read: int = field(default=60, metadata={"lowest": 1, "highest": 125})
    gap_max: int = field(default=8, metadata={"lowest": 0, "highest": 100})


@dataclass(frozen=True)
class RegisterMap:
    """A device's registers, judged."""

    map: MapFacts
    registers: tuple[Register, ...] = field(metadata={"key": "register"})

    def channels(self) -> tuple[str, ...]:
        """Every channel that the map promises, in its order."""
        return tuple(channel for register in self.registers for channel in register.channels())


def shipped_maps() -> list[str]:
    """Names of the maps that come with the program."""
    folder = resources.files("logger.controllers")
    return sorted(item.name.removesuffix(".toml") for item in folder.iterdir() if item.name.endswith(".toml"))


def load_register_map(name_or_path: str | Path, folder: Path = Path(".")) -> RegisterMap:
    """The map of that name that comes with the program, or of that file (from `folder`). FileError: all that is wrong."""
    if isinstance(name_or_path, str) and name_or_path in shipped_maps():
        text: str | None = (resources.files("logger.controllers") / f"{name_or_path}.toml").read_text("utf-8")
        return read_register_map(text or "", f"{name_or_path}.toml")
    problems: list[Problem] = []
    text = text_of(folder / name_or_path, problems)
    if text is None:
        known = ", ".join(shipped_maps())
        said = [
            Problem(one.file, one.key, one.wrong, f"{one.fix}, or take a map that is shipped: {known}")
            for one in problems
        ]
        raise FileError(said)
    return read_register_map(text, Path(name_or_path).name)


def read_register_map(text: str, file: str = "map.toml") -> RegisterMap:
    """A map from its text. FileError: all that is wrong in it."""
    tables = Tables(file)
    content = tables.parsed(text)
    made = None if content is None else tables.typed(RegisterMap, content)
    if made is not None:
        if not made.registers:
            tables.wrong("register", "the map has none", "add [[register]] tables")
        for number, register in enumerate(made.registers, 1):
            _judge(tables, f"register[{number}]", register)
        _judge_promises(tables, made)
    if tables.problems or made is None:
        raise FileError(tables.problems)
    return made


def _judge(tables: Tables, key: str, register: Register) -> None:
    """What types alone cannot say of one register."""
    if (register.table in BIT_TABLES) != (register.kind() == "bit"):
        fix = "leave type out" if register.table in BIT_TABLES else 'write type = "u16", "i16", "u32" ...'
        tables.wrong(f"{key}.type", f"table {register.table} does not hold {register.kind()}", fix)
    if register.address + register.width() - 1 > ADDRESS_MAX:
        tables.wrong(f"{key}.address", f"{register.kind()} does not fit before {ADDRESS_MAX}", "check the address")
    if register.scale == 0:
        tables.wrong(f"{key}.scale", "0 would make every value the same", "write the factor of the manual, 0.1 say")
    if bool(register.bits) == bool(register.channel):
        wrong = "both a channel and bits" if register.bits else "neither a channel nor bits"
        tables.wrong(
            f"{key}.channel", wrong, 'write channel = "..." for one value, or bits = [...] for a word of flags'
        )
    for number, bit in enumerate(register.bits, 1):
        _judge_bit(tables, f"{key}.bits[{number}]", register, bit)
    if register.channel:
        _judge_unit(tables, key, register)


def _judge_bit(tables: Tables, key: str, register: Register, bit: Bit) -> None:
    if bit.channel not in CHANNELS:
        tables.wrong(f"{key}.channel", "missing", 'write channel = "motor_running" or another flag')
    elif CHANNELS[bit.channel].kind != "flag":
        tables.wrong(f"{key}.channel", f"{bit.channel} is no flag", "a bit can only be a flag such as motor_running")
    if register.kind()[0] == "f" or bit.bit >= 16 * register.width():
        tables.wrong(
            f"{key}.bit", f"{register.kind()} has no bit {bit.bit}", f"bits of a u16 are 0 to 15, here {bit.bit}"
        )


def _judge_unit(tables: Tables, key: str, register: Register) -> None:
    channel = CHANNELS[register.channel or ""]
    if channel.kind in ("flag", "code") or register.meanings:
        return
    if register.unit is None:
        tables.wrong(f"{key}.unit", "missing", f'add unit = "{channel.unit}", or the unit that the device uses')
    elif conversion(register.unit, channel.unit) is None:
        units = units_for(channel.unit)
        close = get_close_matches(register.unit, units, 1, 0.5)
        fix = f'did you mean unit = "{close[0]}"?' if close else f"one of {', '.join(units)}"
        tables.wrong(f"{key}.unit", f"'{register.unit}' cannot become {channel.unit}, the unit of {channel.name}", fix)


def _judge_promises(tables: Tables, made: RegisterMap) -> None:
    """One channel, one place."""
    seen: dict[str, int] = {}
    for number, register in enumerate(made.registers, 1):
        for channel in register.channels():
            if channel in seen:
                wrong = f"{channel} is promised twice, by register {seen[channel]} as well"
                tables.wrong(f"register[{number}].channel", wrong, "keep the one that is right")
            seen.setdefault(channel, number)
