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
from logger.record.site_facts import SiteFacts

BINS = 24
LEAST_ROWS = 3  # in a bin: fewer is chance
BAND = 1.96
QUIET_STEPS = 3.0  # of the meter, due and not come: a sound pump would have shown one within the first


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
    return flow_picture_of(*columns_of(model.facts, rows), split_ms)


def flow_picture_of(plant: Plant, seen: Columns, split_ms: int | None) -> FlowPicture:
    """The same of rows that were looked at already."""
    expected, flow = seen.expected, flow_seen(plant, seen)
    with np.errstate(invalid="ignore"):
        good = seen.settled & np.isfinite(flow) & (seen.power_w > 0)
    edges = np.linspace(0.0, 1.1 * plant.full_power_w / 0.85, BINS + 1)
    known = good & np.isfinite(expected.flow_m3_h)
    curve = _curve(seen.power_w, expected.flow_m3_h, expected.flow_m3_h_std, known, edges)
    late = _late(seen, split_ms)
    return FlowPicture(
        *curve,
        before=_points(seen.power_w, flow, seen.dt_h, good & ~late, edges),
        after=_points(seen.power_w, flow, seen.dt_h, good & late, edges),
    )


def power_against_sun(model: SiteModel, rows: Rows, split_ms: int | None) -> ArrayPicture:
    """Rows at maximum power, binned by irradiance (clear sky's where there is no sensor). Parameters as above."""
    return array_picture_of(*columns_of(model.facts, rows), split_ms)


def array_picture_of(_plant: Plant, seen: Columns, split_ms: int | None) -> ArrayPicture:
    """The same of rows that were looked at already."""
    expected = seen.expected
    with np.errstate(invalid="ignore"):
        good = seen.at_max & (expected.poa_w_m2 > 0) & (seen.power_w > 0) & np.isfinite(expected.mpp_power_w)
    edges = np.linspace(0.0, 1200.0, BINS + 1)
    curve = _curve(expected.poa_w_m2, expected.mpp_power_w, expected.mpp_power_w_std, good, edges)
    late = _late(seen, split_ms)
    return ArrayPicture(
        *curve,
        before=_points(expected.poa_w_m2, seen.power_w, seen.dt_h, good & ~late, edges),
        after=_points(expected.poa_w_m2, seen.power_w, seen.dt_h, good & late, edges),
    )


def columns_of(facts: SiteFacts, rows: Rows) -> tuple[Plant, Columns]:
    """Rows of any span and order, looked at once for all pictures."""
    plant = plant_of(facts)
    clean = merged(rows).rows
    if not len(clean):
        return plant, look(plant, clean, range(0))
    first, last = (int(plant.days.day_of(int(t))) for t in (clean.time_ms[0], clean.time_ms[-1]))
    return plant, look(plant, clean, range(first, last + 1))


def flow_seen(plant: Plant, seen: Columns) -> Floats:
    """Flow by row, float64[n], m3/h: the meter's; and 0 where it stands still although `QUIET_STEPS` of its steps were due.

    A coarse meter says nothing between two steps, so that its flow is shared out between them; after its last step of the
    day there is nothing to share, and just a pump that moves no water would have no flow to show.
    """
    step_n = (plant.facts.sensors.meter_step_m3 or 0.01) * 1e9
    due = np.where(
        seen.expected.poa_measured, np.fmax(seen.should_m3_h, seen.expected.flow_of_sun_m3_h), seen.should_m3_h
    )
    due_n = np.nan_to_num(np.where(seen.turning, due, 0.0)) * seen.dt_h * 1e9
    ticked = seen.moved_m3 > 0
    starts = ticked | (seen.since_n < 0) | np.concatenate([[True], np.diff(seen.day) != 0])[: len(seen)]
    run = np.cumsum(starts) - 1
    waited_n = np.bincount(run, np.where(ticked, 0.0, due_n)) if len(run) else np.empty(0)
    silent = np.isnan(seen.flow_m3_h) & (seen.since_n >= 0) & ~ticked & (waited_n[run] >= QUIET_STEPS * step_n)
    return np.where(silent, 0.0, seen.flow_m3_h)


def _late(seen: Columns, split_ms: int | None) -> np.ndarray:
    return seen.time_ms > split_ms if split_ms is not None else np.zeros(len(seen), bool)


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
