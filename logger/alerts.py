"""The life of what the board judged: told once, one reminder while it lasts, an all-clear, never a flood.

An alert ends when its cause was positively not so for CLEAR_S, and again when that can no longer be told (the pump was switched
off, say) for FORGET_S. The same cause is not told again within AGAIN_S of its end.
Flow: urgent.py's verdicts -> HERE -> the broker's `urgent` and text messages. Never: who is told, how.
"""

import json
from dataclasses import dataclass, field
from typing import Literal

from logger.urgent import Verdict

CLEAR_S = 120.0
FORGET_S = 6 * 3600.0
AGAIN_S = 1800.0

State = Literal["raised", "reminded", "cleared"]


@dataclass(frozen=True)
class Told:
    """One thing to tell people."""

    state: State
    verdict: Verdict
    since_ms: int
    time_ms: int


@dataclass
class Alert:
    """One cause that was told and has not ended. Seconds on the clock that never jumps."""

    verdict: Verdict
    since_ms: int
    since_s: float
    seen_s: float
    not_so_since_s: float | None = None
    reminded: bool = False


@dataclass
class Alerts:
    """`remind_after_s`: so long after it was told, if it lasts."""

    remind_after_s: float = 4 * 3600.0
    standing: dict[str, Alert] = field(default_factory=dict)
    ended_s: dict[str, float] = field(default_factory=dict)
    suppressed: int = 0

    def take(self, verdicts: list[Verdict], now_s: float, now_ms: int) -> list[Told]:
        """What there is to tell after these verdicts."""
        told: list[Told] = []
        for verdict in verdicts:
            if verdict.is_so:
                told += self._so(verdict, now_s, now_ms)
            elif verdict.cause in self.standing:
                told += self._not_so(self.standing[verdict.cause], now_s, now_ms)
        for alert in list(self.standing.values()):
            if now_s - alert.seen_s >= FORGET_S:
                told.append(self._end(alert, now_s, now_ms))
        return told

    def _so(self, verdict: Verdict, now_s: float, now_ms: int) -> list[Told]:
        alert = self.standing.get(verdict.cause)
        if alert is None:
            ended_s = self.ended_s.get(verdict.cause)
            if ended_s is not None and now_s - ended_s < AGAIN_S:
                self.suppressed += 1
                return []
            self.standing[verdict.cause] = Alert(verdict, now_ms, now_s, now_s)
            return [Told("raised", verdict, now_ms, now_ms)]
        alert.verdict, alert.seen_s, alert.not_so_since_s = verdict, now_s, None
        if not alert.reminded and now_s - alert.since_s >= self.remind_after_s:
            alert.reminded = True
            return [Told("reminded", verdict, alert.since_ms, now_ms)]
        return []

    def _not_so(self, alert: Alert, now_s: float, now_ms: int) -> list[Told]:
        alert.seen_s = now_s
        if alert.not_so_since_s is None:
            alert.not_so_since_s = now_s
        if now_s - alert.not_so_since_s < CLEAR_S:
            return []
        return [self._end(alert, now_s, now_ms)]

    def _end(self, alert: Alert, now_s: float, now_ms: int) -> Told:
        del self.standing[alert.verdict.cause]
        self.ended_s[alert.verdict.cause] = now_s
        return Told("cleared", alert.verdict, alert.since_ms, now_ms)


def as_senml(site: str, told: Told) -> bytes:
    """The message for `urgent`: SenML (RFC 8428) of one instant; `cause` is the one record that names a cause of ours."""
    texts = {
        "cause": told.verdict.cause,
        "state": told.state,
        "evidence": told.verdict.evidence,
        "check": told.verdict.check,
        "channel": told.verdict.channel,
    }
    records: list[dict[str, object]] = [{"n": name, "vs": text} for name, text in texts.items() if text]
    records[0] = {"bn": f"wellhand/{site}/", "bt": told.time_ms / 1000, **records[0]}
    records.append({"n": "since", "u": "s", "v": told.since_ms / 1000})
    return json.dumps(records, separators=(",", ":")).encode()
