"""Each check speaks up for its own mistake, by key, with a way out; and stays quiet on a sound site."""

import ast
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from analysis import site_check
from analysis.site_check import Checked, check_site
from analysis.site_check.pump_rows import pump_rows
from logger.record.site_facts import CurveRow, SiteFacts
from logger.record.site_file import load_site, read_site

SITE = Path(__file__).parent / "north_kraal.toml"


@pytest.fixture(scope="module")
def facts() -> SiteFacts:
    return load_site(SITE)


def changed(facts: SiteFacts, **parts: dict) -> SiteFacts:
    """The same site with some facts of some tables changed."""
    return replace(facts, **{name: replace(getattr(facts, name), **values) for name, values in parts.items()})


def module(facts: SiteFacts, **values) -> SiteFacts:
    return changed(facts, array={"module": replace(facts.array.module, **values)})


def curve(facts: SiteFacts, flow: float = 1.0, head: float = 1.0, power: float = 1.0) -> SiteFacts:
    rows = tuple(
        CurveRow(r.head_m * head, r.power_w * power, r.flow_m3_h * flow, r.speed_rpm) for r in facts.pump.curve
    )
    return changed(facts, pump={"curve": rows})


def row(facts: SiteFacts, number: int, **values) -> SiteFacts:
    """The same site with one row of the pump's table, counted from 1, changed."""
    rows = list(facts.pump.curve)
    rows[number - 1] = replace(rows[number - 1], **values)
    return changed(facts, pump={"curve": tuple(rows)})


HELICAL = {
    28.0: (338, 451, 607, 770),
    39.0: (410, 543, 725, 916),
    52.0: (497, 654, 868, 1090),
    62.0: (566, 741, 979, 1226),
}
"""Head [m]: power at four speeds [W], of an invented helical rotor."""
HELICAL_M3_H = ((1.85, 2.5, 3.36, 4.22), (1.79, 2.45, 3.3, 4.16), (1.73, 2.38, 3.24, 4.1), (1.68, 2.33, 3.19, 4.05))
CENTRIFUGAL = ((30, 731, 4.27, 2320), (30, 1521, 6.74, 2900), (41, 628, 2.73, 2320), (41, 1462, 5.86, 2900), (54, 1352, 4.63, 2900),
               (65, 1197, 3.28, 2900))  # fmt: skip
"""Head [m], power [W], flow [m3/h], speed [1/min] of an invented centrifugal pump."""


def helical(facts: SiteFacts) -> SiteFacts:
    """The same site with a table of sixteen rows, numbered from 1 by head, then speed."""
    rows = tuple(
        CurveRow(head, power, flow, speed)
        for (head, powers), flows in zip(HELICAL.items(), HELICAL_M3_H, strict=True)
        for power, flow, speed in zip(powers, flows, (1300, 1740, 2320, 2900), strict=True)
    )
    return changed(facts, pump={"curve": rows, "kind": "helical-rotor"})


def centrifugal(facts: SiteFacts) -> SiteFacts:
    """The same site with the six rows of a centrifugal pump."""
    rows = tuple(CurveRow(*map(float, one)) for one in CENTRIFUGAL)
    return changed(facts, pump={"curve": rows, "kind": "multistage-centrifugal"})


