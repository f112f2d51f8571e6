"""Late starts: it stood through hours of light and then took at its first start nearly all that a clear sky gives.

Flow: not_turning.py's rows, the days in memory -> HERE -> not_turning.py's measures, close.py.
Where no sensor reads the sun a cloud and a start that failed look alike as long as it stands. The start tells: light that grows out of
cloud starts a pump with what it needs to start, a quarter of its power; one that starts on the whole of a clear sky could have done so
since the light was a quarter of that. One day may be a hand's or a tank's; after evenings on which the sun stopped it, several are not.
Never: weighing.
"""

from dataclasses import dataclass

import numpy as np

from analysis.full_power import full_w
from analysis.look import Columns
from analysis.plant import Plant
from analysis.running import LIMITS as RUNNING
from analysis.solar_days import MINUTE_MS
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class LateLimits:
    """Common practice, no source."""

    from_ms: int = 2 * MINUTE_MS  # its ramp
    to_ms: int = 12 * MINUTE_MS  # by then the sun has hardly changed
    rows: int = 2
    most: float = 1.5  # of what a clear sky gives: more is no sky
    strong: float = 0.6  # likewise, from which on a day counts: a cloud seldom opens at once upon so much


LIMITS = LateLimits()
FORTNIGHT = 14
LATE_DAYS, LATE_LAST, LATE_BEGAN = "late_start_days", "late_start_last_day", "late_start_began_ms"
"""In the memory's numbers: such days of the last fortnight as bits, the newest lowest; the last of them; when the first of them began."""
SPRANG = "sprang"


def sprang(plant: Plant, seen: Columns, turns: np.ndarray, rows: np.ndarray, left: float) -> tuple[int, float]:
    """The row by which its start after `rows` is known, and the power that it then took over what a clear sky gives; -1 where nothing tells.

    left
        Share of the array that is at work.
    """
    none = (-1, np.nan)
    begins = np.flatnonzero(turns[rows[-1] :])
    if turns[: rows[0]].any() or not len(begins) or seen.expected.poa_measured[rows].all():
        return none
    start = int(rows[-1] + begins[0])
    since_ms = seen.time_ms - seen.time_ms[start]
    if seen.time_ms[start] - seen.time_ms[rows[-1]] > RUNNING.stopped_ms or since_ms[-1] < LIMITS.to_ms:
        return none
    ran = np.flatnonzero((since_ms >= LIMITS.from_ms) & (since_ms <= LIMITS.to_ms))
    if len(ran) < LIMITS.rows or not turns[ran].all():
        return none
    share = seen.power_w[ran] / np.maximum(np.minimum(left * full_w(plant, seen)[ran], plant.full_power_w), 1.0)
    known = np.isfinite(share)
    if known.sum() < LIMITS.rows:
        return none
    return int(ran[-1]), min(float(np.median(share[known])), LIMITS.most)


def again(view: DayView) -> dict[str, float]:
    """`again`: log of 1 and how many such days the fortnight before had; left out where there were none, which says nothing."""
    count = _before(view).bit_count()
    return {"again": float(np.log1p(count))} if count else {}


def since(view: DayView, began_ms: int) -> int:
    """When the first such day's standing began: this day's, or that of one before it."""
    return int(view.memory.numbers[LATE_BEGAN]) if _before(view) else began_ms


def now_and_then(episode: Episode) -> bool:
    """What fails to start for hours and then starts shows on some days only, and is one fault."""
    return episode.whole.get(SPRANG, 0.0) > LIMITS.strong and episode.whole.get("onset", 0.0) > 0.0


def late_day(view: DayView, episodes: list[Episode]) -> dict[str, float]:
    """For the memory's numbers, at the day's end."""
    late = [e for e in episodes if now_and_then(e)]
    if not late:
        return {}
    bits = (_before(view) << 1 | 1) % 2**FORTNIGHT
    began_ms = max(since(view, late[0].began_ms), view.days.open_ms(view.day - FORTNIGHT))
    return {LATE_DAYS: float(bits), LATE_LAST: float(view.day), LATE_BEGAN: float(began_ms)}


def _before(view: DayView) -> int:
    """The days of the fortnight before this day, yesterday's lowest."""
    known = view.memory.numbers
    if LATE_LAST not in known:
        return 0
    return (int(known[LATE_DAYS]) << (view.day - int(known[LATE_LAST]) - 1)) % 2**FORTNIGHT
