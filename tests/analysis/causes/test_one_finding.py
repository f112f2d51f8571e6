"""One fault is one finding: what an open one explains raises no second."""

from types import SimpleNamespace
from typing import Any

from analysis.diagnosis import NOTHING, weigh_levels
from analysis.lying import told_already
from analysis.memory import Case, Memory
from analysis.one_finding import AGAIN_DAYS, PROBE, SAME_DAYS, hardly_a_second, reopened, said_by_another
from analysis.solar_days import DAY_MS, HOUR_MS
from analysis.symptoms import Episode
from analysis.untold import KNOWN_LOSS, untold
from tests.analysis.causes.test_standing_rules import FACTS

DAY = 20_000 * DAY_MS
WEAK_SUN = {"flow": 0.0, "sun": 0.05, "onset": 0.0, "lead": 0.0, "handled": 0.0, "backwards": 0.0}
SHAFT = WEAK_SUN | {"torque": -3.0, "current": -1.5, "fell": -1.5, "onset": 1.0}
SHUT = {"flow": 0.0, "torque": 0.8, "idle": 2.1, "above": 80.0}


def case_of(family: str, cause: str, flagged_ms: int = DAY, channel: str | None = None) -> Case:
    return Case(family, cause, cause, flagged_ms, 1, flagged_ms, flagged_ms, channel=channel)


def view_of(*cases: Case) -> Any:
    return SimpleNamespace(facts=FACTS, memory=SimpleNamespace(cases=list(cases), days=[], numbers={}))


def nothing_of(levels: dict[str, float], *cases: Case, told_ms: int | None = None) -> float:
    later = DAY + 5 * DAY_MS
    episode = Episode("no-water", later, later, later, 0.1, at_flag=levels)
    known = untold(view_of(*cases), episode, told_ms)
    return weigh_levels("no-water", FACTS.pump.kind, levels, known).shares.get(NOTHING, 0.0)


def test_weak_sun_that_a_known_loss_takes_all_of_is_no_second_fault() -> None:
    for cause in ("worn-pump", "riser-leak", "clogging"):
        loss = case_of("slow-hydraulic", cause)
        assert nothing_of(WEAK_SUN, loss) > 0.8
        assert nothing_of(SHAFT, loss) < 0.1, "what has a sign of its own is told all the same"
        assert nothing_of(WEAK_SUN, loss, told_ms=DAY - DAY_MS) == 0.0, "it was told of first, and goes on"
        loss.ended_ms = DAY + DAY_MS
        assert nothing_of(WEAK_SUN, loss) == 0.0
    assert nothing_of(WEAK_SUN, case_of("slow-hydraulic", "falling-water-level")) == 0.0
    assert KNOWN_LOSS["rate"][0] > 0.0


def test_what_another_finding_says_already_is_no_second_one() -> None:
    dry = case_of("no-water", "dry-running", DAY + 10 * HOUR_MS)
    flag = DAY + 12 * HOUR_MS
    probe = Episode("probe", DAY + 10 * HOUR_MS, flag, flag, 2.0, cause="sensor-fault", channel=PROBE)
    assert said_by_another(view_of(), [dry], probe), "of the same hour"
    assert not said_by_another(view_of(), [case_of("no-water", "dry-running", flag + 1)], probe), "told of later"
    assert not said_by_another(view_of(), [case_of("no-water", "broken-shaft", DAY + 10 * HOUR_MS)], probe)
    ended = case_of("no-water", "dry-running")
    ended.ended_ms = DAY - DAY_MS
    assert said_by_another(view_of(ended), [ended], probe), "it lifted for a day between"
    ended.ended_ms = DAY - 20 * DAY_MS
    assert not said_by_another(view_of(ended), [ended], probe)
    level = Episode("level", DAY, flag, flag, 2.0, cause="sensor-fault", channel="water_level_m")
    assert not said_by_another(view_of(dry), [dry], level)
    starts = Episode("short-cycling", DAY + 3 * DAY_MS, flag, flag, 2.0, cause="short-cycling")
    shut = case_of("no-water", "closed-delivery")
    assert said_by_another(view_of(shut), [shut], starts)
    shut.ended_ms = DAY
    assert not said_by_another(view_of(shut), [shut], starts)


def test_shade_at_the_hours_in_which_the_controller_refuses_the_voltage_is_not_told() -> None:
    bench: Any = SimpleNamespace(effects=[SimpleNamespace(channel=None)])
    high = case_of("over-voltage", "over-voltage")
    assert told_already(bench, Memory(cases=[high]), "shading", 0)
    high.ended_ms = DAY
    assert not told_already(bench, Memory(cases=[high]), "shading", 0)


def test_a_channel_that_lies_again_is_the_same_finding_however_it_was_seen() -> None:
    stuck = case_of("sensor-fault", "sensor-fault", channel="irradiance_w_m2")
    stuck.ended_ms = DAY + DAY_MS
    memory, soon = Memory(cases=[stuck]), stuck.ended_ms + 3 * DAY_MS
    assert reopened(memory, "slow-electric", "sensor-fault", "pv_current_a", soon) is None
    assert reopened(memory, "slow-electric", "panel-soiling", None, soon) is None
    assert reopened(memory, "slow-electric", "sensor-fault", "irradiance_w_m2", soon + SAME_DAYS * DAY_MS) is None
    assert reopened(memory, "slow-electric", "sensor-fault", "irradiance_w_m2", soon) is stuck
    assert (stuck.ended_ms, stuck.family, stuck.weighed["began_ms"]) == (None, "slow-electric", float(DAY))


def test_a_plug_that_makes_and_breaks_is_one_string() -> None:
    lost = case_of("slow-electric", "string-out")
    lost.ended_ms = DAY
    later = DAY + (SAME_DAYS + 5) * DAY_MS
    assert AGAIN_DAYS["string-out"] > SAME_DAYS + 5
    assert reopened(Memory(cases=[lost]), "slow-electric", "string-out", None, later) is lost


def test_hours_beside_an_open_finding_are_a_second_one_only_with_a_sign_of_their_own() -> None:
    later = DAY + 5 * DAY_MS
    doubtful = Episode("no-water", later, later, later, 0.1, at_flag=WEAK_SUN)
    clear = Episode("no-water", later, later, later, 0.1, at_flag=SHUT)
    open_ = case_of("controller-trip", "controller-trip")
    assert hardly_a_second(view_of(open_), doubtful)
    assert not hardly_a_second(view_of(open_), clear)
    assert not hardly_a_second(view_of(), doubtful)
    assert not hardly_a_second(view_of(case_of("controller-trip", "controller-trip", later)), doubtful), "told later"
    assert not hardly_a_second(view_of(case_of("silent", "silent")), doubtful), "a silence does nothing to a pump"
