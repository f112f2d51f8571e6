"""What an installation does beyond its tolerance from its first day on: a fault, and not what is learnt.

Flow: slow.py (shifts, amounts), learning.py -> HERE -> close.py.
Each of the first days is weighed by itself against what was learnt before it, and all of them together against the site file: a loss
that no single day tells from tolerance, cloud and season was else learnt by the time at which all of them tell it.
Never: the life of a finding.
"""

from dataclasses import replace

import numpy as np

from analysis.estimates.scatter import GROUPS, Scatter
from analysis.estimates.vector import PLACE, SIZE
from analysis.learning import DAYS, Learnt, beginning
from analysis.rows import Floats
from analysis.slow import ENOUGH_LONG, HARDLY_KNOWN, Shift, SlowBench, amounts_of, shift_of

LASTING = 5  # sunny days that a first day's oddness would have to last
LEAST_SEEN = 3  # sunny days: fewer do not say that it lasts
SHOWN_FIRST = 0.5  # of the amount that all the days show: less on the first of them is a fault that began later
TELLS_OF_FLOW = np.array([PLACE[f"{name}{band}"] for name in "qn" for band in range(3)])


def beyond_tolerance(bench: SlowBench, learnt: Learnt, recent: Floats) -> bool:
    """Whether what an installation hardly known yet does would be told of if it lasted: not to be learnt before that is settled.

    A pump is given as many sunny days as it is learnt for: what nobody could name by then is its own, and faults beside it are to be seen.

    Parameters
    ----------
    bench : SlowBench
    learnt : Learnt
    recent : float64[d, SIZE]
        Day vectors, today's last. A pump's last days are judged together: one day may hold one band alone.

    Returns
    -------
    bool
    """
    for group in bench.groups:
        places, is_pump = GROUPS[group], group == "hydraulic"
        if group == "held" or learnt.most_days[group] >= HARDLY_KNOWN:
            continue
        if is_pump and (~np.isnan(recent[:, places]).all(axis=1)).sum() > DAYS:
            continue
        part = recent[-LASTING:] if is_pump else recent[-1:]
        if np.isnan(part[-1, places]).all():
            continue
        moved = shift_of(bench, learnt, np.repeat(_mean(part, places)[None], LASTING, axis=0), group, LASTING, [])
        forms = bench.groups[group]
        enough = bench.enough_new(forms) if is_pump else np.full(len(forms), ENOUGH_LONG)
        if moved is not None and _best(bench, moved, enough) is not None:
            return True
    return False


def not_its_own(bench: SlowBench, learnt: Learnt, recent: Floats) -> Learnt:
    """What was learnt, without the pump's part where all its first days together have lost more flow than the site file's tolerances leave.

    Parameters
    ----------
    bench : SlowBench
    learnt : Learnt
    recent : float64[d, SIZE]
        All day vectors since the first, today's last, none of them of a pump that somebody has lifted since.

    Returns
    -------
    Learnt
        The same object where nothing was learnt wrongly.
    """
    days = _telling(recent)
    if not LEAST_SEEN <= len(days) <= DAYS or learnt.most_days["hydraulic"] == 0.0:
        return learnt
    fresh = beginning(bench.scatter)
    moved = shift_of(bench, fresh, days, "hydraulic", len(days), [])
    forms = bench.groups["hydraulic"]
    form = None
    if moved is not None:
        form = _best(bench, moved, np.where(bench.costs_flow[forms], bench.enough_new(forms), np.inf))
    if moved is None or form is None:
        return learnt
    first = shift_of(bench, fresh, days[:LEAST_SEEN], "hydraulic", LEAST_SEEN, [])
    forms = np.array([form])
    if (
        first is None
        or not amounts_of(bench, first, forms)[0][0] >= SHOWN_FIRST * amounts_of(bench, moved, forms)[0][0]
    ):
        return learnt
    return _without_pump(learnt, fresh, bench.scatter)


def _telling(recent: Floats) -> Floats:
    """The days on which the pump's flow was seen."""
    return recent[~np.isnan(recent[:, TELLS_OF_FLOW]).all(axis=1)]


def _mean(days: Floats, places: np.ndarray) -> Floats:
    """Of the days that have each of the places, (SIZE,); NaN elsewhere."""
    part = days[:, places]
    known = ~np.isnan(part)
    count = known.sum(axis=0)
    mean = np.full(SIZE, np.nan)
    mean[places] = np.where(count > 0, np.where(known, part, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)
    return mean


def _best(bench: SlowBench, moved: Shift, enough: Floats) -> int | None:
    """The form that explains a shift best, None where each tells less than its `enough` or is too small to tell people of."""
    forms = bench.groups[moved.group]
    amounts, _, ratios = amounts_of(bench, moved, forms)
    with np.errstate(invalid="ignore"):
        ratios = np.where((ratios >= enough) & (amounts >= bench.least[forms]), ratios, -np.inf)
    best = int(np.argmax(ratios))
    return int(forms[best]) if ratios[best] > 0.0 else None


def _without_pump(learnt: Learnt, fresh: Learnt, scatter: Scatter) -> Learnt:
    """The pump's entries and parameters as the site file and its tolerances have them; the array's, which share none of them, as learnt."""
    places = GROUPS["hydraulic"]
    moves = [bool(mode.direction[places].any()) for mode in scatter.modes.values()]
    anew = np.zeros(len(learnt.joint), bool)
    anew[places] = True
    anew[SIZE:] = moves
    either = anew[:, None] | anew
    entries = anew[:SIZE]
    return replace(
        learnt,
        joint=np.where(anew, fresh.joint, learnt.joint),
        joint_covariance=np.where(either, fresh.joint_covariance, learnt.joint_covariance),
        days=np.where(entries, 0.0, learnt.days),
        age=np.where(entries, 0.0, learnt.age),
        scatter=np.where(entries, fresh.scatter, learnt.scatter),
    )
