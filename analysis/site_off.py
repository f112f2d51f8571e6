"""Water far off what the site file promises, from the first day on and for good: then the file, more than the pump, is in doubt.

Flow: review_files.py (the days of a review) -> HERE -> what it says first, before its findings.
Most days that tell must say so, of the first week, of the first half and of the second: a fault begins some day and is repaired.
Never: refusing, for a fault may have been there from the first day; rows.
"""

from collections.abc import Sequence

import numpy as np

from analysis.site_fits import mostly
from analysis.summary import DaySummary

GOOD = 0.75  # of the days
WEEK = 7  # days that tell; fewer are weather
SUNNY, HEARD_SHARE = 0.3, 0.8
"""Of what a good day was expected to give, and of its daylight with readings: such a day tells."""
FAR_BELOW = 0.5
"""Of what was to be expected. A small pump is sold within a tenth of its table (ISO 9906, grade 3B, from memory), and sun, level and dust take
as much again; half is a great fault or another plant."""
FAR_ABOVE = (
    1.6  # likewise: no fault gives more than a sound pump, and no tolerance adds so much (common practice, no source)
)
NO_FAULT = ("tank-full", "switched-off")


def off_from_the_first(days: Sequence[DaySummary]) -> str | None:
    """A sentence without its full stop; None where the water fits, or too few days tell."""
    most = float(np.quantile([day.expected_m3 or 0.0 for day in days], GOOD)) if days else 0.0
    told = [
        (day.water_m3, due_m3)
        for day in days
        if day.water_m3 is not None
        and day.coverage >= HEARD_SHARE
        and (due_m3 := _due_m3(day)) > max(SUNNY * most, 0.0)
    ]
    if len(told) < WEEK:
        return None
    water, due = np.array(told).T
    share = water / due
    figures = f"{water.sum():.0f} of {due.sum():.0f} m3 on {len(told)} sunny days"
    if _from_the_first(share < FAR_BELOW):
        return (
            f"from the first day on far less water came than the site file promises ({figures}): either a fault that was there before the first "
            "reading, or the file of another pump, array or well; compare it with the nameplates before anything that was found is believed"
        )
    if _from_the_first(share > FAR_ABOVE):
        return (
            f"from the first day on far more water came than the site file allows ({figures}), and no fault does that: it is the file of another "
            "pump, array or well, or the meter's pulse value is wrong; compare it with the nameplates before anything that was found is believed"
        )
    return None


def _due_m3(day: DaySummary) -> float:
    return (day.expected_m3 or 0.0) - sum(day.lost_m3.get(name, 0.0) for name in NO_FAULT)


def _from_the_first(says: np.ndarray) -> bool:
    return bool(says[:WEEK].mean() > 0.8) and mostly(says)
