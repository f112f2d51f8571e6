"""A GSM modem on the other end of a port, as 3GPP TS 27.005 (text mode) and TS 27.007 describe one, on a simulated clock.

Slow, refusing or mute as the test says; it keeps what was sent in clear text, and a small inbox.
"""

from collections import deque

from logger.gsm_text import from_gsm, from_ucs2


class ModemSimulator:
    """Has the port's three methods. `now`: the simulated clock, moved by waiting.

    refuse
        Answers to the next AT+CMGS in turn: a +CMS ERROR number, `mute` (nothing at all), or None = taken.
    answer_s
        How long each answer takes; chunks of `chunk` bytes come one at a time.
    """

    def __init__(self, answer_s: float = 0.1, chunk: int = 1000, echo: bool = True):
        self.now_s, self.answer_s, self.chunk, self.echo = 0.0, answer_s, chunk, echo
        self.refuse: deque = deque()
        self.sent: list[tuple[str, str]] = []
        self.inbox: dict[int, tuple[str, bytes]] = {}
        self.commands: list[str] = []
        self.mute = self.closed = False
        self._out: list[tuple[float, bytes]] = []
        self._in = b""
        self._text_for: str | None = None
        self._text_mode, self._ucs2 = False, False

    def now(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds

    def write(self, data: bytes) -> None:
        if self.closed:
            raise OSError(5, "the port is closed")
        self._in += data
        while self._in:
            if self._text_for is not None:
                ends = min((at for mark in (b"\x1a", b"\x1b") if (at := self._in.find(mark)) >= 0), default=-1)
                if ends < 0:
                    return
                text, mark, self._in = self._in[:ends], self._in[ends : ends + 1], self._in[ends + 1 :]
                self._take(text, mark)
            elif self._in.startswith(b"\x1b"):
                self._in = self._in[1:]
            elif b"\r" in self._in:
                line, _, self._in = self._in.partition(b"\r")
                self._command(line.decode())
            else:
                return

    def read(self, timeout_s: float) -> bytes:
        if self.closed:
            raise OSError(5, "the port is closed")
        due = [at_s for at_s, _ in self._out]
        if not due or min(due) > self.now_s + timeout_s:
            self.now_s += timeout_s
            return b""
        self.now_s = max(self.now_s, min(due))
        at_s, content = self._out.pop(due.index(min(due)))
        piece, rest = content[: self.chunk], content[self.chunk :]
        if rest:
            self._out.insert(0, (at_s, rest))
        return piece

    def close(self) -> None:
        self.closed = True

    # ---- inside

    def _say(self, text: bytes, after_s: float | None = None) -> None:
        if not self.mute:
            after = max([self.now_s, *(at_s for at_s, _ in self._out)])
            self._out.append((after + (self.answer_s if after_s is None else after_s), text))

    def _command(self, line: str) -> None:
        if not line:
            return
        self.commands.append(line)
        if self.echo:
            self._say(line.encode() + b"\r\r\n", 0.0)
        if line.startswith("AT+CMGS="):
            self._begin_text(line)
        elif line == "ATE0":
            self.echo = False
            self._say(b"\r\nOK\r\n")
        elif line == 'AT+CMGL="ALL"':
            for place, (number, text) in self.inbox.items():
                self._say(
                    b'\r\n+CMGL: %d,"REC UNREAD","%s",,"26/03/01,12:00:00+08"\r\n%s' % (place, number.encode(), text)
                )
            self._say(b"\r\nOK\r\n")
        elif line.startswith("AT+CMGD="):
            self.inbox.pop(int(line.removeprefix("AT+CMGD=")), None)
            self._say(b"\r\nOK\r\n")
        elif line.startswith(("AT+CMGF=", "AT+CSCS=", "AT+CSMP=", "AT+CMEE=", "AT+CNMI=")) or line == "AT":
            self._text_mode |= line == "AT+CMGF=1"
            if line.startswith("AT+CSCS="):
                self._ucs2 = line == 'AT+CSCS="UCS2"'
            self._say(b"\r\nOK\r\n")
        else:
            self._say(b"\r\nERROR\r\n")

    def _begin_text(self, line: str) -> None:
        assert self._text_mode, "AT+CMGF=1 must come first"
        if self.refuse and self.refuse[0] == "no prompt":
            self.refuse.popleft()
            self._say(b"\r\n+CMS ERROR: 38\r\n")
            return
        self._text_for = line.removeprefix('AT+CMGS="').removesuffix('"')
        self._say(b"\r\n> ")

    def _take(self, text: bytes, mark: bytes) -> None:
        number, self._text_for = self._text_for, None
        if mark == b"\x1b":
            self._say(b"\r\nOK\r\n")
            return
        answer = self.refuse.popleft() if self.refuse else None
        if answer == "mute":
            return
        if answer is not None:
            self._say(b"\r\n+CMS ERROR: %d\r\n" % answer)
            return
        self.sent.append(
            (from_ucs2(number or ""), from_ucs2(text.decode())) if self._ucs2 else (number or "", from_gsm(text))
        )
        self._say(b"\r\n+CMGS: %d\r\n\r\nOK\r\n" % len(self.sent))
