"""What does not look like healthy running: fit on healthy rows, score others, say which channel departed.

Usable alone on any frame of channels; departures.py asks it which channel left the others behind an `unexplained`.
Each channel is told from the others by curved terms (splines and products), robustly fitted; how far it may lie from that is
learnt on rows held out by blocks of time, so that no form of the pump's curve or of the noise is assumed. Never: causes.

    >>> import numpy as np
    >>> rng = np.random.default_rng(0)
    >>> power = rng.uniform(200, 1500, 2000)
    >>> healthy = {"power_w": power, "flow_m3_h": 0.1 * np.sqrt(power) + rng.normal(0, 0.02, 2000)}
    >>> healthy["speed_rpm"] = 60 * np.sqrt(power) + rng.normal(0, 10, 2000)
    >>> model = Novelty.fit(healthy)
    >>> low, high = model.share_held_out  # of healthy rows of a time not learnt from, these would be called odd
    >>> bool(low <= 0.001 <= high)
    True
    >>> rows = {"power_w": [900.0, 900.0], "flow_m3_h": [3.0, 2.4], "speed_rpm": [1800.0, 1800.0]}
    >>> scored = model.score(rows)
    >>> [bool(odd) for odd in scored.odd], scored.channel[1]
    ([False, True], 'flow_m3_h')
    >>> model.score({**rows, "flow_m3_h": [3.0, np.nan]}).odd.tolist()  # a missing value is left out of its row
    [False, False]
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student
from sklearn.linear_model import Ridge
from sklearn.pipeline import Pipeline, make_pipeline, make_union
from sklearn.preprocessing import PolynomialFeatures, RobustScaler, SplineTransformer, StandardScaler
from threadpoolctl import threadpool_limits

Floats = NDArray[np.float64]

LEAST_ROWS_A_CHANNEL = 10
FALSE_SHARE = 0.001  # of healthy rows that are called odd
PARTS = 2
"""Halves of the time, each judged by what the other taught: a season moves on, and no finer parts would say how far."""
BLOCKS = 8  # of the time, among which the share of odd rows is compared for its interval
MOST_ROWS = 4000  # curves are fitted on so many rows, evenly picked; the limits are learnt on up to `MOST_HELD`
MOST_HELD = 30_000
ROWS_A_TERM = 10  # fewer for each term of a curve and it is left straight
MOST_KNOTS = 5
RIDGE = 1e-4  # of each term's variance: channels that repeat one another must not make the sums singular
ROUNDS = 4  # of reweighting; weights move little after it
BEND = 1.345
"""Huber's: 95 % as good as least squares on clean rows (P. J. Huber, Robust Statistics, 1981; figure from memory)."""
HALF = 0.6745  # standard deviation to middle half of a normal law
LEAST_SCATTER = 1e-9  # of a channel's own: what repeats another exactly is known to rounding


@dataclass(frozen=True)
class Scored:
    """n rows. `distance`: the farthest channel's departure over what healthy rows reach; `odd`: beyond 1.

    `channel`: the one that departed, "" where nothing could be judged: for an odd row the one without which the others agree
    best; else the farthest.
    `departure`: by channel, how far each lies from what the others say, in standard deviations; NaN where missing. Infinite
    values are not missing: their row is odd, their channel named.
    """

    distance: Floats
    odd: NDArray[np.bool_]
    channel: list[str]
    departure: dict[str, Floats]


