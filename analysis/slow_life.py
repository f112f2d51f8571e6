"""The life of slow findings: begun by an alarm, weighed and sized again at each close, ended by two sunny days in band.

Flow: slow.py (alarms, amounts), diagnosis.py -> HERE -> close.py.
Never: rows.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from analysis.beside_the_pump import denied, misread
from analysis.calibration import MARKED
from analysis.causes.registry import all_causes
from analysis.diagnosis import NOTHING, UNEXPLAINED, Verdict, often_nothing, weigh_shift
from analysis.estimates.bench import DAY_SHARE, times_left, water_lost_with
from analysis.estimates.day import DayFigures
from analysis.estimates.kept import limit_kept
from analysis.estimates.scatter import GROUPS
from analysis.estimates.vector import PLACE
from analysis.flow_lost import WATER, Lost, interval_of, lost_by_day, nothing_lost, size_of
from analysis.held_on import HIDES, held_on, hides, sizing, untellable
from analysis.lasting import SHOWS, Watered, lasts, watered
from analysis.learning import Learnt
from analysis.life import UNLEARNT, number_of, take_verdict, unlearnt
from analysis.lying import array_unknown, said_beside, told_already, told_by_another, without_stuck
from analysis.memory import Case, Memory
from analysis.meter import METERS
from analysis.odd_enough import SECOND_RATIO, a_second, strange
from analysis.one_finding import FLOW_SHARE_LOST, SAME_DAYS, reopened, taken_over
from analysis.plant import Plant
from analysis.rows import Floats, middle
from analysis.shaded import (
    BESIDE_OTHERS,
    CLEAR_FELL,
    SHADING,
    held_in_shade,
    moved_on,
    settled,
    shaded_since,
    since_fell,
    within_days,
)
from analysis.since_when import LOOK_BACK, course, that_tell, with_other_days
from analysis.slow import (
    COLUMNS_OF,
    FLOW_LOST,
    Alarm,
    Shift,
    SlowBench,
    amounts_of,
    best_alarm,
    daily_amounts,
    is_new,
    named,
    shift_of,
    slow_bench,
    windows_of,
)
from analysis.soiling import SOILING, exceeded_since, since_before, soiled_since, under_any_sky, washed_below
from analysis.symptoms import visited, worked_on
from analysis.well_drawn import drawn_as_learnt
from logger.record.site_facts import VisitKind

SUNNY_DAYS = 2  # in band: repaired
IN_BAND = 0.4  # of what it was, or of the least worth telling: gone
WEIGHED_DAYS = 14  # the newest days say best what it is
RECENT_MORE = 60
WHOLE_TOLD = 0.3  # standard deviation of an amount that is one or nothing: above, the days tell neither that it is there nor that it is gone
NOW_DAYS = 3  # dust grows until it is washed off: how bad it is, is how bad it is now
USUALLY_OPEN = 0.12
SIZE_OPEN = {"shading": 0.45, "controller-derating": 0.4, "falling-water-level": 0.25}
"""Standard uncertainty of a size, as its share, where it is not `USUALLY_OPEN` (a guess): what is lost in hours that do not tell (dim, held back, before the
start) is not seen, and a datasheet's slopes say how deep a level lies; 14 of drawn seasons of four plants lay apart by a factor of 2 (one standard deviation)."""
GAUGE = np.array([PLACE[f"p{band}"] for band in range(3)])
COURSE_DAYS = 21  # after the alarm: later the beginning lies too far back to tell a growth that has ended from a step
COMES_AGAIN = ("shading", "panel-soiling")  # seen on two days at least: one day's dip is the sky's, or a sensor's
AN_HOUR = 0.1  # of what a day tells at most: one or two of its hours are enough to see it again
MOST_NOTHING = 0.3  # share of "nothing wrong" above which nobody is told
WITHIN_DAY = ("hold_min", "of_volts")  # how it came: kept beside what later days size it by
SETTING_READ = "setting_read"
"""In the memory's numbers once the speed's setting had a value: a channel that a site file names and nothing fills says nothing of a hand."""


@lru_cache(maxsize=64)
def _setting_unread(plant: Plant) -> SlowBench:
    bench = slow_bench(plant)
    return replace(bench, setting_read=False) if bench.setting_read else bench


