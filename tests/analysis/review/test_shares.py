"""What came of what should have: a step of six percent lies outside what a normal day gives, and the curve is this site's own."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from analysis import explain
from analysis.drawing.words import english
from analysis.pictures import columns_of
from analysis.rows import Rows
from analysis.shares import shares_of
from logger.record.finding import Finding

BEGAN = "2025-11-10T21:00:00Z"
BEGAN_MS = int(pd.Timestamp(BEGAN).timestamp() * 1000)
STEP = Finding(
    "north-20251111T1800Z-1", "string-out", "string-out", BEGAN, "2025-11-11T18:00:00Z", 0.9, "figures", "look"
)


@pytest.fixture(scope="module")
def sunny(facts):
    """The site with a sensor of the sun."""
    return replace(facts, sensors=replace(facts.sensors, channels=(*facts.sensors.channels, "irradiance_w_m2")))


def rows_of(facts, before, after, scatter=0.004):
    """Fourteen days at the array's maximum: so much of what the site file expects, before and after; sun above the pump's need is left out."""
    time = pd.date_range("2025-11-04T00:00:00Z", "2025-11-18T00:00:00Z", freq="5min", inclusive="left").as_unit("ms")
    hour = np.asarray(time.hour + time.minute / 60)
    sun = 550.0 * np.clip(np.sin(np.pi * (hour - 4) / 12), 0, None)
    time_ms = np.asarray(time.astype("int64"))
    bare = Rows(
        time_ms, {"irradiance_w_m2": sun, "pv_voltage_v": np.full(len(sun), 200.0), "pv_current_a": 0.001 * sun}
    )
    _plant, seen = columns_of(facts, bare)
    chance = np.random.default_rng(5).normal(1.0, scatter, len(seen))
    share = np.where(seen.time_ms > BEGAN_MS, after, before) * chance
    at = np.isin(time_ms, seen.time_ms)
    volts = seen.expected.mpp_voltage_v
    amps = share * seen.expected.mpp_power_w / volts
    values = {
        "irradiance_w_m2": sun[at],
        "pv_voltage_v": volts,
        "pv_current_a": amps,
        "motor_running": (sun[at] > 60) * 1.0,
    }
    return Rows(seen.time_ms, values)


def test_a_step_of_six_percent_lies_outside_of_a_normal_day(sunny):
    shares = shares_of(*columns_of(sunny, rows_of(sunny, 0.97, 0.97 * 0.94)), BEGAN_MS, "array")
    assert shares.sun_measured
    assert shares.usual == pytest.approx(0.97, abs=0.01)
    assert shares.now / shares.usual == pytest.approx(0.94, abs=0.005)
    assert len(shares.before_by_day.x) == len(shares.after_by_day.x) == 7
    assert (shares.after_by_day.high < shares.usual_low).all(), "every day since, and its whisker"
    assert (shares.before_by_day.y > shares.usual_low).all()
    both = np.intersect1d(shares.before_by_part.x, shares.after_by_part.x)
    assert len(both) >= 6, "hours of the sun's way"


def test_no_step_is_no_picture_of_one(sunny):
    shares = shares_of(*columns_of(sunny, rows_of(sunny, 0.97, 0.97)), BEGAN_MS, "array")
    assert shares.usual_low < shares.now < shares.usual_high
    assert shares.now == pytest.approx(shares.usual, abs=0.003)


def test_the_figures_carry_what_the_picture_shows(sunny):
    shown = explain(sunny, rows_of(sunny, 0.97, 0.91), STEP)
    table = shown.frame("array-share")
    assert set(table["what"]) == {"before", "after", "usual", "now"}
    assert set(table.query("what == 'after'")["by"]) == {"day", "hour"}
    usual = table.query("what == 'usual'").iloc[0]
    assert usual["low"] < usual["share"] < usual["high"]
    drawn = shown.svg("array-share")
    ElementTree.fromstring(drawn)
    assert "before: 97.0" in drawn
    assert "since it began: 91.0" in drawn
    assert "nan" not in drawn


def test_the_line_is_what_this_site_did_before_and_says_so(sunny):
    shown = explain(sunny, rows_of(sunny, 0.9, 0.82), STEP)
    table = shown.frame("power-against-sun")
    expected, before = table.query("what == 'expected'"), table.query("what == 'before'")
    assert expected["scale"].iloc[0] == pytest.approx(0.9, abs=0.01)
    along = np.interp(before["sun_w_m2"], expected["sun_w_m2"], expected["power_w"])
    assert np.median(before["power_w"] / along) == pytest.approx(1.0, abs=0.02)
    assert english("finding.legend_scaled", scale="0.90") in shown.svg("power-against-sun").replace("&#x27;", "'")


def test_nothing_before_leaves_the_datasheet_and_no_range(sunny):
    rows = rows_of(sunny, 0.9, 0.9)
    late = rows.take(rows.time_ms > BEGAN_MS)
    shown = explain(sunny, late, STEP)
    assert shown.pictures["power-against-sun"].scale == 1.0
    assert np.isnan(shown.pictures["array-share"].usual_low)
    assert "nan" not in shown.svg("array-share")


def test_another_fault_before_does_not_pass_for_the_sites_own_way(sunny):
    assert explain(sunny, rows_of(sunny, 0.5, 0.45), STEP).pictures["power-against-sun"].scale == 1.0


def test_what_a_controller_holds_back_is_missing_only_where_it_is_asked_for(sunny):
    rows = rows_of(sunny, 1.0, 1.0)
    late = rows.time_ms > BEGAN_MS
    volts = np.where(late, 1.12, 1.0) * rows["pv_voltage_v"]
    amps = np.where(late, 0.7, 1.0) * rows["pv_current_a"]
    held = Rows(rows.time_ms, {**rows.values, "pv_voltage_v": volts, "pv_current_a": amps})
    shares = shares_of(*columns_of(sunny, held), BEGAN_MS, "array", with_held=True)
    assert shares.now == pytest.approx(1.12 * 0.7, abs=0.02)
    of_the_array = shares_of(*columns_of(sunny, held), BEGAN_MS, "array")
    assert of_the_array is None or not of_the_array.now < 0.9, "held rows say nothing of the panels"


def test_over_voltage_shows_the_voltage_and_its_rating(facts, frame):
    over = replace(STEP, cause="over-voltage", began="2025-11-12T09:00:00Z", flagged="2025-11-12T09:05:00Z")
    course = explain(facts, frame, over).pictures["hours-around"]
    assert course.channel == "pv_voltage_v"
    assert course.limit == facts.controller.max_input_voltage_v
    table = explain(facts, frame, over).frame("hours-around")
    assert table["pv_voltage_v"].max() == 215.0
    assert (table["limit"] == course.limit).all()


def test_a_pump_that_stands_shows_what_the_sun_should_have_brought(facts, frame):
    stood = frame.copy()
    hours = (stood["time"] >= "2025-11-12T08:00:00Z") & (stood["time"] < "2025-11-12T12:00:00Z")
    stood.loc[hours, ["pv_current_a", "motor_running"]] = 0.0
    stood.loc[hours, "volume_m3"] = stood.loc[hours, "volume_m3"].iloc[0]
    failed = replace(STEP, cause="failed-start", began="2025-11-12T08:00:00Z", flagged="2025-11-12T10:00:00Z")
    table = explain(facts, stood, failed).frame("hours-around").set_index("time")
    assert table.loc["2025-11-12T09:00:00Z", "expected_m3_h"] > 1.0
    assert table.loc["2025-11-12T09:00:00Z", "flow_m3_h"] < 0.1 or np.isnan(
        table.loc["2025-11-12T09:00:00Z", "flow_m3_h"]
    )


def test_a_silence_is_seen_between_what_came_before_and_after(facts, frame):
    silent = replace(
        STEP, cause="silent", began="2025-11-09T07:00:00Z", flagged="2025-11-09T12:00:00Z", ended="2025-11-09T15:00:00Z"
    )
    shown = explain(facts, frame, silent)
    course = shown.pictures["hours-around"]
    assert course.time_ms[0] < BEGAN_MS
    assert list(shown.pictures)[0] == "hours-around"
    assert 'class="nothing"' in shown.svg("hours-around")
    assert "no readings" in shown.svg("hours-around")
