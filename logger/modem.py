"""A GSM modem by AT commands: text messages out and in (3GPP TS 27.005, text mode).

Bytes in and out through a port that the caller opened; every wait has an end.
Flow: sms.py -> HERE -> gsm_text.py, the port. Never: who may be told, a retry (sms.py); a call, a data connection.
"""

import re
import time
from collections.abc import Callable
from dataclasses import dataclass

from logger.gsm_text import from_gsm, from_ucs2, in_gsm, to_gsm, to_ucs2
from logger.modbus.ports import Port

ANSWER_S, SENDING_S, QUIET_S = 10.0, 60.0, 0.5
BYTES_MAX = 65536
WORTH_A_RETRY = (38, 41, 42)
"""+CMS ERROR: network out of order, temporary failure, congestion (3GPP TS 27.005, section 3.2.5; which to retry: common practice)."""
END, ESCAPE = b"\x1a", b"\x1b"

_ERROR = re.compile(rb"^\+CM[SE] ERROR: *(.*)$")
_LISTED = re.compile(r'^\+CMGL: *(\d+) *,"[^"]*" *,"([^"]*)"')


class ModemError(Exception):
    """`code`: the modem's own, None where it said none or nothing. `again`: worth another try."""

    def __init__(self, text: str, code: int | None = None, again: bool = False):
        self.code, self.again = code, again
        super().__init__(text)


@dataclass(frozen=True)
class Received:
    """One message that came in."""

    place: int
    number: str
    text: str


class Modem:
    """One modem on an open port. OSError: the port is gone. ModemError: it refuses, or says nothing."""

    def __init__(self, port: Port, now: Callable[[], float] = time.monotonic):
        self._port, self._now = port, now
        self._held = b""

    def set_up(self) -> None:
        """No echo, errors as numbers, text mode, nothing unasked."""
        self._write(ESCAPE + b"\r")  # it may still wait for the text of a message that was broken off
        self._drop_input()
        self.ask("AT")
        for command in ("ATE0", "AT+CMEE=1", "AT+CMGF=1", "AT+CNMI=0,0,0,0,0"):
            self.ask(command)

    def send(self, number: str, text: str) -> None:
        """One message, at most as long as one may be. Returns when the network took it."""
        short = in_gsm(text)
        self.ask(f'AT+CSCS="{"GSM" if short else "UCS2"}"')
        self.ask(f"AT+CSMP=17,167,0,{0 if short else 8}")
        self._write(f'AT+CMGS="{number if short else to_ucs2(number)}"\r'.encode())
        try:
            self._until_prompt()
        except ModemError:
            self._write(ESCAPE)
            raise
        self._write((to_gsm(text) if short else to_ucs2(text).encode()) + END)
        lines = self._until_done(SENDING_S)
        if not any(line.startswith(b"+CMGS:") for line in lines):
            raise ModemError("the modem said OK, but not that the message was taken", again=True)

    def received(self) -> list[Received]:
        """Every message that lies in the modem, oldest first."""
        self.ask('AT+CSCS="GSM"')
        found: list[Received] = []
        for line in self.ask('AT+CMGL="ALL"'):
            head = _LISTED.match(line.decode("latin-1"))
            if head:
                found.append(Received(int(head[1]), head[2], ""))
            elif found:
                found[-1] = Received(found[-1].place, found[-1].number, found[-1].text + _read(line))
        return found

    def delete(self, place: int) -> None:
        """Take a message out of the modem."""
        self.ask(f"AT+CMGD={place}")

    def ask(self, command: str, within_s: float = ANSWER_S) -> list[bytes]:
        """The lines of the answer before its OK."""
        self._write(command.encode() + b"\r")
        return [line for line in self._until_done(within_s) if line != command.encode()]

    # ---- bytes

    def _until_done(self, within_s: float) -> list[bytes]:
        lines: list[bytes] = []
        ends_s = self._now() + within_s
        while True:
            while b"\n" in self._held or b"\r" in self._held:
                line, self._held = _line(self._held)
                if line == b"OK":
                    return lines
                if line == b"ERROR":
                    raise ModemError("the modem says ERROR")
                refused = _ERROR.match(line)
                if refused:
                    raise _refusal(refused[1])
                if line:
                    lines.append(line)
            self._more(ends_s, within_s)

    def _until_prompt(self) -> None:
        ends_s = self._now() + ANSWER_S
        while b"> " not in self._held:
            for line in self._held.splitlines():
                refused = _ERROR.match(line.strip())
                if refused or line.strip() == b"ERROR":
                    self._held = b""
                    raise _refusal(refused[1]) if refused else ModemError("the modem says ERROR")
            self._more(ends_s, ANSWER_S)
        self._held = self._held.partition(b"> ")[2]

    def _more(self, ends_s: float, within_s: float) -> None:
        left_s = ends_s - self._now()
        if left_s <= 0:
            self._held = b""
            raise ModemError(
                f"the modem said nothing for {within_s:.0f} s; is it on, and is its aerial in?", again=True
            )
        self._held += self._port.read(left_s)
        if len(self._held) > BYTES_MAX:
            self._held = b""
            raise ModemError("the modem talks without an end", again=True)

    def _drop_input(self) -> None:
        self._held = b""
        for _ in range(100):
            if not self._port.read(QUIET_S):
                return

    def _write(self, content: bytes) -> None:
        self._port.write(content)


def _line(held: bytes) -> tuple[bytes, bytes]:
    """The first line without its end, and the rest."""
    ends = [at for mark in (b"\r", b"\n") if (at := held.find(mark)) >= 0]
    return held[: min(ends)].strip(), held[min(ends) + 1 :]


def _refusal(said: bytes) -> ModemError:
    code = int(said) if said.strip().isdigit() else None
    shown = said.decode("ascii", "replace")
    return ModemError(f"the modem refuses with error {shown}", code, code in WORTH_A_RETRY)


def _read(line: bytes) -> str:
    """A message's text: the default alphabet, or UCS-2 as hex digits where the sender used that."""
    text = line.decode("latin-1")
    if len(text) >= 4 and len(text) % 4 == 0 and re.fullmatch(r"[0-9A-Fa-f]+", text) and text.startswith("00"):
        return from_ucs2(text)
    return from_gsm(line)
