"""Keeps one `wellhand watch` running beside the pages.

Flow: commands/serve.py -> HERE -> a process of its own.
Never: what `watch` does; a restart faster than once a second.
"""

import logging
import subprocess
import sys
import threading
import time

log = logging.getLogger(__name__)
PAUSE_FIRST_S, PAUSE_MAX_S = 1.0, 60.0
RAN_WELL_S = 60.0
"""After so long a run the next pause is short again."""
STOP_S = 10.0

# The child asks the kernel to be ended with us (prctl 1 = PR_SET_PDEATHSIG, 15 = SIGTERM; Linux), so that a
# killed server leaves no watcher behind that would keep the next one from starting.
CHILD = (
    "import ctypes, sys\n"
    "sys.platform == 'linux' and ctypes.CDLL(None).prctl(1, 15)\n"
    "from logger.cli import main\n"
    "sys.exit(main(sys.argv[1:]))"
)


class Supervised:
    """One child process, started again whenever it ends, with a growing pause."""

    def __init__(self, arguments: list[str], command: tuple[str, ...] = (sys.executable, "-c", CHILD)) -> None:
        self._command = [*command, *arguments]
        self._stopping = threading.Event()
        self._child: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._keep, name="watch", daemon=True)
        self.starts = 0

    def start(self) -> None:
        """Returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """Ends the child: asked first, killed after `STOP_S`."""
        self._stopping.set()
        with self._lock:
            child = self._child
        if child is not None and child.poll() is None:
            child.terminate()
            try:
                child.wait(STOP_S)
            except subprocess.TimeoutExpired:
                child.kill()
        self._thread.join(STOP_S)

    def _keep(self) -> None:
        pause_s = PAUSE_FIRST_S
        while not self._stopping.is_set():
            begun = time.monotonic()
            with self._lock:
                if self._stopping.is_set():
                    return
                self._child = subprocess.Popen(self._command, stdin=subprocess.DEVNULL)
            self.starts += 1
            code = self._child.wait()
            if self._stopping.is_set():
                return
            pause_s = PAUSE_FIRST_S if time.monotonic() - begun > RAN_WELL_S else pause_s
            log.warning("`wellhand watch` ended with code %d; it starts again in %.0f s", code, pause_s)
            self._stopping.wait(pause_s)
            pause_s = min(2 * pause_s, PAUSE_MAX_S)
