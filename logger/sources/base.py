"""What every source is: something that is only ever read, at its own pace, within the time it is given.

Flow: registry.py builds a source from its settings -> HERE (the shape) -> agent.py reads it.
Never: a write to a device; an exception other than SourceError for what a device or a cable does.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

Values = dict[str, float | None]
"""By channel; None = could not be read."""


class SourceError(Exception):
    """A source could not be read this time. The text says what was tried and what to look at."""


@dataclass(frozen=True)
class Turn:
    """One turn of the agent. Seconds on the monotonic clock, so that no clock step disturbs it.

    `starts_s` is when the turn began; a source gives up at `read_by_s`.
    """

    starts_s: float
    read_by_s: float
    now: Callable[[], float] = field(default=time.monotonic, compare=False)

    def left_s(self) -> float:
        """Seconds left for reading, 0 when over."""
        return max(0.0, self.read_by_s - self.now())


class Source(Protocol):
    """What the agent knows of a source.

    name
        From its settings; names it in health and in messages.
    channels
        Every channel that it promises: those that a failed read turns into null.
    period_s
        How often it wants to be read.
    counts
        What went wrong since the start, by kind (`timeout`, `crc`, `garbage` ...); rises only.
    """

    name: str
    channels: tuple[str, ...]
    period_s: float
    counts: dict[str, int]

    def due(self, turn: Turn) -> bool:
        """Is it time to read again?"""
        ...

    def read(self, turn: Turn) -> Values:
        """Values by channel. SourceError: nothing could be read; single unreadable values are None."""
        ...

    def close(self) -> None:
        """Let go of port and files; `read` opens them again."""
        ...


class Paced:
    """Name, channels, counts and pace, for sources to inherit. Opens nothing.

    Missed times are skipped, never made up for.
    """

    def __init__(self, name: str, channels: tuple[str, ...], period_s: float):
        self.name = name
        self.channels = channels
        self.period_s = period_s
        self.counts: dict[str, int] = {}
        self._next_s: float | None = None

    def due(self, turn: Turn) -> bool:
        """True once each period, counted from the first turn; asking marks the read as begun."""
        if self._next_s is None:
            self._next_s = turn.starts_s
        if turn.starts_s + 1e-6 < self._next_s:
            return False
        missed = (turn.starts_s - self._next_s + 1e-6) // self.period_s
        self._next_s += (missed + 1) * self.period_s
        return True

    def count(self, kind: str) -> None:
        """One more of `kind`."""
        self.counts[kind] = self.counts.get(kind, 0) + 1

    def close(self) -> None:
        """Nothing to let go of, unless the source says otherwise."""
