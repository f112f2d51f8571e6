"""The shape of a finding: what is wrong, since when, how bad, how sure, what to check first.

Flow: analysis/diagnosis.py makes it, store, topics, API and pages carry it unchanged.
Never: how it is judged.
"""

from dataclasses import asdict, dataclass, field
from typing import Any

ALWAYS = (
    "id", "revision", "cause", "first_cause", "part", "channel", "began", "flagged", "ended", "confidence", "also_possible",
    "size", "water_lost_m3", "evidence", "check",
)  # fmt: skip
WHERE_SET = ("withdrawn", "raised", "outside")


@dataclass(frozen=True)
class Size:
    """How bad, with its 95 % interval; quantity and unit as the cause's table says."""

    quantity: str
    value: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class Rival:
    """Another cause that the same figures allow, with its share of the one distribution."""

    cause: str
    confidence: float


@dataclass(frozen=True)
class Finding:
    """One thing wrong at one site. Times are ISO 8601, UTC, ending in Z.

    `flagged` is the time of the last reading that the finding needed; `began` may be estimated
    backwards; `ended` is None while it lasts. `withdrawn` holds the reason where late readings disproved
    a finding that people were told of. `raised` (live only) is when they were told.
    """

    id: str
    cause: str
    first_cause: str
    began: str
    flagged: str
    confidence: float
    evidence: str
    check: str
    revision: int = 1
    part: str | None = None
    channel: str | None = None
    ended: str | None = None
    also_possible: tuple[Rival, ...] = ()
    size: Size | None = None
    water_lost_m3: float | None = None
    withdrawn: str | None = None
    raised: str | None = None
    outside: dict[str, Any] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """The JSON object, its keys in the order in which people read them; those of WHERE_SET only where set."""
        whole = asdict(self)
        whole["also_possible"] = [asdict(rival) for rival in self.also_possible]
        return {key: whole[key] for key in ALWAYS} | {key: whole[key] for key in WHERE_SET if whole[key]}

    @classmethod
    def from_dict(cls, given: dict[str, Any]) -> "Finding":
        """Back from `as_dict`. TypeError or KeyError: not a finding."""
        size = given.get("size")
        return cls(
            **{
                **given,
                "size": Size(**size) if size else None,
                "also_possible": tuple(Rival(**rival) for rival in given.get("also_possible", ())),
            }
        )