def with_slow(plant: Plant, memory: Memory, learnt: Learnt, recent: Floats, day: int, figures: DayFigures) -> bool:
    """Update `memory.cases` at the close of `day`. True: something is open, so that the day is not learnt."""
    bench = slow_bench(plant) if SETTING_READ in memory.numbers else _setting_unread(plant)
    recent = drawn_as_learnt(learnt, without_stuck(plant, memory, recent, day))
    today = windows_of(bench, learnt, recent)
    were_dirty = bool(_open(memory, "electric"))
    odd = today.odd_groups
    for group in GROUPS if odd or any(case.ended_ms is None for case in memory.cases) else ():
        if not today.counts[0, COLUMNS_OF[group]].any():
            continue
        were_open = _open(memory, group)
        for case in were_open:
            _again(plant, bench, memory, learnt, recent, case, day, figures)
        open_now = _open(memory, group)
        if group == "electric" and len(open_now) < len(were_open):
            continue  # mended; what the envelope of the days before still says is no new fault
        nuisance = _known_forms(memory, group)
        known = {case.cause for case in open_now}
        asked = group in odd and len(open_now) < 2 and not untellable(plant, memory, group, open_now)
        if asked and (group != "held" or held_on(learnt, recent, np.inf, 0.0)):  # else no alarm of it would be told
            alarm = best_alarm(
                bench, learnt, recent[-_days_since_end(plant, memory, group, day) :], group, nuisance, known, today,
                SECOND_RATIO if open_now else 0.0,
            )  # fmt: skip
            if group == "held" and alarm and not held_on(learnt, recent, alarm.amount, _array_lost(bench, memory)):
                alarm = None
            if group == "held" and held_in_shade(bench, memory, figures.taken):
                alarm = None
            dark = any(moved_on(c, learnt, recent) for c in open_now)  # dark hours look like anything
            if alarm is not None and not dark and (not open_now or a_second(alarm)):
                amounts = daily_amounts(learnt, recent, alarm.shift, bench.directions[alarm.form])
                since = range(day - alarm.shift.days + 1, day + 1)
                work, there = (seen(plant.facts, plant.days, since) for seen in (worked_on, visited))
                verdict = weigh_shift(
                    bench, alarm.shift, course(amounts, alarm.shift.days, bench.effects[alarm.form].most)[1], work,
                    said_beside(plant, bench, memory, learnt, recent, group, alarm.shift.days),
                    often_nothing(bench, alarm.form, is_new(learnt, group)), there, _kept(group, recent),
                )  # fmt: skip
                if verdict.cause in COMES_AGAIN:
                    amounts = daily_amounts(learnt, recent, alarm.shift, bench.directions[alarm.form], AN_HOUR)
                form = alarm.form if verdict.form is None else verdict.form
                told = verdict.cause in known or told_already(bench, memory, verdict.cause, form)
                told |= denied(bench, learnt, recent, alarm, verdict.cause, form, _known_forms(memory, "hydraulic"))
                told |= verdict.cause == SHADING and not within_days(bench, memory, learnt, form, alarm.amount)
                water = watered(bench, learnt, memory, alarm, len(amounts))
                if told or not _stands(plant, memory, learnt, figures, recent, verdict.cause, amounts, alarm, water):
                    continue
                if verdict.shares[NOTHING] < MOST_NOTHING and (
                    verdict.cause != UNEXPLAINED
                    or verdict.form is not None
                    or (not open_now and group != "held" and strange(alarm))
                ):
                    found = _Found(group, verdict, form, alarm.shift.days)
                    _begun(plant, bench, memory, learnt, recent, day, figures, found)
    if not were_dirty and not _open(memory, "electric") and not array_unknown(memory, "electric"):
        days = _days_since_end(plant, memory, "electric", day)
        found_before = soiled_since(plant, bench, memory, learnt, recent, day, days)
        if found_before and not misread(bench, learnt, recent, _known_forms(memory, "hydraulic")):
            _begun(plant, bench, memory, learnt, recent, day, figures, _Found("electric", *found_before))
        elif (fell := shaded_since(plant, bench, memory, figures.taken, day, days)) is not None:
            _begun(plant, bench, memory, learnt, recent, day, figures, _Found("electric", *fell, BESIDE_OTHERS))
    return any(_open(memory, group) for group in GROUPS)


@dataclass(frozen=True)
class _Found:
    group: str
    verdict: Verdict
    form: int
    window: int
    from_before: float = 0.0


def _array_lost(bench: SlowBench, memory: Memory) -> float:
    """Log of the power that the array is known to have lost at full sun."""
    return sum(float(-bench.effects[form].lost[-1]) * amount for form, amount in _known_forms(memory, "electric"))


