"""How a slow cause moves the day's vector: a direction, and what it costs.

Flow: bench.py -> causes (effect) -> HERE -> diagnosis.py.
Never: judgement.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.estimates.bench import Bench
from analysis.estimates.lifted import STEPS, lifted
from analysis.estimates.vector import BANDS, HOURS, PLACE, SIZE
from analysis.plant import Plant
from analysis.rows import Floats

__all__ = [
    "Bend",
    "Effect",
    "Plant",
    "as_shown",
    "bent_head",
    "current_of_load",
    "head_shift",
    "relieved",
    "shift",
    "slip_open",
]

FLOW_PLACES = np.array([PLACE[f"{name}{band}"] for name in "qn" for band in range(BANDS)])

AT_FULL = np.array([PLACE[f"{name}{BANDS - 1}"] for name in "qnt"])
"""At high power: there water comes, however much head there is."""

IS_FLOW = np.isin(np.arange(SIZE), FLOW_PLACES)

FIRST_WATER = 0.5  # risers: whatever costs flow blurs the first water, by so much for each unit of log flow lost
FIRST_MOST = 0.7  # risers: a column that has run out down to a hole that may lie anywhere along it
STAND_MOST = 1.0  # of the outlet's height: nothing stands on the gauge
MOST_OF = np.full(SIZE, np.inf)
MOST_OF[[PLACE["first"], PLACE["stand"]]] = FIRST_MOST, STAND_MOST
"""By place, the largest shift that anything makes."""


@dataclass(frozen=True)
class Bend:
    """Where the vector's shift does not go straight with the amount: amounts (k,) from 0 up, shifts (k, SIZE), logs of flow lost (k, 3).

    along: how far each lies along the straight direction at high power (k,), rising.
    """

    amounts: Floats
    shifts: Floats
    lost: Floats
    along: Floats

    def at(self, amount: Floats | float) -> Floats:
        """The shift that an amount makes, (SIZE,), or each of several, (n, SIZE)."""
        upper = np.minimum(np.maximum(self.amounts.searchsorted(amount), 1), len(self.amounts) - 1)
        low, high = self.amounts[upper - 1], self.amounts[upper]
        share = (np.minimum(amount, self.amounts[-1]) - low) / (high - low)
        below = self.shifts[upper - 1]
        return np.asarray(below + share[..., None] * (self.shifts[upper] - below), np.float64)


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
        Standard uncertainty of the shift per unit of amount, beside `loose`: entries that it may move or not, each by itself. (SIZE,)
    unknowns
        Numbers of the cause's own that nobody knows, as how much less a worn rotor rubs: what a standard deviation of each shifts per unit
        of amount, all its entries together. (SIZE,) each
    rate
        Share of this form among the cause's forms.
    by_work
        It mostly begins with somebody's work on the pump, its leads or its controller.
    usual
        Half of such cases stay below this amount; 0 = not known.
    bend
        Where a straight line is not good enough: `direction` is then the line through what `usual` does.
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
    unknowns: tuple[Floats, ...] = ()
    by_work: bool = False
    usual: float = 0.0
    bend: Bend | None = None

    @cached_property
    def moved(self) -> np.ndarray:
        """The places of the vector that it shifts; bool (SIZE,)."""
        bent = False if self.bend is None else (self.bend.shifts != 0.0).any(axis=0)
        return (self.direction != 0.0) | bent

    def share_lost(self, amounts: Floats, share: Floats) -> Floats:
        """Share of the day's water (or energy) that each amount costs; `share` by band. (n,) -> (n,)"""
        logs = np.outer(amounts, self.lost)
        if self.bend is not None:
            logs = np.array([np.interp(amounts, self.bend.amounts, by_band) for by_band in self.bend.lost.T]).T
        lost = np.clip(-logs, 0.0, 0.97) if self.curved else 1.0 - np.exp(logs)
        return lost @ share

    def true_amount(self, linear: Floats) -> Floats:
        """From an amount found along the straight direction to the one that makes it, at high power."""
        if self.bend is not None:
            return np.asarray(np.interp(linear, self.bend.along, self.bend.amounts), np.float64)
        if not self.curved:
            return linear
        high = -self.lost[-1]
        return (1.0 - np.exp(-high * linear)) / high


def as_shown(shifts: Floats, places: np.ndarray, curved: np.ndarray) -> Floats:
    """Shifts (n, places) as the vector shows them: no more than there can be, and as a log where a row is `curved`, bool[n]."""
    shown = np.minimum(shifts, MOST_OF[places])
    if curved.any():
        lost = shown[curved]
        shown[curved] = np.where(IS_FLOW[places], np.log1p(np.maximum(lost, -0.97)), lost)
    return shown


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


def current_of_load(plant: Plant) -> float:
    """How much of a load's growth the motor's current shows: a permanent magnet's grows with it, an induction motor's less (common practice, no source)."""
    return 1.0 if plant.current_known else 0.7


