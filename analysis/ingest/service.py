"""Joins the parts of `wellhand watch`: store, sites, the one-worker lock, broker, the two threads, signals.

Never: what a message or a row means.
"""

import argparse
import fcntl
import logging
import os
import signal
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from analysis.clock import Clock
from analysis.ingest.broker import Broker, BrokerSettings, tls_context
from analysis.ingest.subscriber import Subscriber
from analysis.rounds import Rounds
from analysis.store import Store, StoreError, open_store
from logger.record.problems import Problem
from logger.record.site_file import SiteFileError, load_site

log = logging.getLogger(__name__)

PORT, PORT_TLS = 1883, 8883


class WatchError(Exception):
    """Cannot run; the text says what is wrong and what mends it. `code`: 1 = the surroundings, 2 = the arguments."""

    def __init__(self, text: str, code: int = 1):
        super().__init__(text)
        self.code = code


def serve(args: argparse.Namespace) -> int:
    """Run until SIGTERM or Ctrl-C. WatchError: it cannot begin."""
    settings, clock = broker_settings(args), clock_of(args)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s")
    for noisy in ("alembic", "sqlalchemy"):
        logging.getLogger(noisy).setLevel(logging.WARNING)
    try:
        store = open_store(args.store)
    except StoreError as error:
        raise WatchError(str(error)) from None
    stop = threading.Event()
    for signal_number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(signal_number, lambda *_: stop.set())
    with only_worker(store):
        _put_sites(store, args.site)
        _run(store, settings, clock, stop)
    store.close()
    return 0


def _run(store: Store, settings: BrokerSettings, clock: Clock, stop: threading.Event) -> None:
    sites = len(store.sites())
    counted = "1 site" if sites == 1 else f"{sites} sites"
    log.info("Watching %s; the store is %s.", counted, store.engine.url.render_as_string())
    rounds = threading.Thread(target=Rounds(store, clock, stop).run, name="rounds")
    rounds.start()
    subscriber = Subscriber(store, Broker(settings), clock, stop)
    try:
        subscriber.run()
    finally:
        stop.set()
        rounds.join()
    log.info(
        "Stopped. %d readings were stored, %d messages refused.", subscriber.kept.readings, subscriber.kept.refused
    )


def _put_sites(store: Store, files: list[str]) -> None:
    problems: list[Problem] = []
    for name in files:
        try:
            load_site(name)  # so that what is wrong is told under the file's own name
            store.put_site(Path(name).read_text(encoding="utf-8-sig"))
        except SiteFileError as error:
            problems += error.problems
    if problems:
        raise WatchError(str(SiteFileError(problems)), 2)


@contextmanager
def only_worker(store: Store) -> Iterator[None]:
    """On SQLite, hold the lock that keeps a second worker out; the system frees it whatever ends us."""
    file = store.engine.url.database
    if store.engine.dialect.name != "sqlite" or file is None:
        yield
        return
    handle = os.open(f"{file}.watch", os.O_CREAT | os.O_RDWR, 0o644)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(handle)
        raise WatchError(
            f"{file}: another watch is at work on this store\n"
            "    fix: stop it first; several can share the work only on PostgreSQL"
        ) from None
    try:
        yield
    finally:
        os.close(handle)


def broker_settings(args: argparse.Namespace) -> BrokerSettings:
    """Where the broker is and who we are. WatchError: a wrong argument or a file that cannot be used."""
    tls = None
    if args.tls or args.ca or args.cert:
        try:
            tls = tls_context(*(Path(name) if name else None for name in (args.ca, args.cert, args.key)))
        except (OSError, ssl.SSLError) as error:
            raise WatchError(
                f"--ca, --cert, --key: cannot be used: {error}\n    fix: PEM files that we may read", 2
            ) from None
    host, port = _host_and_port(args.broker, PORT_TLS if tls else PORT)
    password = None
    if args.password_file:
        try:
            password = Path(args.password_file).read_text(encoding="utf-8").partition("\n")[0]
        except (OSError, UnicodeDecodeError) as error:
            raise WatchError(f"--password-file {args.password_file}: cannot be read: {error}", 2) from None
    if password is not None and not args.username:
        raise WatchError("--password-file without --username\n    fix: name both", 2)
    if args.share and args.store.startswith("sqlite"):
        raise WatchError("--share: on SQLite only one worker runs\n    fix: leave it out, or use PostgreSQL", 2)
    return BrokerSettings(host, port, args.client_id, tls, args.username, password, args.share)


def _host_and_port(text: str, default: int) -> tuple[str, int]:
    host, colon, port = text.rpartition(":") if text.count(":") == 1 or text.startswith("[") else (text, "", "")
    if not colon or port.endswith("]"):
        return text.strip("[]"), default
    if not port.isdigit() or not 1 <= int(port) <= 65535 or not host:
        raise WatchError(f"--broker {text}: not HOST:PORT\n    fix: --broker localhost:{default}", 2)
    return host.strip("[]"), int(port)


def clock_of(args: argparse.Namespace) -> Clock:
    """This machine's clock, or the invented one. WatchError: a time that cannot be read."""
    if args.clock_rate <= 0:
        raise WatchError(f"--clock-rate {args.clock_rate}: must be above 0", 2)
    if args.clock_epoch is None:
        if args.clock_rate != 1.0 or args.clock_from:
            raise WatchError("--clock-rate and --clock-from need --clock-epoch\n    fix: add it, or leave them out", 2)
        return Clock()
    began_ms = _time_of("--clock-from", args.clock_from) if args.clock_from else time.time_ns() // 1_000_000
    return Clock(_time_of("--clock-epoch", args.clock_epoch), began_ms, args.clock_rate)


def _time_of(name: str, text: str) -> int:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise WatchError(f"{name} {text}: not a time with an offset\n    fix: {name} 2026-03-01T06:00:00Z", 2)
    return round(found.timestamp() * 1000)
