"""The compact column pack: readings of one site <-> few bytes, exact at each channel's step.

Flow: spool -> HERE -> broker -> wire.py -> HERE -> store.
Layout, version 1: `WHP`, version, flags (bit 0: body deflated), CRC-32 of version, flags and body (4 bytes, highest first),
body.
Body: site; rows; names of boots; columns time_ms, boot, seq, clock; number of channels; per channel its code and column.
A channel's code is 3 * its place in PLACES (+1 `_min`, +2 `_max`); numbers are value * 10**decimals, rounded to even.
Never: reads what it does not know; grows beyond its limits, whatever the bytes say.
"""

import math
import zlib

from logger.record.bits import Cursor, PackError, varint
from logger.record.channels import EXTREMES
from logger.record.columns import ABSENT, NULL, PRESENT, UNITS_MAX, Cell, column, uncolumn
from logger.record.reading import CLOCKS, Clock, Reading

__all__ = ["MAGIC", "PackError", "ROWS_MAX", "pack", "unpack"]

MAGIC = b"WHP"
VERSION = 1
ROWS_MAX = 4096
BODY_BYTES_MAX = 1 << 21
SITE_BYTES_MAX = 48
BOOT_BYTES_MAX = 48
DEFLATED = 1

PLACES: tuple[tuple[str, int], ...] = (
    ("pv_voltage_v", 1),
    ("pv_current_a", 2),
    ("motor_current_a", 2),
    ("motor_speed_rpm", 0),
    ("flow_m3_h", 3),
    ("volume_m3", 3),
    ("discharge_pressure_bar", 3),
    ("water_level_m", 2),
    ("irradiance_w_m2", 1),
    ("module_temp_c", 1),
    ("ambient_temp_c", 1),
    ("controller_temp_c", 1),
    ("low_level_probe_wet", 0),
    ("tank_float_up", 0),
    ("motor_running", 0),
    ("fault_code", 0),
    ("input_power_w", 1),
    ("motor_voltage_v", 1),
    ("drive_frequency_hz", 2),
    ("speed_setting_pct", 1),
    ("switched_on", 0),
    ("tank_level_m", 3),
)
"""Channels and the decimals kept, as version 1 writes them. Append only: packs already written count by these places."""

_SUFFIXES = ("", *EXTREMES)
_CODE_OF = {
    name + end: 3 * place + part for place, (name, _) in enumerate(PLACES) for part, end in enumerate(_SUFFIXES)
}
_NAME_OF = {code: name for name, code in _CODE_OF.items()}


def pack(readings: list[Reading]) -> bytes:
    """Readings of one site as bytes, in the order given.

    Kept of each value is the channel's step (`channels.py`): 0.1 V, 0.01 A, 1 L ... A value that is no finite number, or
    beyond 2**53 steps, becomes None. PackError: none or too many readings, two sites, an unknown channel, a bad boot or time.
    """
    plain = _body(readings, small=True)
    bodies = [(0, plain)] + [(DEFLATED, _deflated(body)) for body in (plain, _body(readings, small=False))]
    flags, body = min(bodies, key=lambda one: len(one[1]))
    head = bytes([VERSION, flags])
    return MAGIC + head + zlib.crc32(head + body).to_bytes(4, "big") + body


def _deflated(body: bytes) -> bytes:
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    return squeeze.compress(body) + squeeze.flush()


def _body(readings: list[Reading], small: bool) -> bytes:
    if not 1 <= len(readings) <= ROWS_MAX:
        raise PackError(f"a pack holds 1 to {ROWS_MAX} readings, not {len(readings)}")
    site = readings[0].site
    boots = list(dict.fromkeys(reading.boot for reading in readings if reading.boot is not None))
    for reading in readings:
        _judge(reading, site)
    names = sorted({name for reading in readings for name in reading.values}, key=_code_of)
    parts = [_text(site), varint(len(readings)), varint(len(boots)), *map(_text, boots)]
    parts.append(column([(PRESENT, reading.time_ms) for reading in readings], small=small))
    place = {boot: number for number, boot in enumerate(boots)}
    parts.append(
        column([(ABSENT, 0) if one.boot is None else (PRESENT, place[one.boot]) for one in readings], small=small)
    )
    parts.append(column([(ABSENT, 0) if one.seq is None else (PRESENT, one.seq) for one in readings], small=small))
    parts.append(column([(PRESENT, CLOCKS.index(one.clock)) for one in readings], small=small))
    parts.append(varint(len(names)))
    beside: dict[str, list[int]] = {}
    for name in names:
        cells = [_cell(reading, name) for reading in readings]
        parts += [varint(_CODE_OF[name]), column(cells, beside.get(_mean_of(name)), small)]
        beside[name] = _held(cells)
    return b"".join(parts)


def _judge(reading: Reading, site: str) -> None:
    if reading.site != site:
        raise PackError(f"a pack speaks of one site: {site!r} and {reading.site!r}")
    if not 0 <= reading.time_ms <= UNITS_MAX:
        raise PackError(f"time out of range: {reading.time_ms} ms")
    if reading.seq is not None and not 0 <= reading.seq <= UNITS_MAX:
        raise PackError(f"sequence out of range: {reading.seq}")
    if reading.clock not in CLOCKS:
        raise PackError(f"no such clock quality: {reading.clock!r}")
    if len(site.encode()) > SITE_BYTES_MAX or len((reading.boot or "").encode()) > BOOT_BYTES_MAX:
        raise PackError(f"the names of site and boot have at most {SITE_BYTES_MAX} bytes")


