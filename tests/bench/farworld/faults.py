"""What goes wrong in a drawn season: when, how much, along which course, and what people then do.

Never: imports of the analysis or of another plant.
"""

from dataclasses import dataclass

import numpy as np

PARTS = {
    "clogging": ("intake", "pump", "delivery"), "riser-leak": ("wall", "check-valve"),
    "falling-water-level": ("resting", "drawdown"), "cable-fault": ("array", "motor"),
}  # fmt: skip
SLOW = (
    "clogging",
    "worn-pump",
    "riser-leak",
    "falling-water-level",
    "panel-soiling",
    "cable-fault",
    "controller-derating",
)
CAUSES = (*SLOW, "dry-running", "closed-delivery", "broken-shaft", "shading", "string-out", "reverse-rotation", "failed-start",
          "stalled-motor", "over-voltage", "controller-trip", "short-cycling", "sensor-fault", "silent")  # fmt: skip
LOOK_ALIKES = ("tank-full", "switched-off", "speed-down", "low-level", "horizon", "light-dust", "under-sheet")
READ_BY = {
    "over-voltage": "pv_voltage_v",
    "controller-trip": "fault_code",
    "tank-full": "tank_float_up",
    "switched-off": "switched_on",
}
"""What cannot be known without this channel; not drawn where it is not fitted."""
BRIEF_DAYS = {"dry-running": 5, "closed-delivery": 6, "silent": 6, "stalled-motor": 8, "failed-start": 8}
MENDED_BY = {
    "clogging": "pump-lifted", "worn-pump": "pump-lifted", "riser-leak": "pump-lifted", "broken-shaft": "pump-lifted", "stalled-motor": "pump-lifted",
    "panel-soiling": "panels-washed", "reverse-rotation": "leads-moved", "cable-fault": "leads-moved", "controller-derating": "controller-replaced",
    "controller-trip": "controller-replaced", "sensor-fault": "other", "string-out": "other", "closed-delivery": "other",
}  # fmt: skip
SHAPES = ("linear", "step", "faster", "comes-goes")


@dataclass
class Fault:
    """One fault. `begin`, `end` in days; `much`: 0 to 1; `course`: 0 to 1 along its way, a value a step; `on`: inside; `visit`: it was mended
    by people who wrote it down."""

    cause: str
    part: str | None
    channel: str | None
    kind: str
    begin: float
    end: float
    lasting: bool
    much: float
    course: np.ndarray
    on: np.ndarray
    visit: bool

    @property
    def at(self) -> np.ndarray:
        """How much of it there is at each step."""
        return self.course * self.much


def draw_fault(rng: np.random.Generator, cause: str, day: np.ndarray, days: float, site: dict) -> Fault:
    """When, how much, its course."""
    begin = 0.0 if cause in SLOW and rng.random() < 0.08 else rng.uniform(0.2, 0.75) * days
    noon = 0.5 - site["lon"] / 360
    if cause == "broken-shaft":
        begin = int(begin) + noon + rng.uniform(-0.1, 0.1)
    if cause in ("reverse-rotation", "panel-soiling", "falling-water-level", "worn-pump"):
        begin = int(begin) - site["lon"] / 360 if begin > 1 else begin
    never_mended = ("dry-running", "silent")
    lasting = cause not in never_mended and bool(rng.random() < (0.5 if cause in SLOW else 0.35))
    long = BRIEF_DAYS.get(cause, 45 if cause in SLOW else 25)
    least = 0.05 if cause in ("closed-delivery", "silent") else 0.3
    end = float(days) if lasting else min(begin + rng.uniform(least, 1) * long, days - 1.0)
    if not lasting and cause in (
        "clogging",
        "worn-pump",
        "riser-leak",
        "broken-shaft",
        "panel-soiling",
        "reverse-rotation",
    ):
        end = int(end) + noon - 0.15 if end - begin > 1 else end
    on = (day >= begin) & (day < end)
    part = str(rng.choice(PARTS[cause])) if cause in PARTS else None
    shapes = SHAPES if cause in ("riser-leak", "cable-fault") else SHAPES[:3]
    shape = str(rng.choice(shapes)) if cause in SLOW else "step"
    if cause == "worn-pump":
        shape = str(rng.choice(["linear", "faster"]))
    grown = np.clip((day - begin) / max(min(end - begin, 60.0), 1.0), 0, 1)
    course = {"linear": grown, "step": np.ones_like(day), "faster": grown**2, "comes-goes": ((day % 4) < 2.5) * 1.0}[
        shape
    ]
    channel, kind = _liar(rng, site["channels"]) if cause == "sensor-fault" else (None, "")
    return Fault(
        cause,
        part,
        channel,
        kind,
        begin,
        end,
        lasting,
        rng.uniform(0.2, 1.0),
        on * course,
        on,
        bool(rng.random() < 0.5),
    )


def _liar(rng: np.random.Generator, channels: list[str]) -> tuple[str, str]:
    """Which channel lies, and how."""
    able = [c for c in channels if c not in ("fault_code", "motor_running", "switched_on")]
    weight = np.array([3.0 if c == "low_level_probe_wet" else 1.0 for c in able])
    channel = str(rng.choice(able, p=weight / weight.sum()))
    if channel == "low_level_probe_wet":
        return channel, str(rng.choice(["wet", "dry", "dry", "dry"]))
    if channel == "tank_float_up":
        return channel, str(rng.choice(["up", "up", "down"]))
    if channel == "volume_m3":
        return channel, str(rng.choice(["stuck", "stuck", "slow", "dead"]))
    return channel, str(rng.choice(["stuck", "drift", "offset", "dead", "scale"]))
