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
from analysis.water_told import step_n
from logger.record.site_facts import SiteFacts

BINS = 24
LEAST_ROWS = 3  # in a bin: fewer is chance
BAND = 1.96
LEAST_H, MUCH = 0.5, 0.3  # hours of a day, and share of the most expected, that a scale is learnt from
PLAUSIBLE = (
    0.7,
    1.4,
)  # beyond lies no tolerance, dust or horizon, but another fault, which is not to pass for what is normal
QUIET_STEPS = 3.0  # of the meter, due and not come: a sound pump would have shown one within the first


@dataclass(frozen=True)
class Points:
    """m binned points, float64[m]: the mean of each bin, its middle half, and its weight in hours.

    Of an array whose sun is not read: its upper quartile, and from its middle to its highest, for cloud only takes.
    """

    x: Floats
    y: Floats
    low: Floats
    high: Floats
    hours: Floats


@dataclass(frozen=True)
class FlowPicture:
    """Flow over input power. Curve and band (95 %) are float64[k]; NaN where nothing is lifted or known.

    `scale`: the site file's curve was multiplied by it, the middle of what came before over what that expects; 1 where nothing came before.
    """

    power_w: Floats
    expected_m3_h: Floats
    low: Floats
    high: Floats
    before: Points
    after: Points
    scale: float = 1.0


@dataclass(frozen=True)
class ArrayPicture:
    """Array power at maximum over sun. The line and band (95 %) are float64[k] in W; the points are binned by W/m2.

    `scale`: as of `FlowPicture`. `sun_measured`: else the sun is a clear sky's.
    """

    sun_w_m2: Floats
    expected_w: Floats
    low: Floats
    high: Floats
    before: Points
    after: Points
    scale: float = 1.0
    sun_measured: bool = True


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
    late = _late(seen, split_ms)
    scale = _scale(seen, flow, expected.flow_m3_h, known & ~late)
    curve = _curve(seen.power_w, expected.flow_m3_h, expected.flow_m3_h_std, known, edges, scale)
    return FlowPicture(
        *curve,
        before=_points(seen.power_w, flow, seen.dt_h, good & ~late, edges),
        after=_points(seen.power_w, flow, seen.dt_h, good & late, edges),
        scale=scale,
    )


def power_against_sun(model: SiteModel, rows: Rows, split_ms: int | None) -> ArrayPicture:
    """Rows at maximum power, binned by irradiance (clear sky's where there is no sensor). Parameters as above."""
    return array_picture_of(*columns_of(model.facts, rows), split_ms)


def array_picture_of(plant: Plant, seen: Columns, split_ms: int | None) -> ArrayPicture:
    """The same of rows that were looked at already."""
    expected, sun_measured = seen.expected, bool(seen.expected.poa_measured.any())
    good, level = of_the_array(plant, seen), level_of(seen)
    edges = np.linspace(0.0, 1200.0, BINS + 1)
    late = _late(seen, split_ms)
    scale = _scale(seen, seen.power_w, expected.mpp_power_w, good & ~late, level)
    curve = _curve(expected.poa_w_m2, expected.mpp_power_w, expected.mpp_power_w_std, good, edges, scale)
    return ArrayPicture(
        *curve,
        before=_points(expected.poa_w_m2, seen.power_w, seen.dt_h, good & ~late, edges, level),
        after=_points(expected.poa_w_m2, seen.power_w, seen.dt_h, good & late, edges, level),
        scale=scale,
        sun_measured=sun_measured,
    )


