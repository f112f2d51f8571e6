"""What `create_app` is told: fixed for the life of the process.

Flow: commands/serve.py or a test -> HERE -> app.py, dependencies.py, views.
Never: reading of files or of the environment.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass


def wall_clock_ms() -> int:
    """Milliseconds since the epoch by this machine's clock."""
    return time.time_ns() // 1_000_000


@dataclass(frozen=True)
class Settings:
    """Facts of one running dashboard.

    secret
        Signs the session cookie; who has it can sign in as anybody. At least 32 characters.
    https
        People reach the pages by https: the cookie is then sent by no other way.
    service_name, service_phone
        Whom a farmer calls. None = not told, and the pages say "your pump service company".
    session_days
        How long a sign-in lasts.
    live_poll_s
        How often the store is asked what has changed.
    now_ms
        The clock that readings are told by: an invented one where the plants are simulated.
    wall_ms
        This machine's clock, by which tries to sign in are counted.
    """

    secret: str
    https: bool = False
    service_name: str | None = None
    service_phone: str | None = None
    session_days: int = 30
    live_poll_s: float = 1.0
    now_ms: Callable[[], int] = wall_clock_ms
    wall_ms: Callable[[], int] = wall_clock_ms

    def __post_init__(self) -> None:
        if len(self.secret) < 32:
            raise ValueError("secret is shorter than 32 characters: let `wellhand serve --secret-file` make one")
