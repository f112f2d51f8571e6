"""One end of a pseudo-terminal for a simulated device; the other end has a name like a serial port's.

Flow: live.py opens -> HERE -> a link that the logger opens as its serial device.
Never: what is said on the line.
"""

import contextlib
import os
import termios
import tty
from pathlib import Path


class PseudoTerminal:
    """A raw line at `link`, gone again after `close`. The device's own end is `fd`, not blocking."""

    def __init__(self, link: Path):
        self.fd, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self.fd, False)
        self.link = link
        link.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileNotFoundError):
            link.unlink()
        link.symlink_to(os.ttyname(self._far))

    def read(self) -> bytes:
        """What has come; empty if nothing."""
        try:
            return os.read(self.fd, 4096)
        except BlockingIOError:
            return b""

    def write(self, line: bytes) -> bool:
        """Send; False if nobody takes it away and the line is full (older bytes are then thrown away)."""
        try:
            return os.write(self.fd, line) == len(line)
        except BlockingIOError:
            termios.tcflush(self._far, termios.TCIFLUSH)
            return False

    def close(self) -> None:
        """Take the link away and hang up."""
        with contextlib.suppress(FileNotFoundError):
            self.link.unlink()
        os.close(self.fd)
        os.close(self._far)
