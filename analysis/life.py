"""The life of a finding: flagged once, updated while it lasts, ended when healthy running proves it, never deleted.

Flow: watchers.py (episodes), slow.py (alarms), diagnosis.py (shares) -> HERE -> memory.py, pipeline.py.
`flagged`, `id` and `first_cause` never change. Never: rows.
"""

import numpy as np

from analysis.at_flag import verdict_at_flag
from analysis.by_night import FIGURE as BY_NIGHT
from analysis.by_night import rests_again
from analysis.calibration import ARE_LEFT_OVER, MARKED, stated, stated_by_itself
from analysis.causes.over_voltage import far_below_rating
from analysis.causes.registry import Levels, all_causes
from analysis.come_again import STILL_MS as REOPENED_MS
from analysis.come_again import come_again, seen_otherwise
from analysis.diagnosis import NOTHING, Verdict, weigh_levels
from analysis.estimates.bench import times_left, water_lost_with
from analysis.estimates.vector import BANDS, PLACE
from analysis.late_starts import now_and_then
from analysis.look import Columns
from analysis.memory import Case
from analysis.mended import mark, mended, words_of
from analysis.no_water import LIMITS as NO_WATER
from analysis.one_finding import AGAIN_DAYS, SAID_BY, hardly_a_second, said_by_another, told_by_the_days
from analysis.plant import plant_of
from analysis.rows import or_zero
from analysis.shade_hours import at_the_clock
from analysis.slow import HARDLY_KNOWN, slow_bench
from analysis.solar_days import DAY_MS, HOUR_MS, iso
from analysis.stood import SINCE, SINCE_H
from analysis.symptoms import DayView, Episode
from analysis.untold import untold
from analysis.water_lost import key_of, within_the_day
from analysis.what_to_check import check_of
from logger.record.causes import CAUSES
from logger.record.finding import Finding, Rival, Size
from logger.record.site_facts import SiteFacts

QUIET_MS = {"over-voltage": 30 * DAY_MS}
"""A string too long stays so: it shows again on the next cold bright morning, not on the warmer days between (common practice, no source)."""
RARE = ("controller-trip", "short-cycling")
RARE_MS = (
    21 * DAY_MS
)  # likewise of what shows on a day on which it comes often enough: a loose contact or a trip once a day is there on all days
HEALTHY_H = 1.5  # of settled running with water after the last evidence: a fast fault is over
RIVALS = 4
LEAST_SHARE = 0.01
LEAST_TOLD = 0.5  # share of "nothing wrong" from which nobody is told


def with_episodes(view: DayView, episodes: list[Episode]) -> list[Case]:
    """The cases after a day's episodes, up to the view's `until_ms`. The memory's own cases are left alone."""
    cases = [case.copied() for case in view.memory.cases]
    claims: list[tuple[Case, Episode]] = []
    for episode in sorted(episodes, key=_is_said_last):
        if episode.symptom == "string-out":
            _stepped(view, cases, episode)
            continue
        family = episode.symptom if episode.cause is None else episode.cause
        known = _same(cases, family, episode) or _drifted(cases, episode) or come_again(view, cases, episode)
        if episode.judged_again and known is not None and known.seen_ms == episode.seen_ms:
            continue  # it was told of when it was judged first
        if known is None and (other := seen_otherwise(view, cases, episode)) is not None:
            _prolonged(view, other, episode)
            claims.append((other, episode))
            continue
        if known is None:
            if _as_likely_nothing(view, episode) or told_by_the_days(view, cases, episode):
                continue
            if said_by_another(view, cases, episode) or hardly_a_second(view, episode):
                continue
            known = _raised(view, family, episode, cases)
            if episode.at_flag.get("stood", 0.0) > 0 and SINCE in view.memory.numbers:  # nobody was sure until today
                known.began_ms = min(known.began_ms, int(view.memory.numbers[SINCE]))
                known.hours = view.memory.numbers[SINCE_H]
            cases.append(known)
        elif known.ended_ms is not None and _as_likely_nothing(view, episode, known.flagged_ms):
            continue  # it has run since: a cloud, or a full tank, is not the old fault again
        _updated(view, known, episode)
        claims.append((known, episode))
    within_the_day(view, claims)
    for case in cases:
        quiet = view.until_ms - case.seen_ms >= QUIET_MS.get(case.family, 0)
        quiet |= case.family == "over-voltage" and far_below_rating(view)
        if case.ended_ms is None and _is_fast(case) and quiet and _well_again(view, case):
            case.ended_ms = case.seen_ms
            if mark(view, case):
                _weighed_again(view, case)
    return cases


