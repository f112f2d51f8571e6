"""Readings every few seconds -> one row an interval: means, states and counters by their last value, extremes of some.

A change of a state goes out at once as a row of its own, with what was read then.
Flow: sources -> agent -> HERE -> spool. Never: a clock (samples come stamped), rounding (row.py).
"""

from dataclasses import dataclass

from logger.clock import Stamp
from logger.record.channels import CHANNELS
from logger.record.reading import Clock

CHANGE_GAP_S = 5.0
"""A chattering contact may not fill the spool: changes within this time wait for the next row."""

Values = dict[str, float | None]


@dataclass(frozen=True)
class Made:
    """A row for the spool; `changed`: a state changed, so it should be published at once."""

    time_ms: int
    mono_ms: int
    clock: Clock
    values: Values
    changed: bool = False


class Means:
    """`interval_s` 0: every sample becomes a row. `extremes`: channels whose lowest and highest are kept too."""

    def __init__(self, interval_s: float, extremes: tuple[str, ...] = ()):
        self._interval_ms, self._extremes = round(interval_s * 1000), extremes
        self._samples: list[Values] = []
        self._bucket = 0
        self._newest: Stamp | None = None
        self._states: Values = {}
        self._changed_mono_ms: int | None = None

    def add(self, stamp: Stamp, values: Values) -> list[Made]:
        """One sample; the rows that it completes, oldest first."""
        changed = self._state_changed(stamp, values)
        if not self._interval_ms:
            return [_made(stamp, stamp.time_ms, values, changed)]
        made = []
        # A reading ends its interval: a sample on the boundary belongs to the interval before it.
        bucket = -(-stamp.time_ms // self._interval_ms)
        if self._samples and bucket != self._bucket:
            made += self.flush(stamp)
        self._bucket = bucket
        self._samples.append(values)
        self._newest = stamp
        if changed:
            made.append(_made(stamp, stamp.time_ms, values, True))
        return made

    def flush(self, now: Stamp | None = None) -> list[Made]:
        """The row of the interval so far, ending on its boundary where the clock has passed that without a jump."""
        if not self._samples or self._newest is None:
            return []
        newest, boundary_ms = self._newest, self._bucket * self._interval_ms
        passed = now is not None and 0 <= now.time_ms - boundary_ms <= self._interval_ms
        ends_ms = boundary_ms if passed else newest.time_ms
        values = _summed_up(self._samples, self._extremes)
        self._samples = []
        return [_made(newest, ends_ms, values, False)]

    def _state_changed(self, stamp: Stamp, values: Values) -> bool:
        """Does a state differ from the last one given out? Too soon after another change: not yet."""
        states = {name: value for name, value in values.items() if _is_state(name) and value is not None}
        differs = any(name in self._states and self._states[name] != value for name, value in states.items())
        soon = self._changed_mono_ms is not None and stamp.mono_ms - self._changed_mono_ms < CHANGE_GAP_S * 1000
        if differs and soon:
            return False
        self._states |= states
        if differs:
            self._changed_mono_ms = stamp.mono_ms
        return differs


def _made(stamp: Stamp, time_ms: int, values: Values, changed: bool) -> Made:
    return Made(time_ms, stamp.mono_ms + time_ms - stamp.time_ms, stamp.quality, values, changed)


def _is_state(name: str) -> bool:
    return CHANNELS[name].kind in ("flag", "code")


def _summed_up(samples: list[Values], extremes: tuple[str, ...]) -> Values:
    """A channel that no sample read is absent; one that never could be read is None."""
    values: Values = {}
    for name in CHANNELS:
        seen = [sample[name] for sample in samples if name in sample]
        if not seen:
            continue
        good = [value for value in seen if value is not None]
        if CHANNELS[name].kind == "measure":
            values[name] = sum(good) / len(good) if good else None
        else:
            values[name] = good[-1] if good else None
        if name in extremes and good:
            values[name + "_min"], values[name + "_max"] = min(good), max(good)
    return values
