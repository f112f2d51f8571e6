"""`wellhand log`: read a pump's controller and sensors and publish what they say.

Joins the parts and nothing else. The exit code: 0 told to stop, 1 the spool's disk failed (start again), 2 settings wrong.
"""

import argparse
import fcntl
import json
import logging
import os
import secrets
import signal
import sys
import threading
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

HELP = "read a pump's controller and sensors and publish what they say"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("board", metavar="BOARD.toml", type=Path, help="the board's settings")
    parser.add_argument("--once", action="store_true", help="read every source once, print, keep and publish nothing")
    parser.add_argument("--dry-run", action="store_true", help="judge the settings, open nothing")


def run(args: argparse.Namespace) -> int:
    """Until SIGTERM or Ctrl-C."""
    from logger.settings import BoardFileError, load_settings  # noqa: PLC0415 - other commands need not load it

    try:
        settings = load_settings(args.board)
    except BoardFileError as error:
        print(error, file=sys.stderr)
        return 2
    if args.dry_run:
        print(
            f"{args.board}: no problems. Site {settings.board.site}, {len(settings.sources)} source(s). Nothing opened."
        )
        return 0
    return _once(settings) if args.once else _log(settings)


def _once(settings: Any) -> int:
    """Read and print; 1 where a source could not be read."""
    from logger.sources.base import SourceError, Turn  # noqa: PLC0415

    failed = 0
    for source in settings.sources:
        starts_s = time.monotonic()
        try:
            values = source.read(Turn(starts_s, starts_s + 20.0))
        except SourceError as error:
            failed += 1
            print(error, file=sys.stderr)  # it names the source itself
            continue
        finally:
            source.close()
        for name, value in values.items():
            print(f"{source.name}: {name} = {'could not be read' if value is None else value}")
    return 1 if failed else 0


def _log(settings: Any) -> int:
    from logger.spool import SpoolError  # noqa: PLC0415

    folder = settings.path(settings.board.spool)
    try:
        lock = _locked(folder)
    except OSError as error:
        print(
            f"{folder}: the spool cannot be used: {error.strerror or error}\n"
            "    fix: check that the folder can be written and that no other logger runs on it",
            file=sys.stderr,
        )
        return 1
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    try:
        _agent(settings, folder).run(stop)
    except SpoolError as error:
        print(
            f"the spool's disk failed: {error}\n    fix: look at the card and its free space; systemd starts the logger again",
            file=sys.stderr,
        )
        return 1
    except OSError as error:
        print(
            f"a certificate or secret cannot be used: {error}\n    fix: check the files that [mqtt] names",
            file=sys.stderr,
        )
        return 2
    finally:
        os.close(lock)
    return 0


def _agent(settings: Any, folder: Path) -> Any:
    """Every part, joined."""
    from logger.agent import Agent, Parts, presence  # noqa: PLC0415
    from logger.clock import BoardClock, RealTime, SimulatedTime, kernel_id  # noqa: PLC0415
    from logger.health import Health  # noqa: PLC0415
    from logger.link import Link  # noqa: PLC0415
    from logger.record.topics import URGENT  # noqa: PLC0415
    from logger.sd_notify import Notifier  # noqa: PLC0415
    from logger.sender import Sender  # noqa: PLC0415
    from logger.settings import instant_ms  # noqa: PLC0415
    from logger.settings_tables import PumpFacts  # noqa: PLC0415
    from logger.spool import Spool  # noqa: PLC0415
    from logger.watchman import Watchman  # noqa: PLC0415

    board, mqtt, timing = settings.board, settings.mqtt, settings.clock
    spool = Spool(folder, kernel_id(), secrets.token_hex(4), limit_bytes=round(board.limit_mb * 1e6))
    spool.recall_into(settings.state)
    simulated = timing.simulated_epoch is not None
    machine = (
        SimulatedTime(instant_ms(timing.simulated_epoch) or 0, instant_ms(timing.simulated_from) or 0, timing.rate)
        if simulated
        else RealTime(timing.trust == "always")
    )
    clock = BoardClock(machine, spool.boots.latest_ms, None if simulated else spool.boot.offset_ms)
    link = Link(mqtt, board.site, settings.folder, presence(False, None, spool.boot.name))
    sender = Sender(
        board.site, spool, link, clock, mqtt.format, mqtt.batch_s, timing.hold_unsure_s, mqtt.at_once_per_day
    )
    health = Health(version("wellhand"), settings.digest, spool, link, sender, clock, simulated)
    print(
        json.dumps({"site": board.site, "boot": spool.boot.name, "kept": spool.kept_rows, **spool.counts}), flush=True
    )
    watchman = Watchman(board.site, settings.pump or PumpFacts(), health, lambda payload: link.publish(URGENT, payload))
    if settings.sms:
        _texter(settings.sms, watchman, health).start()
    parts = Parts(
        board, list(settings.sources), spool, clock, link, sender, health, Notifier(), timing.rate, settings.state,
        watchman.see,
    )  # fmt: skip
    return Agent(parts)


def _texter(sms: Any, watchman: Any, health: Any) -> Any:
    """Text messages, joined to what is urgent."""
    from logger.modbus.ports import SerialPort  # noqa: PLC0415
    from logger.sms import Texter  # noqa: PLC0415

    texter = Texter(sms, watchman.site, lambda: SerialPort(sms.port, sms.baud), watchman.state_text)
    watchman.text = texter.tell
    watchman.alerts.remind_after_s = sms.remind_after_h * 3600
    health.texter = texter
    return texter


def _locked(folder: Path) -> int:
    """A handle that keeps a second logger off this spool. OSError: it cannot be had."""
    folder.mkdir(parents=True, exist_ok=True)
    handle = os.open(folder / "lock", os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        raise
    return handle
