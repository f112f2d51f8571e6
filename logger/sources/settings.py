"""Settings that several kinds of source share.

Flow: board.toml -> tables.py -> HERE -> each source.
Never: a port.
"""

import re
from dataclasses import field
from typing import Any

from logger.record.channels import CHANNELS
from logger.record.tables import Tables

NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")


def number(unit: str, lowest: float, highest: float, default: float) -> Any:
    """A setting with its unit, range and default."""
    return field(default=default, metadata={"unit": unit, "lowest": lowest, "highest": highest})


def period(default_s: float = 5.0) -> Any:
    """How often to read."""
    return number("s", 0.1, 3600, default_s)


def a_channel(**rest: Any) -> Any:
    """A field that names one of our channels."""
    return field(metadata={"choices": tuple(CHANNELS)}, **rest)


def judge_name(tables: Tables, where: str, name: str) -> None:
    """Note a name that messages and health could not carry."""
    if not NAME.fullmatch(name):
        tables.wrong(
            f"{where}.name", f"expected 1 to 40 of a-z, 0-9, - and _, got '{name}'", 'write name = "drive", say'
        )


def judge_twice(tables: Tables, where: str, channels: tuple[str, ...]) -> None:
    """Note channels that one source promises twice."""
    for channel in sorted({one for one in channels if channels.count(one) > 1}):
        tables.wrong(where, f"{channel} is promised twice", "keep one of them")
