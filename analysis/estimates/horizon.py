"""What stands on the horizon: where the sun was seen unshaded, and which dim hours say nothing new.

Flow: day.py (vector) -> HERE -> envelope.py.
A hill or a tree that hides the sun at some height hides it at every lower one, so an hour that is dim while the sun stands lower than
it was ever seen clear at that azimuth may be the horizon's, which has always been there; with the season the sun comes to meet it.
Never: judgement.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

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
ANGLE = 0.1  # log of power
CLEAR = 0.03  # likewise: nothing of the hour was shaded
MOVES_DEG = 0.4  # a day, at the equinoxes (astronomy)
CLIMBS_DEG = 6.0  # in the hour: about noon the sun goes along a roof's edge and may sink behind it in a day
TAKEN = 0.15  # of the hour's light: haze and angle (common practice, no source)
REMEMBERED_DAYS = 5.0
MOST_OF_HOUR = 0.5  # in sunshine: where the rest was held back, only the minutes in a shadow would speak; under cloud there is none
WEEKS_DAYS = 14
SPRING = PLACE["s0"]
NEVER = 90.0


def without_horizon(
    plant: Plant, day: int, vector: Floats, sunny: Floats, kept: Floats | None, usual: Floats | None = None
) -> tuple[Floats, Floats]:
    """The vector without dim hours at which the sun was never seen clear, and what to keep for tomorrow.

    Parameters
    ----------
    vector : float64[SIZE]
    sunny : float64[3, HOURS]
        Share of the hour that its figure tells of, 0 where the sun itself did not shine: without it nothing throws a shadow. Likewise
        0 under thin cloud too, which lets a narrow shadow pass unseen. 1 where the sun gave more than the pump takes.
    kept : float64[BINS + HOURS] or None
        By azimuth, the lowest elevation at which the sun was seen unshaded [deg]; then by hour the last day on which it was, minus
        that day once it was judged newly shaded. None before the first day.
    usual : float64[HOURS] or None
        What each hour was learnt to give: low sun on glass and the file's own slope are no shade, up to `ANGLE`.
    """
    kept = _whole(kept)
    hours, clear_deg, last = vector[SPRING : SPRING + HOURS], kept[:BINS], kept[BINS:].copy()
    known = ~np.isnan(hours)
    plenty = ~known & (sunny[2] > 0)
    if not (known | plenty).any():
        return vector, kept
    plain = hours if usual is None else hours - np.clip(usual, -ANGLE, ANGLE)
    best = plain[known]
    best.sort()
    below = _median(best[len(best) // 2 :]) - plain if len(best) else plain
    dim, clear = known & (below > DIM), known & (below < CLEAR)
    way = _way(plant, day)
    found = vector
    if dim.any():
        around = np.concatenate([clear_deg[-1:], clear_deg, clear_deg[:1]])
        between = np.maximum(around[:-2], around[2:])  # of a bin that the steps leapt over
        fresh = way.up & (way.elevation_deg >= (np.minimum(clear_deg, between) - AS_LOW_DEG).take(way.bins))
        share = fresh.sum(axis=1) / way.steps_up
        last = np.where(dim & _at_once(day - last, (1.0 - np.exp(-below)) * sunny[0], way.climbs_deg), -last, last)
        found = vector.copy()
        unsure = dim & (((share < NEW_SHARE) & ~(last < 0)) | (sunny[0] < MOST_OF_HOUR))
        found[SPRING : SPRING + HOURS] = np.where(unsure, np.nan, hours)
        if unsure.any():
            found[PLACE["av0"]] = np.nan  # modules in the shade are bypassed
    last[(clear & (sunny[0] > 0)) | plenty] = day
    seen, clear = clear_deg.copy(), clear & (sunny[1] > 0)
    np.minimum.at(seen, way.bins[clear].ravel(), way.elevation_deg[clear].ravel())
    return found, np.concatenate([seen, last])


def sun_rises(plant: Plant, day: int) -> NDArray[np.bool_]:
    """Hours of the sun's way in which it stands no lower than some weeks before: what is dim there now, no horizon came to meet. bool[HOURS]"""
    return np.asarray(_way(plant, day).mean_deg >= _way(plant, day - WEEKS_DAYS).mean_deg)


def _whole(kept: Floats | None) -> Floats:
    """What was kept, also by a version that kept only the elevations: of the last days it knows nothing then. float64[BINS + HOURS]"""
    if kept is not None and len(kept) == BINS + HOURS:
        return kept
    whole = np.concatenate([np.full(BINS, NEVER), np.full(HOURS, np.nan)])
    if kept is not None:
        whole[: len(kept)] = kept
    return whole


def _at_once(days: Floats, taken: Floats, climbs_deg: Floats) -> NDArray[np.bool_]:
    """Hours that lost more of their light since they were last clear than a horizon could take that the season's sun comes to meet.

    The sun's way moves by less than half a degree a day, across an edge through which an hour of it climbs or falls by many.
    """
    enough = TAKEN + 2.0 * MOVES_DEG * days / climbs_deg
    return (days <= REMEMBERED_DAYS) & (climbs_deg > CLIMBS_DEG) & (taken > enough)


@dataclass(frozen=True)
class _Way:
    """The sun's elevation and its azimuth's bin through the hours of its way, and where it is up; shape (HOURS, steps) each.

    By hour, (HOURS,): how many steps it is up, at least 1; by how much it climbs or falls; how high it stands on average.
    """

    elevation_deg: Floats
    bins: NDArray[np.int64]
    up: NDArray[np.bool_]
    steps_up: NDArray[np.int64]
    climbs_deg: Floats
    mean_deg: Floats


def _way(plant: Plant, day: int) -> _Way:
    return _ways(plant, day // DAYS_TOGETHER)[day % DAYS_TOGETHER]


@lru_cache(maxsize=64)
def _ways(plant: Plant, block: int) -> list[_Way]:
    """`_way` for fixed blocks of days, so that a day's figures do not depend on what was asked before."""
    site = plant.facts.site
    steps = np.arange(0, HOUR_MS, STEP_MS) + STEP_MS // 2
    days = block * DAYS_TOGETHER + np.arange(DAYS_TOGETHER)
    noon = np.array([plant.days.noon_ms(int(day)) for day in days])
    starts = noon[:, None] + (np.arange(HOURS) - HOURS // 2) * HOUR_MS
    place = sun_position(starts[..., None] + steps, site.latitude_deg, site.longitude_deg, site.altitude_m)
    elevation, bins = place.elevation_deg, (place.azimuth_deg // BIN_DEG).astype(np.int64) % BINS
    up = elevation > 0.0
    steps_up = np.maximum(up.sum(axis=2), 1)
    climbs = np.maximum(elevation.max(axis=2) - elevation.min(axis=2), 1e-6)
    mean = elevation.mean(axis=2)
    return [_Way(elevation[k], bins[k], up[k], steps_up[k], climbs[k], mean[k]) for k in range(DAYS_TOGETHER)]


def _median(rising: Floats) -> float:
    """Of a sorted array."""
    half = len(rising) // 2
    return float(rising[half] if len(rising) % 2 else 0.5 * (rising[half - 1] + rising[half]))