MISTAKES = [  # what was done, gravest grade, key, words that must be there
    ("the fast row of a short table lifts less", lambda f: row(f, 4, flow_m3_h=0.495), "doubtful",
     "pump.curve[4].flow_m3_h", "less than row 3 has at 800 1/min against the same head"),
    ("the higher row of a short table lifts more", lambda f: row(f, 3, flow_m3_h=2.17), "doubtful",
     "pump.curve[3].flow_m3_h", "more than row 1 lifts at the same speed against 40 m"),
    ("one module too many on a cold morning", lambda f: changed(f, array={"modules_in_series": 8}), "wrong",
     "array.modules_in_series", "V open circuit at -12 deg C, above the controller's 400 V"),
    ("cold morning near the limit", lambda f: changed(f, controller={"max_input_voltage_v": 310}),
     "doubtful", "array.modules_in_series", "close to the controller's 310 V"),
    ("string too short when hot", lambda f: changed(f, array={"modules_in_series": 3}), "wrong",
     "array.modules_in_series", "below the controller's least input of 120 V"),
    ("below the tracker's window", lambda f: changed(f, controller={"mpp_min_v": 210}), "doubtful",
     "array.modules_in_series", "below the tracker's window from 210 V"),
    ("above the tracker's window", lambda f: changed(f, controller={"mpp_max_v": 230}), "doubtful",
     "array.modules_in_series", "above the tracker's window up to 230 V"),
    ("window the wrong way round", lambda f: changed(f, controller={"min_input_voltage_v": 450}), "wrong",
     "controller.min_input_voltage_v", "is not below max_input_voltage_v"),
    ("too many strings for the input", lambda f: changed(f, array={"strings": 4}, controller={"max_input_current_a": 15}), "wrong",
     "array.strings", "4 strings of 4.82 A make 19.3 A short circuit, above the input's 15 A"),
    ("layout not allowed", lambda f: changed(f, controller={"allowed_layouts": ((6, 1), (8, 1))}), "wrong",
     "array", "6 in series x 2 strings is not a layout that the controller allows"),
    ("array far too small", lambda f: changed(f, array={"strings": 1, "modules_in_series": 5}), "doubtful",
     "array", "of the pump's 1518 W"),
    ("thin array cable", lambda f: changed(f, array={"cable_length_m": 80.0, "cable_mm2": 2.5}), "doubtful",
     "array.cable_mm2", "of the array's voltage"),
    ("array looks south in the south", lambda f: changed(f, array={"azimuth_deg": 180}), "doubtful",
     "array.azimuth_deg", "looks away from the equator"),
    ("steep array", lambda f: changed(f, array={"tilt_deg": 85}), "doubtful", "array.tilt_deg", "is steep"),
    ("module voltages exchanged", lambda f: module(f, v_mp_v=45.8, v_oc_v=37.4, i_mp_a=3.7), "wrong",
     "array.module.v_mp_v", "is not below v_oc_v"),
    ("module currents exchanged", lambda f: module(f, i_mp_a=4.82, i_sc_a=4.55), "wrong", "array.module.i_mp_a", "is not below i_sc_a"),
    ("module power of another sheet", lambda f: module(f, p_mp_w=250), "wrong", "array.module.p_mp_w", "v_mp_v times i_mp_a is 170.2 W"),
    ("coefficient as a share", lambda f: module(f, temp_coeff_p_mp_pct_c=-0.0038), "doubtful",
     "array.module.temp_coeff_p_mp_pct_c", "is unusual"),
    ("flow in L/min", lambda f: curve(f, flow=60 / 3.6), "wrong", "pump.curve", "every row: more than any pump gives; row 1: 21 m3/h"),
    ("head in feet", lambda f: curve(f, head=3.28), "wrong", "pump.curve", "every row: more than any pump gives"),
    ("flow in L/s", lambda f: curve(f, flow=1 / 3.6), "doubtful", "pump.curve", "at its best row only"),
    ("motor speed of another pump", lambda f: changed(f, motor={"rated_speed_rpm": 1500}), "doubtful",
     "motor.rated_speed_rpm", "the pump's table runs to 2900 1/min"),
    ("controller too small", lambda f: changed(f, controller={"max_power_w": 1000}), "doubtful", "controller.max_power_w", "1518 W"),
    ("pump hangs in air", lambda f: changed(f, pump={"setting_depth_m": 30}), "wrong",
     "pump.setting_depth_m", "hangs above the resting water at 38 m"),
    ("pump just under the water", lambda f: changed(f, pump={"setting_depth_m": 39.0}, well={"probe_depth_m": 38.5}), "wrong",
     "pump.setting_depth_m", "1.0 m of water"),
    ("noon draws the level past the intake", lambda f: changed(f, well={"drawdown_linear_m_per_m3_h": 3.0, "probe_depth_m": 47.5},
     pump={"setting_depth_m": 48.0}, delivery={"riser_length_m": 50}), "wrong",
     "pump.setting_depth_m", "draws air"),
    ("little water left at noon", lambda f: changed(f, pump={"setting_depth_m": 48.6}, well={"probe_depth_m": 48.2},
     delivery={"riser_length_m": 49}), "doubtful", "pump.setting_depth_m", "above the intake"),
    ("probe below the pump", lambda f: changed(f, well={"probe_depth_m": 81.0}), "wrong", "well.probe_depth_m", "it cannot save the pump"),
    ("probe beside the intake", lambda f: changed(f, well={"probe_depth_m": 79.95}), "wrong", "well.probe_depth_m", "below the pump's outlet"),
    ("probe above the water", lambda f: changed(f, well={"probe_depth_m": 30.0}), "wrong", "well.probe_depth_m", "always dry"),
    ("probe in the drawdown", lambda f: changed(f, well={"probe_depth_m": 43.0}), "wrong", "well.probe_depth_m", "it stops daily"),
    ("pump outruns the well", lambda f: changed(f, well={"tested_yield_m3_h": 3.0}), "wrong", "well.tested_yield_m3_h", "of the tested 3 m3/h"),
    ("probe fitted, depth unknown", lambda f: changed(f, well={"probe_depth_m": None}), "doubtful", "well.probe_depth_m", "not stated"),
    ("head far off the curve", lambda f: changed(f, delivery={"outlet_height_m": 80}), "wrong", "pump.curve", "far off it"),
    ("head beyond the curve", lambda f: changed(f, delivery={"outlet_height_m": 20}), "doubtful", "pump.curve", "above the table's 60 m"),
    ("tank in litres", lambda f: changed(f, tank={"capacity_m3": 20_000}), "doubtful", "tank.capacity_m3", "is it in litres"),
    ("narrow riser", lambda f: changed(f, delivery={"riser_inner_diameter_mm": 26}), "doubtful",
     "delivery.riser_inner_diameter_mm", "flow at"),
    ("pipe diameter in inches", lambda f: changed(f, delivery={"pipe_inner_diameter_mm": 300}), "doubtful",
     "delivery.pipe_inner_diameter_mm", "flow at"),
    ("short riser", lambda f: changed(f, delivery={"riser_length_m": 20}), "doubtful", "delivery.riser_length_m", "20 m of riser"),
    ("roughness in micrometres", lambda f: changed(f, delivery={"roughness_mm": 1.5}), "doubtful", "delivery.roughness_mm", "rougher"),
    ("thin motor cable", lambda f: changed(f, cable={"conductor_mm2": 1.5}), "wrong", "cable.conductor_mm2", "into heat"),
    ("short motor cable", lambda f: changed(f, cable={"length_m": 50}), "doubtful", "cable.length_m", "does not reach the pump"),
    ("longitude's sign", lambda f: changed(f, site={"longitude_deg": -24.01}), "doubtful", "site.longitude_deg", "east is positive"),
    ("neighbour's time zone", lambda f: changed(f, site={"timezone": "Asia/Dubai"}), "doubtful", "site.timezone", "h of sun away from Asia/Dubai"),
    ("altitude in feet, hot place", lambda f: changed(f, site={"altitude_m": 4265.0, "highest_ambient_c": 39.0}), "doubtful",
     "site.altitude_m", "4265 ft are 1300 m"),
    ("altitude in feet, no heat stated", lambda f: changed(f, site={"altitude_m": 5100.0, "highest_ambient_c": None}), "doubtful",
     "site.altitude_m", "5100 ft are 1554 m"),
    ("temperatures exchanged", lambda f: changed(f, site={"lowest_ambient_c": 38.0, "highest_ambient_c": 2.0}), "wrong",
     "site.lowest_ambient_c", "not below"),
    ("nothing measured", lambda f: changed(f, sensors={"channels": ("ambient_temp_c",)}), "doubtful", "sensors.channels", "neither power nor water"),
    ("meter step in litres", lambda f: changed(f, sensors={"meter_step_m3": 10.0}), "doubtful", "sensors.meter_step_m3", "in litres"),
    ("pipe far too narrow", lambda f: changed(f, delivery={"pipe_inner_diameter_mm": 22, "pipe_length_m": 2}), "wrong",
     "delivery.pipe_inner_diameter_mm", "flow at"),
    ("long narrow pipe", lambda f: changed(f, delivery={"pipe_inner_diameter_mm": 30, "pipe_length_m": 400}), "doubtful", "delivery", "friction takes"),
    ("array far larger than the pump", lambda f: changed(f, array={"strings": 5}), "doubtful", "array", "times the pump's 1518 W"),
    ("array a little short of the pump", lambda f: changed(f, array={"modules_in_series": 4}), "note", "array", "less than the pump's 1518 W"),
    ("array beyond the controller", lambda f: changed(f, controller={"max_power_w": 900}), "doubtful", "controller.max_power_w", "more than twice"),
    ("open-circuit voltage of another module", lambda f: module(f, v_oc_v=62.0), "doubtful", "array.module.v_oc_v", "fill factor"),
    ("flat array", lambda f: changed(f, array={"tilt_deg": 2}), "note", "array.tilt_deg", "does not wash"),
    ("array that never lifts", lambda f: module(f, p_mp_w=6.0, i_mp_a=0.1605, i_sc_a=0.17), "wrong", "pump.curve", "no water on a clear day of any season"),
    ("array that fails in winter", lambda f: changed(f, array={"tilt_deg": 0, "modules_in_series": 5, "strings": 1}, delivery={"outlet_height_m": 20}, site={"latitude_deg": -62.0}),
     "doubtful", "array", "no water on a clear day about 21 June"),
    ("pump over the tested yield", lambda f: changed(f, well={"tested_yield_m3_h": 4.4}), "doubtful", "well.tested_yield_m3_h", "of the tested 4.4 m3/h"),
    ("a dry season bares the pump", lambda f: changed(f, pump={"setting_depth_m": 50.0}, well={"seasonal_range_m": 22.0, "probe_depth_m": 49.5},
     delivery={"riser_length_m": 51}), "wrong", "pump.setting_depth_m", "at rest in the dry season only"),
    ("probe high over the pump", lambda f: changed(f, well={"probe_depth_m": 70.0}), "note", "well.probe_depth_m", "that much water unused"),
    ("little left for a dry year", lambda f: changed(f, well={"static_level_m": 5.0, "drawdown_linear_m_per_m3_h": 4.22, "probe_depth_m": 29.0},
     delivery={"outlet_height_m": 35.0, "riser_length_m": 31}, pump={"setting_depth_m": 30.0}), "note", "well.drawdown_linear_m_per_m3_h", "above the intake"),
    ("lift under the table's least head", lambda f: changed(f, well={"static_level_m": 29.0}), "doubtful", "pump.curve", "covers 40 to 60 m"),
    ("meter step not stated", lambda f: changed(f, sensors={"meter_step_m3": None}), "note", "sensors.meter_step_m3", "not stated"),
    ("longish array cable", lambda f: changed(f, array={"cable_length_m": 50.0, "cable_mm2": 2.5}), "note", "array.cable_mm2", "of the array's voltage"),
    ("motor cable on the thin side", lambda f: changed(f, cable={"conductor_mm2": 2.5}), "doubtful", "cable.conductor_mm2", "into heat"),
    ("power without water", lambda f: changed(f, sensors={"channels": ("pv_voltage_v", "pv_current_a")}), "note", "sensors.channels", "no water meter"),
    ("water without power", lambda f: changed(f, sensors={"channels": ("volume_m3",)}), "note", "sensors.channels", "no power is measured"),
    ("tank a bucket", lambda f: changed(f, tank={"capacity_m3": 0.2}), "doubtful", "tank.capacity_m3", "a clear day's"),
    ("one row's flow in L/min", lambda f: row(f, 2, flow_m3_h=84.0), "wrong", "pump.curve[2].flow_m3_h", "efficient"),
    ("a row without power", lambda f: row(f, 3, power_w=0.0), "wrong", "pump.curve[3].power_w", "must be above 0, got 0"),
    ("riser in half inches", lambda f: changed(f, delivery={"riser_inner_diameter_mm": 5}), "wrong",
     "delivery.riser_inner_diameter_mm", "5 mm chokes the pump"),
    ("pipe chokes", lambda f: changed(f, delivery={"pipe_inner_diameter_mm": 10}), "wrong",
     "delivery.pipe_inner_diameter_mm", "10 mm chokes the pump"),
    ("flow ends at the table's edge", lambda f: changed(f, delivery={"outlet_height_m": 32}), "doubtful",
     "pump.curve", "the flow ends where nothing is known of the pump any more"),
    ("yield by the day", lambda f: changed(f, well={"tested_yield_m3_h": 156}), "doubtful", "well.tested_yield_m3_h", "is it in m3/day? 156 m3/day are 6.5 m3/h"),
    ("well by far stronger than the pump", lambda f: changed(f, well={"tested_yield_m3_h": 156, "drawdown_linear_m_per_m3_h": 0.02,
     "drawdown_quadratic_m_per_m3_h2": 0.0}), "note", "well.tested_yield_m3_h", "times what the pump can lift"),
    ("start delay in minutes", lambda f: changed(f, controller={"start_delay_s": 0.33}), "doubtful", "controller.start_delay_s", "0.33 min are 19.8 s"),
    ("start delay in milliseconds", lambda f: changed(f, controller={"start_delay_s": 3000.0}), "doubtful", "controller.start_delay_s", "3000 ms are 3 s"),
    ("altitude in kilometres", lambda f: changed(f, site={"altitude_m": 1.18}), "doubtful", "site.altitude_m", "1.18 km are 1180 m"),
    ("altitude in kilometres, rounded", lambda f: changed(f, site={"altitude_m": 1.2}), "note", "site.altitude_m", "1.2 km are 1200 m"),
    ("one module above the controller's limit", lambda f: changed(f, controller={"max_input_voltage_v": 40, "min_input_voltage_v": 12}), "wrong",
     "array.modules_in_series", "no string of this module fits this controller: even one is above its limit"),
    ("a window that no string fits", lambda f: changed(f, controller={"max_input_voltage_v": 400, "min_input_voltage_v": 300}), "wrong",
     "array.modules_in_series", "at most 7 bear the cold morning: no string of this module fits"),
    ("four rows of a helical rotor called centrifugal", lambda f: changed(f, pump={"kind": "multistage-centrifugal"}), "doubtful",
     "pump.kind", 'is it "helical-rotor"?'),
    ("hold in hours", lambda f: changed(f, controller={"low_level_hold_min": 0.5}), "doubtful", "controller.low_level_hold_min", "0.5 h are 30 min"),
    ("visit of a year before", lambda f: replace(f, visits=(replace(f.visits[0], date=date(2024, 12, 2)),)), "doubtful",
     "visit[1].date", "before the site was commissioned, 2025-09-01"),
    ("a year typed wrongly", lambda f: changed(f, sensors={"commissioned": date(2125, 9, 1)}), "doubtful", "sensors.commissioned", "2125-09-01 is still to come"),
    ("a century typed wrongly", lambda f: changed(f, sensors={"commissioned": date(1925, 9, 1)}), "doubtful", "sensors.commissioned", "is the year right?"),
    ("drawdown for each litre a minute", lambda f: changed(f, well={"drawdown_linear_m_per_m3_h": 96.0}), "doubtful",
     "well.drawdown_linear_m_per_m3_h", "the level would fall by 481 m"),
    ("a well drawn down off the table", lambda f: changed(f, well={"drawdown_linear_m_per_m3_h": 9.0}), "doubtful", "pump.curve", "the well is drawn down by"),
    ("six strings on an input of unknown rating", lambda f: changed(f, array={"strings": 6}), "note",
     "controller.max_input_current_a", "whether the input bears 28.9 A of 6 strings cannot be judged"),
    ("a helical rotor called centrifugal", lambda f: changed(helical(f), pump={"kind": "multistage-centrifugal"}), "doubtful",
     "pump.kind", 'is it "helical-rotor"?'),
    ("a centrifugal pump called helical", lambda f: changed(centrifugal(f), pump={"kind": "helical-rotor"}), "doubtful",
     "pump.kind", 'is it "multistage-centrifugal"?'),
    ("a row's flow in L/s", lambda f: row(helical(f), 11, flow_m3_h=0.9), "doubtful",
     "pump.curve[11].flow_m3_h", "is it in L/s? 0.9 L/s are 3.24 m3/h"),
    ("digits exchanged", lambda f: row(helical(f), 11, flow_m3_h=2.34), "doubtful", "pump.curve[11].flow_m3_h", "are digits exchanged"),
    ("flow that rises with head", lambda f: row(helical(f), 16, flow_m3_h=5.5), "doubtful",
     "pump.curve[16].flow_m3_h", "other rows together give about 4.05"),
    ("a row's speed in Hz", lambda f: row(helical(f), 11, speed_rpm=38.7), "doubtful",
     "pump.curve[11].speed_rpm", "is it in 1/s? 38.7 1/s are 2320 1/min"),
    ("a row's power of another line", lambda f: row(helical(f), 11, power_w=1090.0), "doubtful", "pump.curve[11].power_w", "1090 W, where the table's other rows together give about"),
]  # fmt: skip


