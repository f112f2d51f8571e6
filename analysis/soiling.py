"""Soiling seen against the weeks just before, by a sensor of the sun or by the clear days that the array itself knows.

Flow: estimates/days_before.py, estimates/clear_levels.py, slow.py -> HERE -> slow_life.py.
Never: the life of a finding.
"""

import numpy as np

from analysis.causes.registry import all_causes
from analysis.diagnosis import NOTHING, NOTHING_PER_YEAR, Verdict, weigh_shift
from analysis.estimates.clear_levels import fallen, in_clear_air
from analysis.estimates.days_before import MEASURED, SUN, Change, largest_change, telling
from analysis.estimates.own_light import sides_apart
from analysis.learning import Learnt
from analysis.memory import Memory
from analysis.plant import Plant
from analysis.rows import Floats
from analysis.shaded import BEFORE_ALL, CLEAR_FELL
from analysis.slow import Shift, SlowBench, amounts_of, shift_of
from analysis.symptoms import worked_on

SOILING = "panel-soiling"
SUNS, BEFORE = "suns", "before"
"""In the memory's arrays: hours of the last days, and how the array was before what is open."""
MOST_NOTHING = 0.5
"""Share of "nothing wrong" above which nobody is told: what went astray before is in the shift's own covariance."""
ENOUGH = 6.0
"""Log-likelihood ratio, against the most dust that is no fault."""


def soiled_since(
    plant: Plant, bench: SlowBench, memory: Memory, learnt: Learnt, recent: Floats, day: int, days: int
) -> tuple[Verdict, int, int, float] | None:
    """What the array lost within days: verdict, form, window, and against what it was seen; None where nothing is worth telling. What it was before goes into `memory.arrays`.

    days
        No more of the last ones than so many: those before are days of another fault.
    """
    hours = memory.arrays.get(SUNS)
    change = None if hours is None else _changed(plant, hours[-days:])
    if change is None:
        return None
    shift = _shift(bench, learnt, recent, change)
    form = bench.causes.index(SOILING)
    amounts, _, _ = amounts_of(bench, shift, np.array([form]))
    if not amounts[0] >= bench.effects[form].least:
        return None
    work = worked_on(plant.facts, plant.days, range(day - change.days + 1, day + 1))
    verdict = weigh_shift(bench, shift, None, work)
    sun_measured = "irradiance_w_m2" in plant.has
    if not sun_measured:
        verdict = _nothing_by(verdict, change.ratio)
    if verdict.cause != SOILING or verdict.shares[NOTHING] >= MOST_NOTHING:
        return None
    memory.arrays[BEFORE] = np.stack([change.before, change.own, np.full(len(change.own), change.variance)])
    return (
        verdict,
        form if verdict.form is None else verdict.form,
        change.days,
        BEFORE_ALL if sun_measured else CLEAR_FELL,
    )


def _changed(plant: Plant, hours: Floats) -> Change | None:
    """What the last days lost, where it is certain enough. hours : float64[days, HOURS], today last."""
    if "irradiance_w_m2" in plant.has:
        change = largest_change(hours, ENOUGH)
        return change if change is not None and change.ratio >= ENOUGH else None
    return fallen(hours, not sides_apart(plant), _evens() + LOOKS)


def _evens() -> float:
    """Log of the odds that make dust as likely as nothing, as often as either is."""
    return float(np.log(NOTHING_PER_YEAR / all_causes()[SOILING].per_year))


def _nothing_by(verdict: Verdict, odds: float) -> Verdict:
    """The verdict with the share of nothing that the days' own course leaves: it knows of the wandering sky, and of weeks of cloud."""
    nothing = float(1.0 / (1.0 + np.exp(odds - _evens())))
    some = 1.0 - verdict.shares[NOTHING]
    shares = {name: share / some * (1.0 - nothing) for name, share in verdict.shares.items() if name != NOTHING}
    return Verdict(shares | {NOTHING: nothing}, verdict.form)


LOOKS = float(np.log(2.0))  # lengths of time that overlap by more than half are two looks, and may go wrong so often


LATELY, BEFORE_DAYS, LEAST_DAYS = 3, slice(-60, -8), 6
"""Days: the last ones, those before that they are held against, how many of those must tell."""
FELL = 0.5  # of what is told of: dust that lay there before is in what was learnt


def fell_lately(recent: Floats, amount: float) -> bool:
    """Whether the array fell within the last weeks by half of a loss that is seen against what was learnt, hour by hour of the sun's way.

    Under a supposed sky a season's turbidity, its sun and a tilt not quite as the file says shift an array's figures by as much as dust,
    but not within weeks. recent : float64[days, SIZE], today last.
    """
    hours = recent[:, SUN]
    before = hours[BEFORE_DAYS]
    told = (~np.isnan(before)).sum(axis=0) >= LEAST_DAYS
    told &= (~np.isnan(hours[-LATELY:])).any(axis=0)
    if not told.any():
        return False
    fell = np.nanmedian(before[:, told], axis=0) - np.nanmean(hours[-LATELY:, told], axis=0)
    return bool(np.median(fell) >= FELL * amount)


