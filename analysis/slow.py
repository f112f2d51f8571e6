"""Slow causes: is any of them worth telling of today, and how much of it is there.

Flow: recent day vectors, learning.py, causes (effects) -> HERE -> close.py, diagnosis.py.
A generalised likelihood ratio over the last 1, 2, 3 ... days: mean shift against baseline, drift and the days' scatter, in the
direction of each cause. Never: the life of a finding.
"""

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from analysis.by_form import ByForm, by_form
from analysis.causes.registry import all_causes
from analysis.estimates.effects import FIRST_WATER, FLOW_PLACES, Effect, as_shown
from analysis.estimates.scatter import GROUPS, TELL_ALONE, Scatter, scatter_of
from analysis.estimates.vector import NAMES, PLACE, last_days
from analysis.learning import Learnt
from analysis.meter import METERS
from analysis.plant import Plant
from analysis.rows import Floats

WINDOWS = (1, 2, 3, 5, 8, 14, 24, 40)
ENOUGH = {1: 25.0, 2: 14.0, 3: 10.0}  # log-likelihood ratio; a single odd day must be very odd
ENOUGH_LONG = (
    8.5  # z of 4.1; with about ten independent looks a month and ten directions, 0.05 false alarms a pump-year
)
ENOUGH_NEW, ENOUGH_NEW_FLOW = 5.5, 4.0
"""The same of a pump hardly known, over windows in which the days' own scatter no longer counts: what it is compared with was drawn
once, by its tolerances, so that it gets one look, not ten a month: z of 3.3, and of 2.8 for what costs flow, whose tolerance a standard
names; how deep a level rests and how stiff a pump turns at low sun, a site file says less well. Not of an array: its first days stand under
a sky that is not drawn once."""
FLOW_LOST = ("worn-pump", "riser-leak", "clogging", "reverse-rotation")
HARDLY_KNOWN = 3.0  # sunny days learnt
NUISANCE_LOOSE = 0.4
SURELY_LESS = 0.99  # of what is enough: rounding takes nothing of the hundredth
BESIDE = (3, 8, 24)  # windows in which a second fault is looked for beside an open one
EVERY = np.concatenate(list(GROUPS.values()))
GROUP_OF = np.repeat(np.array(list(GROUPS)), [len(places) for places in GROUPS.values()])
"""All places that are weighed, and the group of each."""
_ENDS = np.cumsum([0, *(len(places) for places in GROUPS.values())]).tolist()
COLUMNS_OF = {group: slice(*ends) for group, *ends in zip(GROUPS, _ENDS[:-1], _ENDS[1:], strict=True)}
"""Where each group's places stand among `EVERY`."""
EVERY_WINDOW, ARE_BESIDE = np.array(WINDOWS), np.array([window in BESIDE for window in WINDOWS])
TELLS_ENOUGH = 0.3  # of what all entries together tell of a cause
SCREEN = 2.2  # no entry further off than so many standard deviations: nothing to weigh


@dataclass(frozen=True)
class GroupForms:
    """One group's forms at its places: directions (forms, places), amounts (forms,); drift and shared covariance (places, places)."""

    directions: Floats
    least: Floats
    most: Floats
    drift: Floats
    shared: Floats


