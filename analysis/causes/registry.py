"""The shape of a cause file, and the list of all of them. How to add one: analysis/causes/__init__.py.

Flow: every cause file registers HERE; diagnosis.py, symptoms and pages read the list.
Never: a figure of any single cause.
"""

import importlib
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

from analysis.estimates.vector import BANDS
from logger.record.causes import CAUSES

HELICAL, CENTRIFUGAL = "helical-rotor", "multistage-centrifugal"

if TYPE_CHECKING:
    from analysis.estimates.effects import Effect, Plant
    from analysis.symptoms import DayView, Episode

Levels = dict[str, tuple[float, float]]
"""By measure, what it reads under the cause: mean and standard deviation."""


DANGERS = frozenset(
    {
        "licensed", "sunlit", "live", "height", "water", "bursts", "never-shut", "pressure", "scalds", "shut-heats", "dry-rotor", "dry-bearings",
        "tries", "resets", "unscrews", "proves-nothing", "other-way", "hot", "washing", "poison", "open-well", "hangs", "tested", "felling", "tank",
    }
)  # fmt: skip
"""What can hurt people or pump, by the names under which the pages' languages have words of their own for it."""


@dataclass(frozen=True)
class Caution:
    """One sentence of what can hurt, and which of DANGERS it speaks of; "licensed" is what those alone meet who do that work."""

    said: str
    dangers: tuple[str, ...]


def beware(said: str, *dangers: str) -> Caution:
    """A caution. ValueError: it names no danger, or one that nobody has words for."""
    if not dangers or not DANGERS.issuperset(dangers):
        raise ValueError(f"{said!r}: a caution names some of {', '.join(sorted(DANGERS))}")
    return Caution(said, dangers)


NO_CLIMBING = beware(
    "A tank is no place to climb into: it is deep, its air may be bad, and people drink from it.", "tank"
)


@dataclass(frozen=True)
class Advice:
    """The page behind a finding, in plain words: what to do, for whom, and what can hurt."""

    own: tuple[str, ...]
    technician: tuple[str, ...]
    cautions: tuple[Caution, ...]


@dataclass(frozen=True)
class OfKind:
    """What is true, or dangerous, of one kind alone, of pump or motor: a pump's first check in place of the common one, and more lines."""

    check: str = ""
    own: tuple[str, ...] = ()
    technician: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()


BRUSHED, THREE_PHASE = "brushed-dc", ("permanent-magnet", "induction")


def by_motor(said: str, motor: str | None) -> str:
    """A sentence with how many leads the motor has: `{two leads}` to exchange, `{all leads}` to measure. None: nobody told its kind.

    >>> by_motor("Exchange {two leads}.", "brushed-dc")
    "Exchange the motor's two leads."
    """
    two, every = "two of the motor's leads", "the motor's leads"
    if motor == BRUSHED:
        two = every = "the motor's two leads"
    elif motor in THREE_PHASE:
        two, every = "two of the motor's three leads", "the motor's three leads"
    return said.replace("{two leads}", two).replace("{all leads}", every)


@dataclass(frozen=True)
class CauseFile:
    """One cause as the engine knows it.

    per_year
        How often it begins at one pump, 1/year: the prior. From the ranking of field surveys, so a rough figure.
    check
        What to look at on site first, safely.
    check_unread
        Likewise where nothing reads the code that would say it; empty = the same.
    check_channel
        Likewise by the channel that is meant, where the cause is about one.
    of_kind
        By pump kind, what differs: a rotor that is shut in bursts something, an impeller does not.
    of_motor
        By motor kind, more lines: a brushed motor has brushes.
    evidence
        Figures -> one sentence; where it `names_channel`, figures and a channel or None.
    part_told
        Part and figures -> the part that these speak for, or None; without it, the part as weighed.
    effect
        Slow causes: how it shifts the day's parameters, a few forms (parts) of it; see estimates/effects.py.
    levels
        Fast causes: by symptom, the levels that its measures read under this cause; see symptoms.
    watch
        Causes with a symptom of their own: a day's columns -> episodes.
    """

    name: str
    per_year: float
    judged: str
    check: str
    advice: Advice
    evidence: Callable[..., str]
    limits: Any = None
    effect: "Callable[[Plant], list[Effect]] | None" = None
    levels: "Callable[[str], dict[str, Levels]] | None" = None
    watch: "Callable[[DayView], list[Episode]] | None" = None
    rivals: tuple[str, ...] = field(default_factory=tuple)
    check_unread: str = ""
    check_channel: Callable[[str | None], str] | None = None
    of_kind: Mapping[str, OfKind] = field(default_factory=dict)
    of_motor: Mapping[str, OfKind] = field(default_factory=dict)
    names_channel: bool = False
    part_told: Callable[[str | None, dict[str, float]], str | None] | None = None

    def check_at(self, kind: str, channel: str | None = None, unread: bool = False) -> str:
        """What to look at first at a pump of this kind; of the channel that is meant, and where nothing reads a code."""
        if self.check_channel is not None:
            return self.check_channel(channel)
        if unread and self.check_unread:
            return self.check_unread
        return self.of_kind.get(kind, OfKind()).check or self.check

    def advice_at(self, kind: str, motor: str | None = None) -> Advice:
        """The page for a pump of this kind with such a motor; the nearest dangers, which are those of the kind, first."""
        own, more, turned = self.advice, self.of_kind.get(kind, OfKind()), self.of_motor.get(motor or "", OfKind())
        return Advice(
            own.own + more.own + turned.own,
            tuple(by_motor(one, motor) for one in own.technician + more.technician + turned.technician),
            more.cautions + own.cautions + turned.cautions,
        )

    def sentence(self, figures: dict[str, float], channel: str | None) -> str:
        """Its evidence for these figures, of the channel that lies where it is about one."""
        return self.evidence(figures, channel) if self.names_channel else self.evidence(figures)


BAND_MARKS = frozenset(str(band) for band in range(BANDS))


def shifts(figures: dict[str, float], entry: str) -> list[float]:
    """What a finding's figures say of one entry of the day's vector, low band to high; empty where no channel tells it.

    An evidence speaks of speed, load or current only where this is not empty: nobody is told what was not read.
    """
    whole = f"shift_{entry}"
    return [figures[name] for name in sorted(figures) if name == whole or name.removeprefix(whole) in BAND_MARKS]


_FILES: dict[str, CauseFile] = {}


def register(file: CauseFile) -> CauseFile:
    """Add one cause. ValueError: a name that the contract does not know, or twice the same."""
    if file.name not in CAUSES:
        raise ValueError(f"{file.name!r} is not a cause of logger/record/causes.py")
    if file.name in _FILES:
        raise ValueError(f"cause {file.name!r} is registered twice")
    _FILES[file.name] = file
    return file


@cache
def all_causes() -> dict[str, CauseFile]:
    """Every cause file of this package, by name, in the contract's order."""
    package = importlib.import_module("analysis.causes")
    for module in pkgutil.iter_modules(package.__path__):
        if module.name != "registry":
            importlib.import_module(f"analysis.causes.{module.name}")
    return {name: _FILES[name] for name in CAUSES if name in _FILES}