def of_the_array(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows that tell of the array: at its maximum, or below it and held back by nothing, as in a shade. bool[n]

    Where no sun is read, all settled ones: an hour that is held back under a clear sky is at its maximum under cloud alone.
    """
    expected = seen.expected
    with np.errstate(invalid="ignore"):
        lit = (expected.poa_w_m2 > 0) & (seen.power_w > 0) & np.isfinite(expected.mpp_power_w)
        free = seen.settled & ~seen.held & (expected.mpp_power_w < plant.ceiling_w)
    if not expected.poa_measured.any():
        return lit & seen.settled
    return lit & (seen.at_max | free) & expected.poa_measured


def level_of(seen: Columns) -> float:
    """Which share of some rows' values lies below what is shown of them: half; where no sun is read three quarters, for cloud only takes."""
    return 0.5 if seen.expected.poa_measured.any() else 0.75


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
    counts_n = step_n(plant.facts)
    due = np.where(
        seen.expected.poa_measured, np.fmax(seen.should_m3_h, seen.expected.flow_of_sun_m3_h), seen.should_m3_h
    )
    due_n = np.nan_to_num(np.where(seen.turning, due, 0.0)) * seen.dt_h * 1e9
    ticked = seen.moved_m3 > 0
    starts = ticked | (seen.since_n < 0) | np.concatenate([[True], np.diff(seen.day) != 0])[: len(seen)]
    run = np.cumsum(starts) - 1
    waited_n = np.bincount(run, np.where(ticked, 0.0, due_n)) if len(run) else np.empty(0)
    silent = np.isnan(seen.flow_m3_h) & (seen.since_n >= 0) & ~ticked & (waited_n[run] >= QUIET_STEPS * counts_n)
    return np.where(silent, 0.0, seen.flow_m3_h)


def _late(seen: Columns, split_ms: int | None) -> np.ndarray:
    return seen.time_ms > split_ms if split_ms is not None else np.zeros(len(seen), bool)


def _scale(seen: Columns, came: Floats, expected: Floats, healthy: np.ndarray, level: float = 0.5) -> float:
    """The middle of the days' water, or energy, over what the site file expects, in rows that expect the most: a table says little
    near where lifting begins. Of days with less than `LEAST_H` hours nothing is learnt; of none, or of what no sound site shows: 1."""
    with np.errstate(divide="ignore", invalid="ignore"):
        which = healthy & (expected > MUCH * np.nanmax(np.where(healthy, expected, 0.0), initial=0.0))
    if not which.any():
        return 1.0
    day, dt_h = seen.day[which] - seen.day[0], seen.dt_h[which]
    hours, got, due = (np.bincount(day, dt_h * of) for of in (np.ones(len(day)), came[which], expected[which]))
    whole = (hours >= LEAST_H) & (due > 0)
    ratios = got[whole] / due[whole] if level == 0.5 else came[which] / expected[which]
    scale = float(np.quantile(ratios, level)) if whole.any() else 1.0
    return scale if PLAUSIBLE[0] < scale < PLAUSIBLE[1] else 1.0


def _curve(
    x: Floats, y: Floats, std: Floats, good: np.ndarray, edges: Floats, scale: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean expectation by bin, at the bins' middles, with its band: each `scale` times what the site file gives."""
    place = np.clip(np.digitize(x[good], edges) - 1, 0, BINS - 1)
    count = np.bincount(place, minlength=BINS)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(count >= LEAST_ROWS, np.bincount(place, scale * y[good], BINS) / count, np.nan)
        spread = np.where(
            count >= LEAST_ROWS, np.bincount(place, scale * np.nan_to_num(std[good]), BINS) / count, np.nan
        )
    return 0.5 * (edges[1:] + edges[:-1]), mean, np.maximum(mean - BAND * spread, 0.0), mean + BAND * spread


def _points(x: Floats, y: Floats, weight: Floats, which: np.ndarray, edges: Floats, level: float = 0.5) -> Points:
    place = np.clip(np.digitize(x[which], edges) - 1, 0, BINS - 1)
    order = np.argsort(place, kind="stable")
    place, xs, ys, ws = place[order], x[which][order], y[which][order], weight[which][order]
    cuts = np.searchsorted(place, np.arange(BINS + 1))
    found = []
    for low, high in zip(cuts[:-1], cuts[1:], strict=True):
        if high - low >= LEAST_ROWS:
            part = ys[low:high]
            quarter = np.quantile(part, [level - 0.25, level, level + 0.25])
            y = part.mean() if level == 0.5 else quarter[1]
            found.append((xs[low:high].mean(), y, quarter[0], quarter[2], ws[low:high].sum()))
    table = np.array(found, float).reshape(-1, 5).T
    return Points(*table)
