"""Readings <-> SenML (RFC 8428), JSON and CBOR: for boards and servers that speak the open standard instead of our pack.

A record's name is `wellhand/<site>/<channel>`, its unit and factor are the channel's (`channels.py`). Beside the channels of an
instant travel `boot` and `clock` (strings) and `seq` (a number). A value that could not be read is the string "null".
An instant before 1978-07-04 would count as relative in SenML, so it goes as time 0 with its milliseconds in `time_ms`.
Flow: spool -> HERE -> broker -> wire.py -> HERE -> store.
Never: a unit guessed; another's names taken for ours.
"""

import json
import struct
import time
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from logger.record import cbor
from logger.record.channels import Channel, channel_of
from logger.record.reading import CLOCKS, Reading
from logger.record.senml_records import LABEL_OF, RELATIVE_BELOW_S, Resolved, SenmlError, resolved

__all__ = ["SenmlError", "from_cbor", "from_json", "to_cbor", "to_json"]

PREFIX = "wellhand/"
UNREADABLE = "null"
TIME_MS_MAX = 2**53
_EXTRA = ("boot", "seq", "clock", "time_ms")


def to_json(readings: list[Reading]) -> bytes:
    """Readings as a SenML JSON pack. SenmlError: no reading, or a channel that is not ours."""
    return json.dumps(list(_records(readings, _short_decimal)), separators=(",", ":")).encode()


def to_cbor(readings: list[Reading]) -> bytes:
    """Readings as a SenML CBOR pack. SenmlError: no reading, or a channel that is not ours."""
    records = _records(readings, _short_float)
    return cbor.dumps([{LABEL_OF[name]: value for name, value in record.items()} for record in records])


def from_json(data: bytes, now_s: float | None = None) -> list[Reading]:
    """The readings of a SenML JSON pack. `now_s`: what relative times count from, the clock if None. SenmlError: not ours."""
    try:
        records = json.loads(data.decode(), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise SenmlError(f"not JSON: {str(error)[:200]}") from None
    return _readings(resolved(records, time.time() if now_s is None else now_s))


def from_cbor(data: bytes, now_s: float | None = None) -> list[Reading]:
    """The readings of a SenML CBOR pack. As `from_json`."""
    try:
        records = cbor.loads(data)
    except cbor.CborError as error:
        raise SenmlError(f"not CBOR: {error}") from None
    return _readings(resolved(records, time.time() if now_s is None else now_s))


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _records(readings: list[Reading], short: Any) -> Iterator[dict[str, Any]]:
    if not readings:
        raise SenmlError("a pack without readings")
    site = None
    for reading in readings:
        head: dict[str, Any] = {"bn": f"{PREFIX}{reading.site}/"} if reading.site != site else {}
        site = reading.site
        is_relative = reading.time_ms < RELATIVE_BELOW_S * 1000
        head["bt"] = 0 if is_relative else reading.time_ms / 1000
        yield {**head, "n": "clock", "vs": reading.clock}
        if is_relative:
            yield {"n": "time_ms", "v": reading.time_ms}
        if reading.boot is not None:
            yield {"n": "boot", "vs": reading.boot}
        if reading.seq is not None:
            yield {"n": "seq", "v": reading.seq}
        for name, value in reading.values.items():
            yield _record(name, value, short)


def _record(name: str, value: float | None, short: Any) -> dict[str, Any]:
    try:
        channel = channel_of(name)
    except KeyError:
        raise SenmlError(f"no such channel: {name!r}") from None
    steps = None if value is None else _steps(channel, value)
    if steps is None:
        return {"n": name, "vs": UNREADABLE}
    return {"n": name, "u": channel.senml_unit, "v": short(channel, steps)}


def _step(channel: Channel) -> Fraction:
    return Fraction(str(channel.step))


def _steps(channel: Channel, value: float) -> int | None:
    """How many of the channel's steps; None where it is no finite number."""
    try:
        return round(Fraction(value) / _step(channel))
    except (ValueError, OverflowError):
        return None


def _said(channel: Channel, steps: int) -> float:
    """In the SenML unit: the float nearest to the exact value."""
    exact = steps * _step(channel) * Fraction(channel.senml_numerator, channel.senml_denominator)
    return float(exact + Fraction(channel.senml_offset))


def _meant(channel: Channel, said: float) -> int:
    """Steps again, from a value in the SenML unit."""
    factor = Fraction(channel.senml_numerator, channel.senml_denominator)
    return round((Fraction(said) - Fraction(channel.senml_offset)) / factor / _step(channel))


def _short_decimal(channel: Channel, steps: int) -> float:
    """The value with no more digits than it takes to mean these steps."""
    exact = _said(channel, steps)
    for digits in range(1, 17):
        shorter = float(f"{exact:.{digits}g}")
        if _meant(channel, shorter) == steps:
            return int(shorter) if shorter.is_integer() else shorter
    return exact


def _short_float(channel: Channel, steps: int) -> float:
    """The value in half or single precision where that still means these steps."""
    exact = _said(channel, steps)
    for form in ("<e", "<f"):
        try:
            shorter = struct.unpack(form, struct.pack(form, exact))[0]
        except OverflowError:
            continue
        if _meant(channel, shorter) == steps:
            return shorter
    return exact


def _readings(records: list[Resolved]) -> list[Reading]:
    """One reading for each run of records of one site and time in which no name comes twice."""
    readings: list[dict[str, Any]] = []
    for record in records:
        site, slash, name = record.name.removeprefix(PREFIX).partition("/")
        if not record.name.startswith(PREFIX) or not slash or "/" in name:
            raise SenmlError(f"not a name of ours: {record.name[:80]!r}; {PREFIX}<site>/<channel> is")
        time_ms = round(record.time_s * 1000)
        last = readings[-1] if readings else None
        if last is None or (last["site"], last["at"]) != (site, time_ms) or name in last["seen"]:
            last = {"site": site, "at": time_ms, "time_ms": time_ms, "seen": set(), "values": {}}
            readings.append(last)
        last["seen"].add(name)
        if name in _EXTRA:
            last[name] = _extra(name, record.value)
        else:
            last["values"][name] = _channel_value(name, record)
    return [_reading(one) for one in readings]


def _reading(one: dict[str, Any]) -> Reading:
    if not 0 <= one["time_ms"] <= TIME_MS_MAX:
        raise SenmlError(f"time out of range: {one['time_ms']} ms")
    return Reading(
        one["site"], one["time_ms"], one["values"], one.get("boot"), one.get("seq"), one.get("clock", "good")
    )


def _extra(name: str, value: Any) -> Any:
    if name == "clock" and value in CLOCKS:
        return value
    if name == "boot" and isinstance(value, str):
        return value
    if name in ("seq", "time_ms") and type(value) is float and value.is_integer() and 0 <= value <= TIME_MS_MAX:
        return int(value)
    raise SenmlError(f"{name!r} of the wrong kind or out of range")


def _channel_value(name: str, record: Resolved) -> float | None:
    try:
        channel = channel_of(name)
    except KeyError:
        raise SenmlError(f"no such channel: {name[:80]!r}") from None
    value = record.value
    if value == UNREADABLE:
        return None
    if channel.kind == "flag" and isinstance(value, bool):
        return float(value)
    if type(value) is not float:
        raise SenmlError(f"{name}: a number was expected")
    if record.unit != channel.senml_unit:
        raise SenmlError(f"{name}: unit {channel.senml_unit!r} was expected, not {record.unit!r}")
    return float(_meant(channel, value) * _step(channel))