def _is_said_last(episode: Episode) -> bool:
    """What another finding of the same day may say already comes after that."""
    return (episode.cause or "", episode.channel) in SAID_BY


def _stepped(view: DayView, cases: list[Case], episode: Episode) -> None:
    """A string seen lost within the day: one case with the daily figures', which size it and see it end."""
    ended = [c for c in cases if c.family == "slow-electric" and c.cause == "string-out" and c.ended_ms is not None]
    if ended and episode.began_ms - (ended[-1].ended_ms or 0) < AGAIN_DAYS["string-out"] * DAY_MS:
        case = ended[-1]
        case.ended_ms, case.healthy, case.revision = None, 0.0, case.revision + 1
    else:
        case = Case(
            "slow-electric", "string-out", "string-out", episode.flag_ms, number_of(cases, episode.flag_ms),
            episode.began_ms, episode.seen_ms, confidence=STEP_SHARE, water_lost_m3=None,
        )  # fmt: skip
        cases.append(case)
    share = episode.size or 0.0
    case.seen_ms, case.size = episode.seen_ms, [share, (1 - STEP_STD) * share, min((1 + STEP_STD) * share, 1.0)]
    case.figures = {**episode.whole, "size": share}
    case.evidence = all_causes()["string-out"].evidence(case.figures)
    plant = plant_of(view.facts)
    bench = slow_bench(plant)
    side, lost = PLACE["av1"] if episode.whole["of_volts"] else PLACE["s0"], -episode.whole["lost"]
    forms = [k for k, name in enumerate(bench.causes) if name == "string-out"]
    case.weighed |= {"day": float(view.day), "window": 1.0, "amount": 1.0, "stepped": 0.0}
    case.weighed["form"] = float(min(forms, key=lambda k: abs(bench.directions[k][side] - lost)))
    if (seen := view.columns) is not None:
        since = seen.turning & (seen.time_ms >= episode.began_ms)
        on_power_m3 = float((np.where(since, or_zero(seen.expected.flow_m3_h), 0.0) * seen.dt_h).sum())
        missing = on_power_m3 * times_left(water_lost_with(plant, np.full(BANDS, lost)))
        case.water_lost_m3 = (case.water_lost_m3 or 0.0) + missing


STEP_STD = 0.1  # of the share: meters, and the air
STEP_SHARE = 0.95
"""Of a string seen lost within the day: nothing else was weighed against it (calibration.py says what that is worth)."""


def _is_fast(case: Case) -> bool:
    return not case.family.startswith("slow")


def _well_again(view: DayView, case: Case) -> bool:
    """Whether it is seen to be over: by running well, and what was denied by night by a night in which it is not."""
    seen = view.raw if case.channel in view.lies and view.raw is not None else view.columns
    if healthy_after(seen, case.seen_ms) < HEALTHY_H:
        return False
    if seen is None or case.channel is None or BY_NIGHT not in case.weighed:
        return True
    return rests_again(plant_of(view.facts), seen, case.channel, case.seen_ms)


def healthy_after(seen: Columns | None, time_ms: int) -> float:
    """Hours of the day's settled running with water after the instant."""
    if seen is None:
        return 0.0
    with np.errstate(invalid="ignore"):
        well = seen.settled & (seen.flow_m3_h > 0.5 * seen.expected.flow_m3_h) & (seen.time_ms > time_ms)
        well &= (
            seen.flow_m3_h > NO_WATER.gasp_share * seen.should_m3_h
        )  # light for want of water, power asks for little
    return float(seen.dt_h[well].sum())