@pytest.mark.parametrize(("mistake", "change", "grade", "key", "words"), MISTAKES, ids=[m[0] for m in MISTAKES])
def test_a_mistake_is_named_with_key_grade_and_fix(facts, mistake, change, grade, key, words):
    found = check_site(change(facts), "kraal.toml")
    hit = [r for r in found if r.problem.key == key and words in r.problem.wrong + r.problem.fix]
    assert hit, f"{mistake}: not found among {[str(r) for r in found]}"
    assert grade in {r.grade for r in hit}
    assert all(r.problem.fix and r.problem.file == "kraal.toml" for r in found)


def test_a_tank_and_a_pipe_are_not_blamed_for_a_well_that_gives_next_to_nothing(facts):
    found = check_site(changed(facts, well={"drawdown_linear_m_per_m3_h": 96.0}), "kraal.toml")
    assert not [str(r) for r in found if r.problem.key.startswith(("tank", "delivery"))]


def test_a_sound_site_is_fine(facts):
    assert [str(r) for r in check_site(facts, "kraal.toml") if r.grade != "note"] == []


@pytest.mark.parametrize(
    ("zone", "longitude_deg"),
    [
        ("Europe/Madrid", -8.9), ("America/Argentina/Mendoza", -69.5), ("Asia/Shanghai", 75.0), ("America/Santiago", -71.5),
        ("Africa/Johannesburg", 17.0), ("Pacific/Auckland", 167.0), ("Pacific/Kiritimati", -157.4), ("UTC", 120.0),
    ],
)  # fmt: skip
def test_lands_that_keep_odd_clocks_are_fine(facts, zone, longitude_deg):
    found = check_site(changed(facts, site={"timezone": zone, "longitude_deg": longitude_deg}), "kraal.toml")
    assert not [str(r) for r in found if r.problem.key in {"site.timezone", "site.longitude_deg"}]


