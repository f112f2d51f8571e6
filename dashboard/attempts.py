"""How often somebody may try to sign in.

Flow: routes/sign_in.py -> HERE.
Never: I/O; knows passwords. Kept in memory: a restart forgets, which gains a guesser little.
"""

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock

WINDOW_MS = 15 * 60_000
FAILED_PER_PAIR_MAX = 5
FAILED_PER_ADDRESS_MAX = 30
REMEMBERED_MAX = 10_000
"""Keys held; the oldest go first, so that a flood of addresses cannot fill the memory."""


class Attempts:
    """Counts failed sign-ins by (name, address) and by address over a sliding quarter of an hour.

    Not by name alone: that would let anybody lock out somebody else.
    """

    def __init__(self, now_ms: Callable[[], int]) -> None:
        self._now_ms = now_ms
        self._failed: OrderedDict[tuple[str, ...], list[int]] = OrderedDict()
        self._lock = Lock()

    def wait_s(self, name: str, address: str) -> int:
        """Seconds until another try is allowed; 0 = now."""
        with self._lock:
            return max(
                self._wait_s((name, address), FAILED_PER_PAIR_MAX), self._wait_s((address,), FAILED_PER_ADDRESS_MAX)
            )

    def failed(self, name: str, address: str) -> None:
        """Note one failure."""
        with self._lock:
            for key in ((name, address), (address,)):
                self._failed.setdefault(key, []).append(self._now_ms())
                self._failed.move_to_end(key)
            while len(self._failed) > REMEMBERED_MAX:
                self._failed.popitem(last=False)

    def succeeded(self, name: str, address: str) -> None:
        """Forget the failures of this pair; those of the address stay."""
        with self._lock:
            self._failed.pop((name, address), None)

    def _wait_s(self, key: tuple[str, ...], allowed: int) -> int:
        now = self._now_ms()
        recent = [at for at in self._failed.get(key, []) if at > now - WINDOW_MS][-allowed:]
        if key in self._failed:
            self._failed[key] = recent
        if len(recent) < allowed:
            return 0
        return max(1, -(-(recent[0] + WINDOW_MS - now) // 1000))
