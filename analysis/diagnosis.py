"""Weighs all causes of a family together: one distribution, with `unexplained` and "nothing wrong" in it.

Flow: slow.py (shifts) and symptoms (measures), causes -> HERE -> life.py.
Bayes' rule: how often a cause begins, times how well it explains all that was seen, with what its own signature leaves open.
Never: thresholds of a single cause.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.at_the_limit import Beside, by_limit, loads_of
from analysis.causes.registry import Levels, all_causes
from analysis.estimates.effects import FIRST_WATER, IS_FLOW
from analysis.estimates.vector import PLACE
from analysis.rows import Floats
from analysis.slow import Shift, SlowBench
from analysis.tried import amounts_tried

TEMPER = 0.6  # levels are models: measures err together, so that differences of log-likelihood are worth less
TEMPER_DAYS = 0.8
"""Likewise of the days' figures, whose covariance knows most of what errs together. Weighed on simulated seasons of five plants, each by
itself: the log of the true cause's share rises from 0.6 on at every one of them; at 1 hardly any more."""
UNEXPLAINED_PER_YEAR = 0.02
UNEXPLAINED_WIDTH = 12.0  # an unknown cause may shift each entry by so many standard deviations
NOTHING_PER_YEAR = 40.0  # sound weeks in which such a judgement is made; against causes per year
NOTHING_AT_FIRST = 5.0
"""Likewise of flow lost at an installation not learnt yet: it is judged once, and a fault that was there before its first row is as likely as
one that begins within the next ten weeks (a guess)."""
SAME_SPEED = 0.012  # log: a limit of speed comes again within so much (common practice, no source)
LIGHTER_PER_YEAR = 5.0  # the pump takes less at the same speed: its own causes judge that (a guess)
UNKNOWN_FIT, SOUND_FIT, BY_HAND_FIT, LIGHTER_FIT = -4, -3, -2, -1  # places in `_fits`
RISEN_PER_YEAR = (
    1.0  # a wet season, or a neighbour's pump that stands: the water rests higher than it was learnt (a guess)
)
RISEN_LEAST_M, RISEN_MOST_M = 0.5, 10.0
TURNED_DOWN_PER_YEAR = 0.5  # someone turns the speed down, and no channel reads it (a guess)
BY_A_VISITOR = 9.0  # half of those who turn it down while they are there are written down as a visit; twenty days a year lie near one (a guess)
KEEPS_POWER, BY_HAND_KEEPS_POWER = 0.7, 0.02
"""Shares of the limits that keep the power: of those that a controller sets itself, which else slows down, and of those set by hand (a guess)."""
ELSEWHERE = 0.03  # where the setting is read, and stands as ever: turned down by a hand all the same (a guess)
SET_IN = ((0.05, 0.004, 0.55), (0.01, 0.002, 0.4))
"""Steps of the whole in which people set a speed (a dial's marks, a keypad's whole percents), how near it is read, and the share of such
settings (a guess); the rest lie anywhere."""
ROUND_TOLD = 0.2  # log of speed: known less well, the whole was never learnt
LEAST_TURNED = 0.96  # nobody turns it down by less (common practice, no source)
NOTHING, UNEXPLAINED = "nothing", "unexplained"
BESIDE_TOLD = 8.0  # log-likelihood: what the array's figures may say of a sensor of the power at most
COURSE_TOLD = 6.0  # log-likelihood: what the shape of a course may say at most
DAYS_A_YEAR = 365.0
TOGETHER = 14.0 / DAYS_A_YEAR  # a year: two that have nothing to do with each other begin within the same fortnight
PAIRS_TRIED, ALIKE = 12, 0.05  # and of their powers' product: two that move the figures alike are not told apart
TOLD_FIRST = (
    0.7  # of two at once, the share of the one that moved the figures more: it is told first, and the other beside it
)
BY_WORK, WORK_DAYS_A_YEAR = 0.7, 5.0  # share that begins with work told of, and the days near some work (a guess)
LOG_AFTER_WORK, LOG_WITHOUT_WORK = (
    float(np.log(share)) for share in (BY_WORK * DAYS_A_YEAR / WORK_DAYS_A_YEAR, 1.0 - BY_WORK)
)
USUAL_SPREAD = (
    0.8  # log: two thirds of the amounts beyond the usual lie within a factor of 2.2 (common practice, no source)
)


