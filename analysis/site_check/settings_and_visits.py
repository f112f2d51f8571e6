"""The controller's waiting times and the dates of visits: what a slip of unit or year makes of them.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

from datetime import date, timedelta

from analysis.site_check.remark import Checked, Remarks

DELAY_LEAST_S, DELAY_MOST_S = 2.0, 1200.0
"""Controllers wait 10 s to some minutes before a start (common practice, no source); 0 is none at all."""
HOLD_LEAST_MIN = 1.0
"""A well needs minutes to refill; controllers wait 5 min to some hours (common practice, no source); 0 is none at all."""

FIRST_YEAR = 1980
"""The first programmes of solar pumps ran about then (from memory)."""
AHEAD = timedelta(days=60)
"""A file is often written some weeks before the pump is handed over."""


def settings(site: Checked) -> Remarks:
    """Start delay and low-level hold too short to be meant, or a delay too long."""
    controller = site.facts.controller
    delay, hold = controller.start_delay_s, controller.low_level_hold_min
    if 0 < delay < DELAY_LEAST_S:
        yield site.doubtful(
            "controller.start_delay_s", f"{delay:g} s is shorter than any controller waits",
            f"is it in minutes? {delay:g} min are {60.0 * delay:.3g} s",
        )  # fmt: skip
    elif delay > DELAY_MOST_S:
        yield site.doubtful(
            "controller.start_delay_s", f"{delay:g} s are {delay / 60.0:.3g} min before each start: longer than controllers wait",
            f"is it in milliseconds? {delay:g} ms are {delay / 1000.0:.3g} s; a wait for the well is low_level_hold_min",
        )  # fmt: skip
    if 0 < hold < HOLD_LEAST_MIN:
        yield site.doubtful(
            "controller.low_level_hold_min", f"{hold:g} min is too short for a well to refill",
            f"is it in hours? {hold:g} h are {60.0 * hold:.3g} min",
        )  # fmt: skip


def visits(site: Checked) -> Remarks:
    """Days that no site can have: before there were such pumps, or still to come; visits before there was anything to visit."""
    began = site.facts.sensors.commissioned
    dates = [("sensors.commissioned", began)] + [
        (f"visit[{n}].date", v.date) for n, v in enumerate(site.facts.visits, 1)
    ]
    for key, day in dates:
        if day is not None and day.year < FIRST_YEAR:
            yield site.doubtful(key, f"{day} lies before there were solar pumps to speak of", "is the year right?")
        elif day is not None and day > date.today() + AHEAD:
            yield site.doubtful(
                key, f"{day} is still to come", "is the year right? Write what was done, and when, once it is done"
            )
    for number, visit in enumerate(site.facts.visits, 1):
        if began is not None and visit.date < began:
            yield site.doubtful(
                f"visit[{number}].date", f"{visit.date} lies before the site was commissioned, {began}",
                "is the year right, here and in sensors.commissioned? A visit before the first healthy day tells nothing",
            )  # fmt: skip
