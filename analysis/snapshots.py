"""Which saved states to keep, and which one late rows go back to.

Flow: pipeline.advance (on_close) -> HERE -> whoever stores them.
Never: storage.
"""

from collections.abc import Mapping

DAILY_KEPT = 35
DAYS_A_MONTH = 30
DAY_MS = 86_400_000


def kept_snapshots(closed_ms: list[int]) -> list[int]:
    """Of the closes saved so far, those worth keeping: the newest 35, before them one in each 30 days.

    The choice for a given close never depends on how often the rule was applied.
    """
    if not closed_ms:
        return []
    newest = max(closed_ms)
    kept: dict[int, int] = {}
    recent = []
    for close in sorted(closed_ms):
        if newest - close < DAILY_KEPT * DAY_MS:
            recent.append(close)
        else:
            kept.setdefault(close // (DAYS_A_MONTH * DAY_MS), close)
    return sorted({*kept.values(), *recent})


def rewind(snapshots: Mapping[int, bytes], time_ms: int) -> bytes | None:
    """The newest snapshot that closed before the instant, from `closed_until_ms` -> bytes; None: begin anew.

    Then feed every row after that snapshot's `closed_until_ms`.
    """
    before = [close for close in snapshots if close < time_ms]
    return snapshots[max(before)] if before else None
