"""Hours in which day after day less is taken than the same days' other hours promise, and was not before: a shadow that stands there.

Flow: taken.py (hours of each day) -> HERE -> shaded.py.
An hour into which a shadow walks is never steady, and in the shadow a pump stands, so that such hours have no working point to tell of. But
what was taken in them falls on every day at the same sun, while the day's other hours give what they gave.
Never: rows; judgement.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.estimates.taken import OF_SUN, STOOD, TAKEN, held_back
from analysis.estimates.vector import HOURS
from analysis.rows import Floats, middle

KEPT_DAYS = 45
ENVELOPE = 0.8  # quantile of an hour over the days: near a clear sky's
GOOD, LOW = 0.88, 0.8  # of what the hour usually gives beside the day's others
LIKE = 0.1  # so near to that an hour is as usual (common practice, no source)
LIKE_HOURS = 3
LEAST_LEVEL = 0.75  # of the envelope: else it was no clear day
BEFORE_DAYS, COMPARED = 6, 15
LATEST_DAYS = 16  # a fall that was not seen by then did not come at once
FELL = 0.2  # of an hour, at least
SCATTERS = 0.12  # of an hour: more is cloud, or a pump with habits of its own
MIXED = 0.1  # of the days before at most were as low as those after
LEAST_LOW, LEAST_DEEP, LEAST_CLOUDY = 3, 4, 6
"""Telling days: where the sun is read; where it is not, of hours that lost `MOSTLY` all; of others: neighbouring days have one weather."""
MOSTLY = 0.5  # of an hour (common practice, no source)
SAME_DAYS = 3
LONGEST_H = 6
HIGH = np.abs(np.arange(HOURS) + 0.5 - HOURS / 2) < 4.0  # hours from noon: lower, horizon, season and start decide
STANDS = 0.5  # of the hour
STOPS = 0.25  # likewise, of an hour after which it starts no more
MOST_HELD = 0.5  # of the hour, of one that still gives half: shaded cells work far above the voltage of maximum power too, and no limit takes more
UNLIKE = 0.08  # log: so much more than all hours would have left, were it the whole array's loss
NEAR = 2  # hours about it, one of which is as usual: else a cloud stood there
DEEPEST = 0.4  # left of an hour at least: beyond, a log tells of what little is left, not of the shade (as at_rest.py)
SITED = np.abs(np.arange(HOURS) + 0.5 - HOURS / 2) < 3.0
"""Hours in which an array is sited free of shade even in midwinter (common practice: from nine to three): no horizon stands there from the first day on."""
AT_ONCE = 0.25  # of an hour
A_DAY = 0.05  # likewise: what a horizon that the season's sun comes to meet never takes within days, the less the lower the sun (horizon.py)
PART, SAME_MINUTE_H = 0.15, 0.12  # of an hour
SAME_H, SAME_SHARE = 0.2, 0.1  # hours lost, from day to day; and as a share of them


@dataclass(frozen=True)
class Dip:
    """hours: those that fell. usual: by hour, what it gives beside a level of 1 (HOURS,), NaN where not known. days: since they fell."""

    hours: NDArray[np.int64]
    usual: Floats
    days: int


@dataclass(frozen=True)
class _Days:
    """Each day's hours beside its own level and what they usually are, 1 = as usual (days, HOURS); what is usual (HOURS,)."""

    share: Floats
    usual: Floats


def hours_taken(kept: Floats | None, today: Floats, float_read: bool = True) -> Floats:
    """The hours of the last days with today's; float64[days, HOURS]. today : float64[3, HOURS] of taken.py"""
    row = (today if float_read else until_it_stopped(today))[TAKEN][None, :]
    return row if kept is None else np.concatenate([kept[1 - KEPT_DAYS :], row])


RUNS = 0.03  # of the hour at least


def until_it_stopped(today: Floats) -> Floats:
    """The day without the hour in which the pump stopped until the evening, and those after: where no float is read the tank may be full.

    On other days it is full at another time, so that such hours would pass for lost ones, today or among those that today is held against.
    today : float64[3, HOURS] of taken.py
    """
    ran = np.flatnonzero(today[STOOD] < 1.0 - RUNS)
    if not len(ran) or ran[-1] == HOURS - 1:
        return today
    stopped = int(ran[-1]) + int(today[STOOD][ran[-1]] <= RUNS)
    found = today.copy()
    found[TAKEN, stopped:] = np.nan
    return found


