"""BOARD.toml -> typed settings and sources; every problem at once, before anything is opened.

Flow: a file that a person wrote -> HERE (settings_tables.py names the keys) -> commands/log.py joins the parts.
Relative paths start at the file's folder. Never: a port or a broker opened; a secret in a message.
"""

import os
import stat
from dataclasses import dataclass, field, replace
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from logger.record.channels import CHANNELS
from logger.record.problems import FileError
from logger.record.site_file import SITE_ID
from logger.record.tables import Tables, text_of
from logger.settings_tables import METERED, Board, BoardTables, ClockSettings, Mqtt, PumpFacts, Sms
from logger.sources.base import Source
from logger.sources.registry import Openers, build_source

LOOPBACK = ("localhost", "127.0.0.1", "::1")
PHONE_DIGITS = (5, 15)


@dataclass(frozen=True)
class Settings:
    """All of BOARD.toml, judged. `digest` names its content, so that health can say which settings run.

    `state`: the sources' memories over restarts, by name; the spool fills and keeps them.
    """

    board: Board
    mqtt: Mqtt
    clock: ClockSettings
    pump: PumpFacts | None
    sms: Sms | None
    sources: tuple[Source, ...] = field(default=(), compare=False)
    folder: Path = Path(".")
    digest: str = ""
    state: dict[str, Any] = field(default_factory=dict, compare=False)

    def path(self, name: str) -> Path:
        """A path of the file, from the file's folder."""
        return self.folder / name


class BoardFileError(FileError):
    """A board file that cannot be used; str() words every problem."""


def load_settings(path: str | Path, openers: Openers | None = None) -> Settings:
    """The settings at `path`. BoardFileError: it cannot be read, or something in it is wrong; all of it is listed."""
    problems: list = []
    text = text_of(path, problems)
    if text is None:
        raise BoardFileError(problems)
    folder = Path(path).resolve().parent
    tables = Tables(Path(path).name)
    content = tables.parsed(text)
    if content is None:
        raise BoardFileError(tables.problems)
    given = content.pop("source", None)
    _by_link(content)
    typed = tables.typed(BoardTables, content)
    openers = replace(openers or Openers(), folder=folder)
    sources = _sources(tables, given, openers)
    if typed is not None:
        _judge_board(tables, typed)
        _judge_mqtt(tables, typed.mqtt, folder)
        _judge_sms(tables, typed.sms)
    if tables.problems or typed is None:
        raise BoardFileError(tables.problems)
    digest = sha256(text.encode()).hexdigest()[:16]
    return Settings(typed.board, typed.mqtt, typed.clock, typed.pump, typed.sms, sources, folder, digest, openers.state)


def _by_link(content: dict[str, Any]) -> None:
    """Where data costs money, what the file leaves out is the sparing value."""
    mqtt = content.get("mqtt")
    if not isinstance(mqtt, dict) or mqtt.get("link") != "metered":
        return
    for name, values in METERED.items():
        if isinstance(content.get(name), dict):
            content[name] = values | content[name]


def instant_ms(text: str) -> int | None:
    """An ISO 8601 instant with its offset in ms since 1970, None: not one."""
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if instant.tzinfo is None else round(instant.timestamp() * 1000)


def _sources(tables: Tables, given: Any, openers: Openers) -> tuple[Source, ...]:
    if not isinstance(given, list) or not given:
        tables.wrong("source", "no source", "add at least one table [[source]] with kind = ...")
        return ()
    built: list[Source] = []
    owner: dict[str, int] = {}
    for number, table in enumerate(given, 1):
        made, problems = build_source(table, tables.file, f"source[{number}]", openers)
        tables.problems += problems
        if made is None:
            continue
        for channel in made.channels:
            if channel in owner:
                fix = f"take {channel} out of one of the two"
                tables.wrong(f"source[{number}]", f"{channel} also comes from source[{owner[channel]}]", fix)
            owner.setdefault(channel, number)
        if any(other.name == made.name for other in built):
            tables.wrong(f"source[{number}].name", f"two sources are called {made.name!r}", "give each its own name")
        built.append(made)
    return tuple(built)


def _judge_board(tables: Tables, typed: BoardTables) -> None:
    board, clock = typed.board, typed.clock
    if not SITE_ID.fullmatch(board.site):
        tables.wrong("board.site", f"{board.site!r} is no site id", "1 to 48 of a-z, 0-9 and -, as in the site file")
    for name in board.extremes:
        if name not in CHANNELS or CHANNELS[name].kind != "measure":
            tables.wrong("board.extremes", f"{name!r} is no measured channel", "name channels such as pv_voltage_v")
    simulated = {"simulated_epoch": clock.simulated_epoch, "simulated_from": clock.simulated_from}
    for key, text in simulated.items():
        if text is not None and instant_ms(text) is None:
            fix = f'write {key} = "2026-03-01T06:00:00Z"'
            tables.wrong(f"clock.{key}", f"{text!r} is no instant with its offset", fix)
    if len({text is None for text in simulated.values()}) > 1 or (clock.rate != 1 and clock.simulated_epoch is None):
        fix = "give simulated_epoch and simulated_from together (rate only with them), or none of them at a real pump"
        tables.wrong("clock", "simulated time needs both its instants", fix)


def _judge_mqtt(tables: Tables, mqtt: Mqtt, folder: Path) -> None:
    if not mqtt.host.strip():
        tables.wrong("mqtt.host", "empty", 'write host = "..." with the broker\'s name or address')
    if (mqtt.cert_file is None) != (mqtt.key_file is None):
        tables.wrong("mqtt.cert_file", "a certificate and its key belong together", "give cert_file and key_file")
    if (mqtt.ca_file or mqtt.cert_file) and not mqtt.tls:
        tables.wrong("mqtt.tls", "certificates are given, but TLS is off", "write tls = true, or take them out")
    if mqtt.password_file and not mqtt.username:
        tables.wrong("mqtt.username", "missing", "add username = the name that the broker knows")
    if mqtt.password_file and not mqtt.tls and mqtt.host not in LOOPBACK and not mqtt.allow_plain:
        fix = "write tls = true and ca_file; or allow_plain = true where the whole network is trusted"
        tables.wrong("mqtt.tls", "the password would cross the network readable by anyone", fix)
    for key in ("ca_file", "cert_file"):
        if getattr(mqtt, key):
            _readable(tables, f"mqtt.{key}", folder / getattr(mqtt, key))
    for key in ("key_file", "password_file"):
        if getattr(mqtt, key):
            _secret(tables, f"mqtt.{key}", folder / getattr(mqtt, key))


def _readable(tables: Tables, key: str, path: Path) -> bool:
    if os.access(path, os.R_OK) and path.is_file():
        return True
    tables.wrong(key, f"{path} cannot be read", "check the path, its owner and permissions")
    return False


def _secret(tables: Tables, key: str, path: Path) -> None:
    """A secret may be read by its owner alone."""
    if not _readable(tables, key, path):
        return
    mode = stat.S_IMODE(path.stat().st_mode)
    if mode & 0o077:
        tables.wrong(key, f"{path} can be read by others (mode {mode:04o})", f"chmod 600 {path}")


def _judge_sms(tables: Tables, sms: Sms | None) -> None:
    for place, phone in enumerate(sms.phone if sms else (), 1):
        digits = phone.number.removeprefix("+")
        if not (digits.isascii() and digits.isdigit() and PHONE_DIGITS[0] <= len(digits) <= PHONE_DIGITS[1]):
            key = f"sms.phone[{place}].number"
            tables.wrong(key, f"{phone.number!r} is no telephone number", 'write number = "+27..." with digits only')
