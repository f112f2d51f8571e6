"""A site file is read whole or refused with everything that is wrong in it, in words that its owner can act on."""

import datetime as dt
import textwrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.record.site_file import SiteFileError, digest_of, load_site, read_site

GOOD = """
[site]
id = "north-kraal"
name = "North kraal"
latitude_deg = -30.72
longitude_deg = 24.01
altitude_m = 1180
timezone = "Africa/Johannesburg"

[array]
modules_in_series = 6
strings = 2
tilt_deg = 30
azimuth_deg = 0
[array.module]
p_mp_w = 170
v_mp_v = 37.4
i_mp_a = 4.55
v_oc_v = 45.8
i_sc_a = 4.82
temp_coeff_p_mp_pct_c = -0.38
temp_coeff_v_oc_pct_c = -0.30
temp_coeff_i_sc_pct_c = 0.05
noct_c = 45

[controller]
max_input_voltage_v = 400
min_input_voltage_v = 120
max_power_w = 2200
start_delay_s = 30
low_level_hold_min = 30
speed_limit_pct = 100
allowed_layouts = [[6, 1], [6, 2]]

[cable]
length_m = 95
conductor_mm2 = 4

[pump]
kind = "helical-rotor"
setting_depth_m = 80
curve_power_at = "controller-input"
curve = [
  { head_m = 40, power_w = 333, flow_m3_h = 1.26, speed_rpm = 800 },
  { head_m = 40, power_w = 1159, flow_m3_h = 5.04 },
  { head_m = 60, power_w = 466, flow_m3_h = 1.17, speed_rpm = 800 },
]

[well]
static_level_m = 38.0
drawdown_linear_m_per_m3_h = 1.6
drawdown_quadratic_m_per_m3_h2 = 0.05
tested_yield_m3_h = 5.0
probe_depth_m = 78.5

[delivery]
riser_length_m = 80
riser_inner_diameter_mm = 40
pipe_length_m = 120
pipe_inner_diameter_mm = 50
roughness_mm = 0.01
minor_loss_coefficient = 6.0
outlet_height_m = 8.0

[tank]
capacity_m3 = 20

[sensors]
channels = ["pv_voltage_v", "volume_m3"]
meter_step_m3 = 0.01
commissioned = 2025-09-01

[[visit]]
date = 2025-12-02
kind = "panels-washed"
note = "after the dust storm"
"""


def problems(old: str, new: str) -> str:
    """What is said of the good file with `old` replaced."""
    assert old in GOOD
    with pytest.raises(SiteFileError) as caught:
        read_site(GOOD.replace(old, new), "north-kraal.toml")
    return str(caught.value)


def test_a_good_file_becomes_typed_facts():
    facts = read_site(GOOD)
    assert facts.site.id == "north-kraal"
    assert facts.array.modules_in_series == 6
    assert facts.array.module.v_oc_v == 45.8
    assert isinstance(facts.site.altitude_m, float)
    assert facts.pump.curve[1].speed_rpm is None
    assert facts.controller.allowed_layouts == ((6, 1), (6, 2))
    assert facts.sensors.commissioned == dt.date(2025, 9, 1)
    assert facts.visits[0].kind == "panels-washed"
    assert facts.motor.kind is None, "the whole table is optional"


def test_every_problem_is_told_at_once_with_its_fix():
    text = GOOD.replace("setting_depth_m = 80", "seting_depth_m = 80").replace(
        "outlet_height_m = 8.0", "outlet_height_m = '8 m'"
    )
    with pytest.raises(SiteFileError) as caught:
        read_site(text, "north-kraal.toml")
    assert str(caught.value) == textwrap.dedent("""\
        north-kraal.toml: pump.seting_depth_m: no such key
            fix: did you mean pump.setting_depth_m?
        north-kraal.toml: delivery.outlet_height_m: expected a number of m, got '8 m'
            fix: write outlet_height_m = 8
        Nothing was started. 2 problems in 1 file.""")


