"""The close of a solar day: fast cases settled, the day's figures learnt or weighed, slow cases begun, sized and ended.

Flow: pipeline.py -> HERE -> memory.py.
Never: rows beyond the day; a look ahead.
"""

import math
from collections.abc import Iterable

import numpy as np

from analysis.estimates.day import DUE, DayFigures
from analysis.estimates.days_before import hours_kept
from analysis.estimates.dips import hours_taken
from analysis.estimates.envelope import SKY_TOLD, under_clear_sky, without_haze
from analysis.estimates.horizon import without_horizon
from analysis.estimates.scatter import HYDRAULIC, Scatter
from analysis.estimates.vector import PLACE, SIZE
from analysis.first_days import beyond_tolerance, not_its_own
from analysis.flow_lost import WATER
from analysis.held_on import HIDES, hides
from analysis.late_starts import late_day
from analysis.learning import OPENED_BY, Learnt, beginning, forgotten, learn, opened, sunlit
from analysis.let_go import its_own_way
from analysis.life import with_episodes
from analysis.lifts_from import own_lift
from analysis.memory import Case, Memory, waits
from analysis.more_stops import kept_stops
from analysis.no_water import GONE
from analysis.not_yet_told import told_at_close
from analysis.plant import Plant
from analysis.shaded import TAKEN
from analysis.slow import slow_bench
from analysis.slow_life import SETTING_READ, SUNNY_DAYS, after_visit, with_slow
from analysis.soiling import SUNS
from analysis.solar_days import HOUR_MS
from analysis.stood import HALTED, SINCE, SINCE_H, halted, own_start, standing
from analysis.summary import DaySummary
from analysis.symptoms import DayView, Episode
from analysis.unread_trips import tallied
from analysis.values_lost import shares_lost
from analysis.washed import after_washing
from analysis.watchers import episodes_of
from analysis.water_lost import share_out

WITHOUT_WATER = 0.5  # of the hours in which it turned; less is a morning's late water, which a hole in the riser makes
FLOW_OPENED = frozenset(
    {"flow", "power", "meter"}
)  # days before a visit that opened one of them tell nothing of the water after it
RECENT = 60  # days of vectors kept: the longest window, and room to look for the beginning


