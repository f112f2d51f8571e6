"""Text messages to the named people: what is urgent, a reminder, an all-clear; and an answer to one word from one of them.

In a thread of its own, because a modem may take a minute; the agent only puts texts into a bounded queue.
Who is not named is never answered, and no message changes anything.
Flow: watchman.py -> HERE -> modem.py; a question -> HERE -> `state_text` -> modem.py. Never: the pump, the broker.
"""

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from logger.alerts import Told
from logger.gsm_text import parts
from logger.limit import Limit
from logger.modbus.ports import Port
from logger.modem import Modem, ModemError
from logger.settings_tables import Phone, Sms

QUESTION = "WATER"
WAITING_MAX = 50
TRIES_MAX = 4
PAUSE_S = 30.0
LISTEN_EACH_S = 15.0
ANSWERS_PER_DAY_MAX = 20
WORDS = {"raised": "URGENT", "reminded": "STILL SO", "cleared": "Over"}


@dataclass(frozen=True)
class Outgoing:
    """One message to one number."""

    number: str
    text: str


class Texter:
    """`open_port` opens the modem's line; `state_text` says today's water and state. `counts` for health."""

    def __init__(
        self,
        settings: Sms,
        site: str,
        open_port: Callable[[], Port],
        state_text: Callable[[], str],
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ):
        self._settings, self._site, self._open_port, self._state_text = settings, site, open_port, state_text
        self._now, self._sleep = now, sleep
        self._waiting: queue.Queue[Outgoing] = queue.Queue(WAITING_MAX)
        self._limit, self._answers = Limit(settings.per_day_max), Limit(ANSWERS_PER_DAY_MAX)
        self._port: Port | None = None
        self._modem: Modem | None = None
        self._listened_s: float | None = None
        self.counts = dict.fromkeys(("sent", "failed", "over_limit", "answered", "ignored"), 0)
        self.last_trouble: str | None = None

    def start(self) -> None:
        """Work in a thread that ends with the process."""
        threading.Thread(target=self._work, name="sms", daemon=True).start()

    def tell(self, told: Told) -> None:
        """Queue one thing for everybody named. Returns at once."""
        for phone in self._settings.phone:
            self._queue(phone, parts(worded(self._site, told)))

    def turn(self) -> None:
        """See what came in, then send what waits. Never raises for what modem or network do."""
        if self._listened_s is None or self._now() - self._listened_s >= LISTEN_EACH_S:
            self._listened_s = self._now()
            self._listen()
        while not self._waiting.empty():
            self._send(self._waiting.get_nowait())

    # ---- out

    def _queue(self, phone: Phone, texts: list[str]) -> None:
        now_s = self._now()
        left = self._limit.left(phone.number, now_s)
        if len(texts) > left:
            self.counts["over_limit"] += len(texts) - left
            texts = texts[:left]
        if texts and len(texts) == left:
            texts = [*texts[:-1], _last(texts[-1])]
        for text in texts:
            self._limit.count(phone.number, now_s)
            self._put(Outgoing(phone.number, text))

    def _put(self, one: Outgoing) -> None:
        try:
            self._waiting.put_nowait(one)
        except queue.Full:
            self.counts["failed"] += 1
            self.last_trouble = "too many messages wait for the modem"

    def _send(self, one: Outgoing) -> None:
        for attempt in range(1, TRIES_MAX + 1):
            try:
                self._ready().send(one.number, one.text)
                self.counts["sent"] += 1
                return
            except (ModemError, OSError) as error:
                again = self._trouble(error)
            if not again or attempt == TRIES_MAX:
                break
            self._sleep(PAUSE_S * attempt)
        self.counts["failed"] += 1

    # ---- in

    def _listen(self) -> None:
        try:
            modem = self._ready()
            for message in modem.received():
                modem.delete(message.place)
                self._answer(message.number, message.text)
        except (ModemError, OSError) as error:
            self._trouble(error)

    def _answer(self, number: str, text: str) -> None:
        known = next((phone for phone in self._settings.phone if _digits(phone.number) == _digits(number)), None)
        if known is None or text.strip().upper() != QUESTION or not self._answers.left(known.number, self._now()):
            self.counts["ignored"] += 1
            return
        self._answers.count(known.number, self._now())
        self.counts["answered"] += 1
        for part in parts(self._state_text()):
            self._put(Outgoing(known.number, part))

    # ---- the modem

    def _ready(self) -> Modem:
        if self._modem is None:
            self._port = self._open_port()
            modem = Modem(self._port, self._now)
            modem.set_up()
            self._modem = modem
        return self._modem

    def _trouble(self, error: ModemError | OSError) -> bool:
        """Note it; worth another try? A modem that fell silent or a port that went is set up anew."""
        self.last_trouble = str(error)
        again = isinstance(error, OSError) or error.again
        if isinstance(error, OSError) or error.code is None:
            if self._port is not None:
                self._port.close()
            self._port = self._modem = None
        return again

    def _work(self) -> None:
        while True:
            self.turn()
            self._sleep(1.0)


def worded(site: str, told: Told) -> str:
    """What people read: what it is, then what to do, then the figures."""
    cause = told.verdict.cause.replace("-", " ")
    if told.state == "cleared":
        return f"{site}: {WORDS[told.state]}: {cause}."
    return f"{site}: {WORDS[told.state]}: {cause}. {told.verdict.check} {told.verdict.evidence}"


def _last(text: str) -> str:
    """The day's last message says so, as far as there is room."""
    longer = f"{text} [Last message today]"
    return longer if len(parts(longer)) == 1 else text


def _digits(number: str) -> str:
    """A number as it is dialled abroad: '+27 82', '0027 82' and '2782' are one."""
    digits = "".join(character for character in number if character.isdigit())
    return digits.removeprefix("00")
