"""A site file that the readings contradict is refused before the engine explains it by faults; what a fault can do is not."""

import json
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from analysis.rows import Rows
from analysis.site_fits import judge_fit, level_note
from analysis.solar_days import DAY_MS, HOUR_MS
from logger.cli import main
from logger.record.site_facts import SiteFacts
from tests.cases.recorded import HERE, case_folders, read_case


@cache
def recorded(name: str = "string-out/centrifugal_full") -> tuple[SiteFacts, Rows]:
    """54 days with all sensors; a string goes out on the way."""
    facts, rows, _ = read_case(HERE / name)
    return facts, rows


def but(facts: SiteFacts, section: str, **changed: Any) -> SiteFacts:
    """The facts with one section's changed."""
    return replace(facts, **{section: replace(getattr(facts, section), **changed)})


def with_(rows: Rows, **columns: np.ndarray) -> Rows:
    """The rows with other columns."""
    return Rows(rows.time_ms, {**rows.values, **columns})


def _turned(facts: SiteFacts, off_deg: float) -> float:
    return (facts.site.longitude_deg + off_deg + 180.0) % 360.0 - 180.0


def days_of(rows: Rows) -> np.ndarray:
    """Of each row, days since the first."""
    return (rows.time_ms - rows.time_ms.min()) / DAY_MS


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: f"{f.parent.name}-{f.name}")
def test_no_recorded_case_is_refused_or_noted(folder) -> None:
    facts, rows, _ = read_case(folder)
    assert judge_fit(facts, rows) == []
    assert level_note(facts, rows) is None


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: f"{f.parent.name}-{f.name}")
@pytest.mark.parametrize(("times", "words"), [(1 / 3, "need at least"), (3, "while power flows")])
def test_another_number_in_series_is_refused(folder, times: float, words: str) -> None:
    facts, rows, _ = read_case(folder)
    series = max(int(facts.array.modules_in_series * times), 1)
    (problem,) = judge_fit(but(facts, "array", modules_in_series=series), rows)
    assert problem.key == "array.modules_in_series"
    assert facts.site.id in problem.file
    assert words in str(problem)


def test_the_number_in_series_that_would_do_is_named() -> None:
    facts, rows = recorded()
    right = facts.array.modules_in_series
    (low,) = judge_fit(but(facts, "array", modules_in_series=1), rows)
    need = int(low.fix.split("at least ")[1].split()[0])
    assert 0.6 * right <= need <= right
    (high,) = judge_fit(but(facts, "array", modules_in_series=3 * right), rows)
    assert int(high.fix.split("about ")[1].split()[0]) == pytest.approx(right, rel=0.35)


def test_more_current_than_the_strings_can_give_is_refused() -> None:
    facts, rows = recorded()
    given = with_(rows, pv_current_a=2.5 * rows["pv_current_a"])
    (problem,) = judge_fit(facts, given)
    assert problem.key == "array.strings"
    assert judge_fit(but(facts, "array", strings=3 * facts.array.strings), given) == []


def test_a_few_days_are_refused_for_voltage_but_not_for_noon() -> None:
    facts, rows = recorded()
    few = rows.take(days_of(rows) < 3)
    far = but(facts, "site", longitude_deg=facts.site.longitude_deg - 90)
    assert judge_fit(far, few) == []
    assert [one.key for one in judge_fit(but(far, "array", modules_in_series=1), few)] == ["array.modules_in_series"]


