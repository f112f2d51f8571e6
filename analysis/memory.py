"""What the engine remembers of a site between closed days: small, without rows, to bytes and back exactly.

Flow: pipeline.py carries it from close to close; diagnosis.py and life.py write it.
Never: rows; anything that depends on how the rows were cut into blocks.
"""

import json
import zlib
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, fields
from typing import Any, TypeVar, cast

import numpy as np

from analysis.summary import DaySummary

T = TypeVar("T")

VERSION = 4
"""Of the layout below. A state of another version is refused: the site runs again from its rows."""


class StateError(ValueError):
    """The bytes are not a state of this engine, or of another site file."""


@dataclass
class Case:
    """One thing wrong, as the engine carries it; `as_finding` is what others see.

    `family`: which competing causes it is weighed among; a family has one open case at a time (per channel).
    `seen_ms`: the last instant with evidence for it. `healthy`: sunny days in band since then.
    `figures`: the numbers behind the evidence sentence. `weighed`: sums from which the shares are made again.
    """

    family: str
    cause: str
    first_cause: str
    flagged_ms: int
    number: int
    began_ms: int
    seen_ms: int
    ended_ms: int | None = None
    part: str | None = None
    channel: str | None = None
    confidence: float = 0.0
    rivals: dict[str, float] = field(default_factory=dict)
    size: list[float] | None = None
    water_lost_m3: float | None = None
    hours: float = 0.0
    healthy: float = 0.0
    revision: int = 1
    evidence: str = ""
    figures: dict[str, float] = field(default_factory=dict)
    weighed: dict[str, float] = field(default_factory=dict)

    def copied(self) -> "Case":
        """A case of its own, so that a saved memory never changes."""
        own = object.__new__(Case)
        own.__dict__.update(self.__dict__)
        own.rivals, own.figures, own.weighed = dict(self.rivals), dict(self.figures), dict(self.weighed)
        own.size = None if self.size is None else list(self.size)
        return own


WAITS = "waits"
"""In a case's numbers while nobody is told of it (not_yet_told.py)."""


def waits(case: Case) -> bool:
    """Whether nobody is told of it yet."""
    return WAITS in case.weighed


@dataclass
class Memory:
    """Everything that the next day's judgement needs.

    `day`: the last closed one, None before the first. `first_ms`: the first reading ever, None before it.
    `arrays` and `numbers`: what estimates and baseline keep, by name.
    """

    day: int | None = None
    first_ms: int | None = None
    last_heard_ms: int | None = None
    rows: int = 0
    daylight_h: float = 0.0
    heard_h: float = 0.0
    dropped: dict[str, int] = field(default_factory=lambda: {"duplicate": 0, "conflicting": 0, "unreadable": 0})
    cases: list[Case] = field(default_factory=list)
    days: list[DaySummary] = field(default_factory=list)
    arrays: dict[str, np.ndarray] = field(default_factory=dict)
    numbers: dict[str, float] = field(default_factory=dict)

    def worked_out(self, name: str, what: str, work: Callable[[], T]) -> T:
        """What `work` makes of `arrays[name]` under the name of `what`: kept, never saved, until another array stands there."""
        kept: dict[str, tuple[np.ndarray, Any]] = self.__dict__.setdefault("_worked_out", {})
        source, found = self.arrays[name], kept.get(what)
        if found is None or found[0] is not source:
            found = kept[what] = source, work()
        return cast("T", found[1])

    def copied(self) -> "Memory":
        """A memory of its own; arrays are shared, for nobody writes into one."""
        own = object.__new__(Memory)
        own.__dict__.update(self.__dict__)
        own.dropped, own.cases, own.days = dict(self.dropped), [case.copied() for case in self.cases], list(self.days)
        own.arrays, own.numbers = dict(self.arrays), dict(self.numbers)
        own.__dict__["_worked_out"] = dict(self.__dict__.get("_worked_out", {}))
        return own

    def dumps(self, digest: str, engine: int) -> bytes:
        """To bytes; `digest` names the site file that it was made with, `engine` the version that judged."""
        whole: dict[str, Any] = {item.name: getattr(self, item.name) for item in fields(self)}
        whole["cases"] = [asdict(case) for case in self.cases]
        whole["days"] = [asdict(day) for day in self.days]
        whole["arrays"] = {name: _listed(array) for name, array in self.arrays.items()}
        return zlib.compress(json.dumps({"version": VERSION, "engine": engine, "digest": digest, **whole}).encode(), 6)


def loads_memory(data: bytes, digest: str, engine: int) -> Memory:
    """Back from `dumps`. StateError: not ours, of another layout or engine, or of another site file.

    What another engine learnt and found does not go on under this one: findings are a function of the rows and one engine.
    """
    try:
        whole = json.loads(zlib.decompress(data))
        version, judged_by = whole.pop("version"), whole.pop("engine", None)
        made_with = whole.pop("digest")
    except (zlib.error, ValueError, KeyError, AttributeError) as error:
        raise StateError(f"not a state of this engine: {error}") from error
    if version != VERSION:
        raise StateError(
            f"a state of version {version}; this engine reads version {VERSION}: run the site from its rows"
        )
    if judged_by != engine:
        by = "an engine that did not say which" if judged_by is None else f"engine {judged_by}"
        raise StateError(f"judged by {by}, and this is engine {engine}: run the site from its rows")
    if made_with != digest:
        raise StateError("made with another site file: run the site from its rows")
    whole["cases"] = [Case(**case) for case in whole["cases"]]
    whole["days"] = [DaySummary(**day) for day in whole["days"]]
    whole["arrays"] = {
        name: np.array(data, kind).reshape(shape) for name, (kind, shape, data) in whole["arrays"].items()
    }
    return Memory(**whole)


def _listed(array: np.ndarray) -> tuple[str, list[int], list]:
    return str(array.dtype), list(array.shape), array.ravel().tolist()
