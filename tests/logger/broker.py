"""A real Mosquitto for tests, on a free port, with what the test asks for: TLS, passwords, topic list, persistence."""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

STARTS_WITHIN_S = 20.0


def free_port() -> int:
    """A port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Broker:
    """`settings`: more lines for its file. `start`, `kill` (SIGKILL), `stop` may follow each other."""

    def __init__(self, program: str, folder: Path, settings: str = "allow_anonymous true", tls: bool = False):
        self.port, self.folder, self._program = free_port(), folder, program
        folder.mkdir(parents=True, exist_ok=True)
        lines = [f"listener {self.port} 127.0.0.1", settings, "persistence true", f"persistence_location {folder}/"]
        lines += ["autosave_interval 1", "autosave_on_changes true", "max_queued_messages 0"]
        if os.getuid() == 0:
            lines.append("user root")  # it would change to its own user, who may not read the test's folder
        if tls:
            lines += [f"cafile {folder}/ca.pem", f"certfile {folder}/broker.pem", f"keyfile {folder}/broker.key"]
            lines += ["require_certificate true", "use_identity_as_username true"]
        (folder / "mosquitto.conf").write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen | None = None

    def start(self) -> "Broker":
        log = (self.folder / "mosquitto.log").open("ab")
        self._process = subprocess.Popen(
            [self._program, "-c", str(self.folder / "mosquitto.conf"), "-v"], stdout=log, stderr=log
        )
        ends = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < ends:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 0.2):
                return self
            if self._process.poll() is not None:
                break
            time.sleep(0.02)
        raise AssertionError(f"mosquitto did not start: {(self.folder / 'mosquitto.log').read_text()}")

    def kill(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            self._process = None

    stop = kill

    def __enter__(self) -> "Broker":
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.kill()


def make_certificates(folder: Path, broker_name: str = "localhost", boards: tuple[str, ...] = ("north-kraal",)) -> None:
    """A certificate authority, the broker's certificate and one for each board, all made with the openssl program."""
    openssl = shutil.which("openssl")
    assert openssl, "the openssl program is not installed (Debian package openssl)"
    folder.mkdir(parents=True, exist_ok=True)

    def run(*arguments: str) -> None:
        subprocess.run([openssl, *arguments], cwd=folder, check=True, capture_output=True)

    key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    run("req", "-x509", *key, "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=test authority")
    for name, file, usage in [(broker_name, "broker", "serverAuth"), *((name, name, "clientAuth") for name in boards)]:
        (folder / "extra.cnf").write_text(f"subjectAltName=DNS:{name}\nextendedKeyUsage={usage}\n")
        run("req", *key, "-keyout", f"{file}.key", "-out", f"{file}.csr", "-subj", f"/CN={name}")
        run(
            "x509", "-req", "-in", f"{file}.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial",
            "-out", f"{file}.pem", "-days", "2", "-extfile", "extra.cnf",
        )  # fmt: skip
        (folder / f"{file}.key").chmod(0o600)
