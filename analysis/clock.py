"""What time it is for the server: this machine's clock, or an invented one that runs with simulated plants.

Flow: commands/watch.py makes one -> ingest, turns.
Never: a reading's time; that is the board's word.
"""

import time
from dataclasses import dataclass


@dataclass(frozen=True)
class Clock:
    """`epoch_ms` was at `from_ms` of this machine's clock, and runs `rate` times as fast. The defaults are real time."""

    epoch_ms: int = 0
    from_ms: int = 0
    rate: float = 1.0

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC, of this clock."""
        return self.epoch_ms + round((time.time_ns() // 1_000_000 - self.from_ms) * self.rate)