LOW_DAYS, APART_DAYS = 3, 6
"""Days that tell, and from the first to the last of them: longer than one weather lasts (common practice, no source)."""


def under_any_sky(memory: Memory, learnt: Learnt, recent: Floats, amount: float) -> bool:
    """Whether a loss that is seen under a supposed sky fell within the last weeks and stays, as dust does and the sky's own ways do not."""
    sky = memory.arrays.get("sky", np.empty((0, len(SUN))))
    return fell_lately(recent, amount) and stays_low(sky - learnt.hours_of_sun, amount)


def stays_low(hours: Floats, amount: float) -> bool:
    """Whether no day of the last ones shows less than half of a loss, under a supposed sky, and they are more than one weather.

    Thin even cloud and haze come and go within days; dust grows for weeks, and every clear day is as low as the one before. So a level
    that was never left since is dust's, and one that the sky still gave a week ago is not known from its own.

    hours : float64[days, HOURS]
        As they came, over what was learnt of each (log); today last.
    """
    told = np.flatnonzero(~np.isnan(hours).all(axis=1))
    if len(told) < LOW_DAYS or told[-1] - told[0] < APART_DAYS:
        return False
    return bool((np.nanmedian(hours[told], axis=1) <= -FELL * amount).all())


WASHED = 0.5  # of what was lost
CLOUDED = 1.5  # of what is lost now: more than so much, and less again later, is an even cloud


def _shift(bench: SlowBench, learnt: Learnt, recent: Floats, change: Change) -> Shift:
    """The change of all hours, and what else the last days say of the array."""
    told = np.flatnonzero(~np.isnan(change.shift))
    sun = np.full((len(told), len(told)), change.variance) + np.diag(change.own[told])
    places, mean, covariance = SUN[told], change.shift[told], sun
    beside = shift_of(bench, learnt, recent, "electric", change.days, [])
    if beside is not None:
        rest = np.flatnonzero(~np.isin(beside.places, SUN))
        places, mean = np.concatenate([beside.places[rest], places]), np.concatenate([beside.mean[rest], mean])
        covariance = np.zeros((len(places), len(places)))
        covariance[: len(rest), : len(rest)] = beside.covariance[np.ix_(rest, rest)]
        covariance[len(rest) :, len(rest) :] = sun
    return Shift("electric", places, mean, covariance, change.days)


def since_before(
    bench: SlowBench, memory: Memory, learnt: Learnt, recent: Floats, days: int, against: float = BEFORE_ALL
) -> tuple[Shift | None, Floats]:
    """How a change told of goes on: its mean over the last `days`, and by day how much of the array's power is lost (log).

    `memory.arrays` has by hour the level before, the variance of its own, and what all have in common.
    """
    level, own, common = memory.arrays[BEFORE]
    hours = memory.arrays[SUNS][-len(recent) :]
    inside, _ = telling(hours)
    off = np.where(inside & ~np.isnan(level), hours - level, np.nan)
    known = ~np.isnan(off)
    weight = np.where(known, 1.0 / own, 0.0)
    newest = known[-days:]
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = -(weight * np.where(known, off, 0.0)).sum(axis=1) / weight.sum(axis=1)
        if against == CLEAR_FELL:
            clear = in_clear_air(lost)
            lost, off = np.where(clear, lost, np.nan), np.where(clear[:, None], off, np.nan)
            newest = ~np.isnan(off[-days:])
        mean = np.where(newest, off[-days:], 0.0).sum(axis=0) / newest.sum(axis=0)
    if not newest.any():
        return None, lost
    change = Change(level, mean, own, 0.0, float(common[0]), 0.0, days)
    return _shift(bench, learnt, recent, change), lost


def washed_below(weighed: dict[str, float]) -> float:
    """Loss (log) below which an open soiling is gone: rain, or a cleaning, takes most of it at once; what is left is another story."""
    return max(MEASURED.dust, WASHED * weighed.get("amount", 0.0))


def exceeded_since(lost: Floats, begins: int) -> int:
    """Index of the first day from `begins` on from which on more was lost than dust that is no fault; of three telling days the middle one counts."""
    told = np.flatnonzero(~np.isnan(lost))
    told = told[told >= begins]
    told = told[lost[told] < MEASURED.dust + CLOUDED * lost[told[-1]]]
    if len(told) < 2:
        return begins
    wide = np.concatenate([lost[told[:1]], lost[told], lost[told[-1:]]])
    middle = np.sort(np.stack([wide[:-2], wide[1:-1], wide[2:]]), axis=0)[1]
    below = np.flatnonzero(middle < MEASURED.dust)
    if not len(below):
        return int(told[0])
    return int(told[min(below[-1] + 1, len(told) - 1)])