def _stands(
    plant: Plant, memory: Memory, learnt: Learnt, figures: DayFigures, recent: Floats, cause: str, amounts: Floats,
    alarm: Alarm, water: Watered | None,
) -> bool:  # fmt: skip
    """Whether more than a day shows it, where a day may be odd; and dust, where neither a sensor nor a neighbour tells the sun, within weeks."""
    sky_known = "irradiance_w_m2" in plant.has or figures.told.any()
    if cause == SOILING and not sky_known and not under_any_sky(memory, learnt, recent, alarm.amount):
        return False
    must_last = alarm.shift.group == "hydraulic" or cause in COMES_AGAIN
    return not must_last or lasts(amounts, alarm, water)


def after_visit(memory: Memory, kind: VisitKind) -> None:
    """Mark the open cases that such work is done for: what is measured from now on is another installation, in which they have gone or stayed."""
    for case in _open(memory, "hydraulic"):
        if kind == "pump-lifted" or (kind == "meter-replaced" and case.channel in METERS):
            case.weighed["worked_on"] = 1.0
    for case in _open(memory, "held") if kind == "controller-replaced" else ():
        case.ended_ms = case.seen_ms  # another controller's limits


def _form(case: Case) -> tuple[int, float]:
    return int(case.weighed["form"]), case.weighed.get("amount", 0.0)


def _kept(group: str, recent: Floats) -> float:
    """What a limit keeps, which is of those alone that hold power back."""
    return limit_kept(recent) if group == "held" else 0.0


def _known_forms(memory: Memory, group: str) -> list[tuple[int, float]]:
    return [_form(case) for case in _open(memory, group)]


def _days_since_end(plant: Plant, memory: Memory, group: str, day: int) -> int:
    """Days since the last fault of the group, or one that hides it, ended, at least 1: days of another fault say nothing of a new one."""
    families = f"slow-{group}", HIDES if hides(plant, group) else ""
    ends = [c.ended_ms for c in memory.cases if c.family in families and c.ended_ms is not None]
    return max(day - int(plant.days.day_of(max(ends))), 1) if ends else LOOK_BACK + RECENT_MORE


def _open(memory: Memory, group: str) -> list[Case]:
    family = f"slow-{group}"
    return [case for case in memory.cases if case.family == family and case.ended_ms is None]


def _begun(
    plant: Plant, bench: SlowBench, memory: Memory, learnt: Learnt, recent: Floats, day: int,
    figures: DayFigures, found: _Found,
) -> None:  # fmt: skip
    within_the_day = {c.cause for c in memory.cases if c.family == "no-water" and c.ended_ms is None}
    if found.verdict.cause in within_the_day - set(FLOW_SHARE_LOST):
        return  # told of already, whatever little comes in full sun
    close_ms = plant.days.close_ms(day)  # nothing less than the whole day was needed
    family, channel = f"slow-{found.group}", bench.effects[found.form].channel
    case = reopened(memory, family, found.verdict.cause, channel, close_ms)
    if case is None and found.verdict.cause in FLOW_SHARE_LOST:
        case = taken_over(memory.cases, family, close_ms)
    if new := case is None:
        case = Case(
            family, found.verdict.cause, found.verdict.cause, close_ms, number_of(memory.cases, close_ms), 0, close_ms,
            revision=0, water_lost_m3=0.0,
        )  # fmt: skip
        memory.cases.append(case)
    if "day" not in case.weighed:
        case.weighed["day"] = float(day)
        case.weighed["window"] = float(found.window)
    case.weighed["form"] = float(found.form)
    marked = {MARKED: 1.0} if found.from_before == CLEAR_FELL else {}
    case.weighed |= unlearnt(float(learnt.days[GROUPS[found.group]].max())) | marked
    case.weighed["from_before"] = found.from_before  # seen against the weeks just before, not what was learnt
    if not case.began_ms:
        case.began_ms = plant.days.open_ms(day - found.window + 1)
    take_verdict(case, found.verdict)
    _again(plant, bench, memory, learnt, recent, case, day, figures)
    if not case.evidence or (new and nothing_lost(case.cause, case.size)):
        memory.cases.remove(case)  # today shows nothing of it: what nobody can size nor give evidence for is not told


