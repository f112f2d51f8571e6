"""The farmer's page: what it says, and what it must not say."""

import re
from dataclasses import replace
from html import unescape

import pytest

from analysis.causes.registry import CENTRIFUGAL, DANGERS, HELICAL, all_causes
from dashboard.languages import languages
from dashboard.views.glance import glance
from dashboard.views.priority import SiteSeen
from logger.record.causes import CAUSES
from tests.dashboard import scene as made
from tests.dashboard.test_priority import lasting

EN = languages()["en"]


def seen(*findings, kind=HELICAL, **now):
    return SiteSeen("x", "Xanadu", "Africa/Johannesburg", made.now_of("x", **now), kind, tuple(findings))


def page(*findings, now_ms=made.NOW_MS, kind=HELICAL, **now):
    return glance(seen(*findings, kind=kind, **now), now_ms, EN)


def test_a_pump_that_runs_well():
    said = page()
    assert (said.sign.kind, said.sign.word, said.doing) == ("good", "All well", "The pump is running.")
    assert said.water.value == "17\u202f400 litres"
    assert said.water.lines[0] == "That is as it should be."
    assert said.wrong == []
    assert said.past is None


@pytest.mark.parametrize(
    ("came", "doing", "said"),
    [
        (12.0, "pumping", EN("water.less_no_fault")),
        (12.0, "held-back", EN("water.less_no_fault")),
        (21.0, "pumping", "That is more than was expected."),
        (12.0, "tank-full", "The tank is full, so the pump rests: less came than the sun could have given."),
        (12.0, "switched-off", "The pump was switched off by hand: less came than the sun could have given."),
    ],
)
def test_water_is_judged_only_where_nothing_else_explains_it(came, doing, said):
    assert page(water_today_m3=came, doing=doing).water.lines[0] == said


def test_less_water_is_called_wrong_where_a_fault_is_known():
    said = page(lasting("clogging"), water_today_m3=12.0).water.lines[0]
    assert said == "That is less than it should be."


def test_without_a_sun_sensor_clouds_are_named_and_nothing_is_blamed():
    for findings in ((), (lasting("clogging"),)):
        site = replace(seen(*findings, water_today_m3=7.0), sun_measured=False)
        said = " ".join(glance(site, made.NOW_MS, EN).water.lines)
        assert "There is no sun sensor here, so clouds are not counted." in said
        assert "less than it should be" not in said
        assert "would be normal" not in said


def test_water_without_a_meter_and_before_sunrise():
    assert page(water_today_m3=None).water.value == "Not measured at this pump."
    early = page(water_today_m3=0.0, expected_today_m3=0.0, expected_low_m3=0.0, expected_high_m3=0.0, doing="night")
    assert early.water.lines == ["Today's sun has not lifted any water yet."]
    assert page(expected_today_m3=None).water.bar == ""


def test_a_meter_that_is_silent_is_not_called_missing():
    fitted = replace(
        seen(water_today_m3=None, tank_float_up=None, tank_level_m=None),
        channels=frozenset({"volume_m3", "tank_float_up"}),
    )
    for now_ms in (made.NOW_MS, made.NOW_MS + 5 * 3_600_000):
        said = glance(fitted, now_ms, EN)
        assert said.water.value == "Not known: no reading has come."
        assert said.tank == "Not known"


def test_the_bar_keeps_the_proportions():
    bar = page(water_today_m3=10.0, expected_today_m3=20.0, expected_low_m3=18.0, expected_high_m3=22.0).water.bar
    came = float(re.search(r'class="water" x="0" y="8" width="([\d.]+)"', bar)[1])
    low, wide = (float(part) for part in re.search(r'class="band" x="([\d.]+)" y="3" width="([\d.]+)"', bar).groups())
    assert came / low == pytest.approx(10 / 18, abs=0.01)
    assert (low + wide) / low == pytest.approx(22 / 18, abs=0.01)
    assert "10\u202f000 litres" in bar


def test_old_news_is_shown_as_old_and_not_as_now():
    said = page(now_ms=made.NOW_MS + 5 * 3_600_000)
    assert said.sign.word == "No news"
    assert said.past == "The figures below are 5 hours old."
    assert "running." not in said.doing
    assert said.water.lines == ["Known up to 13:59."]
    assert said.water.bar == ""
    assert not said.all_known


def test_what_cannot_be_told_is_not_called_no_news():
    said = page(doing="unknown")
    assert (said.sign.kind, said.sign.word) == ("unknown", "Cannot tell")


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_says_what_to_do_and_what_to_beware_of(cause):
    said = page(lasting(cause))
    assert said.wrong[0].steps
    assert EN("caution.licensed") == said.wrong[0].cautions[-1]
    text = " ".join([*said.wrong[0].steps, *said.wrong[0].cautions]).lower()
    assert "dangerous voltage" in text or cause not in ("string-out", "over-voltage", "panel-soiling")
    assert "may be live" in text or cause != "cable-fault"


