"""Lines of a device that prints text: cut from bytes, checked, taken apart. Owns no port.

Flow: text_line.py -> HERE.
Never: what a key means; memory beyond LINE_BYTES_MAX a line.
"""

from dataclasses import dataclass
from typing import Literal

from logger.modbus.frames import crc16

LINE_BYTES_MAX = 1024
Checksum = Literal["none", "xor", "crc16"]


class LineError(ValueError):
    """A line that cannot be trusted. `kind`: garbage or checksum."""

    def __init__(self, kind: str, text: str):
        self.kind = kind
        super().__init__(text)


@dataclass
class Lines:
    """Cuts bytes into lines; what stands before the first line end may be half a line and is left out."""

    overlong: int = 0
    _held: bytes = b""
    _is_whole: bool = False

    def feed(self, chunk: bytes) -> list[bytes]:
        """Lines that `chunk` completed, oldest first, without their ends. Longer ones are dropped and counted."""
        *ended, self._held = (self._held + chunk).replace(b"\r", b"\n").split(b"\n")
        lines = []
        for line in ended:
            if self._is_whole and line:
                lines.append(line)
            self._is_whole = True
        if len(self._held) > LINE_BYTES_MAX:
            self.overlong += 1
            self._held, self._is_whole = b"", False
        kept = [line for line in lines if len(line) <= LINE_BYTES_MAX]
        self.overlong += len(lines) - len(kept)
        return kept


def checked(line: bytes, checksum: Checksum) -> str:
    """The line's text, without its `*` and checksum. LineError: not printable ASCII, or the checksum does not fit."""
    body = line
    if checksum != "none":
        body, star, said = line.rpartition(b"*")
        wanted = f"{_xor(body):02X}" if checksum == "xor" else f"{crc16(body):04X}"
        if not star or said.strip().upper() != wanted.encode():
            raise LineError("checksum", f"checksum {said[:8]!r} does not fit, {wanted} would")
    if not all(0x20 <= byte < 0x7F or byte == 0x09 for byte in body):
        raise LineError("garbage", "bytes that are no text: is the baud rate right?")
    return body.decode("ascii")


def _xor(body: bytes) -> int:
    total = 0
    for byte in body:
        total ^= byte
    return total


def pairs(text: str, separator: str) -> dict[str, str]:
    """`KEY=value` pairs. LineError: none in it."""
    found = {}
    for item in text.split(separator):
        key, equals, value = item.partition("=")
        if equals:
            found[key.strip()] = value.strip()
    if not found:
        raise LineError("garbage", f"no KEY=value in {text[:60]!r}")
    return found


def columns(text: str, separator: str) -> dict[str, str]:
    """Columns by their number as text, from "1"."""
    items = text.split() if separator == " " else text.split(separator)
    return {str(number): item.strip() for number, item in enumerate(items, 1)}
