"""SenML records (RFC 8428): base fields resolved, times made absolute, every rule of the standard kept.

Labels of CBOR are turned into the names of JSON first, so one path serves both.
Flow: senml.py -> HERE.
Never: our own channels.
"""

import base64
import binascii
import math
import re
from dataclasses import dataclass
from typing import Any

VERSION_MAX = 10
RELATIVE_BELOW_S = 2.0**28
"""A time below this counts from now (RFC 8428, section 4.5.3)."""
RECORDS_MAX = 100_000

LABEL_OF = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6, "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4,
            "s": 5, "t": 6, "ut": 7, "vd": 8}  # fmt: skip
"""The CBOR label of each field (RFC 8428, section 6, table 4)."""
NAME_OF = {label: name for name, label in LABEL_OF.items()}

_NUMBERS = frozenset({"bt", "bv", "bs", "v", "s", "t", "ut"})
_TEXTS = frozenset({"bn", "bu", "n", "u", "vs"})
_VALUES = ("v", "vs", "vb", "vd")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")


class SenmlError(ValueError):
    """Not SenML, or SenML that says nothing of ours. The text says which record and why."""


@dataclass(frozen=True)
class Resolved:
    """One record with nothing left to look up. `time_s`: seconds since 1970-01-01T00:00:00Z."""

    name: str
    time_s: float
    value: float | str | bool | bytes | None = None
    unit: str | None = None
    sum: float | None = None
    update_s: float | None = None


def resolved(records: Any, now_s: float) -> list[Resolved]:
    """Each record of a pack, resolved. `now_s`: what relative times count from. SenmlError: against RFC 8428."""
    if not isinstance(records, list):
        raise SenmlError("not a list of records")
    if not 1 <= len(records) <= RECORDS_MAX:
        raise SenmlError(f"{len(records)} records; 1 to {RECORDS_MAX} are read")
    base: dict[str, Any] = {}
    return [_one(_checked(record, place), base, now_s, place) for place, record in enumerate(records, 1)]


def _checked(record: Any, place: int) -> dict[str, Any]:
    """The record with every known field of the right type; unknown ones dropped unless they must be understood."""
    if not isinstance(record, dict):
        raise SenmlError(f"record {place} is not an object")
    kept = {}
    for key, value in record.items():
        name = NAME_OF.get(key, "") if type(key) is int else str(key)
        if name in LABEL_OF:
            _judge_type(name, value, place)
            kept[name] = value
        elif name.endswith("_"):
            raise SenmlError(f"record {place} has {name!r}, which must be understood and is not")
    if sum(name in kept for name in _VALUES) > 1:
        raise SenmlError(f"record {place} has more than one value")
    return kept


def _judge_type(name: str, value: Any, place: int) -> None:
    if name in _NUMBERS:
        good = type(value) in (int, float) and _is_finite(value)
    elif name in _TEXTS:
        good = isinstance(value, str)
    elif name == "vb":
        good = isinstance(value, bool)
    elif name == "vd":
        good = isinstance(value, str | bytes)
    else:
        good = type(value) is int and value > 0
        if good and value > VERSION_MAX:
            raise SenmlError(f"record {place} is of version {value}; up to {VERSION_MAX} is read")
    if not good:
        raise SenmlError(f"record {place}: {name!r} of the wrong kind")


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond any float
        return False


def _one(record: dict[str, Any], base: dict[str, Any], now_s: float, place: int) -> Resolved:
    base.update({name: value for name, value in record.items() if name in ("bn", "bt", "bu", "bv", "bs", "bver")})
    name = base.get("bn", "") + record.get("n", "")
    if not _NAME.fullmatch(name):
        raise SenmlError(f"record {place} has no usable name: {name[:80]!r}")
    time_s = float(base.get("bt", 0)) + float(record.get("t", 0))
    if time_s < RELATIVE_BELOW_S:
        time_s += now_s
    total = record.get("s")
    if total is not None or "bs" in base:
        total = float(total or 0) + float(base.get("bs", 0))
    value = _value(record, base, place)
    if value is None and total is None:
        raise SenmlError(f"record {place} has neither a value nor a sum")
    return Resolved(name, time_s, value, record.get("u", base.get("bu")), total, record.get("ut"))


def _value(record: dict[str, Any], base: dict[str, Any], place: int) -> float | str | bool | bytes | None:
    if "vd" in record:
        return _data(record["vd"], place)
    for name in ("vs", "vb"):
        if name in record:
            return record[name]
    if "v" in record or "bv" in base:
        return float(record.get("v", 0)) + float(base.get("bv", 0))
    return None


def _data(value: str | bytes, place: int) -> bytes:
    """Bytes as they are, or base64url without padding."""
    if isinstance(value, bytes):
        return value
    try:
        if not re.fullmatch(r"[A-Za-z0-9_-]*", value):
            raise ValueError
        return base64.urlsafe_b64decode(value + "=" * (-len(value) % 4))
    except (ValueError, binascii.Error):
        raise SenmlError(f"record {place}: 'vd' is not base64url") from None