def head_shift(plant: Plant, bench: Bench, extra_m: Floats, measured: bool) -> dict[str, Floats]:
    """What extra head (m, by band) does to flow, power and current; nothing where the engine's expectation knows of it."""
    if measured:
        return {}
    torque = bench.power_per_head * extra_m
    return {
        "q": bench.flow_per_head_at_power * extra_m,
        "n": bench.flow_per_head * extra_m,
        "t": torque,
        "i": current_of(plant, torque),
    }


MAGNETISED, IMPELLER = 0.7, 0.5
"""Log of the motor's current for each unit of log of torque: near half of an induction motor's at full load magnetises it and stays;
impellers mostly have such a motor, and take little load at low speed (common practice, no source)."""
NOTHING_MAGNETISED = ("permanent-magnet", "brushed-dc")


def current_of(plant: Plant, torque: Floats) -> Floats:
    """Log of the motor current for a log of torque: as much in a permanent magnet's, less where a part of the current only magnetises."""
    if plant.facts.motor.kind in NOTHING_MAGNETISED:
        return torque
    if not plant.helical:
        return IMPELLER * torque
    return MAGNETISED * torque if plant.facts.motor.kind == "induction" else torque


MORE_HEAD = 3.0
"""Friction falls with the flow that it takes: of the head that a straight line needs for the largest loss, so many times more."""


def bent_head(
    plant: Plant, law: str, metres: float, most: float, usual: float, by_loss: bool = False, **others: Floats | float
) -> tuple[Bend, Floats, Floats]:
    """How an extra head of `law` (lifted.py), so many metres a unit of amount at the healthy flow of high power, moves the vector.

    by_loss
        The amount is the log of the flow lost at high power, and `metres` what a first small unit of it takes.
    others
        Named entries that go straight with the amount, as `shift`.

    Returns
    -------
    Bend; its straight direction (SIZE,) and logs of flow lost (3,), both a unit of amount, through what `usual` does.
    """
    solved = lifted(plant, law, metres * most * (MORE_HEAD if by_loss else 1.0))
    amounts, straight = most * STEPS, shift(**others)
    if by_loss:
        amounts = np.maximum.accumulate(-solved.q[:, -1]) + 1e-9 * np.arange(len(STEPS))
    current = current_of(plant, solved.t)
    rows = [
        shift(q=q, n=n, t=t, i=i) + amount * straight
        for q, n, t, i, amount in zip(solved.q, solved.n, solved.t, current, amounts, strict=True)
    ]
    shifts = np.array(rows)
    through = Bend(amounts, shifts, solved.q, amounts).at(usual) / usual
    felt = (through - straight)[AT_FULL]
    along = (shifts - amounts[:, None] * straight)[:, AT_FULL] @ felt / max(float(felt @ felt), 1e-12)
    along = np.maximum.accumulate(along)
    lost = np.array([np.interp(usual, amounts, by_band) for by_band in solved.q.T]) / usual
    return Bend(amounts, shifts, solved.q, along + 1e-9 * np.arange(len(along))), through, lost


RELIEF_AT = (
    0.25  # of the full flow: the loss at which the head that goes with it is taken, for friction goes with its square
)


def relieved(plant: Plant, bench: Bench, lost_m3_h: float, of_well: float, of_riser: float) -> Floats:
    """Log of the torque that a sound pump is spared at given speed where less water is lifted: less drawdown, less friction.

    A displacement pump turns lighter against less head; impellers move more and mostly take more, so that theirs rises.

    lost_m3_h
        Flow that is missing, at all powers alike. [m3/h]
    of_well, of_riser
        Shares of the drawdown and of the riser's friction that go with it: all of it where the pump lifts less, none of the drawdown
        where the water is lifted and runs out. Level and gauge tell the engine of their own parts.

    Returns
    -------
    By band (3,), for the whole of that flow; below 0.
    """
    if not plant.helical:
        return np.zeros(BANDS)
    system = plant.system
    most = bench.flow_m3_h
    least = np.maximum(most - RELIEF_AT * lost_m3_h, 0.0)
    metres = of_riser * (system.riser_loss_m(most) - system.riser_loss_m(least))
    if "water_level_m" not in plant.has:
        metres = metres + of_well * (system.drawdown_m(most) - system.drawdown_m(least))
    if "discharge_pressure_bar" not in plant.has:
        metres = metres + system.pipe_loss_m(most) - system.pipe_loss_m(least)
    return np.asarray(-bench.power_per_head * metres / RELIEF_AT, np.float64)


SLIP_OPEN = 0.5
"""How far a helical rotor's slip per metre is open, as its share: the fit between rotor and stator is one of several that are sold,
and changes with warmth (common practice, no source)."""


def slip_open(plant: Plant, bench: Bench, extra_m: Floats) -> Floats:
    """What extra head (m, by band) leaves open of the flow at given speed, beside `head_shift`; nothing at impellers. (SIZE,)"""
    if not plant.helical:
        return np.zeros(SIZE)
    open_ = SLIP_OPEN * bench.flow_per_head * extra_m
    return shift(n=open_, q=open_)
