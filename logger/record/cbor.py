"""CBOR (RFC 8949), as much of it as SenML needs, both ways.

Read: whole numbers, half, single and double floats, text, bytes, arrays, maps, true, false, null, decimal fractions (tag 4),
definite and indefinite lengths. Written: the shortest exact form of the same, lengths definite.
Flow: senml.py -> HERE.
Never: other tags; recursion deeper than DEPTH_MAX; memory beyond a fixed multiple of the bytes given.
"""

import math
import struct
from typing import Any

DEPTH_MAX = 4
EXPONENT_MAX = 400
_FLOAT_OF_INFO = {25: ">e", 26: ">f", 27: ">d"}
_BREAK = object()


class CborError(ValueError):
    """Bytes that are not this part of CBOR. The text says where."""


def loads(data: bytes) -> Any:
    """The one value that `data` holds. CborError: cut short, something left over, or a part of CBOR not read here."""
    reader = _Reader(data)
    value = reader.value(0)
    if value is _BREAK:
        raise CborError("a break where a value should stand")
    if reader.at != len(data):
        raise CborError(f"{len(data) - reader.at} bytes left over")
    return value


class _Reader:
    def __init__(self, data: bytes):
        self.data = data
        self.at = 0

    def take(self, count: int) -> bytes:
        if count > len(self.data) - self.at:
            raise CborError(f"cut short at byte {self.at}: {count} bytes wanted, {len(self.data) - self.at} left")
        self.at += count
        return self.data[self.at - count : self.at]

    def value(self, depth: int) -> Any:
        """The next value, or _BREAK."""
        if depth > DEPTH_MAX:
            raise CborError(f"nested deeper than {DEPTH_MAX}")
        initial = self.take(1)[0]
        major, info = initial >> 5, initial & 0x1F
        if major == 7:
            return self._simple(info)
        if info == 31:
            return self._indefinite(major, depth)
        count = self._count(info)
        if major == 0:
            return count
        if major == 1:
            return -1 - count
        if major == 2:
            return self.take(count)
        if major == 3:
            return self._text(self.take(count))
        if major == 4:
            return self._items(count, depth)
        if major == 5:
            return self._map(self._items(2 * count, depth))
        return self._tagged(count, depth)

    def _count(self, info: int) -> int:
        if info < 24:
            return info
        if info > 27:
            raise CborError(f"a length of an unknown form at byte {self.at - 1}")
        return int.from_bytes(self.take(1 << (info - 24)), "big")

    def _items(self, count: int, depth: int) -> list[Any]:
        if count > len(self.data) - self.at:
            raise CborError(f"cut short: {count} items announced, {len(self.data) - self.at} bytes left")
        items = [self.value(depth + 1) for _ in range(count)]
        if any(item is _BREAK for item in items):
            raise CborError("a break where a value should stand")
        return items

    def _indefinite(self, major: int, depth: int) -> Any:
        if major not in (2, 3, 4, 5):
            raise CborError(f"an open end where none can be, at byte {self.at - 1}")
        items: list[Any] = []
        while (item := self.value(depth + 1)) is not _BREAK:
            items.append(item)
        if major == 4:
            return items
        if major == 5:
            return self._map(items)
        kind: type = bytes if major == 2 else str
        if not all(isinstance(item, kind) for item in items):
            raise CborError("a string in pieces of another kind")
        return (b"" if major == 2 else "").join(items)

    def _map(self, items: list[Any]) -> dict[Any, Any]:
        keys, values = items[::2], items[1::2]
        if len(keys) != len(values):
            raise CborError("a map with a key that has no value")
        if not all(type(key) in (int, str) for key in keys):
            raise CborError("a map with a key that is neither a whole number nor text")
        made = dict(zip(keys, values, strict=True))
        if len(made) != len(keys):
            raise CborError("a map with the same key twice")
        return made

    def _simple(self, info: int) -> Any:
        if info in _FLOAT_OF_INFO:
            return struct.unpack(_FLOAT_OF_INFO[info], self.take(1 << (info - 24)))[0]
        if info == 31:
            return _BREAK
        if info in (20, 21, 22):
            return {20: False, 21: True, 22: None}[info]
        raise CborError(f"a simple value of an unknown kind: {info}")

    def _tagged(self, tag: int, depth: int) -> float | int:
        """A decimal fraction: [exponent of ten, whole number]."""
        if tag != 4:
            raise CborError(f"tag {tag}, which is not read here")
        parts = self.value(depth + 1)
        if not (isinstance(parts, list) and len(parts) == 2 and all(type(part) is int for part in parts)):
            raise CborError("a decimal fraction that is not two whole numbers")
        exponent, whole = parts
        if abs(exponent) > EXPONENT_MAX:
            raise CborError(f"a decimal fraction with exponent {exponent}")
        return float(f"{whole}e{exponent}")

    @staticmethod
    def _text(raw: bytes) -> str:
        try:
            return raw.decode()
        except UnicodeDecodeError:
            raise CborError("text that is not UTF-8") from None


def dumps(value: Any) -> bytes:
    """`value` (numbers, text, bytes, lists, maps, true, false, None) as CBOR. TypeError: another kind."""
    if value is None or isinstance(value, bool):
        return {None: b"\xf6", False: b"\xf4", True: b"\xf5"}[value]
    if isinstance(value, int):
        return _head(0, value) if value >= 0 else _head(1, -1 - value)
    if isinstance(value, float):
        return _float(value)
    if isinstance(value, bytes):
        return _head(2, len(value)) + value
    if isinstance(value, str):
        raw = value.encode()
        return _head(3, len(raw)) + raw
    if isinstance(value, list):
        return _head(4, len(value)) + b"".join(map(dumps, value))
    if isinstance(value, dict):
        return _head(5, len(value)) + b"".join(dumps(key) + dumps(one) for key, one in value.items())
    raise TypeError(f"no CBOR for {type(value).__name__}")


def _head(major: int, count: int) -> bytes:
    if count < 24:
        return bytes([major << 5 | count])
    for info, size in ((24, 1), (25, 2), (26, 4), (27, 8)):
        if count < 1 << (8 * size):
            return bytes([major << 5 | info]) + count.to_bytes(size, "big")
    raise TypeError(f"a whole number too large for CBOR: {count}")


def _float(value: float) -> bytes:
    """The shortest form that holds the value exactly; a whole number goes as one."""
    if value.is_integer() and abs(value) < 2**53 and not (value == 0 and math.copysign(1, value) < 0):
        return dumps(int(value))
    for info, form in _FLOAT_OF_INFO.items():
        try:
            raw = struct.pack(form, value)
        except OverflowError:
            continue
        back = struct.unpack(form, raw)[0]
        if back == value or value != value:
            return bytes([7 << 5 | info]) + raw
    raise AssertionError("a double holds every float")