@dataclass(frozen=True)
class SlowBench:
    """One site's slow causes: names, forms, and their directions as rows (forms, SIZE). `setting_read`: a channel says to what speed a hand set it."""

    causes: tuple[str, ...]
    effects: tuple[Effect, ...]
    directions: Floats
    scatter: Scatter
    groups: dict[str, np.ndarray]
    setting_read: bool = False

    @cached_property
    def least(self) -> Floats:
        """By form, the smallest amount worth telling."""
        return np.array([effect.least for effect in self.effects])

    @cached_property
    def most(self) -> Floats:
        """By form, the largest likely amount."""
        return np.array([effect.most for effect in self.effects])

    @cached_property
    def loose(self) -> Floats:
        """By form, how far its direction is believed."""
        return np.array([effect.loose for effect in self.effects])

    @cached_property
    def by_form(self) -> ByForm:
        return by_form(self.causes, self.effects)

    @cached_property
    def of_group(self) -> dict[str, "GroupForms"]:
        """By group, what its forms do to its places."""
        found = {}
        for group, forms in self.groups.items():
            places = GROUPS[group]
            block = places[:, None], places
            found[group] = GroupForms(
                self.directions[forms[:, None], places],
                self.least[forms],
                self.most[forms],
                self.scatter.drift[block],
                self.scatter.shared[block],
            )
        return found

    @cached_property
    def lasting(self) -> Floats:
        """By place of `EVERY`, variance of a sound installation about what was learnt, for weeks."""
        return self.scatter.drift.diagonal()[EVERY]

    @cached_property
    def daily(self) -> Floats:
        """Likewise what a day's places have in common."""
        return self.scatter.shared.diagonal()[EVERY]

    @cached_property
    def costs_flow(self) -> np.ndarray:
        """By form, whether it is flow alone that is lost, or a meter says so; bool (forms,). How late the first water comes proves no loss."""
        named = zip(self.causes, self.effects, strict=True)
        may = np.array([cause in FLOW_LOST or effect.channel in METERS for cause, effect in named])
        late = self.directions[:, [PLACE["first"], PLACE["stand"]]] != 0.0
        return np.asarray(may & (self.directions[:, FLOW_PLACES] != 0.0).any(axis=1) & ~late.any(axis=1))

    def enough_new(self, forms: np.ndarray) -> Floats:
        """By form, the log-likelihood ratio that is enough of a pump hardly known."""
        return np.where(self.costs_flow[forms], ENOUGH_NEW_FLOW, ENOUGH_NEW)

    @cached_property
    def moves(self) -> np.ndarray:
        """By form, which places of the vector it shifts; bool (forms, SIZE)."""
        return np.array([effect.moved for effect in self.effects])

    @cached_property
    def _curved(self) -> np.ndarray:
        return np.array([effect.curved for effect in self.effects])

    def explained(self, forms: list[int], amounts: Floats, places: np.ndarray) -> Floats:
        """The shift at `places` that each amount of its form makes, one row each; where curved, a share of the flow is lost; where it
        bends, as solved."""
        which = np.asarray(forms, np.int64)
        linear = amounts[:, None] * self.directions[which[:, None], places]
        for form in set(forms):
            bend = self.effects[form].bend
            if bend is not None:
                linear[which == form] = bend.at(amounts[which == form])[:, places]
        return as_shown(linear, places, self._curved[which])


@dataclass(frozen=True)
class Shift:
    """The mean shift of one group over one window: places, mean, covariance; days that it holds."""

    group: str
    places: np.ndarray
    mean: Floats
    covariance: Floats
    days: int

    @cached_property
    def inverse(self) -> np.ndarray:
        """Of the covariance."""
        return np.linalg.inv(self.covariance)


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
    read = "speed_setting_pct" in plant.has
    return SlowBench(tuple(causes), tuple(effects), directions, scatter_of(plant), groups, read)


def shift_of(
    bench: SlowBench, learnt: Learnt, recent: Floats, group: str, days: int, nuisance: list[tuple[int, float]]
) -> Shift | None:
    """Mean shift of the last `days` vectors from what was learnt; None where they hold nothing of the group.

    nuisance
        Forms already known to be there, with their amounts: their directions are left free.
    """
    windows = np.array([days])
    counts, sums = _counted(learnt, recent, GROUPS[group], windows)
    return _shifts(bench, learnt, group, windows, counts, sums, nuisance).one(0)


@dataclass(frozen=True)
class _Shifts:
    """Shifts of one group over several windows: `keep` and `mean` (windows, places), `covariance` (windows, places, places).

    A place that is not kept has the mean 0, and in the covariance 1 by itself.
    """

    group: str
    windows: np.ndarray
    keep: np.ndarray
    mean: Floats
    covariance: Floats

    def most_told(self) -> Floats:
        """By window, the log-likelihood ratio of the best direction that there could be: no form's is larger (Cauchy and Schwarz)."""
        along = np.linalg.solve(self.covariance, self.mean[:, :, None])[:, :, 0]
        return np.asarray(0.5 * (self.mean * along).sum(axis=1), np.float64)

    def one(self, row: int) -> Shift | None:
        """One window's, of the places that it keeps."""
        kept = np.flatnonzero(self.keep[row])
        if not len(kept):
            return None
        covariance = self.covariance[row][kept[:, None], kept]
        return Shift(self.group, GROUPS[self.group][kept], self.mean[row, kept], covariance, int(self.windows[row]))


