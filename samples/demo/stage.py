"""Where the demo's things lie and when it plays: folder, ports, people, and the invented clock.

Flow: commands/demo.py -> HERE -> history, boards, the processes.
"""

import secrets
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from samples.demo.broker import free_port


@dataclass(frozen=True)
class Person:
    """Somebody who may sign in. `sites` empty = every site."""

    name: str
    role: str
    sites: tuple[str, ...] = ()
    password: str = field(default_factory=lambda: secrets.token_urlsafe(9))


@dataclass(frozen=True)
class Stage:
    """One run of the demo."""

    folder: Path
    speed: float
    history_days: int
    live_start: datetime
    people: tuple[Person, ...]
    broker_port: int = field(default_factory=free_port)
    page_port: int = field(default_factory=free_port)

    @property
    def store_url(self) -> str:
        """The store's URL."""
        return f"sqlite:///{self.folder / 'wellhand.db'}"

    @property
    def page_url(self) -> str:
        """Where the pages are."""
        return f"http://127.0.0.1:{self.page_port}"

    @property
    def plants(self) -> Path:
        """Histories, the lines of the controllers and the plants' control socket."""
        return self.folder / "plants"

    def person(self, role: str) -> Person:
        """The first of this role."""
        return next(one for one in self.people if one.role == role)
