"""What no fault of the site could do is refused with file, key, what the readings say and what would be right; what a fault can do is not."""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from analysis import site_beyond
from analysis.rows import Rows
from analysis.site_beyond import judge_beyond
from analysis.site_check.pump_rows import OtherKind
from analysis.solar_days import DAY_MS
from logger.record.problems import Problem
from tests.analysis.review.test_site_fits import but, recorded, with_
from tests.cases.recorded import case_folders, read_case


def late(rows: Rows, wrong: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Wrong from a third of the readings on."""
    since = rows.time_ms - rows.time_ms.min()
    return np.where(since > since.max() / 3, wrong, right)


def only(problems: list[Problem]) -> Problem:
    (problem,) = problems
    return problem


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: f"{f.parent.name}-{f.name}")
def test_no_recorded_case_is_refused(folder) -> None:
    facts, rows, _ = read_case(folder)
    assert judge_beyond(facts, rows) == []


def test_a_pump_of_the_other_kind_than_its_own_table_is_refused() -> None:
    facts, rows = recorded()
    other: Any = "helical-rotor"
    problem = only(judge_beyond(but(facts, "pump", kind=other), rows))
    assert problem.key == "pump.kind"
    assert 'is it "multistage-centrifugal"?' in problem.fix


def test_a_pump_that_turns_far_faster_than_its_table_is_another() -> None:
    facts, rows = recorded()
    fast = with_(rows, motor_speed_rpm=2.0 * rows["motor_speed_rpm"])
    problem = only(judge_beyond(facts, fast))
    assert problem.key == "pump.curve"
    assert "pairs of poles" in problem.fix
    broken = with_(rows, motor_speed_rpm=late(rows, fast["motor_speed_rpm"], rows["motor_speed_rpm"]))
    assert judge_beyond(facts, broken) == []


def test_a_table_typed_at_one_slow_speed_is_no_other_pump() -> None:
    """The pump turns twice as fast as its table was taken at; only what the motor is rated for says how fast is too fast."""
    facts, rows = recorded()
    speed = float(np.nanmax(rows["motor_speed_rpm"]))
    slow = tuple(replace(row, speed_rpm=0.5 * speed) for row in facts.pump.curve)
    unrated = replace(but(facts, "pump", curve=slow), motor=replace(facts.motor, rated_speed_rpm=None))
    assert [one for one in judge_beyond(unrated, rows) if "1/min" in one.wrong] == []
    (told,) = [
        one for one in judge_beyond(but(unrated, "motor", rated_speed_rpm=0.5 * speed), rows) if "1/min" in one.wrong
    ]
    assert told.key == "pump.curve"


@pytest.mark.parametrize(("own", "told"), [(0.1, 0), (0.2, 1)])
def test_a_kind_that_misses_its_table_by_little_is_not_refused(monkeypatch, own: float, told: int) -> None:
    facts, rows = recorded()
    found = OtherKind("helical-rotor", own, 0.02)
    monkeypatch.setattr(site_beyond, "other_kind", lambda _pump: found)
    assert len(judge_beyond(facts, rows)) == told


@pytest.mark.parametrize("channel", ["flow_m3_h", "volume_m3"])
def test_more_water_than_any_row_lifts_is_refused(channel: str) -> None:
    facts, rows = recorded("closed-delivery/centrifugal_full")
    one = {channel: rows[channel], "input_power_w": rows["pv_voltage_v"] * rows["pv_current_a"]}
    plain = Rows(rows.time_ms, one)
    assert judge_beyond(facts, plain) == []
    most = max(row.flow_m3_h for row in facts.pump.curve)
    curve = tuple(replace(row, flow_m3_h=row.flow_m3_h / 4.0) for row in facts.pump.curve)
    small = but(facts, "pump", curve=curve)
    problem = next(one for one in judge_beyond(small, plain) if one.key == "pump.curve")
    assert f"more than {most / 4.0:.3g} m3/h" in problem.wrong
    assert channel in problem.wrong
    spark = np.where(rows.time_ms - rows.time_ms.min() < 2 * DAY_MS, 4.0, 1.0)
    assert judge_beyond(facts, Rows(rows.time_ms, {"flow_m3_h": spark * rows["flow_m3_h"]})) == []


def test_a_resting_level_of_another_well_is_refused_and_a_fallen_one_is_not() -> None:
    facts, rows = recorded("falling-water-level/helical_full")
    rest = float(np.nanquantile(rows["water_level_m"], 0.05))
    far = but(facts, "well", static_level_m=0.5)
    assert rest > 40.0
    assert only(judge_beyond(far, rows)).key == "well.static_level_m"
    problem = only(judge_beyond(but(facts, "well", static_level_m=rest + 45.0), rows))
    assert problem.key == "well.static_level_m"
    assert problem.fix.startswith("write ")
    assert float(problem.fix.split()[1]) == pytest.approx(rest, abs=3.0)
    for fallen_m in (12.0, 25.0):
        assert judge_beyond(but(facts, "well", static_level_m=rest - fallen_m), rows) == []
    assert judge_beyond(far, with_(rows, water_level_m=0.001 * rows["water_level_m"])) == [], "a sensor that is not fed"


def test_a_pump_that_hangs_above_the_water_is_refused() -> None:
    facts, rows = recorded("falling-water-level/helical_full")
    above = but(facts, "pump", setting_depth_m=12.0)
    assert only(judge_beyond(above, rows)).key == "pump.setting_depth_m"
    dry = with_(rows, volume_m3=0.0 * rows["volume_m3"], flow_m3_h=0.0 * rows["flow_m3_h"])
    assert [p for p in judge_beyond(above, dry) if p.key == "pump.setting_depth_m"] == [], (
        "a well that fell below its pump"
    )


@cache
def midsummer(latitude_deg: float, from_day: int, days: int = 40) -> Rows:
    """A sensor of the sun at this latitude, by the sun's height alone, every five minutes."""
    from analysis.physics.sun import sun_position

    facts, _ = recorded()
    time_ms = from_day * DAY_MS + 300_000 * np.arange(days * 288)
    sun = sun_position(time_ms, latitude_deg, facts.site.longitude_deg)
    light = 1000.0 * np.maximum(np.sin(np.radians(sun.elevation_deg)), 0.0)
    return Rows(time_ms.astype(np.int64), {"irradiance_w_m2": light})


NOVEMBER, FEBRUARY, MAY = 20_420, 20_485, 20_575


@pytest.mark.parametrize(
    ("told_deg", "from_day"), [(31.0, NOVEMBER), (-31.0, MAY), (-31.0, FEBRUARY), (31.0, FEBRUARY)]
)
def test_the_wrong_hemisphere_is_refused_by_the_length_of_the_days(told_deg: float, from_day: int) -> None:
    facts, _ = recorded()
    site = but(facts, "site", latitude_deg=told_deg)
    assert judge_beyond(site, midsummer(told_deg, from_day)) == []
    problem = only(judge_beyond(site, midsummer(-told_deg, from_day)))
    assert problem.key == "site.latitude_deg"
    assert "is the sign wrong?" in problem.fix


def test_days_cut_short_by_mountains_are_no_other_hemisphere() -> None:
    facts, _ = recorded()
    site = but(facts, "site", latitude_deg=-31.0)
    rows = midsummer(-31.0, NOVEMBER)
    low = rows["irradiance_w_m2"] < 400.0
    assert judge_beyond(site, with_(rows, irradiance_w_m2=np.where(low, 5.0, rows["irradiance_w_m2"]))) == []
    assert judge_beyond(but(site, "site", latitude_deg=5.0), midsummer(-31.0, NOVEMBER)) == [], "near the equator"


def test_no_rows_and_one_row_say_nothing() -> None:
    facts, rows = recorded()
    for count in (0, 1):
        assert judge_beyond(facts, rows.take(slice(0, count))) == []
