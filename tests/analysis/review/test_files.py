"""Files as people export them: what can be read is, what cannot is counted, what cannot be right is refused with its fix."""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.files import make_honest, read_file, rows_of_parts
from analysis.review_files import read_all
from analysis.tables_in import FilesError

HEADER = "time,pv_voltage_v,volume_m3\n"


def written(folder: Path, text: str | bytes, name: str = "readings.csv") -> Path:
    """A file with this content."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def rows_in(folder: Path, text: str | bytes, ignore_unknown: bool = False):
    """Rows and what was dropped of a file of one site."""
    parts = list(read_file(written(folder, text), ignore_unknown).values())
    for part in parts:
        make_honest(part)
    return rows_of_parts(parts)


def refusal(folder: Path, text: str | bytes) -> str:
    """Why a file is refused."""
    with pytest.raises(FilesError) as caught:
        read_file(written(folder, text))
    return str(caught.value)


def test_any_offset_any_order_doubles_and_gaps(tmp_path):
    rows, dropped = rows_in(
        tmp_path,
        HEADER
        + "2026-01-01T14:00:02+02:00,200.5,10.03\n"
        + "2026-01-01T12:00:00Z,200,10.01\n"
        + "2026-01-01T12:00:00.000Z,200,10.01\n"
        + "2026-01-01 12:00:01+00:00,,10.02\n"
        + "2026-01-01T13:45:00.5Z,201,10.5\n"
        + "2026-01-01T12:00:02Z,210,\n",
    )
    assert (rows.time_ms - rows.time_ms[0]).tolist() == [0, 1000, 2000, 6_300_500]
    assert np.array_equal(rows["pv_voltage_v"], [200, np.nan, 210, 201], equal_nan=True)
    assert rows["volume_m3"].tolist() == [10.01, 10.02, 10.03, 10.5]
    assert (dropped.duplicate, dropped.conflicting, dropped.unreadable) == (1, 1, 0)


def test_what_cannot_be_read_is_counted_and_the_rest_stands(tmp_path):
    rows, dropped = rows_in(
        tmp_path,
        HEADER
        + "2026-01-01T12:00:00Z,200,10.01\n"
        + "yesterday,200,10.02\n"
        + "2026-01-01T12:00:02Z,error,10.03\n"
        + "2026-01-01T12:00:03Z,200,10.04,extra\n"
        + "2026-01-01T12:00:04Z,inf,10.05\n"
        + "2026-01-01T12:00:05Z,-7,10.06\n"
        + "2026-01-01T12:00:06,200,10.07\n"
        + "2026-01-01T12:00:07Z,null,NaN\n",
    )
    assert len(rows) == 5
    assert dropped.unreadable == 3
    assert dropped.nulled == {"pv_voltage_v": 3}
    assert np.isnan(rows["pv_voltage_v"]).tolist() == [False, True, True, True, True]


def test_semicolons_a_byte_order_mark_and_spaces_in_the_header(tmp_path):
    rows, _ = rows_in(tmp_path, "\ufefftime; volume_m3 ;motor_running\n2026-01-01T12:00:00Z;1.5;true\n")
    assert (rows["volume_m3"].tolist(), rows["motor_running"].tolist()) == ([1.5], [1.0])


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas_where_values_are_not_parted_by_commas(tmp_path, separator):
    lines = ("time,pv_voltage_v,volume_m3", "2026-01-01T12:00:00Z,200,1#5", "2026-01-01T12:01:00Z,error,1#75")
    rows, dropped = rows_in(tmp_path, "\n".join(lines).replace(",", separator).replace("#", ",") + "\n")
    assert rows["volume_m3"].tolist() == [1.5, 1.75]
    assert np.array_equal(rows["pv_voltage_v"], [200, np.nan], equal_nan=True)
    assert dropped.nulled == {"pv_voltage_v": 1}


def test_rows_of_no_year_of_ours_are_counted_and_not_waited_for(tmp_path):
    lines = [f"2026-01-01T{n // 60:02}:{n % 60:02}:00Z,200,{10 + n / 100}" for n in range(300)]
    odd = ["9999-06-01T12:00:00Z,200,10", "1970-01-01T00:01:00Z,200,10", "2061-01-01T00:00:00Z,200,10"]
    rows, dropped = rows_in(tmp_path, HEADER + "\n".join(lines + odd) + "\n")
    assert len(rows) == 300
    assert (dropped.unreadable, dropped.stray) == (2, 1)
    said = refusal(tmp_path, HEADER + odd[0] + "\n")
    assert "all times lie outside the years 1990 to 2099; the first is of the year 9999" in said
    two_seasons = [line.replace("2026", "2021") for line in lines]
    assert len(rows_in(tmp_path, HEADER + "\n".join(lines + two_seasons) + "\n")[0]) == 600


def test_one_row_is_enough(tmp_path):
    assert len(rows_in(tmp_path, HEADER + "2026-01-01T12:00:00Z,200,10.01")[0]) == 1


def test_boot_and_sequence_order_rows_of_one_time(tmp_path):
    header = "time,boot,seq,clock,volume_m3\n"
    rows, dropped = rows_in(
        tmp_path,
        header
        + "2026-01-01T12:00:00Z,000002-aaaaaaaa,1,good,3\n"
        + "2026-01-01T12:00:00Z,000001-aaaaaaaa,9,good,2\n"
        + "2026-01-01T12:00:00Z,,,,8\n"
        + "2026-01-01T12:00:05Z,000002-aaaaaaaa,2,repaired,4\n"
        + "1999-01-01T12:00:05Z,000002-aaaaaaaa,2,unsure,4\n"
        + "1999-01-01T12:00:05Z,000002-aaaaaaaa,3,unsure,5\n",
    )
    assert rows["volume_m3"].tolist() == [3, 4]
    assert (dropped.duplicate, dropped.conflicting, dropped.unsure_clock) == (1, 2, 1)


@pytest.mark.parametrize("order", range(4))
def test_the_order_of_lines_and_files_plays_no_part(tmp_path, frame, order):
    dice = np.random.default_rng(order)
    shuffled = frame.iloc[dice.permutation(len(frame))]
    half = len(frame) // 2
    shuffled.iloc[: half + 100].to_parquet(tmp_path / "one.parquet")
    pd.concat([shuffled.iloc[half:], shuffled.iloc[:50]]).assign(
        time=lambda f: f["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    ).to_csv(tmp_path / "two.csv", index=False)
    files = [read_file(tmp_path / name) for name in ("two.csv", "one.parquet")]
    rows, dropped = rows_of_parts([part for content in files for part in content.values()])
    assert rows.time_ms.tolist() == frame["time"].astype("int64").tolist()
    for name in ("volume_m3", "pv_current_a"):
        assert rows[name].tolist() == frame[name].tolist()
    assert (dropped.duplicate, dropped.conflicting) == (150, 0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "readings.csv: file: empty\n    fix: export it again; it needs a header and rows"),
        (HEADER, "readings.csv: file: a header and no rows\n    fix: export it again with rows"),
        ("timestamp,volume_m3\n1,2\n", "readings.csv: header: no column time\n    fix: rename timestamp to time"),
        (
            "volume_m3\n2\n",
            "fix: add a column time: ISO 8601 with an offset, 2026-01-31T12:00:00Z; lines above the header must begin with #",
        ),
        ("time,volume_m3,volume_m3\n1,2,3\n", "column volume_m3: there twice\n    fix: keep one of them"),
        ("time,pv_voltage\n1,2\n", "column 'pv_voltage': no such channel\n    fix: did you mean pv_voltage_v?"),
        ("time,zebra\n1,2\n", "column 'zebra': no such channel\n    fix: leave it out with --ignore-unknown"),
        ("time\n2026-01-01T12:00:00Z\n", "readings.csv: header: no channel in it\n    fix: name columns by channel"),
        (
            "time,volume_m3\n2026-01-01T12:00:00,2\n2026-01-01 12:01,3\n",
            "column time: '2026-01-01T12:00:00' has no offset: which time zone is it?\n    fix: write the offset",
        ),
        ("time,volume_m3\n01.02.2026 12:00,2\n", "column time: '01.02.2026 12:00' cannot be read\n    fix: ISO 8601"),
        ("time,clock,volume_m3\n2026-01-01T12:00:00Z,maybe,2\n", "column clock: holds 'maybe'\n    fix: one of good"),
        ("time,volume_m3\n1758415800,2\n", "it looks like seconds since 1970"),
        (
            "2026-01-01T12:00:00Z,230.5,4\n2026-01-01T12:01:00Z,230.5,4\n",
            "header: the first line holds values (2026-01-01T12:00:00Z ...), not names",
        ),
        ("date,time,volume_m3\n2026-01-01,12:00,2\n", "join date and time into one column time"),
        (
            'time,volume_m3\n2026-01-01T12:00:00Z,"2,5"\n2026-01-01T12:01:00Z,"2,6"\n',
            "column volume_m3: '2,5' has a comma\n    fix: decimals take a point",
        ),
        (
            'time,volume_m3\n2026-01-01T12:00:00Z,"12,345.5"\n',
            "column volume_m3: '12,345.5' has commas between thousands\n    fix: leave them out",
        ),
        ("\n\n\n", "readings.csv: file: no table in it\n    fix: export it again"),
        (b"<!DOCTYPE html><html><body>Log in</body></html>\n", "readings.csv: file: is a web page or XML"),
        (b'{"time": 1}\n', "readings.csv: file: is JSON"),
        (
            b"time,volume_m3\n2026-01-01T12:00:00Z,\xc4\n",
            "readings.csv: file: is not text in UTF-8: a byte 0xc4 stands in it\n    fix: save it as CSV in UTF-8",
        ),
        (b"PAR", "readings.csv: file: is a Parquet file that was cut short\n    fix: copy it again"),
        (b"PAR1 and then nothing", "readings.csv: file: is a Parquet file that was cut short\n    fix: copy it again"),
        (b"\xff\xfe\x00\x01\x02", "readings.csv: "),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "readings.csv: "),
    ],
)
def test_a_file_that_cannot_be_right_is_refused_with_its_fix(tmp_path, text, said):
    words = refusal(tmp_path, text)
    assert said in words
    assert words.endswith("Nothing was written. 1 problem in 1 file.")


@pytest.mark.parametrize(
    "text",
    [
        "sep=;\ntime;volume_m3;motor_running\n2026-01-01T12:00:00Z;2,5;on\n2026-01-01T12:01:00Z;2,6;off\n",
        "# logger 7\n# five minutes\ntime,volume_m3,motor_running\n2026-01-01T12:00:00Z,2.5,yes\n2026-01-01T12:01:00Z,2.6,no\n",
        "\n# logger 7\n\n ,,\n# five minutes\n\r\ntime,volume_m3,motor_running\n2026-01-01T12:00:00Z,2.5,yes\n2026-01-01T12:01:00Z,2.6,no\n",
        "time|volume_m3|motor_running\n2026-01-01T12:00:00Z|2.5|TRUE\n2026-01-01T12:01:00Z|2.6|False\n",
        "\ufeff# logger 7\ntime\tvolume_m3\tmotor_running\n2026-01-01T12:00:00Z\t2,5\tON\n2026-01-01T12:01:00Z\t2,6\tOFF\n",
    ],
)
def test_what_spreadsheets_and_loggers_write_about_a_table_is_read(tmp_path, text):
    path = tmp_path / "r.csv"
    path.write_text(text, encoding="utf-8")
    (part,) = read_file(path).values()
    assert part.rows["volume_m3"].tolist() == [2.5, 2.6]
    assert part.rows["motor_running"].tolist() == [1.0, 0.0]
    assert part.dropped.unreadable == 0


def test_off_is_a_word_of_switches_and_no_measured_nothing(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text("time,water_level_m,switched_on\n2026-01-01T12:00:00Z,off,off\n2026-01-01T12:01:00Z,45.2,on\n")
    (part,) = read_file(path).values()
    assert part.rows["switched_on"].tolist() == [0.0, 1.0]
    assert np.isnan(part.rows["water_level_m"][0])
    assert part.dropped.nulled == {"water_level_m": 1}


def test_a_column_of_another_program_may_begin_with_a_number(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text("time,volume_m3,24h_mean\n2026-01-01T12:00:00Z,2,3\n")
    (part,) = read_file(path, ignore_unknown=True).values()
    assert part.rows["volume_m3"].tolist() == [2.0]


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(FilesError, match="nowhere.csv: file: cannot be read: No such file or directory"):
        read_file(tmp_path / "nowhere.csv")


def test_unknown_columns_can_be_left_out(tmp_path):
    rows, dropped = rows_in(tmp_path, "time,zebra,volume_m3\n2026-01-01T12:00:00Z,9,2\n", ignore_unknown=True)
    assert list(rows.values) == ["volume_m3"]
    assert dropped.ignored_columns == ("zebra",)


def test_parquet_times_without_zone_are_refused(tmp_path, frame):
    frame.assign(time=frame["time"].dt.tz_localize(None)).to_parquet(tmp_path / "r.parquet")
    with pytest.raises(FilesError, match="a timestamp without time zone: which time zone is it"):
        read_file(tmp_path / "r.parquet")
    frame.assign(time=frame["time"].astype("int64")).to_parquet(tmp_path / "r.parquet")
    with pytest.raises(FilesError, match="column time: holds int64, not times"):
        read_file(tmp_path / "r.parquet")


@pytest.mark.parametrize(
    ("channel", "factor", "unit"),
    [
        ("flow_m3_h", 1000 / 60, "L/min"),
        ("water_level_m", 100, "cm"),
        ("discharge_pressure_bar", 100, "kPa"),
        ("pv_voltage_v", 1000, "mV"),
        ("irradiance_w_m2", 0.001, "kW/m2"),
    ],
)
def test_wrong_units_are_seen_and_right_ones_are_not_doubted(tmp_path, facts, frame, channel, factor, unit):
    true = {
        "flow_m3_h": 3.0,
        "water_level_m": 45.0,
        "discharge_pressure_bar": 2.0,
        "pv_voltage_v": 215.0,
        "irradiance_w_m2": 700.0,
    }
    sun = np.clip(np.sin(np.arange(len(frame)) / 40), 0, None)
    right = frame.assign(**{channel: true[channel] * sun})
    right.to_parquet(tmp_path / "r.parquet")
    assert len(read_all([facts], [tmp_path / "r.parquet"])[0].rows) == len(frame)
    right.assign(**{channel: right[channel] * factor}).to_parquet(tmp_path / "r.parquet")
    with pytest.raises(FilesError) as caught:
        read_all([facts], [tmp_path / "r.parquet"])
    assert f"column {channel}" in str(caught.value)
    assert f"it looks like {unit}" in str(caught.value)


def test_what_only_its_name_calls_parquet_is_told_so(tmp_path):
    path = written(tmp_path, b"3.5", "readings.parquet")
    path.write_bytes(b"a,b\n1,2,3\nx")
    with pytest.raises(FilesError, match="header: no column time"):
        read_file(path)
    path.write_bytes(b"\xc3\x28,b\n1,2\n")
    with pytest.raises(FilesError, match="is named as Parquet and is none\n    fix: copy it again"):
        read_file(path)


def test_an_instrument_that_goes_wrong_for_a_while_is_no_wrong_unit(tmp_path, facts, frame):
    flow = np.full(len(frame), 3.0)
    flow[: len(flow) // 3] *= 40
    frame.assign(flow_m3_h=flow).to_parquet(tmp_path / "r.parquet")
    assert len(read_all([facts], [tmp_path / "r.parquet"])[0].rows) == len(frame)


def _season(first: str, rows: int) -> list[str]:
    times = pd.date_range(first, periods=rows, freq="5min").strftime("%Y-%m-%dT%H:%M:%SZ")
    return [f"{time},200,{10 + n / 100}" for n, time in enumerate(times)]


def test_a_block_years_from_the_rest_is_left_out_and_said(tmp_path):
    lines = _season("2025-03-01T00:00:00Z", 3000)
    for ahead in ("2035-03-01T00:00:00Z", "2014-03-01T00:00:00Z"):
        odd = _season(ahead, 90)
        for order in (lines + odd, odd + lines):
            rows, dropped = rows_in(tmp_path, HEADER + "\n".join(order) + "\n")
            assert (len(rows), dropped.stray) == (3000, 90)
            assert all(str(np.datetime64(ms, "ms")).startswith(ahead[:4]) for ms in dropped.stray_ms)


def test_rows_younger_than_their_file_and_apart_from_all_before_are_of_a_wrong_clock(tmp_path):
    """However many they are; a season that was worked out ahead of its time has no gap where its file was written."""
    path = written(
        tmp_path, HEADER + "\n".join(_season("2026-01-01T00:00:00Z", 900) + _season("2026-06-01T00:00:00Z", 900)) + "\n"
    )
    for written_on, left in (("2026-01-20", 900), ("2026-07-01", 1800), ("2025-12-01", 900)):
        second = pd.Timestamp(written_on, tz="UTC").timestamp()
        os.utime(path, (second, second))
        rows, dropped = rows_of_parts(list(read_file(path).values()))
        assert (len(rows), dropped.stray) == (left, 1800 - left)
    whole = written(tmp_path, HEADER + "\n".join(_season("2026-01-01T00:00:00Z", 900)) + "\n")
    os.utime(whole, (0, 0))
    assert len(rows_of_parts(list(read_file(whole).values()))[0]) == 900
