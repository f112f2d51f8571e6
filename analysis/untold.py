"""What keeps a sound pump at rest, or its water away, and no channel tells: a hand on switch or speed, a full tank, cloud.

Flow: symptoms.DayView, the days in memory -> HERE -> life.py, which weighs it against the causes.
Never: a look past yesterday's close, beside the episode's own measures.
"""

import numpy as np

from analysis.causes.registry import Levels
from analysis.plant import plant_of
from analysis.stood import days_idle, idle
from analysis.summary import DaySummary
from analysis.symptoms import DayView, Episode

SWITCHED_OFF: Levels = {"current": (0.0, 0.1), "fed": (0.0, 0.02), "push": (0.03, 0.04), "code": (0.0, 0.1), "attempts": (0.0, 0.1), "vain": (0.0, 0.1), "volts": (1.2, 0.12), "room": (1.15, 0.12), "still": (0.9, 0.3), "stood": (0.2, 0.5), "onset": (0.25, 0.43), "pressed": (0.0, 0.05), "spun": (0.0, 0.2), "sprang": (0.9, 0.25), "again": (0.1, 0.35), "rate": (0.4, 0.0)}  # fmt: skip
"""Someone switched it off by hand, and no channel reads the switch; per year as often as a start fails, by day while it ran, and for a day or two (a guess)."""

TANK_FULL: Levels = SWITCHED_OFF | {"stood": (0.8, 0.65), "onset": (0.0, 0.28), "rate": (1.05, 0.0)}
"""Nor is the float read: a full tank stops it while it runs, for it is the last water pumped that fills it; for weeks, but what is drawn or dries up starts it again for an hour every few days (a guess)."""

TANK_FULL_LATE: Levels = TANK_FULL | {"onset": (1.0, 0.28), "rate": (0.35, 0.0)}
"""Likewise, full by the last hours of an afternoon, one time in four: it stopped when any pump stops, and did not start in the morning (a guess)."""

TANK_SHUT: Levels = TANK_FULL | {"pressed": (1.0, 0.15), "rate": (0.3, 0.0)}
"""Likewise, where a float valve shuts the pipe and a switch that feels the pressure stops the pump: the pressure stays locked in (a guess)."""

OVERCAST: Levels = SWITCHED_OFF | {
    "vain": (0.3, 0.45),
    "spun": (0.7, 0.46),
    "stood": (1.0, 1.0),
    "onset": (0.7, 0.46),
    "fed": (0.0, 0.03),
    "sprang": (0.35, 0.15),
    "again": (0.2, 0.45),
}
"""No sensor reads the sun, and at rest the array says nothing of it: open-circuit voltage falls by 3 % where light halves, and rises as much again as the cells cool."""

CODED = 0.9  # of the rows
BY_CODE = 0.02  # of all that a switch or a float stops: a controller may have a code for that (a guess)
TRY_ATTEMPTS = (0.3, 0.25)
TRY_ROOM = (1.0, 0.06)  # of the voltage at maximum power: under a cloud a try takes all that the array gives
TRY_PUSH = (0.5, 0.3)  # of the power that starts it: with as much as that it would have run (a guess)
TRY_STARTS = 1.3  # times that power: under as much sun it would not have given up
TRIES_SHARE = 0.3
ALIKE = 0.03  # scatter of the tries' power: a rotor that stands takes the drive's limit each time, a try under cloud what the array has just then
DARK_TRIED, SUN_TRIED, MOST_TRIED = (-1.0, 0.4), (0.4, 0.75), 5.0
"""`tried_light` under cloud too dark to start, and in sun enough. It is the least that the array could give, so that in the dark it lies below 0 but for
what a voltage is misread; how far below hangs on the light and, by 0 to 1.3, on how much of a row a try takes."""
PART_DAYS_A_YEAR = 20.0  # on which cloud keeps a pump still for hours after it ran (common practice, no source)
DARK_DAYS, DARK_SINCE = 0.3, 10.0  # dark days, and days, as good as seen before the first: 3 in 100 days (a guess)
GOES_ON, GOES_ON_SINCE = 0.5, 2.0  # likewise of dark days that another followed: one in four (a guess)


TURNED_DOWN: Levels = {"flow": (0.0, 0.03), "spare": (-0.95, 0.3), "onset": (0.5, 0.5), "handled": (0.1, 0.35), "before": (1.0, 0.1), "revived": (0.1, 0.3), "lead": (0.0, 0.15), "rate": (0.03, 0.0)}  # fmt: skip
"""Someone turned an impeller down to less than it needs to lift at all, and no channel reads the setting (a guess)."""


