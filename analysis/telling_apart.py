"""Two causes that the sensors fitted cannot tell apart, and the one measurement on site that would.

Flow: a case's cause and its rivals -> HERE -> what_to_check.py.
Each pair is written once and says what either outcome means, so it reads the same from both sides. Physics as in the causes' own files:
what is looked at is what the one fault must change and the other cannot. Never: a valve shut under a pump that may start.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from analysis.causes.registry import CENTRIFUGAL, HELICAL, by_motor

NAME = {
    "dry-running": "a well without water",
    "clogging": "an obstruction",
    "closed-delivery": "a closed pipe",
    "worn-pump": "a worn pump",
    "broken-shaft": "a broken shaft or riser",
    "riser-leak": "a leak",
    "falling-water-level": "a fallen water level",
    "panel-soiling": "dirty panels",
    "shading": "shade",
    "string-out": "a string or module that is out",
    "controller-derating": "a controller that holds back",
    "cable-fault": "a cable or joint",
    "reverse-rotation": "exchanged motor leads",
    "failed-start": "a pump that is not told to run",
    "stalled-motor": "a motor that is stuck",
    "over-voltage": "an array of too much voltage",
    "controller-trip": "a controller that stops itself",
    "short-cycling": "a float, probe or loose wire that switches",
    "sensor-fault": "a sensor that lies",
    "silent": "a logger without link or power",
    "unexplained": "something else",
}
"""Each cause after "speaks for"."""


@dataclass(frozen=True)
class Pair:
    """What to look at, and what is then seen under the one and under the other; `kind` where it holds for one pump kind alone."""

    one: str
    other: str
    look: str
    says_one: str
    says_other: str
    kind: str | None = None

    def outcomes(self) -> str:
        """What either outcome means."""
        return f"{self.says_one} speaks for {NAME[self.one]}, {self.says_other} for {NAME[self.other]}."


LISTEN = "Switch the pump off and listen at the covered wellhead for a minute"
RUNS_BACK, SILENCE = "water heard running back", "silence"
DIP = "Have the level dipped before sunrise and at noon while it pumps"
DEEPER, AS_EVER = "a level deeper than the driller's log", "a level as deep as ever"
DIP_OFF = "Switch the pump off and have the level dipped at once"
AT_INTAKE, ABOVE = "water at the intake or below it", "water well above it"
VALVES = "With the pump switched off, look at every valve and the pipe up to the tank"
SHUT, OPEN = "one that is shut, frozen or pinched", "all open and clear"
INLET = "Look at the tank's inlet in one run of a minute"
COMES, NONE_COMES = "plenty of water", "none"
BUCKET = "Time a bucket of known volume at the tank"
FULL_FAST, SHORT = "as much water as there should be", "as little as the readings say"
AT_SPEED = "Time a bucket at the tank and read the motor's speed at that moment"
LESS_FOR_IT, AS_MUCH_FOR_IT = "less water for that speed than before", "as much as ever for that speed"
LEADS = "Have a licensed person exchange {two leads}, once, with the array isolated and the drive discharged"
MORE_WATER, NO_MORE = "much more water afterwards", "no more"
DISPLAY = "Read the controller's display at noon under a clear sky"
LIMIT, NO_LIMIT = "a word of heat or of a limit", "none"
CLAMP = "Have a licensed person clamp each string's current in steady sun"
SHADOWS = "Look at the panels every two hours of a clear day"
A_SHADOW = "a shadow on them at the hours of the loss"
WINDINGS = "Have a licensed person measure {all leads}, with the array isolated and the drive discharged"
OPEN_VOLTS = "Read the array's voltage on the controller's display in full sun while the pump stands"
FEWER, EVERY_ONE = "a half or two thirds of what it showed before", "as much as ever"
STANDING_BY = "Stand at the controller in full sun until it stops"

PAIRS = (
    Pair("riser-leak", "worn-pump", LISTEN, RUNS_BACK, SILENCE),
    Pair("riser-leak", "clogging", LISTEN, RUNS_BACK, SILENCE),
    Pair("falling-water-level", "clogging", DIP, DEEPER, AS_EVER),
    Pair("falling-water-level", "riser-leak", DIP, DEEPER, AS_EVER),
    Pair("falling-water-level", "worn-pump", DIP, DEEPER, AS_EVER),
    Pair("falling-water-level", "cable-fault", DIP, DEEPER, AS_EVER),
    Pair("falling-water-level", "sensor-fault", DIP, DEEPER, AS_EVER),
    Pair("clogging", "worn-pump", "Time a bucket at the tank at low sun and again at noon of a clear day",
         "water that is short at noon most", "short by about as much at both"),
    Pair("clogging", "cable-fault", "Have a licensed person read the motor's current at a speed at which it is known from before",
         "more than then", "as much as then", kind=HELICAL),
    Pair("clogging", "cable-fault", AT_SPEED, LESS_FOR_IT, AS_MUCH_FOR_IT, kind=CENTRIFUGAL),
    Pair("worn-pump", "cable-fault", AT_SPEED, LESS_FOR_IT, AS_MUCH_FOR_IT),
    Pair("riser-leak", "cable-fault", AT_SPEED, LESS_FOR_IT, AS_MUCH_FOR_IT),
    Pair("sensor-fault", "riser-leak", BUCKET, FULL_FAST, SHORT),
    Pair("sensor-fault", "clogging", BUCKET, FULL_FAST, SHORT),
    Pair("sensor-fault", "worn-pump", BUCKET, FULL_FAST, SHORT),
    Pair("reverse-rotation", "worn-pump", LEADS, MORE_WATER, NO_MORE),
    Pair("reverse-rotation", "clogging", LEADS, MORE_WATER, NO_MORE),
    Pair("reverse-rotation", "riser-leak", LEADS, MORE_WATER, NO_MORE),
    Pair("reverse-rotation", "cable-fault", LEADS, MORE_WATER, NO_MORE),
    Pair("reverse-rotation", "falling-water-level", DIP, AS_EVER, DEEPER),
    Pair("reverse-rotation", "sensor-fault", BUCKET, SHORT, FULL_FAST),
    Pair("reverse-rotation", "broken-shaft", LEADS, "water afterwards", "none"),
    Pair("dry-running", "closed-delivery", DIP_OFF, AT_INTAKE, ABOVE),
    Pair("dry-running", "broken-shaft", DIP_OFF, AT_INTAKE, ABOVE),
    Pair("dry-running", "riser-leak", DIP_OFF, AT_INTAKE, ABOVE),
    Pair("dry-running", "reverse-rotation", DIP_OFF, AT_INTAKE, ABOVE),
    Pair("dry-running", "sensor-fault", DIP_OFF, AT_INTAKE, ABOVE),
    Pair("closed-delivery", "sensor-fault", VALVES, SHUT, OPEN),
    Pair("sensor-fault", "broken-shaft", INLET, COMES, NONE_COMES),
    Pair("closed-delivery", "broken-shaft", VALVES, SHUT, OPEN),
    Pair("closed-delivery", "riser-leak", VALVES, SHUT, OPEN),
    Pair("closed-delivery", "reverse-rotation", VALVES, SHUT, OPEN),
    Pair("closed-delivery", "stalled-motor", VALVES, SHUT, OPEN),
    Pair("closed-delivery", "failed-start", VALVES, SHUT, OPEN),
    Pair("closed-delivery", "cable-fault", VALVES, SHUT, OPEN),
    Pair("riser-leak", "broken-shaft", LISTEN, RUNS_BACK, SILENCE),
    Pair("stalled-motor", "failed-start", "Read the controller's display while it should start, once", "a try that ends in overload",
         "no try at all"),
    Pair("cable-fault", "stalled-motor", WINDINGS, "one that is open or leaks to earth", "all alike"),
    Pair("cable-fault", "failed-start", WINDINGS, "one that is open or leaks to earth", "all alike"),
    Pair("string-out", "failed-start", OPEN_VOLTS, FEWER, EVERY_ONE),
    Pair("string-out", "stalled-motor", OPEN_VOLTS, FEWER, EVERY_ONE),
    Pair("string-out", "closed-delivery", OPEN_VOLTS, FEWER, EVERY_ONE),
    Pair("controller-trip", "short-cycling", STANDING_BY, "a code of its own on the display",
         "none, or the lamp of float or probe"),
    Pair("shading", "panel-soiling", SHADOWS, A_SHADOW, "an even coat and no shadow"),
    Pair("shading", "string-out", SHADOWS, A_SHADOW, "no shadow at any hour"),
    Pair("shading", "cable-fault", SHADOWS, A_SHADOW, "no shadow at any hour"),
    Pair("shading", "sensor-fault", SHADOWS, A_SHADOW, "no shadow on them, or one on the sun's sensor alone,"),
    Pair("string-out", "panel-soiling", CLAMP, "one that gives far less than the others", "all alike"),
    Pair("string-out", "cable-fault", CLAMP, "one that gives far less than the others", "all alike"),
    Pair("string-out", "sensor-fault", CLAMP, "one that gives far less than the others", "all alike"),
    Pair("panel-soiling", "sensor-fault", "Wipe the sun's sensor clean, and wash the panels a day later", "power that comes back with the washing",
         "readings that come right with the wiping, or with neither,"),
    Pair("panel-soiling", "cable-fault", "Wash the panels while they are cool", "power that comes back the next clear day", "power that does not"),
    Pair("cable-fault", "sensor-fault", "Have a licensed person measure voltage and current by hand", "what the readings say", "another result"),
    Pair("controller-derating", "panel-soiling", DISPLAY, LIMIT, NO_LIMIT),
    Pair("controller-derating", "shading", DISPLAY, LIMIT, NO_LIMIT),
    Pair("controller-derating", "string-out", DISPLAY, LIMIT, NO_LIMIT),
    Pair("controller-derating", "cable-fault", DISPLAY, LIMIT, NO_LIMIT),
    Pair("controller-derating", "sensor-fault", DISPLAY, LIMIT, NO_LIMIT),
)  # fmt: skip


@cache
def _by_causes() -> dict[frozenset[str], tuple[Pair, ...]]:
    found: dict[frozenset[str], tuple[Pair, ...]] = {}
    for pair in PAIRS:
        both = frozenset((pair.one, pair.other))
        found[both] = (*found.get(both, ()), pair)
    return found


ASKED_BY = {
    DIP: ("dipped", "before sunrise", "at noon"),
    LISTEN: ("Listen at the wellhead", "after it stops"),
    BUCKET: ("a bucket of known volume",),
    AT_SPEED: ("a bucket of known volume", "speed"),
    STANDING_BY: ("Stand at the controller", "until it stops"),
}
"""By measurement, the words by which a cause's own check has asked for it: then its outcomes alone are left to say."""