def dip_of(
    kept: Floats, today: Floats, float_read: bool, rises: NDArray[np.bool_] | None = None, sun_read: bool = False,
    needs_more: bool = False,
) -> Dip | None:  # fmt: skip
    """The hours that fell within the last days, and on today still; None where none did, or it is not sure.

    kept : float64[days, HOURS]
        `hours_taken`, today last.
    today : float64[4, HOURS]
        Of `taken.py`.
    float_read
        Whether the tank tells that it is full: else a pump that stands may stand for that.
    rises : bool[HOURS]
        Hours in which the sun stands no lower than in the weeks before: no horizon comes to meet it. None = not known of any.
    sun_read
        Whether a sensor tells the light: else cloud may stand in some hours for days, and hardly ever takes most of one.
    needs_more
        Whether a fault of the pump or its cable is open, with which it may need more light to start.
    """
    if np.isnan(today[TAKEN]).all() or len(kept) <= BEFORE_DAYS + LEAST_LOW:
        return None
    if not _below_its_better_days(kept):
        return None
    days = _compared(kept)
    share = beside_others(kept, days.usual)
    if not (_tells(share)[-1] and (share[-1] < LOW).any()):
        return None
    free = SITED if rises is None else SITED | rises
    found = [run for run in _runs(share[-1] < GOOD) if (share[-1, run] < LOW).any()]
    fell = [(run, since) for run in found if (since := _fell(share, run, free, sun_read))]
    if (
        len(fell) != 1
    ):  # on both sides of noon something else lacks, where the most that the pump takes does not hide it
        return None
    run, since = fell[0]
    hours = np.array(list(since), np.int64)
    under = run[share[-1, run] < LOW]
    if not float_read and _may_be_full(share, today[STOOD], under):
        return None
    if _starts_late(share[-1], today[STOOD], hours, needs_more):
        return None
    held = held_back(today)
    if (
        (held[hours] > MOST_HELD)[share[-1, hours] > 1.0 - MOSTLY].any()
        or not _same(share, hours)
        or _everywhere(share[-1], days.usual, today, hours)
    ):
        return None
    return Dip(hours, days.usual, max(since.values()))


