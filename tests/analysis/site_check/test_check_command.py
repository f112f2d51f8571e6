"""`wellhand check`: exit codes, the table, the picture, plain words for a file that cannot be read."""

from dataclasses import replace
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import pytest

from analysis.expected import SiteModel
from analysis.site_check import check_site
from analysis.site_check.clear_day import clear_day
from logger.cli import main
from logger.record.site_file import load_site

SITE = Path(__file__).parent / "north_kraal.toml"


def edited(folder: Path, old: str, new: str) -> Path:
    text = SITE.read_text(encoding="utf-8")
    assert old in text
    path = folder / "site.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


def test_a_sound_site_is_fine_and_its_days_are_printed(capsys):
    assert main(["check", str(SITE)]) == 0
    out = capsys.readouterr().out
    assert "0 wrong, 0 doubtful" in out
    for season in ("20 March", "21 June", "22 September", "21 December"):
        assert season in out


def test_problems_are_printed_and_fail(tmp_path, capsys):
    assert main(["check", str(edited(tmp_path, "modules_in_series = 6", "modules_in_series = 9"))]) == 1
    out = capsys.readouterr().out
    assert "wrong: site.toml: array.modules_in_series" in out
    assert "    fix: put at most" in out
    assert "21 December" in out, "the expected day comes all the same"


def test_values_that_contradict_are_problems_without_a_day(tmp_path, capsys):
    assert main(["check", str(edited(tmp_path, "v_mp_v = 37.4", "v_mp_v = 47.4"))]) == 1
    out = capsys.readouterr().out
    assert "wrong: site.toml: array.module.v_mp_v" in out
    assert "hour" not in out


def test_a_module_that_no_circuit_fits_is_said_without_a_day(tmp_path, capsys):
    assert main(["check", str(edited(tmp_path, "p_mp_w = 170", "p_mp_w = 340"))]) == 1
    assert "array.module.p_mp_w" in capsys.readouterr().out


def test_units_slipped_are_problems_all_at_once(tmp_path, capsys):
    path = edited(tmp_path, "setting_depth_m = 80 ", "setting_depth_m = 80000 ")
    path.write_text(
        path.read_text(encoding="utf-8").replace("capacity_m3 = 20", 'capacity_m3 = "20 m3"'), encoding="utf-8"
    )
    assert main(["check", str(path)]) == 1
    out = capsys.readouterr().out
    assert "pump.setting_depth_m" in out
    assert "tank.capacity_m3" in out
    assert out.count("fix:") == 2


@pytest.mark.parametrize("content", [b"not toml at all [", b"\xff\xfe\x00"])
def test_a_file_that_is_no_site_file(tmp_path, capsys, content):
    path = tmp_path / "site.toml"
    path.write_bytes(content)
    assert main(["check", str(path)]) == 2
    assert "fix:" in capsys.readouterr().err


def test_an_empty_file_lacks_everything_and_says_so(tmp_path, capsys):
    path = tmp_path / "site.toml"
    path.write_text("", encoding="utf-8")
    assert main(["check", str(path)]) == 1
    assert "array" in capsys.readouterr().out