def measurements_to_tell(
    cause: str, rivals: Sequence[str], kind: str, motor: str | None = None, asked: str = ""
) -> list[str]:
    """For each rival the measurement that parts the two, each asked for once, and what its outcomes mean.

    asked
        What the cause's own check asks for already.
    """
    by_look: dict[str, list[Pair]] = {}
    for rival in rivals:
        pair = _pair(cause, rival, kind)
        if pair is not None:
            by_look.setdefault(pair.look, []).append(pair)
    said = []
    for look, pairs in by_look.items():
        means = " ".join(_capital(pair.outcomes()) if number else pair.outcomes() for number, pair in enumerate(pairs))
        known = look in ASKED_BY and all(words in asked for words in ASKED_BY[look])
        said.append(_capital(means) if known else by_motor(f"{look}: {means}", motor))
    return said


def _capital(said: str) -> str:
    return said[0].upper() + said[1:]


def _pair(cause: str, rival: str, kind: str) -> Pair | None:
    return next((one for one in _by_causes().get(frozenset((cause, rival)), ()) if one.kind in (None, kind)), None)


def what_would_tell(cause: str, rival: str, kind: str, motor: str | None = None) -> str:
    """The measurement that parts the two at a pump of this kind, with what either outcome means; empty where nobody knows one.

    >>> what_would_tell("worn-pump", "riser-leak", "helical-rotor")
    'Switch the pump off and listen at the covered wellhead for a minute: water heard running back speaks for a leak, silence for a worn pump.'
    """
    return " ".join(measurements_to_tell(cause, [rival], kind, motor))
