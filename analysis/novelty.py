"""What does not look like healthy running: fit on healthy rows, score others, say which channel departed.

Usable alone on any frame of channels; departures.py asks it which channel left the others behind an `unexplained`, and the engine
weighs a day's vector by the same distance.
Robust location and scatter (minimum covariance determinant) of the channels, each explained by the others. Never: causes.

    >>> import numpy as np
    >>> rng = np.random.default_rng(0)
    >>> power = rng.uniform(200, 1500, 500)
    >>> healthy = {"power_w": power, "flow_m3_h": power / 400 + rng.normal(0, 0.05, 500)}
    >>> model = Novelty.fit(healthy)
    >>> scored = model.score({"power_w": np.array([1000.0, 1000.0]), "flow_m3_h": np.array([2.5, 1.5])})
    >>> [bool(odd) for odd in scored.odd], scored.channel[1]
    ([False, True], 'flow_m3_h')
"""

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2
from sklearn.covariance import MinCovDet

Floats = NDArray[np.float64]

LEAST_ROWS_A_CHANNEL = 10
FALSE_SHARE = 0.001  # of healthy rows that are called odd
RIDGE = 1e-6  # of a channel's own variance: channels that repeat one another must not make the matrix singular
MOST_ROWS = 4000  # the determinant is searched on so many rows, evenly picked: more changes nothing


@dataclass(frozen=True)
class Scored:
    """n rows. `distance`: squared robust distance over its mean when healthy; `odd`: beyond what healthy rows reach.

    `channel`: the one whose value the others would least have expected; "" where nothing was measured.
    `departure`: by channel, how far each lies from what the others say, in standard deviations; NaN where missing.
    """

    distance: Floats
    odd: NDArray[np.bool_]
    channel: list[str]
    departure: dict[str, Floats]


@dataclass(frozen=True)
class Novelty:
    """Location (k,) and covariance (k, k) of healthy rows, by channel."""

    channels: tuple[str, ...]
    location: Floats
    covariance: Floats

    @classmethod
    def fit(cls, healthy: Mapping[str, ArrayLike], seed: int = 0) -> "Novelty":
        """Learn from healthy rows.

        Parameters
        ----------
        healthy : mapping of channel to array-like, each shape (n,)
            A dict of columns or a pandas DataFrame. Rows with a missing value are left out.
        seed : int
            Of the random starts; the same seed gives the same model.

        Raises
        ------
        ValueError
            No channel, or fewer than ten whole rows a channel.
        """
        channels = tuple(str(name) for name in healthy)
        if not channels:
            raise ValueError("healthy: no channel given; give at least one column")
        table = np.column_stack([np.asarray(healthy[name], float) for name in channels])
        table = table[np.isfinite(table).all(axis=1)]
        if len(table) < LEAST_ROWS_A_CHANNEL * len(channels):
            raise ValueError(
                f"healthy: {len(table)} whole rows for {len(channels)} channels; at least {LEAST_ROWS_A_CHANNEL} a channel are needed"
            )
        table = table[:: max(1, len(table) // MOST_ROWS)]
        scale = np.maximum(table.std(axis=0), 1e-12)
        with warnings.catch_warnings():
            # channels that repeat one another (power beside voltage and current) lie near a plane: the ridge below is for them
            warnings.filterwarnings("ignore", "Determinant has increased", RuntimeWarning)
            found = MinCovDet(random_state=seed).fit(table / scale)
        covariance = found.covariance_ * np.outer(scale, scale)
        covariance[np.diag_indices(len(channels))] += RIDGE * scale**2
        return cls(channels, found.location_ * scale, covariance)

    def score(self, rows: Mapping[str, ArrayLike]) -> Scored:
        """Score rows; a missing value is left out of its row. KeyError: a channel of the fit is not there."""
        table = np.column_stack([np.asarray(rows[name], float) for name in self.channels]) - self.location
        known = np.isfinite(table)
        distance = np.full(len(table), np.nan)
        limit = np.full(len(table), np.inf)
        away = np.full(table.shape, np.nan)
        for pattern in np.unique(known, axis=0):
            which = (known == pattern).all(axis=1)
            places = np.flatnonzero(pattern)
            if not len(places):
                continue
            precision = np.linalg.inv(self.covariance[np.ix_(places, places)])
            part = table[np.ix_(which, places)]
            told = part @ precision
            distance[which] = np.einsum("ij,ij->i", told, part) / len(places)
            limit[which] = chi2.ppf(1 - FALSE_SHARE, len(places)) / len(places)
            away[np.ix_(which, places)] = told / np.sqrt(np.diag(precision))
        names = [self.channels[int(np.nanargmax(np.abs(row)))] if np.isfinite(row).any() else "" for row in away]
        return Scored(distance, distance > limit, names, {name: away[:, k] for k, name in enumerate(self.channels)})
