"""The causes that a finding can name, each with its meaning and its measure of size.

Flow: analysis/causes and logger/urgent.py judge by these names; pages and reports print them.
Never: how a cause is recognised (analysis/causes).
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Cause:
    """`quantity` and `unit` are those of the finding's size; both None where the cause has none.

    `urgent`: pump or well come to harm within hours, so people are told at once.
    """

    name: str
    meaning: str
    quantity: str | None = None
    unit: str | None = None
    parts: tuple[str, ...] = ()
    urgent: bool = False


_ALL = (
    Cause("dry-running", "the pump turns with no water at its intake", "duration", "h", urgent=True),
    Cause(
        "clogging",
        "strainer, pump passages or delivery pipe obstructed",
        "flow lost",
        "fraction",
        ("intake", "pump", "delivery"),
    ),
    Cause(
        "closed-delivery",
        "the pump works against a shut valve, a frozen or a pinched pipe",
        "duration",
        "h",
        urgent=True,
    ),
    Cause(
        "worn-pump",
        "rotor and stator, or impellers, no longer seal: less flow for the same speed and head",
        "flow lost",
        "fraction",
    ),
    Cause(
        "broken-shaft",
        "shaft or coupling broken, or riser parted: the motor turns light, no flow, intake under water",
        "duration",
        "h",
        urgent=True,
    ),
    Cause(
        "riser-leak",
        "water pumped but not delivered: hole, joint, check valve",
        "flow lost",
        "fraction",
        ("wall", "check-valve"),
    ),
    Cause(
        "falling-water-level", "the well's level is lower than designed for", "extra lift", "m", ("resting", "drawdown")
    ),
    Cause(
        "panel-soiling",
        "dust or droppings: slow fall of array power, sudden recovery by rain or cleaning",
        "array power lost",
        "fraction",
    ),
    Cause("shading", "array power lost at the same sun positions day after day", "daily energy lost", "fraction"),
    Cause("string-out", "one or more strings or modules no longer contribute", "array power lost", "fraction"),
    Cause("controller-derating", "the controller holds power back, for heat most of all", "energy lost", "fraction"),
    Cause(
        "cable-fault",
        "a joint or cable with too much resistance, a lost phase, or a wet splice leaking to earth",
        "power lost",
        "fraction",
        ("array", "motor"),
    ),
    Cause("reverse-rotation", "two motor leads exchanged", "flow lost", "fraction"),
    Cause("failed-start", "sun enough, pump asked to run, no running", "duration", "h"),
    Cause(
        "stalled-motor",
        "the motor is fed and does not turn: sand, stuck rotor, swollen stator",
        "duration",
        "h",
        urgent=True,
    ),
    Cause("over-voltage", "array voltage above the controller's rating", "volts above rating", "V", urgent=True),
    Cause(
        "controller-trip",
        "the controller stops itself again and again with a fault code of its own",
        "trips per day",
        "1/d",
    ),
    Cause(
        "short-cycling", "starts and stops far more often than sun, tank and probe explain", "starts per hour", "1/h"
    ),
    Cause("sensor-fault", "a channel stuck, drifting, out of range or against the others"),
    Cause("silent", "no readings arrive in daylight", "duration", "h"),
    Cause("unexplained", "the figures leave what this pump does when healthy, and no cause above explains them"),
)

CAUSES: dict[str, Cause] = {cause.name: cause for cause in _ALL}