def _again(
    plant: Plant, bench: SlowBench, memory: Memory, learnt: Learnt, recent: Floats, case: Case, day: int,
    figures: DayFigures,
) -> None:  # fmt: skip
    """Weigh an open case again, size it, see whether it has healed."""
    group = case.family.removeprefix("slow-")
    form = int(case.weighed["form"])
    since = min(day - int(case.weighed["day"]) + int(case.weighed["window"]), LOOK_BACK, len(recent))
    others = [_form(c) for c in _open(memory, group) if c is not case]
    direction, from_before = sizing(bench.directions[form], group), case.weighed.get("from_before", 0.0)
    if from_before == BESIDE_OTHERS:
        moved, amounts = since_fell(bench, memory, form, min(since, WEIGHED_DAYS), len(recent))
    elif from_before:
        moved, amounts = since_before(bench, memory, learnt, recent, min(since, WEIGHED_DAYS), from_before)
    else:
        newest = that_tell(recent[-since:], group, WEIGHED_DAYS)
        moved = shift_of(bench, learnt, newest, group, len(newest), others)
        amounts = np.empty(0) if moved is None else daily_amounts(learnt, recent, moved, direction)
    if moved is None:
        return
    today, effect = amounts[-1], bench.effects[form]
    if np.isnan(today) or (effect.fixed and amounts_of(bench, moved, np.array([form]))[1][0] > WHOLE_TOLD):
        return
    usual = middle(amounts[-since:]) if since else float(today)
    if "stepped" in case.weighed:
        _follow(plant, bench, learnt, memory, case, amounts[-since:], moved, figures, day)
        if case.weighed["stepped"] == 0.0 or today >= IN_BAND * max(effect.least, 0.6 * usual):
            return
    if today < _gone_below(case, effect.least, usual) and not moved_on(case, learnt, recent):
        case.healthy += 1.0
        if case.healthy == 1.0:
            case.weighed["healed_ms"] = float(plant.days.open_ms(day))
        if case.healthy >= SUNNY_DAYS:
            case.ended_ms = int(case.weighed["healed_ms"])
        return
    case.healthy, case.seen_ms = 0.0, plant.days.close_ms(day)
    if "worked_on" in case.weighed:
        return  # how much of it stayed is not known before the pump is learnt again
    if group == "hydraulic":
        amounts = with_other_days(bench, learnt, recent, group, direction, amounts)
    begins, at_once = course(amounts, since, effect.most, effect.sudden)
    if from_before not in (0.0, BESIDE_OTHERS) or (case.cause == SOILING and "irradiance_w_m2" in plant.has):
        begins = exceeded_since(amounts, begins)
    _dated(plant, case, day - (len(amounts) - 1 - begins), day)
    if at_once is not None and day - int(case.weighed["day"]) <= COURSE_DAYS:
        case.weighed["at_once"] = at_once
    verdict = _weighed_again(plant, bench, memory, learnt, recent, case, moved, min(since, WEIGHED_DAYS))
    if verdict.cause != case.cause and told_by_another(bench, memory, case, verdict):
        case.ended_ms = case.seen_ms
        return
    if verdict.shares[NOTHING] < 0.5 and not settled(case, moved):
        if verdict.form is not None:
            case.weighed["form"] = float(verdict.form)
            effect = bench.effects[verdict.form]
            if verdict.form != form and not from_before:
                direction = sizing(bench.directions[verdict.form], group)
                amounts = daily_amounts(learnt, recent, moved, direction)
                if group == "hydraulic":
                    amounts = with_other_days(bench, learnt, recent, group, direction, amounts)
        take_verdict(case, verdict)
    case.part, case.channel = effect.part, effect.channel
    at_power = lost_by_day(learnt, memory.arrays.get(WATER), len(amounts) - begins)
    _sized(plant, bench, case, int(case.weighed["form"]), amounts[begins:], at_power, moved, figures)
    case.revision += 1


def _weighed_again(
    plant: Plant, bench: SlowBench, memory: Memory, learnt: Learnt, recent: Floats, case: Case, moved: Shift,
    days: int,
) -> Verdict:  # fmt: skip
    told, group = int(case.weighed["day"]), case.family.removeprefix("slow-")
    since = range(int(told - case.weighed["window"]) + 1, told + 1)
    work, there = (seen(plant.facts, plant.days, since) for seen in (worked_on, visited))
    beside = said_beside(plant, bench, memory, learnt, recent, group, days)
    sound = often_nothing(bench, int(case.weighed["form"]), UNLEARNT in case.weighed)
    return weigh_shift(bench, moved, case.weighed.get("at_once"), work, beside, sound, there, _kept(group, recent))


