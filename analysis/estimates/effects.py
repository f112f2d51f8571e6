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

__all__ = ["Effect", "Plant", "head_shift", "shift"]


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
    steps
        True where it comes at once rather than grows.
    rate
        Share of this form among the cause's forms.
    """

    part: str | None
    direction: Floats
    least: float
    most: float
    lost: Floats
    loose: float = 0.3
    steps: bool = False
    rate: float = 1.0
    channel: str | None = None
    fixed: tuple[float, ...] = ()
    group: str = "hydraulic"


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