def _runs(low: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Hours in one run each."""
    hours = np.flatnonzero(low)
    return [run for run in np.split(hours, np.flatnonzero(np.diff(hours) > 1) + 1) if 0 < len(run) <= LONGEST_H]


def _fell(share: Floats, run: NDArray[np.int64], free: NDArray[np.bool_], sun_read: bool) -> dict[int, int]:
    """Of the hours of a run of today's, those that fell for good, and since how many days; no horizon explains those that are `free`."""
    found = {}
    for hour in run[(share[-1, run] < LOW) & HIGH[run]].tolist():
        since = _since(share, hour, run, bool(free[hour]), sun_read)
        if since is not None and (free[hour] or since <= LATEST_DAYS):
            found[hour] = since
    return found


def _everywhere(last: Floats, usual: Floats, today: Floats, hours: NDArray[np.int64]) -> bool:
    """Whether all hours may have lost as much light, and the others do not show it, for there the sun gives more than the pump takes: a string
    out, or dust. last : float64[HOURS], share of what is usual."""
    with np.errstate(divide="ignore", invalid="ignore"):
        of_sun = np.log(usual * today[OF_SUN])
        least = np.mean(np.log(np.maximum(last[hours], DEEPEST)) + of_sun[hours])
        others = np.setdiff1d(np.flatnonzero(last >= GOOD), hours)
        return not (np.log(last[others]) + of_sun[others] > least + UNLIKE).any()


def beside_others(kept: Floats, usual: Floats) -> Floats:
    """Share of what each hour usually gives, beside the better half of the day's hours; NaN on days that do not tell. (days, HOURS)"""
    share = kept / usual
    level = _upper_half(share)
    with np.errstate(invalid="ignore"):
        share = _beside(share, level)
        share[~(level >= LEAST_LEVEL)] = np.nan
    share[~_tells(share)] = np.nan
    return share


def _below_its_better_days(kept: Floats) -> bool:
    """Whether some hours of today lie below their own better days, and others do not: else there is nothing to work out."""
    best = np.sort(np.where(np.isnan(kept), -np.inf, kept), axis=0)[-BEFORE_DAYS]
    with np.errstate(invalid="ignore"):
        low = kept[-1] < GOOD * best
        return bool(low.any() and (kept[-1] >= LEAST_LEVEL * best).sum() >= LIKE_HOURS)


def _beside(share: Floats, level: Floats) -> Floats:
    """The shares over the level of their day; NaN where that is nothing, as of an array that is read too coarsely to see it give. (days, HOURS)"""
    return share / np.where(level > 0.0, level, np.nan)[:, None]


def _tells(share: Floats) -> NDArray[np.bool_]:
    """Days of which some hours are as usual. bool[days]"""
    with np.errstate(invalid="ignore"):
        return np.asarray((np.abs(share - 1.0) < LIKE).sum(axis=1) >= LIKE_HOURS)


def _compared(kept: Floats) -> _Days:
    count = (~np.isnan(kept)).sum(axis=0)
    usual = np.where(count >= BEFORE_DAYS, _quantile(np.sort(kept, axis=0), count, ENVELOPE), np.nan)
    usual = np.where(usual > 0, usual, np.nan)
    share = kept / usual
    level = _upper_half(share)
    with np.errstate(invalid="ignore"):
        share = _beside(share, level)
        good = (level >= LEAST_LEVEL)[:, None] & (share > GOOD)
    count = good.sum(axis=0)
    own = _quantile(np.sort(np.where(good, share, np.nan), axis=0), count, 0.5)
    return _Days(share, usual * np.where(count >= BEFORE_DAYS, own, np.nan))


def _quantile(ordered: Floats, count: NDArray[np.int64], share: float) -> Floats:
    """By column, of the first `count` of its rising values, straight between two: all at once, for twelve calls of NumPy's own cost forty times as much."""
    place = share * np.maximum(count - 1, 0)
    low = place.astype(np.int64)
    part, every = place - low, np.arange(ordered.shape[1])
    below, above = ordered[low, every], ordered[np.minimum(low + 1, len(ordered) - 1), every]
    above = np.where(low + 1 < count, above, below)
    return np.where(part < 0.5, below + part * (above - below), above - (1.0 - part) * (above - below))


def _upper_half(share: Floats) -> Floats:
    """By day, the median of the better half of its hours; NaN where none is known. (days,)"""
    ordered = np.sort(np.where(np.isnan(share), -np.inf, share), axis=1)[:, ::-1]
    count = np.isfinite(ordered).sum(axis=1)
    place = np.maximum((count + 1) // 2 - 1, 0) // 2
    return np.where(count > 0, ordered[np.arange(len(share)), place], np.nan)


def _since(share: Floats, hour: int, run: NDArray[np.int64], free: bool, sun_read: bool) -> int | None:
    """Days since which the hour is lower than on nearly all telling days before; None if it is not, or only a horizon's share lower a day."""
    beside = [h for h in (*range(run[0] - NEAR, run[0]), *range(run[-1] + 1, run[-1] + 1 + NEAR)) if 0 <= h < HOURS]
    with np.errstate(invalid="ignore"):
        told = np.flatnonzero(~np.isnan(share[:, hour]) & (share[:, beside] >= GOOD).any(axis=1))
    value = np.minimum(share[told, hour], 1.0)
    if len(value) < BEFORE_DAYS + LEAST_LOW:
        return None
    best, since = 0.0, None
    highest = np.maximum.accumulate(value[::-1])[::-1]  # from each day on
    jumps = _middle_of_three(value[:-3], value[1:-2], value[2:-1]) - value[3:]
    falls = value[2:-1] > highest[3:]
    if not free:
        falls &= jumps > AT_ONCE + A_DAY * (told[3:] - told[2:-1])
    falls[: BEFORE_DAYS - 3] = falls[len(value) - LEAST_LOW - 2 :] = False
    for first in (falls.nonzero()[0] + 3).tolist():
        after, before = value[first:], value[max(first - COMPARED, 0) : first]
        apart = middle(before) - middle(after)
        if (before <= highest[first]).sum() > MIXED * len(before) or apart < FELL:
            continue
        if not sun_read and len(after) < (LEAST_DEEP if apart > MOSTLY else LEAST_CLOUDY):
            continue
        if _about_a_line(told[first:], after) > SCATTERS:
            continue
        telling = float(jumps[first - 3]) if not free else apart * np.sqrt(min(len(before), len(after)))
        if telling > best:
            best, since = telling, len(share) - int(told[first])
    return since


def _middle_of_three(one: Floats, two: Floats, three: Floats) -> Floats:
    return np.maximum(np.minimum(one, two), np.minimum(np.maximum(one, two), three))


def _about_a_line(day: NDArray[np.int64], value: Floats) -> float:
    """Standard deviation about a straight line through the days: with the season a shadow walks on evenly."""
    x = day - day.mean()
    rest = value - value.mean() - x * (x @ value) / (x @ x)
    return float(np.sqrt(rest @ rest / (len(value) - 2)))


def _may_be_full(share: Floats, stood: Floats, under: NDArray[np.int64]) -> bool:
    """Whether a pump that stands in these hours may stand for a full tank: on clear days of like use one is full at the same minute, until
    the evening; in hours between others none is so even. Nor is a tank full in the morning that was not in the evening before, nor does a
    full one take power from a pump that runs. bool
    """
    ran = 1.0 - stood[under]
    with np.errstate(divide="ignore", invalid="ignore"):
        if ((ran > RAN) & (share[-1, under] < RUNS_LOW * ran)).any():
            return False
    after, before = share[-1, under.max() + 1 :], share[-1, : under.min()]
    if not (after >= GOOD).any() and (stood[under] > STOPS).any():
        return True
    until_evening = bool((after[~np.isnan(after)] >= GOOD).all())
    if until_evening and not (before >= GOOD).any():
        return False
    return bool((stood[under] > STANDS).any()) and not _by_the_sun(share, under)


RAN_AS_EVER = 0.1  # of an hour


def _starts_late(last: Floats, stood: Floats, hours: NDArray[np.int64], needs_more: bool) -> bool:
    """Whether the pump only starts later in the morning, or stops sooner in the evening, and took as much as ever while it ran: a load that has
    grown does so on both sides of noon, and a known one explains a side by itself. last : float64[HOURS], share of what is usual. bool
    """
    known = np.flatnonzero(~np.isnan(last))
    by_standing = (last < GOOD) & (last >= 1.0 - stood - RAN_AS_EVER)
    first, final = int(known[0]), int(known[-1])
    edge = first in hours or final in hours
    return bool(edge and by_standing[hours].all() and (needs_more or (by_standing[first] and by_standing[final])))


RAN, RUNS_LOW = 0.4, 0.5
"""Share of the hour in which it ran; share of what is usual that it took then, which the last of four long rows in an hour cannot make alone."""


def _by_the_sun(share: Floats, under: NDArray[np.int64]) -> bool:
    """Whether the pump stops or starts within an hour at the same minute, day after day. bool"""
    told = np.flatnonzero((~np.isnan(share[:, under])).all(axis=1))[-LEAST_LOW:]
    beside = np.arange(max(under[0] - 1, 0), min(under[-1] + 2, HOURS))  # it may have gone, or come, within them
    part = share[np.ix_(told, beside)]
    inside = (part.mean(axis=0) > PART) & (part.mean(axis=0) < 1.0 - PART)
    return bool(len(told) == LEAST_LOW and (inside & (np.ptp(part, axis=0) < SAME_MINUTE_H)).any())


def _same(share: Floats, hours: NDArray[np.int64]) -> bool:
    """Whether the newest telling days lost as much of these hours."""
    told = np.flatnonzero(~np.isnan(share[:, hours]).any(axis=1))[-SAME_DAYS:]
    lost = np.clip(1.0 - share[np.ix_(told, hours)], 0.0, 1.0).sum(axis=1)
    return bool(np.ptp(lost) < SAME_H + SAME_SHARE * lost.mean())
