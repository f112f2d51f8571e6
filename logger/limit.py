"""At most so many in a day, to each name, counted on the clock that never jumps.

Flow: sms.py (messages to a number), sender.py (changes published at once) -> HERE. Never: what is counted.
"""

from collections import deque

DAY_S = 86_400.0


class Limit:
    """`most`: within any day."""

    def __init__(self, most: int):
        self._most = most
        self._used: dict[str, deque[float]] = {}

    def left(self, name: str, now_s: float) -> int:
        """How many may still go."""
        used = self._used.setdefault(name, deque())
        while used and now_s - used[0] >= DAY_S:
            used.popleft()
        return max(0, self._most - len(used))

    def count(self, name: str, now_s: float) -> None:
        """One went."""
        self._used.setdefault(name, deque()).append(now_s)