CASES = [
    ("capacity_m3 = 20", "capacity_m3 = true", "tank.capacity_m3: expected a number of m3, got true"),
    ("capacity_m3 = 20", "", "tank.capacity_m3: missing\n    fix: add capacity_m3 = <a number of m3, 0.05 to 100000>"),
    ("[tank]\ncapacity_m3 = 20", "", "tank: table missing\n    fix: add a table [tank] with capacity_m3"),
    ("[tank]\ncapacity_m3 = 20", "", "1 problem in 1 file"),
    ("capacity_m3 = 20", "capacity_m3 = nan", "tank.capacity_m3: expected a number of m3, got nan"),
    ("capacity_m3 = 20", 'capacity_m3 = "20 000 L"', "tank.capacity_m3: expected a number of m3, got '20 000 L'"),
    ("capacity_m3 = 20", 'capacity_m3 = "20000 L"', "fix: write capacity_m3 = 20 (20000 L in m3)"),
    ("capacity_m3 = 20", 'capacity_m3 = "20,5"', "fix: write capacity_m3 = 20.5"),
    ("head_m = 60,", "head_m = 60000,", "pump.curve[3].head_m: expected 0 to 1000 m, got 60000\n    fix: if that is mm, write head_m = 60"),
    ("power_w = 333", "power_watt = 333", "pump.curve[1].power_watt: no such key\n    fix: did you mean pump.curve[1].power_w?"),
    ("p_mp_w = 170", "p_mp_w = 0.17", "fix: if that is kW, write p_mp_w = 170"),
    ("speed_limit_pct = 100", "speed_limit_pct = 1", "fix: if that is a fraction, write speed_limit_pct = 100"),
    ("modules_in_series = 6", "modules_in_series = 6.5", "array.modules_in_series: expected a whole number, got 6.5"),
    ('kind = "helical-rotor"', 'kind = "helical"', 'fix: did you mean kind = "helical-rotor"?'),
    ('kind = "helical-rotor"', "kind = 1", "pump.kind: expected text in quotes, got 1"),
    ('id = "north-kraal"', 'id = "North Kraal!"', 'fix: write id = "north-kraal"'),
    ('id = "north-kraal"', f'id = "{"a" * 49}"', "site.id: expected 1 to 48 of a-z, 0-9 and -"),
    ('name = "North kraal"', 'name = " "', "site.name: expected 1 to 100 characters"),
    ("Africa/Johannesburg", "Africa/Johanesburg", 'fix: did you mean timezone = "Africa/Johannesburg"?'),
    ("Africa/Johannesburg", "../etc/passwd", "site.timezone: no such time zone"),
    ('"volume_m3"]', '"volume"]', "sensors.channels[2]: no such channel: 'volume'\n    fix: did you mean 'volume_m3'?"),
    ('"volume_m3"]', '"pv_voltage_v"]', "sensors.channels[2]: 'pv_voltage_v' stands there twice"),
    ('"volume_m3"]', "3]", "sensors.channels[2]: expected text in quotes, got 3"),
    ("commissioned = 2025-09-01", 'commissioned = "2025-09-01"', "fix: write commissioned = 2025-09-01, without quotes"),
    ("commissioned = 2025-09-01", "commissioned = 2025-09-01T08:00:00Z", "sensors.commissioned: expected a date"),
    ('kind = "panels-washed"', 'kind = "panels-cleaned"', "visit[1].kind: expected one of panels-washed, pump-lifted"),
    ("[[visit]]", "[visit]", "visit: expected a list, got a table\n    fix: write [[visit]], with two brackets"),
    ("[[6, 1], [6, 2]]", "[[6, 1], [6]]", "controller.allowed_layouts[2]: expected 2 values, got 1"),
    ("[[6, 1], [6, 2]]", "[[6, 0]]", "controller.allowed_layouts[1]: expected [in series, strings], got [6, 0]"),
    ("[[6, 1], [6, 2]]", '[["6", 1]]', "controller.allowed_layouts[1][1]: expected a whole number, got '6'"),
    ("min_input_voltage_v = 120", "min_input_voltage_v = 400", "controller.min_input_voltage_v: 400 is not below max_input_voltage_v = 400"),
    ("v_mp_v = 37.4", "v_mp_v = 45.8", "array.module.v_mp_v: 45.8 is not below v_oc_v = 45.8"),
    ("head_m = 60,", "head_m = 40,", "pump.curve: only 3 rows at 1 head\n    fix: give at least 3 rows at 2 heads or more"),
    ("head_m = 40, power_w = 1159", "head_m = 40, power_w = 333, speed_rpm = 800", "two flows at 40 m and 333 W: rows 1 and 2"),
    ("azimuth_deg = 0", "azimuth_deg = -10", "fix: write azimuth_deg = 350: it is the same direction"),
    ("longitude_deg = 24.01", "longitude_deg = 190", "fix: write longitude_deg = -170: it is the same direction"),
    ("latitude_deg = -30.72", "latitude_deg = -300", "fix: check the datasheet or the driller's log and the unit (deg)"),
    ("temp_coeff_p_mp_pct_c = -0.38", "temp_coeff_p_mp_pct_c = 0.38", "fix: is the sign wrong? Then write temp_coeff_p_mp_pct_c = -0.38"),
    ("roughness_mm = 0.01", "roughness_mm = 10", "fix: if that is um, write roughness_mm = 0.01"),
    ("{ head_m = 60, power_w = 466, flow_m3_h = 1.17, speed_rpm = 800 }", "[60, 466, 1.17]", "fix: write it as { head_m = ..., power_w = ..., flow_m3_h = ..., speed_rpm = ... }"),
    ("altitude_m = 1180", "altitude_m = 1180,5", "line 7, column 18: not TOML: Expected newline or end of document after a statement\n    fix: a decimal takes a point, not a comma: altitude_m = 1180.5"),
    ("[tank]", "[tanks]", "tanks: no such key\n    fix: did you mean tank?"),
    ("[site]", "[site", "line 2, column 6: not TOML:"),
    ("[site]", "x = " + "[" * 5000, "not TOML"),
    ("[cable]", "[[cable]]", "cable: expected a table, got a list of 1"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), CASES)
