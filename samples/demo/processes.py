"""The demo's processes: started together, watched, and gone together.

A child dies with its parent even if the parent is killed, so that nothing is ever left behind.
"""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from samples.demo.stop import LOOK_EVERY_S, Stop

STOP_S_MAX = 10.0
PR_SET_PDEATHSIG = 1


class Processes:
    """What runs, by name, in the order started. Each writes to its own log file."""

    def __init__(self, folder: Path, stop: Stop):
        self._folder, self._stop = folder, stop
        self._running: dict[str, subprocess.Popen[bytes]] = {}
        folder.mkdir(parents=True, exist_ok=True)

    def start(self, name: str, command: Sequence[str]) -> None:
        """Start one; it ends with this process at the latest."""
        with open(self._log(name), "ab") as log:
            self._running[name] = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                process_group=0,  # a Ctrl-C reaches the demo alone, which ends the others in order
                preexec_fn=die_with_parent,
            )

    def run(self, name: str, command: Sequence[str]) -> None:
        """Run one to its end. RuntimeError: it failed; its last words are in the text. Stopped: somebody asked; it is gone."""
        self.start(name, command)
        self.finish(name)

    def finish(self, name: str, meanwhile: Callable[[], None] | None = None) -> None:
        """Until one has ended, `meanwhile` called now and then; errors as of `run`."""
        process = self._running[name]
        while process.poll() is None:
            self._stop.look()  # `stop` ends it with the others
            if meanwhile is not None:
                meanwhile()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(LOOK_EVERY_S)
        del self._running[name]
        if process.returncode:
            raise RuntimeError(f"{name} failed with {process.returncode}:\n{self.last_words(name)}")

    def ended(self) -> str | None:
        """The name of one that ended on its own, or None while all run."""
        return next((name for name, process in self._running.items() if process.poll() is not None), None)

    def wait_for(self, name: str, words: str, within_s: float) -> None:
        """Until one has written `words`. TimeoutError: it has not. RuntimeError: it ended. Stopped: somebody asked."""
        until = time.monotonic() + within_s
        while words not in self._log(name).read_text(errors="replace"):
            if self.ended() == name:
                raise RuntimeError(f"{name} ended by itself; its last words:\n{self.last_words(name)}")
            if time.monotonic() > until:
                raise TimeoutError(f"{name} did not say {words!r} within {within_s:.0f} s")
            self._stop.rest(0.1)

    def last_words(self, name: str, lines: int = 15) -> str:
        """The end of what one wrote."""
        text = self._log(name).read_text(errors="replace") if self._log(name).exists() else ""
        return "\n".join(text.splitlines()[-lines:])

    def stop(self) -> None:
        """End all, the last started first; who does not go within its time is killed."""
        for process in reversed(self._running.values()):
            if process.poll() is None:
                process.terminate()
        until = time.monotonic() + STOP_S_MAX
        for process in self._running.values():
            try:
                process.wait(max(0.1, until - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self._running.clear()

    def _log(self, name: str) -> Path:
        return self._folder / f"{name}.log"


def die_with_parent() -> None:
    """Ask the kernel for SIGTERM when the parent goes, and do as it says; Ctrl-C is the parent's to answer."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
        if os.getppid() == 1:  # the parent went before the kernel was asked
            os._exit(1)