def _same(cases: list[Case], family: str, episode: Episode) -> Case | None:
    for case in reversed(cases):
        if case.family != family or case.channel != episode.channel:
            continue
        rare = family in RARE or episode.whole.get("unread", 0.0) > 0 or now_and_then(episode)
        within = RARE_MS if rare else max(REOPENED_MS, QUIET_MS.get(family, 0))
        if case.ended_ms is None or episode.began_ms - case.seen_ms < within:
            return case
    return None


def _drifted(cases: list[Case], episode: Episode) -> Case | None:
    """A channel that the days' figures call off, and that is now seen to stand still: the same finding, followed within the day from here on."""
    for case in reversed(cases):
        if episode.cause != "sensor-fault" or case.cause != episode.cause or case.channel != episode.channel:
            continue
        if case.ended_ms is None or episode.began_ms - case.ended_ms < REOPENED_MS:
            case.family, case.ended_ms, case.weighed = episode.cause, None, {}
            return case
    return None


def number_of(cases: list[Case], flagged_ms: int) -> int:
    """1, 2 ... among those flagged at the same instant."""
    return 1 + sum(case.flagged_ms // 60_000 == flagged_ms // 60_000 for case in cases)


def _raised(view: DayView, family: str, episode: Episode, cases: list[Case]) -> Case:
    cause = episode.cause or verdict_at_flag(view, episode).cause
    return Case(
        family, cause, cause, episode.flag_ms, number_of(cases, episode.flag_ms), episode.began_ms, episode.seen_ms,
        part=episode.part, channel=episode.channel, revision=0,
    )  # fmt: skip


def _as_likely_nothing(view: DayView, episode: Episode, told_ms: int | None = None) -> bool:
    """Judged by what was known at the flag alone, so that a later look says the same. `told_ms`: when its case was told of, if it has one."""
    if episode.cause is not None:
        return False
    verdict = verdict_at_flag(view, episode, told_ms)
    return verdict.shares.get(NOTHING, 0.0) > LEAST_TOLD


def _updated(view: DayView, case: Case, episode: Episode) -> None:
    case.revision += 1
    case.seen_ms = max(case.seen_ms, episode.seen_ms)
    case.ended_ms = episode.seen_ms if episode.over else None
    case.hours += episode.hours
    for name, value in episode.whole.items():
        if name in OF_ITS_BEGINNING and case.revision > 1:
            continue  # a pump that starts dry on the third morning says nothing about how it began
        if np.isfinite(value):
            case.weighed[name] = case.weighed.get(name, 0.0) + value * episode.hours
            case.weighed[f"n_{name}"] = case.weighed.get(f"n_{name}", 0.0) + episode.hours
    _said(view, case, episode, None if episode.cause is not None else untold(view, episode, case.flagged_ms))


def _prolonged(view: DayView, case: Case, episode: Episode) -> None:
    """By the same fault, seen by another symptom, whose measures say nothing in this one's terms."""
    later_ms = max(episode.seen_ms - max(case.seen_ms, episode.began_ms), 0)
    case.hours += episode.hours * later_ms / max(episode.seen_ms - episode.began_ms, 1)
    case.seen_ms, case.ended_ms = max(case.seen_ms, episode.seen_ms), None
    _weighed_again(view, case)


def _weighed_again(view: DayView, case: Case) -> None:
    """After what was done to mend it."""
    case.revision += 1
    _said(view, case, None, ())


def _said(view: DayView, case: Case, episode: Episode | None, nothing: tuple[Levels, ...] | None) -> None:
    """What the case says of itself, weighed by all that it has seen; `nothing` None: nothing competes with it."""
    means = mean_measures(case)
    if case.family == "no-water":
        means["ran"] = float(np.log(max(case.hours, 0.05)))
    if nothing is None:
        case.confidence, case.rivals = 1.0, {}  # nothing was weighed against it: `_told` knows what that is worth
    else:
        take_verdict(case, mended(weigh_levels(case.family, view.facts.pump.kind, means, nothing), case))
    case.size = _size(case, None if episode is None else episode.size)
    case.figures = {**means, "hours": case.hours, "days": (case.seen_ms - case.began_ms) / DAY_MS}
    if case.size is not None:
        case.figures["size"] = case.size[0]
    file = all_causes().get(case.cause)
    case.evidence = file.sentence(case.figures, _channel(view.facts, case)) + words_of(case) if file else ""


UNLEARNT, UNLEARNT_WORTH = "unlearnt", 0.9
"""Told of before the installation was learnt, against its datasheets alone: whose pump was drawn how far from its table nobody knows. Of 18 such
findings of five drawn plants 13 were true, and calibration.py alone would have said 12."""


def unlearnt(days: float) -> dict[str, float]:
    """The mark of a case told of when so many sunny days were learnt; none where they are enough."""
    return {UNLEARNT: 1.0} if days < HARDLY_KNOWN else {}


OF_ITS_BEGINNING = frozenset({"lead", "before", "onset", "handled", "fell"})
"""Measures that a case has from its first stretch."""


def mean_measures(case: Case) -> dict[str, float]:
    """The measures' means over all that the case has seen."""
    return {
        name: case.weighed[name] / case.weighed[f"n_{name}"]
        for name in case.weighed
        if not name.startswith("n_") and case.weighed.get(f"n_{name}", 0.0) > 0
    }


def take_verdict(case: Case, verdict: Verdict) -> None:
    """Put the shares into the case; its cause becomes the likeliest."""
    case.cause = verdict.cause
    case.confidence = verdict.confidence
    others = sorted(
        ((share, name) for name, share in verdict.shares.items() if name not in (verdict.cause, NOTHING)), reverse=True
    )
    case.rivals = {name: share for share, name in others[:RIVALS] if share >= LEAST_SHARE}


def _size(case: Case, size: float | None) -> list[float] | None:
    cause = CAUSES[case.cause]
    if cause.quantity is None:
        return None
    if cause.unit == "h":
        clock_h, whole = (case.seen_ms - case.began_ms) / HOUR_MS, case.cause in BY_THE_CLOCK
        factor, lasted = float(np.exp(KNOWN_TO if whole else HOURS_OPEN)), clock_h if whole else case.hours
        between = 0.0 if whole else max(SUNLIT * clock_h - case.hours, 0.0)
        return [
            lasted,
            max(min(case.hours / factor, case.hours - HOURS_LEAST), 0.0),
            max(lasted * factor + between, lasted + HOURS_LEAST),
        ]
    if size is not None:
        return _rated(case, size, cause.unit)
    if cause.quantity == "flow lost":
        left = mean_measures(case).get("flow", 0.0)
        lost = float(np.clip(1.0 - left, 0.0, 1.0))
        return [lost, max(lost - 0.1, 0.0), min(lost + 0.1, 1.0)]
    return None


def _rated(case: Case, size: float, unit: str | None) -> list[float]:
    """Over all days of the case: the most volts; the mean of trips or starts, with the scatter of a count."""
    seen = case.weighed
    seen["size_days"] = seen.get("size_days", 0.0) + 1.0
    seen["size_sum"] = seen.get("size_sum", 0.0) + size
    seen["size_most"] = max(seen.get("size_most", 0.0), size)
    if unit == "V":
        most, meter = seen["size_most"], VOLTS_CLASS * case.weighed.get("rating_v", 0.0) / max(case.hours, 1e-9)
        return [most, max(most - 2 * meter - 0.1 * most, 0.0), most + 2 * meter + 0.1 * most]
    mean, hours = seen["size_sum"] / seen["size_days"], 1.0
    if unit == "1/h":
        mean, hours = mean_measures(case).get("starts", mean), max(case.hours / seen["size_days"], 0.1)
    spread = 2.0 * np.hypot(np.sqrt(mean * hours / seen["size_days"]) / hours, COUNTED * mean)
    # only days on which they were enough to see are counted: over all days of the case there were as many at the least
    least = min(mean, seen["size_sum"] / max((case.seen_ms - case.began_ms) / DAY_MS, 1.0)) if unit == "1/d" else mean
    return [mean, max(least - spread, 0.0), mean + spread]


HOURS_OPEN = 0.4
"""Log of a duration, 95 %: pumps that stop themselves, gasp, or would only just have run leave open which minutes count."""
SUNLIT = 0.45
"""Of the clock's hours those in which the sun would have run it, at most (common practice, no source). What of them lies between stretches that were
seen may have been of it: the pump stood, or nothing told. Of 165 durations of drawn seasons of four plants 154 lay within both together."""
BY_THE_CLOCK = frozenset({"silent"})
"""Causes that last by night as well: their duration is the clock's, and only the daylight of it (`hours`) is sure, for a board with a panel of
its own may sleep in the dark."""
KNOWN_TO = 0.18  # likewise where nothing comes between: seen at most a sixth off
HOURS_LEAST = 0.2  # [h]
VOLTS_CLASS = 0.005  # of the reading (common practice, no source)
COUNTED = 0.17  # of a count: what falls between two readings, and which minutes would have run


def as_finding(facts: SiteFacts, case: Case) -> Finding:
    """The case as others see it."""
    cause, channel = CAUSES[case.cause], _channel(facts, case)
    size = None
    if case.size is not None and cause.quantity is not None and cause.unit is not None:
        value, low, high = (round(float(x), 4) for x in case.size)
        size = Size(cause.quantity, value, low, high, cause.unit)
    confidence, rivals = told_of(case)
    return Finding(
        id=f"{facts.site.id}-{key_of(case)}",
        cause=case.cause,
        first_cause=case.first_cause,
        began=iso(case.began_ms),
        flagged=iso(case.flagged_ms),
        confidence=round(confidence, 4),
        evidence=case.evidence + at_the_clock(facts, case),
        check=check_of(
            case.cause, facts.pump.kind, channel, case.figures.get("unread", 0.0) > 0, rivals, facts.motor.kind
        ),
        revision=max(case.revision, 1),
        part=_part(case) if case.part in cause.parts else None,
        channel=channel,
        ended=None if case.ended_ms is None else iso(case.ended_ms),
        also_possible=tuple(Rival(name, round(share, 4)) for name, share in rivals.items()),
        size=size,
        water_lost_m3=None
        if case.water_lost_m3 is None or case.cause == "sensor-fault"
        else round(case.water_lost_m3, 2),
    )


def told_of(case: Case) -> tuple[float, dict[str, float]]:
    """What people are told of its share and its rivals'."""
    once = case.ended_ms is not None and case.revision <= 1
    if case.family == case.cause:  # a symptom that no other cause competes for
        unread = case.figures.get("unread", 0.0) > 0
        share = stated_by_itself(case.cause, once, unread)
        return share, {"short-cycling": min(share, (1.0 - share) / 2)} if unread else {}
    renamed = case.cause != case.first_cause
    left_over = case.cause in ARE_LEFT_OVER and MARKED not in case.weighed
    share, rivals = stated(case.confidence, case.rivals, renamed, left_over, once)
    worth = UNLEARNT_WORTH if UNLEARNT in case.weighed else 1.0
    return worth * share, {name: min(rival, worth * share) for name, rival in rivals.items()}


def _part(case: Case) -> str | None:
    """The part, where the cause's own figures must speak for it."""
    speaks = all_causes()[case.cause].part_told
    return case.part if speaks is None else speaks(case.part, case.figures)


def _channel(facts: SiteFacts, case: Case) -> str | None:
    """The channel that lies; where water was missed at a usual load it is the meter's by which the water is judged (look.py)."""
    if case.cause != "sensor-fault" or case.channel is not None:
        return case.channel if case.cause == "sensor-fault" else None
    fitted = facts.sensors.channels
    return next((name for name in ("flow_m3_h", "volume_m3") if name in fitted), None)
