"""What came from the broker -> readings: the pack, SenML JSON or SenML CBOR, told apart by the first bytes.

Flow: broker -> analysis/ingest -> HERE -> store.
Never: another exception than WireError, whatever the bytes; memory beyond a fixed multiple of PAYLOAD_BYTES_MAX.
"""

import re
from dataclasses import replace

from logger.record import pack, senml
from logger.record.channels import honest
from logger.record.reading import Reading

PAYLOAD_BYTES_MAX = 1 << 20
SITE = re.compile(r"[a-z0-9-]{1,48}")
BOOT = re.compile(r"[0-9]{6,12}-[0-9a-f]{8}")


class WireError(ValueError):
    """A payload that is refused. `reason`: a short slug to count by; the text says more.

    Reasons: `empty`, `too-long`, `unknown-form`, `bad-pack`, `bad-senml`, `bad-site`, `bad-boot`, `bad-sequence`.
    """

    def __init__(self, reason: str, text: str):
        self.reason = reason
        super().__init__(f"{reason}: {text}")


def decode(payload: bytes, now_s: float | None = None) -> list[Reading]:
    """The readings in a payload, in their order; a value that its channel cannot honestly have is None.

    `now_s`: what SenML's relative times count from, the clock if None. WireError: refused, with the reason.
    """
    if not payload:
        raise WireError("empty", "no bytes")
    if len(payload) > PAYLOAD_BYTES_MAX:
        raise WireError("too-long", f"{len(payload)} bytes, at most {PAYLOAD_BYTES_MAX} are read")
    return [_judged(reading) for reading in _taken(payload, now_s)]


def _taken(payload: bytes, now_s: float | None) -> list[Reading]:
    first = payload[0]
    if payload.startswith(pack.MAGIC):
        try:
            return pack.unpack(payload)
        except pack.PackError as error:
            raise WireError("bad-pack", str(error)) from None
    try:
        if first == ord("[") or first in b" \t\r\n":
            return senml.from_json(payload, now_s)
        if first >> 5 == 4:  # a CBOR array
            return senml.from_cbor(payload, now_s)
    except senml.SenmlError as error:
        raise WireError("bad-senml", str(error)) from None
    raise WireError("unknown-form", f"begins with 0x{payload[:4].hex()}: neither a pack nor SenML")


def _judged(reading: Reading) -> Reading:
    if not SITE.fullmatch(reading.site):
        raise WireError("bad-site", f"no such name for a site: {reading.site[:60]!r}")
    if reading.boot is not None and not BOOT.fullmatch(reading.boot):
        raise WireError("bad-boot", f"expected NNNNNN-xxxxxxxx, got {reading.boot[:60]!r}")
    if (reading.boot is None) != (reading.seq is None) or reading.seq == 0:
        raise WireError("bad-sequence", "boot and sequence come together, and sequences count from 1")
    values = reading.values
    wrong = [name for name, value in values.items() if value is not None and honest(name, value) is None]
    return replace(reading, values={**values, **dict.fromkeys(wrong)}) if wrong else reading
