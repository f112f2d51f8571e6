"""Rows that went out before the time was known go out once more when it is: the same boot and sequence, now `repaired`.

The server kept the first copy aside (analysis/store/readings.py) and takes this one in its place. The spool keeps the rows until a
fresh statement of the server follows; without one they go out again after AGAIN_S.
Flow: spool (which boots, rows) -> HERE -> sender publishes. Never: bytes, the link.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from logger.outbox import AGAIN_S, Wanted
from logger.spool import Spool


@dataclass
class Repair:
    """`rows_max` in one message."""

    spool: Spool
    rows_max: int
    _sent: dict[str, tuple[int, float]] = field(default_factory=dict)
    """By boot: up to which sequence its rows went out again, and when."""

    def send(self, now_s: float, publish: Callable[[Wanted], int]) -> None:
        """Hand over what is due. `publish` answers with how many rows went, 0 = no room."""
        for boot in list(self.spool.boots.by_name.values()):
            if not boot.unsure_upto or boot.offset_ms is None:
                continue
            upto, at_s = self._sent.get(boot.name, (0, now_s))
            if upto >= boot.unsure_upto:
                if now_s - at_s < AGAIN_S:
                    continue
                upto = 0
            first = max(upto + 1, self.spool.first_seq(boot.name))
            while first <= boot.unsure_upto:
                went = publish(Wanted(boot.name, first, min(boot.unsure_upto, first + self.rows_max - 1)))
                if not went:
                    break
                first += went
            self._sent[boot.name] = (first - 1, now_s)

    def answered(self) -> None:
        """A fresh statement of the server came while nothing else waited for one."""
        for name, (upto, _) in list(self._sent.items()):
            boot = self.spool.boots.by_name.get(name)
            if boot is None or upto >= boot.unsure_upto:
                del self._sent[name]
                if boot is not None:
                    self.spool.repaired(name)