@dataclass(frozen=True)
class Novelty:
    """Healthy rows learnt. `share_held_out`: low and high of the share of healthy rows called odd in a time not learnt from.

    By how the held-out blocks of time differ: the wider of a 95 % Student interval and of their own extremes, as far as what comes
    is like them. A season that brings what no learnt week showed (haze, dust, another level) is odd to this model more often:
    of 72 drawn healthy seasons, one half learnt and the other scored, one in five lay beyond, the median share was 0.001, the
    mean 0.003, the largest 0.03.
    """

    channels: tuple[str, ...]
    table: Floats
    false_share: float
    spoilt_share: float
    share_held_out: tuple[float, float]
    _by_pattern: dict[tuple[int, ...], "_Learnt"] = field(repr=False, compare=False)

    @classmethod
    def fit(
        cls, healthy: Mapping[str, ArrayLike], false_share: float = FALSE_SHARE, spoilt_share: float = 0.0
    ) -> "Novelty":
        """Learn from healthy rows in the order of time.

        Parameters
        ----------
        healthy : mapping of channel to array-like, each shape (n,)
            A dict of columns or a pandas DataFrame, numbers in any units. Rows with a missing value are left out.
        false_share : float
            Of healthy rows that may be called odd, above 0 and at most 0.1. So small a share as 1/n is the farthest row's.
        spoilt_share : float
            Of these rows that may not be healthy, 0 to 0.4: so many, the farthest, do not widen the limits.

        Raises
        ------
        ValueError
            No channel, text, times or infinite values in one, columns of unlike length, fewer than ten whole rows a channel.
        """
        channels = tuple(str(name) for name in healthy)
        if not channels:
            raise ValueError("healthy: no channel given; give at least one column")
        if not 0 < false_share <= 0.1 or not 0 <= spoilt_share <= 0.4:
            raise ValueError("false_share lies above 0 and at most at 0.1, spoilt_share from 0 to 0.4")
        table = _table("healthy", healthy, channels)
        for name, column in zip(channels, table.T, strict=True):
            if np.isinf(column).any():
                raise ValueError(
                    f"healthy: {name} has {np.isinf(column).sum()} infinite values; mend or leave them out"
                )
        table = table[np.isfinite(table).all(axis=1)]
        if len(table) < LEAST_ROWS_A_CHANNEL * len(channels):
            raise ValueError(
                f"healthy: {len(table)} whole rows for {len(channels)} channels; at least {LEAST_ROWS_A_CHANNEL} a channel are needed"
            )
        table = table[_even(len(table), MOST_HELD)]
        with threadpool_limits(limits=1):  # of small matrices: threads would only wait for one another
            learnt = _learn(table, false_share, spoilt_share)
        whole = tuple(range(len(channels)))
        return cls(channels, table, false_share, spoilt_share, learnt.share, {whole: learnt})

    def score(self, rows: Mapping[str, ArrayLike]) -> Scored:
        """Score rows; a missing value is left out of its row.

        KeyError: a channel of the fit is not there; ValueError: text or times in one.
        """
        table = _table("rows", rows, self.channels)
        endless = np.isinf(table)
        table = np.where(endless, np.nan, table)
        known = np.isfinite(table)
        distance = np.full(len(table), np.nan)
        away = np.full(table.shape, np.nan)
        named = np.full(len(table), -1)
        for pattern in np.unique(known, axis=0):
            places = np.flatnonzero(pattern)
            if not len(places):
                continue
            which = np.flatnonzero((known == pattern).all(axis=1))
            distance[which], away[np.ix_(which, places)], name = self._of(tuple(places.tolist())).judged(
                table[np.ix_(which, places)]
            )
            named[which] = places[name]
        beyond = endless.any(axis=1)
        away[endless] = np.inf
        distance[beyond] = np.inf
        named[beyond] = endless[beyond].argmax(axis=1)
        with np.errstate(invalid="ignore"):
            odd = distance > 1.0
        names = [self.channels[place] if place >= 0 else "" for place in named]
        return Scored(distance, odd, names, {name: away[:, k] for k, name in enumerate(self.channels)})

    def _of(self, places: tuple[int, ...]) -> "_Learnt":
        """What the channels at these places say of one another: learnt when rows first lack the others."""
        if places not in self._by_pattern:
            with threadpool_limits(limits=1):
                self._by_pattern[places] = _learn(self.table[:, places], self.false_share, self.spoilt_share)
        return self._by_pattern[places]


