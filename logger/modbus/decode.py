"""Raw registers -> values by channel, as a register map says.

Flow: master.py -> HERE -> sources/modbus.py.
Never: asks a device; a value where the device says that it has none.
"""

import math
import struct

from logger.modbus.master import Raw
from logger.modbus.register_map import Register, RegisterMap
from logger.record.channels import CHANNELS, honest
from logger.record.unit_slips import conversion

_FORM = {"u16": ">H", "i16": ">h", "u32": ">I", "i32": ">i", "f32": ">f", "u64": ">Q", "i64": ">q", "f64": ">d"}
DECIMALS = 9
"""Binary leftovers of a scale such as 0.1 are rounded away here, far below any channel's step."""


def number_of(words: list[int], kind: str, low_first: bool = False, bytes_swapped: bool = False) -> float | int:
    """One number from its registers. `low_first`: the word with the lowest bits stands first."""
    ordered = words[::-1] if low_first else words
    raw = b"".join(word.to_bytes(2, "little" if bytes_swapped else "big") for word in ordered)
    return struct.unpack(_FORM[kind], raw)[0]


def values_of(device: RegisterMap, raw: Raw) -> dict[str, float | None]:
    """Every channel that the map promises; None: not read, not available, or beyond what the channel can honestly say."""
    values: dict[str, float | None] = {}
    for register in device.registers:
        words = raw.get((register.table, register.address, register.width()))
        if words is None:
            values.update(dict.fromkeys(register.channels()))
            continue
        number = _number(device, register, words)
        if register.bits:
            for bit in register.bits:
                is_set = None if number is None else bool(int(number) >> bit.bit & 1)
                values[bit.channel] = None if is_set is None else float(is_set != bit.inverted)
        elif register.channel:
            values[register.channel] = _value(register, register.channel, number)
    return values


def _number(device: RegisterMap, register: Register, words: list[int]) -> float | int | None:
    if register.kind() == "bit":
        return words[0]
    order = register.word_order or device.map.word_order
    number = number_of(words, register.kind(), order == "low-first", register.bytes_swapped)
    if not math.isfinite(number) or number in register.unavailable:
        return None
    if register.bits:  # of a signed type the bits count as they stand
        number = int(number) & (1 << 16 * register.width()) - 1
    return number


def _value(register: Register, name: str, number: float | int | None) -> float | None:
    if number is None:
        return None
    if register.meanings:
        meant = {meaning.raw: meaning.value for meaning in register.meanings}
        return honest(name, meant.get(int(number)))
    value = number * register.scale + register.offset
    channel = CHANNELS[name]
    if register.unit is not None and channel.kind in ("measure", "counter"):
        factor, offset = conversion(register.unit, channel.unit) or (1.0, 0.0)
        value = value * factor + offset
    return honest(name, round(float(value), DECIMALS))