def _code_of(name: str) -> int:
    if name not in _CODE_OF:
        raise PackError(f"no such channel in a pack: {name!r}")
    return _CODE_OF[name]


def _text(text: str) -> bytes:
    raw = text.encode()
    return varint(len(raw)) + raw


def _mean_of(name: str) -> str:
    """The column that a `_min` or `_max` stands beside; the name itself for others."""
    code = _CODE_OF[name]
    return _NAME_OF[code - code % 3]


def _cell(reading: Reading, name: str) -> Cell:
    if name not in reading.values:
        return ABSENT, 0
    value = reading.values[name]
    scale = 10 ** PLACES[_CODE_OF[name] // 3][1]
    if value is None or not math.isfinite(value) or abs(value) * scale > UNITS_MAX:
        return NULL, 0
    return PRESENT, round(value * scale)


def _held(cells: list[Cell]) -> list[int]:
    """A number for each row: its own, else the last one before."""
    held, last = [], 0
    for state, number in cells:
        last = number if state == PRESENT else last
        held.append(last)
    return held


def unpack(data: bytes) -> list[Reading]:
    """The readings of a pack, in their order. PackError: not a pack, of another version, damaged, or beyond the limits."""
    if data[: len(MAGIC)] != MAGIC:
        raise PackError("not a pack: it does not begin with WHP")
    cursor = Cursor(data[len(MAGIC) :])
    version, flags = cursor.byte(), cursor.byte()
    if version != VERSION or flags & ~DEFLATED:
        raise PackError(f"a pack of version {version}, flags {flags}: this program reads version {VERSION}")
    check = int.from_bytes(cursor.take(4), "big")
    body = cursor.take(cursor.left())
    if zlib.crc32(bytes([version, flags]) + body) != check:
        raise PackError("damaged: its CRC does not fit")
    body = _inflated(body) if flags & DEFLATED else body
    if len(body) > BODY_BYTES_MAX:
        raise PackError(f"longer than {BODY_BYTES_MAX} bytes")
    return _readings(Cursor(body))


def _inflated(body: bytes) -> bytes:
    """At most BODY_BYTES_MAX bytes are ever unfolded."""
    inflate = zlib.decompressobj(-15)
    try:
        plain = inflate.decompress(body, BODY_BYTES_MAX + 1)
    except zlib.error as error:
        raise PackError(f"damaged: {error}") from None
    if len(plain) > BODY_BYTES_MAX:
        raise PackError(f"unfolds to more than {BODY_BYTES_MAX} bytes")
    if not inflate.eof or inflate.unused_data:
        raise PackError("damaged: the deflated part does not end where the pack ends")
    return plain


def _readings(cursor: Cursor) -> list[Reading]:
    site, rows = cursor.text(SITE_BYTES_MAX), cursor.varint(ROWS_MAX)
    if not rows:
        raise PackError("a pack without readings")
    boots = [cursor.text(BOOT_BYTES_MAX) for _ in range(cursor.varint(rows))]
    times, boot, seq, clock = (uncolumn(cursor, rows) for _ in range(4))
    columns: dict[str, list[Cell]] = {}
    for _ in range(cursor.varint(len(_NAME_OF))):
        code = cursor.varint()
        name = _NAME_OF.get(code)
        if name is None or name in columns:
            raise PackError(f"channel {code}: unknown to this program, or there twice")
        mean = columns.get(_mean_of(name))
        columns[name] = uncolumn(cursor, rows, None if mean is None else _held(mean))
    if cursor.left():
        raise PackError(f"{cursor.left()} bytes left over")
    values = _values(columns, rows)
    return [
        Reading(
            site,
            _wanted(times[row], 0, UNITS_MAX),
            values[row],
            boots[_wanted(boot[row], 0, len(boots) - 1)] if boot[row][0] != ABSENT else None,
            _wanted(seq[row], 0, UNITS_MAX) if seq[row][0] != ABSENT else None,
            _clock(clock[row]),
        )
        for row in range(rows)
    ]


def _wanted(cell: Cell, lowest: int, highest: int) -> int:
    state, number = cell
    if state != PRESENT or not lowest <= number <= highest:
        raise PackError("a time, boot, sequence or clock that cannot be")
    return number


def _clock(cell: Cell) -> Clock:
    return CLOCKS[_wanted(cell, 0, len(CLOCKS) - 1)]


def _values(columns: dict[str, list[Cell]], rows: int) -> list[dict[str, float | None]]:
    """By row; dividing whole numbers gives the float nearest to the decimal number."""
    read: dict[str, list[float | None]] = {}
    absent: dict[str, list[bool]] = {}
    for name, cells in columns.items():
        scale = 10 ** PLACES[_CODE_OF[name] // 3][1]
        read[name] = [number / scale if state == PRESENT else None for state, number in cells]
        gone = [state == ABSENT for state, _ in cells]
        if any(gone):
            absent[name] = gone
    if not read:
        return [{} for _ in range(rows)]
    whole = [dict(zip(read, values, strict=True)) for values in zip(*read.values(), strict=True)]
    for name, gone in absent.items():
        for row, is_gone in enumerate(gone):
            if is_gone:
                del whole[row][name]
    return whole
