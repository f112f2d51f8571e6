"""At what hours a shade falls, by the clock of those who go and look for it.

Flow: a case of shading (its form: hours of the sun's way) -> HERE -> life.py.
Never: finding a shade (estimates/dips.py, slow.py do).
"""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from analysis.estimates.vector import HOURS, PLACE
from analysis.memory import Case
from analysis.plant import plant_of
from analysis.slow import slow_bench
from analysis.solar_days import HOUR_MS, SolarDays
from logger.record.site_facts import SiteFacts

TO_MS = HOUR_MS // 4  # the sun's own noon wanders by as much through the year
SUN = np.array([PLACE[f"s{hour}"] for hour in range(HOURS)])


def at_the_clock(facts: SiteFacts, case: Case) -> str:
    """A sentence more for a case of shading: from when to when, by the site's local time on the last day on which it showed; else nothing."""
    if case.cause != "shading" or "form" not in case.weighed:
        return ""
    plant = plant_of(facts)
    dark = np.flatnonzero(slow_bench(plant).effects[int(case.weighed["form"])].direction[SUN] < 0)
    if not len(dark):
        return ""
    day = int(plant.days.day_of(case.seen_ms))
    first, last = (local_time(plant.days, day, int(hour)) for hour in (dark[0], dark[-1] + 1))
    return f" By the clock at the site that is from about {first} to {last}."


def local_time(days: SolarDays, day: int, hour: int) -> str:
    """When an hour of the sun's way begins (0 to HOURS, noon at its half), as HH:MM of the site's zone, to a quarter of an hour.

    >>> local_time(SolarDays(-30.7, 24.0, "Africa/Johannesburg"), 20_000, 6)
    '12:30'
    """
    begins = days.noon_ms(day) + (hour - HOURS // 2) * HOUR_MS
    told = round(begins / TO_MS) * TO_MS
    return datetime.fromtimestamp(told / 1000, UTC).astimezone(ZoneInfo(days.timezone)).strftime("%H:%M")
