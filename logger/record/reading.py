"""One instant and what was measured then.

Flow: source -> HERE -> spool -> wire -> store.
Never: where it came from or how it travels.
"""

from dataclasses import dataclass, field
from typing import Literal

Clock = Literal["good", "repaired", "unsure"]
CLOCKS: tuple[Clock, ...] = ("good", "repaired", "unsure")


@dataclass(frozen=True)
class Reading:
    """Values by channel at one instant of one site; a value that could not be read is None.

    values
        Empty = a *tombstone*: a sequence number that was given out and has no values (a boot's first, which only
        announces the boot; a row thinned or damaged on the board). A store counts its `seq` as arrived, so that
        `stored` passes over it, and stores no row; it never overrides a reading of the same boot and seq.
    time_ms
        Milliseconds since 1970-01-01T00:00:00Z, without leap seconds.
    boot
        Which start of the board made it: `NNNNNN-xxxxxxxx`, a counter kept on the board and eight random hex digits, so
        that boots sort and a replaced card does not repeat a name. None where no board made it.
    seq
        1, 2, 3 ... within the boot, without a hole. The order is (boot, seq), never the wall clock.
    clock
        `good`: the clock was set when it was read; `repaired`: worked out later from the monotonic
        clock; `unsure`: neither yet.
    """

    site: str
    time_ms: int
    values: dict[str, float | None] = field(default_factory=dict)
    boot: str | None = None
    seq: int | None = None
    clock: Clock = "good"
