"""What needs doing first: harm, then water at stake times certainty, then silence."""

from dataclasses import replace

import pytest

from analysis.causes.registry import HELICAL
from dashboard.views.priority import Level, SiteSeen, by_need, level, order, present_ms
from tests.dashboard import scene as made

NOW = made.NOW_MS


def site(name, *findings, **now):
    return SiteSeen(name, name, "Africa/Johannesburg", made.now_of(name, **now), HELICAL, tuple(findings))


def lasting(cause, days=10.0, lost=None, confidence=0.9, **more):
    began = f"2026-{'03' if days < 10 else '02'}-{int(38 - days) if days >= 10 else int(10 - days):02d}T12:00:00Z"
    return replace(
        made.DIRTY, id=f"{cause}-{lost}", cause=cause, water_lost_m3=lost, confidence=confidence, began=began, **more
    )


def ranked(*sites):
    return [one.id for one in sorted(sites, key=lambda one: order(one, NOW))]


def test_harm_comes_before_any_amount_of_water():
    harm = site("harm", lasting("stalled-motor", lost=0.1, confidence=0.6))
    thirst = site("thirst", lasting("clogging", lost=500.0))
    assert ranked(thirst, harm) == ["harm", "thirst"]


def test_danger_to_people_is_harm():
    assert level(site("live", lasting("cable-fault", lost=1.0)), NOW) is Level.ACT


def test_a_probe_that_lies_is_harm_and_another_sensor_is_not():
    assert level(site("a", lasting("sensor-fault", channel="low_level_probe_wet")), NOW) is Level.ACT
    assert level(site("b", lasting("sensor-fault", channel="ambient_temp_c")), NOW) is Level.LOOK


def test_harm_that_is_likelier_not_there_waits_its_turn():
    assert level(site("perhaps", lasting("dry-running", confidence=0.3)), NOW) is Level.LOOK


def test_water_a_day_times_certainty_decides_not_the_sum():
    old = site("old", lasting("worn-pump", days=25, lost=50.0, confidence=0.9))  # 1.8 m3 a day, weighed
    new = site("new", lasting("clogging", days=2, lost=8.0, confidence=0.6))  # 2.4 m3 a day, weighed
    assert ranked(old, new) == ["new", "old"]


def test_silence_comes_after_water_and_before_what_is_well():
    silent = site("silent", lasting("silent"), doing="silent", last_heard_ms=NOW - 10 * 3_600_000)
    quiet = site("quiet", last_heard_ms=NOW - 3_600_000)
    small = site("small", lasting("panel-soiling", lost=0.0, confidence=0.5))
    assert ranked(site("well"), quiet, silent, small) == ["small", "silent", "quiet", "well"]


@pytest.mark.parametrize(
    ("doing", "found"),
    [("pumping", Level.GOOD), ("starting", Level.GOOD), ("held-back", Level.GOOD), ("night", Level.REST),
     ("too-little-sun", Level.REST), ("tank-full", Level.REST), ("well-recovering", Level.REST),
     ("switched-off", Level.REST), ("stopped-by-fault", Level.LOOK), ("silent", Level.UNKNOWN), ("unknown", Level.UNKNOWN)],
)  # fmt: skip
def test_what_it_does_decides_where_nothing_is_wrong(doing, found):
    assert level(site("x", doing=doing), NOW) is found


def test_a_site_never_judged_is_unknown():
    assert level(SiteSeen("x", "x", "UTC", None, HELICAL), NOW) is Level.UNKNOWN


def test_of_one_site_the_worst_comes_first():
    dirty, dry, silent = lasting("panel-soiling", lost=40.0), lasting("dry-running"), lasting("silent", lost=90.0)
    assert [one.cause for one in by_need((silent, dirty, dry), NOW)] == ["dry-running", "panel-soiling", "silent"]


def test_a_replay_ahead_of_the_clock_sets_the_present():
    assert present_ms(NOW - 86_400_000, [site("x")]) == NOW
    assert present_ms(NOW + 5, [site("x")]) == NOW + 5
