"""A shade seen against the weeks just before, hour against hour of the same days: no steady hour, no clear sky and no working point is needed.

Flow: estimates/dips.py, slow.py -> HERE -> slow_life.py.
Never: the life of a finding.
"""

import numpy as np

from analysis.diagnosis import NOTHING, Verdict, weigh_shift
from analysis.estimates.days_before import SUN
from analysis.estimates.dips import DEEPEST, MOST_HELD, beside_others, dip_of
from analysis.estimates.horizon import sun_rises
from analysis.estimates.taken import held_back
from analysis.learning import Learnt
from analysis.lying import too_high_volts
from analysis.memory import Case, Memory
from analysis.plant import Plant
from analysis.rows import Floats, middles
from analysis.slow import Shift, SlowBench
from analysis.symptoms import worked_on

SHADING = "shading"
TAKEN, USUAL, FELL = "taken", "taken_usual", "fell_day"
"""In the memory: hours taken of the last days, what each gave before what is open, the last day on which hours had fallen."""
BEFORE_ALL, BESIDE_OTHERS, CLEAR_FELL = 1.0, 2.0, 3.0
"""How a case was seen against the weeks before: in all hours (soiling.py), or in some beside the others."""
SOUND = 0.1  # log: an hour that lost less is not in a shade
DARK = 0.3  # likewise: no haze takes so much of one hour
AGAIN_DAYS = 12  # so long ago they may have been seen to have fallen before
OWN, COMMON = (
    0.08,
    0.02,
)  # log of an hour beside the others of a clear day, by itself and together: cloud passes (a guess)
LASTING = 0.04  # likewise for weeks: season and heat move the hours against each other (a guess)
MOST_NOTHING = 0.3


def shaded_since(
    plant: Plant, bench: SlowBench, memory: Memory, today: Floats, day: int, days: int
) -> tuple[Verdict, int, int] | None:
    """Hours that fell within the last `days`, on two days seen: verdict, form and window; None where nothing is worth telling.

    today : float64[4, HOURS]
        Of taken.py. What the hours gave before goes into `memory.arrays`.
    """
    kept = memory.arrays.get(TAKEN)
    if kept is None or too_high_volts(memory):
        return None
    sun_read = "irradiance_w_m2" in plant.has
    needs_more = any(case.family == "slow-hydraulic" and case.ended_ms is None for case in memory.cases)
    dip = dip_of(kept, today, "tank_float_up" in plant.has, sun_rises(plant, day), sun_read, needs_more)
    if dip is None or dip.days > days:
        return None
    before, memory.numbers[FELL] = memory.numbers.get(FELL, -np.inf), float(day)
    if not day - AGAIN_DAYS <= before < day:
        return None
    moved = _moved(beside_others(kept, dip.usual), dip.days)
    if moved is None:
        return None
    work = worked_on(plant.facts, plant.days, range(day - dip.days + 1, day + 1))
    verdict = weigh_shift(bench, moved, None, work)
    if verdict.cause != SHADING or verdict.form is None or verdict.shares[NOTHING] >= MOST_NOTHING:
        return None
    memory.arrays[USUAL] = dip.usual
    return verdict, verdict.form, dip.days


def since_fell(bench: SlowBench, memory: Memory, form: int, days: int, count: int) -> tuple[Shift | None, Floats]:
    """How a shade told of goes on: the mean of its hours over the last `days`, and by day of the last `count` how much is lost in them (log)."""
    share = beside_others(memory.arrays[TAKEN], memory.arrays[USUAL])[-count:]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.log(np.maximum(share, DEEPEST)) / bench.directions[form, SUN]
    of_form = np.isfinite(part)
    with np.errstate(invalid="ignore"):
        lost = np.where(of_form, part, 0.0).sum(axis=1) / of_form.sum(axis=1)
    return _moved(share, days), np.concatenate([np.full(count - len(lost), np.nan), lost])


def only_dark(case: Case, moved: Shift) -> bool:
    """Whether these days hold, of an open shade, no hour that it leaves alone: a string out would look the same."""
    return case.cause == SHADING and not (moved.mean[np.isin(moved.places, SUN)] > -SOUND).any()


def settled(case: Case, moved: Shift) -> bool:
    """Whether an open case is a shade of which these days say nothing more; seen beside the others, they cannot tell of anything else."""
    beside = case.cause == SHADING and case.weighed.get("from_before") == BESIDE_OTHERS
    return beside or only_dark(case, moved)


def moved_on(case: Case, learnt: Learnt, recent: Floats) -> bool:
    """Whether a shade has left its hours for others: with the season the sun comes round another side of what throws it."""
    return case.cause == SHADING and bool((recent[-1, SUN] - learnt.mean[SUN] < -DARK).any())


def held_in_shade(bench: SlowBench, memory: Memory, today: Floats) -> bool:
    """Whether power is held back today in hours of an open shade, or beside them: shaded cells work far above the voltage of maximum power.

    today : float64[4, HOURS]
        Of taken.py.
    """
    shaded = np.zeros(len(SUN), bool)
    for case in memory.cases:
        if case.cause == SHADING and case.ended_ms is None:
            shaded |= bench.directions[int(case.weighed["form"]), SUN] < 0.0
    return bool(((held_back(today) > MOST_HELD) & shaded).any())


CONTRAST = 0.5  # of what is lost, between hours of one day
BEYOND = 2  # hours of the sun's way from the shaded ones: nearer, a part may be shaded too


def within_days(bench: SlowBench, memory: Memory, learnt: Learnt, form: int, amount: float) -> bool:
    """Whether the days on which hours lie low by half of `amount` (log) show others that do not; True where no day has both.

    Under a supposed sky each hour's figure is of its own days. Dust in the air that stays for days lowers all hours alike, but some of them
    are known anew before the others are, which then still stand as before: only hours of one day tell a shade. The days are those of
    `memory.arrays`, before they were held together.
    """
    kept = memory.arrays.get("sky")
    if kept is None or kept.shape[1] != len(SUN):
        return True
    off = kept - learnt.mean[SUN]
    shaded = bench.directions[form, SUN] < 0.0
    near = np.convolve(shaded, np.ones(2 * BEYOND - 1), "same") > 0.0
    found = []
    for day in off:
        low, others = day[shaded & ~np.isnan(day)], day[~near & ~np.isnan(day)]
        if len(low) and len(others) and low.mean() < -CONTRAST * amount:
            found.append(float(np.median(others) - low.mean()))
    return not found or float(np.median(found)) >= CONTRAST * amount


def _moved(share: Floats, days: int) -> Shift | None:
    """Of each hour the middle one of its days: cloud passes on some of them, a shadow on none."""
    newest = share[-days:]
    seen = (~np.isnan(newest)).sum(axis=0)
    told = np.flatnonzero(seen > 0)
    if not len(told):
        return None
    mean = middles(np.log(np.maximum(newest[:, told], DEEPEST)).T)
    covariance = np.full((len(told), len(told)), COMMON**2) + np.diag(OWN**2 / seen[told] + LASTING**2)
    return Shift("electric", SUN[told], mean, covariance, days)