def test_what_is_wrong_is_said_with_key_and_fix(old, new, said):
    assert said in problems(old, new)


def test_a_file_that_cannot_be_read_is_a_problem_like_any_other(tmp_path):
    with pytest.raises(SiteFileError) as caught:
        load_site(tmp_path / "none.toml")
    assert "none.toml: file: cannot be read: No such file or directory" in str(caught.value)
    (tmp_path / "latin.toml").write_bytes(GOOD.replace("North kraal", "Ångström").encode("latin-1"))
    with pytest.raises(SiteFileError, match=r"latin.toml: line 4: not UTF-8 text"):
        load_site(tmp_path / "latin.toml")
    (tmp_path / "long.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(SiteFileError, match="longer than 1000000 bytes"):
        load_site(tmp_path / "long.toml")


def test_an_editors_byte_order_mark_and_line_ends_do_no_harm(tmp_path):
    (tmp_path / "site.toml").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_site(tmp_path / "site.toml") == read_site(GOOD)


def test_the_digest_names_the_content_not_the_spelling():
    plain = read_site(GOOD)
    spelt = read_site(GOOD.replace("altitude_m = 1180", "altitude_m = 1_180.0  # a comment"))
    changed = read_site(GOOD.replace("altitude_m = 1180", "altitude_m = 1181"))
    assert plain.digest == spelt.digest != changed.digest
    assert len(plain.digest) == 64
    assert digest_of(plain) == plain.digest


VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(-10, 10**6), st.floats(), st.text(max_size=5), st.just([]), st.just({})
)
KEYS = ["id", "capacity_m3", "curve", "channels", "date", "timezone", "allowed_layouts", "module", "head_m"]


def as_toml(value) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return "'" + "".join(letter for letter in value if letter.isalnum()) + "'"
    return {"None": "2025-01-01"}.get(str(value), str(value))


@given(st.sampled_from(KEYS), VALUES)
def test_no_value_of_any_kind_makes_it_fail_otherwise(key, value):
    lines = [f"{key} = {as_toml(value)}" if line.startswith(f"{key} =") else line for line in GOOD.splitlines()]
    try:
        read_site("\n".join(lines))
    except SiteFileError as error:
        assert error.problems  # noqa: PT017 - either outcome is right, another exception is not
