"""What readings cannot tell of is said, so that silence is not taken for soundness; a site file that cannot work is not passed over."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.could_not import LEARNT_DAYS, not_judged
from analysis.rows import Rows
from analysis.season import rows_of_frame
from analysis.tables_in import FilesError, table_of
from logger.cli import main


def written(tmp_path: Path, frame: pd.DataFrame) -> Path:
    path = tmp_path / "r.csv"
    frame.assign(time=frame["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")).to_csv(path, index=False)
    return path


def reviewed(tmp_path: Path, site: Path, frame: pd.DataFrame, capsys) -> tuple[int, str]:
    """Exit code, and what was said on either stream, on one line."""
    arguments = [
        "review",
        "--site",
        str(site),
        "--readings",
        str(written(tmp_path, frame)),
        "--out",
        str(tmp_path / "out"),
        "--no-pictures",
    ]
    code = main(arguments)
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return code, " ".join((said.out + said.err).split())


def test_one_row_is_no_clean_bill_of_health(tmp_path, site_file, frame, capsys) -> None:
    code, said = reviewed(tmp_path, site_file, frame.iloc[120:121], capsys)
    assert code == 0
    assert "Warning: next to nothing could be judged: one row; it takes a whole day" in said
    assert "Nothing wrong was found in what could be judged." in said
    assert json.loads((tmp_path / "out" / "findings.json").read_text())["not_judged"]


def test_a_missing_channel_is_said_with_what_it_would_have_told(tmp_path, site_file, frame, capsys) -> None:
    _, said = reviewed(tmp_path, site_file, frame[["time", "volume_m3"]].iloc[: 9 * 288], capsys)
    assert (
        "Warning: not judged, for want of the array's power (input_power_w, or pv_voltage_v with pv_current_a): panels"
        in said
    )


def test_a_season_with_power_and_water_lacks_nothing(frame) -> None:
    assert not_judged(rows_of_frame(frame)) == []


@pytest.mark.parametrize(
    ("rows", "names", "words"),
    [
        (2, ("volume_m3", "pv_voltage_v", "pv_current_a"), "2 rows over 0.0833 hours"),
        (288 * 9, ("pv_voltage_v", "pv_current_a"), "for want of the water (volume_m3 or flow_m3_h): wear"),
        (288 * 9, ("pv_voltage_v",), "neither the array's power"),
        (288 * (LEARNT_DAYS - 3), ("volume_m3", "pv_voltage_v", "pv_current_a"), "slow losses were hardly judged"),
    ],
)
def test_each_want_is_named(frame, rows: int, names: tuple[str, ...], words: str) -> None:
    assert words in " ".join(not_judged(rows_of_frame(frame[["time", *names]].iloc[:rows])))


def test_rows_an_hour_apart_say_that_they_are(frame) -> None:
    hourly = rows_of_frame(frame.iloc[::12])
    assert "more than 20 minutes apart" in not_judged(hourly)[0]
    assert not_judged(Rows(np.empty(0, np.int64), {}))[0].startswith("next to nothing could be judged: 0 rows")


def test_a_pump_above_the_water_and_a_string_above_the_rating_get_a_word(tmp_path, site_file, frame, capsys) -> None:
    text = site_file.read_text()
    changed = text.replace("static_level_m = 38.0", "static_level_m = 85.0").replace(
        "max_input_voltage_v = 400", "max_input_voltage_v = 240"
    )
    assert changed != text
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(changed)
    code, said = reviewed(tmp_path, wrong, frame.iloc[:600], capsys)
    assert code == 0
    assert "Note: the site file looks wrong at pump.setting_depth_m: 80 m hangs above the resting water at 85 m" in said
    assert "above the controller's 240 V" in said


def test_a_table_that_no_pump_can_have_is_refused_and_not_a_crash(tmp_path, site_file, frame, capsys) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(site_file.read_text().replace("speed_rpm = 800", "speed_rpm = 13"))
    code, said = reviewed(tmp_path, wrong, frame.iloc[:600], capsys)
    assert code == 2
    assert "wrong.toml: pump.curve[1].speed_rpm: 13 beside 2900 1/min: is one in Hz?" in said
    assert "Nothing was written" in said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("cut", "words"), [(0.6, "was cut short"), (None, "a damaged Parquet file")])
def test_a_damaged_parquet_file_is_told_in_plain_words(tmp_path, frame, cut: float | None, words: str) -> None:
    path = tmp_path / "r.parquet"
    frame.to_parquet(path)
    whole = bytearray(path.read_bytes())
    if cut is not None:
        whole = whole[: int(cut * len(whole))]
    else:
        whole[40:4000] = bytes(3960)
    path.write_bytes(bytes(whole))
    with pytest.raises(FilesError) as refused:
        table_of(path)
    assert words in str(refused.value)
    assert "copy it again" in str(refused.value)
    for codec in ("snappy", "Snappy", "magic", "footer", "thrift", "Arrow"):
        assert codec not in str(refused.value)
