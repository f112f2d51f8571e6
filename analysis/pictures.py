"""The two pictures that convince: flow against power, and array power against sun, as data to draw.

Flow: rows, expected.py -> HERE -> dashboard (SVG), explain (PNG, SVG).
Never: drawing, colours, words.
"""

from dataclasses import dataclass

import numpy as np

from analysis.expected import SiteModel
from analysis.look import Columns, look
from analysis.merge import merged
from analysis.plant import Plant, plant_of
from analysis.rows import Floats, Rows

BINS = 24
LEAST_ROWS = 3  # in a bin: fewer is chance
BAND = 1.96


@dataclass(frozen=True)
class Points:
    """m binned points, float64[m]: the mean of each bin, its middle half, and its weight in hours."""

    x: Floats
    y: Floats
    low: Floats
    high: Floats
    hours: Floats


@dataclass(frozen=True)
class FlowPicture:
    """Flow over input power. Curve and band (95 %) are float64[k]; NaN where nothing is lifted or known."""

    power_w: Floats
    expected_m3_h: Floats
    low: Floats
    high: Floats
    before: Points
    after: Points


@dataclass(frozen=True)
class ArrayPicture:
    """Array power at maximum over sun. The line and band (95 %) are float64[k] in W; the points are binned by W/m2."""

    sun_w_m2: Floats
    expected_w: Floats
    low: Floats
    high: Floats
    before: Points
    after: Points


def flow_against_power(model: SiteModel, rows: Rows, split_ms: int | None) -> FlowPicture:
    """Settled running, binned by input power; expected curve of the healthy pump under the same conditions.

    Parameters
    ----------
    model : SiteModel
    rows : Rows
        Any span and order. [n]
    split_ms : int or None
        Before it: `before`; after it: `after`. None: all is `before`. [ms]
    """
    plant, seen = _seen(model, rows)
    expected = seen.expected
    with np.errstate(invalid="ignore"):
        good = seen.settled & np.isfinite(seen.flow_m3_h) & np.isfinite(expected.flow_m3_h) & (seen.power_w > 0)
    edges = np.linspace(0.0, 1.1 * plant.full_power_w / 0.85, BINS + 1)
    curve = _curve(seen.power_w, expected.flow_m3_h, expected.flow_m3_h_std, good, edges)
    late = good & (seen.time_ms > split_ms) if split_ms is not None else np.zeros(len(seen), bool)
    return FlowPicture(
        *curve,
        before=_points(seen.power_w, seen.flow_m3_h, seen.dt_h, good & ~late, edges),
        after=_points(seen.power_w, seen.flow_m3_h, seen.dt_h, late, edges),
    )


def power_against_sun(model: SiteModel, rows: Rows, split_ms: int | None) -> ArrayPicture:
    """Rows at maximum power, binned by irradiance (clear sky's where there is no sensor). Parameters as above."""
    _, seen = _seen(model, rows)
    expected = seen.expected
    with np.errstate(invalid="ignore"):
        good = seen.at_max & (expected.poa_w_m2 > 0) & (seen.power_w > 0) & np.isfinite(expected.mpp_power_w)
    edges = np.linspace(0.0, 1200.0, BINS + 1)
    curve = _curve(expected.poa_w_m2, expected.mpp_power_w, expected.mpp_power_w_std, good, edges)
    late = good & (seen.time_ms > split_ms) if split_ms is not None else np.zeros(len(seen), bool)
    return ArrayPicture(
        *curve,
        before=_points(expected.poa_w_m2, seen.power_w, seen.dt_h, good & ~late, edges),
        after=_points(expected.poa_w_m2, seen.power_w, seen.dt_h, late, edges),
    )


def _seen(model: SiteModel, rows: Rows) -> tuple[Plant, Columns]:
    plant = plant_of(model.facts)
    clean = merged(rows).rows
    if not len(clean):
        return plant, look(plant, clean, range(0))
    first, last = (int(plant.days.day_of(int(t))) for t in (clean.time_ms[0], clean.time_ms[-1]))
    return plant, look(plant, clean, range(first, last + 1))


def _curve(x: Floats, y: Floats, std: Floats, good: np.ndarray, edges: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean expectation by bin, at the bins' middles."""
    place = np.clip(np.digitize(x[good], edges) - 1, 0, BINS - 1)
    count = np.bincount(place, minlength=BINS)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(count >= LEAST_ROWS, np.bincount(place, y[good], BINS) / count, np.nan)
        spread = np.where(count >= LEAST_ROWS, np.bincount(place, np.nan_to_num(std[good]), BINS) / count, np.nan)
    return 0.5 * (edges[1:] + edges[:-1]), mean, np.maximum(mean - BAND * spread, 0.0), mean + BAND * spread


def _points(x: Floats, y: Floats, weight: Floats, which: np.ndarray, edges: Floats) -> Points:
    place = np.clip(np.digitize(x[which], edges) - 1, 0, BINS - 1)
    order = np.argsort(place, kind="stable")
    place, xs, ys, ws = place[order], x[which][order], y[which][order], weight[which][order]
    cuts = np.searchsorted(place, np.arange(BINS + 1))
    found = []
    for low, high in zip(cuts[:-1], cuts[1:], strict=True):
        if high - low >= LEAST_ROWS:
            part = ys[low:high]
            quarter = np.quantile(part, [0.25, 0.75])
            found.append((xs[low:high].mean(), part.mean(), quarter[0], quarter[1], ws[low:high].sum()))
    table = np.array(found, float).reshape(-1, 5).T
    return Points(*table)
