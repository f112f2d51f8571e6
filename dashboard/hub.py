"""Who listens for changes, and one task that asks the store for them.

Flow: store's change counter -> HERE -> routes/live.py -> browser.
However many listen, the store is asked once a turn; where nobody listens, not at all.
"""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from analysis.store import Store

log = logging.getLogger(__name__)
LISTENERS_MAX = 500
"""More are sent away to poll, which costs no open connection."""


class Listener:
    """Sites that changed since this listener last looked."""

    def __init__(self) -> None:
        self._sites: set[str] = set()
        self._woken = asyncio.Event()
        self.ended = False

    def tell(self, sites: frozenset[str]) -> None:
        """These changed."""
        self._sites |= sites
        self._woken.set()

    def end(self) -> None:
        """The server goes down."""
        self.ended = True
        self._woken.set()

    async def changed(self, timeout_s: float) -> set[str]:
        """Sites that changed; empty after `timeout_s` without any."""
        try:
            await asyncio.wait_for(self._woken.wait(), timeout_s)
        except TimeoutError:
            return set()
        self._woken.clear()
        sites, self._sites = self._sites, set()
        return sites


class Hub:
    """Tells listeners. All methods are for the event loop's thread, but for `close_soon`."""

    def __init__(self, store: Store, every_s: float) -> None:
        self._store, self._every_s = store, every_s
        self._listeners: set[Listener] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closed = False

    @asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Asks the store for as long as the block lasts."""
        self._loop = asyncio.get_running_loop()
        task = asyncio.create_task(self._ask_for_ever())
        try:
            yield
        finally:
            self._close()
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    def listen(self) -> Listener | None:
        """A new listener; None where there are too many, or the server goes down."""
        if self._closed or len(self._listeners) >= LISTENERS_MAX:
            return None
        listener = Listener()
        self._listeners.add(listener)
        return listener

    def leave(self, listener: Listener) -> None:
        """It listens no more."""
        self._listeners.discard(listener)

    def close_soon(self) -> None:
        """End all streams, from any thread or signal handler: else the server would wait for them for ever."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._close)

    def _close(self) -> None:
        self._closed = True
        for listener in self._listeners:
            listener.end()

    async def _ask_for_ever(self) -> None:
        token: int | None = None
        failing = False
        while not self._closed:
            await asyncio.sleep(self._every_s)
            if not self._listeners:
                token = None
                continue
            try:
                changes = await asyncio.to_thread(self._store.changes_after, token)
            except Exception as error:  # noqa: BLE001 -- a store that is away comes back; pages poll meanwhile
                if not failing:
                    log.warning("the store does not say what changed: %s", error)
                failing = True
                continue
            failing = False
            if token is not None and changes.sites:
                for listener in self._listeners:
                    listener.tell(changes.sites)
            token = changes.token
