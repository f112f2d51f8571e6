"""Slow causes: is any of them worth telling of today, and how much of it is there.

Flow: recent day vectors, learning.py, causes (effects) -> HERE -> close.py, diagnosis.py.
A generalised likelihood ratio over the last 1, 2, 3 ... days: mean shift against baseline, drift and the days' scatter, in the
direction of each cause. Never: the life of a finding.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.causes.registry import all_causes
from analysis.estimates.effects import FIRST_WATER, FLOW_PLACES, Effect
from analysis.estimates.scatter import GROUPS, Scatter, scatter_of
from analysis.estimates.vector import PLACE
from analysis.learning import Learnt
from analysis.plant import Plant
from analysis.rows import Floats

WINDOWS = (1, 2, 3, 5, 8, 14, 24, 40)
ENOUGH = {1: 25.0, 2: 14.0, 3: 10.0}  # log-likelihood ratio; a single odd day must be very odd
ENOUGH_LONG = (
    8.5  # z of 4.1; with about ten independent looks a month and ten directions, 0.05 false alarms a pump-year
)
NUISANCE_LOOSE = 0.4
BESIDE = (3, 8, 24)  # windows in which a second fault is looked for beside an open one
SCREEN = 2.2  # no entry further off than so many standard deviations: nothing to weigh


@dataclass(frozen=True)
class SlowBench:
    """One site's slow causes: names, forms, and their directions as rows (forms, SIZE)."""

    causes: tuple[str, ...]
    effects: tuple[Effect, ...]
    directions: Floats
    scatter: Scatter
    groups: dict[str, np.ndarray]


@dataclass(frozen=True)
class Shift:
    """The mean shift of one group over one window: places, mean, covariance; days that it holds."""

    group: str
    places: np.ndarray
    mean: Floats
    covariance: Floats
    days: int


@dataclass(frozen=True)
class Alarm:
    """The best explained shift: which form, how much of it, its standard deviation, and the log-likelihood ratio."""

    shift: Shift
    form: int
    amount: float
    std: float
    ratio: float


@lru_cache(maxsize=256)
def slow_bench(plant: Plant) -> SlowBench:
    """Everything about slow causes that a site file decides."""
    causes, effects = [], []
    for name, file in all_causes().items():
        for effect in file.effect(plant) if file.effect else ():
            causes.append(name)
            effects.append(effect)
    directions = np.array([effect.direction for effect in effects])
    groups = {g: np.array([k for k, e in enumerate(effects) if e.group == g], np.int64) for g in GROUPS}
    return SlowBench(tuple(causes), tuple(effects), directions, scatter_of(plant), groups)