KNOWN_LOSS: Levels = {"flow": (0.03, 0.05), "torque": (-0.03, 0.1), "current": (-0.03, 0.12), "sun": (-0.05, 0.25), "fell": (0.0, 0.15), "onset": (0.6, 0.5), "ran": (0.0, 1.5), "above": (1.0, 3.0), "water": (9.0, 8.0), "drawn": (1.0, 0.5), "pipe": (0.05, 0.15), "probe": (1.0, 0.2), "handled": (0.1, 0.35), "revived": (0.5, 0.5), "lead": (0.0, 0.2), "backwards": (0.0, 0.1), "before": (0.7, 0.35), "part": (0.5, 0.3), "rate": (12.0, 0.0)}  # fmt: skip
"""A pump that is known to lose a share of its flow: in weak sun that is all of it, for minutes of some morning or evening of each month (a guess)."""
OF_SHARE = ("worn-pump", "riser-leak", "clogging")


def loss_known(view: DayView, told_ms: int) -> bool:
    """Whether a loss of flow that still lasts was told of by the days' figures before."""
    return any(
        case.family == "slow-hydraulic"
        and case.cause in OF_SHARE
        and case.ended_ms is None
        and case.flagged_ms < told_ms
        for case in view.memory.cases
    )


def untold(view: DayView, episode: Episode, told_ms: int | None = None) -> tuple[Levels, ...]:
    """All that could be so, with its rate a year. `told_ms`: when the case that it goes on was told of; None = now.

    What an open finding explains is no second one: two faults that have nothing to do with each other hardly come at once.
    """
    fitted = view.facts.sensors.channels
    if episode.symptom == "no-water" and loss_known(view, episode.flag_ms if told_ms is None else told_ms):
        return (KNOWN_LOSS,)
    if episode.symptom == "no-water" and "speed_setting_pct" not in fitted and episode.at_flag.get("lift", 1.0) < 0.0:
        return (TURNED_DOWN,)
    if episode.symptom != "not-turning":
        return ()
    found = []
    if "tank_float_up" not in fitted:
        found += [TANK_FULL, TANK_FULL_LATE]
        if "discharge_pressure_bar" in fitted:
            found.append(TANK_SHUT)
    elif "switched_on" not in fitted:
        found.append(SWITCHED_OFF)
    if episode.at_flag.get("code", 0.0) > CODED:  # clouds raise none
        return tuple(levels | {"code": (1.0, 0.1), "rate": (BY_CODE * levels["rate"][0], 0.0)} for levels in found)
    if "irradiance_w_m2" not in fitted:
        rate = overcast_per_year(view.memory.days, days_idle(view), episode.at_flag.get("today", 0.0) > 0)
        plant = plant_of(view.facts)
        rate *= _as_dark(episode.at_flag.get("light", np.nan))
        start = plant.start_power_w / plant.full_power_w
        alike = episode.at_flag.get("alike", np.inf) < ALIKE
        if alike or episode.at_flag.get("push", 0.0) > TRY_STARTS * start:
            return tuple(found)
        tries = {"attempts": TRY_ATTEMPTS, "room": TRY_ROOM, "push": (TRY_PUSH[0] * start, TRY_PUSH[1] * start)}
        found += [
            OVERCAST | {"rate": ((1.0 - TRIES_SHARE) * rate, 0.0)},
            OVERCAST | tries | {"rate": (TRIES_SHARE * rate, 0.0)},
        ]
    return tuple(found)


def _as_dark(light: float) -> float:
    """Likelihood of what the tries told of the light, were it too little to start, over it being enough; 1 where none tells."""
    if not np.isfinite(light):
        return 1.0
    of_dark, of_sun = (-0.5 * ((light - mean) / std) ** 2 - np.log(std) for mean, std in (DARK_TRIED, SUN_TRIED))
    return float(np.exp(np.clip(of_dark - of_sun, -MOST_TRIED, MOST_TRIED)))


def overcast_per_year(days: list[DaySummary], stood: int, today: bool) -> float:
    """How often a year cloud alone keeps this pump still for today and `stood` days before, as its own days tell.

    Whatever kept it still then counts as cloud. `today`: it ran this day, and stands since; that is no rare thing.
    """
    if today:
        return PART_DAYS_A_YEAR
    before = days[: len(days) - stood]
    still = np.array([idle(day) for day in before], bool)
    begun, went_on = float(np.sum(still[1:] & ~still[:-1])), float(np.sum(still[1:] & still[:-1]))
    first = (DARK_DAYS + begun) / (DARK_SINCE + float(np.sum(~still)))
    follows = (GOES_ON + went_on) / (GOES_ON_SINCE + went_on + begun)
    return DAYS_A_YEAR * first * follows**stood


DAYS_A_YEAR = 365.0