def test_a_high_plateau_is_fine(facts):
    found = check_site(changed(facts, site={"altitude_m": 3800.0, "highest_ambient_c": 24.0}), "kraal.toml")
    assert not [str(r) for r in found if r.problem.key == "site.altitude_m"]


def test_several_mistakes_are_all_said_gravest_first(facts):
    bad = changed(
        facts, array={"modules_in_series": 9, "azimuth_deg": 180}, well={"probe_depth_m": 90.0}, delivery={"riser_length_m": 20}
    )  # fmt: skip
    found = check_site(bad, "kraal.toml")
    keys = {"array.modules_in_series", "array.azimuth_deg", "well.probe_depth_m", "delivery.riser_length_m"}
    assert {r.problem.key for r in found} >= keys, "the riser is judged by the expected day, the others by the facts"
    grades = [r.grade for r in found]
    assert grades.count("wrong") >= 2
    assert "doubtful" in grades
    assert grades == sorted(grades, key=["wrong", "doubtful", "note"].index)


def test_a_wrong_string_does_not_silence_the_day(facts):
    """The string's voltage says nothing against the well or the riser."""
    day = changed(facts, well={"tested_yield_m3_h": 2.0}, delivery={"riser_length_m": 20})
    keys = {r.problem.key for r in check_site(changed(day, array={"modules_in_series": 3}), "kraal.toml")}
    assert keys >= {"array.modules_in_series", "well.tested_yield_m3_h", "delivery.riser_length_m"}