@pytest.mark.parametrize("words", languages().values(), ids=lambda words: words.code)
@pytest.mark.parametrize("kind", [HELICAL, CENTRIFUGAL])
@pytest.mark.parametrize("cause", CAUSES)
def test_each_danger_of_the_engine_s_page_is_told_in_each_language(cause, kind, words):
    """A lying sensor's tank where its sensor is the tank's alone."""
    channel = "tank_float_up" if cause == "sensor-fault" else None
    told = glance(seen(lasting(cause, channel=channel), kind=kind), made.NOW_MS, words).wrong[0].cautions
    for caution in all_causes()[cause].advice_at(kind).cautions:
        assert all(words(f"caution.{danger}") in told for danger in caution.dangers), caution.said
    assert len(told) == len(set(told))


def test_each_danger_has_words_and_belongs_to_some_cause():
    used = {
        danger
        for file in all_causes().values()
        for kind in (HELICAL, CENTRIFUGAL)
        for caution in file.advice_at(kind).cautions
        for danger in caution.dangers
    }
    assert used == DANGERS
    assert all(words.has(f"caution.{danger}") for words in languages().values() for danger in DANGERS)


def test_what_bursts_is_told_at_a_helical_pump_and_what_scalds_at_a_centrifugal_one():
    shut = page(lasting("closed-delivery"), kind=HELICAL).wrong[0]
    assert "Keep away from pipe, hose and gauge" in shut.cautions[0]
    assert "Wait until the gauge at the well has fallen." in shut.steps[1]
    assert EN("caution.pressure") in shut.cautions
    turned = page(lasting("closed-delivery"), kind=CENTRIFUGAL).wrong[0]
    assert "may scald" in turned.cautions[0]
    assert EN("caution.bursts") not in turned.cautions


@pytest.mark.parametrize(("channel", "told"), [("tank_float_up", True), ("tank_level_m", True), ("flow_m3_h", False)])
def test_nobody_climbs_into_the_tank(channel, told):
    assert (EN("caution.tank") in page(lasting("sensor-fault", channel=channel)).wrong[0].cautions) is told
    assert EN("caution.tank") in page(lasting("short-cycling")).wrong[0].cautions


@pytest.mark.parametrize("cause", [name for name, cause in CAUSES.items() if cause.urgent and name != "over-voltage"])
def test_what_harms_the_pump_is_switched_off_first(cause):
    steps = page(lasting(cause)).wrong[0].steps
    assert steps[0].startswith("Switch the pump off at its own switch")


def test_high_voltage_is_never_told_to_be_unplugged():
    text = " ".join(page(lasting("over-voltage")).wrong[0].steps)
    assert "touch no cable" in text
    assert "Switch" not in text


@pytest.mark.parametrize(
    ("confidence", "said"),
    [(0.95, "The panels are dirty."), (0.8, "Probably: the panels are dirty."), (0.5, "Possibly: the panels are dirty."),
     (0.2, "We are not sure, but perhaps: the panels are dirty.")],
)  # fmt: skip
def test_no_more_is_claimed_than_is_known(confidence, said):
    assert page(lasting("panel-soiling", confidence=confidence)).wrong[0].said == said


def test_a_sensor_is_named():
    said = page(lasting("sensor-fault", channel="tank_float_up")).wrong[0].said
    assert said == "A sensor cannot be trusted (tank float)."


@pytest.mark.parametrize(
    ("known", "said"),
    [({"tank_float_up": True}, "Full"), ({"tank_float_up": False}, "Not full"), ({"tank_float_up": None}, "Not measured"),
     ({"tank_float_up": None, "tank_level_m": 1.52}, "1.5 m of water"),
     ({"tank_float_up": True, "tank_level_m": 2.0}, "Full, 2.0 m of water")],
)  # fmt: skip
def test_the_tank(known, said):
    assert page(**known).tank == said


def test_the_finding_s_page_has_the_engine_s_advice_for_this_pump(service):
    html = unescape(service.get("/sites/lang-vlei/findings/lang-vlei-20260228T1800Z-1").text)
    advice = all_causes()["panel-soiling"].advice_at(HELICAL)
    assert all(one in html for one in (*advice.own, *advice.technician, EN("finding.own"), EN("finding.technician")))
    assert EN("finding.cautions_at_work") not in html


def test_what_hurts_at_licensed_work_is_told_beside_it(service, farm):
    farm.put("klip-fontein", replace(made.DRY, cause="cable-fault"))
    html = unescape(service.get(f"/sites/klip-fontein/findings/{made.DRY.id}").text)
    cautions = all_causes()["cable-fault"].advice_at(HELICAL).cautions
    assert EN("finding.cautions_at_work") in html
    assert [one.said in html for one in cautions] == [True, False], "the live splice is told in the page's own words"
    assert EN("caution.live") in html


def test_the_page_offers_the_call_and_warns(farmer):
    html = farmer.get("/sites/klip-fontein").text
    assert 'href="tel:+000000000"' in html
    assert "Call Veld pumps" in html
    assert "Do not open boxes and do not lift the pump." in html
    assert "The pump is running without water." in html
