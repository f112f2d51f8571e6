"""Whether somebody asked the demo to end: a flag that its own waits look at, so that it ends there and nowhere between.

An exception out of a signal's handler would come up wherever the program is: in a callback or a destructor it is swallowed, and
the demo would run on.
"""

import signal
import time

LOOK_EVERY_S = 0.2


class Stopped(Exception):
    """Ctrl-C or SIGTERM: not an error."""


class Stop:
    """The flag. `look` and `rest` raise Stopped once it is up."""

    def __init__(self) -> None:
        self._asked = False

    def listen(self) -> None:
        """From now on Ctrl-C and SIGTERM put the flag up, and do nothing else."""
        for wanted in (signal.SIGINT, signal.SIGTERM):
            signal.signal(wanted, self.ask)

    def ask(self, *_signal: object) -> None:
        """Put it up."""
        self._asked = True

    def look(self) -> None:
        """Stopped: it is up."""
        if self._asked:
            raise Stopped

    def rest(self, seconds: float) -> None:
        """Sleep, looking now and then."""
        until = time.monotonic() + seconds
        self.look()
        while (left := until - time.monotonic()) > 0:
            time.sleep(min(left, LOOK_EVERY_S))
            self.look()