def test_a_file_that_is_not_there(tmp_path, capsys):
    assert main(["check", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err


def test_picture_as_svg_holds_a_line_for_each_season(tmp_path):
    path = tmp_path / "day.svg"
    assert main(["check", str(SITE), "--picture", str(path)]) == 0
    root = ElementTree.parse(path).getroot()
    lines = root.findall(".//{http://www.w3.org/2000/svg}polyline")
    assert len(lines) == 24, "four in each of five panels, four in the legend"
    words = " ".join(root.itertext())
    for shown in ("sun through the modules' glass, W/m2", "water, m3/h", "power taken, W", "head, m", "efficiency"):
        assert shown in words
    assert "nan" not in path.read_text(encoding="utf-8")


def test_picture_through_matplotlib(tmp_path):
    pytest.importorskip("matplotlib")
    path = tmp_path / "day.png"
    assert main(["check", str(SITE), "--picture", str(path)]) == 0
    assert path.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(("name", "words"), [("day.xyz", "cannot draw"), ("no/such/folder/day.svg", "no picture")])
def test_a_picture_that_cannot_be_drawn_is_said(tmp_path, capsys, name, words):
    assert main(["check", str(SITE), "--picture", str(tmp_path / name)]) == 1
    assert words in capsys.readouterr().err


@pytest.fixture(scope="module")
def model() -> SiteModel:
    return SiteModel(load_site(SITE))


def test_hours_add_up_to_the_day(model):
    day = clear_day(model, date(2026, 12, 21))
    assert sum(h.flow_m3_h for h in day.hours) == pytest.approx(day.water_m3, rel=1e-6)
    assert sum(h.power_w for h in day.hours) / 1000 == pytest.approx(day.energy_kwh, rel=1e-6)
    assert sum(h.poa_w_m2 for h in day.hours) / 1000 == pytest.approx(day.insolation_kwh_m2, rel=1e-3)


def test_the_day_turns_about_noon_and_keeps_within_physics(model):
    for month in (3, 6, 9, 12):
        day = clear_day(model, date(2026, month, 21))
        brightest = max(day.hours, key=lambda h: h.poa_w_m2).hour
        assert brightest in (11, 12), "longitude 24 in a zone of two hours: noon at about 12:20"
        assert all(0 < h.efficiency < 0.8 for h in day.hours if h.power_w > 100)
        assert day.water_std_m3 < 0.2 * day.water_m3


def test_summer_is_longer_than_winter(model):
    assert clear_day(model, date(2026, 12, 21)).pumping_h > clear_day(model, date(2026, 6, 21)).pumping_h + 1.5


def replaced(folder: Path, *pairs: tuple[str, str]) -> Path:
    text = SITE.read_text(encoding="utf-8")
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "refused",
    [
        ("tilt_deg = 30", "tilt_deg = 300"),
        ("longitude_deg = 24.01\n", ""),
        ('timezone = "Africa/Johannesburg"', 'timezone = "Mars"'),
        ("noct_c = 45", "noct_celsius = 45"),
        ('kind = "helical-rotor"', 'kind = "helical"'),
        ('"pv_voltage_v"', '"pv_voltage"'),
        ("date = 2025-12-02", 'date = "2.12.2025"'),
        ("[tank]\ncapacity_m3 = 20\n", ""),
    ],
)
def test_a_value_out_of_range_hides_no_other_mistake(refused, tmp_path, capsys):
    """Said as in the same file with that value sound; what hangs on the value itself is not guessed."""
    wrong_depth = ("setting_depth_m = 80", "setting_depth_m = 20")
    assert main(["check", str(replaced(tmp_path, refused, wrong_depth))]) == 1
    out = capsys.readouterr().out
    assert out.index("Whatever these values are") < out.index(
        "pump.setting_depth_m: 20 m hangs above the resting water"
    )
    assert "day to expect" in out
    assert "hour   sun" not in out


def test_what_hangs_on_a_refused_value_is_not_said(tmp_path, capsys):
    """The array's layout is what is refused: nothing about its voltage, its current or the day's water is said."""
    assert main(["check", str(replaced(tmp_path, ("modules_in_series = 6", "modules_in_series = 600")))]) == 1
    out = capsys.readouterr().out
    beside = out.partition("Whatever these values are")[2]
    assert "array." not in beside
    assert "wrong:" not in beside


def test_flow_and_power_exchanged_is_one_mistake():
    """Every row's power stands as its flow: neither the array nor the motor's cable is to blame."""
    facts = load_site(SITE)
    swapped = tuple(replace(row, flow_m3_h=row.power_w, power_w=row.flow_m3_h) for row in facts.pump.curve)
    said = [
        one
        for one in check_site(replace(facts, pump=replace(facts.pump, curve=swapped)), SITE.name)
        if one.grade != "note"
    ]
    assert [one.problem.key for one in said] == ["pump.curve"]
