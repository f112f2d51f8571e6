"""What can go wrong in the second plant, when, and how it grows."""

from dataclasses import dataclass, field

import numpy as np

from .plant import Hurt

DAY = 86400


@dataclass
class Wrong:
    """One fault or look-alike: `cause` as a finding would name it, or a look-alike's name."""

    cause: str
    begins: float
    ends: float
    much: float
    part: str | None = None
    channel: str | None = None
    ramp_days: float = 0.0
    washed: list[float] = field(default_factory=list)

    def grown(self, t):
        """0 before, 1 when full, at the instant t."""
        if not self.begins <= t < self.ends:
            return 0.0
        return min(1.0, (t - self.begins) / (self.ramp_days * DAY)) if self.ramp_days else 1.0


def draw_wrong(rng, cause, site, start, end):
    """One of `cause`, drawn: begins after a healthy month, lasts one to eight weeks or to the end."""
    span = end - start
    begins = start + rng.uniform(0.2, 0.65) * span
    ends = min(end, begins + rng.uniform(10, 60) * DAY) if rng.random() < 0.6 else end
    pick = lambda *options: options[rng.integers(len(options))]  # noqa: E731
    wrong = Wrong(cause, begins, ends, rng.uniform(0.3, 1.0))
    if cause in ("worn-pump", "clogging", "panel-soiling", "falling-water-level"):
        wrong.ramp_days = rng.uniform(5, 50)
        wrong.ends = end if rng.random() < 0.5 else max(wrong.ends, begins + wrong.ramp_days * 1.2 * DAY)
    wrong.part = {
        "clogging": lambda: pick("intake", "delivery"),
        "riser-leak": lambda: "wall",
        "cable-fault": lambda: pick("array", "motor"),
        "falling-water-level": lambda: pick("resting", "drawdown"),
    }.get(cause, lambda: None)()
    if cause in ("dry-running", "closed-delivery", "broken-shaft", "stalled-motor", "failed-start", "silent"):
        wrong.ends = min(end, begins + rng.uniform(0.4, 6) * DAY)
    if cause == "sensor-fault":
        choices = [
            c
            for c in ("water_level_m", "irradiance_w_m2", "low_level_probe_wet", "discharge_pressure_bar", "volume_m3")
            if c in site["channels"]
        ]
        wrong.channel = pick(*choices)
        wrong.ends = end
    return wrong


def hurt_at(wrongs, t, site):
    """All that is wrong at the instant t, as the plant feels it."""
    hurt = Hurt()
    for wrong in wrongs:
        much = wrong.much * wrong.grown(t)
        if much:
            _apply(hurt, wrong, much, t, site)
    return hurt


def _apply(hurt, wrong, much, t, site):
    flow = site["flow"]
    match wrong.cause:
        case "worn-pump":
            hurt.wear += 3.5 * much
        case "clogging" if wrong.part == "intake":
            hurt.intake_k += 28 * much / flow**2
        case "clogging":
            hurt.delivery_k += 30 * much / flow**2
        case "riser-leak":
            hurt.leak += 0.45 * much * flow
        case "falling-water-level" if wrong.part == "resting":
            hurt.deeper += 11 * much
        case "falling-water-level":
            hurt.drawdown *= 1 + 2.5 * much
        case "panel-soiling" | "dust":
            since = max([wrong.begins, *[w for w in wrong.washed if w <= t]])
            rate = (0.004 if wrong.cause == "panel-soiling" else 0.0005) * (0.5 + wrong.much)
            hurt.current *= 1 - min(0.3, rate * (t - since) / DAY)
        case "shading" | "horizon":
            first = 60 + 30 * wrong.much if wrong.cause == "shading" else 50
            hurt.shade = (first, first + 35 * wrong.much, 0.9)
        case "string-out" if site["strings"] > 1:
            hurt.current *= 1 - 1 / site["strings"]
        case "string-out":
            hurt.voltage *= 1 - 1 / site["series"]
        case "controller-derating":
            hurt.cap = 0.95 - 0.45 * much
        case "cable-fault" if wrong.part == "array":
            hurt.series_ohm += 0.16 * much * site["series"] * 37.8 / (site["strings"] * 8.73)
        case "cable-fault":
            hurt.motor_ohm += 0.25 * much * site["cap_w"] / (3 * site["rated_a"] ** 2)
        case "dry-running" | "closed-delivery" | "broken-shaft" | "reverse-rotation" | "stalled-motor" | "failed-start":
            hurt.state = {"dry-running": "dry", "closed-delivery": "shut", "broken-shaft": "broken", "reverse-rotation": "reversed",
                          "stalled-motor": "stalled", "failed-start": "no-start"}[wrong.cause]  # fmt: skip


def stretches(time_s, wrongs):
    """Slices of minutes over which nothing changes: each day, cut where a fault begins or ends."""
    cuts = {0, len(time_s)} | set(np.flatnonzero(np.diff(time_s // DAY)) + 1)
    for wrong in wrongs:
        cuts |= {int(np.searchsorted(time_s, when)) for when in (wrong.begins, wrong.ends, *wrong.washed)}
    ordered = sorted(cut for cut in cuts if cut <= len(time_s))
    return [slice(a, b) for a, b in zip(ordered, ordered[1:], strict=False) if b > a]
