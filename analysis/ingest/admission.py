"""What a board published -> readings, or refused with a reason that is counted.

Flow: subscriber.py (topic, bytes) -> HERE -> keeper.py stores what was admitted and counts what was not.
A reading whose time cannot be true, or a value out of its channel's range, does not spoil the others of its batch: its sequence
still counts as arrived, for the board would send it for ever.
Never: the store, the broker, a clock of its own; another exception than Refused, whatever the bytes.
"""

import json
import math
from collections import Counter
from collections.abc import Container
from dataclasses import dataclass, field, replace
from typing import Any

from logger.record.causes import CAUSES
from logger.record.reading import Reading
from logger.record.topics import FROM_BOARD, PRESENCE, READINGS, URGENT, taken_apart
from logger.record.wire import WireError, decode

EARLIEST_MS = 946_684_800_000  # 2000-01-01: no board of ours is older, but clocks that were never set begin in 1970
AHEAD_MS_MAX = 86_400_000
WORD_BYTES_MAX = 65_536
NESTING_MAX = 20


class Refused(Exception):
    """A message that is not taken. `reason`: a short slug to count by; `example` lets a person recognise it."""

    def __init__(self, reason: str, example: str = ""):
        self.reason, self.example = reason, example
        super().__init__(f"{reason}: {example}" if example else reason)


@dataclass(frozen=True)
class Admitted:
    """A message that is taken. `readings` of kind `readings`, `word` of the others; `mended` counts what was left out."""

    site: str
    kind: str
    readings: tuple[Reading, ...] = ()
    word: dict[str, Any] = field(default_factory=dict)
    mended: Counter[str] = field(default_factory=Counter)


def admit(topic: str, payload: bytes, known_sites: Container[str], now_ms: int) -> Admitted:
    """Judge one message. Refused: with its reason."""
    taken = taken_apart(topic)
    if taken is None or taken.kind not in FROM_BOARD:
        raise Refused("topic", topic)
    if taken.site not in known_sites:
        raise Refused("unknown-site", topic)
    if taken.kind == READINGS:
        return _readings(taken.site, payload, now_ms)
    if taken.kind == URGENT:
        return Admitted(taken.site, URGENT, word=urgent_word(taken.site, payload, now_ms))
    return Admitted(taken.site, taken.kind, word=_object(payload, taken.kind))


def _readings(site: str, payload: bytes, now_ms: int) -> Admitted:
    try:
        decoded = decode(payload, now_ms / 1000)
    except WireError as error:
        raise Refused(error.reason, str(error)) from None
    if any(reading.site != site for reading in decoded):
        others = sorted({reading.site for reading in decoded} - {site})
        raise Refused("another-site", f"below {site}: {', '.join(others)}")
    mended: Counter[str] = Counter()
    judged = [_with_true_time(reading, now_ms, mended) for reading in decoded]
    return Admitted(site, READINGS, tuple(one for one in judged if one is not None), mended=mended)


def _with_true_time(reading: Reading, now_ms: int, mended: Counter[str]) -> Reading | None:
    """The reading; where its time cannot be true its tombstone, or None where it has no sequence to tick off."""
    if not reading.values:
        return reading
    wrong = _wrong_time(reading, now_ms)
    if wrong is None:
        if None in reading.values.values():
            mended.update(f"unreadable {name}" for name, value in reading.values.items() if value is None)
        return reading
    mended[wrong] += 1
    return None if reading.boot is None else replace(reading, values={})


def _wrong_time(reading: Reading, now_ms: int) -> str | None:
    if reading.clock == "unsure":  # kept aside under its sequence until the board repairs it, whatever it says now
        return "time unknown, no sequence" if reading.boot is None else None
    if reading.time_ms < EARLIEST_MS:
        return "time before 2000"
    if reading.time_ms > now_ms + AHEAD_MS_MAX:
        return "time in the future"
    return None


def _object(payload: bytes, kind: str) -> dict[str, Any]:
    """A presence or health message."""
    word = _json(payload, kind)
    if not isinstance(word, dict):
        raise Refused(f"bad-{kind}", "not a JSON object")
    if kind == PRESENCE and not isinstance(word.get("online"), bool):
        raise Refused(f"bad-{PRESENCE}", "'online' must be true or false")
    return word


def _json(payload: bytes, kind: str) -> Any:
    if len(payload) > WORD_BYTES_MAX:
        raise Refused("too-long", f"{len(payload)} bytes of {kind}, at most {WORD_BYTES_MAX} are read")
    try:
        found = json.loads(payload)
        _judge_plain(found, NESTING_MAX)
    except (ValueError, RecursionError) as error:
        raise Refused(f"bad-{kind}", str(error)) from None
    return found


def _judge_plain(found: Any, depth: int) -> None:
    """ValueError: what JSON texts and databases cannot carry back: NaN, lone surrogates, NUL, endless nesting."""
    if depth == 0:
        raise ValueError(f"nested deeper than {NESTING_MAX}")
    if isinstance(found, float) and not math.isfinite(found):
        raise ValueError("a number that is not finite")
    if isinstance(found, str):
        found.encode()
        if "\0" in found:
            raise ValueError("a NUL character")
    elif isinstance(found, dict):
        for key, value in found.items():
            _judge_plain(key, depth - 1)
            _judge_plain(value, depth - 1)
    elif isinstance(found, list):
        for value in found:
            _judge_plain(value, depth - 1)


def urgent_word(site: str, payload: bytes, now_ms: int) -> dict[str, Any]:
    """What a board itself judged: SenML in which one record names a cause. `cause`, `time_ms` and the records as sent."""
    records = _json(payload, URGENT)
    if not isinstance(records, list) or not all(isinstance(record, dict) for record in records):
        raise Refused("bad-urgent", "not a list of SenML records")
    names = [record.get("vs") for record in records if record.get("vs") in CAUSES]
    if len(names) != 1:
        raise Refused("bad-urgent", f"names {len(names)} causes of ours, should name one")
    times = [record[key] for record in records for key in ("bt", "t") if _is_number(record.get(key))]
    time_ms = round(sum(times[:1]) * 1000)
    if not EARLIEST_MS <= time_ms <= now_ms + AHEAD_MS_MAX:
        time_ms = now_ms
    return {"site": site, "cause": names[0], "time_ms": time_ms, "records": records}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15