def test_every_check_has_a_mistake_of_its_own(facts, monkeypatch):
    """Each place in the code that can remark is reached by some mistake above: a check that nobody ever saw speak is no check."""
    reached: set[tuple[str, int]] = set()
    for grade in ("wrong", "doubtful", "note"):
        said = getattr(Checked, grade)

        def noted(site, key, what, fix, said=said):
            caller = sys._getframe(1)
            reached.add((Path(caller.f_code.co_filename).name, _statement(caller)))
            return said(site, key, what, fix)

        monkeypatch.setattr(Checked, grade, noted)
    for _, change, *_ in MISTAKES:
        check_site(change(facts), "kraal.toml")
    there = {(path.name, line) for path in Path(site_check.__file__).parent.glob("*.py") for line in _remarks_in(path)}
    silent = there - reached
    assert not silent, f"never seen to speak: {sorted(silent)}"


def _remarks_in(path: Path) -> list[int]:
    """First lines of the statements that yield a remark."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = "wrong", "doubtful", "note"
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Yield)
        and any(isinstance(part, ast.Attribute) and part.attr in calls for part in ast.walk(node))
    ]  # fmt: skip


def _statement(frame) -> int:
    """First line of the statement that a frame is in."""
    lines = _remarks_in(Path(frame.f_code.co_filename))
    return max(line for line in lines if line <= frame.f_lineno)


def test_array_voltage_comes_with_its_caution(facts):
    (hit,) = [r for r in check_site(changed(facts, array={"modules_in_series": 9}), "k") if r.grade == "wrong"]
    assert "leave the wiring to licensed people" in hit.problem.fix


def test_a_column_that_slipped_is_said_once(facts):
    said = [r for r in check_site(curve(facts, power=0.001), "site.toml") if r.problem.key.startswith("pump.curve")]
    assert [r.problem.key for r in said] == ["pump.curve"]
    two = row(row(facts, 2, flow_m3_h=84.0), 3, flow_m3_h=19.5)
    (said_of_two,) = [r for r in check_site(two, "site.toml") if r.grade == "wrong" and "pump.curve" in r.problem.key]
    assert said_of_two.problem.wrong.startswith("rows 2, 3: more than any pump gives; row 2: 84 m3/h")


@pytest.mark.parametrize("static_level_m", [2.0, 75.0])
def test_a_head_off_the_table_is_not_blamed_on_the_array(facts, static_level_m):
    said = [
        str(r)
        for r in check_site(changed(facts, well={"static_level_m": static_level_m}), "k")
        if r.problem.key == "pump.curve"
    ]
    assert len(said) == 1
    assert "far off it" in said[0]


@pytest.mark.parametrize("name", ["riser", "pipe"])
def test_a_pipe_that_chokes_is_the_only_one_blamed(facts, name):
    found = check_site(changed(facts, delivery={f"{name}_inner_diameter_mm": 5}), "k")
    assert [r.problem.key for r in found if r.grade != "note"] == [f"delivery.{name}_inner_diameter_mm"]


def test_a_well_that_gives_no_more_is_not_blamed_on_the_riser(facts):
    steep = changed(
        facts, well={"drawdown_linear_m_per_m3_h": 8.0}, delivery={"riser_inner_diameter_mm": 25, "riser_length_m": 80}
    )  # fmt: skip
    assert not [str(r) for r in check_site(steep, "k") if "chokes" in r.problem.wrong]


def test_a_stated_coldest_morning_is_not_talked_away(facts):
    """A milder one than the site's own would let a voltage through that destroys the controller."""
    for stated, advised in ((None, True), (-10.0, False)):
        site = changed(facts, array={"modules_in_series": 9}, site={"lowest_ambient_c": stated})
        (hit,) = [r for r in check_site(site, "k") if r.grade == "wrong"]
        assert ("lowest_ambient_c" in hit.problem.fix) is advised


