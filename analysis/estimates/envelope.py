"""What a supposed clear sky says: only the best of the last days, for haze and thin cloud take light as dust does.

Flow: day.py (vector) -> HERE -> close.py.
Never: with an irradiance sensor, for the array's own figures.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.vector import HOURS, PLACE
from analysis.plant import Plant
from analysis.rows import Floats

KEPT_DAYS = (
    10  # within which three clear hours at the same sun are found where solar pumps stand (common practice, no source)
)
LEAST_DAYS = 2
SAME_DAYS = 3
DEEP = 0.2  # of what an hour lies below the others, day after day: a shade's edge goes on by minutes from day to day
SAME = 0.05  # log of power: under a clear sky an hour comes again as it was; under cloud hardly ever (common practice, no source)
HAZY = 0.06  # log of light: less is no haze to speak of
UNLIKE, UNLIKE_SHARE = (
    0.02,
    0.08,
)  # log of light about the day's own mean, and as a share of what it lost (common practice, no source)
LEAST_HOURS = 3
DEEP_LOSS = -0.25  # log: more than dust takes (common practice, no source)
WHOLE_DAY, LEAST_LOW = 6, 2  # hours that tell; of them away from noon
ONE_LEVEL = 0.025  # log of power: scatter of such a day's hours (common practice, no source)
CHANGED = 0.2  # likewise: less may be a haze that takes nearly the same at all hours
WHOLE_STRINGS = 0.06  # likewise: what air and season leave between the level and so many strings
OVERCAST = -0.8  # likewise: less light is an even overcast
NOON = (
    np.abs(np.arange(HOURS) + 0.5 - HOURS / 2) < 2.0
)  # hours from noon: the sun's way through the air is hardly longer
HIGH = np.abs(np.arange(HOURS) + 0.5 - HOURS / 2) < 4.0  # hours from noon: lower, horizon and season decide
SKY_TOLD = np.arange(PLACE["s0"], PLACE["s0"] + HOURS)
"""Hours of the sun's way."""


def under_clear_sky(
    plant: Plant,
    vector: Floats,
    kept: Floats | None,
    told: NDArray[np.bool_] | None = None,
    usual: Floats | None = None,
) -> tuple[Floats, Floats]:
    """The vector with its clear-sky figures replaced by their best of the last days, and what to keep for tomorrow.

    vector : float64[SIZE]; kept : float64[days, figures] or None before the first day; told : bool[HOURS], hours whose sky is known
    from neighbours: they need not come again; usual : float64[HOURS], what each was learnt to give, NaN where it was not.
    """
    sun_measured = "irradiance_w_m2" in plant.has
    places = np.array([PLACE["gc"]]) if sun_measured else SKY_TOLD
    today = vector[places][None, :]
    kept = today if kept is None else np.concatenate([kept[1 - KEPT_DAYS :], today])
    known = np.zeros(len(places), bool) if told is None or sun_measured else told & ~np.isnan(today[0])
    if usual is not None and not sun_measured and _another_level(today[0], kept[:-1], usual, plant.facts.array.strings):
        kept = np.concatenate([np.full_like(kept[:-1], np.nan), today])  # of an array that is no more
        known |= ~np.isnan(today[0])
    found_places = np.where(known, today[0], _best(kept) if sun_measured else _come_again(kept))
    found = vector.copy()
    found[places] = found_places
    return found, kept


def without_haze(vector: Floats, usual: Floats) -> Floats:
    """The vector without its hours under a supposed sky, where nearly all lie low and each by another share.

    Dust and a string out take one share at all hours, a shade leaves some hours alone. Haze and thin even cloud drift by, and take most at
    low sun (Beer and Lambert), so that hours which are smooth each by itself differ from one another.

    Parameters
    ----------
    vector : float64[SIZE]
    usual : float64[HOURS]
        What each hour was learnt to give, NaN where it was not.
    """
    hours = HIGH & ~np.isnan(vector[SKY_TOLD] - usual)
    gave = vector[SKY_TOLD][hours]
    off = gave - usual[hours]
    if len(off) < LEAST_HOURS or np.sort(off)[-2] > -HAZY:
        return vector
    unlike = np.std(off, ddof=1)
    if off.mean() < DEEP_LOSS:  # of a string, one at all hours; what was learnt of each may be of another season
        unlike = min(unlike, np.std(gave, ddof=1))
    if unlike < UNLIKE + UNLIKE_SHARE * -off.mean():
        return vector
    found = vector.copy()
    found[SKY_TOLD] = np.nan
    return found


def _another_level(today: Floats, kept: Floats, usual: Floats, strings: int) -> bool:
    """Whether a whole day lies at one other level than the days before, at low sun and at high, as strings that go or come again make it.

    Haze that takes a fifth of the light at noon takes a third where the sun stands at half that height (Beer and Lambert), and an even
    sheet of cloud hardly ever keeps its thickness through a day; but where the air is dusty some such days come, and only whole strings count.
    """
    hours = ~np.isnan(today - usual)
    if hours.sum() < WHOLE_DAY or not (hours & ~NOON).sum() >= LEAST_LOW or not (hours & NOON).any():
        return False
    off = (today - usual)[hours]
    before = kept - usual
    known = before[~np.isnan(before)]
    if not len(known) or off.mean() < OVERCAST or np.std(off, ddof=1) > ONE_LEVEL:
        return False
    changed, out = abs(off.mean() - np.median(known)), np.arange(1, strings)
    return bool(changed > CHANGED and (np.abs(changed + np.log(1.0 - out / strings)) < WHOLE_STRINGS).any())


def _best(kept: Floats) -> Floats:
    """The largest of at least `LEAST_DAYS`. (days, figures) -> (figures,)"""
    return np.where((kept == kept).sum(axis=0) >= LEAST_DAYS, np.fmax.reduce(kept, axis=0), np.nan)


def _come_again(kept: Floats) -> Floats:
    """The mean of the newest three that agree, else of the three largest, if these agree; else NaN. (days, figures) -> (figures,)

    A new level, lower or higher, comes again on each clear day; cloud comes again as something else.
    """
    known = ~np.isnan(kept)
    newest = known & (np.cumsum(known[::-1], axis=0)[::-1] <= SAME_DAYS)
    enough = newest.sum(axis=0) == SAME_DAYS
    spread = np.where(newest, kept, -np.inf).max(axis=0) - np.where(newest, kept, np.inf).min(axis=0)
    largest = np.sort(np.where(known, kept, -np.inf), axis=0)[::-1][:SAME_DAYS]
    with np.errstate(invalid="ignore"):
        agree = enough & (largest[0] - largest[-1] < SAME)
        mean_newest = np.where(newest, kept, 0.0).sum(axis=0) / SAME_DAYS
        others = np.median(mean_newest[enough]) if enough.any() else 0.0
        same = np.maximum(SAME, DEEP * (others - mean_newest))
        told = np.where(agree, largest.mean(axis=0), np.nan)
        return np.where(enough & (spread < same), mean_newest, told)
