"""What stands on the horizon: where the sun was seen unshaded, and which dim hours say nothing new.

Flow: day.py (vector) -> HERE -> envelope.py.
A hill or a tree that hides the sun at some height hides it at every lower one, so an hour that is dim while the sun stands lower than
it was ever seen clear at that azimuth may be the horizon's, which has always been there; with the season the sun comes to meet it.
Never: judgement.
"""

from functools import lru_cache

import numpy as np

from analysis.estimates.vector import HOURS, PLACE
from analysis.physics.sun import sun_position
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.solar_days import HOUR_MS, MINUTE_MS

STEP_MS = 2 * MINUTE_MS
DAYS_TOGETHER = 8
BIN_DEG = 2.5
BINS = round(360 / BIN_DEG)
DIM = 0.06  # log of power below the day's better hours: less is haze and angle (common practice, no source)
AS_LOW_DEG = (
    0.8  # some days of the season's course: so much lower still counts as seen clear (common practice, no source)
)
NEW_SHARE = 0.9  # of the hour, where the sun had been seen clear: dim there is new; the rest may be all that the hour's figure tells of
CLEAR = 0.03  # likewise: nothing of the hour was shaded
SPRING = PLACE["s0"]
NEVER = 90.0


def without_horizon(plant: Plant, day: int, vector: Floats, clear_deg: Floats | None) -> tuple[Floats, Floats]:
    """The vector without dim hours at which the sun was never seen clear, and the lowest clear elevations with today's.

    Parameters
    ----------
    vector : float64[SIZE]
    clear_deg : float64[BINS] or None
        By azimuth, the lowest elevation at which the sun was seen unshaded; None before the first day. [deg]
    """
    clear_deg = np.full(BINS, NEVER) if clear_deg is None else clear_deg
    hours = vector[SPRING : SPRING + HOURS]
    known = ~np.isnan(hours)
    if not known.any():
        return vector, clear_deg
    best = np.sort(hours[known])[::-1]
    below = _median(best[: (len(best) + 1) // 2]) - hours
    with np.errstate(invalid="ignore"):
        dim, clear = known & (below > DIM), known & (below < CLEAR)
    elevation, bins = _way(plant, day)
    found = vector
    if dim.any():
        up = elevation > 0.0
        between = np.maximum(np.roll(clear_deg, 1), np.roll(clear_deg, -1))  # of a bin that the steps leapt over
        new = up & (elevation >= np.minimum(clear_deg, between)[bins] - AS_LOW_DEG)
        share = new.sum(axis=1) / np.maximum(up.sum(axis=1), 1)
        found = vector.copy()
        found[SPRING : SPRING + HOURS] = np.where(dim & (share < NEW_SHARE), np.nan, hours)
    seen = clear_deg.copy()
    np.minimum.at(seen, bins[clear].ravel(), elevation[clear].ravel())
    return found, seen


def _way(plant: Plant, day: int) -> tuple[Floats, np.ndarray]:
    """The sun's elevation and its azimuth's bin through the hours of its way; shape (HOURS, steps) each."""
    elevation, bins = _ways(plant, day // DAYS_TOGETHER)
    return elevation[day % DAYS_TOGETHER], bins[day % DAYS_TOGETHER]


@lru_cache(maxsize=64)
def _ways(plant: Plant, block: int) -> tuple[Floats, np.ndarray]:
    """`_way` for fixed blocks of days, so that a day's figures do not depend on what was asked before; (days, HOURS, steps) each."""
    site = plant.facts.site
    steps = np.arange(0, HOUR_MS, STEP_MS) + STEP_MS // 2
    days = block * DAYS_TOGETHER + np.arange(DAYS_TOGETHER)
    noon = np.array([plant.days.noon_ms(int(day)) for day in days])
    starts = noon[:, None] + (np.arange(HOURS) - HOURS // 2) * HOUR_MS
    place = sun_position(starts[..., None] + steps, site.latitude_deg, site.longitude_deg, site.altitude_m)
    return place.elevation_deg, (place.azimuth_deg // BIN_DEG).astype(np.int64) % BINS


def _median(falling: Floats) -> float:
    """Of a sorted array."""
    half = len(falling) // 2
    return float(falling[half] if len(falling) % 2 else 0.5 * (falling[half - 1] + falling[half]))