def _gone_below(case: Case, least: float, usual: float) -> float:
    """The amount below which a day is in band; after work for it the healthy pump is another, and half tells whether it went or stayed."""
    if "worked_on" in case.weighed:
        return SHOWS * case.weighed["amount"]
    return washed_below(case.weighed) if case.cause == SOILING else IN_BAND * max(least, 0.6 * usual)


def _dated(plant: Plant, case: Case, first: int, day: int) -> None:
    """When it began: the close of `day` says on day `first`; never after the day on which it was told of, and kept once the days run out."""
    case.began_ms = plant.days.open_ms(first)
    if "began_ms" in case.weighed:
        case.began_ms = int(min(case.began_ms, case.weighed["began_ms"]))
    case.began_ms = min(case.began_ms, plant.days.open_ms(int(case.weighed["day"])))  # told of, so begun
    if day - int(case.weighed["day"]) >= LOOK_BACK - 5:
        case.weighed.setdefault("began_ms", float(case.began_ms))


def _follow(
    plant: Plant, bench: SlowBench, learnt: Learnt, memory: Memory, case: Case, amounts: Floats, moved: Shift,
    figures: DayFigures, day: int,
) -> None:  # fmt: skip
    """Size what was seen within a day, once the daily figures show it too: without a sensor of the sun they tell the old level for days."""
    shown = amounts[amounts >= SHOWS]
    if len(amounts) > SAME_DAYS:
        case.weighed["stepped"] = 1.0
    if not amounts[-1] >= IN_BAND:
        return
    case.weighed["stepped"], case.healthy, case.seen_ms = 1.0, 0.0, plant.days.close_ms(day)
    case.revision += 1
    if day == int(case.weighed["day"]):
        figures = replace(figures, on_power_m3=np.nan)  # the part of it since then was counted by its rows
    if len(shown):
        at_power = lost_by_day(learnt, memory.arrays.get(WATER), len(amounts))
        _sized(plant, bench, case, int(case.weighed["form"]), shown, at_power, moved, figures)


def _sized(
    plant: Plant, bench: SlowBench, case: Case, form: int, amounts: Floats, at_power: Lost, moved: Shift,
    figures: DayFigures,
) -> None:  # fmt: skip
    """Flow lost is what was measured at the same power, where the engine's expectation does not itself know of the cause."""
    effect = bench.effects[form]
    known = effect.true_amount(np.clip(amounts[~np.isnan(amounts)], 0.0, effect.most))
    if not len(known):
        return
    amount = float((known[-NOW_DAYS:] if case.cause == SOILING else known).mean())
    _, stds, _ = amounts_of(bench, moved, np.array([form]))
    case.weighed["amount"] = amount
    by_form = effect.share_lost(known, DAY_SHARE)
    lost = at_power.told()
    if case.cause not in FLOW_LOST or len(lost.share) < 2 or np.any(effect.direction[GAUGE] > 0):
        level = case.cause == "falling-water-level"
        days = known if level else by_form[-NOW_DAYS:] if case.cause == SOILING else by_form
        open_ = float(np.hypot(stds[0], SIZE_OPEN.get(case.cause, USUALLY_OPEN) * amount)) * (
            1.0 if level else float(-effect.lost @ DAY_SHARE)
        )
        size, low, high = interval_of(days, open_)
    else:
        size, low, high = size_of(lost)
    told = {name: case.figures[name] for name in WITHIN_DAY if case.cause == "string-out" and name in case.figures}
    case.figures = {**named(moved), "amount": amount, "flow_lost": float(by_form.mean()), "days": float(len(amounts))}
    case.figures |= told
    case.size = [size, max(low, 0.0), high]
    if case.cause != "falling-water-level":
        case.size = [float(x) for x in np.clip(case.size, 0.0, 1.0)]
    if case.cause in ("sensor-fault", "unexplained"):
        case.size = None
    case.figures["size"] = size
    today = float(by_form[-1])
    if np.isfinite(figures.on_power_m3):
        if effect.group != "hydraulic":  # the day's own power is what was left
            today = times_left(water_lost_with(plant, known[-1] * effect.lost))
        missing = max(figures.on_power_m3 * today, 0.0)
        case.water_lost_m3 = (case.water_lost_m3 or 0.0) + missing
    case.evidence = all_causes()[case.cause].sentence(case.figures, case.channel)