def _counted(learnt: Learnt, recent: Floats, places: np.ndarray, windows: np.ndarray) -> tuple[Floats, Floats]:
    """How many of the last days of each window have each place, and the sum of their shifts; (windows, places) each."""
    part = recent[-int(windows[-1]) :].take(places, axis=1) - learnt.mean[places]
    known, within = part == part, last_days(len(part), tuple(windows.tolist()))
    both = within @ np.concatenate([known, np.where(known, part, 0.0)], axis=1)
    return both[:, : len(places)], both[:, len(places) :]


@dataclass(frozen=True)
class Windows:
    """The last days of today's windows, at all places of `EVERY`: how many have each, the sum of their shifts, where that lies far off.

    (windows, places) each, but `windows`, which says how many days each holds.
    """

    windows: np.ndarray
    counts: Floats
    sums: Floats
    odd: np.ndarray

    @property
    def odd_groups(self) -> set[str]:
        """The groups in which some entry lies far off over some window: `best_alarm` has nothing to say of another."""
        return set(GROUP_OF[self.odd.any(axis=0)].tolist()) if self.odd.any() else set()

    def of(self, group: str, days: int) -> "Windows":
        """Those of one group, no longer than `days`."""
        rows, columns = slice(0, bisect_right(WINDOWS, days)), COLUMNS_OF[group]
        return Windows(
            self.windows[rows], self.counts[rows, columns], self.sums[rows, columns], self.odd[rows, columns]
        )


def windows_of(bench: SlowBench, learnt: Learnt, recent: Floats) -> Windows:
    """Today's windows."""
    windows = EVERY_WINDOW[: bisect_right(WINDOWS, len(recent))]
    counts, sums = _counted(learnt, recent, EVERY, windows)
    return Windows(windows, counts, sums, _odd(bench, learnt, counts, sums))