MOST_LOG = 300.0  # far off all healthy rows a curve runs away: still a number


@dataclass(frozen=True)
class _Told:
    """One channel from the others: what it should be, and how far healthy rows lie from that there."""

    terms: Pipeline | None
    middle: Any
    scatter: Any
    least: float

    def away(self, others: Floats, own: Floats) -> Floats:
        """Departure in standard deviations."""
        terms = np.ones((len(own), 1)) if self.terms is None else self.terms.transform(others)
        return (own - self.middle.predict(terms)) / np.maximum(
            np.exp(np.minimum(self.scatter.predict(terms), MOST_LOG)), self.least
        )

    def put_back(self, others: Floats) -> Floats:
        """What the others say of it."""
        terms = np.ones((len(others), 1)) if self.terms is None else self.terms.transform(others)
        return self.middle.predict(terms)


@dataclass(frozen=True)
class _Learnt:
    """Some channels, each told by the others, once by each part of the time and once by all; `reach` (k,): how far healthy rows of
    the other parts lie from that, in standard deviations. A row is healthy that is so by any one of them: the limits are then those
    of curves that judge (V. Vovk, Cross-conformal predictors, 2015, from memory), and what one part never showed does not count."""

    told: list[list[_Told]]
    reach: Floats
    share: tuple[float, float]

    def judged(self, table: Floats) -> tuple[Floats, Floats, NDArray[np.intp]]:
        """Distance, departure by channel, place of the channel that departed."""
        each = np.stack([_away(told, table) for told in self.told])
        nearest = np.abs(each / self.reach).max(axis=2).argmin(axis=0)
        away = each[nearest, np.arange(len(table))]
        distance = np.abs(away / self.reach).max(axis=1)
        named = np.abs(away / self.reach).argmax(axis=1)
        odd = np.flatnonzero(distance > 1.0)
        if len(odd) and table.shape[1] > 2:
            left = np.stack([self._left(told, table[odd]) for told in self.told])
            named[odd] = left[nearest[odd], np.arange(len(odd))].argmin(axis=1)
        return distance, away, named

    def _left(self, told: list[_Told], table: Floats) -> Floats:
        """What is left apart with each put back to what the others say of it: a wrong value spoils what is told by it too."""
        left = np.empty(table.shape)
        for place, one in enumerate(told):
            mended = table.copy()
            mended[:, place] = one.put_back(np.delete(table, place, axis=1))
            left[:, place] = np.sum((_away(told, mended) / self.reach) ** 2, axis=1)
        return left


def _away(told: list[_Told], table: Floats) -> Floats:
    return np.column_stack([one.away(np.delete(table, k, axis=1), table[:, k]) for k, one in enumerate(told)])


def _learn(table: Floats, false_share: float, spoilt_share: float) -> _Learnt:
    """Curves of all rows; limits of rows that were held out with their half of the time."""
    block = np.arange(len(table)) * BLOCKS // len(table)
    held, told = np.empty(table.shape), []
    for part in range(PARTS):
        apart = block * PARTS // BLOCKS == part
        told.append(_curves(table[apart]))
        held[~apart] = _away(told[-1], table[~apart])
    reach = np.quantile(np.abs(held), 1 - (1 - spoilt_share) * false_share / table.shape[1] - spoilt_share, axis=0)
    reach = np.maximum(reach, np.finfo(float).tiny)
    distance = np.abs(held / reach).max(axis=1)
    healthy = distance <= np.quantile(distance, 1 - spoilt_share)
    limit = max(float(np.quantile(distance[healthy], 1 - false_share, method="higher")), np.finfo(float).tiny)
    shares = np.array(
        [
            np.mean(distance[healthy & (block == one)] > limit)
            for one in range(BLOCKS)
            if (healthy & (block == one)).any()
        ]
    )
    wide = student.ppf(0.975, max(len(shares) - 1, 1)) * shares.std(ddof=1) * np.sqrt(1 + 1 / len(shares))
    # odd rows come in few blocks, no normal law: of like blocks a new one lies beyond the largest of them one time in nine
    share = (max(0.0, min(false_share - wide, shares.min())), min(1.0, max(false_share + wide, shares.max())))
    return _Learnt([*told, _curves(table)], reach * limit, (float(share[0]), float(share[1])))


