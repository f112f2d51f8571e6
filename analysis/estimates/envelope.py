"""What a supposed clear sky says: only the best of the last days, for haze and thin cloud take light as dust does.

Flow: day.py (vector) -> HERE -> close.py.
Never: with an irradiance sensor, for the array's own figures.
"""

import numpy as np

from analysis.estimates.vector import HOURS, PLACE
from analysis.plant import Plant
from analysis.rows import Floats

KEPT_DAYS = (
    6  # a week without a clear hour at the same sun is rare where solar pumps stand (common practice, no source)
)
LEAST_DAYS = 2
SKY_TOLD = np.array([*range(PLACE["s0"], PLACE["s0"] + HOURS), PLACE["cap"]])
"""Hours of the sun's way; and the power held at, for an even overcast stands flat for a day as a limit does for weeks."""


def under_clear_sky(plant: Plant, vector: Floats, kept: Floats | None) -> tuple[Floats, Floats]:
    """The vector with its clear-sky figures replaced by their best of the last days, and what to keep for tomorrow.

    vector : float64[SIZE]; kept : float64[days, figures] or None before the first day.
    """
    sun_measured = "irradiance_w_m2" in plant.has
    places = np.array([PLACE["gc"]]) if sun_measured else SKY_TOLD
    today = vector[places][None, :]
    kept = today if kept is None else np.vstack([kept, today])[-KEPT_DAYS:]
    known = ~np.isnan(kept)
    best = np.where(known.sum(axis=0) >= LEAST_DAYS, np.where(known, kept, -np.inf).max(axis=0), np.nan)
    found = vector.copy()
    found[places] = best
    if np.isnan(found[PLACE["cap"]]):
        found[PLACE["cv"]] = np.nan  # how even a limit is says nothing where there is none
    return found, kept
