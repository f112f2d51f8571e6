"""Whole numbers <-> bytes: varints, zigzag, Rice codes. What a pack is made of.

Flow: columns.py, pack.py -> HERE.
Never: knowledge of readings; reading beyond the bytes given (PackError).
"""

VARINT_BYTES_MAX = 10
RICE_BITS_MAX = 40
UNARY_MAX = 24
"""A Rice quotient this long is written as an escape: the number follows in ESCAPE_BITS bits."""
ESCAPE_BITS = 64


class PackError(ValueError):
    """Bytes that are no pack, or readings that no pack can hold. The text says which and why."""


def zigzag(number: int) -> int:
    """0, -1, 1, -2, 2 ... -> 0, 1, 2, 3, 4 ..."""
    return number << 1 if number >= 0 else (-number << 1) - 1


def unzigzag(code: int) -> int:
    """Back from `zigzag`."""
    return code >> 1 if not code & 1 else -((code + 1) >> 1)


def varint(number: int) -> bytes:
    """A number from 0 up: seven bits a byte, lowest first, high bit set on all but the last."""
    out = bytearray()
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)
    return bytes(out)


class Cursor:
    """Reads bytes from the front; never beyond the end."""

    def __init__(self, data: bytes):
        self._data = data
        self._at = 0

    def left(self) -> int:
        """Bytes not yet read."""
        return len(self._data) - self._at

    def take(self, count: int) -> bytes:
        """The next `count` bytes. PackError: fewer are left."""
        if count > self.left():
            raise PackError(f"cut short: {count} bytes wanted, {self.left()} left")
        self._at += count
        return self._data[self._at - count : self._at]

    def byte(self) -> int:
        """The next byte."""
        if self._at >= len(self._data):
            raise PackError("cut short: a byte wanted, none left")
        self._at += 1
        return self._data[self._at - 1]

    def varint(self, highest: int = 2**64 - 1) -> int:
        """The next varint. PackError: longer than ten bytes, or above `highest`."""
        data, number = self._data, 0
        for place, at in enumerate(range(self._at, min(len(data), self._at + VARINT_BYTES_MAX))):
            byte = data[at]
            number |= (byte & 0x7F) << (7 * place)
            if byte < 0x80:
                if number > highest:
                    raise PackError(f"number too large: {number}, at most {highest} can stand there")
                self._at = at + 1
                return number
        if self.left() < VARINT_BYTES_MAX:
            raise PackError("cut short: within a number")
        raise PackError("a number without an end")

    def varints(self, count: int) -> list[int]:
        """The next `count` varints."""
        plain = self._data[self._at : self._at + count]
        if len(plain) == count and plain.isascii():  # each one byte, as most columns are: no loop of ours
            self._at += count
            return list(plain)
        data, found, number, shift = self._data, [], 0, 0
        for at in range(self._at, len(data)):
            byte = data[at]
            if byte < 0x80:
                found.append(number | byte << shift)
                number = shift = 0
                if len(found) == count:
                    self._at = at + 1
                    return self._none_above(found)
                continue
            number |= (byte & 0x7F) << shift
            shift += 7
            if shift == 7 * VARINT_BYTES_MAX:
                raise PackError("a number without an end")
        raise PackError(f"cut short: {count} numbers wanted, {len(found)} there")

    @staticmethod
    def _none_above(found: list[int]) -> list[int]:
        if max(found) >= 2**64:
            raise PackError(f"number too large: {max(found)}, at most {2**64 - 1} can stand there")
        return found

    def text(self, bytes_max: int) -> str:
        """A length and that many bytes of UTF-8."""
        raw = self.take(self.varint(bytes_max))
        try:
            return raw.decode()
        except UnicodeDecodeError:
            raise PackError("text that is not UTF-8") from None


def rice_cost_bits(codes: list[int], low_bits: int) -> int:
    """How many bits `rice` needs."""
    total = 0
    for code in codes:
        quotient = code >> low_bits
        total += UNARY_MAX + ESCAPE_BITS if quotient >= UNARY_MAX else quotient + 1 + low_bits
    return total


def rice(codes: list[int], low_bits: int) -> bytes:
    """Numbers from 0 up, each as quotient in ones, a zero, and `low_bits` bits; padded with ones to whole bytes."""
    parts = []
    for code in codes:
        quotient = code >> low_bits
        if quotient >= UNARY_MAX:
            parts.append("1" * UNARY_MAX + format(code, f"0{ESCAPE_BITS}b"))
            continue
        low = format(code & (1 << low_bits) - 1, f"0{low_bits}b") if low_bits else ""
        parts.append("1" * quotient + "0" + low)
    bits = "".join(parts)
    bits += "1" * (-len(bits) % 8)
    return int(bits, 2).to_bytes(len(bits) // 8, "big") if bits else b""


def unrice(data: bytes, count: int, low_bits: int) -> list[int]:
    """Back from `rice`. PackError: the bits end early, or more than padding is left."""
    bits = format(int.from_bytes(data, "big"), f"0{8 * len(data)}b") if data else ""
    codes, at = [], 0
    for _ in range(count):
        zero = bits.find("0", at, at + UNARY_MAX)
        quotient = UNARY_MAX if zero < 0 else zero - at
        width = ESCAPE_BITS if zero < 0 else low_bits
        at += UNARY_MAX if zero < 0 else quotient + 1
        if at + width > len(bits):
            raise PackError("a column's bits end early")
        low = int(bits[at : at + width], 2) if width else 0
        codes.append(low if zero < 0 else (quotient << low_bits) | low)
        at += width
    if len(bits) - at >= 8:
        raise PackError("a column has bytes left over")
    return codes