def close_day(plant: Plant, view: DayView, figures: DayFigures, asked: Iterable[str] | None = None) -> Memory:
    """The memory after the day. `asked`: the watchers that may find something (screen.py); None = all."""
    memory = view.memory.copied()
    memory.day = view.day
    asked = None if asked is None else tuple(asked)
    _counted(plant, view, memory, figures)
    if memory.first_ms is None:
        return memory
    episodes = episodes_of(view, asked)
    memory.cases = with_episodes(view, episodes)
    if halted(view):
        memory.numbers[HALTED] = float(view.day)
    for name in (SINCE, SINCE_H):
        memory.numbers.pop(name, None)
    memory.numbers |= _of_standing(view, episodes) | own_start(view) | own_lift(view) | _of_readings(view)
    if asked is None or "controller-trip" in asked:
        memory.numbers |= tallied(view)
    memory.arrays |= kept_stops(view)
    before = len(memory.cases)
    learnt, scatter = learnt_of(plant, memory), slow_bench(plant).scatter
    was_learnt = learnt
    learnt = _after_visits(plant, memory, view.day, learnt, scatter)
    vector, memory.arrays["horizon"] = without_horizon(
        plant, view.day, figures.vector, figures.sunny, memory.arrays.get("horizon"), _usual(plant, learnt)
    )
    if any(case.cause == "shading" and case.ended_ms is None and not waits(case) for case in memory.cases):
        vector = figures.vector  # a shade once told of stays one, however low the sun goes on
    memory.arrays[SUNS] = hours_kept(memory.arrays.get(SUNS), vector)
    if "irradiance_w_m2" not in plant.has and not figures.told.any():
        vector = without_haze(vector, learnt.hours_of_sun)
    sky = memory.arrays.get("sky")
    usual = None if "irradiance_w_m2" in plant.has else learnt.hours_of_sun
    vector, memory.arrays["sky"] = under_clear_sky(plant, vector, sky, figures.told, usual)
    standing_h = sum(e.hours for e in episodes if e.symptom in ("no-water", "not-turning") and not e.judged_again)
    if standing_h > 0.0:
        vector[[PLACE["cap"], PLACE["cv"]]] = np.nan  # a pump that lifts nothing stands low for its own reasons
    gone = any(
        c.family == "no-water" and c.cause in GONE and view.days.day_of(c.seen_ms) >= view.day for c in memory.cases
    )
    if standing_h > WITHOUT_WATER * figures.pumping_h or gone:
        vector[HYDRAULIC] = np.nan  # what it lifts between is no test of it
    _kept_days(plant, memory, figures, standing_h > 0.0, gone)
    recent = np.concatenate([memory.arrays.get("recent", np.empty((0, SIZE)))[1 - RECENT :], vector[None]])
    ended, learnt = _ended_electric(plant, memory), _its_own(plant, memory, view.day, learnt, recent)
    suspected = with_slow(plant, memory, learnt, recent, view.day, figures)
    after_washing(plant, memory, view.day, figures.insolation_wh_m2)
    if _ended_electric(plant, memory) > ended:  # what the array gave before it was mended is no sky
        memory.arrays["sky"] = memory.arrays["sky"][-SUNNY_DAYS:]
        if "irradiance_w_m2" not in plant.has:
            recent[-SUNNY_DAYS:, SKY_TOLD] = np.nan
    suspected |= beyond_tolerance(slow_bench(plant), learnt, recent)
    if not episodes and not suspected and len(memory.cases) == before:
        learnt = sunlit(learn(learnt, vector, scatter), figures.sunny[2] > 0, scatter)
    memory.arrays["recent"] = recent
    if learnt is not was_learnt or "mean" not in memory.arrays:
        memory.arrays |= kept_of(learnt)
    memory.days.append(_summary(plant, view.day, view.memory.cases, memory, figures))
    let_go = told_at_close(memory, plant.days.close_ms(view.day), "irradiance_w_m2" in plant.has)
    if let_go is not None:
        memory.arrays |= kept_of(its_own_way(memory, learnt, scatter, let_go, view.day))
    return memory


def _after_visits(plant: Plant, memory: Memory, day: int, learnt: Learnt, scatter: Scatter) -> Learnt:
    """What is still known after the work of the day, told of in the site file. Changes the memory likewise."""
    for visit in plant.facts.visits:
        if plant.days.day_of_date(visit.date) == day:
            learnt = opened(learnt, visit.kind, scatter)
            after_visit(memory, visit.kind)
            memory.arrays["recent"] = forgotten(memory.arrays.get("recent", np.empty((0, SIZE))), visit.kind, scatter)
            if FLOW_OPENED.intersection(OPENED_BY[visit.kind]):
                memory.arrays.pop(WATER, None)
    return learnt


def _its_own(plant: Plant, memory: Memory, day: int, learnt: Learnt, recent: np.ndarray) -> Learnt:
    """What was learnt without a fault that was there from the first day; while none was told of, healed or not, and no work has made it another pump."""
    first = day if memory.first_ms is None else plant.days.day_of(memory.first_ms)
    if day - first >= RECENT or any(c.family == "slow-hydraulic" for c in memory.cases):
        return learnt
    works = [plant.days.day_of_date(visit.date) for visit in plant.facts.visits if OPENED_BY[visit.kind]]
    if any(first < work <= day for work in works):
        return learnt
    return not_its_own(slow_bench(plant), learnt, recent)


def _kept_days(plant: Plant, memory: Memory, figures: DayFigures, stood: bool, gone: bool) -> None:
    """The day's water and hours beside those of the days before; what it lost while it stood is another fault's."""
    water = np.full((1, DUE + 1), np.nan) if stood or gone else figures.water[None]
    memory.arrays[WATER] = np.concatenate([memory.arrays.get(WATER, np.empty((0, DUE + 1)))[1 - RECENT :], water])
    taken = np.full_like(figures.taken, np.nan) if stood else figures.taken
    memory.arrays[TAKEN] = hours_taken(memory.arrays.get(TAKEN), taken, "tank_float_up" in plant.has)


