"""A simulated controller that answers Modbus RTU from a register map, as an invented drive would.

Flow: live_plant.py's values, a map (TOML) -> HERE -> bytes on a line.
Answers the four reading codes; every other code gets exception 1. Own framing, so that the logger's is tested by another's.
Never: a value changed by a request.
"""

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

READING = {1: "coil", 2: "discrete", 3: "holding", 4: "input"}
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
MOST = {1: 2000, 2: 2000, 3: 125, 4: 125}
SPARE = 16  # unused registers after the last one that still answer 0
BYTES_MAX = 512
PER_CHANNEL_UNIT = {  # how many of the map's unit make one of the channel's
    ("volume_m3", "L"): 1000.0, ("flow_m3_h", "L/min"): 1000.0 / 60.0, ("discharge_pressure_bar", "kPa"): 100.0,
    ("water_level_m", "cm"): 100.0, ("tank_level_m", "mm"): 1000.0,
}  # fmt: skip
OWN_UNITS = {"V", "A", "W", "Hz", "1/min", "deg C", "W/m2", "%", "m", "m3", "bar", "m3/h", "", None}
BITS = {"u16": 16, "i16": 16, "u32": 32, "i32": 32}


def crc16(data: bytes) -> int:
    """The check of a Modbus RTU frame (polynomial A001 reflected, start FFFF)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc


def framed(body: bytes) -> bytes:
    """`body` with its check, low byte first."""
    return body + crc16(body).to_bytes(2, "little")


@dataclass
class RegisterImage:
    """The device's memory by table and address, filled from channel values."""

    layout: dict[str, Any]
    cells: dict[str, dict[int, int]] = field(default_factory=dict)

    @classmethod
    def from_file(cls, path: Path) -> "RegisterImage":
        """From a register map. ValueError: a type or unit that this device does not know."""
        layout = tomllib.loads(path.read_text())
        for entry in layout["register"]:
            if entry["type"] not in BITS:
                raise ValueError(f"{path.name}: address {entry['address']}: this device has no type {entry['type']!r}")
            unit = entry.get("unit")
            if unit not in OWN_UNITS and (entry.get("channel"), unit) not in PER_CHANNEL_UNIT:
                raise ValueError(f"{path.name}: address {entry['address']}: this device does not know {unit!r}")
        return cls(layout)

    def update(self, values: dict[str, float | None]) -> None:
        """Write the values into the registers."""
        for entry in self.layout["register"]:
            cells = self.cells.setdefault(entry["table"], {})
            raw = _bits(entry, values) if "bits" in entry else _number(entry, values.get(entry["channel"]))
            width = BITS[entry["type"]]
            words = [(raw >> shift) & 0xFFFF for shift in range(width - 16, -1, -16)]
            order = entry.get("word_order", self.layout["map"].get("word_order", "high-first"))
            for offset, word in enumerate(words if order == "high-first" else words[::-1]):
                cells[entry["address"] + offset] = word

    def words(self, table: str, address: int, count: int) -> list[int] | None:
        """Registers, 0 where unused; None beyond the device's memory."""
        cells = self.cells.get(table, {})
        if not cells or address < min(cells) - SPARE or address + count - 1 > max(cells) + SPARE:
            return None
        return [cells.get(place, 0) for place in range(address, address + count)]


def _number(entry: dict[str, Any], value: float | None) -> int:
    width = BITS[entry["type"]]
    if value is None:
        unavailable = entry.get("unavailable")
        return (unavailable[0] if unavailable else 0) & ((1 << width) - 1)
    per = PER_CHANNEL_UNIT.get((entry["channel"], entry.get("unit") or ""), 1.0)
    raw = round((value * per - entry.get("offset", 0)) / entry.get("scale", 1))
    low, high = (0, (1 << width) - 1) if entry["type"][0] == "u" else (-(1 << (width - 1)), (1 << (width - 1)) - 1)
    return max(low, min(high, raw)) & ((1 << width) - 1)


def _bits(entry: dict[str, Any], values: dict[str, float | None]) -> int:
    word = 0
    for bit in entry["bits"]:
        value = values.get(bit["channel"])
        on = value is not None and (value < 0.5 if bit.get("inverted") else value >= 0.5)
        word |= int(on) << bit["bit"]
    return word


class ControllerServer:
    """Cuts requests out of bytes and answers them. Owns no port: `feed` takes bytes and gives the answers."""

    def __init__(self, image: RegisterImage, unit: int = 1):
        self.image, self.unit = image, unit
        self.answered = 0
        self._held = b""

    def feed(self, chunk: bytes) -> bytes:
        """Answers to all whole requests that `chunk` completed."""
        self._held += chunk
        answers = b""
        while len(self._held) >= 4:
            length = self._whole()
            if length is None:
                break
            frame, self._held = self._held[:length], self._held[length:]
            answers += self._answer(frame[:-2])
        return answers

    def quiet(self) -> None:
        """The line has been silent: what is held was no frame."""
        self._held = b""

    def _whole(self) -> int | None:
        """Length of the frame at the beginning, None while it is not whole; rubbish before it is dropped."""
        while len(self._held) >= 4:
            lengths = (
                (8, len(self._held)) if self._held[1] in READING or self._held[1] in (5, 6) else (len(self._held), 8)
            )
            for length in lengths:
                if 4 <= length <= len(self._held) and crc16(self._held[: length - 2]) == int.from_bytes(
                    self._held[length - 2 : length], "little"
                ):
                    return length
            if len(self._held) < 8 or (self._held[0] == self.unit and len(self._held) < BYTES_MAX):
                return None
            self._held = self._held[1:]
        return None

    def _answer(self, body: bytes) -> bytes:
        unit, code = body[0], body[1]
        if unit != self.unit:
            return b""
        self.answered += 1
        if code not in READING:
            return framed(bytes([unit, code | 0x80, ILLEGAL_FUNCTION]))
        if len(body) != 6:
            return framed(bytes([unit, code | 0x80, ILLEGAL_VALUE]))
        address, count = int.from_bytes(body[2:4], "big"), int.from_bytes(body[4:6], "big")
        if not 1 <= count <= MOST[code]:
            return framed(bytes([unit, code | 0x80, ILLEGAL_VALUE]))
        words = self.image.words(READING[code], address, count)
        if words is None:
            return framed(bytes([unit, code | 0x80, ILLEGAL_ADDRESS]))
        if code in (3, 4):
            data = b"".join(word.to_bytes(2, "big") for word in words)
        else:
            packed = sum((word & 1) << place for place, word in enumerate(words))
            data = packed.to_bytes((count + 7) // 8, "little")
        return framed(bytes([unit, code, len(data)]) + data)