@dataclass(frozen=True)
class Verdict:
    """Shares of all causes, summing to 1 with `nothing`; the likeliest form of the likeliest cause where forms exist."""

    shares: dict[str, float]
    form: int | None = None

    @cached_property
    def cause(self) -> str:
        """The likeliest cause that is one."""
        return max((name for name in self.shares if name != NOTHING), key=lambda name: self.shares[name])

    @property
    def confidence(self) -> float:
        """Its share."""
        return self.shares[self.cause]


def weigh_shift(
    bench: SlowBench, moved: Shift, at_once: float | None = None, work: bool = False, beside: Beside | None = None,
    nothing_per_year: float = NOTHING_PER_YEAR, visited: bool = False, kept: float = 0.0,
) -> Verdict:  # fmt: skip
    """Shares of the slow causes for one shift.

    at_once
        Log-likelihood of a step over a growth, from the course of the days. None = not known.
    work
        Somebody worked on pump, leads or controller when it began.
    beside
        What the same days say of the array: a reading of the power that is off is off there as well; and of the power at the pump's limit.
    visited
        Somebody was at the pump when it began, whatever for.
    kept
        Log-likelihood that what holds the pump back keeps its power, over that it keeps its speed (kept.py).
    """
    tried = amounts_tried(bench, moved)
    fits = _fits(bench, moved, tried)
    if beside is not None:
        fits = [fit + more for fit, more in zip(fits, _beside(bench, moved, beside, tried), strict=True)]
    of_form: dict[int, float] = {}
    for (form, _), fit, course in zip(tried, fits, _courses_of(bench, tried, at_once), strict=False):
        of_form[form] = max(of_form.get(form, -np.inf), TEMPER_DAYS * fit + course)
    logs: dict[str, list[tuple[float, int]]] = {}
    rates = bench.by_form.log_rates
    for form, found in of_form.items():
        prior = rates[form]
        if bench.effects[form].by_work:
            prior += LOG_AFTER_WORK if work else LOG_WITHOUT_WORK
        logs.setdefault(bench.causes[form], []).append((found + prior, form))
    logs.setdefault(UNEXPLAINED, []).append((TEMPER_DAYS * fits[UNKNOWN_FIT] + np.log(UNEXPLAINED_PER_YEAR), -1))
    riddle = logs[UNEXPLAINED][-1]
    if moved.group == "hydraulic" and riddle == max(max(found) for found in logs.values()):
        for weight, first, second in _two_at_once(bench, moved, at_once):
            logs.setdefault(bench.causes[first], []).append((weight + np.log(TOLD_FIRST), first))
            logs.setdefault(bench.causes[second], []).append((weight + np.log(1.0 - TOLD_FIRST), second))
    logs[NOTHING] = [(TEMPER_DAYS * fits[SOUND_FIT] + np.log(nothing_per_year), -1)]
    risen = _risen(bench, moved)
    if risen is not None:
        logs[NOTHING].append((TEMPER_DAYS * risen + np.log(RISEN_PER_YEAR), -1))
    if moved.group == "held":
        # a lower speed costs power in one proportion, whoever set it: a hand explains the two no better than the controller
        by_hand = min(fits[BY_HAND_FIT], max(fits[: len(tried)], default=fits[BY_HAND_FIT]))
        # where the setting is read, what is left is a limit kept elsewhere, which no figure tells from the controller's own
        rate = TURNED_DOWN_PER_YEAR * (ELSEWHERE if bench.setting_read else _set_by_hand(moved))
        by_hand += (_keeps(BY_HAND_KEEPS_POWER, kept) - _keeps(KEEPS_POWER, kept)) / TEMPER_DAYS
        logs[NOTHING].append((TEMPER_DAYS * by_hand + np.log(rate * (BY_A_VISITOR if visited else 1.0)), -1))
        if _at_usual_speed(moved):
            logs[NOTHING].append((TEMPER_DAYS * fits[LIGHTER_FIT] + np.log(LIGHTER_PER_YEAR), -1))
    return _verdict(logs)


def often_nothing(bench: SlowBench, form: int, new: bool) -> float:
    """How often nothing is wrong where a shift like this form's is judged, a year; `new`: of an installation not learnt yet."""
    return NOTHING_AT_FIRST if new and bench.costs_flow[form] else NOTHING_PER_YEAR


