"""How a slow cause moves the day's vector: a direction, and what it costs.

Flow: bench.py -> causes (effect) -> HERE -> diagnosis.py.
Never: judgement.
"""

from dataclasses import dataclass

import numpy as np

from analysis.estimates.bench import Bench
from analysis.estimates.vector import BANDS, HOURS, PLACE, SIZE
from analysis.plant import Plant
from analysis.rows import Floats

__all__ = ["Effect", "Plant", "head_shift", "shift", "slip_open"]

FLOW_PLACES = np.array([PLACE[f"{name}{band}"] for name in "qn" for band in range(BANDS)])

IS_FLOW = np.isin(np.arange(SIZE), FLOW_PLACES)

FIRST_WATER = 0.3  # risers: whatever costs flow blurs the first water, by so much for each unit of log flow lost
FIRST_MOST = 0.7  # risers: a column that has run out down to a hole that may lie anywhere along it
STAND_MOST = 1.0  # of the outlet's height: nothing stands on the gauge
BOUNDED = {"first": FIRST_MOST, "stand": STAND_MOST}


@dataclass(frozen=True)
class Effect:
    """One form of a cause. `direction` is the shift of the vector per unit of `amount` (SIZE,).

    amount
        What the unit is, in the words of the size; the most likely amounts lie below `most`.
    least
        The smallest amount worth telling people of.
    lost
        Log of the flow lost at given power per unit, by band; zeros where it costs no flow. For array causes the log of
        array power lost, in the same three places.
    loose
        How far the direction is believed: each entry's relative standard uncertainty.
    curved
        `lost` is a share of the flow, not a log.
    sudden
        How often it comes at once rather than grows, of ten cases so many tenths.
    blur
        Standard uncertainty of the shift per unit of amount, beside `loose`: entries that it may move or not. (SIZE,)
    rate
        Share of this form among the cause's forms.
    by_work
        It mostly begins with somebody's work on the pump, its leads or its controller.
    usual
        Half of such cases stay below this amount; 0 = not known.
    """

    part: str | None
    direction: Floats
    least: float
    most: float
    lost: Floats
    loose: float = 0.3
    sudden: float = 0.3
    rate: float = 1.0
    channel: str | None = None
    fixed: tuple[float, ...] = ()
    group: str = "hydraulic"
    curved: bool = False
    blur: Floats | None = None
    by_work: bool = False
    usual: float = 0.0

    def share_lost(self, amounts: Floats, share: Floats) -> Floats:
        """Share of the day's water (or energy) that each amount costs; `share` by band. (n,) -> (n,)"""
        logs = np.outer(amounts, self.lost)
        lost = np.clip(-logs, 0.0, 0.97) if self.curved else 1.0 - np.exp(logs)
        return lost @ share

    def true_amount(self, linear: Floats) -> Floats:
        """From an amount found along the straight direction to the one that makes it, at high power."""
        if not self.curved:
            return linear
        high = -self.lost[-1]
        return (1.0 - np.exp(-high * linear)) / high


def shift(**by_name: Floats | float) -> Floats:
    """A direction from named entries: a banded name takes three values or one, `s` takes twelve or one."""
    direction = np.zeros(SIZE)
    for name, value in by_name.items():
        if name in PLACE:
            direction[PLACE[name]] = value
        else:
            width = HOURS if name == "s" else 2 if name in ("av", "ai") else BANDS
            first = PLACE[f"{name}0"]
            direction[first : first + width] = value
    return direction


def head_shift(plant: Plant, bench: Bench, extra_m: Floats, measured: bool) -> dict[str, Floats]:
    """What extra head (m, by band) does to flow, power and current; nothing where the engine's expectation knows of it."""
    if measured:
        return {}
    torque = bench.power_per_head * extra_m
    return {
        "q": bench.flow_per_head_at_power * extra_m,
        "n": bench.flow_per_head * extra_m,
        "t": torque,
        "i": torque if plant.helical else 0.5 * torque,
    }


SLIP_OPEN = 0.5
"""How far a helical rotor's slip per metre is open, as its share: the fit between rotor and stator is one of several that are sold,
and changes with warmth (common practice, no source)."""


def slip_open(plant: Plant, bench: Bench, extra_m: Floats) -> Floats:
    """What extra head (m, by band) leaves open of the flow at given speed, beside `head_shift`; nothing at impellers. (SIZE,)"""
    if not plant.helical:
        return np.zeros(SIZE)
    open_ = SLIP_OPEN * bench.flow_per_head * extra_m
    return shift(n=open_, q=open_)
