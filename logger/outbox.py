"""What to publish next: live rows in time, the backlog oldest first, again what the server did not store.

Rules
- Per boot the server states the highest seq without a hole that it has stored. All above is still ours to deliver.
- A live batch (what this boot made since the link came up) goes when it is due, before the backlog, so that days of backlog
  never starve the present. The backlog fills what is left of the window, oldest boot and row first.
- Only a boot's first range that is not stored is sent again, ten minutes after it was sent: all above it cannot be covered
  before it is, and most of it usually is covered the moment the hole closes.
- At most WINDOW batches wait for `stored`. A server that does not answer therefore costs a bounded amount of data; one that
  answers (within ANSWER_S) gets live rows whatever waits.
Flow: agent tells what happened -> HERE -> which rows to read from the spool and publish. Never: bytes, disk, broker, clock.
"""

from dataclasses import dataclass, field

AGAIN_S = 600.0
ANSWER_S = 600.0
WINDOW = 16
ROWS_MAX = 500


@dataclass
class Sent:
    """Rows `first` to `last` went out at `at_s`."""

    first: int
    last: int
    at_s: float


@dataclass
class Chain:
    """One boot's way to the server. `sent`: ranges above `stored`, in order, disjoint."""

    stored: int = 0
    sent: list[Sent] = field(default_factory=list)

    def next_gap(self, upto: int) -> tuple[int, int] | None:
        """The first rows that were never sent: (first, last), up to `upto`."""
        first = self.stored + 1
        for one in self.sent:
            if first < one.first:
                return first, min(one.first - 1, upto)
            first = max(first, one.last + 1)
        return (first, upto) if first <= upto else None

    def cover(self, stored: int) -> None:
        """The server has all up to `stored`. Less than before: it lost some, so all above goes out again."""
        if stored < self.stored:
            self.sent = []
        self.stored = stored
        self.sent = [Sent(max(one.first, stored + 1), one.last, one.at_s) for one in self.sent if one.last > stored]

    def note(self, first: int, last: int, at_s: float) -> None:
        """Rows went out; what was noted of the same rows before gives way."""
        kept = []
        for one in self.sent:
            if one.last < first or one.first > last:
                kept.append(one)
                continue
            if one.first < first:
                kept.append(Sent(one.first, first - 1, one.at_s))
            if one.last > last:
                kept.append(Sent(last + 1, one.last, one.at_s))
        self.sent = sorted([*kept, Sent(first, last, at_s)], key=lambda one: one.first)


@dataclass(frozen=True)
class Wanted:
    """Rows of one boot to publish now."""

    boot: str
    first: int
    last: int


class Outbox:
    """`present`: the boot that runs now. Seconds are monotonic."""

    def __init__(self, present: str, rows_max: int = ROWS_MAX):
        self._present, self._rows_max = present, rows_max
        self._chains: dict[str, Chain] = {}
        self._live_from = 1
        self._answered_s: float | None = None

    def known(self, boot: str, first_seq: int) -> None:
        """A boot with rows; all before `first_seq` was stored, unless the server says otherwise."""
        if boot not in self._chains:
            self._chains[boot] = Chain(max(0, first_seq - 1))

    def forgotten(self, boot: str) -> None:
        """No rows of it are left."""
        self._chains.pop(boot, None)

    def link_up(self, next_seq: int) -> None:
        """Connected (again): rows from `next_seq` on are live, those before are backlog."""
        self._live_from = next_seq

    def stored(self, boot: str, seq: int, now_s: float) -> None:
        """The server's answer for one boot."""
        chain = self._chains.get(boot)
        if chain is not None:
            if seq > chain.stored:
                self._answered_s = now_s
            chain.cover(seq)

    def stored_seq(self, boot: str) -> int:
        """All up to here need not be kept."""
        return self._chains[boot].stored if boot in self._chains else 0

    def was_sent(self, wanted: Wanted) -> bool:
        """Did any of these rows go out before?"""
        return any(one.first <= wanted.last and wanted.first <= one.last for one in self._chains[wanted.boot].sent)

    def sent(self, wanted: Wanted, now_s: float) -> None:
        """Handed to the broker's client."""
        self._chains[wanted.boot].note(wanted.first, wanted.last, now_s)

    def live(self, accepted: int, now_s: float) -> Wanted | None:
        """Live rows not yet sent, oldest first; None: none, or the server is silent and the window full."""
        chain = self._chains[self._present]
        first = max([self._live_from, chain.stored + 1, *(one.last + 1 for one in chain.sent)])
        if first > accepted or (self.waiting >= WINDOW and not self._answers(now_s)):
            return None
        return Wanted(self._present, first, min(accepted, first + self._rows_max - 1))

    def backlog(self, last_seq: dict[str, int], now_s: float, skip: set[str]) -> Wanted | None:
        """The oldest rows that are due: sent long ago and never stored, or never sent.

        `last_seq`: accepted, by boot. `skip`: boots whose rows wait for their time.
        """
        for boot, chain in self._chains.items():
            first = chain.sent[0] if chain.sent and boot not in skip else None
            if first and first.first == chain.stored + 1 and now_s - first.at_s >= AGAIN_S:
                return Wanted(boot, first.first, min(first.last, first.first + self._rows_max - 1))
        if self.waiting >= WINDOW:
            return None
        for boot, chain in self._chains.items():
            if boot in skip:
                continue
            upto = last_seq.get(boot, 0)
            if boot == self._present:
                # A gap below what was sent is backlog, whatever was live once.
                upto = min(upto, max([self._live_from - 1, *(one.last for one in chain.sent)]))
            gap = chain.next_gap(upto)
            if gap:
                return Wanted(boot, gap[0], min(gap[1], gap[0] + self._rows_max - 1))
        return None

    @property
    def waiting(self) -> int:
        """Batches sent and not stored that nothing but the server holds up: those right above what it has stored."""
        return sum(self._contiguous(chain) for chain in self._chains.values())

    def _contiguous(self, chain: Chain) -> int:
        count, following = 0, chain.stored + 1
        for one in chain.sent:
            if one.first != following:
                break
            count, following = count + 1, one.last + 1
        return count

    def _answers(self, now_s: float) -> bool:
        return self._answered_s is not None and now_s - self._answered_s < ANSWER_S