def _risen(bench: SlowBench, moved: Shift) -> float | None:
    """Log-likelihood of a resting level that rose, as `_fits`; None where the shift is none. No fault, and no sensor's: the pump feels it."""
    forms = [
        form
        for form in bench.groups[moved.group].tolist()
        if bench.causes[form] == "falling-water-level"
        and bench.effects[form].part == "resting"
        and not bench.effects[form].fixed
    ]
    if not forms:
        return None
    effect, direction = bench.effects[forms[0]], bench.directions[forms[0]][moved.places]
    weighted = moved.inverse @ direction
    power = float(direction @ weighted)
    amount = max(float(moved.mean @ weighted) / power, -RISEN_MOST_M) if power > 0.0 else 0.0
    if amount > -RISEN_LEAST_M:
        return None
    explained = amount * direction
    open_ = (effect.loose * explained) ** 2
    if effect.blur is not None:
        open_ += (amount * effect.blur[moved.places]) ** 2
    unknowns = amount * bench.by_form.unknowns[forms[:1]][:, :, moved.places]
    return _gauss((moved.mean - explained)[None], moved.covariance, open_[None], unknowns)[0]


def weigh_levels(symptom: str, kind: str, measures: dict[str, float], nothing: tuple[Levels, ...] = ()) -> Verdict:
    """Shares of the fast causes that know a symptom, for the levels that its measures read.

    nothing
        What they read where nothing is wrong but was not told either: a switch that no channel reads, cloud; each with its "rate" a year.
    """
    logs: dict[str, list[tuple[float, int]]] = {}
    for name, file in all_causes().items():
        if file.levels is None:
            continue
        for variant, levels in file.levels(kind).items():
            if variant.partition("/")[0] != symptom:
                continue
            rate = levels.get("rate", (1.0, 0.0))[0]
            logs.setdefault(name, []).append((TEMPER * _match(levels, measures) + np.log(file.per_year * rate), -1))
    logs.setdefault(UNEXPLAINED, []).append((TEMPER * _match({}, measures) + np.log(UNEXPLAINED_PER_YEAR), -1))
    for levels in nothing:
        logs.setdefault(NOTHING, []).append((TEMPER * _match(levels, measures) + np.log(levels["rate"][0]), -1))
    return _verdict(logs)


STRANGE = (0.0, 2.5)
"""A measure that a cause says nothing about: it may read anything."""


SAID_TWICE = {"torque": "idle", "current": "idle_current", "sun": "spare"}
"""One load said in two ways, against a pump that lifts and against one that lifts nothing: a cause answers to one of them."""
OTHER_WAY = {idle: lifting for lifting, idle in SAID_TWICE.items()}


def _match(levels: Levels, measures: dict[str, float]) -> float:
    total = 0.0
    for name, value in measures.items():
        if name.startswith("n_") or not np.isfinite(value) or _said_otherwise(name, levels, measures):
            continue
        mean, std = levels.get(name, STRANGE)
        z = (value - mean) / std
        total += -0.5 * min(z * z, 18.0) - np.log(std)
    return total


def _said_otherwise(name: str, levels: Levels, measures: dict[str, float]) -> bool:
    if name in OTHER_WAY:
        return name not in levels and np.isfinite(measures.get(OTHER_WAY[name], np.nan))
    second = SAID_TWICE.get(name, "")
    return second in levels and bool(np.isfinite(measures.get(second, np.nan)))


def _at_usual_speed(moved: Shift) -> bool:
    """It stands at the very speed that always was its limit, or above: then its load is less, and nothing holds power back."""
    at = np.flatnonzero(moved.places == PLACE["cn"])
    if not len(at) or np.sqrt(moved.covariance[at[0], at[0]]) > ROUND_TOLD:
        return False
    return bool(moved.mean[at[0]] > -SAME_SPEED)


def _set_by_hand(moved: Shift) -> float:
    """Likelihood of the speed held at, were it set by hand, over any other reason; 1 where no speed tells."""
    at = np.flatnonzero(moved.places == PLACE["cn"])
    if not len(at) or np.sqrt(moved.covariance[at[0], at[0]]) > ROUND_TOLD:
        return 1.0
    share = float(np.exp(moved.mean[at[0]]))
    found = 1.0 - sum(part for *_, part in SET_IN)
    for step, within, part in SET_IN:
        if share < LEAST_TURNED and abs(share / step - np.rint(share / step)) * step < within:
            found += part * step / (2.0 * within)
    return found


def _keeps(of_power: float, kept: float) -> float:
    """Log-likelihood of a limit, such a share of which keep the power, the others the speed."""
    return float(np.logaddexp(np.log(of_power) + kept, np.log(1.0 - of_power)))