def shift_of(
    bench: SlowBench, learnt: Learnt, recent: Floats, group: str, days: int, nuisance: list[tuple[int, float]]
) -> Shift | None:
    """Mean shift of the last `days` vectors from what was learnt; None where they hold nothing of the group.

    nuisance
        Forms already known to be there, with their amounts: their directions are left free.
    """
    places = GROUPS[group]
    part = recent[-days:][:, places] - learnt.mean[places]
    known = ~np.isnan(part)
    counts = known.sum(axis=0)
    if group == "hydraulic" and counts[3:6].any():
        counts[0:3] = 0  # with speed known, flow at given power says nothing more
    keep = counts >= max(1, (days + 2) // 3)
    if not keep.any():
        return None
    mean = np.where(known, part, 0.0).sum(axis=0)[keep] / counts[keep]
    where = places[keep]
    block = np.ix_(where, where)
    scatter = bench.scatter
    covariance = learnt.covariance[block] + scatter.drift[block] + scatter.shared[block] / days
    covariance[np.diag_indices(len(where))] += learnt.day_variance[where] / counts[keep] + learnt.always_there[where]
    for form, amount in nuisance:
        if bench.effects[form].group == group:
            along = bench.directions[form][where] * bench.effects[form].most
            covariance = covariance + np.outer(along, along)
            loose = max(bench.effects[form].loose, NUISANCE_LOOSE) * amount * bench.directions[form][where]
            loose = loose**2
            costs = np.abs(amount * bench.directions[form][FLOW_PLACES]).max()
            loose[where == PLACE["first"]] += (FIRST_WATER * costs) ** 2
            covariance[np.diag_indices(len(where))] += loose
    return Shift(group, where, mean, covariance, days)


def best_alarm(
    bench: SlowBench, learnt: Learnt, recent: Floats, group: str, nuisance: list[tuple[int, float]], known: set[str]
) -> Alarm | None:
    """The most telling shift of a group today, None where nothing is worth telling."""
    found: Alarm | None = None
    for days in _odd_windows(bench, learnt, recent, group):
        if nuisance and days not in BESIDE:
            continue
        moved = shift_of(bench, learnt, recent, group, days, nuisance)
        if moved is None:
            continue
        for alarm in _alarms(bench, moved, known):
            if alarm.ratio >= ENOUGH.get(days, ENOUGH_LONG) and (found is None or alarm.ratio > found.ratio):
                found = alarm
    return found


def _odd_windows(bench: SlowBench, learnt: Learnt, recent: Floats, group: str) -> list[int]:
    """The windows in which some entry by itself lies far off: only these are worth a matrix."""
    places = GROUPS[group]
    part = recent[-WINDOWS[-1] :][::-1, places] - learnt.mean[places]
    known = ~np.isnan(part)
    windows = np.array([w for w in WINDOWS if w <= len(recent)])
    counts = np.cumsum(known, axis=0)[windows - 1]
    sums = np.cumsum(np.where(known, part, 0.0), axis=0)[windows - 1]
    scatter = bench.scatter
    lasting = (learnt.covariance.diagonal() + scatter.drift.diagonal() + learnt.always_there)[places]
    daily = scatter.shared.diagonal()[places] + learnt.day_variance[places]
    with np.errstate(divide="ignore", invalid="ignore"):
        odd = (counts > 0) & (np.abs(sums / counts) > SCREEN * np.sqrt(lasting + daily / counts))
    return [int(w) for w in windows[odd.any(axis=1)]]


def _alarms(bench: SlowBench, moved: Shift, known: set[str]) -> list[Alarm]:
    """Every form whose amount is worth telling, with its ratio; `known` causes are left out."""
    forms = bench.groups[moved.group]
    amounts, stds, ratios = amounts_of(bench, moved, forms)
    found = []
    for place, form in enumerate(forms):
        effect = bench.effects[form]
        if bench.causes[form] in known or not np.isfinite(ratios[place]):
            continue
        if amounts[place] >= effect.least and amounts[place] - stds[place] > 0.4 * effect.least:
            found.append(Alarm(moved, int(form), float(amounts[place]), float(stds[place]), float(ratios[place])))
    return found


def amounts_of(bench: SlowBench, moved: Shift, forms: np.ndarray) -> tuple[Floats, Floats, Floats]:
    """Least-squares amount of each form alone, its standard deviation, and log-likelihood ratio against nothing."""
    directions = bench.directions[forms][:, moved.places]
    weighted = directions @ np.linalg.inv(moved.covariance)
    power = np.einsum("ij,ij->i", weighted, directions)
    told = weighted @ moved.mean
    with np.errstate(divide="ignore", invalid="ignore"):
        amounts = np.where(power > 1e-9, told / power, np.nan)
        most = np.array([bench.effects[form].most for form in forms])
        bounded = np.clip(amounts, 0.0, most)
        ratios = bounded * told - 0.5 * bounded**2 * power
        return amounts, np.where(power > 1e-9, 1.0 / np.sqrt(power), np.nan), ratios


def daily_amounts(learnt: Learnt, recent: Floats, moved: Shift, direction: Floats) -> Floats:
    """How much of one form each recent day shows, by the same weights; NaN where a day has too little of the group."""
    weights = np.linalg.solve(moved.covariance, direction[moved.places])
    part = recent[:, moved.places] - learnt.mean[moved.places]
    along = direction[moved.places] * weights
    have = ~np.isnan(part)
    power = have @ along
    with np.errstate(divide="ignore", invalid="ignore"):
        amount = np.where(have, part, 0.0) @ weights / power
    return np.where(power > 0.3 * along.sum(), amount, np.nan)


def named(moved: Shift) -> dict[str, float]:
    """The shift by name of entry, as figures for the evidence."""
    names = {place: name for name, place in PLACE.items()}
    return {f"shift_{names[int(p)]}": float(m) for p, m in zip(moved.places, moved.mean, strict=True)}