def _curves(table: Floats) -> list[_Told]:
    table = table[_even(len(table), MOST_ROWS)]
    return [_told(np.delete(table, k, axis=1), table[:, k]) for k in range(table.shape[1])]


def _told(others: Floats, own: Floats) -> _Told:
    """Huber's regression by reweighting, then the logarithm of what is left over on the same terms."""
    terms = _terms(others) if others.shape[1] else None
    seen = np.ones((len(own), 1)) if terms is None else terms.fit_transform(others)
    weight = np.ones(len(own))
    middle = Ridge(alpha=RIDGE * len(own))
    for _ in range(ROUNDS):
        middle.fit(seen, own, sample_weight=weight)
        apart = np.abs(own - middle.predict(seen))
        scatter = np.median(apart) / HALF
        weight = np.minimum(1.0, BEND * scatter / np.maximum(apart, np.finfo(float).tiny)) if scatter > 0 else weight
    least = max(LEAST_SCATTER * float(own.std()), LEAST_SCATTER * float(np.abs(own).max()), np.finfo(float).tiny)
    # the mean logarithm of a normal law's size lies 0.635 under that of its standard deviation
    spread = Ridge(alpha=len(own) / 10).fit(seen, np.log(np.maximum(apart, max(least, 0.05 * scatter))) + 0.635)
    return _Told(terms, middle, spread, max(least, 0.2 * scatter))


def _terms(others: Floats) -> Pipeline:
    """Splines of each channel and products of two, as far as the rows bear them; straight lines else."""
    rows, count = others.shape
    products = count * (count - 1) // 2
    knots = int(min(MOST_KNOTS, (rows / ROWS_A_TERM - products) / count - 1))
    parts: list[Any] = [PolynomialFeatures(1, include_bias=False)]
    if knots >= 2:
        parts.append(SplineTransformer(knots, knots="quantile", extrapolation="linear"))
        parts.append(PolynomialFeatures(2, interaction_only=count > 1, include_bias=False))
    return make_pipeline(RobustScaler(), make_union(*parts), StandardScaler()).fit(others)


def _even(rows: int, most: int) -> NDArray[np.intp]:
    """Places of at most so many rows, evenly picked."""
    return np.unique(np.linspace(0, rows - 1, min(rows, most)).astype(int))


def _table(what: str, columns: Mapping[str, ArrayLike], channels: tuple[str, ...]) -> Floats:
    found: list[Floats] = []
    for name in channels:
        if name not in columns:
            raise KeyError(f"{what}: no column {name}; there are {', '.join(map(str, columns))}")
        column = columns[name]
        raw = np.asarray(column)
        if raw.dtype.kind == "O":
            known = [value for value in raw.ravel() if value is not None and value == value]
            raw = np.asarray(known) if known else np.empty(0)
        if raw.dtype.kind not in "biuf":
            timed = raw.dtype.kind == "O" and all(isinstance(value, date) for value in raw)
            word = {"M": "times", "m": "spans of time", "c": "complex numbers"}.get(raw.dtype.kind, "text or objects")
            word = "times" if timed else word
            raise ValueError(f"{what}: {name} holds {word}; give columns of numbers only")
        values = (
            column.to_numpy(dtype=float, na_value=np.nan) if hasattr(column, "to_numpy") else np.asarray(column, float)
        )
        if values.ndim != 1 or (found and len(values) != len(found[0])):
            raise ValueError(f"{what}: {name} has the shape {values.shape}; each channel is one column of equal length")
        found.append(values)
    return np.column_stack(found)