def _fits(bench: SlowBench, moved: Shift, tried: list[tuple[int, float]]) -> list[float]:
    """Log-likelihood of each form with its amount, then of an unknown cause, of nothing, of a power turned down by hand, and of a lighter load at the same speed.

    All in one stack of matrices: a small matrix costs more in calls than in sums.
    """
    places, count = moved.places, len(tried)
    *found, unknowns = _explained(bench, moved, tried)
    explained, open_ = (np.vstack([part, np.zeros((4, len(places)))]) for part in found)
    open_[count] = moved.covariance.diagonal() * UNEXPLAINED_WIDTH**2
    by_hand = (places == PLACE["cap"]) | (places == PLACE["cn"])
    explained[count + 2] = np.where(by_hand, np.minimum(moved.mean, 0.0), 0.0)
    explained[count + 3] = np.where(places == PLACE["cap"], np.minimum(moved.mean, 0.0), 0.0)
    return _gauss(moved.mean - explained, moved.covariance, open_, unknowns)


def _explained(bench: SlowBench, moved: Shift, tried: list[tuple[int, float]]) -> tuple[Floats, Floats, Floats]:
    """What each form with its amount makes of the entries, and the variance that it leaves open beside, (len(tried), places) each.

    Last what a standard deviation of its unknown numbers moves, (len(tried), unknowns, places).
    """
    places, forms, amounts = moved.places, [form for form, _ in tried], np.array([amount for _, amount in tried])
    explained = bench.explained(forms, amounts, places)
    which = np.array(forms, np.int64)[:, None]
    open_ = (bench.loose[which] * explained) ** 2 + (amounts[:, None] * bench.by_form.blurs[which, places]) ** 2
    late = places == PLACE["first"]  # whatever costs flow blurs the first water, by what it costs at low sun
    costs = np.abs(explained[:, IS_FLOW[places]]).max(axis=1, initial=0.0)
    open_[:, late] += (FIRST_WATER * costs[:, None]) ** 2
    return explained, open_, amounts[:, None, None] * bench.by_form.unknowns[which[:, 0]][:, :, places]


def _two_at_once(bench: SlowBench, moved: Shift, at_once: float | None) -> list[tuple[float, int, int]]:
    """Pairs of forms of different causes that explain a shift together: log of their weight, the one that moved more, the other.

    Not a channel that lies: beside one anything can be explained.
    """
    forms = bench.groups[moved.group]
    directions = bench.directions[forms[:, None], moved.places]
    weighted = directions @ moved.inverse
    power, told = weighted @ directions.T, weighted @ moved.mean
    one, two = np.triu_indices(len(forms), 1)
    own, other, both = power[one, one], power[two, two], power[one, two]
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = own * other - both**2
        much = (other * told[one] - both * told[two]) / apart, (own * told[two] - both * told[one]) / apart
        ratios = 0.5 * (much[0] * told[one] + much[1] * told[two])
        names = np.array([bench.causes[form] for form in forms])
        may = (names[one] != names[two]) & (apart > ALIKE * own * other)
        for amount, places in zip(much, (one, two), strict=True):
            may &= (
                (names[places] != "sensor-fault")
                & (amount >= bench.least[forms[places]])
                & (amount <= bench.most[forms[places]])
            )
    best = np.argsort(np.where(may, -ratios, np.inf))[: min(PAIRS_TRIED, int(may.sum()))]
    if not len(best):
        return []
    tried = [
        [
            (int(forms[k]), float(bench.effects[forms[k]].true_amount(np.array([amount[p]]))[0]))
            for p, k in zip(best, place[best], strict=True)
        ]
        for amount, place in zip(much, (one, two), strict=True)
    ]
    parts = [_explained(bench, moved, side) for side in tried]
    unknowns = np.concatenate([parts[0][2], parts[1][2]], axis=1)
    fits = _gauss(moved.mean - parts[0][0] - parts[1][0], moved.covariance, parts[0][1] + parts[1][1], unknowns)
    courses = (_courses_of(bench, side, at_once) for side in tried)
    found = []
    for place, first, second, fit, *both in zip(best.tolist(), *tried, fits, *courses, strict=True):
        weight = TEMPER_DAYS * fit + float(np.log(TOGETHER))
        for (form, _), course in zip((first, second), both, strict=True):
            weight += course
            weight += bench.by_form.log_rates[form]
        moved_more = much[0][place] * told[one[place]] >= much[1][place] * told[two[place]]
        found.append((weight, first[0], second[0]) if moved_more else (weight, second[0], first[0]))
    return found