def _of_standing(view: DayView, episodes: list[Episode]) -> dict[str, float]:
    return standing(view, episodes) | late_day(view, episodes)


def _of_readings(view: DayView) -> dict[str, float]:
    """For the memory's numbers, what the day says of the channels themselves."""
    read = view.as_read
    lost = {} if read is None else shares_lost(view.facts, read, view.memory)
    return _setting_read(view) | lost


def _setting_read(view: DayView) -> dict[str, float]:
    """For the memory's numbers, at the close of a day on which the speed's setting had a value."""
    fitted = "speed_setting_pct" in view.facts.sensors.channels  # of another site nobody asks
    if view.columns is None or not fitted or SETTING_READ in view.memory.numbers:
        return {}
    read = view.columns.rows.values.get("speed_setting_pct")
    return {SETTING_READ: 1.0} if read is not None and (read >= 0.0).any() else {}


def _usual(plant: Plant, learnt: Learnt) -> np.ndarray | None:
    """What each hour of the sun's way was learnt to give under a supposed sky; where none was seen, as the others. float64[HOURS]"""
    if "irradiance_w_m2" in plant.has:
        return None
    hours, seen = learnt.mean[SKY_TOLD], learnt.days[SKY_TOLD] > 0
    return np.where(seen, hours, np.median(hours[seen]) if seen.any() else 0.0)


def _ended_electric(plant: Plant, memory: Memory) -> int:
    families = "slow-electric", HIDES if hides(plant, "electric") else ""
    return sum(case.family in families and case.ended_ms is not None for case in memory.cases)


def learnt_of(plant: Plant, memory: Memory) -> Learnt:
    """The baseline that the memory holds. The same object as long as nothing more is learnt, with all that was worked out of it."""
    if "mean" not in memory.arrays:
        return beginning(slow_bench(plant).scatter)
    return memory.worked_out("covariance", "learnt", lambda: _learnt_of(memory.arrays))


def _learnt_of(kept: dict[str, np.ndarray]) -> Learnt:
    joint = np.concatenate([kept["mean"], kept["parameters"]])
    return Learnt(joint, kept["covariance"], kept["days"], kept["age"], kept["scatter"])


def kept_of(learnt: Learnt) -> dict[str, np.ndarray]:
    """A baseline as the memory holds it: the covariance is that of entries and named parameters together."""
    return {
        "mean": learnt.mean,
        "parameters": learnt.joint[SIZE:],
        "covariance": learnt.joint_covariance,
        "days": learnt.days,
        "age": learnt.age,
        "scatter": learnt.scatter,
    }


def _counted(plant: Plant, view: DayView, memory: Memory, figures: DayFigures) -> None:
    if len(view.heard_ms):
        memory.first_ms = view.first_ms if memory.first_ms is None else memory.first_ms
        memory.last_heard_ms = int(view.heard_ms[-1])
        memory.rows += len(view.heard_ms)
    if memory.first_ms is not None:
        memory.daylight_h += 2.0 * plant.days.half_day_ms(view.day) / HOUR_MS
        memory.heard_h += min(figures.heard_h, 2.0 * plant.days.half_day_ms(view.day) / HOUR_MS)


def _summary(plant: Plant, day: int, before: list[Case], memory: Memory, figures: DayFigures) -> DaySummary:
    def known(value: float) -> float | None:
        return round(value, 4) if math.isfinite(value) else None

    spread = 1.96 * figures.expected_std_m3
    low = max(figures.expected_m3 - spread, 0.0)
    expected, lost = share_out(before, memory.cases, figures)
    daylight_h = 2.0 * plant.days.half_day_ms(day) / HOUR_MS
    return DaySummary(
        plant.facts.site.id, plant.days.date_of(day), known(figures.water_m3), known(expected), known(low),
        known(figures.expected_m3 + spread), round(figures.pumping_h, 3), round(figures.sunny_h, 3),
        known(figures.energy_wh) if plant.has & {"input_power_w", "pv_current_a"} else None,
        known(figures.insolation_wh_m2) if "irradiance_w_m2" in plant.has else None,
        round(min(figures.heard_h / daylight_h, 1.0), 4) if daylight_h else 0.0, lost,
    )  # fmt: skip