def test_waiting_times_of_nothing_and_visits_of_the_first_day_are_fine(facts):
    site = changed(facts, controller={"start_delay_s": 0.0, "low_level_hold_min": 0.0})
    first = replace(site, visits=(replace(site.visits[0], date=site.sensors.commissioned),))
    assert [str(r) for r in check_site(first, "k") if r.grade != "note"] == []


@pytest.mark.parametrize("table", [helical, centrifugal])
@pytest.mark.parametrize(
    ("column", "share"),
    [("flow_m3_h", 1 / 3.6), ("flow_m3_h", 0.72), ("flow_m3_h", 1.36), ("speed_rpm", 1 / 60), ("power_w", 0.7)],
)
def test_the_row_that_is_odd_is_named_and_no_other(facts, table, column, share):
    """Wherever it stands in the table: at a corner, where the others have to be carried on, as in the middle."""
    sound = table(facts)
    rows = sound.pump.curve
    assert not [str(r) for r in check_site(sound, "k") if r.problem.key.startswith(("pump.curve[", "pump.kind"))]
    for number in (1, len(rows) // 2, len(rows)):
        value = round(getattr(rows[number - 1], column) * share, 2)
        found = Checked(row(sound, number, **{column: value}), "k")
        assert [r.problem.key for r in pump_rows(found)] == [f"pump.curve[{number}].{column}"]


def test_tables_too_short_or_without_speeds_are_not_judged_by_their_rows(facts):
    slow = [replace(r, speed_rpm=None) for r in row(helical(facts), 11, flow_m3_h=2.34).pump.curve]
    assert not list(pump_rows(Checked(changed(facts, pump={"curve": tuple(slow)}), "k")))
    assert not list(pump_rows(Checked(row(facts, 2, flow_m3_h=4.9), "k"))), "nothing that two rows alone disprove"


@pytest.mark.parametrize("rows", [(0, 2, 3, 5), (0, 1, 3, 5), (1, 2, 5)])
def test_a_few_rows_of_a_centrifugal_pump_are_fine(facts, rows):
    some = tuple(centrifugal(facts).pump.curve[number] for number in rows)
    short = changed(facts, pump={"curve": some, "kind": "multistage-centrifugal"})
    assert not [str(r) for r in check_site(short, "k") if r.problem.key == "pump.kind"]


def test_a_row_against_no_head_is_a_row(facts):
    some = tuple(centrifugal(facts).pump.curve[number] for number in (0, 2, 3))
    short = changed(facts, pump={"curve": (replace(some[0], head_m=0.0), *some[1:]), "kind": "multistage-centrifugal"})
    assert check_site(short, "k") is not None


def test_a_coast_in_whole_metres_is_fine(facts):
    found = check_site(changed(facts, site={"altitude_m": 3.0}), "kraal.toml")
    assert not [str(r) for r in found if r.problem.key == "site.altitude_m"]


def test_one_row_without_a_speed_is_judged_like_a_table_without_speeds():
    text = SITE.read_text().replace(", speed_rpm = 800", "", 1)
    assert site_check.remarks_on(Checked(read_site(text), "x.toml")) is not None