def _beside(bench: SlowBench, moved: Shift, beside: Beside, tried: list[tuple[int, float]]) -> list[float]:
    """What the array and the limit say of each form with its amount, and of the four that `_fits` ends with, as log-likelihood."""
    loads, open_ = loads_of(bench, tried)
    nothing = np.zeros(4)
    said = by_limit(beside.limit, moved, np.append(loads, nothing), np.append(open_, nothing))
    said[len(tried)] = 0.0  # an unknown cause may move the limit as well
    if beside.array is not None:
        said[: len(tried)] += _by_array(bench, beside.array, tried)
    return list(said.tolist())


def _by_array(bench: SlowBench, beside: Shift, tried: list[tuple[int, float]]) -> Floats:
    """Log-likelihood of what each form with its amount makes of the array's figures, over that of leaving them alone."""
    every = np.array([form for form, _ in tried], np.int64)
    told = bench.moves[every[:, None], beside.places].any(axis=1).nonzero()[0]
    found = np.zeros(len(tried))
    if len(told):
        forms, amounts = every[told].tolist(), np.array([tried[row][1] for row in told.tolist()])
        explained = bench.explained(forms, amounts, beside.places)
        misses = np.vstack([beside.mean[None], beside.mean - explained])
        open_ = np.vstack([np.zeros(len(beside.places)), (bench.loose[forms, None] * explained) ** 2])
        logs = np.array(_gauss(misses, beside.covariance, open_))
        found[told] = np.clip(logs[1:] - logs[0], -BESIDE_TOLD, BESIDE_TOLD)
    return found


def _gauss(misses: Floats, covariance: Floats, more: Floats, unknowns: Floats | None = None) -> list[float]:
    """Log density of each row of misses but for a constant.

    more
        By row, what its variances have beside the covariance.
    unknowns
        Of the first rows, what moves their entries together: (rows, unknowns, entries).
    """
    every = np.arange(len(covariance))
    stack = np.repeat(covariance[None], len(misses), axis=0)
    stack[:, every, every] += more
    if unknowns is not None and unknowns.size:
        stack[: len(unknowns)] += unknowns.transpose(0, 2, 1) @ unknowns
    lower = np.linalg.cholesky(stack)
    white = np.linalg.solve(lower, misses[:, :, None])[:, :, 0]
    return list((-0.5 * (white**2).sum(axis=1) - np.log(lower[:, every, every]).sum(axis=1)).tolist())


def _courses_of(bench: SlowBench, tried: list[tuple[int, float]], at_once: float | None) -> list[float]:
    """By form with its amount, log of how likely so large an amount and such a course of the days are, whether it came at once or grows."""
    half = 0.0 if at_once is None else 0.5 * min(max(at_once, -COURSE_TOLD), COURSE_TOLD)
    forms, of = np.array([form for form, _ in tried], np.int64), bench.by_form
    stepped, grown = _sizes_of(of.usual[forms], np.array([amount for _, amount in tried]))
    steps, grows = of.log_sudden[forms] + half, of.log_grows[forms] - half
    return list(np.logaddexp(steps + stepped, grows + grown).tolist())


def _sizes_of(usual: Floats, amounts: Floats) -> tuple[Floats, Floats]:
    """Log of how rare each amount is among those that came at once, and among those that grow; `usual`: of its form, 0 = not known.

    Every growing one was small once, so that a small one is odd only where it came at once.
    """
    known = usual > 0.0
    away = np.where(known, np.log(amounts / np.where(known, usual, amounts)) / USUAL_SPREAD, 0.0)
    return -0.5 * away**2, -0.5 * np.maximum(away, 0.0) ** 2


def _verdict(logs: dict[str, list[tuple[float, int]]]) -> Verdict:
    values = np.array([value for forms in logs.values() for value, _ in forms])
    weighed = iter(np.exp(values - values.max()).tolist())
    weights = {name: sum(next(weighed) for _ in forms) for name, forms in logs.items()}
    total = sum(weights.values())
    shares = {name: weight / total for name, weight in weights.items()}
    verdict = Verdict(shares)
    form = max(logs[verdict.cause])[1] if verdict.cause in logs else -1
    return Verdict(shares, form if form >= 0 else None)