def _shifts(
    bench: SlowBench, learnt: Learnt, group: str, windows: np.ndarray, counts: Floats, sums: Floats,
    nuisance: list[tuple[int, float]],
) -> _Shifts:  # fmt: skip
    """All windows of one group at once: a matrix by itself costs more in calls than in sums."""
    places = GROUPS[group]
    if group == "hydraulic":
        counts = counts.copy()
        counts[counts[:, 3:6].any(axis=1), 0:3] = 0  # with speed known, flow at given power says nothing more
    keep = counts >= np.maximum(1, (windows + 2) // 3)[:, None]
    counted = np.where(keep, counts, 1)
    of_group = bench.of_group[group]
    covariance, daily, always = learnt.of_group(group)
    lasting, diagonal = covariance + of_group.drift, daily / np.minimum(counted, TELL_ALONE[places]) + always
    for form, amount in nuisance:
        effect = bench.effects[form]
        if effect.group == group:
            direction = effect.direction[places]
            along = direction * effect.most
            lasting += along[:, None] * along
            loose = (max(effect.loose, NUISANCE_LOOSE) * amount * direction) ** 2
            if effect.blur is not None:
                loose += (amount * effect.blur[places]) ** 2
            unknowns = amount * bench.by_form.unknowns[form][:, places]
            lasting += unknowns.T @ unknowns
            costs = np.abs(amount * effect.direction[FLOW_PLACES]).max()
            loose[places == PLACE["first"]] += (FIRST_WATER * costs) ** 2
            diagonal += loose
    covariance = np.where(keep[:, :, None] & keep[:, None, :], lasting + of_group.shared / windows[:, None, None], 0.0)
    every = np.arange(len(places))
    covariance[:, every, every] += np.where(keep, diagonal, 1.0)
    return _Shifts(group, windows, keep, np.where(keep, sums / counted, 0.0), covariance)


def is_new(learnt: Learnt, group: str) -> bool:
    """Whether it is a pump that is hardly known: what it is compared with are the site file and its tolerances."""
    return bool(group == "hydraulic" and learnt.most_days[group] < HARDLY_KNOWN)


def best_alarm(
    bench: SlowBench, learnt: Learnt, recent: Floats, group: str, nuisance: list[tuple[int, float]], known: set[str],
    today: Windows | None = None, least_ratio: float = 0.0,
) -> Alarm | None:  # fmt: skip
    """The most telling shift of a group today, None where nothing is worth telling.

    today: of these days or more of them; None = not worked out yet. least_ratio: where none can be as large, the forms are not weighed.
    """
    looks = (windows_of(bench, learnt, recent) if today is None else today).of(group, len(recent))
    odd = np.asarray(looks.odd.any(axis=1))
    if nuisance:
        odd &= ARE_BESIDE[: len(odd)]
    if not odd.any():
        return None
    moved = _shifts(bench, learnt, group, looks.windows[odd], looks.counts[odd], looks.sums[odd], nuisance)
    forms, of_group = bench.groups[group], bench.of_group[group]
    lasting = bench.enough_new(forms) if is_new(learnt, group) else np.full(len(forms), ENOUGH_LONG)
    brief = np.array([ENOUGH.get(int(days), 0.0) for days in moved.windows])
    enough = np.where(brief[:, None] > 0.0, brief[:, None], lasting)
    if not (moved.most_told() > SURELY_LESS * np.maximum(enough.min(axis=1), least_ratio)).any():
        return None
    amounts, stds, ratios = _weighed(of_group, moved)
    with np.errstate(invalid="ignore"):
        told = (ratios >= enough) & (amounts >= of_group.least) & (amounts - stds > 0.4 * of_group.least)
    told &= np.array([bench.causes[form] not in known for form in forms])
    if not told.any():
        return None
    row, place = np.unravel_index(int(np.argmax(np.where(told, ratios, -np.inf))), told.shape)
    shift = moved.one(int(row))
    if shift is None:
        return None
    amount, std, ratio = (float(figures[row, place]) for figures in (amounts, stds, ratios))
    return Alarm(shift, int(forms[place]), amount, std, ratio)


def _odd(bench: SlowBench, learnt: Learnt, counts: Floats, sums: Floats) -> np.ndarray:
    """Where an entry by itself lies far off over a window: only these windows are worth a matrix. bool (windows, places)"""
    lasting, daily = _variances(bench, learnt)
    days = np.maximum(counts, 1)
    return np.asarray(np.abs(sums) > SCREEN * days * np.sqrt(lasting + daily / days))


def _variances(bench: SlowBench, learnt: Learnt) -> tuple[Floats, Floats]:
    """By place of `EVERY`, of what was learnt, for weeks and of a day; worked out once as long as nothing more is learnt."""
    if (kept := learnt.__dict__.get("_variances")) is None or kept[0] is not bench:
        lasting = learnt.covariance.diagonal()[EVERY] + bench.lasting + learnt.always_there[EVERY]
        kept = learnt.__dict__["_variances"] = bench, lasting, bench.daily + learnt.day_variance[EVERY]
    return kept[1], kept[2]


def amounts_of(bench: SlowBench, moved: Shift, forms: np.ndarray) -> tuple[Floats, Floats, Floats]:
    """Least-squares amount of each form alone, its standard deviation, and log-likelihood ratio against nothing."""
    return _least_squares(bench.directions[forms[:, None], moved.places], bench.most[forms], moved.mean, moved.inverse)


def _weighed(of_group: GroupForms, moved: _Shifts) -> tuple[Floats, Floats, Floats]:
    """`amounts_of` all forms of a group, by window. (windows, forms) each."""
    directions = of_group.directions * moved.keep[:, None, :]
    return _least_squares(directions, of_group.most, moved.mean, np.linalg.inv(moved.covariance))


def _least_squares(
    directions: Floats, most: Floats, mean: Floats, inverse: np.ndarray
) -> tuple[Floats, Floats, Floats]:
    weighted = directions @ inverse
    power = (weighted * directions).sum(axis=-1)
    told = (weighted @ mean[..., None])[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        amounts = np.where(power > 1e-9, told / power, np.nan)
        bounded = np.minimum(np.maximum(amounts, 0.0), most)
        ratios = bounded * told - 0.5 * bounded**2 * power
        return amounts, np.where(power > 1e-9, 1.0 / np.sqrt(power), np.nan), ratios


def daily_amounts(
    learnt: Learnt, recent: Floats, moved: Shift, direction: Floats, enough: float = TELLS_ENOUGH
) -> Floats:
    """How much of one form each recent day shows, by the same weights; NaN where a day has less than `enough` of the group."""
    weights = np.linalg.solve(moved.covariance, direction[moved.places])
    part = recent[:, moved.places] - learnt.mean[moved.places]
    along = direction[moved.places] * weights
    have = ~np.isnan(part)
    power = have @ along
    with np.errstate(divide="ignore", invalid="ignore"):
        amount = np.where(have, part, 0.0) @ weights / power
    return np.where(power > enough * along.sum(), amount, np.nan)


def named(moved: Shift) -> dict[str, float]:
    """The shift by name of entry, as figures for the evidence."""
    return {f"shift_{NAMES[p]}": m for p, m in zip(moved.places.tolist(), moved.mean.tolist(), strict=True)}
