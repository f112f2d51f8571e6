"""Runs the application until it is told to stop.

Flow: commands/serve.py -> HERE -> uvicorn.
"""

import errno
import signal
import socket
from types import FrameType

import uvicorn
from fastapi import FastAPI

PORT_MAX = 65_535
GRACE_S = 5
"""For answers that are being sent when the end comes."""


class Server(uvicorn.Server):
    """Says where it listens once it does, and ends open streams when it is told to stop."""

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen."""
        await super().startup(sockets)
        for listening in sockets or []:
            host, port = listening.getsockname()[:2]
            shown = f"[{host}]" if ":" in host else host
            print(f"wellhand serve: http://{shown}:{port}", flush=True)

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """SIGTERM or SIGINT."""
        self.config.app.state.hub.close_soon()  # type: ignore[union-attr]
        super().handle_exit(sig, frame)


def listening_socket(host: str, port: int) -> socket.socket:
    """Bound, not yet listening. OSError: the port is taken, or no such address."""
    if not 0 <= port <= PORT_MAX:
        raise OSError(errno.EINVAL, f"a port is 0 to {PORT_MAX}")
    family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
    bound = socket.socket(family, kind, protocol)
    try:
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind(address)
    except OSError:
        bound.close()
        raise
    return bound


def serve(app: FastAPI, bound: socket.socket) -> None:
    """Until SIGTERM or SIGINT; returns, so that the caller can end what it started."""
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, timeout_graceful_shutdown=GRACE_S, server_header=False
    )
    # uvicorn raises the signal once more when it has ended, for whoever handled it before; nobody needs it here.
    before = {number: signal.signal(number, _heard) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        Server(config).run(sockets=[bound])
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _heard(_signal: int, _frame: FrameType | None) -> None:
    """The server has ended already."""
