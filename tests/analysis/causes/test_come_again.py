"""What went by itself and comes again by the same name is the fault that was there; and what is no try, or no missing water, at all."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np

from analysis.causes.registry import all_causes
from analysis.come_again import ANOTHER, MOST_MS, YEAR_MS, come_again
from analysis.diagnosis import NOTHING, weigh_levels
from analysis.life import REOPENED_MS
from analysis.no_water import LIMITS, _share_lost, _unread, owed
from analysis.not_turning import fed_rows
from analysis.symptoms import Episode
from analysis.untold import OVERCAST, TURNED_DOWN
from logger.record.site_facts import Visit
from tests.analysis.causes.test_standing_rules import DAY_MS, FACTS, PLANT, Sized, case_of, seen_of

SHUT = {"flow": 0.0, "torque": 0.8, "idle": 2.1, "above": 80.0}
LIGHT = {"flow": 0.0, "torque": -3.0, "idle": -1.7, "onset": 1.0}


def again(
    levels: dict[str, float], days: float, cause: str = "closed-delivery", visits: tuple[Visit, ...] = ()
) -> bool:
    """Whether an episode so many days after a case is the case come again."""
    case = case_of("no-water", cause, seen_day=0.0)
    case.ended_ms = 0
    began = round(days * DAY_MS)
    calendar = SimpleNamespace(day_of=lambda ms: int(ms // DAY_MS), day_of_date=lambda at: (at - date(2030, 1, 1)).days)
    facts = replace(FACTS, visits=visits)
    view: Any = SimpleNamespace(facts=facts, days=calendar, memory=SimpleNamespace(days=[], numbers={}, cases=[]))
    return come_again(view, [case], Episode("no-water", began, began, began, 1.0, at_flag=levels)) is case


def test_a_pipe_that_shuts_again_weeks_later_was_never_mended() -> None:
    within = min(ANOTHER / all_causes()["closed-delivery"].per_year * YEAR_MS, MOST_MS)
    assert within > 4 * REOPENED_MS
    assert again(SHUT, 0.9 * within / DAY_MS)
    assert not again(SHUT, 1.1 * within / DAY_MS), "by then another is as likely, and people want to be told anew"
    assert not again(LIGHT, 10), "by another name it is another fault"
    assert not again(LIGHT, 10, "broken-shaft"), "a shaft does not mend by itself"


def test_after_work_on_the_pump_it_is_told_anew() -> None:
    lifted, metered = (Visit(date(2030, 1, 6), kind, "") for kind in ("pump-lifted", "meter-replaced"))
    assert not again(SHUT, 10, visits=(lifted,))
    assert again(SHUT, 10, visits=(metered,))
    assert again(SHUT, 4, visits=(lifted,))


def test_what_comes_oftener_is_sooner_another() -> None:
    often, seldom = (all_causes()[name].per_year for name in ("dry-running", "closed-delivery"))
    assert often > seldom
    dry = {"flow": 0.0, "torque": -1.3, "idle": 0.0, "water": 0.1, "onset": 1.0}
    days = (ANOTHER * YEAR_MS / often + min(ANOTHER * YEAR_MS / seldom, MOST_MS)) / DAY_MS / 2
    assert not again(dry, days, "dry-running")
    assert again(SHUT, days)


def test_the_end_of_a_run_is_no_try() -> None:
    seen = seen_of(4, turning=np.array([True, False, False, False]))
    seen.power_w = PLANT.full_power_w * np.array([0.3, 0.1, 0.001, 0.1])
    seen.driven = np.array([True, True, False, True])
    assert fed_rows(PLANT, seen).tolist() == [True, False, False, True], (
        "the controller may still have driven it at that row's end"
    )


def test_under_a_cloud_a_try_may_turn_the_rotor() -> None:
    tried = {
        "attempts": 0.01,
        "fed": 0.01,
        "push": 0.12,
        "vain": 1.0,
        "volts": 1.23,
        "room": 1.2,
        "onset": 0.0,
        "stood": 0.0,
    }
    shares = [
        weigh_levels("not-turning", "helical-rotor", tried | more, (OVERCAST | {"rate": (20.0, 0.0)},)).shares[NOTHING]
        for more in ({}, {"spun": 1.0})
    ]
    assert min(shares) > 0.5


def test_who_turns_a_pump_down_wants_less_water_and_not_none() -> None:
    reads = {"flow": 0.0, "sun": -1.6, "spare": -1.3, "lead": 0.0, "onset": 0.0, "handled": 0.0}
    shares = weigh_levels("no-water", "multistage-centrifugal", reads, (TURNED_DOWN,)).shares
    assert shares.get(NOTHING, 0.0) < 0.5


def test_a_pump_known_to_leak_owes_what_it_lifts_above_the_leak() -> None:
    minutes = 10 * 60
    seen: Any = Sized(**seen_of(minutes, turning=True).__dict__)
    seen.surely_m3_h, seen.moved_m3 = np.full(minutes, 0.3), np.zeros(minutes)
    plant: Any = SimpleNamespace(full_flow_m3_h=1.0, facts=SimpleNamespace(sensors=SimpleNamespace(meter_step_m3=0.01)))
    whole, leaks, runs_out = (int(owed(plant, seen, loss).sum()) for loss in (0.0, 0.2, 0.3))
    assert whole > leaks > runs_out == 0


def test_water_that_was_not_read_is_not_missed() -> None:
    seen: Any = Sized(**seen_of(3, flow_m3_h=np.nan).__dict__)
    seen.moved_m3 = np.array([0.0, np.nan, 0.01])
    metered: Any = SimpleNamespace(has={"volume_m3"})
    assert _unread(metered, seen).tolist() == [False, True, False]
    without: Any = SimpleNamespace(has={"motor_current_a"})
    assert not _unread(without, seen).any()


def test_a_size_in_metres_is_no_share_of_the_flow() -> None:
    deeper, leak, lying = (
        case_of("slow-hydraulic", name) for name in ("falling-water-level", "riser-leak", "sensor-fault")
    )
    deeper.size, deeper.figures = [7.4, 4.3, 11.6], {"flow_lost": 0.13}
    leak.size = [0.2, 0.1, 0.3]
    assert [_share_lost(case) for case in (deeper, leak, lying)] == [0.13, 0.2, LIMITS.unsized]
