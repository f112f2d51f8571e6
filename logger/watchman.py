"""Keeps the last samples, has them judged, tells the broker and people what is urgent, and knows today's water.

Flow: agent's samples -> HERE -> urgent.py, alerts.py -> link (`urgent`) and sms.py.
Never: more than SAMPLES_MAX samples in memory; a blocking call.
"""

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from logger.alerts import Alerts, Told, as_senml
from logger.clock import Stamp
from logger.daylight import sun_elevation_deg
from logger.health import Health
from logger.running import Sample, Values, driven
from logger.settings_tables import PumpFacts
from logger.urgent import CHECKS, Verdict, judge

KEPT_S = 1800.0
SAMPLES_MAX = 720
JUDGE_EACH_S = 5.0
SILENT_S = 45.0
SILENT_READS_MIN = 3
AWAKE_ELEVATION_DEG = 15.0
"""A controller fed by the array is awake when the sun stands so high (common practice, no source)."""
AWAKE_W_M2 = 150.0
WAITING_MAX = 50
STALE_S = 120.0
"""Sources are read at their own pace: what was read so long ago still stands beside what is read now."""


@dataclass
class Watchman:
    """`publish`: hands a message to the broker's client, None = not taken. `text`: queues a text message to all named."""

    site: str
    facts: PumpFacts
    health: Health
    publish: Callable[[bytes], int | None]
    text: Callable[[Told], None] | None = None
    alerts: Alerts = field(default_factory=Alerts)
    samples: deque[Sample] = field(default_factory=lambda: deque(maxlen=SAMPLES_MAX))

    def __post_init__(self) -> None:
        self._judged_s: float | None = None
        self._kept_s: float | None = None
        self._waiting: deque[bytes] = deque(maxlen=WAITING_MAX)
        self._day, self._day_from_m3, self._volume_m3 = "", 0.0, 0.0
        self._time_known = False
        self._said = f"{self.site}: nothing read yet"
        self._last: dict[str, tuple[float, float | None]] = {}

    def see(self, stamp: Stamp, values: Values) -> None:
        """One sample, as read."""
        now_s = stamp.mono_ms / 1000
        self._count_water(stamp, values)
        self._keep(Sample(now_s, self._together(now_s, values)))
        if self._judged_s is None or now_s - self._judged_s >= JUDGE_EACH_S:
            self._judged_s = now_s
            verdicts = [*judge(self.samples, self.facts), *self._silent(stamp, values)]
            for told in self.alerts.take(verdicts, now_s, stamp.time_ms):
                self._waiting.append(as_senml(self.site, told))
                if self.text:
                    self.text(told)
            self._said = self._state()
        while self._waiting and self.publish(self._waiting[0]) is not None:
            self._waiting.popleft()

    def state_text(self) -> str:
        """Today's water and state, for somebody who asks by text message (from another thread: a finished text)."""
        return self._said

    def _state(self) -> str:
        newest = self.samples[-1].values if self.samples else {}
        running = driven(newest, self.facts)
        said = "pump running" if running else "pump not running" if running is False else "pump state not known"
        flow = newest.get("flow_m3_h")
        told = [f"{self.site}: {said}" + (f", {flow:.1f} m3/h" if running and flow is not None else "")]
        if self._day:
            told.append(f"water today {self._volume_m3 - self._day_from_m3:.1f} m3")
        if newest.get("tank_float_up") == 1:
            told.append("tank full")
        wrong = ", ".join(self.alerts.standing)
        told.append(f"wrong: {wrong}" if wrong else "nothing urgent")
        if not self._time_known:
            told.append("(clock not set: 'today' is since the start)")
        return ". ".join(told)

    def _together(self, now_s: float, values: Values) -> Values:
        """These values beside the other sources' last ones."""
        self._last |= {name: (now_s, value) for name, value in values.items()}
        return {name: value for name, (read_s, value) in self._last.items() if now_s - read_s <= STALE_S}

    def _keep(self, sample: Sample) -> None:
        """So that SAMPLES_MAX of them reach back KEPT_S however fast they come; the newest always stands last."""
        room_s = KEPT_S / SAMPLES_MAX
        if self._kept_s is not None and self.samples and sample.at_s - self._kept_s < room_s:
            self.samples[-1] = sample
        else:
            self.samples.append(sample)
            self._kept_s = sample.at_s

    def _silent(self, stamp: Stamp, values: Values) -> Sequence[Verdict]:
        """A source that cannot be read although the sun should have woken it."""
        failing = {name: care for name, care in self.health.sources.items() if care.failed_since_ms is not None}
        if not failing:
            return [Verdict("silent", False)]
        long = {
            name: care
            for name, care in failing.items()
            if care.failed_in_a_row >= SILENT_READS_MIN
            and stamp.time_ms - (care.failed_since_ms or 0) >= SILENT_S * 1000
        }
        if not long or not self._awake(stamp, values):
            return []
        names = ", ".join(long)
        trouble = next(iter(long.values())).last_trouble
        return [Verdict("silent", True, f"{names} cannot be read: {trouble}", CHECKS["silent"])]

    def _awake(self, stamp: Stamp, values: Values) -> bool:
        sun = values.get("irradiance_w_m2")
        if sun is not None:
            return sun >= AWAKE_W_M2
        place = (self.facts.latitude_deg, self.facts.longitude_deg)
        if place[0] is None or place[1] is None or stamp.quality == "unsure":
            return False
        return sun_elevation_deg(stamp.time_ms, place[0], place[1]) >= AWAKE_ELEVATION_DEG

    def _count_water(self, stamp: Stamp, values: Values) -> None:
        """Since midnight at the pump (by its longitude) as its register tells; a register that falls starts anew."""
        volume = values.get("volume_m3")
        if volume is None:
            return
        self._time_known = stamp.quality != "unsure"
        local_ms = stamp.time_ms + (self.facts.longitude_deg or 0.0) * 240_000
        day = datetime.fromtimestamp(local_ms / 1000, UTC).date().isoformat()
        if day != self._day and (self._time_known or not self._day):
            self._day, self._day_from_m3 = day, volume
        elif volume < self._volume_m3:
            self._day_from_m3 += volume - self._volume_m3
        self._volume_m3 = volume
