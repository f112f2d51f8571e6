"""Tells systemd that the logger is ready, alive, stopping: one datagram each, as sd_notify(3) describes.

Flow: agent.py -> HERE -> $NOTIFY_SOCKET. Nothing is done where systemd did not start us.
"""

import os
import socket


class Notifier:
    """`address`: the socket's path ('@' first = abstract), None: nobody listens."""

    def __init__(self, address: str | None = None):
        address = address if address is not None else os.environ.get("NOTIFY_SOCKET")
        self._address = "\0" + address[1:] if address and address.startswith("@") else address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) if address else None
        self.failed = 0

    def ready(self, status: str) -> None:
        """Up and running."""
        self._send(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """Feeds the watchdog. Only after what was read is safely on disk."""
        self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """On the way out, as told."""
        self._send("STOPPING=1")

    def _send(self, text: str) -> None:
        if self._socket is None or self._address is None:
            return
        try:
            self._socket.sendto(text.encode(), self._address)
        except OSError:
            self.failed += 1  # shown in health; systemd restarts us if it stays so
