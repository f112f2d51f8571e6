"""Which broker the demo runs, and its command line.

Flow: Mosquitto where it is installed, else the embedded one.
"""

import os
import shutil
import socket
import sys
import time
from pathlib import Path

from samples.demo.stop import Stop

SBIN = "/usr/sbin:/usr/local/sbin"
"""Where Debian puts servers; an ordinary user's PATH leaves it out."""
START_S_MAX = 120.0
"""A small board with everything starting at once takes its time."""
MOSQUITTO_SETTINGS = """\
listener {port} 127.0.0.1
allow_anonymous true
persistence true
persistence_location {folder}/
autosave_on_changes true
autosave_interval 1
max_queued_messages 0
log_dest stderr
log_type error
log_type warning
"""


def mosquitto_path() -> str | None:
    """Where Mosquitto lies, or None."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path=SBIN)


def broker_command(kind: str, port: int, folder: Path) -> list[str]:
    """Command line of the broker `kind`: `mosquitto`, `embedded`, or `auto` for the first that is there.

    FileNotFoundError: Mosquitto was asked for and is not installed.
    """
    path = mosquitto_path()
    if kind == "mosquitto" and not path:
        raise FileNotFoundError("mosquitto is not installed; fix: apt-get install mosquitto, or --broker embedded")
    if kind == "embedded" or not path:
        return [sys.executable, "-m", "samples.demo.embedded_broker", "--port", str(port)]
    folder.mkdir(parents=True, exist_ok=True)
    settings = folder / "mosquitto.conf"
    # Started as root it would turn into its own user, who may not write here.
    user = "user root\n" if os.geteuid() == 0 else ""
    settings.write_text(user + MOSQUITTO_SETTINGS.format(port=port, folder=folder))
    return [path, "-c", str(settings)]


def free_port() -> int:
    """A loopback port that nothing listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for_port(port: int, what: str, stop: Stop) -> None:
    """Until something listens there. TimeoutError: nothing did."""
    until = time.monotonic() + START_S_MAX
    while time.monotonic() < until:
        with socket.socket() as probe:
            probe.settimeout(0.5)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        stop.rest(0.1)
    raise TimeoutError(f"{what} did not answer on port {port} within {START_S_MAX:.0f} s")