@pytest.mark.parametrize("off_deg", [-150, -60, 60, 150, 180])
@pytest.mark.parametrize(
    ("name", "channel"),
    [
        ("string-out/centrifugal_full", "irradiance_w_m2"),
        ("string-out/centrifugal_full", "input_power_w"),
        ("none/helical_lean", "input_power_w"),
        ("unexplained/centrifugal_middle", "pv_voltage_v"),
    ],
)
def test_another_longitude_is_refused_with_the_likely_one(off_deg: float, name: str, channel: str) -> None:
    facts, rows = recorded(name)
    power = rows["pv_voltage_v"] * rows["pv_current_a"]
    rows = with_(rows, input_power_w=power)
    rows = Rows(rows.time_ms, {channel: rows[channel]})
    (problem,) = judge_fit(but(facts, "site", longitude_deg=_turned(facts, off_deg)), rows)
    assert problem.key == "site.longitude_deg"
    assert "clock" in problem.fix
    said = float(problem.fix.split("about ")[1].split()[0])
    assert said == pytest.approx(facts.site.longitude_deg, abs=20)
    drifting = Rows(rows.time_ms - rows.time_ms // 8, rows.values)
    assert judge_fit(facts, drifting) == []
    assert judge_fit(facts, rows) == []


def test_a_time_zone_of_four_hours_is_refused_and_of_one_is_not() -> None:
    facts, rows = recorded()
    for hours, keys in ((4, ["site.longitude_deg"]), (-4, ["site.longitude_deg"]), (1, [])):
        moved = Rows(rows.time_ms + hours * HOUR_MS, rows.values)
        assert [one.key for one in judge_fit(facts, moved)] == keys, hours


def test_what_begins_some_day_is_no_wrong_file() -> None:
    facts, rows = recorded()
    late = days_of(rows) > 0.3 * days_of(rows).max()
    volts, amperes = rows["pv_voltage_v"], rows["pv_current_a"]
    for fault in (
        with_(rows, pv_voltage_v=np.where(late, 4 * volts, volts)),
        with_(rows, pv_voltage_v=np.where(late, 0.3 * volts, volts)),
        with_(rows, pv_current_a=np.where(late, 3 * amperes, amperes)),
        Rows(rows.time_ms + late * 5 * HOUR_MS, rows.values),
    ):
        assert judge_fit(facts, fault) == []


def test_a_dead_or_stuck_sensor_from_the_first_day_is_no_wrong_file() -> None:
    facts, rows = recorded()
    for name in ("pv_voltage_v", "pv_current_a", "irradiance_w_m2"):
        top = float(np.nanmax(rows[name]))
        for value in (0.0, 0.1 * top, 3 * top, np.nan):
            assert judge_fit(facts, with_(rows, **{name: np.full(len(rows), value)})) == [], (name, value)
    assert judge_fit(facts, with_(rows, pv_current_a=0.4 * rows["pv_current_a"])) == []


def test_one_module_of_two_passed_by_all_season_is_a_fault() -> None:
    facts, rows = recorded()
    two = but(facts, "array", modules_in_series=2)
    share = 2.0 / facts.array.modules_in_series
    assert judge_fit(two, with_(rows, pv_voltage_v=0.47 * share * rows["pv_voltage_v"])) == []
    assert judge_fit(two, with_(rows, pv_voltage_v=0.3 * share * rows["pv_voltage_v"])) != []


def test_a_tank_full_by_ten_every_day_is_no_wrong_clock() -> None:
    facts, rows = recorded()
    hour = np.mod(rows.time_ms / HOUR_MS + facts.site.longitude_deg / 15, 24)
    power = np.where(hour < 10, rows["pv_voltage_v"] * rows["pv_current_a"], 0.0)
    assert judge_fit(facts, Rows(rows.time_ms, {"input_power_w": power})) == []
    mornings = rows.take(hour < 11)
    for name in ("pv_voltage_v", "irradiance_w_m2"):
        assert judge_fit(facts, Rows(mornings.time_ms, {name: mornings[name]})) == []


def test_another_resting_level_is_noted_and_not_refused() -> None:
    facts, rows = recorded("falling-water-level/helical_full")
    assert level_note(facts, rows) is None
    shallow = but(facts, "well", static_level_m=3.0)
    assert "well.static_level_m = 3" in (level_note(shallow, rows) or "")
    assert judge_fit(shallow, rows) == []
    assert level_note(shallow, Rows(rows.time_ms, {})) is None


def test_a_resting_level_in_feet_is_said_to_be_the_files_own() -> None:
    facts, rows = recorded()
    note = level_note(facts, with_(rows, water_level_m=rows["water_level_m"] / 0.3048))
    assert note is not None
    assert " feet are " in note


def test_no_rows_and_one_row_say_nothing() -> None:
    facts, rows = recorded()
    for count in (0, 1):
        assert judge_fit(facts, rows.take(slice(0, count))) == []
        assert level_note(facts, rows.take(slice(0, count))) is None


def test_the_review_refuses_and_writes_nothing(tmp_path, site_file, frame, capsys) -> None:
    frame.to_parquet(tmp_path / "r.parquet", index=False)
    wrong = tmp_path / "site.toml"
    wrong.write_text(site_file.read_text().replace("modules_in_series = 6", "modules_in_series = 2"))
    arguments = ["review", "--readings", str(tmp_path / "r.parquet"), "--out", str(tmp_path / "out"), "--site"]
    assert main([*arguments, str(wrong)]) == 2
    said = capsys.readouterr().err
    assert "north: array.modules_in_series: 2 in series give" in said
    assert "\n    fix: such readings need at least" in said
    assert not (tmp_path / "out").exists()
    assert main([*arguments, str(site_file)]) == 0
    assert json.loads((tmp_path / "out" / "findings.json").read_text())["site"] == "north"
